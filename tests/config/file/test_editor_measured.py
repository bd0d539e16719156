"""What was measured, written into a site file and taken out again: one line, and every comment kept."""

from __future__ import annotations

import tomllib

import pytest

from config.errors import UnknownFixtureError, UnknownZoneError
from config.file.editor import write_measured
from config.file.toml_editor import LayoutError, TomlEditor
from tests.config.site_texts import GOOD


@pytest.fixture
def site_path(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text(GOOD.replace("watts = 4.5\n", "watts = 4.5   # each\n"), encoding="utf-8")
    return path


def added(old, path):
    """The lines that are new in a file; none may have gone."""
    new = path.read_text(encoding="utf-8").splitlines()
    assert [line for line in old.splitlines() if line not in new] == []
    return [line for line in new if line not in old.splitlines()]


def test_watts_and_volts_are_one_line_each(site_path):
    """Each reading is a line in its own table, set in as its table is, written as it was given."""
    old = site_path.read_text(encoding="utf-8")
    site = write_measured(site_path, "path", watts=28.4, volts={1: [11.6]}).site
    assert added(old, site_path) == ["measured_watts = 28.4", "  measured_volts = 11.6"]
    assert site.zone("path").rated_load.watts == 28.4
    assert site.zone("path").fixtures[0].measured_volts == (11.6,)


def test_readings_are_replaced_in_their_place(site_path):
    """A second reading takes the place of the first; a whole number is written as one."""
    write_measured(site_path, "path", watts=28.4, volts={1: [11.6]})
    old = site_path.read_text(encoding="utf-8")
    write_measured(site_path, "path", watts=30.0, volts={1: [12, 11.75, 11.5, 11.5, 11.25, 11.25]})
    text = site_path.read_text(encoding="utf-8")
    expected = old.replace("measured_watts = 28.4", "measured_watts = 30")
    assert text == expected.replace(
        "measured_volts = 11.6", "measured_volts = [12, 11.75, 11.5, 11.5, 11.25, 11.25]"
    )


def test_what_was_written_can_be_taken_out_again(site_path):
    """Taking readings out leaves the file as it was, to the byte; what is not there is no fault."""
    old = site_path.read_bytes()
    write_measured(site_path, "path", watts=28.4, volts={1: [11.6]})
    write_measured(site_path, "path", forget_watts=True, volts={1: None})
    assert site_path.read_bytes() == old
    write_measured(site_path, "path", forget_watts=True, volts={1: None})
    assert site_path.read_bytes() == old


def test_unknown_zones_and_fixtures_touch_nothing(site_path):
    """The error names what there is, and the file stands."""
    old = site_path.read_bytes()
    with pytest.raises(UnknownZoneError, match="no zone is called “pier”"):
        write_measured(site_path, "pier", watts=5)
    for place in (0, 2):
        with pytest.raises(UnknownFixtureError, match=f"zone “path” has no fixture {place}; it has 1"):
            write_measured(site_path, "path", watts=5, volts={place: [12]})
    assert site_path.read_bytes() == old


@pytest.mark.parametrize(
    ("text", "path", "left"),
    [
        ("a = 1\nb = 2\n", ("a",), "b = 2\n"),
        ("a = 1\n  b = 2  # two\n", ("b",), "a = 1\n  # two\n"),
        ("a = [\n  1, # one\n  2 ] # two\n", ("a",), "# one\n# two\n"),
        ("t = { a = [ # one\n 1], b = 2 } # t\n", ("t", "a"), "# one\nt = { b = 2 } # t\n"),
        ("a = 1\r\nb = 2\r\n", ("a",), "b = 2\r\n"),
        ("a = 1", ("a",), ""),
        ("t = { a = 1, b = 2 }\n", ("t", "a"), "t = { b = 2 }\n"),
        ("t = { a = 1, b = 2 }\n", ("t", "b"), "t = { a = 1 }\n"),
        ("t = [{ a = 1 }, { a = 2, b = 3 }]\n", ("t", 1, "b"), "t = [{ a = 1 }, { a = 2 }]\n"),
        ("[[t]]\n  a = [\n    1,\n  ]\n  b = 2\n", ("t", 0, "a"), "[[t]]\n  b = 2\n"),
    ],
)
def test_a_key_is_taken_out_with_its_line_or_its_comma(text, path, left):
    """Whatever the layout, the rest stays as it was, comments too, and still means the same."""
    editor = TomlEditor(text)
    editor.remove_key(path)
    assert editor.text == left
    assert editor.is_consistent
    assert editor.values == tomllib.loads(left)


def test_a_table_is_no_key_that_could_be_taken_out():
    """Headings and absent keys are refused."""
    for text, path in (("[t]\na = 1\n", ("t",)), ("a = 1\n", ("b",))):
        with pytest.raises(LayoutError):
            TomlEditor(text).remove_key(path)
