"""The demonstration: a whole evening in about a minute, with simulated relays and everything else real.

The keeper, its rounds, the journal and the web server are those that ``leerie run`` keeps; only the clock
hurries and the pins are mock pins. All files lie in a temporary folder that is gone at the end, the site file
too: it is a copy, so that programs may be changed through the API without spoiling anything.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import shutil
import signal
import socket
import tempfile
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Protocol

from api.demo.evening import Frame, Seen, choose_evening
from api.demo.fast_clock import FastClock
from api.web.gateway import KeeperGateway
from api.web.server import HOST, PORT, WebServer
from config.file.loader import load_site
from config.models.site import Site
from controller.calendar.night import night_on
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.keeper.keeper import Keeper
from controller.keeper.loop import ControlLoop
from controller.keeper.recorder import JournalLike
from controller.planning.planner import Planner
from controller.records.entries import Entry, Switching
from controller.records.reading import Reading
from controller.relays import open_relays

# An evening takes about so long where nobody asks for a pace.
ABOUT_S = 60.0
# How often the picture is drawn, in real seconds.
FRAME_S = 0.1
# The evening waits so long for the page to be there, so that its address can be opened when it is printed.
OPEN_S = 5.0


class Display(Protocol):
    """Whatever shows an evening as it passes."""

    def show(self, scene: Frame) -> None:
        """Show one moment."""


OpenDisplay = Callable[[], contextlib.AbstractContextManager[Display]]


class RecordingJournal:
    """A journal that also keeps the switchings at hand, for who looks on."""

    def __init__(self, journal: JournalLike) -> None:
        """Stand before a journal."""
        self._journal = journal
        self.switchings: list[Switching] = []

    def append(self, entry: Entry) -> None:
        """Pass an entry on."""
        if isinstance(entry, Switching):
            self.switchings.append(entry)
        self._journal.append(entry)

    def close_open_runs(self, now: Reading) -> None:
        """Pass the question on."""
        self._journal.close_open_runs(now)

    @property
    def waiting(self) -> int:
        """Entries not written yet."""
        return self._journal.waiting

    @property
    def lost(self) -> int:
        """Entries given up because too many waited."""
        return self._journal.lost

    @property
    def fault(self) -> str | None:
        """Why nothing can be written now."""
        return self._journal.fault


class LastWarning(logging.Handler):
    """Keeps the last warning of the log, which would otherwise break into the picture.

    The scheduler's own are left out: in a great hurry rounds come faster than it can count them, and say so.
    """

    words = ""

    def emit(self, record: logging.LogRecord) -> None:
        """Take one record, by logging's contract."""
        if not record.name.startswith("apscheduler."):
            self.words = " ".join(record.getMessage().split())


class Demo:
    """Puts the house together with a hurried clock, and lets an evening pass in it.

    Args:
        folder: a folder of its own; holds the copy of the site file and the journal.
        site_path: the site file to copy.
        night_date: the night whose evening is shown.
        pace: how hurried the clock is; so that it takes about a minute where None.
        port: where the web server listens; the usual port, or any other if that is taken, where None.
    """

    def __init__(
        self, folder: Path, *, site_path: Path, night_date: date, pace: float | None, port: int | None
    ) -> None:
        """Build everything; nothing moves yet."""
        self._complaint = LastWarning(logging.WARNING)
        site = _load(site_path)
        copy = folder / "site.toml"
        shutil.copyfile(site_path, copy)
        planner = Planner(site)
        self._evening = choose_evening(planner, night_on(night_date, planner.tz))
        self._ends_at_utc = self._evening.ends_at_utc
        pace = pace or self._evening.lasts_s / ABOUT_S
        self._clock = FastClock(self._evening.starts_at_utc, pace=pace)
        self._file = Journal(folder)
        self._journal = RecordingJournal(self._file)
        self._keeper = Keeper(site, clock=self._clock, relays=open_relays("simulated"), journal=self._journal)
        self._rounds = ControlLoop(self._keeper, clock=self._clock, write=self._write, pace=pace)
        gateway = KeeperGateway(
            loop=self._rounds,
            journal=JournalReader(folder),
            site_path=copy,
            append=self._journal.append,
        )
        self._web = WebServer(lambda: self._make_app(gateway), port=choose_port() if port is None else port)

    def _make_app(self, gateway: KeeperGateway) -> object:
        """Make the application; called in the web server's thread, where the web stack is imported."""
        from api.web.app import make_app  # noqa: PLC0415 - the terminal need not wait for it

        return make_app(gateway, boot_s=lambda: self._clock.read().boot_s)

    def _write(self) -> None:
        """Write what waits in the journal."""
        self._file.flush()

    def play(self, open_display: OpenDisplay, *, stay: bool) -> Seen:
        """Let the evening pass; with ``stay`` the evenings after it as well, until somebody ends it."""
        with self._quiet_log(), contextlib.closing(self._file):
            self._file.open()
            self._web.start()
            try:
                self._web.wait_until_serving(OPEN_S)
                return asyncio.run(self._play(open_display, stay=stay))
            finally:
                self._web.stop()

    @contextlib.contextmanager
    def _quiet_log(self) -> Iterator[None]:
        """Keep the log out of the picture."""
        root = logging.getLogger()
        root.addHandler(self._complaint)
        try:
            yield
        finally:
            root.removeHandler(self._complaint)

    async def _play(self, open_display: OpenDisplay, *, stay: bool) -> Seen:
        """Make the rounds and show them side by side."""
        loop = asyncio.get_running_loop()
        for name in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            loop.add_signal_handler(name, self._rounds.stop)
        starts = self._scene()
        with open_display() as display:
            showing = asyncio.create_task(self._show(display, stay=stay))
            await self._rounds.run(started=self._clock.go)
            ends = self._scene()
            showing.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await showing
            display.show(ends)
        return Seen(
            planner=self._keeper.planner,
            switchings=tuple(self._journal.switchings),
            started_at_utc=starts.at_utc,
            ended_at_utc=ends.at_utc,
            whole=ends.at_utc >= self._ends_at_utc,
        )

    async def _show(self, display: Display, *, stay: bool) -> None:
        """Show moment after moment, and end the rounds with the evening."""
        try:
            while True:
                display.show(self._scene())
                if not stay and self._clock.read().utc >= self._ends_at_utc:
                    return
                await asyncio.sleep(FRAME_S)
        finally:
            self._rounds.stop()

    def _scene(self) -> Frame:
        """Look at everything as it is now."""
        at_utc = self._clock.read().utc
        planner = self._keeper.planner
        night = planner.night_at(at_utc)
        if night != self._evening.night:
            self._evening = choose_evening(planner, night)
        return Frame(
            at_utc=at_utc,
            evening=self._evening,
            planner=planner,
            status=self._rounds.status,
            switchings=tuple(self._journal.switchings),
            pace=self._clock.pace,
            address=self._web.fault or self._web.url,
            trouble=self._complaint.words,
        )


@contextlib.contextmanager
def temporary_folder() -> Iterator[Path]:
    """Make a folder that is gone at the end, whatever happens."""
    with tempfile.TemporaryDirectory(prefix="leerie-demo-") as name:
        yield Path(name)


def choose_port() -> int:
    """Say where the page is to be: at its usual port, or at any that is free where that one is taken."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, PORT))
        except OSError:
            return 0
    return PORT


def _load(path: Path) -> Site:
    """Read a site file."""
    return load_site(path).site
