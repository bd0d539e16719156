"""The sun's edges against instants, and hours of darkness, that others worked out (tests/reference)."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from controller.calendar.night import Night, clock_in_night, night_on, nights
from controller.sun.sun import SUNSET_ANGLE_DEG, Sun
from tests.reference import CIVIL_ANGLE_DEG, rows, zone

ANGLES_DEG = {
    "sunset": SUNSET_ANGLE_DEG,
    "dusk": CIVIL_ANGLE_DEG,
    "nautical dusk": 12.0,
    "dawn": CIVIL_ANGLE_DEG,
    "sunrise": SUNSET_ANGLE_DEG,
}
SUN = rows("sun.csv")
SEASON_NIGHTS = rows("season_nightly.csv")
SEASON_MONTHS = rows("season.csv")


def sky_and_night(row: dict[str, str], night_date: str) -> tuple[Sun, Night]:
    """Give the place and the night that a row is about."""
    sun = Sun(float(row["latitude"]), float(row["longitude"]))
    return sun, night_on(date.fromisoformat(night_date), zone(row["time_zone"]))


def name_of(row: dict[str, str]) -> str:
    """Name a row in the test report."""
    return f"{row['place']}-{row['night']}-{row['event']}"


# --- sun.csv: Skyfield with DE421, confirmed by ephem and astropy ---


@pytest.mark.parametrize("row", [row for row in SUN if row["instant_utc"].endswith("Z")], ids=name_of)
def test_every_edge_is_where_the_ephemeris_has_it(row: dict[str, str]) -> None:
    """Off by no more than one second and what 0.011 degree of Meeus's sun make at that crossing."""
    sun, night = sky_and_night(row, row["night"])
    angle_deg = ANGLES_DEG[row["event"]]
    stretches = sun.dark_intervals(night, angle_deg)
    if row["event"] in {"dawn", "sunrise"}:
        edges = [each.ends_at_utc for each in stretches if each.ends_at_utc < night.ends_at_utc]
    else:
        edges = [each.starts_at_utc for each in stretches if each.starts_at_utc > night.starts_at_utc]
    assert len(edges) == 1
    off_s = (edges[0] - datetime.fromisoformat(row["instant_utc"])).total_seconds()
    assert abs(off_s) <= 1 + 1.1 * float(row["seconds_per_0.01deg"])


@pytest.mark.parametrize("row", [row for row in SUN if row["instant_utc"] == "never-that-low"], ids=name_of)
def test_a_night_that_never_gets_that_dark_has_neither_dusk_nor_dawn(row: dict[str, str]) -> None:
    """In the white nights there is no dark stretch, and nothing raises."""
    sun, night = sky_and_night(row, row["night"])
    angle_deg = ANGLES_DEG[row["event"]]
    assert sun.dark_intervals(night, angle_deg) == ()
    assert sun.dusk(night, angle_deg) is None
    assert sun.dawn(night, angle_deg) is None


@pytest.mark.parametrize("row", [row for row in SUN if row["instant_utc"] == "never-that-high"], ids=name_of)
def test_a_night_that_never_gets_light_is_dark_from_noon_to_noon(row: dict[str, str]) -> None:
    """In the polar night dusk is the night's beginning and dawn is its end."""
    sun, night = sky_and_night(row, row["night"])
    angle_deg = ANGLES_DEG[row["event"]]
    [stretch] = sun.dark_intervals(night, angle_deg)
    assert (stretch.starts_at_utc, stretch.ends_at_utc) == (night.starts_at_utc, night.ends_at_utc)
    assert sun.dusk(night, angle_deg) == night.starts_at_utc
    assert sun.dawn(night, angle_deg) == night.ends_at_utc


def test_the_table_has_all_three_kinds_of_rows() -> None:
    """25 nights of 5 events, and both kinds of "never": the three tests above leave no row out."""
    kinds = [row["instant_utc"] if row["instant_utc"].startswith("never") else "instant" for row in SUN]
    assert len(SUN) == 125
    assert set(kinds) == {"instant", "never-that-low", "never-that-high"}


# --- NREL's worked example ---


def test_the_worked_example_of_nrel_comes_out() -> None:
    """True elevation 39.872046 degrees on 17 October 2003, 19:30:30 UTC (NREL/TP-560-34302, revised 2008).

    NREL counts parallax for a height of 1830 m, 0.0019 degrees here, and Meeus's sun of low accuracy may be
    off by 0.014: together 0.016.
    """
    at_utc = datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC)
    assert Sun(39.742476, -105.1786).elevation_deg(at_utc) == pytest.approx(39.872046, abs=0.016)


# --- hours from dusk to midnight over 2027 ---


def hours_to_midnight(sun: Sun, night: Night, zone_name: str, angle_deg: float) -> float:
    """Give the hours from dusk to the next local midnight; none where dusk comes later or never."""
    dusk_utc = sun.dusk(night, angle_deg)
    if dusk_utc is None:
        return 0.0
    midnight_utc = clock_in_night(night, 0, 0, zone(zone_name))
    return max((midnight_utc - dusk_utc) / timedelta(hours=1), 0.0)


@pytest.mark.parametrize(("latitude", "bound_s"), [("0", 20), ("40", 20), ("60", 120)])
def test_hours_from_dusk_to_midnight_are_right_on_every_night(latitude: str, bound_s: float) -> None:
    """Every night of 2027 within 20 s up to 40 degrees and within two minutes at 60 (season_nightly.csv)."""
    table = [row for row in SEASON_NIGHTS if row["latitude"] == latitude]
    assert len(table) == 365
    for row in table:
        sun, night = sky_and_night(row, row["local_night_date"])
        hours = hours_to_midnight(sun, night, row["time_zone"], CIVIL_ANGLE_DEG)
        off_s = (hours - float(row["hours_civil_dusk_to_midnight"])) * 3600
        assert abs(off_s) <= bound_s, row["local_night_date"]


def hours_of_month(latitude: float, longitude: float, zone_name: str, month: int, angle_deg: float) -> float:
    """Sum the hours to midnight over the nights of one month of 2027."""
    sun = Sun(latitude, longitude)
    first = date(2027, month, 1)
    last = (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)
    month_nights = nights(first, last, zone(zone_name))
    return sum(hours_to_midnight(sun, night, zone_name, angle_deg) for night in month_nights)


# A Meeus sun that shares no code with us differs by at most 0.028 h a month from the table (its README);
# a whole second that our edges may come late makes at most 31 s more.
MONTH_BOUND_H = 0.028 + 31 / 3600


@pytest.mark.parametrize("row", SEASON_MONTHS, ids=lambda row: f"{row['latitude']}-month-{row['month']}")
def test_hours_of_a_month_add_up(row: dict[str, str]) -> None:
    """Dusk to midnight and sunset to midnight, by month, at the equator, 40 N and 60 N (season.csv)."""
    where = (float(row["latitude"]), float(row["longitude"]), row["time_zone"], int(row["month"]))
    from_dusk = hours_of_month(*where, CIVIL_ANGLE_DEG)
    assert from_dusk == pytest.approx(float(row["hours_civil_dusk_to_midnight"]), abs=MONTH_BOUND_H)
    from_sunset = hours_of_month(*where, SUNSET_ANGLE_DEG)
    assert from_sunset == pytest.approx(float(row["hours_sunset_to_midnight"]), abs=MONTH_BOUND_H)


@pytest.mark.parametrize(
    ("latitude", "zone_name", "dusk_year", "sunset_year", "by_month"),
    [
        (25, "Etc/UTC", 2015.42, 2161.83, {1: 187.4, 3: 169.5, 6: 141.8, 9: 166.7, 12: 196.8}),
        (52, "Europe/London", 1686.65, 1922.25, {1: 217.4, 3: 161.6, 6: 55.8, 9: 125.8, 12: 231.7}),
    ],
)
def test_hours_of_a_year_add_up(
    latitude: float, zone_name: str, dusk_year: float, sunset_year: float, by_month: dict[int, float]
) -> None:
    """25 N and London's 52 N by year, and by month to the 0.1 h that is known (reference README)."""
    months = {month: hours_of_month(latitude, 0, zone_name, month, CIVIL_ANGLE_DEG) for month in range(1, 13)}
    for month, expected in by_month.items():
        assert months[month] == pytest.approx(expected, abs=0.05 + MONTH_BOUND_H)
    assert sum(months.values()) == pytest.approx(dusk_year, abs=12 * MONTH_BOUND_H)
    from_sunset = [hours_of_month(latitude, 0, zone_name, month, SUNSET_ANGLE_DEG) for month in range(1, 13)]
    assert sum(from_sunset) == pytest.approx(sunset_year, abs=12 * MONTH_BOUND_H)


# --- values that are also known one by one ---


FORTY_WEST = (40.0, -75.0, "America/New_York")
MID_NORTH = (52.0, 0.0, "Europe/London")
LINE_ISLE = (1.87, -157.43, "Pacific/Kiritimati")


@pytest.mark.parametrize(
    ("where", "night_date", "angle_deg", "expected"),
    [
        (FORTY_WEST, date(2027, 3, 13), SUNSET_ANGLE_DEG, "2027-03-13T23:04:36Z"),
        (FORTY_WEST, date(2027, 3, 13), CIVIL_ANGLE_DEG, "2027-03-13T23:31:36Z"),
        (MID_NORTH, date(2026, 10, 24), CIVIL_ANGLE_DEG, "2026-10-24T17:21:54Z"),
        (LINE_ISLE, date(2027, 1, 1), SUNSET_ANGLE_DEG, "2027-01-01T04:33:27Z"),
    ],
)
def test_spot_values_within_six_seconds(
    where: tuple[float, float, str], night_date: date, angle_deg: float, expected: str
) -> None:
    """A few evenings that a person can look up: 40 N, 52 N and the Line Islands, by DE421."""
    latitude, longitude, zone_name = where
    dusk_utc = Sun(latitude, longitude).dusk(night_on(night_date, zone(zone_name)), angle_deg)
    assert dusk_utc is not None
    assert abs((dusk_utc - datetime.fromisoformat(expected)).total_seconds()) <= 6
