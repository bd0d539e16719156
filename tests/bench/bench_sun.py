"""A year's dusks at 51.5° N: time and worst error, beside astral, Skyfield and ephem.

The truth is DE421's: Skyfield's ``find_settings`` with the horizon at -6 degrees, whose answers are checked
against DE421's height of the sun before they are believed.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

import ephem  # type: ignore[import-untyped]
from astral import Observer
from astral.sun import dusk
from skyfield import almanac  # type: ignore[import-untyped]

from controller.calendar.night import nights, zone_info
from controller.sun.sun import Sun
from tests.bench.benchmark import Benchmark, Measurement, best_ms
from tests.reference import CIVIL_ANGLE_DEG
from tests.reference.de421 import ephemeris, place, sun_heights_deg

LATITUDE_DEG = 51.5
LONGITUDE_DEG = 0.0
ZONE = "Europe/London"
FIRST, LAST = date(2027, 1, 1), date(2027, 12, 31)
WHAT = "a year's dusks at 51.5° N"
ERROR = f"{WHAT}, worst error"
BENCHMARKS = (
    Benchmark(what=WHAT, unit="ms", reference="astral dusk()", max_ratio=2),
    Benchmark(what=WHAT, unit="ms", reference="Skyfield", max_ratio=1),
    Benchmark(what=WHAT, unit="ms", reference="ephem", max_ratio=1),
    Benchmark(what=ERROR, unit="s", reference="astral dusk()", max_value=4.5),
    Benchmark(what=ERROR, unit="s", reference="ephem", max_value=4.5),
)
ROOT_ERROR_DEG = 0.0001  # how well the truth itself must stand at the angle: 0.04 s

Instants = Sequence[datetime]


def dusks_of_ours() -> Instants:
    """Our dusks, nights included, by a sun that remembers nothing yet."""
    sun = Sun(LATITUDE_DEG, LONGITUDE_DEG)
    found = (sun.dusk(night, CIVIL_ANGLE_DEG) for night in nights(FIRST, LAST, zone_info(ZONE)))
    return [each for each in found if each is not None]


def dusks_of_astral() -> Instants:
    """The dusks that astral gives by itself."""
    observer = Observer(LATITUDE_DEG, LONGITUDE_DEG, 0.0)
    days = (LAST - FIRST).days + 1
    return [dusk(observer, FIRST + timedelta(days=day), CIVIL_ANGLE_DEG) for day in range(days)]


def dusks_of_skyfield() -> Instants:
    """Skyfield's settings below -6 degrees, from noon of the first day to noon after the last."""
    planets, scale = ephemeris()
    start = scale.utc(FIRST.year, FIRST.month, FIRST.day, 12)
    end = scale.utc(LAST.year, LAST.month, LAST.day + 1, 12)
    times, truly = almanac.find_settings(
        place(LATITUDE_DEG, LONGITUDE_DEG), planets["sun"], start, end, horizon_degrees=-CIVIL_ANGLE_DEG
    )
    return [each.astimezone(UTC) for each, sets in zip(times.utc_datetime(), truly, strict=True) if sets]


def dusks_of_ephem() -> Instants:
    """The settings that ephem gives of the sun's centre below -6 degrees, without refraction."""
    observer = ephem.Observer()
    observer.lat, observer.lon = str(LATITUDE_DEG), str(LONGITUDE_DEG)
    observer.pressure, observer.horizon = 0, str(-CIVIL_ANGLE_DEG)
    sun, found = ephem.Sun(), []
    for day in range((LAST - FIRST).days + 1):
        noon = datetime(FIRST.year, FIRST.month, FIRST.day, 12) + timedelta(days=day)  # noqa: DTZ001 (ephem's way)
        found.append(observer.next_setting(sun, start=noon, use_center=True).datetime().replace(tzinfo=UTC))
    return found


def worst_s(found: Instants, truth: Instants) -> float:
    """Give the largest difference, night by night, in seconds."""
    return max(abs((one - two).total_seconds()) for one, two in zip(found, truth, strict=True))


def true_dusks() -> Instants:
    """Give DE421's dusks, checked: at each of them DE421's sun stands at the angle."""
    truth = dusks_of_skyfield()
    for each in truth:
        [height_deg] = sun_heights_deg(LATITUDE_DEG, LONGITUDE_DEG, each, [0])
        if abs(height_deg + CIVIL_ANGLE_DEG) > ROOT_ERROR_DEG:
            raise ValueError(f"the truth is not true: at {each} the sun stands at {height_deg} degrees")
    return truth


def measure() -> list[Measurement]:
    """Time all four and compare all with DE421."""
    truth = true_dusks()
    # Ours and astral's are short and compared closely: taken in turns, so that both meet the same machine.
    rounds = [(best_ms(dusks_of_ours, 1), best_ms(dusks_of_astral, 1)) for _ in range(15)]
    ours_ms, astral_ms = (min(column) for column in zip(*rounds, strict=True))
    skyfield_ms, ephem_ms = best_ms(dusks_of_skyfield, 2), best_ms(dusks_of_ephem, 3)
    ours_s = worst_s(dusks_of_ours(), truth)
    astral_s, ephem_s = worst_s(dusks_of_astral(), truth), worst_s(dusks_of_ephem(), truth)
    figures = (
        (ours_ms, astral_ms),
        (ours_ms, skyfield_ms),
        (ours_ms, ephem_ms),
        (ours_s, astral_s),
        (ours_s, ephem_s),
    )
    return [benchmark.measured(*pair) for benchmark, pair in zip(BENCHMARKS, figures, strict=True)]
