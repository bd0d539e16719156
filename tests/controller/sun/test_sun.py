"""The sun over a place: the cases that go wrong with clock-bound or date-bound reckoning, and refusals."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from controller.calendar.night import Night, night_at, night_on, nights
from controller.sun.darkness import DarkInterval
from controller.sun.sun import SUNSET_ANGLE_DEG, Sun
from tests.reference import CIVIL_ANGLE_DEG, zone

SECOND = timedelta(seconds=1)


def fair_s(sun: Sun, at_utc: datetime) -> float:
    """Give the seconds that an edge may be off: one, and what 0.011 degree of Meeus's sun make there."""
    minute = timedelta(seconds=60)
    rate = abs(sun.elevation_deg(at_utc + minute) - sun.elevation_deg(at_utc - minute)) / 120
    return 1 + 0.011 / rate


def assert_close(sun: Sun, found: datetime | None, zone_name: str, wall: str) -> None:
    """Compare an edge with a local time that is known from the ephemeris."""
    assert found is not None
    expected = datetime.fromisoformat(wall).replace(tzinfo=zone(zone_name))
    assert abs((found - expected).total_seconds()) <= fair_s(sun, found)


# --- facts that COMPUTED values in tests/reference/README.md stand for ---


def test_sunset_after_local_midnight_belongs_to_the_night_that_began_the_day_before() -> None:
    """At 64.15 N the sun sets at 00:04:02 on 22 June 2026, in the night of the 21st (sun.csv)."""
    sun, tz = Sun(64.15, -21.94), zone("Atlantic/Reykjavik")
    night = night_on(date(2026, 6, 21), tz)
    sunset = sun.dusk(night, SUNSET_ANGLE_DEG)
    assert_close(sun, sunset, "Atlantic/Reykjavik", "2026-06-22T00:04:02")
    assert sunset is not None
    assert night_at(sunset, tz) == night
    assert sun.dusk(night, CIVIL_ANGLE_DEG) is None


def test_two_sunsets_on_one_date_belong_to_two_nights() -> None:
    """At 69.65 N the sun sets twice on 28 July 2027, at 00:02:09 and 23:50:18; neither is lost."""
    sun, tz = Sun(69.65, 18.96), zone("Europe/Oslo")
    early = sun.dusk(night_on(date(2027, 7, 27), tz), SUNSET_ANGLE_DEG)
    late = sun.dusk(night_on(date(2027, 7, 28), tz), SUNSET_ANGLE_DEG)
    assert_close(sun, early, "Europe/Oslo", "2027-07-28T00:02:09")
    assert_close(sun, late, "Europe/Oslo", "2027-07-28T23:50:18")


def test_at_the_edge_of_the_polar_night_the_sun_may_rise_and_set_before_noon() -> None:
    """At 70.37 N 31.1 E on 23 November 2026 it rises 10:19:47 and sets 11:03:18: two dark stretches."""
    sun = Sun(70.37, 31.1)
    night = night_on(date(2026, 11, 22), zone("Europe/Oslo"))
    long_one, short_one = sun.dark_intervals(night, SUNSET_ANGLE_DEG)
    assert long_one.starts_at_utc == night.starts_at_utc
    assert_close(sun, long_one.ends_at_utc, "Europe/Oslo", "2026-11-23T10:19:47")
    assert_close(sun, short_one.starts_at_utc, "Europe/Oslo", "2026-11-23T11:03:18")
    assert short_one.ends_at_utc == night.ends_at_utc
    assert sun.dusk(night, SUNSET_ANGLE_DEG) == night.starts_at_utc
    assert sun.dawn(night, SUNSET_ANGLE_DEG) == night.ends_at_utc


def test_at_the_end_of_the_polar_night_there_may_be_a_sunrise_without_a_sunset() -> None:
    """At 70.37 N 31.1 E the night of 20 January 2027 begins dark and ends light, at 10:10:20."""
    sun = Sun(70.37, 31.1)
    night = night_on(date(2027, 1, 20), zone("Europe/Oslo"))
    [stretch] = sun.dark_intervals(night, SUNSET_ANGLE_DEG)
    assert stretch.starts_at_utc == night.starts_at_utc == sun.dusk(night, SUNSET_ANGLE_DEG)
    assert stretch.ends_at_utc == sun.dawn(night, SUNSET_ANGLE_DEG)
    assert_close(sun, stretch.ends_at_utc, "Europe/Oslo", "2027-01-21T10:10:20")


def test_polar_day_and_polar_night_are_told_apart() -> None:
    """No sunset in June means no dark stretch; no sunset in December means dark from noon to noon."""
    sun, tz = Sun(78.22, 15.65), zone("Arctic/Longyearbyen")
    summer, winter = night_on(date(2027, 6, 21), tz), night_on(date(2028, 12, 21), tz)
    assert sun.dark_intervals(summer, CIVIL_ANGLE_DEG) == ()
    whole = DarkInterval(starts_at_utc=winter.starts_at_utc, ends_at_utc=winter.ends_at_utc)
    assert sun.dark_intervals(winter, CIVIL_ANGLE_DEG) == (whole,)


def test_a_polar_night_without_dusk_may_still_pass_a_deeper_angle() -> None:
    """At 78.22 N on 21 December 2028 no civil dusk, but -12 degrees at 11:53:06Z (sun.csv)."""
    sun = Sun(78.22, 15.65)
    night = night_on(date(2028, 12, 21), zone("Arctic/Longyearbyen"))
    stretches = sun.dark_intervals(night, 12.0)
    downwards = [each.starts_at_utc for each in stretches if each.starts_at_utc > night.starts_at_utc]
    assert len(downwards) == 1
    assert_close(sun, downwards[0], "Etc/UTC", "2028-12-21T11:53:06")


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone_name", "night_date", "wall"),
    [
        (39.47, 75.99, "Asia/Shanghai", date(2028, 6, 21), "2028-06-21T22:26:41"),
        (1.87, -157.43, "Pacific/Kiritimati", date(2027, 1, 1), "2027-01-01T18:33:27"),
        (-13.83, -171.77, "Pacific/Apia", date(2028, 2, 29), "2028-02-29T18:50:40"),
        (-14.28, -170.7, "Pacific/Pago_Pago", date(2028, 2, 29), "2028-02-29T18:46:04"),
    ],
)
def test_far_time_zones_get_the_sunset_of_their_own_evening(
    latitude: float, longitude: float, zone_name: str, night_date: date, wall: str
) -> None:
    """Far from the sun's noon, or from Greenwich's date, the day is still right (sun.csv)."""
    sun = Sun(latitude, longitude)
    assert_close(sun, sun.dusk(night_on(night_date, zone(zone_name)), SUNSET_ANGLE_DEG), zone_name, wall)


def test_a_night_that_was_skipped_has_no_darkness() -> None:
    """Apia's 30 December 2011 has no length, so neither dusk nor dawn."""
    sun, night = Sun(-13.83, -171.77), night_on(date(2011, 12, 30), zone("Pacific/Apia"))
    assert sun.dark_intervals(night, CIVIL_ANGLE_DEG) == ()
    assert sun.dusk(night, CIVIL_ANGLE_DEG) is None
    assert sun.dawn(night, CIVIL_ANGLE_DEG) is None


def test_a_night_of_two_days_keeps_both_its_darknesses() -> None:
    """Kwajalein went back by 23 hours in 1969 and so had a night of 47 hours (tz database)."""
    sun, tz = Sun(9.0, 167.5), zone("Pacific/Kwajalein")
    [long_one] = [
        night
        for night in nights(date(1969, 9, 25), date(1969, 10, 5), tz)
        if night.ends_at_utc - night.starts_at_utc == timedelta(hours=47)
    ]
    first, second = sun.dark_intervals(long_one, CIVIL_ANGLE_DEG)
    assert timedelta(hours=23) < second.starts_at_utc - first.starts_at_utc < timedelta(hours=25)


# --- the memory of a daemon ---


def test_what_is_remembered_is_bounded() -> None:
    """A daemon that asks for years keeps a bounded number of answers, and still gives the right ones."""
    sun, tz = Sun(51.5, 0.0), zone("Europe/London")
    for night in nights(date(2027, 1, 1), date(2034, 12, 31), tz):
        sun.dusk(night, CIVIL_ANGLE_DEG)
    kept = sun._darkness.cache_info()
    assert kept.maxsize is not None
    assert kept.currsize == kept.maxsize < 8 * 365
    night = night_on(date(2027, 1, 1), tz)
    assert sun.dusk(night, CIVIL_ANGLE_DEG) == Sun(51.5, 0.0).dusk(night, CIVIL_ANGLE_DEG)


def test_one_night_of_two_zones_is_not_mixed_up() -> None:
    """Two nights of one date with other noons have their own answers, as when a site's zone is corrected."""
    sun = Sun(39.47, 75.99)
    east = night_on(date(2027, 6, 21), zone("Asia/Shanghai"))
    west = night_on(date(2027, 6, 21), zone("America/New_York"))
    assert sun.dusk(east, CIVIL_ANGLE_DEG) != sun.dusk(west, CIVIL_ANGLE_DEG)


# --- heights, and what is refused ---


def test_the_height_is_the_same_by_any_clock() -> None:
    """The zone in which an instant is written does not move the sun."""
    at_utc = datetime(2027, 3, 1, 17, 40, 12, tzinfo=UTC)
    elsewhere = at_utc.astimezone(timezone(timedelta(hours=5, minutes=45)))
    assert Sun(51.5, -0.1).elevation_deg(elsewhere) == Sun(51.5, -0.1).elevation_deg(at_utc)
    assert Sun(51.5, -0.1).elevation_deg(at_utc) == Sun(51.5, -0.1).elevation_deg(at_utc)


def test_whole_numbers_make_no_other_place() -> None:
    """A latitude given as an int is the same place as the float."""
    at_utc = datetime(2027, 3, 1, 17, 40, tzinfo=UTC)
    assert Sun(52, 0).elevation_deg(at_utc) == Sun(52.0, 0.0).elevation_deg(at_utc)


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [(99.0, 0.0), (-90.01, 0.0), (0.0, 180.5), (0.0, -181.0), (float("nan"), 0.0), (0.0, float("inf"))],
)
def test_a_place_off_the_earth_is_refused(latitude: float, longitude: float) -> None:
    """Nothing is moved in silence to the nearest place that exists."""
    with pytest.raises(ValueError, match="lies between"):
        Sun(latitude, longitude)


def test_a_naive_time_is_refused() -> None:
    """A time without a zone names no instant."""
    with pytest.raises(ValueError, match="needs a zone"):
        Sun(51.5, 0.0).elevation_deg(datetime(2027, 1, 1))  # noqa: DTZ001


def test_a_stretch_without_length_is_refused() -> None:
    """A stretch ends after it begins."""
    at_utc = datetime(2027, 1, 1, tzinfo=UTC)
    with pytest.raises(ValueError, match="ends after it begins"):
        DarkInterval(starts_at_utc=at_utc, ends_at_utc=at_utc)


@pytest.mark.parametrize("latitude", range(-90, 91, 10))
def test_nothing_raises_anywhere_on_any_night(latitude: int) -> None:
    """Every place and season has an answer, in order and inside the night."""
    for longitude in (-180.0, 0.0, 77.3, 180.0):
        sun = Sun(latitude, longitude)
        for night in list(nights(date(2027, 1, 1), date(2028, 3, 1), zone("Etc/UTC")))[::7]:
            for angle_deg in (SUNSET_ANGLE_DEG, CIVIL_ANGLE_DEG, 18.0):
                assert_in_order(night, sun.dark_intervals(night, angle_deg))


def assert_in_order(night: Night, stretches: tuple[DarkInterval, ...]) -> None:
    """Check that stretches follow each other inside the night, at whole seconds."""
    edges = [edge for each in stretches for edge in (each.starts_at_utc, each.ends_at_utc)]
    assert edges == sorted(set(edges))
    assert all(night.starts_at_utc <= edge <= night.ends_at_utc and edge.microsecond == 0 for edge in edges)
