"""The sun by JPL's ephemeris DE421, through Skyfield: the outside authority on where the sun stands.

Topocentric true height of the sun's centre at sea level on WGS84, no atmosphere; UT1 taken as UTC and delta T
as 69.184 s, as in sun.csv. The ephemeris comes inside the package skyfield-data; nothing is fetched.
"""

from __future__ import annotations

import atexit
import warnings
from collections.abc import Iterable
from datetime import datetime
from functools import cache
from typing import Any

import numpy as np
from skyfield.api import Loader, wgs84  # type: ignore[import-untyped]
from skyfield_data import get_skyfield_data_path  # type: ignore[import-untyped]

DELTA_T_S = 69.184


@cache
def ephemeris() -> tuple[Any, Any]:
    """Give DE421 and the time scale; reading them takes a moment, so once a process."""
    with warnings.catch_warnings():
        # The package warns that its table of the earth's rotation is old. That table is not used here.
        warnings.simplefilter("ignore", RuntimeWarning)
        loader = Loader(get_skyfield_data_path(), verbose=False)
    planets = loader("de421.bsp")
    atexit.register(planets.close)
    return planets, loader.timescale(delta_t=DELTA_T_S)


def place(latitude_deg: float, longitude_deg: float) -> Any:
    """Give an observer on the ground."""
    planets, _ = ephemeris()
    return planets["earth"] + wgs84.latlon(latitude_deg, longitude_deg)


def sun_heights_deg(
    latitude_deg: float, longitude_deg: float, from_utc: datetime, seconds: Iterable[float]
) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Give the sun's height at each of some seconds after an instant."""
    planets, scale = ephemeris()
    start = from_utc.replace(second=0, microsecond=0)
    offset_s = (from_utc - start).total_seconds()
    times = scale.utc(
        start.year, start.month, start.day, start.hour, start.minute, np.asarray(list(seconds)) + offset_s
    )
    seen = place(latitude_deg, longitude_deg).at(times).observe(planets["sun"]).apparent()
    heights: np.ndarray[Any, np.dtype[np.float64]] = seen.altaz()[0].degrees
    return heights
