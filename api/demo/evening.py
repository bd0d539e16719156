"""An evening to show: from before sunset until past midnight, and its frames."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from controller.calendar.night import Night, clock_in_night
from controller.keeper.state import KeeperStatus
from controller.planning.planner import Planner
from controller.records.entries import Switching
from controller.sun.sun import SUNSET_ANGLE_DEG

# Shown before the first thing happens, and after the last.
LEAD = timedelta(minutes=25)
TAIL = timedelta(minutes=15)
# An evening ends at 03:00 at the latest; one without sunset and light begins at 18:00.
LAST_HOUR = 3
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
        """Return how much of it is over, 0 to 1."""
        passed_s = (at_utc - self.starts_at_utc).total_seconds()
        return min(max(passed_s / self.lasts_s, 0.0), 1.0)


def choose_evening(planner: Planner, night: Night) -> Evening:
    """Choose what to show of a night: from before sunset and the first light until the last goes out.

    A night without a sunset, or without any light, has an evening, too.
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
    sunset_utc = planner.sun.dusk(night, SUNSET_ANGLE_DEG)
    if sunset_utc is not None and night.starts_at_utc < sunset_utc < last_utc:
        begins.append(sunset_utc)
    first_utc = min(begins, default=clock_in_night(night, EARLY_EVENING_HOUR, 0, planner.tz))
    ends = [window.off_utc for window in windows if window.off_utc <= last_utc]
    starts_at_utc = max(first_utc - LEAD, night.starts_at_utc)
    ends_at_utc = min(max([midnight_utc, *ends]) + TAIL, night.ends_at_utc)
    ends_at_utc = max(ends_at_utc, starts_at_utc + LEAD)
    return Evening(night=night, starts_at_utc=starts_at_utc, ends_at_utc=ends_at_utc)


@dataclass(frozen=True, kw_only=True, slots=True)
class Frame:
    """What there is to show at one moment.

    Attributes:
        pace: seconds of the fast clock in one real second.
        address: where the API is, or why there is none.
        warning: the last warning of the log; empty where there is none.
    """

    at_utc: datetime
    evening: Evening
    planner: Planner
    status: KeeperStatus
    switchings: Sequence[Switching]
    pace: float
    address: str
    warning: str

    def local(self, at_utc: datetime) -> datetime:
        """Return an instant in the site's local time."""
        return at_utc.astimezone(self.planner.tz)

    def name_of(self, zone_id: str) -> str:
        """Return the name of a zone; its id where the site has it no longer."""
        return next((zone.name for zone in self.planner.site.zones if zone.id == zone_id), zone_id)

    def lit_intervals(self, zone_id: str) -> list[tuple[datetime, datetime]]:
        """Return when a zone was lit; where it is still lit, the last interval ends at this moment."""
        intervals: list[tuple[datetime, datetime]] = []
        on_utc: datetime | None = None
        for switching in self.switchings:
            if switching.zone != zone_id:
                continue
            if switching.on:
                on_utc = switching.at.utc
            elif on_utc is not None:
                intervals.append((on_utc, switching.at.utc))
                on_utc = None
        return intervals if on_utc is None else [*intervals, (on_utc, self.at_utc)]


@dataclass(frozen=True, kw_only=True, slots=True)
class DemoResult:
    """What a demonstration showed, from its first frame to its last."""

    first: Frame
    last: Frame
    is_complete: bool
