"""The plans of one site, night by night, and the next change of each zone's light."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from config.models.site import Site
from controller.calendar.night import Night, night_at, night_on, zone_info
from controller.planning.plan import NightPlan, PlanContext, Window, plan_night
from controller.sun.sun import Sun

# A yearly stretch may lie 366 nights ahead; a little more tells "never" from "not yet".
HORIZON_NIGHTS = 400
# Nights kept per zone: the horizon and a few already gone.
REMEMBERED_NIGHTS = HORIZON_NIGHTS + 30


@dataclass(frozen=True, kw_only=True, slots=True)
class ProgramState:
    """What the program alone asks of one zone for some time.

    Attributes:
        plan: the plan of the night that decides.
        window: the window that is lit; for a dark zone the last one over in this night, else None.
        waits_for: for a dark zone, the next window of this night, else None.
        since_utc: from when this answer is known to hold.
        until_utc: the next change of the light; None where none comes within the horizon.
    """

    on: bool
    plan: NightPlan
    window: Window | None
    waits_for: Window | None
    since_utc: datetime
    until_utc: datetime | None

    @property
    def words(self) -> str:
        """Why, without instants: equal reasons read equal on every night."""
        if self.on and self.window is not None:
            return f"{self.window.span}, {self.plan.nights}"
        if self.waits_for is not None:
            return f"waits for {self.waits_for.span}, {self.plan.nights}"
        if self.window is not None:
            return f"{self.window.span} is over, {self.plan.nights}"
        return self.plan.because


class Planner:
    """Plans every zone of a site, each night once. It has no clock: the night or the instant is an argument.

    Args:
        tz: the site's time zone with other rules than those in force, as after an update.
    """

    def __init__(self, site: Site, *, tz: ZoneInfo | None = None) -> None:
        self.site = site
        self.tz = tz or zone_info(site.time_zone)
        self.sun = Sun(site.latitude_deg, site.longitude_deg)
        self.place = PlanContext(sun=self.sun, dusk_angle_deg=site.dusk_angle_deg, tz=self.tz)
        self._plans: dict[tuple[str, Night], NightPlan] = {}
        self._last_state: dict[str, ProgramState] = {}

    def night_at(self, at_utc: datetime) -> Night:
        """Give the night that an instant belongs to."""
        return night_at(at_utc, self.tz)

    def plan(self, zone_id: str, night: Night) -> NightPlan:
        """Plan one zone for one night.

        Raises:
            UnknownZoneError: no zone has that id.
        """
        found = self._plans.get((zone_id, night))
        if found is None:
            if len(self._plans) >= REMEMBERED_NIGHTS * len(self.site.zones):
                self._plans.clear()
            found = self._plans[zone_id, night] = plan_night(self.site.zone(zone_id), night, self.place)
        return found

    def program_state(self, zone_id: str, at_utc: datetime) -> ProgramState:
        """Give what the program asks of a zone at an instant, and when that next changes.

        Raises:
            UnknownZoneError: no zone has that id.
        """
        last = self._last_state.get(zone_id)
        if last is not None and last.since_utc <= at_utc:
            night_ends_at_utc = last.plan.night.ends_at_utc
            if at_utc < min(last.until_utc or night_ends_at_utc, night_ends_at_utc):
                return last
        state = self._last_state[zone_id] = self._find_state(zone_id, at_utc)
        return state

    def _find_state(self, zone_id: str, at_utc: datetime) -> ProgramState:
        plan = self.plan(zone_id, self.night_at(at_utc))
        begun = [window for window in plan.windows if window.on_utc <= at_utc]
        ahead = plan.windows[len(begun)] if len(begun) < len(plan.windows) else None
        latest = begun[-1] if begun else None
        if latest is not None and at_utc < latest.off_utc:
            on, ahead, until_utc = True, None, self._lit_until(zone_id, plan, latest)
        elif ahead is not None:
            on, latest, until_utc = False, None, ahead.on_utc
        else:
            on, until_utc = False, self._dark_until(zone_id, plan)
        return ProgramState(
            on=on, plan=plan, window=latest, waits_for=ahead, since_utc=at_utc, until_utc=until_utc
        )

    def _lit_until(self, zone_id: str, plan: NightPlan, window: Window) -> datetime | None:
        """Follow a window across noon where the next night goes on with it, as in the polar night."""
        for _ in range(HORIZON_NIGHTS):
            if window.off_utc < plan.night.ends_at_utc:
                return window.off_utc
            plan = self.plan(zone_id, self._next(plan.night))
            if not plan.windows or plan.windows[0].on_utc > plan.night.starts_at_utc:
                return plan.night.starts_at_utc
            window = plan.windows[0]
        return None

    def _dark_until(self, zone_id: str, plan: NightPlan) -> datetime | None:
        for _ in range(HORIZON_NIGHTS):
            plan = self.plan(zone_id, self._next(plan.night))
            if plan.windows:
                return plan.windows[0].on_utc
        return None

    def _next(self, night: Night) -> Night:
        """Give the next night; one without length, of a date that the time zone skipped, does not count."""
        following = night_on(night.date + timedelta(days=1), self.tz)
        return following if following.ends_at_utc > following.starts_at_utc else self._next(following)
