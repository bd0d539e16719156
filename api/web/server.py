"""The web server, in a thread of its own: nothing that happens in it reaches the lights.

FastAPI and uvicorn are imported in that thread, once it runs. A port that is taken, or a fault, is logged
once, shown in ``fault``, and tried again with growing pauses until it works.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import logging
import socket
import threading
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from uvicorn import Config, Server

log = logging.getLogger(__name__)

HOST = "127.0.0.1"
PORT = 8010
# Pauses between tries: doubled from the first, never longer than the longest.
FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 30.0
# Requests under way when it is told to stop get this long; then they are cut off.
FINISH_S = 0.2
# How often the header Date is looked after.
DATE_S = 1.0
# Connections that the kernel keeps until they are taken.
BACKLOG = 64
_FIRST_FREE_PORT = 1024


class WebServer:
    """Serves an application on one address of this machine.

    Args:
        make_app: makes the application; called in the server's thread, and the place to import it.
        host: the address to listen on.
        port: the port; 0 takes any that is free.
        first_pause_s: how long to wait before the second try, in seconds.
    """

    def __init__(
        self,
        make_app: Callable[[], Any],
        *,
        host: str = HOST,
        port: int = PORT,
        first_pause_s: float = FIRST_PAUSE_S,
    ) -> None:
        """Take the order; nothing is opened before ``start``."""
        self._make_app = make_app
        self._host = host
        self._port = port
        self._first_pause_s = first_pause_s
        self._app: Any = None
        self._thread: threading.Thread | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stop: asyncio.Event | None = None
        self._stopping = threading.Event()
        self._serving = threading.Event()
        self._fault: str | None = None

    @property
    def port(self) -> int:
        """The port that it listens on, or will: 0 until one was found where any would do."""
        return self._port

    @property
    def url(self) -> str:
        """The address to give to a person."""
        host = f"[{self._host}]" if ":" in self._host else self._host
        return f"http://{host}:{self._port}/"

    @property
    def fault(self) -> str | None:
        """Why nothing is served now, in words; None while all is well or it has only begun."""
        return self._fault

    def start(self) -> None:
        """Begin to serve in a thread that never holds up the end of the process; returns at once."""
        self._thread = threading.Thread(target=self._run, name="web server", daemon=True)
        self._thread.start()

    def wait_until_serving(self, wait_s: float) -> bool:
        """Wait until requests are answered; False where that took too long."""
        return self._serving.wait(wait_s)

    def stop(self, wait_s: float = 0.5) -> bool:
        """Stop serving.

        Args:
            wait_s: how long to wait for it, in seconds.

        Returns:
            Whether it has ended; if not, the end of the process ends it.
        """
        self._stopping.set()
        loop, stop = self._loop, self._stop
        if loop is not None and stop is not None:
            try:
                loop.call_soon_threadsafe(stop.set)
            except RuntimeError:
                log.debug("the web server has ended already")
        if self._thread is None:
            return True
        self._thread.join(wait_s)
        return not self._thread.is_alive()

    # -- in its own thread -----------------------------------------------------------------------------------

    def _run(self) -> None:
        """Serve until told to stop; whatever happens, nothing leaves this thread."""
        while not self._stopping.is_set():
            try:
                asyncio.run(self._keep_serving())
            except BaseException as error:  # noqa: BLE001 - no fault of the web server may go further
                self._note(error)
                self._stopping.wait(LONGEST_PAUSE_S)
            finally:
                self._serving.clear()

    async def _keep_serving(self) -> None:
        """Serve, and begin again after a fault."""
        self._loop = asyncio.get_running_loop()
        self._stop = asyncio.Event()
        if self._stopping.is_set():
            self._stop.set()
        pause_s = self._first_pause_s
        while not self._stopping.is_set():
            try:
                await self._serve()
            except (Exception, SystemExit) as error:  # noqa: BLE001 - it is tried again, whatever it was
                self._note(error)
            if self._serving.is_set():
                self._serving.clear()
                pause_s = self._first_pause_s
            await _wait(self._stop, pause_s)
            pause_s = min(2.0 * pause_s, LONGEST_PAUSE_S)

    async def _serve(self) -> None:
        """Listen and answer until told to stop."""
        assert self._stop is not None, "made by whoever calls this"
        listener = _listen(self._host, self._port)
        try:
            self._port = listener.getsockname()[1]
            if self._app is None:
                self._app = self._make_app()
            await _make_server(self._app, self._now_serving, self._stop).serve(sockets=[listener])
        finally:
            listener.close()
        if not self._stopping.is_set():
            raise RuntimeError("it ended without being told to")

    def _now_serving(self) -> None:
        """Take down that requests are answered."""
        if self._fault is not None:
            log.info("the web server works again")
        self._fault = None
        log.info("listening on %s", self.url)
        self._serving.set()

    def _note(self, error: BaseException) -> None:
        """Take down a fault, and log it once."""
        words = _explain(error, self._host, self._port)
        if words != self._fault:
            known = isinstance(error, OSError)
            log.error("%s", words, exc_info=None if known else error)
        self._fault = words


def _listen(host: str, port: int) -> socket.socket:
    """Open a socket that listens.

    Raises:
        OSError: the port is taken, or not ours to take.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # With the protocol named asyncio sends at once; without it an answer waits 40 ms for a receipt.
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        # A port whose last connections are still being wound up is free to us.
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
        listener.listen(BACKLOG)
        listener.setblocking(False)  # noqa: FBT003 - the socket's own signature
    except BaseException:
        listener.close()
        raise
    return listener


def _make_server(app: Any, now_serving: Callable[[], None], stop: asyncio.Event) -> Server:  # noqa: ANN401
    """Make a uvicorn server that leaves signals and logging alone, and can be told to end.

    Args:
        app: any ASGI application.
        now_serving: called once requests are answered.
        stop: ends it.
    """
    from uvicorn import Config, Server  # noqa: PLC0415 - lights first

    from api.web.protocol import LimitedH11Protocol  # noqa: PLC0415 - as above

    class Ours(Server):
        """A server that says when it has started, and ends at a word."""

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets=sockets)
            now_serving()

        async def main_loop(self) -> None:
            # uvicorn looks ten times a second whether it is to end; all it has to do is the header Date.
            while not await self.on_tick(0) and not stop.is_set():
                await _wait(stop, DATE_S)

    config: Config = Config(
        app,
        loop="asyncio",
        http=LimitedH11Protocol,
        backlog=BACKLOG,
        ws="none",
        lifespan="off",
        log_config=None,
        # The guard logs what goes wrong in a request; a line for every garbled one would fill the card.
        log_level="critical",
        access_log=False,
        proxy_headers=False,
        server_header=False,
        timeout_keep_alive=5,
        timeout_graceful_shutdown=FINISH_S,  # type: ignore[arg-type]  # it is passed on as seconds, whole or not
    )
    return Ours(config)


async def _wait(stop: asyncio.Event, wait_s: float) -> None:
    """Wait for a time, or until told to stop."""
    with contextlib.suppress(TimeoutError):
        await asyncio.wait_for(stop.wait(), wait_s)


def _explain(error: BaseException, host: str, port: int) -> str:
    """Say in words why nothing is served."""
    place = f"port {port} on {host}"
    code = error.errno if isinstance(error, OSError) else None
    if code == errno.EADDRINUSE:
        return f"web server: {place} is taken by another program; end that one, or choose another port"
    if code == errno.EADDRNOTAVAIL:
        return f"web server: this machine has no address {host}; choose one that it has, such as {HOST}"
    if code in (errno.EACCES, errno.EPERM):
        return f"web server: {place} may not be opened; choose a port from {_FIRST_FREE_PORT} on"
    reason = error.strerror.lower() if isinstance(error, OSError) and error.strerror else str(error)
    return f"web server: {place} is not served: {reason or type(error).__name__}"
