"""How often each address of the home network may ask and change something; the board itself may always."""

import math
import re
import time
from collections.abc import Callable

from starlette.types import ASGIApp, Receive, Scope, Send

from api.access.client import ClientKind, client_kind
from api.network.addresses import counted_as
from api.web.headers import SECURITY_HEADERS
from api.web.problems.types import ProblemError
from api.web.rates import MostWithin, SteadyRate

REQUESTS_PER_S, REQUESTS_AT_ONCE = 10.0, 60
CHANGES_A_MINUTE = 30
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
# A question too long for an address, which changes nothing: what a program would do.
_QUESTION = re.compile(r"/programs/[^/]+/preview")


class RateLimitMiddleware:
    """Refuses what comes too often, before anything of it is read but the head.

    ``now_s`` reads a clock that nobody sets.
    """

    def __init__(self, app: ASGIApp, *, now_s: Callable[[], float] = time.monotonic) -> None:
        self._app = app
        self._now_s = now_s
        self._requests = SteadyRate(per_s=REQUESTS_PER_S, burst=REQUESTS_AT_ONCE)
        self._changes = MostWithin(most=CHANGES_A_MINUTE, within_s=60.0)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer when to come back."""
        if scope["type"] != "http" or _kind(scope) is ClientKind.BOARD:
            await self._app(scope, receive, send)
            return
        # A client that reset its connection at once has no address any more.
        peer, now_s = scope.get("client"), self._now_s()
        counted = {"": 1} if peer is None else counted_as(peer[0])
        wait_s, what = self._requests.take(counted, now_s), f"{REQUESTS_PER_S:g} requests a second"
        if not wait_s and scope["method"] not in _SAFE and not _QUESTION.fullmatch(scope["path"]):
            wait_s, what = self._changes.take(counted, now_s), f"{CHANGES_A_MINUTE} changes a minute"
        if not wait_s:
            await self._app(scope, receive, send)
            return
        after_s = math.ceil(wait_s)
        refusal = ProblemError("too-many-requests", f"more than {what} from this address; wait {after_s} s")
        refusal.headers |= {**SECURITY_HEADERS, "retry-after": str(after_s), "connection": "close"}
        await refusal.response(scope["path"])(scope, receive, send)


def _kind(scope: Scope) -> ClientKind:
    return client_kind(scope.get("client"), scope.get("server"), (name for name, _ in scope["headers"]))
