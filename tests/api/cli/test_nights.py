"""``leerie nights`` and ``leerie why``: the contract's JSON, the table for people, and the nights meant."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from freezegun import freeze_time

from tests.api.command import call, call_json, start, write_site, zone_table

JETTY = zone_table(
    "jetty",
    "dusk to midnight",
    more='name = "Jetty and steps"\n'
    '[[zones.special_nights]]\nnights = "Fri, Sat"\nprogram = ["dusk to 01:30"]',
)
PORCH = zone_table("porch", "dusk to 22:00", pin=4)
SEA_LODGE = 'latitude = 41.4901\nlongitude = -71.3128\ntime_zone = "America/New_York"'


@pytest.fixture
def garden(tmp_path: Path) -> Path:
    """Write a site of two zones."""
    return write_site(tmp_path, JETTY + PORCH)


def test_the_json_is_that_of_the_contract(tmp_path: Path) -> None:
    """Names, order and forms are those that others build on: RFC 3339 in UTC, ending in Z."""
    site = write_site(tmp_path, zone_table("jetty", "dusk to midnight"), top=SEA_LODGE)
    found = call_json("nights", site, "--from", "2027-06-21", "--to", "2027-06-21")
    (window,) = found["nights"][0]["windows"]
    # Dusk of that night at that place: 2027-06-22T00:56:40Z, as the contract's own example has it.
    assert re.fullmatch(r"2027-06-22T00:56:(3[5-9]|4[0-5])Z", window["on"])
    assert found == {
        "site": "Tern Cottage",
        "nights": [
            {
                "night": "2027-06-21",
                "zone": "jetty",
                "windows": [{"on": window["on"], "off": "2027-06-22T04:00:00Z", "span": "dusk to midnight"}],
                "because": "every night",
            }
        ],
    }


def test_a_dark_night_says_what_made_it_dark(garden: Path) -> None:
    """A night without light has no windows, and a reason."""
    found = call_json("nights", garden, "--from", "2027-06-21", "--to", "2027-06-21", "--zone", "porch")
    (night,) = found["nights"]
    assert night["windows"] == []
    assert "is not before 22:00" in night["because"]


def test_nights_and_zones_come_in_order(garden: Path) -> None:
    """Night after night, and in each the zones in the order of the file, or in the one asked for."""

    def order(*args: str) -> list[tuple[str, str]]:
        found = call_json("nights", garden, "--from", "2027-06-21", "--to", "2027-06-22", *args)
        return [(night["night"][-2:], night["zone"]) for night in found["nights"]]

    assert order() == [("21", "jetty"), ("21", "porch"), ("22", "jetty"), ("22", "porch")]
    asked = ["--zone", "porch", "--zone", "jetty", "--zone", "porch"]
    assert order(*asked)[:3] == [("21", "porch"), ("21", "jetty"), ("22", "porch")]


@pytest.mark.parametrize(
    ("now", "args", "first", "last"),
    [
        # Half past one at night still belongs to the night that began the day before.
        ("2027-06-22T00:30:00Z", [], "2027-06-21", "2027-06-27"),
        ("2027-06-22T10:59:59Z", [], "2027-06-21", "2027-06-27"),
        ("2027-06-22T11:00:00Z", [], "2027-06-22", "2027-06-28"),
        ("2027-06-22T11:00:00Z", ["--to", "2027-06-23"], "2027-06-22", "2027-06-23"),
        ("2027-06-22T11:00:00Z", ["--from", "2028-02-28"], "2028-02-28", "2028-03-05"),
    ],
)
def test_tonight_and_six_nights_more(garden: Path, now: str, args: list[str], first: str, last: str) -> None:
    """What is left out is tonight by the machine's clock, noon to noon, and a week of nights."""
    with freeze_time(now):
        nights = call_json("nights", garden, *args)["nights"]
    assert (nights[0]["night"], nights[-1]["night"]) == (first, last)


def test_the_last_night_alone_may_not_be_over(garden: Path) -> None:
    """With only ``--to``, a date that is over asks for ``--from`` as well."""
    with freeze_time("2027-06-22T20:00:00Z"):
        result = call("nights", garden, "--to", "2027-06-01")
    assert result.exit_code == 2
    assert "add --from" in result.stderr


def test_the_table_has_local_times_and_weekdays(garden: Path) -> None:
    """A person reads local time with its weekday, how long, and why."""
    result = call("nights", garden, "--from", "2027-06-18", "--to", "2027-06-18")
    rows = [re.split(r"\s{2,}", line) for line in result.stdout.splitlines() if line.strip()]
    assert rows[1] == ["Night", "Zone", "Lit", "For", "Because"]
    assert rows[2][:2] == ["Fri 18 Jun 2027", "jetty"]
    assert re.fullmatch(r"Fri 22:0\d to Sat 01:30", rows[2][2])
    assert re.fullmatch(r"3 h 2\d m", rows[2][3])
    assert rows[2][4] == "dusk to 01:30, special night Fri, Sat"
    assert rows[3][1:3] == ["porch", "dark"]


@pytest.mark.parametrize(
    ("first", "words", "times"),
    [
        # Summer time begins in London on 28 March 2027 at 01:00 UTC and ends on 31 October: tz database.
        ("2027-03-27", "the clocks go forward by 1 h", "(+00:00) to Sun 02:30 (+01:00)"),
        ("2027-10-30", "the clocks go back by 1 h", "(+01:00) to Sun 01:30 (+01:00)"),
    ],
)
def test_a_night_of_a_clock_change_is_marked(garden: Path, first: str, words: str, times: str) -> None:
    """On such a night the times carry their offsets, and a line under the table says what the clocks do."""
    marked = call("nights", garden, "--from", first, "--to", first, "--zone", "jetty").stdout
    assert times in marked
    assert f": {words}" in marked.splitlines()[-1]
    plain = call("nights", garden, "--from", "2027-05-01", "--to", "2027-05-02").stdout
    assert "the clocks" not in plain
    assert "(+" not in plain


def test_half_an_hour_is_told_as_such(tmp_path: Path) -> None:
    """Lord Howe Island moves its clocks by 30 minutes: tz database."""
    top = 'latitude = -31.55\nlongitude = 159.08\ntime_zone = "Australia/Lord_Howe"'
    site = write_site(tmp_path, PORCH, top=top)
    shown = call("nights", site, "--from", "2026-10-03", "--to", "2026-10-03").stdout
    assert "the clocks go forward by 30 min" in shown


def test_a_pipe_gets_plain_whole_lines(garden: Path) -> None:
    """Where nobody looks at a screen there are no colours, no folded lines and no blanks at the end."""
    result = start("nights", garden, "--from", "2027-06-18", "--to", "2027-06-24", COLUMNS="30")
    assert result.returncode == 0
    assert "\x1b" not in result.stdout
    assert "dusk to 01:30, special night Fri, Sat\n" in result.stdout
    assert not [line for line in result.stdout.splitlines() if line != line.rstrip()]


def test_a_name_in_brackets_is_a_name(tmp_path: Path) -> None:
    """Nothing that stands in a site file is taken for a colour."""
    site = write_site(tmp_path, JETTY)
    site.write_text(site.read_text("utf-8").replace("Tern Cottage", "[red]Tern[/red] :tada:"), "utf-8")
    assert "[red]Tern[/red] :tada:" in call("nights", site).stdout


def test_why_is_lit_in_sentences(garden: Path) -> None:
    """A person reads whether it is lit, because of what, and until when."""
    answer = call("why", garden, "jetty", "--at", "2027-06-18 23:15").stdout.splitlines()
    assert answer[0] == "Jetty and steps (jetty) is lit at 23:15 on Fri 18 Jun 2027 (BST)."
    assert answer[1] == "Because: dusk to 01:30, special night Fri, Sat."
    assert answer[2] == "Until: 01:30 on Sat 19 Jun 2027 (in 2 h 15 m); then dark."
    assert any("by the site file alone" in line for line in answer)


@pytest.mark.parametrize(
    "at", ["2027-06-18 23:15", "2027-06-18T23:15:00", "2027-06-18T22:15:00Z", "2027-06-18T17:15:00-05:00"]
)
def test_an_instant_is_read_as_people_and_programs_write_it(garden: Path, at: str) -> None:
    """Local time and RFC 3339 name the same instant."""
    found = call_json("why", garden, "jetty", "--at", at)
    assert found["at"] == "2027-06-18T22:15:00Z"
    assert found["on"] is True
    assert found["until"] == "2027-06-19T00:30:00Z"


@pytest.mark.parametrize(
    ("at", "utc", "remark"),
    [
        # RFC 5545, section 3.3.5: the offset from before the gap; the first of two.
        ("2027-03-28 01:30", "2027-03-28T01:30:00Z", "does not occur"),
        ("2027-10-31 01:30", "2027-10-31T00:30:00Z", "occurs twice"),
    ],
)
def test_a_local_time_that_is_odd_is_remarked(garden: Path, at: str, utc: str, remark: str) -> None:
    """A local time that occurs twice or not at all is read by RFC 5545, and the answer says so."""
    found = call_json("why", garden, "jetty", "--at", at)
    assert found["at"] == utc
    assert remark in found["remark"]
    assert remark in call("why", garden, "jetty", "--at", at).stdout


def test_why_goes_by_now_where_no_instant_is_given(garden: Path) -> None:
    """Without ``--at`` it is about this moment."""
    with freeze_time("2027-06-18T22:15:00Z"):
        assert call_json("why", garden, "jetty")["at"] == "2027-06-18T22:15:00Z"


def test_out_of_service_lasts_until_further_notice(tmp_path: Path) -> None:
    """A zone out of service is dark until somebody says otherwise."""
    site = write_site(tmp_path, zone_table("jetty", "dusk to dawn", more='out_of_service = "cable cut"'))
    answer = call("why", site, "jetty", "--at", "2027-12-01 23:00").stdout
    assert "jetty is dark" in answer
    assert "out of service: cable cut" in answer
    assert "Until: further notice." in answer


def test_colours_stay_away_where_they_are_not_wanted(garden: Path) -> None:
    """NO_COLOR goes before what a terminal could do."""
    forced = {"FORCE_COLOR": "1", "TERM": "xterm-256color"}
    args = ("nights", garden, "--from", "2027-03-27", "--to", "2027-03-27")
    assert "\x1b[" in start(*args, **forced).stdout
    refused = start(*args, NO_COLOR="1", **forced).stdout
    assert not re.search(r"\x1b\[[0-9;]*3[0-7]", refused)


@pytest.mark.parametrize("columns", [40, 80, 100, 200])
def test_no_terminal_is_too_narrow_for_an_answer(garden: Path, columns: int) -> None:
    """On a narrow terminal lines are folded, and nothing is cut off."""
    args = ("nights", garden, "--from", "2027-06-18", "--to", "2027-06-18", "--zone", "jetty")
    shown = start(*args, FORCE_COLOR="1", NO_COLOR="1", TERM="xterm", COLUMNS=str(columns)).stdout
    words = re.sub(r"\x1b\[[0-9;]*m", "", shown).split()
    for word in ("Fri", "Jun", "2027", "jetty", "01:30", "m", "dusk", "special", "night"):
        assert word in words
    assert not re.search("…", shown)
