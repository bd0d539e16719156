"""No edit loses a comment: lists that grow, shrink and change, special nights that come and go."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from config.file.editor import write_measured, write_program
from config.models.site import SpecialNight
from config.program.parser import parse_program
from config.program.special_nights import parse_nights
from tests.config.commented_sites import (
    READINGS,
    CommentedSite,
    changed_lists,
    commented_sites,
    programs,
    special_nights_lists,
)

QUICK = settings(
    deadline=None,
    max_examples=60,
    suppress_health_check=[
        HealthCheck.function_scoped_fixture,
        HealthCheck.too_slow,
        HealthCheck.data_too_large,
    ],
)


def special(row: dict[str, Any]) -> SpecialNight:
    """A special night of its plain values."""
    return SpecialNight(nights=parse_nights(row["nights"]), program=parse_program(row.get("program", [])))


def written(path: Path, site: CommentedSite, line_end: str) -> dict[str, Any]:
    """Write a site file with the line ends asked for; its values."""
    path.write_bytes(site.text.replace("\n", line_end).encode())
    return tomllib.loads(site.text)


def assert_edited(
    path: Path, site: CommentedSite, wanted: dict[str, Any], *subjects: str, line_end: str
) -> str:
    """Check a file against what was asked for; its text."""
    raw = path.read_bytes().decode()
    assert raw.count("\n") == raw.count(line_end)
    text = raw.replace(line_end, "\n")
    assert tomllib.loads(raw) == wanted
    assert tomlkit.parse(raw).unwrap() == wanted
    # The values hold no mark, so that each one found is in a comment.
    assert [comment for comment in site.comments if text.count(comment) != 1] == []
    at = 0
    for piece in site.kept(*subjects):
        at = f"\n{text}".find(f"\n{piece}", at)
        assert at >= 0, f"changed: {piece!r}"
        at += len(piece)
    return text


@QUICK
@given(commented_sites(), st.sampled_from(["\n", "\r\n"]), st.data())
def test_a_program_is_replaced_and_all_around_it_stays(tmp_path, site, line_end, data):
    """Before and behind the list every byte stays, in it every comment; what stays in it is not rewritten."""
    path = tmp_path / "site.toml"
    wanted = written(path, site, line_end)
    number = data.draw(st.integers(0, len(site.programs) - 1))
    program = data.draw(changed_lists(site.programs[number], programs.filter(bool).map(lambda each: each[0])))
    write_program(path, f"zone-{number}", parse_program(program))
    wanted["zones"][number]["program"] = program
    text = assert_edited(path, site, wanted, f"program {number}", "zones", line_end=line_end)
    if program == site.programs[number]:
        assert text == site.text


@QUICK
@given(commented_sites(), st.sampled_from(["\n", "\r\n"]), st.data())
def test_special_nights_are_replaced_and_every_comment_stays(tmp_path, site, line_end, data):
    """Whatever comes, goes, moves and changes: exactly the special nights asked for, and every comment."""
    path = tmp_path / "site.toml"
    wanted = written(path, site, line_end)
    number = data.draw(st.integers(0, len(site.programs) - 1))
    old = wanted["zones"][number].get("special_nights", [])
    new = special_nights_lists.filter(bool).map(lambda rows: rows[0])
    rows = copy.deepcopy(data.draw(changed_lists(old, new)))
    for row in rows:
        if data.draw(st.integers(0, 3)) == 0:
            row["program"] = data.draw(programs)
    program = parse_program(site.programs[number])
    write_program(path, f"zone-{number}", program, [special(row) for row in rows])
    found = tomllib.loads(path.read_text(encoding="utf-8"))["zones"][number].get("special_nights", [])
    # A special night without a program is dark, written or not.
    assert [{"program": [], **row} for row in found] == [{"program": [], **row} for row in rows]
    wanted["zones"][number].pop("special_nights", None)
    if "special_nights" in tomllib.loads(path.read_text(encoding="utf-8"))["zones"][number]:
        wanted["zones"][number]["special_nights"] = found
    text = assert_edited(path, site, wanted, f"nights {number}", "zones", line_end=line_end)
    if rows == old:
        assert text == site.text


@QUICK
@given(commented_sites().filter(lambda site: "fixtures" in site.text), st.data())
def test_what_was_measured_comes_and_goes_and_every_comment_stays(tmp_path, site, data):
    """Also where a list of readings becomes one reading, or the line with a comment goes."""
    path = tmp_path / "site.toml"
    wanted = written(path, site, "\n")
    number = data.draw(st.integers(0, len(site.programs) - 1))
    zone, fixture = wanted["zones"][number], wanted["zones"][number]["fixtures"][0]
    watts = data.draw(st.sampled_from([None, 28.4, 30.5]))
    readings = data.draw(st.sampled_from([[], READINGS[:1], READINGS[:2], READINGS[1:]]))
    volts = [float(each) for each in readings]
    write_measured(path, f"zone-{number}", watts=watts, forget_watts=watts is None, volts={1: volts or None})
    for table, key, value in (
        (zone, "measured_watts", watts),
        (fixture, "measured_volts", volts[0] if len(volts) == 1 else volts or None),
    ):
        table.pop(key, None)
        if value is not None:
            table[key] = value
    assert_edited(path, site, wanted, f"watts {number}", f"volts {number}", line_end="\n")
