"""What the routes share: the gateway to the keeper, the time, caches, and how many requests run at once."""

import logging
import re
import threading
import time
from collections.abc import Callable, Coroutine, Hashable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, tzinfo
from functools import partial
from inspect import iscoroutinefunction
from pathlib import Path
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Request, Response
from fastapi.routing import APIRoute
from pydantic import BaseModel

from api.access.access import Access
from api.render.network_json import NetworkResponse
from api.web.gateway import KeeperGateway
from api.web.problems.types import ProblemError
from api.web.slots import (
    MOST_LONG_RUNNING,
    MOST_SHORT_RUNNING,
    RequestSlots,
    begin_request,
    pending_request,
)
from api.web.strict import StrictRequest, check_parameters, parameters_of
from config.file.loader import LoadedSite
from config.models.site import Site
from config.phrase import Phrase
from controller.clock.clock import read_boot_s
from controller.forecast.forecast import Forecast
from controller.history.report import year_to_come
from controller.keeper.keeper import Keeper
from controller.keeper.loop import in_background
from controller.keeper.state import ZoneStatus
from controller.planning.planner import Planner
from controller.records.entries import Event, EventKind
from controller.records.reading import Reading

log = logging.getLogger(__name__)
T = TypeVar("T")

# How long the keeper may take to answer.
CALL_S = 5.0
# In the words of a change of the site file, between what was done and whose change it was.
WRITTEN_BY = ", by "

# Pictures, sentences and pages that took long to work out, and are kept for the next who asks.
MOST_KEPT = 12

# Answers that are sent piece by piece: each keeps some of what it works with while its client reads.
MOST_STREAMS = 4


class YearCache:
    """A planner for long questions, and the year ahead by it, computed once a night.

    Short questions have the gateway's planner, and do not wait for it.

    Attributes:
        turn: held by whoever does long work. More than one at once would only take longer, and keep the
            threads of the keeper and of short questions waiting for the interpreter.
    """

    def __init__(self) -> None:
        self.turn = threading.Lock()
        self._planner: Planner | None = None
        self._year: tuple[Site, date, Forecast] | None = None
        self._kept: dict[Hashable, tuple[Site, tzinfo, Any]] = {}

    @contextmanager
    def planner_like(self, current: Planner) -> Iterator[Planner]:
        """Lend this cache's own planner, for the site and the time zone data of the current one."""
        with self.turn:
            pending_request().require_wanted()
            ours = self._planner
            if ours is None or ours.site is not current.site or ours.tz is not current.tz:
                ours = self._planner = Planner(current.site, tz=current.tz)
                self._year = None
            yield ours

    def year_ahead(self, planner: Planner, now: Reading) -> Forecast:
        """Give the forecast of the year that begins tonight, by the planner that is lent."""
        tonight = planner.night_at(now.utc).date
        if self._year is None or self._year[:2] != (planner.site, tonight):
            self._year = planner.site, tonight, year_to_come(planner, now.utc)
        return self._year[2]

    def keep(self, key: Hashable, current: Planner, work: Callable[[Planner], T]) -> T:
        """Give what came of some work for this site, at once where it is kept; else do it, by our planner.

        ``key`` names the work and all that it depends on besides the site and its time zone data, such as
        the night. What was asked for longest ago goes first.
        """
        found = self._kept.get(key)
        if found is None or found[0] is not current.site or found[1] is not current.tz:
            with self.planner_like(current) as planner:
                found = current.site, current.tz, work(planner)
        self._kept.pop(key, None)
        self._kept[key] = found
        for oldest in list(self._kept)[:-MOST_KEPT]:
            self._kept.pop(oldest, None)
        result: T = found[2]
        return result


class RequestContext:
    """What a route needs to answer.

    Args:
        boot_s: reads the keeper's boot-time clock, in seconds.
        access_path: the file of who is let in; None where nothing is kept.
        network: says where the API is reached now.
        now_s: a clock that nobody sets and that goes at its usual pace, in seconds.
        pace: how fast the keeper's clock goes; more than 1 in a demonstration.
    """

    def __init__(
        self,
        gateway: KeeperGateway,
        *,
        boot_s: Callable[[], float] = read_boot_s,
        access_path: Path | None = None,
        network: Callable[[], NetworkResponse],
        now_s: Callable[[], float] = time.monotonic,
        pace: float = 1.0,
    ) -> None:
        self.gateway = gateway
        self.access = Access(
            access_path, record=self._record, in_background=partial(in_background, name="devices let in")
        )
        self.boot_s = boot_s
        self.network = network
        # Held by whoever uses the gateway's planner, which works for one at a time.
        self.planner_lock = threading.Lock()
        # Held by whoever reads the journal and is asked all the time.
        self.journal_turn = threading.Lock()
        self.years = YearCache()
        self.now_s = now_s
        self.pace = pace
        self.short_slots = RequestSlots(running=MOST_SHORT_RUNNING)
        self.long_slots = RequestSlots(running=MOST_LONG_RUNNING)
        self.streams = RequestSlots(running=MOST_STREAMS)

    def now(self) -> Reading:
        """Read the keeper's clock: its last reading, and what passed since."""
        at = self.gateway.status.at
        since_s = max(0.0, self.boot_s() - at.boot_s)
        return replace(at, utc=at.utc + timedelta(seconds=since_s), boot_s=at.boot_s + since_s)

    def zone_status(self, zone_id: str) -> ZoneStatus | None:
        """Give a zone's state after the keeper's last round; None until its first round with it."""
        return next((zone for zone in self.gateway.status.zones if zone.zone == zone_id), None)

    def site_changed_utc(self) -> datetime:
        """Say when the site file was changed last; where there is none, when the keeper was started."""
        path = self.gateway.site_path
        if path is not None:
            with suppress(OSError, OverflowError, ValueError):
                return datetime.fromtimestamp(int(path.stat().st_mtime), UTC)
        return self.gateway.status.started_at.utc

    def _record(self, kind: EventKind, words: str, at: Reading) -> None:
        """Tell the log and the journal who was let in, or was not."""
        log.info("%s: %s", kind, words)
        self.gateway.append(Event(kind=kind, at=at, words=words))

    def call(self, work: Callable[[Keeper], T]) -> T:
        """Have the keeper do what a request asks for, unless its client has gone or it comes too late.

        Raises:
            TimeoutError: the keeper did not answer; CancelledError where it has stopped.
            ClientGoneError, ProblemError: it was not done; see ``PendingRequest.require_wanted``.
            Exception: whatever ``work`` raises.
        """
        pending = pending_request()

        def carry_out(keeper: Keeper) -> T:
            pending.require_wanted()
            return work(keeper)

        pending.require_wanted()
        left_s = pending.left_s
        return self.gateway.loop.call(carry_out, wait_s=CALL_S if left_s is None else left_s)

    def write_site(
        self,
        edit: Callable[[Path], LoadedSite],
        note: str,
        *,
        by: str,
        require: Callable[[Site], None] = lambda _site: None,
    ) -> None:
        """Edit the site file, one request after the other, and have the keeper take the new site over.

        Args:
            edit: changes the file.
            note: for the log and the journal.
            by: whose change it is, for these too.
            require: refuses the change where the site is not what the client thinks.

        Raises:
            ProblemError: this is a demonstration, or the site is another.
            SiteFileError: the changed file would not be valid, could not be written, or was changed by hand
                and not read yet.
            TimeoutError: the keeper did not answer; CancelledError where it has stopped.
        """
        gateway = self.gateway
        if gateway.site_path is None:
            raise ProblemError(
                "demonstration", Phrase("this is a demonstration, which has no site file to write to")
            )
        with gateway.editing():
            # From here on it is done: what is in the file the keeper must have.
            pending_request().require_wanted()
            require(gateway.site)
            loaded = edit(gateway.site_path)
            gateway.loop.call(lambda keeper: keeper.change_site(loaded.site, words=f"{note}{WRITTEN_BY}{by}"))
            gateway.on_site_written(loaded)


async def _get_context(request: Request) -> RequestContext:
    context: RequestContext = request.app.state.context
    return context


Context = Annotated[RequestContext, Depends(_get_context)]


class ShortRoute(APIRoute):
    """A route that blocks for a moment: its plain function runs in a thread, and holds a slot meanwhile.

    A coroutine function does not block, and takes no slot. The slot is given back before the response is
    sent, so that a slow reader holds none. Every route reads its parameters and its body strictly.
    """

    takes_long = False

    def __init__(self, path: str, endpoint: Callable[..., Any], **more: Any) -> None:  # noqa: ANN401 - FastAPI's
        # Clients that are made from the description call each operation by this name.
        more["operation_id"] = more.get("operation_id") or endpoint.__name__
        super().__init__(path, endpoint, **more)

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Give the framework's handler, within a slot."""
        handle = super().get_route_handler()
        blocks = not iscoroutinefunction(self.endpoint)
        parameters = parameters_of(self)

        async def handle_strictly(request: Request) -> Response:
            check_parameters(request.scope["query_string"].decode("latin-1"), parameters)
            request = StrictRequest(request.scope, request.receive)
            context: RequestContext = request.app.state.context
            connection = request.scope.get("state", {}).get("connection")
            begin_request(connection, request.scope["method"], context.now_s)
            if not blocks:
                return await handle(request)
            async with (context.long_slots if self.takes_long else context.short_slots).take():
                return await handle(request)

        return handle_strictly


class LongRoute(ShortRoute):
    """A route that computes for a while."""

    takes_long = True


def prefers(request: Request, media_type: str, *, usual: str) -> bool:
    """Whether a client names a media type, and would rather have it than the usual one.

    Source: RFC 9110, section 12.5.1: the most specific range that fits a type gives its weight.
    """
    weights: dict[str, float] = {}
    for each in request.headers.get("accept", "").lower().split(","):
        named, *parameters = (part.strip() for part in each.split(";"))
        found = (re.fullmatch(r"q=([01](?:\.[0-9]{0,3})?)", parameter) for parameter in parameters)
        weight = next((float(match[1]) for match in found if match), 1.0)
        weights[named] = max(weight, weights.get(named, 0.0))
    ranges = (usual, f"{usual.partition('/')[0]}/*", "*/*")
    return weights.get(media_type, 0.0) > next((weights[each] for each in ranges if each in weights), 0.0)


def json_response(model: BaseModel, headers: Mapping[str, str] | None = None) -> Response:
    """Answer with a model of our own as it is; the framework would validate it once more, in a thread."""
    return Response(model.model_dump_json(), media_type="application/json", headers=headers)
