"""Which edition of the zone rules answers, and what happens when the files change under a running program."""

import os
import shutil
import zoneinfo
from datetime import UTC, datetime, timedelta
from importlib import resources
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import tzdata

from controller.clock import tzdata as zone_data
from controller.clock.tzdata import reload_zone, tz_data_stamp, tz_data_version, use_newest_zone_data

PACKAGE = Path(str(resources.files("tzdata"))) / "zoneinfo"
NEW_YEAR_UTC = datetime(2027, 1, 1, tzinfo=UTC)
ZONE = "Europe/Oslo"


@pytest.fixture
def system(tmp_path, monkeypatch):
    """A system's zone files in a folder of the test's own, copied from the package, called edition 2019c."""
    for name in ("UTC", ZONE, "America/Vancouver"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(PACKAGE / name, tmp_path / name)
    (tmp_path / "tzdata.zi").write_text("# version 2019c\nR d 1916 o\n", encoding="ascii")
    before = zoneinfo.TZPATH
    monkeypatch.setattr(zone_data, "_SYSTEM_PATH", (str(tmp_path),))
    zoneinfo.reset_tzpath([str(tmp_path)])
    ZoneInfo.clear_cache()
    yield tmp_path
    zoneinfo.reset_tzpath(before)
    ZoneInfo.clear_cache()


def offset_h(zone: ZoneInfo) -> float:
    offset = NEW_YEAR_UTC.astimezone(zone).utcoffset()
    assert offset is not None
    return offset / timedelta(hours=1)


@pytest.mark.parametrize(
    ("file", "text", "edition"),
    [
        ("tzdata.zi", "# version 2031a\n# ddeps backzone zone.tab\n", "2031a"),
        ("+VERSION", "2031b\n", "2031b"),
        ("tzdata.zi", "no version here\n", "unknown edition"),
        ("tzdata.zi", "# version \xff\n", "unknown edition"),
    ],
)
def test_the_systems_edition(system, file, text, edition):
    """The edition is read from the files that the tz database leaves beside the zones."""
    (system / file).write_bytes(text.encode("latin-1"))
    assert tz_data_version(ZONE) == f"{edition}, from {system}"


def test_the_packages_edition(system):
    """A zone that the system has not is the package's, under the edition that the package says it is."""
    (system / ZONE).unlink()
    assert tz_data_version(ZONE) == f"{tzdata.IANA_VERSION}, from the package tzdata"
    assert ZoneInfo(ZONE).key == ZONE


def test_the_newer_edition_is_used(system):
    """An old system's files give way to a newer package; a newer system's do not."""
    assert use_newest_zone_data() == f"{tzdata.IANA_VERSION}, from the package tzdata"
    (system / "tzdata.zi").write_text("# version 2099a\n", encoding="ascii")
    assert use_newest_zone_data() == f"2099a, from {system}"
    assert use_newest_zone_data() == f"2099a, from {system}"


def test_the_rules_of_the_newer_edition_are_in_force(system):
    """Vancouver keeps its summer offset for good by 2026f; a system that does not know gives way.

    Source: the tz database, edition 2026f against 2025b: UTC-7 the year round from 1 November 2026. The old
    system's file is played by Los Angeles, which goes back to UTC-8.
    """
    shutil.copyfile(PACKAGE / "America/Los_Angeles", system / "America/Vancouver")
    assert offset_h(ZoneInfo("America/Vancouver")) == -8
    use_newest_zone_data()
    assert offset_h(reload_zone("America/Vancouver")) == -7


def test_a_stamp_notices_a_changed_file(system):
    """A file replaced by the system's update differs in its stamp, though its length be the same."""
    before = tz_data_stamp(ZONE)
    assert before == tz_data_stamp(ZONE)
    fresh = system / "fresh"
    shutil.copyfile(system / ZONE, fresh)
    os.utime(fresh, ns=(0, (system / ZONE).stat().st_mtime_ns))
    fresh.replace(system / ZONE)
    assert tz_data_stamp(ZONE) != before


def test_a_stamp_notices_a_new_edition(system):
    """A new edition beside an unchanged zone is noticed too: it may be the one that is to be used."""
    before = tz_data_stamp(ZONE)
    (system / "tzdata.zi").write_text("# version 2031a, and longer\n", encoding="ascii")
    assert tz_data_stamp(ZONE) != before


def test_a_stamp_of_a_zone_that_is_nowhere(system):
    """A zone without a file has a stamp all the same."""
    assert ZONE not in str(tz_data_stamp("Nowhere/Atall"))


def test_a_reloaded_zone_has_the_new_rules(system):
    """After a reload everybody who asks for the zone gets the rules of the file as it is now."""
    assert offset_h(ZoneInfo(ZONE)) == 1
    shutil.copyfile(PACKAGE / "Asia/Tokyo", system / ZONE)
    assert offset_h(ZoneInfo(ZONE)) == 1
    assert offset_h(reload_zone(ZONE)) == 9
    assert offset_h(ZoneInfo(ZONE)) == 9


def test_a_damaged_file_leaves_the_old_zone_in_place(system):
    """A file caught half written raises, and the zone that was built before stays in use."""
    old = ZoneInfo(ZONE)
    (system / ZONE).write_bytes(b"TZif half")
    with pytest.raises((ValueError, EOFError)):
        reload_zone(ZONE)
    assert ZoneInfo(ZONE) is old


@pytest.mark.parametrize("name", ["/etc/passwd", "../secret", ""])
def test_a_path_is_no_zone(name):
    """A name that leads out of the folder is refused and quoted."""
    with pytest.raises(ValueError, match="not the name of a time zone"):
        tz_data_stamp(name)
