"""Long answers, piece by piece: none is held whole, and none keeps other requests waiting.

A piece is worked out in the thread pool, in a slot and in turn with other long work, and then sent; while it
is on its way others have their turn. The next piece waits until the client has read.
"""

from collections.abc import AsyncIterator, Generator, Iterator, Mapping
from itertools import islice
from threading import Lock

from fastapi import Request, Response
from fastapi.responses import StreamingResponse
from starlette.concurrency import run_in_threadpool
from starlette.types import Receive, Scope, Send

from api.web.context import RequestContext

# So many are made in one turn: all of a short answer, which then waits only once.
FIRST_PIECES = 4
# An answer that is complete within so many pieces and characters is sent at once, as any other.
MOST_PIECES_HELD = 16
MOST_CHARACTERS_HELD = 128 * 1024


def is_head(request: Request) -> bool:
    """Whether the head of an answer is asked for, and its content need not be worked out."""
    return bool(request.scope.get("head_only"))


def head_of(media_type: str, headers: Mapping[str, str] | None = None) -> Response:
    """Answer with a head alone, without what is known of the content only: RFC 9110, section 9.3.2."""
    response = Response(media_type=media_type, headers=headers)
    del response.headers["content-length"]
    return response


def stream_response(
    request: Request,
    pieces: Generator[str, None, None],
    *,
    turn: Lock,
    media_type: str,
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Answer with a text, its pieces worked out as they are sent where it is long.

    Of an answer whose head alone is asked for, no more than the first piece is worked out.

    The pieces wait for ``turn``, the lock of whoever works so; the caller does not hold it. What goes wrong
    in the first pieces is raised here, and can be answered with a problem; later it cuts the connection, so
    that nobody takes a part for the whole.
    """
    context: RequestContext = request.app.state.context
    with turn:
        held = list(islice(pieces, 1 if is_head(request) else FIRST_PIECES))
    if is_head(request):
        pieces.close()
        return head_of(media_type, headers)
    while len(held) < MOST_PIECES_HELD and sum(map(len, held)) < MOST_CHARACTERS_HELD:
        piece = _next(pieces, turn)
        if piece is None:
            return Response("".join(held), media_type=media_type, headers=headers)
        held.append(piece)
    return _PieceByPiece(context, "".join(held), pieces, turn, media_type=media_type, headers=headers)


def _next(pieces: Iterator[str], turn: Lock) -> str | None:
    with turn:
        return next(pieces, None)


class _PieceByPiece(StreamingResponse):
    """A long answer; of these only some are sent at once, however slowly their clients read."""

    def __init__(
        self,
        context: RequestContext,
        begun: str,
        pieces: Generator[str, None, None],
        turn: Lock,
        *,
        media_type: str,
        headers: Mapping[str, str] | None,
    ) -> None:
        super().__init__(self._send(begun), media_type=media_type, headers=headers)
        self._context = context
        self._pieces = pieces
        self._turn = turn

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            async with self._context.streams.take():
                await super().__call__(scope, receive, send)
        finally:
            # Its client may have gone.
            self._pieces.close()

    async def _send(self, begun: str) -> AsyncIterator[str]:
        piece: str | None = begun
        while piece is not None:
            if piece:
                yield piece
            async with self._context.long_slots.take(even_if_busy=True):
                piece = await run_in_threadpool(_next, self._pieces, self._turn)
