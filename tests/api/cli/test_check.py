"""``leerie check``: every problem at once, with its line, and what the year's sun makes of the programs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from config.file.loader import example_path
from controller import relays
from tests.api.command import call, call_json, write_site, zone_table

EXAMPLES = ("one-zone", "two-zones", "full-property", "polar")
OSLO = 'latitude = 60.0\nlongitude = 10.0\ntime_zone = "Europe/Oslo"'
GPIO = '[relays]\nboard = "gpio"\n\n'
YEAR = ("--from", "2027-01-01")


def check_json(*args: object) -> tuple[int, dict[str, Any]]:
    """Check a file; give the exit code and what was printed."""
    result = call("check", *args, "--json")
    assert not result.stderr
    return result.exit_code, json.loads(result.stdout)


def problems_of(site: Path, *args: object) -> list[dict[str, Any]]:
    """What is said of a usable file, but for the note that its relays are simulated."""
    found = call_json("check", site, *args)["problems"]
    return [problem for problem in found if problem["key"] != "relays.board"]


def test_a_file_without_problems_is_ok(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With real relays and nothing to say there are the pins, and one line with how many zones there are."""
    monkeypatch.setattr(relays, "find_spec", lambda name: name)
    site = write_site(tmp_path, GPIO + zone_table("jetty", "22:00 to 23:00"))
    result = call("check", site, *YEAR)
    assert (result.exit_code, result.stdout.splitlines()) == (
        0,
        ["zone “jetty”: BCM 17, header pin 11, closes on low", "OK: 1 zone, no warnings"],
    )


def test_simulated_relays_are_said(tmp_path: Path) -> None:
    """A note says that nothing is switched, also where the file says nothing of relays."""
    for text in ("", '[relays]\nboard = "simulated"\n'):
        site = write_site(tmp_path, text + zone_table("jetty", "22:00 to 23:00"))
        (problem,) = call_json("check", site, *YEAR)["problems"]
        assert (problem["level"], problem["key"]) == ("note", "relays.board")
        assert problem["what"] == "simulated relays: nothing is switched"
        assert 'board = "gpio"' in problem["remedy"]


def test_real_pins_without_their_library_are_a_warning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where neither library is installed, the remedy is the one that the daemon gives."""
    site = write_site(tmp_path, GPIO + zone_table("jetty", "22:00 to 23:00"))
    monkeypatch.setattr(relays, "find_spec", lambda _name: None)
    (problem,) = call_json("check", site, *YEAR)["problems"]
    assert (problem["level"], problem["value"]) == ("warning", '"gpio"')
    assert problem["what"] == "needs lgpio, which is not installed"
    assert problem["remedy"].startswith("in Leerie's folder, pip install '.[gpio]' adds it; where it cannot")
    assert "pip install '.[gpiod]' adds gpiod" in problem["remedy"]
    monkeypatch.setattr(relays, "find_spec", lambda name: name)
    assert call_json("check", site, *YEAR)["problems"] == []


def test_each_zones_pin_is_given_by_both_numbers(tmp_path: Path) -> None:
    """BCM 11 is pin 23 of the header and BCM 17 is pin 11: whoever counted the other way sees it."""
    zones = zone_table("jetty", "22:00 to 23:00", pin=11)
    zones += zone_table("oak", "22:00 to 23:00", more="active_high = true")
    site = write_site(tmp_path, zones)
    assert call_json("check", site)["pins"] == [
        {"zone": "jetty", "bcm": 11, "header": 23, "active_high": False},
        {"zone": "oak", "bcm": 17, "header": 11, "active_high": True},
    ]
    lines = call("check", site, *YEAR).stdout.splitlines()
    assert lines[-3] == "zone “jetty”: BCM 11, header pin 23, closes on low"
    assert lines[-2] == "zone “oak”: BCM 17, header pin 11, closes on high"


def test_a_span_in_daylight_is_found(tmp_path: Path) -> None:
    """``dusk to 11:00`` is a warning with the hours in daylight, and 23:00 as what may be meant."""
    site = write_site(tmp_path, zone_table("jetty", "dusk to 11:00"))
    (problem,) = problems_of(site, *YEAR)
    assert (problem["level"], problem["key"]) == ("warning", "zones[1].program[1]")
    assert problem["where"] == "zone “jetty”, program[1]"
    assert "on 365 of its 365 nights, at most 6.3 h" in problem["what"]
    assert problem["remedy"].startswith("write 23:00 if the evening is meant")


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
    (problem,) = problems_of(site, *YEAR)
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
        (problem,) = problems_of(site)
    assert "2030-06-21 to 2030-07-" in problem["what"]


def test_warnings_alone_leave_the_file_usable(tmp_path: Path) -> None:
    """A span that ends before it begins is a warning, and the exit code stays 0."""
    site = write_site(tmp_path, zone_table("jetty", "23:00 to 22:00", "dusk to midnight"))
    result = call("check", site, *YEAR)
    assert result.exit_code == 0
    assert not result.stderr
    board, first, _pin, last = result.stdout.splitlines()
    assert board.startswith(f"note: {site}: relays.board: simulated relays: nothing is switched; ")
    assert first.startswith(f"warning: {site}:10: zone “jetty”, program[1] = ")
    assert last == "No errors, 1 warning, 1 note"


def test_a_byte_order_mark_moves_no_line(tmp_path: Path) -> None:
    """A file that an editor began with a byte order mark is read like any other."""
    site = write_site(tmp_path, zone_table("jetty", "dusk to midnight"), top=OSLO)
    (before,) = problems_of(site, *YEAR)
    site.write_bytes(b"\xef\xbb\xbf" + site.read_bytes())
    (after,) = problems_of(site, *YEAR)
    assert after == before


def test_an_empty_file_is_no_site(tmp_path: Path) -> None:
    """An empty file lacks [site]."""
    (tmp_path / "empty.toml").write_bytes(b"")
    result = call("check", tmp_path / "empty.toml")
    assert result.exit_code == 2
    assert "[site]" in result.stderr
