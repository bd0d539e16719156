"""The first run, where there is no site file yet: serves the set-up, then becomes the daemon.

All but the way to the site file is the daemon's own: addresses, guards, who is let in. There are no lights
yet, so that this may import the web.
"""

from __future__ import annotations

import gc
import logging
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

from fastapi import FastAPI

from api.access.credentials import Scope
from api.daemon.main import log_to_stderr
from api.daemon.sd_notify import Notifier
from api.page.app import add_first_run
from api.page.garden.first_run import FirstRun
from api.render.qr_code import show_qr_code
from api.web.app import make_app
from api.web.context import RequestContext
from api.web.gateway import KeeperGateway
from api.web.listening import Listening
from api.web.routes import access
from api.web.server import WebServer
from config.errors import RelayError
from config.models.network import NetworkSettings
from config.models.site import Site
from controller.calendar.night import zone_info
from controller.journal.previous_run import PreviousRun
from controller.journal.reader import JournalReader
from controller.relays import BoardName, Relays, Wire, missing_library, open_relays, propose_board

log = logging.getLogger("leerie")

# How long a relay is closed to be found, and how long it rests between two switchings.
CLOSED_S, REST_S = 2.0, 2.0
LOOK_S = 1.0
# A code lasts for ten minutes; until somebody is let in, there is a new one before that.
NEW_CODE_S = 570.0


def run_first(site_path: Path, *, state: Path, port: int | None, home: bool) -> int:
    """Serve the set-up until the site file is there, then become the daemon.

    Returns:
        0 where a signal ends it before.
    """
    gc.enable()
    log_to_stderr()
    ended, finished = threading.Event(), threading.Event()

    def end(*_: object) -> None:
        ended.set()

    for name in (signal.SIGTERM, signal.SIGINT):
        signal.signal(name, end)
    # A reload finds nothing to read yet.
    signal.signal(signal.SIGHUP, lambda *_: None)

    def finish() -> None:
        finished.set()
        ended.set()

    trial = Trial()
    try:
        with_set_up(site_path, state=state, port=port, home=home, trial=trial, finish=finish, ended=ended)
    finally:
        trial.close()
    if not finished.is_set():
        return 0
    log.info("%s is written; the garden starts", site_path)
    os.execv(sys.executable, [sys.executable, *sys.orig_argv[1:]])  # noqa: S606 - this very command once more
    raise AssertionError("never reached")


def with_set_up(
    site_path: Path,
    *,
    state: Path,
    port: int | None,
    home: bool,
    trial: Trial,
    finish: Callable[[], None],
    ended: threading.Event,
) -> None:
    """Serve the set-up until it has ended, one way or another."""
    state.mkdir(parents=True, exist_ok=True)
    settings = NetworkSettings(listen="home" if home else "board")
    listening = Listening(lambda: settings, port=port)
    first = FirstRun(site_path=site_path, home=home, board=propose_board(), trial=trial, finish=finish)
    apps: list[FastAPI] = []

    def make() -> object:
        apps.append(make_first_app(first, listening=listening, state=state))
        return apps[-1]

    web = WebServer(make, listening=listening)
    notifier = Notifier()
    web.start()
    is_told, next_code_s = False, 0.0
    try:
        while not ended.wait(LOOK_S):
            notifier.watchdog()
            if apps and not is_told:
                is_told = True
                notifier.ready("there is no site file yet: waiting to be set up")
                log.info("there is no %s yet: set the garden up at %s", site_path, web.url)
            if apps and listening.status.home and time.monotonic() >= next_code_s:
                next_code_s = time.monotonic() + NEW_CODE_S
                let_phone_in(apps[-1].state.context, listening.status.home[0])
    finally:
        # The last answer is still on its way.
        web.stop(1.0)


def let_phone_in(context: RequestContext, address: str) -> None:
    """Print a code for a phone, and a QR code that takes it along, unless one is let in already."""
    now = context.now()
    if context.access.credentials(now):
        return
    code = context.access.make_code(Scope.CONTROL, name=None, by="this board", now=now)
    log.info("on a phone: open %ssign-in, and type %s (once, within ten minutes)", address, code.text)
    show_qr_code(f"{address}sign-in#code={code.text}", sys.stderr)


def make_first_app(first: FirstRun, *, listening: Listening, state: Path) -> FastAPI:
    """Put the web application together: the set-up's screens, signing in, and the API of who is let in."""
    clock = PreviousRun().make_clock("synchronised")
    site = Site.model_validate(
        {
            "name": "Leerie",
            "latitude": 0,
            "longitude": 0,
            "time_zone": "UTC",
            "zones": [{"id": "zone", "pin": 17, "program": []}],
        }
    )

    class NoKeeper:
        """Stands where the control loop will be: it has a clock, and nothing to keep."""

        keeper = SimpleNamespace(site=site, planner=SimpleNamespace(tz=zone_info("UTC")))

        @property
        def status(self) -> SimpleNamespace:
            return SimpleNamespace(at=clock.read())

    gateway = KeeperGateway(
        loop=cast("Any", NoKeeper()), reader=JournalReader(state), site_path=None, append=lambda _entry: None
    )
    app = make_app(
        gateway,
        listening=listening,
        access_path=state / "access.json",
        add_page=add_first_run,
        subjects=(access,),
    )
    app.state.first_run = first
    return app


class Trial:
    """Closes one relay at a time for a moment, so that somebody finds out which one it is."""

    def __init__(
        self,
        open_board: Callable[[BoardName], Relays] = open_relays,
        *,
        now_s: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._open_board, self._now_s, self._sleep = open_board, now_s, sleep
        self._relays: Relays | None = None
        self._turn = threading.Lock()
        self._rested_s: dict[int, float] = {}

    def blink(self, board: BoardName, wire: Wire) -> None:
        """Close a relay for two seconds and let go of it; it has rested before.

        Raises:
            RelayError: it does not answer, or the library for the board is missing.
        """
        if missing := missing_library(board):
            raise RelayError(f"{missing[0]}; {missing[1]}")
        with self._turn:
            if self._relays is None:
                self._relays = self._open_board(board)
            self._sleep(max(0.0, self._rested_s.get(wire.pin, 0.0) - self._now_s()))
            try:
                self._relays.set(wire, on=True)
                self._sleep(CLOSED_S)
            finally:
                self._rested_s[wire.pin] = self._now_s() + REST_S
                self._relays.release(wire)

    def close(self) -> None:
        """Switch everything off, and let go of the board."""
        with self._turn:
            if self._relays is not None:
                self._relays.close()
                self._relays = None
