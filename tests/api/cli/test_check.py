"""``leerie check``: every problem at once, with its line, and what the year's sun makes of the programs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from config.file.loader import example_path
from tests.api.command import call, call_json, write_site, zone_table

EXAMPLES = ("one-zone", "two-zones", "full-property", "polar")
OSLO = 'latitude = 60.0\nlongitude = 10.0\ntime_zone = "Europe/Oslo"'
YEAR = ("--from", "2027-01-01")


def check_json(*args: object) -> tuple[int, dict[str, Any]]:
    """Check a file; give the exit code and what was printed."""
    result = call("check", *args, "--json")
    assert not result.stderr
    return result.exit_code, json.loads(result.stdout)


def test_a_file_without_problems_is_ok(tmp_path: Path) -> None:
    """One line says so, with how many zones there are."""
    result = call("check", write_site(tmp_path, zone_table("jetty", "17:00 to 22:00")), *YEAR)
    assert (result.exit_code, result.stdout) == (0, "OK: 1 zone, no warnings\n")


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_example_is_ok(name: str) -> None:
    """The examples that come with the program have neither errors nor warnings."""
    code, found = check_json(example_path(name), *YEAR)
    assert code == 0
    assert {problem["level"] for problem in found["problems"]} <= {"note"}


def test_all_errors_come_at_once_and_with_their_lines(tmp_path: Path) -> None:
    """Three mistakes in one file are three problems, each with line, key and value as written."""
    zones = zone_table("jetty", "dusk til midnight", pin=99) + zone_table("jetty", "dusk to dawn", pin=4)
    site = write_site(tmp_path, zones)
    code, found = check_json(site)
    assert code == 2
    assert found["site"] is None
    lines = site.read_text("utf-8").splitlines()
    problems = {problem["key"]: problem for problem in found["problems"]}
    assert set(problems) == {"zones[1].program[1]", "zones[1].pin", "zones[2].id"}
    for problem in problems.values():
        assert problem["level"] == "error"
        assert problem["file"] == str(site)
        assert problem["value"] in lines[problem["line"] - 1]
        assert problem["what"]
        assert problem["remedy"]


def test_the_year_is_reviewed_with_its_lines(tmp_path: Path) -> None:
    """A note names the line of the span, how many nights, and the first and the last of them."""
    site = write_site(tmp_path, zone_table("jetty", "21:00 to 21:30", "dusk to midnight"), top=OSLO)
    code, found = check_json(site, *YEAR)
    assert code == 0
    (problem,) = found["problems"]
    assert problem["level"] == "note"
    assert problem["key"] == "zones[1].program[2]"
    assert problem["value"] == '"dusk to midnight"'
    assert "dusk to midnight" in site.read_text("utf-8").splitlines()[problem["line"] - 1]
    # 37 nights at 60 N, from season_nightly.csv (JPL DE421); see tests/controller/planning/test_review.py.
    assert "37 of its 365 nights" in problem["what"]


def test_the_year_begins_tonight(tmp_path: Path) -> None:
    """Without ``--from`` the year is the one ahead, by the machine's clock, noon to noon."""
    site = write_site(tmp_path, zone_table("jetty", "dusk to midnight"), top=OSLO)
    with freeze_time("2030-06-22T09:59:59Z"):
        (problem,) = call_json("check", site)["problems"]
    assert "2030-06-21 to 2030-07-" in problem["what"]


def test_warnings_alone_leave_the_file_usable(tmp_path: Path) -> None:
    """A span that ends before it begins is a warning, and the exit code stays 0."""
    site = write_site(tmp_path, zone_table("jetty", "23:00 to 22:00", "dusk to midnight"))
    result = call("check", site, *YEAR)
    assert result.exit_code == 0
    assert not result.stderr
    first, last = result.stdout.splitlines()
    assert first.startswith(f"warning: {site}:10: zone “jetty”, program[1] = ")
    assert last == "No errors, 1 warning"


def test_a_byte_order_mark_moves_no_line(tmp_path: Path) -> None:
    """A file that an editor began with a byte order mark is read like any other."""
    site = write_site(tmp_path, zone_table("jetty", "dusk to midnight"), top=OSLO)
    line = call_json("check", site, *YEAR)["problems"][0]["line"]
    site.write_bytes(b"\xef\xbb\xbf" + site.read_bytes())
    assert call_json("check", site, *YEAR)["problems"][0]["line"] == line


def test_an_empty_file_is_no_site(tmp_path: Path) -> None:
    """An empty file lacks [site]."""
    (tmp_path / "empty.toml").write_bytes(b"")
    result = call("check", tmp_path / "empty.toml")
    assert result.exit_code == 2
    assert "[site]" in result.stderr
