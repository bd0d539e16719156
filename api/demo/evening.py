"""An evening to show: from before the sun goes until past midnight, and what is to be seen in it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from controller.calendar.night import Night, clock_in_night
from controller.keeper.state import KeeperStatus
from controller.planning.planner import Planner
from controller.records.entries import Cause, Switching
from controller.sun.sun import SUNSET_ANGLE_DEG

# Shown before the first thing happens, and after the last.
LEAD = timedelta(minutes=25)
TAIL = timedelta(minutes=15)
# Who looks at an evening goes to bed some time: 03:00 at the latest.
LAST_HOUR = 3
# A sky without a sunset: the evening then begins at this hour.
EARLY_EVENING_HOUR = 18


@dataclass(frozen=True, kw_only=True, slots=True)
class Evening:
    """The part of a night that is shown."""

    night: Night
    starts_at_utc: datetime
    ends_at_utc: datetime

    @property
    def lasts_s(self) -> float:
        """How long it takes, in seconds of its own clock."""
        return (self.ends_at_utc - self.starts_at_utc).total_seconds()

    def share(self, at_utc: datetime) -> float:
        """Say how much of it is over, 0 to 1."""
        passed_s = (at_utc - self.starts_at_utc).total_seconds()
        return min(max(passed_s / self.lasts_s, 0.0), 1.0)


def choose_evening(planner: Planner, night: Night) -> Evening:
    """Choose what to show of a night: from before sunset and the first light until the last goes out.

    Args:
        planner: the site's plans.
        night: any night, also one without a sunset or one without any light.
    """
    last_utc = clock_in_night(night, LAST_HOUR, 0, planner.tz)
    midnight_utc = clock_in_night(night, 0, 0, planner.tz)
    windows = [
        window
        for zone in planner.site.zones
        for window in planner.plan(zone.id, night).windows
        if window.on_utc < last_utc
    ]
    begins = [window.on_utc for window in windows]
    sunset_utc = planner.sky.dusk(night, SUNSET_ANGLE_DEG)
    if sunset_utc is not None and night.starts_at_utc < sunset_utc < last_utc:
        begins.append(sunset_utc)
    first_utc = min(begins, default=clock_in_night(night, EARLY_EVENING_HOUR, 0, planner.tz))
    ends = [window.off_utc for window in windows if window.off_utc <= last_utc]
    starts_at_utc = max(first_utc - LEAD, night.starts_at_utc)
    ends_at_utc = min(max([midnight_utc, *ends]) + TAIL, night.ends_at_utc)
    return Evening(
        night=night,
        starts_at_utc=starts_at_utc,
        ends_at_utc=max(ends_at_utc, starts_at_utc + LEAD),
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Frame:
    """What is to be seen at one moment of a demonstration.

    Attributes:
        at_utc: the moment, by the hurried clock.
        evening: the evening that it belongs to.
        planner: the site's plans.
        status: the keeper's state after its last round.
        switchings: all of them so far, in order.
        pace: how hurried the clock is.
        address: where the page is, or why there is none.
        trouble: the last thing that the log complained of; empty where all is well.
    """

    at_utc: datetime
    evening: Evening
    planner: Planner
    status: KeeperStatus
    switchings: Sequence[Switching]
    pace: float
    address: str
    trouble: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Seen:
    """What was to be seen in a demonstration, for its last words; ``whole`` where the evening was over."""

    planner: Planner
    switchings: Sequence[Switching]
    started_at_utc: datetime
    ended_at_utc: datetime
    whole: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Lit:
    """How long one zone was lit in the demonstration, and what that took."""

    zone: str
    lit_s: float
    energy_wh: float | None
    ended_by: Cause | None


def lit_stretches(
    switchings: Iterable[Switching], zone: str, until_utc: datetime
) -> list[tuple[datetime, datetime]]:
    """Give the stretches in which a zone was really lit; one that is still lit reaches to ``until_utc``."""
    stretches: list[tuple[datetime, datetime]] = []
    on_utc: datetime | None = None
    for switching in switchings:
        if switching.zone != zone:
            continue
        if switching.on:
            on_utc = switching.at.utc
        elif on_utc is not None:
            stretches.append((on_utc, switching.at.utc))
            on_utc = None
    return stretches if on_utc is None else [*stretches, (on_utc, until_utc)]


def sum_up(switchings: Sequence[Switching], zones: Iterable[str], until_utc: datetime) -> list[Lit]:
    """Say how long each zone was lit, and what it took by its rated load."""
    sums = []
    for zone in zones:
        stretches = lit_stretches(switchings, zone, until_utc)
        lit_s = sum((off - on).total_seconds() for on, off in stretches)
        of_zone = [each for each in switchings if each.zone == zone]
        load_w = of_zone[-1].load_w if of_zone else None
        sums.append(
            Lit(
                zone=zone,
                lit_s=lit_s,
                energy_wh=None if load_w is None else load_w * lit_s / 3600,
                ended_by=of_zone[-1].cause if of_zone and not of_zone[-1].on else None,
            )
        )
    return sums
