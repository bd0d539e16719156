"""What the routes share: the gateway to the keeper, the time, caches, and how many requests run at once.

Routes that block are plain functions: the framework calls them in its thread pool. How many of them run, and
how many wait for a thread, is bounded here, apart for short questions and for long ones.
"""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator, Callable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated

from anyio import CapacityLimiter
from fastapi import Depends, Request

from api.web.gateway import KeeperGateway
from api.web.problems.types import ProblemError
from config.file.loader import LoadedSite
from config.models.site import Site
from controller.clock.clock import read_boot_s
from controller.forecast.forecast import Forecast
from controller.history.report import year_to_come
from controller.keeper.state import ZoneStatus
from controller.planning.planner import Planner
from controller.records.reading import Reading

# More threads would only wait for each other: a planner works for one at a time, and so does the keeper.
MOST_RUNNING = 4
# A request that has gone still waits for its turn, so the queues are bounded apart from the connections.
MOST_SHORT_WAITING = 60
MOST_LONG_WAITING = 12
# Headers of a page that stands alone: its styles are in it; it loads nothing and runs nothing.
SELF_CONTAINED = {"content-security-policy": "default-src 'none'; style-src 'unsafe-inline'"}


class RequestSlots:
    """Bounds how many requests of one kind run in the thread pool, and how many more wait for that."""

    def __init__(self, *, running: int = MOST_RUNNING, waiting: int) -> None:
        self._limiter = CapacityLimiter(running)
        self._waiting = waiting

    def take(self) -> CapacityLimiter:
        """Give the slots, to be held with ``async with``; refuse where too many wait already."""
        now = self._limiter.statistics()
        if now.borrowed_tokens >= now.total_tokens and now.tasks_waiting >= self._waiting:
            words = f"{now.borrowed_tokens} requests are being answered and {now.tasks_waiting} are waiting"
            raise ProblemError("too-busy", f"{words}; ask again in a few seconds")
        return self._limiter


class YearCache:
    """A planner for long questions, and the year ahead by it, computed once a night.

    Whoever uses it holds its lock. Short questions have the gateway's planner, and do not wait for it.
    """

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self._planner: Planner | None = None
        self._year: tuple[Site, date, Forecast] | None = None

    def planner_like(self, current: Planner) -> Planner:
        """Give this cache's own planner, for the site and the time zone data of the current one."""
        ours = self._planner
        if ours is None or ours.site is not current.site or ours.tz is not current.tz:
            ours = self._planner = Planner(current.site, tz=current.tz)
            self._year = None
        return ours

    def year_ahead(self, planner: Planner, now: Reading) -> Forecast:
        """Give the forecast of the year that begins tonight."""
        tonight = planner.night_at(now.utc).date
        if self._year is None or self._year[:2] != (planner.site, tonight):
            self._year = planner.site, tonight, year_to_come(planner, now.utc)
        return self._year[2]


class RequestContext:
    """What a route needs to answer; ``boot_s`` reads the keeper's boot-time clock, in seconds."""

    def __init__(self, gateway: KeeperGateway, *, boot_s: Callable[[], float] = read_boot_s) -> None:
        self.gateway = gateway
        self.boot_s = boot_s
        # Held by whoever uses the gateway's planner, which works for one at a time.
        self.planner_lock = threading.Lock()
        self.years = YearCache()
        self.short_slots = RequestSlots(waiting=MOST_SHORT_WAITING)
        self.long_slots = RequestSlots(waiting=MOST_LONG_WAITING)
        self._writing = threading.Lock()

    def now(self) -> Reading:
        """Read the keeper's clock: its last reading, and what passed since."""
        at = self.gateway.status.at
        since_s = max(0.0, self.boot_s() - at.boot_s)
        return replace(at, utc=at.utc + timedelta(seconds=since_s), boot_s=at.boot_s + since_s)

    def zone_status(self, zone_id: str) -> ZoneStatus | None:
        """Give a zone's state after the keeper's last round; None until its first round with it."""
        return next((zone for zone in self.gateway.status.zones if zone.zone == zone_id), None)

    def write_site(self, edit: Callable[[Path], LoadedSite], note: str) -> None:
        """Edit the site file, one request after the other, and have the keeper take the new site over.

        Args:
            edit: one of the edits of ``config.file``.
            note: what was changed, for the journal.

        Raises:
            ProblemError: this is a demonstration.
            SiteFileError: the changed file would not be valid, or could not be written.
            TimeoutError: the keeper did not answer.
        """
        gateway = self.gateway
        if gateway.site_path is None:
            raise ProblemError("demonstration", "this is a demonstration, which has no site file to write to")
        with self._writing:
            site = edit(gateway.site_path).site
            gateway.call(lambda keeper: keeper.change_site(site, words=note))
            gateway.on_site_written()


async def get_context(request: Request) -> RequestContext:
    """Give the context that the application was made with."""
    context: RequestContext = request.app.state.context
    return context


Context = Annotated[RequestContext, Depends(get_context)]


async def _short_slot(context: Context) -> AsyncIterator[None]:
    async with context.short_slots.take():
        yield


async def _long_slot(context: Context) -> AsyncIterator[None]:
    async with context.long_slots.take():
        yield


# For routes that block: `dependencies=[SHORT]` where the answer is quick, `[LONG]` where it takes a while.
# The slot is given back before the response is sent, so a slow reader holds none.
SHORT = Depends(_short_slot, scope="function")
LONG = Depends(_long_slot, scope="function")
