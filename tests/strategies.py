"""Hypothesis strategies for whole sites and for instants, from which plans and decisions are drawn."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st

from config.models.site import GREATEST_DUSK_ANGLE_DEG, LEAST_DUSK_ANGLE_DEG, Site
from controller.records.entries import Override
from controller.records.reading import Reading
from tests.config.strategies import nights, spans
from tests.sites import site, zone

# Zones whose clocks change in unusual ways, or that lie far from Greenwich, beside ordinary ones; every clock
# change of tests/reference/clock_changes.csv is of one of these.
TIME_ZONES = (
    "Africa/Cairo",
    "America/Havana",
    "America/New_York",
    "America/Santiago",
    "America/St_Johns",
    "Antarctica/Troll",
    "Asia/Beirut",
    "Asia/Kathmandu",
    "Asia/Shanghai",
    "Atlantic/Azores",
    "Atlantic/Reykjavik",
    "Australia/Lord_Howe",
    "Europe/London",
    "Europe/Oslo",
    "Pacific/Apia",
    "Pacific/Chatham",
    "Pacific/Kiritimati",
    "Pacific/Pago_Pago",
)
# A busy machine must not make a property fail.
patient = settings(deadline=None)

FIRST, LAST = date(2026, 1, 1), date(2031, 12, 31)

latitudes = st.one_of(
    st.floats(-90, 90), st.floats(65, 75), st.floats(-72, -64), st.sampled_from([0.0, 51.5, 90.0, -90.0])
)
longitudes = st.floats(-180, 180)
dusk_angles = st.one_of(st.just(6.0), st.floats(LEAST_DUSK_ANGLE_DEG, GREATEST_DUSK_ANGLE_DEG))
dates = st.dates(FIRST, LAST)
instants = st.datetimes(
    datetime(FIRST.year, 1, 1),  # noqa: DTZ001
    datetime(LAST.year, 12, 31),  # noqa: DTZ001
    timezones=st.just(UTC),
)
programs = st.lists(spans.map(str), max_size=4)


def special_nights(around: date) -> st.SearchStrategy[list[tuple[str, list[str]]]]:
    """Draw special nights, of which many hold about a date."""
    near = st.integers(-3, 3).map(lambda days: around + timedelta(days=days))
    month_days = near.map(lambda day: f"{day:%m-%d}")
    texts = st.one_of(nights.map(str), near.map(str), st.tuples(month_days, month_days).map(" to ".join))
    return st.lists(st.tuples(texts, programs), max_size=3)


@st.composite
def sites(draw: Any, around: date | None = None, zones: int = 1) -> Site:
    """Draw a site anywhere on the earth, with any programs; ``around`` is where its special nights lie."""
    around = around or draw(dates)
    return site(
        *(
            zone(f"zone-{number}", pin=2 + number, special=draw(special_nights(around)))
            | {"program": draw(programs)}
            for number in range(zones)
        ),
        latitude=draw(latitudes),
        longitude=draw(longitudes),
        time_zone=draw(st.sampled_from(TIME_ZONES)),
        dusk_angle=draw(dusk_angles),
    )


def readings(at_utc: datetime) -> st.SearchStrategy[Reading]:
    """Draw what a clock says at an instant: in one of two boots, believed or not."""
    return st.builds(
        Reading,
        utc=st.just(at_utc),
        boot_s=st.floats(0, 1e6),
        boot_id=st.sampled_from(["boot-1", "boot-2"]),
        trusted=st.booleans(),
        trust=st.just("as drawn"),
    )


def overrides(zone_id: str, now: Reading) -> st.SearchStrategy[Override]:
    """Draw overrides placed before now, in this boot or an earlier one, that end soon, later or long ago."""
    ago_s = st.floats(0, 2e5)
    placed = st.builds(
        lambda ago, boot, trusted: Reading(
            utc=now.utc - timedelta(seconds=ago),
            boot_s=now.boot_s - ago,
            boot_id=boot,
            trusted=trusted,
            trust="as drawn",
        ),
        ago_s,
        st.sampled_from([now.boot_id, "boot-0"]),
        st.booleans(),
    )
    ends = st.one_of(
        st.floats(1, 2e5).map(lambda lasts_s: {"lasts_s": lasts_s}),
        st.floats(-2e5, 2e5).map(lambda in_s: {"ends_at_utc": now.utc + timedelta(seconds=in_s)}),
    )
    return st.builds(
        lambda on, at, end: Override(zone=zone_id, on=on, placed_at=at, **end), st.booleans(), placed, ends
    )
