"""Changing a site file: what is asked for changes, and all else stays, byte for byte."""

import re

import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from config.errors import SiteFileError
from config.file.editor import restore_text, write_program
from config.file.loader import example_path, load_site
from config.models.site import SpecialNight
from config.program.parser import parse_program
from config.program.special_nights import parse_nights
from tests.config.site_texts import GOOD
from tests.config.strategies import nights, spans

EXAMPLES = ["one-zone", "two-zones", "full-property", "polar"]
LATE = parse_program(["dusk to 02:00"])


def special(condition, *texts):
    """A special night from its texts."""
    return SpecialNight(nights=parse_nights(condition), program=parse_program(texts))


def test_a_program_is_written_and_nothing_else_changes(two_zones):
    """Only the list behind the key differs; every comment and blank stays, byte for byte."""
    before = two_zones.read_bytes()
    loaded = write_program(two_zones, "jetty", LATE)
    assert two_zones.read_bytes() == before.replace(b'["dusk to midnight"]', b'["dusk to 02:00"]')
    assert loaded.site.zone("jetty").program == LATE
    assert loaded == load_site(two_zones)


programs = st.lists(spans, max_size=3).map(tuple)
special_nights_of_a_zone = st.none() | st.lists(
    st.builds(SpecialNight, nights=nights, program=programs), max_size=4
).map(tuple)


@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(programs, special_nights_of_a_zone, st.sampled_from(["\n", "\r\n"]), st.data())
def test_what_was_written_is_what_is_read(tmp_path, program, special_nights, line_end, data):
    """Any program and special nights in any example: exact values, no comment lost, good TOML for others."""
    path = tmp_path / "site.toml"
    text = example_path(data.draw(st.sampled_from(EXAMPLES))).read_text().replace("\n", line_end)
    path.write_bytes(text.encode())
    before = load_site(path).site
    zone = data.draw(st.sampled_from(before.zones))
    after = write_program(path, zone.id, program, special_nights).site
    update = {"program": program}
    if special_nights is not None:
        update["special_nights"] = special_nights
    zones = tuple(each.model_copy(update=update) if each.id == zone.id else each for each in before.zones)
    assert after == before.model_copy(update={"zones": zones})
    assert load_site(path).site == after
    result = path.read_bytes().decode()
    assert ("\r\n" in result) == (line_end == "\r\n")
    assert result.count("\n") == result.count(line_end)
    assert sorted(re.findall("#.*", result)) == sorted(re.findall("#.*", text))
    assert tomlkit.parse(result).unwrap().keys() == tomlkit.parse(text).unwrap().keys()


def test_special_nights_are_left_alone_unless_given(two_zones):
    """Writing a program alone keeps what is special."""
    before = load_site(two_zones).site.zone("jetty").special_nights
    assert write_program(two_zones, "jetty", LATE).site.zone("jetty").special_nights == before


def test_one_special_night_of_two_is_taken_out_and_one_added(two_zones):
    """The one that stays keeps its comment and its place; the new one is set in like it."""
    before = two_zones.read_text()
    kept = special("12-20 to 01-06", "dusk to dawn, at most 9h")
    program = load_site(two_zones).site.zone("jetty").program
    write_program(two_zones, "jetty", program, [kept, special("Sun")])
    old = """\
  [[zones.special_nights]]
  nights = "Fri, Sat"
  program = ["dusk to 01:30"]

  [[zones.special_nights]]
  nights = "12-20 to 01-06"    # every year, both nights included
  program = ["dusk to dawn, at most 9h"]
"""
    new = """\

  [[zones.special_nights]]
  nights = "12-20 to 01-06"    # every year, both nights included
  program = ["dusk to dawn, at most 9h"]

  [[zones.special_nights]]
  nights = "Sun"
  program = []
"""
    assert two_zones.read_text() == before.replace(old, new)


def test_the_special_night_that_stays_keeps_its_comment(two_zones):
    """Of two, the one that is asked for again is not written anew."""
    stays = special("12-20 to 01-06", "dusk to dawn, at most 9h")
    program = load_site(two_zones).site.zone("jetty").program
    before = two_zones.read_text()
    gone = '  [[zones.special_nights]]\n  nights = "Fri, Sat"\n  program = ["dusk to 01:30"]\n'
    write_program(two_zones, "jetty", program, [stays])
    assert two_zones.read_text() == before.replace(gone, "")


def test_special_nights_can_change_their_order(two_zones):
    """The last one decides, so the order that is asked for is the order in the file."""
    program = load_site(two_zones).site.zone("jetty").program
    special_nights = load_site(two_zones).site.zone("jetty").special_nights
    after = write_program(two_zones, "jetty", program, special_nights[::-1]).site
    assert after.zone("jetty").special_nights == special_nights[::-1]
    twice = (special_nights[1], special_nights[0], special_nights[1])
    assert write_program(two_zones, "jetty", program, twice).site.zone("jetty").special_nights == twice


def test_taking_out_the_last_special_night_keeps_the_comment_of_the_next_zone(tmp_path):
    """What stands before the next heading belongs to that one."""
    path = tmp_path / "site.toml"
    end = GOOD.index("  [[zones.fixtures]]")
    drive = '# The drive.\n[[zones]]\nid = "drive"\npin = 4\nprogram = ["dusk for 1h"]\n'
    path.write_text(GOOD[:end] + drive)
    write_program(path, "path", LATE, [])
    text = path.read_text()
    assert "special_nights" not in text
    assert text.endswith(drive)


def test_special_nights_written_in_braces_stay_in_braces(tmp_path):
    """A list behind a key is replaced as a list behind a key."""
    path = tmp_path / "site.toml"
    end = GOOD.index("\n  [[zones.special_nights]]")
    path.write_text(GOOD[:end] + 'special_nights = [{ nights = "Fri" }]  # short\n')
    write_program(path, "path", LATE, [special("Sat", "dusk to 01:00")])
    assert path.read_text().endswith(
        'special_nights = [{ nights = "Sat", program = ["dusk to 01:00"] }]  # short\n'
    )
    same = path.read_bytes()
    write_program(path, "path", LATE, [special("Sat", "dusk to 01:00")])
    assert path.read_bytes() == same


def test_a_zone_written_in_braces_can_be_edited(tmp_path):
    """Layout is a matter of taste, and every layout can be edited."""
    path = tmp_path / "site.toml"
    head = GOOD[: GOOD.index("[tariff]")]
    path.write_text('zones = [ { id = "path", pin = 17, program = [] } ] # all\n' + head)
    write_program(path, "path", LATE, [special("Sat")])
    assert path.read_text() == (
        'zones = [ { id = "path", pin = 17, program = ["dusk to 02:00"], '
        'special_nights = [{ nights = "Sat", program = [] }] } ] # all\n' + head
    )


def test_a_byte_order_mark_stays(good):
    """A file that a Windows editor began with a mark keeps it."""
    good.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    write_program(good, "path", LATE)
    assert good.read_bytes() == b"\xef\xbb\xbf" + GOOD.replace("dusk to midnight", "dusk to 02:00").encode()


def test_what_is_as_it_should_be_is_not_written_at_all(good):
    """The same program again costs the card nothing."""
    before = good.stat()
    write_program(good, "path", parse_program(["dusk to midnight"]), [special("Fri, Sat", "dusk to 01:30")])
    after = good.stat()
    assert (after.st_ino, after.st_mtime_ns) == (before.st_ino, before.st_mtime_ns)


def test_a_link_is_followed_and_stays_a_link(good, tmp_path):
    """The file behind the link is changed."""
    folder = tmp_path / "links"
    folder.mkdir()
    link = folder / "site.toml"
    link.symlink_to(good)
    write_program(link, "path", LATE)
    assert link.is_symlink()
    assert load_site(good).site.zone("path").program == LATE
    assert [each.name for each in folder.iterdir()] == ["site.toml"]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_a_file_gets_back_the_text_that_it_had(good, mark):
    """To the byte, with its line ends and its byte order mark."""
    before = mark + good.read_bytes().replace(b"\n", b"\r\n")
    good.write_bytes(before)
    text = load_site(good).text
    after = write_program(good, "path", LATE).text
    assert restore_text(good, text, expected=after).text == text
    assert good.read_bytes() == before


def test_a_file_that_was_changed_since_keeps_its_text(good):
    """Whatever it says now is somebody's, and an invalid text is no way back either."""
    text = load_site(good).text
    good.write_bytes(good.read_bytes() + b"# mine\n")
    before = good.read_bytes()
    with pytest.raises(SiteFileError, match="was changed since"):
        restore_text(good, text, expected=text)
    with pytest.raises(SiteFileError):
        restore_text(good, "[site]", expected=load_site(good).text)
    assert good.read_bytes() == before
