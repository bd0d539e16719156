"""``leerie nights --json`` against values from outside: the sun over the world, and a year of evenings."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.api.command import call_json, write_site, zone_table
from tests.reference import rows, zone

# sun.csv: 25 nights x 5 events, Skyfield 1.55 with JPL DE421; see tests/reference/README.md.
SUN = rows("sun.csv")
NIGHTS = sorted({(row["place"], row["night"]) for row in SUN})
# How each event is written in the program language: the zone, the edge of its window, the file's dusk_angle.
EVENTS = {
    "sunset": ("sun", "on", 6),
    "sunrise": ("sun", "off", 6),
    "dusk": ("twilight", "on", 6),
    "dawn": ("twilight", "off", 6),
    "nautical dusk": ("twilight", "on", 12),
}
ZONES = (
    zone_table("sun", "sunset to sunrise")
    + zone_table("twilight", "dusk to dawn", pin=4)
    + zone_table("dark", "12:00 to 11:59, while dark", pin=5)
)

# season_nightly.csv: hours from civil dusk to the next local midnight, JPL DE421. Bounds by latitude.
SEASON = rows("season_nightly.csv")
SEASON_BOUNDS_S = {"0": 20.0, "40": 20.0, "60": 120.0}


def place_of(row: dict[str, str]) -> str:
    """Write the place of a reference row as a site file has it."""
    return (
        f"latitude = {float(row['latitude'])}\nlongitude = {float(row['longitude'])}\n"
        f'time_zone = "{row["time_zone"]}"'
    )


def noon_utc(night: str, time_zone: str, days: int = 0) -> datetime:
    """Give the local noon at which a night begins, or the one so many days later."""
    on_date = date.fromisoformat(night) + timedelta(days=days)
    return datetime(on_date.year, on_date.month, on_date.day, 12, tzinfo=zone(time_zone)).astimezone(UTC)


def ask(folder: Path, row: dict[str, str], dusk_angle: int) -> dict[str, Any]:
    """Ask the command line for every zone in the night of a reference row."""
    top = f"{place_of(row)}\ndusk_angle = {dusk_angle}"
    site = write_site(folder, ZONES, top=top, name=f"{dusk_angle}.toml")
    found = call_json("nights", site, "--from", row["night"], "--to", row["night"])
    return {night["zone"]: night for night in found["nights"]}


Answers = dict[str, dict[str, Any]]


def each_event(folder: Path, place: str, night: str) -> Iterator[tuple[dict[str, str], Answers]]:
    """Give the five reference rows of a night, each with our night of every zone by its angle."""
    events = [row for row in SUN if (row["place"], row["night"]) == (place, night)]
    assert {row["event"] for row in events} == set(EVENTS)
    answers = {angle: ask(folder, events[0], angle) for angle in (6, 12)}
    for row in events:
        yield row, answers[EVENTS[row["event"]][2]]


def is_dark_at_both_ends(place: str, night: str) -> bool:
    """Whether a night begins dark, gets light about noon and ends dark: dawn then comes before dusk."""
    at = {row["event"]: row["instant_utc"] for row in SUN if (row["place"], row["night"]) == (place, night)}
    return at["dawn"].endswith("Z") and at["dusk"].endswith("Z") and at["dawn"] < at["dusk"]


def bound_s(row: dict[str, str]) -> float:
    """Give how far off an event may be: 1 s, and what 0.011 degrees of the sun's height make there."""
    return 1 + 1.1 * float(row["seconds_per_0.01deg"])


def instant(text: str) -> datetime:
    """Read an instant of the JSON or of the reference, both in UTC."""
    assert text.endswith("Z")
    return datetime.fromisoformat(text)


def test_the_reference_is_whole() -> None:
    """All 25 nights of the reference are asked for, with every kind of row among them."""
    assert len(NIGHTS) == 25
    assert len(SUN) == 125
    kinds = [row["instant_utc"] if row["instant_utc"].startswith("never") else "instant" for row in SUN]
    assert min(kinds.count(kind) for kind in ("instant", "never-that-low", "never-that-high")) > 5
    assert [night for night in NIGHTS if is_dark_at_both_ends(*night)] == [("ice-station", "2027-06-21")]


@pytest.mark.parametrize(("place", "night"), NIGHTS)
def test_every_event_of_the_world(tmp_path: Path, place: str, night: str) -> None:
    """Each event lies within 1 s and what 0.011 degrees of angle make at that place and time.

    Where the sun never gets that low the zone is dark and says why. Where it never gets that high, and in
    every night that begins or ends dark, dusk is the night's beginning and dawn its end.
    """
    for row, answers in each_event(tmp_path, place, night):
        zone_id, edge, _ = EVENTS[row["event"]]
        answer = answers[zone_id]
        told = f"{place}, {night}, {row['event']}: {answer}"
        windows = answer["windows"]
        if row["instant_utc"] == "never-that-low":
            assert windows == [], told
            assert answer["because"].strip() not in ("", "every night"), told
            continue
        at = instant((windows[0] if edge == "on" else windows[-1])[edge])
        both_ends = row["event"] in ("dusk", "dawn") and is_dark_at_both_ends(place, night)
        if row["instant_utc"] == "never-that-high" or both_ends:
            assert at == noon_utc(night, row["time_zone"], 0 if edge == "on" else 1), told
            continue
        assert abs((at - instant(row["instant_utc"])).total_seconds()) <= bound_s(row), told


@pytest.mark.parametrize(("place", "night"), NIGHTS)
def test_while_dark_begins_and_ends_where_the_sun_passes(tmp_path: Path, place: str, night: str) -> None:
    """A whole night "while dark" shows each passage of the angle, also where dawn comes before dusk."""
    for row, answers in each_event(tmp_path, place, night):
        windows, event = answers["dark"]["windows"], row["event"]
        told = f"{place}, {night}, {event}: {windows}"
        if event in ("sunset", "sunrise"):
            continue
        if row["instant_utc"] == "never-that-low":
            assert windows == [], told
        elif row["instant_utc"] == "never-that-high":
            assert len(windows) == 1, told
            assert instant(windows[0]["on"]) == noon_utc(night, row["time_zone"]), told
        else:
            edges = [instant(window["off" if event == "dawn" else "on"]) for window in windows]
            off_s = min(abs((edge - instant(row["instant_utc"])).total_seconds()) for edge in edges)
            assert off_s <= bound_s(row), told


@pytest.mark.parametrize("latitude", sorted(SEASON_BOUNDS_S))
def test_a_year_of_evenings(tmp_path: Path, latitude: str) -> None:
    """The hours from dusk to midnight agree with DE421 on every night of 2027; a later dusk counts none."""
    wanted = {row["local_night_date"]: row for row in SEASON if row["latitude"] == latitude}
    assert len(wanted) == 365
    site = write_site(tmp_path, zone_table("jetty", "dusk to midnight"), top=place_of(wanted["2027-01-01"]))
    found = call_json("nights", site, "--from", "2027-01-01", "--to", "2027-12-31")["nights"]
    assert [night["night"] for night in found] == sorted(wanted)
    for night in found:
        lit_s = sum((instant(each["off"]) - instant(each["on"])).total_seconds() for each in night["windows"])
        wanted_s = float(wanted[night["night"]]["hours_civil_dusk_to_midnight"]) * 3600
        assert abs(lit_s - wanted_s) <= SEASON_BOUNDS_S[latitude], f"{night}: {wanted_s:.0f} s wanted"
