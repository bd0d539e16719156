"""An evening in about a minute, with simulated relays and everything else real.

Keeper, control loop, journal and web server are those of ``leerie run``; only the clock is fast and the pins
are mock pins. The site file is a copy in a temporary folder: programs may be changed through the API.
"""

import asyncio
import contextlib
import logging
import shutil
import signal
import socket
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Protocol

from api.demo.evening import DemoResult, Frame, choose_evening
from api.demo.fast_clock import FastClock
from api.page.app import add_page
from api.render.network_json import NetworkResponse
from api.web.app import make_app
from api.web.gateway import KeeperGateway
from api.web.hub import EventHub
from api.web.listening import Listening
from api.web.server import HOST, WebServer
from config.file.loader import load_site
from config.models.network import PORT, NetworkSettings
from controller.calendar.night import night_on
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.keeper.keeper import Keeper
from controller.keeper.loop import ControlLoop
from controller.planning.planner import Planner
from controller.records.entries import Entry, Switching
from controller.relays import open_relays

# How long an evening takes where nobody names a pace, and how often it is drawn, in real seconds.
EVENING_S = 60.0
FRAME_S = 0.1
# The evening waits so long for the API, so that its address can be opened when it is printed.
SERVING_S = 5.0


class Display(Protocol):
    """Shows an evening as it passes."""

    def show(self, frame: Frame) -> None:
        """Show one moment."""


OpenDisplay = Callable[[], contextlib.AbstractContextManager[Display]]


class RecordingJournal(Journal):
    """A journal that also keeps its switchings in memory, for the display."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.switchings: list[Switching] = []

    def append(self, entry: Entry) -> None:
        """Queue an entry."""
        if isinstance(entry, Switching):
            self.switchings.append(entry)
        super().append(entry)


class LastWarning(logging.Handler):
    """Keeps the last warning of the log, which would otherwise break into the picture.

    The scheduler's own are left out: at a high pace jobs are due faster than it can run them, and it says so.
    """

    words = ""

    def emit(self, record: logging.LogRecord) -> None:
        """Take one record."""
        if not record.name.startswith("apscheduler."):
            self.words = " ".join(record.getMessage().split())


class Demo:
    """The daemon with a fast clock, for one evening.

    Args:
        folder: an empty folder for the copy of the site file and the journal.
        pace: how fast the clock is; None so that the evening takes about a minute.
        port: where the web server listens; None for the usual port, or any other if that is taken.
        home: whether the home network may look and switch as well.
    """

    def __init__(
        self,
        folder: Path,
        *,
        site_path: Path,
        night_date: date,
        pace: float | None,
        port: int | None,
        home: bool = False,
    ) -> None:
        site = load_site(site_path).site
        copy = Path(shutil.copyfile(site_path, folder / "site.toml"))
        planner = Planner(site)
        self._evening = choose_evening(planner, night_on(night_date, planner.tz))
        self._ends_at_utc = self._evening.ends_at_utc
        pace = pace or self._evening.lasts_s / EVENING_S
        self._clock = FastClock(self._evening.starts_at_utc, pace=pace)
        self._journal = RecordingJournal(folder)
        self._keeper = Keeper(site, clock=self._clock, relays=open_relays("simulated"), journal=self._journal)
        hub = EventHub()
        self._loop = ControlLoop(
            self._keeper,
            clock=self._clock,
            flush=lambda: self._journal.flush(self._clock.read()),
            pace=pace,
            on_round=hub.publish,
        )
        gateway = KeeperGateway(
            loop=self._loop,
            reader=JournalReader(folder),
            site_path=copy,
            append=self._journal.append,
            unwritten=self._journal.unwritten,
            recent=self._journal.recent,
            hub=hub,
        )
        settings = NetworkSettings(listen="home" if home else "board", discovery=False)
        self._listening = Listening(lambda: settings, port=choose_port() if port is None else port)
        self._web = WebServer(
            lambda: make_app(
                gateway,
                boot_s=lambda: self._clock.read().boot_s,
                listening=self._listening,
                add_page=add_page,
                pace=pace,
                all_may=home,
            ),
            listening=self._listening,
        )
        self._warning = LastWarning(logging.WARNING)

    def run(
        self,
        open_display: OpenDisplay,
        *,
        stay: bool,
        on_serving: Callable[[NetworkResponse], object] = lambda _status: None,
    ) -> DemoResult:
        """Show the evening; with ``stay`` the evenings after it as well, until a signal ends it."""
        logging.getLogger().addHandler(self._warning)
        with contextlib.closing(self._journal):
            self._journal.open()
            self._web.start()
            try:
                self._web.wait_until_serving(SERVING_S)
                on_serving(self._listening.status)
                return asyncio.run(self._run(open_display, stay=stay))
            finally:
                self._web.stop()
                logging.getLogger().removeHandler(self._warning)

    async def _run(self, open_display: OpenDisplay, *, stay: bool) -> DemoResult:
        loop = asyncio.get_running_loop()
        for name in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            loop.add_signal_handler(name, self._loop.stop)
        first = self._frame()
        with open_display() as display:
            showing = asyncio.create_task(self._show(display, stay=stay))
            await self._loop.run(on_started=self._clock.start)
            last = self._frame()
            showing.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await showing
            display.show(last)
        return DemoResult(first=first, last=last, is_complete=last.at_utc >= self._ends_at_utc)

    async def _show(self, display: Display, *, stay: bool) -> None:
        try:
            while stay or self._clock.read().utc < self._ends_at_utc:
                display.show(self._frame())
                await asyncio.sleep(FRAME_S)
        finally:
            self._loop.stop()

    def _frame(self) -> Frame:
        at_utc = self._clock.read().utc
        planner = self._keeper.planner
        night = planner.night_at(at_utc)
        if night != self._evening.night:
            self._evening = choose_evening(planner, night)
        return Frame(
            at_utc=at_utc,
            evening=self._evening,
            planner=planner,
            status=self._loop.status,
            switchings=tuple(self._journal.switchings),
            pace=self._clock.pace,
            address=self._web.fault or self._web.url,
            warning=self._warning.words,
        )


def choose_port() -> int:
    """Return the usual port of the API, or 0 for any that is free where that one is taken."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, PORT))
        except OSError:
            return 0
    return PORT
