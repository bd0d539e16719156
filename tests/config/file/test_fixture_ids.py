"""An id for a fixture that has none, written into the site file: one line, and every comment kept."""

from __future__ import annotations

import errno
import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.errors import SiteFileError, UnknownFixtureError, UnknownZoneError
from config.file import editor
from config.file.fixture_ids import derive_fixture_id, write_fixture_id
from config.file.loader import load_site, parse_site
from tests.config.site_texts import GOOD, problems_of

SPOT = '\n  [[zones.fixtures]]  # in the oak\n  kind = "path"\n  count = 1\n  watts = 3\n'


@pytest.fixture
def site_path(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text(GOOD + SPOT, encoding="utf-8")
    return path


def test_the_id_is_one_line_of_its_fixture(site_path):
    """Two fixtures of one kind get two ids, and nothing else changes."""
    old = site_path.read_text(encoding="utf-8")
    assert write_fixture_id(site_path, "path", 2).site.zone("path").fixtures[1].id == "path"
    assert write_fixture_id(site_path, "path", 1).site.zone("path").fixtures[0].id == "path-2"
    new = old.replace("watts = 4.5\n", 'watts = 4.5\n  id = "path-2"\n') + '  id = "path"\n'
    assert site_path.read_text(encoding="utf-8") == new


def test_an_id_that_is_there_stays(site_path):
    """A fixture with an id keeps it, and the file is not touched."""
    write_fixture_id(site_path, "path", 2)
    before = site_path.read_bytes(), site_path.stat().st_mtime_ns
    assert write_fixture_id(site_path, "path", 2).site.zone("path").fixtures[1].id == "path"
    assert (site_path.read_bytes(), site_path.stat().st_mtime_ns) == before


def test_a_fixture_in_braces_gets_its_id_there(tmp_path):
    """The inline form is edited as well as the other."""
    text = GOOD[: GOOD.index("  [[zones.fixtures]]")]
    one = 'program = ["dusk to midnight"]\nfixtures = [{kind = "spot", count = 1, watts = 3}]  # oak\n'
    path = tmp_path / "site.toml"
    path.write_text(text.replace('program = ["dusk to midnight"]\n', one), encoding="utf-8")
    write_fixture_id(path, "path", 1)
    assert 'fixtures = [{kind = "spot", count = 1, watts = 3, id = "spot"}]  # oak' in path.read_text()


@pytest.mark.parametrize(
    ("fixture", "others", "expected"),
    [
        ({"kind": "path"}, [], "path"),
        ({"kind": "path", "name": "Jetty, left side"}, [], "jetty-left-side"),
        ({"kind": "path", "name": "Allée des Érables"}, [], "allee-des-erables"),
        ({"kind": "path", "name": "12"}, [], "path"),
        ({"kind": "path", "name": "橋"}, [], "path"),
        ({"kind": "path", "name": "Relay"}, [], "path"),
        ({"kind": "path"}, [{"id": "path"}, {"id": "path-2"}], "path-3"),
        ({"kind": "path"}, [{"id": "edge", "formerly": ["path"]}], "path-2"),
        ({"kind": "path", "name": "x" * 60}, [], "x" * 40),
    ],
)
def test_an_id_comes_from_the_name_or_the_kind(fixture, others, expected):
    """Readable, in the letters that an id may have, and no other fixture's, now or earlier."""
    assert derive_fixture_id([fixture, *others], 1) == expected


@given(names=st.lists(st.text(max_size=60), min_size=1, max_size=6))
def test_every_name_gives_an_id_that_the_site_file_takes(names):
    """Whatever fixtures are called, each gets an id that is valid and its own."""
    fixtures = [{"kind": "spot", "name": name} for name in names]
    for place in range(1, len(fixtures) + 1):
        fixtures[place - 1]["id"] = derive_fixture_id(fixtures, place)
    tables = "".join(SPOT + f'  id = "{each["id"]}"\n' for each in fixtures)
    assert problems_of(GOOD + tables) == []


def test_where_the_file_cannot_be_written_the_key_and_its_line_are_named(site_path, monkeypatch):
    """A read-only disk: the error says what a person can write, and where."""

    def fail(*_args, **_more):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    monkeypatch.setattr(editor, "write_atomically", fail)
    before = site_path.read_bytes()
    with pytest.raises(SiteFileError) as refusal:
        write_fixture_id(site_path, "path", 2)
    first, second = str(refusal.value).splitlines()
    assert "could not be written (Read-only file system)" in first
    assert second == (
        f"{site_path}:33: zone “path”, fixtures[2]: has no id for its replacements to be recorded under; "
        'add “id = "path"” to this table'
    )
    assert site_path.read_bytes() == before
    # What it says is what makes it work.
    lines = site_path.read_text(encoding="utf-8").splitlines()
    lines.insert(33, '  id = "path"')
    assert parse_site("\n".join(lines), "site.toml").site.zone("path").fixtures[1].id == "path"


def test_unknown_zones_and_fixtures_touch_nothing(site_path):
    """The error names what there is, and the file stands."""
    before = site_path.read_bytes()
    with pytest.raises(UnknownZoneError):
        write_fixture_id(site_path, "pond", 1)
    with pytest.raises(UnknownFixtureError, match="it has 1 to 2"):
        write_fixture_id(site_path, "path", 3)
    assert site_path.read_bytes() == before
    assert load_site(site_path).site.zone("path").fixtures[0].id is None
