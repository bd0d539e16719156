"""The clerk: answers what is asked over the web, from what the desk knows.

Everything here may block (a plan is worked out, a file is read or written, the keeper is waited for), so the
routes call it aside, in a thread; all but ``health``, which only looks at what was published.
"""

from __future__ import annotations

import errno
import threading
import time
from collections.abc import Callable
from concurrent.futures import CancelledError
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from api.render.instants import instant_text
from api.render.nights_json import BY_KEEPER, decision_as_json, night_as_json, nights_as_json, why_as_json
from api.web.gateway import KeeperGateway
from api.web.problems.handlers import NO_ANSWER, refuse
from api.web.schemas import status as pictures
from api.web.schemas.requests import NightsAsk, OverrideAsk, ProgramAsk
from api.web.schemas.responses import (
    HealthAnswer,
    OverrideAnswer,
    StatusAnswer,
    TimeZoneAnswer,
    ZoneAnswer,
    ZonesAnswer,
)
from config.errors import SiteFileError
from config.file.atomic_write import FileChangedError
from config.models.site import SpecialNight
from controller.clock.tzdata import tz_data_version
from controller.keeper.state import ZoneStatus
from controller.records.reading import Reading

# The keeper makes a round at least every 30 s; one that missed two of them and a half is stuck.
LATE_S = 90.0
MOST_NIGHTS = 800
USUAL_NIGHTS = 7
_FULL = (errno.ENOSPC, errno.EDQUOT)


def read_boot_s() -> float:
    """Read the clock that counts from boot, suspend included, and that nobody sets."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


class Clerk:
    """Answers from one desk.

    Args:
        desk: the way to the keeper.
        boot_s: reads the keeper's boot-time clock, in seconds.
    """

    def __init__(self, desk: KeeperGateway, *, boot_s: Callable[[], float] = read_boot_s) -> None:
        """Sit down."""
        self.desk = desk
        self._boot_s = boot_s
        # A planner works for one at a time; programs are written one after the other.
        self.planner_lock = threading.Lock()
        self._writing = threading.Lock()

    def now(self) -> Reading:
        """Say what time it is by the keeper's clock: its last reading, and what passed since."""
        at = self.desk.status.at
        since_s = max(0.0, self._boot_s() - at.boot_s)
        return replace(at, utc=at.utc + timedelta(seconds=since_s), boot_s=at.boot_s + since_s)

    # -- what is ---------------------------------------------------------------------------------------------

    def health(self) -> HealthAnswer:
        """Say that the keeper makes its rounds, or refuse to."""
        status = self.desk.status
        age_s = max(0.0, self._boot_s() - status.at.boot_s)
        if age_s >= LATE_S:
            words = f"the keeper made its last round {age_s:.0f} s ago; one is due at least every 30 s"
            raise refuse("keeper-late", words, last_round_s=round(age_s, 1))
        return HealthAnswer(last_round_s=round(age_s, 1), lit=sum(zone.lit for zone in status.zones))

    def status(self) -> StatusAnswer:
        """Show everything at a glance."""
        site, status, now = self.desk.site, self.desk.status, self.now()
        return StatusAnswer(
            site=site.name,
            time_zone=TimeZoneAnswer(name=site.time_zone, rules=tz_data_version(site.time_zone)),
            clock=pictures.show_clock(status, now),
            keeper=pictures.show_keeper(status, now),
            zones=self._zones_in_short(now),
            journal=pictures.show_journal(status),
            site_file=pictures.show_site_file(status),
        )

    def zones(self) -> ZonesAnswer:
        """Show every zone in short."""
        return ZonesAnswer(site=self.desk.site.name, zones=self._zones_in_short(self.now()))

    def zone(self, zone_id: str) -> ZoneAnswer:
        """Show one zone in full."""
        now = self.now()
        with self.planner_lock:
            planner = self.desk.planner
            zone = planner.site.zone(zone_id)
            tonight = night_as_json(planner.plan(zone_id, planner.night_at(now.utc)))
        return pictures.show_zone(zone, self._seen(zone_id), now, tonight)

    def why(self, zone_id: str, at_utc: datetime | None) -> dict[str, Any]:
        """Say why a zone is lit or dark: now as the keeper decided, at any other instant by the site file."""
        if at_utc is not None:
            with self.planner_lock:
                return why_as_json(self.desk.planner, zone_id, at_utc)
        site = self.desk.site
        site.zone(zone_id)
        seen = self._seen(zone_id)
        if seen is None:
            raise refuse("keeper-silent", f"the keeper has made no round with {zone_id} yet; ask again")
        head = {"site": site.name, "zone": zone_id, "at": instant_text(self.now().utc)}
        return {**head, **decision_as_json(seen.decision), "basis": "keeper", "note": BY_KEEPER}

    def nights(self, ask: NightsAsk) -> dict[str, Any]:
        """Say what zones will do, night by night."""
        with self.planner_lock:
            planner = self.desk.planner
            tonight = planner.night_at(self.now().utc).date
            first, last = _stretch(ask, tonight)
            return nights_as_json(planner, first, last, None if ask.zone is None else [ask.zone])

    # -- what is done ----------------------------------------------------------------------------------------

    def override(self, zone_id: str, ask: OverrideAsk) -> OverrideAnswer:
        """Have a zone lit or dark for now."""
        lasts_s = None if ask.lasts is None else float(ask.lasts.seconds)
        try:
            wish = self._ask(
                lambda: self.desk.override(
                    zone_id, on=ask.light == "on", ends_at_utc=ask.until, lasts_s=lasts_s
                )
            )
        except ValueError as error:
            raise refuse("override-refused", str(error)) from error
        return pictures.show_override(wish, self.now())

    def lift_override(self, zone_id: str) -> None:
        """Give a zone back to its program; nothing happens where no override was in force."""
        self._ask(lambda: self.desk.lift_override(zone_id))

    def write_program(self, zone_id: str, ask: ProgramAsk) -> ZoneAnswer:
        """Write a zone's program into the site file, and keep it from now on."""
        special_nights = (
            None
            if ask.special_nights is None
            else [
                SpecialNight(nights=each.nights, program=tuple(each.program)) for each in ask.special_nights
            ]
        )
        self.desk.site.zone(zone_id)
        self.write(lambda: self.desk.write_program(zone_id, ask.program, special_nights))
        return self.zone(zone_id)

    def write(self, work: Callable[[], object]) -> None:
        """Have the site file changed, one change after the other; what hinders it is told as a problem."""
        with self._writing:
            try:
                self._ask(work)
            except PermissionError as error:
                raise refuse("demonstration", str(error)) from error
            except SiteFileError as error:
                if isinstance(error.__cause__, OSError):
                    raise _unwritable(error, error.__cause__) from error
                raise

    # -- helpers ---------------------------------------------------------------------------------------------

    def _ask(self, work: Callable[[], Any]) -> Any:  # noqa: ANN401 - whatever the desk returns
        """Have the keeper do something; one that stops meanwhile did not answer."""
        try:
            return work()
        except CancelledError as error:
            raise TimeoutError(NO_ANSWER) from error

    def _seen(self, zone_id: str) -> ZoneStatus | None:
        """Give what the keeper's last round showed of a zone."""
        return next((zone for zone in self.desk.status.zones if zone.zone == zone_id), None)

    def _zones_in_short(self, now: Reading) -> list[Any]:
        """Show every zone of the site in short, seen already or not."""
        return [pictures.show_in_short(zone, self._seen(zone.id), now) for zone in self.desk.site.zones]


def _stretch(ask: NightsAsk, tonight: date) -> tuple[date, date]:
    """Say from which night to which: what was asked, and the usual where nothing was."""
    first = ask.from_date or tonight
    last = ask.to_date or first + timedelta(days=USUAL_NIGHTS - 1)
    if last < first:
        words = f"to = {last} lies before from = {first}; name a last night that is not before the first"
        raise refuse("invalid-request", words, errors=[{"detail": words, "parameter": "to"}])
    asked = (last - first).days + 1
    if asked > MOST_NIGHTS:
        words = f"{asked} nights were asked for; ask for at most {MOST_NIGHTS} at once"
        raise refuse("invalid-request", words, errors=[{"detail": words, "parameter": "to"}])
    return first, last


def _unwritable(error: SiteFileError, cause: OSError) -> Exception:
    """Say why a site file that would do was not written."""
    if isinstance(cause, FileChangedError):
        name = "site-file-changed"
    else:
        name = "disk-full" if cause.errno in _FULL else "site-file-unwritable"
    return refuse(name, str(error))
