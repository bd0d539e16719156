"""``leerie year``: the nights to come against outside values, other plans beside them, and an old timer."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from xml.etree import ElementTree as ET

import pytest

from config.file.loader import example_path
from tests.api.command import call, call_json, write_site, zone_table
from tests.reference import rows

SEASON = rows("season.csv")
NIGHTLY = rows("season_nightly.csv")
NEW_YORK = 'latitude = 40\nlongitude = -75\ntime_zone = "America/New_York"'
OSLO = 'latitude = 60\nlongitude = 10\ntime_zone = "Europe/Oslo"'
TARIFF = '[tariff]\ncurrency = "USD"\nper_kwh = 0.15\n'
LAMPS = """
  [[zones.fixtures]]
  kind = "path"
  count = 10
  watts = 10
  rated_life_h = 25000
"""


def dusk_zone(more: str = LAMPS) -> str:
    """A zone of 100 W from dusk to midnight."""
    return zone_table("path", "dusk to midnight", more=more)


def year(site, *args):
    """The year 2027 in JSON."""
    return call_json("year", site, "--from", "2027-01-01", *args)


def test_a_year_from_dusk_to_midnight(tmp_path):
    """Hours by month as in season.csv, 173.7 kWh and 26.06 for 100 W at 40 N (facts of the same source)."""
    told = year(write_site(tmp_path, TARIFF + dusk_zone(), top=NEW_YORK))
    expected = [float(row["hours_civil_dusk_to_midnight"]) for row in SEASON if row["latitude"] == "40"]
    got = [row["lit_h"] for row in told["present"]["months"]]
    months = [row["month"] for row in told["present"]["months"]]
    assert months == [f"2027-{month:02}" for month in range(1, 13)]
    assert got == pytest.approx(expected, abs=0.052)
    total = told["present"]["total"]
    assert total["lamps_kwh"] == pytest.approx(173.7, abs=0.11)
    assert total["cost"] == pytest.approx(26.06, abs=0.02)
    assert (told["nights"], told["to"], total["starts"]) == (365, "2027-12-31", 365)
    # energy.json E6: 25 000 h at 1737.07 h a year are 14.392 years.
    (lamps,) = told["present"]["lamps"]
    assert 1 / lamps["used"] == pytest.approx(14.392, abs=0.005)
    assert sum(row["lamp_life_used"] for row in told["present"]["months"]) == pytest.approx(
        told["present"]["totals"][0]["lamp_life_used"], abs=1e-5
    )


@pytest.mark.parametrize(("side", "kwh"), [("low voltage", 70.080), ("mains", 13.89656)])
def test_eight_watts_of_no_load_loss(tmp_path, side, kwh):
    """energy.json E3: 8 W all year are 70.080 kWh; only while lit (dusk to midnight at 40 N) 13.89656 kWh."""
    shed = f'[[transformers]]\nid = "shed"\nrated_va = 200\nno_load_w = 8\nrelay_side = "{side}"\n'
    total = year(write_site(tmp_path, shed + dusk_zone(), top=NEW_YORK))["present"]["total"]
    # 8 W for the 0.62 h by which the reference year may differ.
    assert total["meter_kwh"] - total["lamps_kwh"] == pytest.approx(kwh, abs=8 * 0.62 / 1000)


def test_an_hour_later_is_an_hour_a_night(tmp_path):
    """One o'clock in place of midnight is 365 hours more, by the off time and by the program alike."""
    site = write_site(tmp_path, TARIFF + dusk_zone(), top=NEW_YORK)
    told = year(site, "--off", "01:00", "--program", "dusk to 01:00", "--program", "dark")
    by_off, by_program, dark = told["others"]
    assert (by_off["name"], by_program["name"], dark["name"]) == ("off at 01:00", "dusk to 01:00", "dark")
    for other in (by_off, by_program):
        assert other["change"]["lit_h"] == 365.0
        assert other["change"]["meter_kwh"] == 36.5
        # 36.5 kWh at 0.15 are 5.475, and a half is rounded up.
        assert (other["change"]["cost_unrounded"], other["change"]["cost"]) == (5.475, 5.48)
        assert other["changes"] == [{"zone": "path", **other["change"]}]
    assert dark["total"]["lit_h"] == 0
    assert dark["change"]["lit_h"] == -told["present"]["total"]["lit_h"]


def test_an_off_time_leaves_mornings_and_dark_nights_alone(tmp_path):
    """Evening spans end at another time, on special nights too; mornings and dark nights stay as they are."""
    zones = """
[[zones]]
id = "drive"
pin = 17
program = ["20:00 to 22:00", "05:00 to 06:00"]

  [[zones.special_nights]]
  nights = "Sat"
  program = ["21:00 for 1h"]

  [[zones.special_nights]]
  nights = "Sun"
  program = []
"""
    site = write_site(tmp_path, zones, top='latitude = 0\nlongitude = 0\ntime_zone = "Etc/UTC"')
    told = year(site, "--off", "23:00", "--program", "18:00 to 19:00 and 20:00 to 21:00")
    off, program = told["others"]
    weekdays = {day: 52 + (day == 4) for day in range(7)}  # 2027 begins and ends on a Friday
    working = 365 - weekdays[5] - weekdays[6]
    assert told["present"]["total"]["lit_h"] == working * 3 + weekdays[5]
    assert off["total"]["lit_h"] == working * 4 + weekdays[5] * 2
    # Another program leaves the special nights as they are.
    assert program["total"]["lit_h"] == working * 2 + weekdays[5]


def test_an_old_timer_against_the_sun(tmp_path):
    """Pins at 21:15 and 23:45, set right after each clock change, against the dusks of season_nightly.csv."""
    site = write_site(tmp_path, dusk_zone(), top=OSLO)
    args = ("--old-timer", "21:15-23:45", "--set-on", "2026-12-01", "--moved-at-clock-changes")
    timer = year(site, *args)["old_timer"]
    assert (timer["pins"], timer["set_on"], timer["drift_s_per_day"]) == ("21:15-23:45", "2026-12-01", 0)
    nights = {each["night"]: each for each in timer["nights"]}
    checked = 0
    for row in NIGHTLY:
        if row["latitude"] != "60":
            continue
        told, dark_h = nights[row["local_night_date"]], float(row["hours_civil_dusk_to_midnight"])
        dusk_h = 24 - dark_h
        assert told["lit_h"] == 2.5
        assert told["daylight_h"] == pytest.approx(min(max(dusk_h - 21.25, 0), 2.5), abs=120 / 3600)
        assert told["unlit_dark_h"] == pytest.approx(max(21.25 - dusk_h, 0), abs=120 / 3600)
        checked += 1
    assert checked == 365
    assert timer["daylight_h"] == pytest.approx(sum(each["daylight_h"] for each in nights.values()), abs=1e-3)
    assert timer["lit_h"] == timer["total"]["lit_h"] == 912.5


def test_a_dial_that_nobody_moves_is_an_hour_off(tmp_path):
    """Set in April and never moved, the dial runs an hour ahead of the wall from November to March."""
    site = write_site(tmp_path, dusk_zone(), top=NEW_YORK)
    told = call_json("year", site, "--from", "2027-04-18", "--old-timer", "21:15-23:45")
    nights = {each["night"]: each for each in told["old_timer"]["nights"]}
    # Clock changes of New York, tz database: 7 November 2027 and 12 March 2028.
    for night, ahead_s, on in (
        ("2027-11-05", 0, "2027-11-06T01:15:00Z"),
        ("2027-11-08", 3600, "2027-11-09T01:15:00Z"),
        ("2028-03-10", 3600, "2028-03-11T01:15:00Z"),
        ("2028-03-13", 0, "2028-03-14T01:15:00Z"),
    ):
        assert (nights[night]["dial_ahead_s"], nights[night]["windows"][0]["on"]) == (ahead_s, on)
    drifting = call_json(
        "year", site, "--from", "2027-04-18", "--old-timer", "21:15-23:45", "--drift-s-per-day", "10"
    )
    # At the hundredth noon after it was set, a dial that gains ten seconds a day is a thousand seconds ahead,
    # and by 21:15 another 3.9 s.
    night = drifting["old_timer"]["nights"][100]
    assert night["dial_ahead_s"] == pytest.approx(1000, abs=0.2)
    assert night["windows"][0]["on"] == "2027-07-28T00:58:16Z"


def test_an_old_timer_switches_the_mains(tmp_path):
    """Behind the timer a dark transformer takes nothing, whatever the relays do now."""
    shed = '[[transformers]]\nid = "shed"\nrated_va = 200\nno_load_w = 8\n'
    told = year(write_site(tmp_path, shed + dusk_zone(), top=NEW_YORK), "--old-timer", "21:15-23:45")
    timer = told["old_timer"]
    assert timer["total"]["meter_kwh"] == pytest.approx(912.5 * 108 / 1000, abs=1e-3)
    assert told["present"]["total"]["at_least"] is False
    assert timer["change"]["meter_kwh"] == pytest.approx(
        timer["total"]["meter_kwh"] - told["present"]["total"]["meter_kwh"], abs=2e-6
    )


def test_one_zone_is_told_as_among_all():
    """A zone asked for alone bears the same part of its transformer's losses as among the others."""
    site = example_path("full-property")
    (alone,) = year(site, "--zone", "terrace")["present"]["totals"]
    among = {row["zone"]: row for row in year(site)["present"]["totals"]}
    assert alone == among["terrace"]
    assert len(among) == 8


def test_the_tables_tell_it_all(tmp_path):
    """A person reads months, zones, differences and the old timer's waste."""
    site = write_site(tmp_path, TARIFF + dusk_zone(), top=NEW_YORK)
    result = call(
        "year", site, "--from", "2027-01-01", "--off", "01:00", "--old-timer", "21:15-23:45",
        "--set-on", "2026-12-01", "--drift-s-per-day", "2",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    words = result.stdout
    assert "Tern Cottage, 365 nights from 2027-01-01 to 2027-12-31" in words
    assert "2027-06" in words
    assert "With off at 01:00" in words
    assert "+365.00" in words
    assert "With an old timer 21:15-23:45" in words
    assert "Set on 2026-12-01, never moved, gains 2 s a day" in words
    # No transformer is known, so all of it is a lower bound.
    assert "≥ 173." in words
    assert "At least: the site has no transformer; add [[transformers]] with efficiency, or" in words


def test_the_picture_goes_into_a_file(tmp_path):
    """With a file named, the picture of these nights is drawn into it, beside the words."""
    picture = tmp_path / "year.svg"
    result = call("year", example_path("one-zone"), "--from", "2027-01-01", "--svg", picture)
    assert result.exit_code == 0, result.output
    assert str(picture) in result.stdout
    assert ET.fromstring(picture.read_text("utf-8")).tag == "{http://www.w3.org/2000/svg}svg"
    told = call("year", example_path("one-zone"), "--from", "2027-01-01", "--svg", picture, "--json")
    assert json.loads(told.stdout)["from"] == "2027-01-01"


def test_it_begins_tonight(monkeypatch, tmp_path):
    """Without a date the first night is the one that holds now: at nine in the morning still yesterday's."""
    monkeypatch.setattr("api.cli.year.now_utc", lambda: datetime(2027, 6, 22, 9, tzinfo=UTC))
    told = call_json("year", write_site(tmp_path, dusk_zone()))
    assert (told["from"], told["to"]) == ("2027-06-21", date(2028, 6, 19).isoformat())


def test_it_begins_when_an_old_timer_is_set(monkeypatch, tmp_path):
    """A dial that is set on a later day has nothing to be compared with before it."""
    monkeypatch.setattr("api.cli.year.now_utc", lambda: datetime(2027, 1, 22, 9, tzinfo=UTC))
    dial = ("--old-timer", "21:15-23:45", "--set-on", "2027-04-18")
    assert call_json("year", write_site(tmp_path, dusk_zone()), *dial)["from"] == "2027-04-18"


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (["--off", "25:00"], "--off"),
        (["--off", "dusk"], "write a clock time such as 21:00, or midnight"),
        (["--program", "dusk til midnight"], "write “to”"),
        (["--old-timer", "9pm-11pm"], "“9pm-11pm” names no two pins"),
        (["--old-timer", "21:15-21:15"], "cannot both stand at 21:15"),
        (["--old-timer", "21:15-23:45", "--drift-s-per-day", "2000"], "drifts by at most 900 s a day"),
        (["--set-on", "2027-04-18"], "give its pins with --old-timer"),
        (
            ["--old-timer", "21:15-23:45", "--from", "2027-01-01", "--set-on", "2027-04-18"],
            "begin with --from 2027-04-18",
        ),
        (["--from", "18.4.2027"], "is not a date"),
        (["--zone", "pier"], "no zone is called “pier”"),
        (["--svg", "{folder}/none/year.svg"], "No such file"),
    ],
)
def test_a_wrong_request_is_one_line(tmp_path, args, told):
    """What cannot be worked out is refused in one line that says what would do."""
    site = write_site(tmp_path, dusk_zone())
    result = call("year", site, *(arg.format(folder=tmp_path) for arg in args))
    assert result.exit_code == 2
    assert not result.stdout
    (line,) = result.stderr.splitlines()
    assert told in line
