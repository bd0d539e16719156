"""The route of the live events: the state of everything, and what changes in it.

Source: HTML (WHATWG), section 9.2, server-sent events.
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import APIRouter, Header, Request, Response
from fastapi.responses import StreamingResponse
from fastapi.sse import EventSourceResponse, format_sse_event
from starlette.concurrency import run_in_threadpool
from starlette.types import Receive, Scope, Send

from api.access.client import Client, ClientKind
from api.render.instants import instant_text
from api.web.context import Context, RequestContext, ShortRoute
from api.web.hub import NoStreamError, Stream
from api.web.permission import Caller
from api.web.problems.types import ProblemError, problems_of
from api.web.schemas.events import (
    PingEvent,
    PingResponse,
    ResetEvent,
    ResetResponse,
    StatusEvent,
    StreamEvent,
    message,
    news_event,
    state_events,
)
from api.web.schemas.status import access_response, status_response
from config.errors import JournalError
from controller.journal.queue import CloseOpenRuns
from controller.journal.recent import MOST_MISSED, EntryId, News
from controller.keeper.state import KeeperStatus

# How soon a browser comes back after a stream ended.
RETRY_MS = 2000

router = APIRouter(tags=["events"], route_class=ShortRoute)


class LiveEvents:
    """What all streams are told: the newest entries, and what differs from one status to the next."""

    def __init__(self, context: RequestContext) -> None:
        self._context = context
        self._hub = context.gateway.hub
        self._status = context.gateway.status
        self._told: EntryId | None = None
        self._forgotten = 0

    def catch_up(self) -> None:
        """Tell the streams that are open all that has happened by now."""
        if self._hub.count:
            self._hub.deliver(self._context.gateway.status)

    def begin(self) -> EntryId | None:
        """Give the newest entry of which the open streams were told, where one more begins."""
        gateway = self._context.gateway
        if self._hub.count == 1:
            self._hub.describe = self._describe
            self._forgotten = gateway.recent.forgotten
            self._told, self._status = gateway.recent.last, gateway.status
        return self._told

    def _describe(self, status: KeeperStatus) -> list[bytes]:
        """Write what is new with a status."""
        gateway, now = self._context.gateway, self._context.now()
        if status.rounds < self._status.rounds:  # what was published earlier arrives late
            return []
        found = []
        forgotten, entries = gateway.recent.forgotten, gateway.recent.newer(self._told)
        if entries:
            self._told = entries[-1][0]
        if forgotten != self._forgotten:
            found.append(_reset("another journal took the place of the one that was read", self._told))
        found += [message(news_event(name, entry, gateway.site, now)) for name, entry in entries]
        found += [message(each) for each in state_events(self._status, status, gateway.site, now)]
        self._forgotten, self._status = forgotten, status
        return found


class EventsResponse(StreamingResponse):
    """A stream to one client, which holds its place among the others until it is over."""

    # The framework takes a route with its own class of this type for a generator, which it would run itself.
    media_type = EventSourceResponse.media_type

    def __init__(
        self, context: RequestContext, client: Client, live: LiveEvents, last_event_id: str | None
    ) -> None:
        # A proxy in front must pass on what comes, as it comes. The connection is not used for anything else.
        super().__init__(self._send(), headers={"x-accel-buffering": "no", "connection": "close"})
        self._context = context
        self._hub = context.gateway.hub
        self._live = live
        self._client = client
        self._last_event_id = last_event_id
        self._loop = asyncio.get_running_loop()
        self._woken = asyncio.Event()
        self._stream = Stream(
            _name(self._client), wake=self._woken.set, ping=self._ping, now_s=self._loop.time()
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send it, or refuse with a problem before anything was sent."""
        try:
            self._live.catch_up()
            self._hub.open(self._stream, self._loop.call_soon_threadsafe)
            self._begins_at = self._live.begin()
            # From now on the hub counts it.
            if (connection := scope.get("state", {}).get("connection")) is not None:
                connection.leave_limits()
            await super().__call__(scope, receive, send)
        except NoStreamError as error:
            raise ProblemError("stopping" if self._hub.is_closed else "too-busy", str(error)) from error
        finally:
            self._hub.leave(self._stream)

    async def _send(self) -> AsyncIterator[bytes]:
        async with self._context.short_slots.take(even_if_busy=True):
            beginning = await run_in_threadpool(self._beginning)
        yield beginning
        while not self._stream.ended:
            self._woken.clear()
            messages = self._stream.take(self._loop.time())
            if messages:
                yield messages
            elif not self._stream.ended:
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout_at(self._stream.ping_due_s):
                        await self._woken.wait()

    def _beginning(self) -> bytes:
        """Write what was missed, and the state of everything."""
        gateway, now = self._context.gateway, self._context.now()
        found = [format_sse_event(retry=RETRY_MS)]
        if self._last_event_id is not None:
            missed = self._missed(EntryId.parse(self._last_event_id))
            if missed is None:
                words = f"more than {MOST_MISSED} entries were missed, or the journal is another one"
                found.append(_reset(words, self._begins_at))
            else:
                found += [message(news_event(name, entry, gateway.site, now)) for name, entry in missed]
        name = None if self._begins_at is None else str(self._begins_at)
        status = status_response(
            gateway.site,
            gateway.status,
            now,
            tz=gateway.tz,
            access=access_response(self._context.access, now),
            network=self._context.network(),
        )
        return b"".join([*found, message(StatusEvent(id=name, data=status))])

    def _missed(self, last: EntryId | None) -> list[tuple[EntryId, News]] | None:
        """Give what was recorded after an entry, and before the stream began; None if not known."""
        gateway = self._context.gateway
        recent = gateway.recent
        if last is None or self._begins_at is None:
            return None
        following = recent.after(last)
        if following is None:
            since_start, first = recent.all(), recent.first
            if since_start is None or first is None:
                return None
            # Runs that an earlier keeper left lit are ended by what is not written yet.
            if any(isinstance(work, CloseOpenRuns) for work in gateway.unwritten()):
                return None
            try:
                earlier = gateway.reader.news_after(last, before=first, most=MOST_MISSED - len(since_start))
            except JournalError:
                return None
            if earlier is None:
                return None
            following = earlier + since_start
        # Those that came since the stream began are waiting in it.
        begins_at = self._begins_at
        return [
            each
            for each in following
            if each[0].boot_id != begins_at.boot_id or not each[0].is_after(begins_at)
        ]

    def _ping(self) -> bytes | None:
        if not self._context.access.is_in_force(self._client, self._context.now()):
            return None
        return message(PingEvent(data=PingResponse(now=instant_text(self._context.now().utc))))


def _reset(words: str, newest: EntryId | None) -> bytes:
    name = None if newest is None else str(newest)
    return message(ResetEvent(id=name, data=ResetResponse(because=words)))


def _name(client: Client) -> str | None:
    """Name a client by its session or token; for the board itself all streams count together."""
    if client.kind is ClientKind.BOARD:
        return None
    return client.session_id or client.token_id or client.address


@router.get(
    "/v1/events",
    summary="What happens, as it happens",
    status_code=200,
    response_class=EventsResponse,
    responses={200: {"model": StreamEvent, "description": "the stream"}, **problems_of("too-busy")},
)
async def get_events(
    request: Request,
    context: Context,
    client: Caller,
    last_event_id: Annotated[
        str | None,
        Header(
            description="id of the last entry that the client was told of",
            examples=["2f6d7c1e-5b0a-4a3e-9c53-8d1f0e6b7a42:5231877:1"],
        ),
    ] = None,
) -> Response:
    """Send what happens as server-sent events, until the client goes.

    A stream begins with the `status` of everything. Then come `zones`, `zone`, `clock`, `site_file` and
    `journal` where they change; and entries of the journal, each with an id: `switching`, `override`,
    `override_ended`, `program`, and `event` for all else. A client that comes back with `Last-Event-ID` is
    first told what it missed, up to 1000 entries; where that cannot be told, there is a `reset`. Every 15 s
    there is a `ping`.
    """
    return EventsResponse(context, client, request.app.state.live, last_event_id)
