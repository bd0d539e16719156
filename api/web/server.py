"""The web server, in a thread of its own: nothing that happens in it reaches the lights.

FastAPI and uvicorn are imported in that thread, once it runs. A port that is taken, or a fault, is logged
once, shown in ``fault``, and tried again with growing pauses until it works.
"""

import asyncio
import contextlib
import logging
import threading
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from api.web.listening import Listening

log = logging.getLogger(__name__)

HOST = "127.0.0.1"
# Pauses between tries: doubled from the first, never longer than the longest.
FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 30.0
# Requests under way when the server is stopped get this long; then they are cut off.
FINISH_S = 0.2
# How often the header Date is renewed, and the addresses are looked after.
DATE_S = 2.0


class WebServer:
    """Serves an application on this machine's addresses.

    Args:
        make_app: called in the server's thread, and the place to import the application.
        port: of the board's own address, which is all that is served then; 0 takes any that is free.
        listening: what is served instead.
    """

    def __init__(
        self,
        make_app: Callable[[], Any],
        *,
        port: int = 0,
        listening: "Listening | None" = None,
        first_pause_s: float = FIRST_PAUSE_S,
    ) -> None:
        self.fault: str | None = None
        self._port = port
        self._listening = listening
        self._make_app = make_app
        self._app: Any = None
        self._first_pause_s = first_pause_s
        # A daemon thread, and so are those that it starts for requests: none delays the end of the process.
        self._thread = threading.Thread(target=self._run, name="web server", daemon=True)
        self._serving = threading.Event()
        self._stopping = threading.Event()
        self._wake_up: Callable[[], object] = lambda: None

    @property
    def port(self) -> int:
        """The port of the board's own address."""
        return self._port if self._listening is None else self._listening.port

    @property
    def url(self) -> str:
        """The address to give to a person on the board."""
        return f"http://{HOST}:{self.port}/"

    def start(self) -> None:
        """Begin to serve; returns at once."""
        self._thread.start()

    def wait_until_serving(self, wait_s: float) -> bool:
        """Wait until requests are answered; False where that took too long."""
        return self._serving.wait(wait_s)

    def stop(self, wait_s: float = 0.5) -> bool:
        """Stop serving; whether that is done within a time. If not, it is done at the end of the process."""
        self._stopping.set()
        with contextlib.suppress(RuntimeError):  # its event loop has ended already
            self._wake_up()
        if self._thread.ident is not None:
            self._thread.join(wait_s)
        return not self._thread.is_alive()

    # From here on in the server's own thread.

    def _run(self) -> None:
        pause_s = self._first_pause_s
        while not self._stopping.is_set():
            try:
                asyncio.run(self._serve())
            except BaseException as error:  # noqa: BLE001 - no fault of the web server may go further
                self._note(error)
            if self._serving.is_set():
                self._serving.clear()
                pause_s = self._first_pause_s
            self._stopping.wait(pause_s)
            pause_s = min(2.0 * pause_s, LONGEST_PAUSE_S)

    async def _serve(self) -> None:
        from api.web.listening import Listening  # noqa: PLC0415 - lights first

        stop = asyncio.Event()
        self._wake_up = partial(asyncio.get_running_loop().call_soon_threadsafe, stop.set)
        if self._stopping.is_set():
            return
        listening = self._listening = self._listening or Listening(port=self._port)
        with contextlib.closing(listening):
            listening.bind()
            if self._app is None:
                self._app = self._make_app()
            await _run_uvicorn(self._app, listening, stop, self._note_serving)
        if not self._stopping.is_set():
            raise RuntimeError("uvicorn ended without being stopped")

    def _note_serving(self) -> None:
        if self.fault is not None:
            log.info("the web server works again")
        self.fault = None
        self._serving.set()

    def _note(self, error: BaseException) -> None:
        words = _explain(error, self.port)
        if words != self.fault:
            log.error("%s", words, exc_info=None if isinstance(error, OSError) else error)
        self.fault = words


async def _run_uvicorn(
    app: Any,  # noqa: ANN401 - any ASGI application
    listening: "Listening",
    stop: asyncio.Event,
    note_serving: Callable[[], None],
) -> None:
    """Serve with uvicorn, which leaves signals and logging alone, until the event is set."""
    from uvicorn import Config, Server  # noqa: PLC0415 - lights first

    from api.web.accepting import Acceptor  # noqa: PLC0415 - as above
    from api.web.protocol import LimitedH11Protocol  # noqa: PLC0415 - as above

    class QuietServer(Server):
        """Sleeps until it is stopped: uvicorn's own loop wakes up ten times a second to look."""

        async def main_loop(self) -> None:
            loop = asyncio.get_running_loop()
            acceptor = Acceptor(
                lambda connection: LimitedH11Protocol(
                    connection, config=self.config, server_state=self.server_state, _loop=loop
                )
            )
            await self.on_tick(0)
            listening.start(acceptor)
            note_serving()
            ticking, stopping = loop.create_task(self.tick()), loop.create_task(stop.wait())
            await asyncio.wait((ticking, stopping), return_when=asyncio.FIRST_COMPLETED)
            if ticking.done():  # by a fault: it has no other end
                ticking.result()
            ticking.cancel()
            listening.close()
            acceptor.cut_off_opening()

        async def tick(self) -> None:
            while True:
                await asyncio.sleep(DATE_S)
                await self.on_tick(0)
                listening.follow(asyncio.get_running_loop().time())

    config = Config(
        app,
        loop="asyncio",
        http=LimitedH11Protocol,
        ws="none",
        lifespan="off",
        log_config=None,
        # The request guard logs what fails in a request; a line for every garbled one would fill the card.
        log_level="critical",
        access_log=False,
        proxy_headers=False,
        server_header=False,
        timeout_keep_alive=5,
        timeout_graceful_shutdown=FINISH_S,  # type: ignore[arg-type]  # passed on as seconds, whole or not
    )
    # The listener's own; uvicorn has none to open or close.
    await QuietServer(config).serve(sockets=[])


def _explain(error: BaseException, port: int) -> str:
    if not isinstance(error, OSError):
        return f"web server: port {port} on {HOST} is not served: {str(error) or type(error).__name__}"
    from api.web.listening import explain  # noqa: PLC0415 - lights first

    return f"web server: {explain(error, HOST, port)}"
