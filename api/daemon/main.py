"""The daemon put together and started, and stopped in reverse.

Lights first: the relays are right before the event loop, the scheduler and the web stack are imported.
"""

from __future__ import annotations

import gc
import logging
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from api.daemon.last_good import LAST_GOOD, load_or_last_good, log_warnings
from config.errors import JournalError, RelayError
from config.models.site import Site
from controller.clock.tzdata import use_newest_zone_data
from controller.journal.journal import Journal
from controller.journal.lock import StateLock
from controller.journal.previous_run import PreviousRun
from controller.keeper.keeper import Keeper
from controller.relays import Wire, missing_library, open_relays

if TYPE_CHECKING:
    from api.web.gateway import KeeperGateway
    from api.web.listening import Listening
    from config.file.loader import LoadedSite

log = logging.getLogger("leerie")

# What ends the program, or makes it read its site file again.
SIGNALS = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
# How long to wait for the journal and the web server at the end; a disk that hangs delays nobody.
CLOSE_S = 0.2
# How long a thread keeps the interpreter while others wait for it; Python's own choice is five times as long.
# Relays and short answers are the less late while a long one is worked out: tests/bench/bench_memory.py.
TURN_S = 0.001


def run_daemon(site_path: Path, *, state: Path, port: int | None = None, relays_off: bool = False) -> int:
    """Light a site until a signal ends it; with ``relays_off`` only switch every relay off, and end.

    The state folder is made where it is missing. The web server has the port given here, else that of the
    site file.

    Returns:
        The exit code: 0, or 1 where a relay could not be switched off.

    Raises:
        SiteFileError: neither the site file nor the last good copy is valid.
        RelayError: the library for the board is missing.
        AlreadyRunningError: another daemon holds the state folder.
    """
    log_to_stderr()
    logging.getLogger("apscheduler").setLevel(logging.WARNING)  # else a line for every job
    use_newest_zone_data()
    loaded, refused = load_or_last_good(site_path, state)
    if refused:
        log.warning("the site file is not valid; using the last good copy, %s", state / LAST_GOOD)
    _require_board(loaded.site)
    if relays_off:
        return switch_all_off(loaded.site)
    _run(loaded, refused, site_path=site_path, state=state, lock=_lock(state), port=port)
    return 0


class LogLines(logging.Formatter):
    """Lines of the log: ``warning: …``, ``error: …``, and whose they are where they are not ours."""

    OURS = ("leerie", "api", "config", "controller")

    def format(self, record: logging.LogRecord) -> str:
        """Give a record's line."""
        level = "" if record.levelno < logging.WARNING else f"{record.levelname.lower()}: "
        whose = "" if record.name.split(".")[0] in self.OURS else f"{record.name}: "
        return level + whose + super().format(record)


def log_to_stderr() -> None:
    """Write the log to standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(LogLines())
    logging.basicConfig(level=logging.INFO, handlers=[handler])


def _run(
    loaded: LoadedSite, refused: str, *, site_path: Path, state: Path, lock: StateLock, port: int | None
) -> None:
    """Put the daemon together: the lights, then everything else; run it, and stop it in reverse."""
    site = loaded.site
    journal = Journal(state, lock=lock)
    previous = journal.previous_run()
    clock = (previous or PreviousRun()).make_clock(site.clock.believe)
    relays = open_relays(*site.relays.hardware)
    keeper = Keeper(site, clock=clock, relays=relays, journal=journal, past=previous)
    if refused:
        keeper.refuse_site(refused)
    # From the first light on a signal waits until it is handled: dying of it would leave runs open.
    signal.pthread_sigmask(signal.SIG_BLOCK, SIGNALS)
    keeper.reconcile()
    log.info("%s: %s", site.name, keeper.status().words)

    # The lights are right, and the rest may take its time. What is in memory by now stays there: no garbage
    # collection need look at it again.
    gc.freeze()
    gc.enable()
    sys.setswitchinterval(TURN_S)
    import asyncio  # noqa: PLC0415

    from api.daemon.hooks import DaemonHooks  # noqa: PLC0415
    from api.web.gateway import KeeperGateway  # noqa: PLC0415
    from api.web.listening import Listening  # noqa: PLC0415
    from api.web.server import WebServer  # noqa: PLC0415
    from controller.journal.maintenance import JournalMaintenance  # noqa: PLC0415
    from controller.journal.reader import JournalReader  # noqa: PLC0415
    from controller.keeper.loop import ControlLoop, in_background  # noqa: PLC0415

    hooks = DaemonHooks(site_path=site_path, state=state, clock=clock, loaded=loaded, refusal=refused)
    hooks.maintenance = JournalMaintenance(
        journal,
        clock=clock,
        past=previous,
        learn=hooks.on_previous_run,
        on_replaced=hooks.on_journal_replaced,
    )
    hooks.loop = ControlLoop(
        keeper, clock=clock, flush=hooks.maintenance.flush, on_round=hooks.on_round, on_noon=hooks.on_noon
    )
    gateway = KeeperGateway(
        loop=hooks.loop,
        reader=JournalReader(state),
        site_path=site_path,
        editing=hooks.site_file.editing,
        append=journal.append,
        unwritten=journal.unwritten,
        recent=journal.recent,
        hub=hooks.hub,
        on_site_written=hooks.on_site_written,
    )
    listening = Listening(
        lambda: gateway.site.network,
        port=port,
        now_utc=lambda: hooks.loop.status.at.utc if hooks.loop.status.at.trusted else None,
        on_home=_show_address,
    )
    web = WebServer(lambda: _make_app(gateway, listening, state), listening=listening)

    in_background(hooks.maintenance.check, name="journal check")
    in_background(lambda: log_warnings(loaded), name="site file warnings")
    web.start()
    try:
        asyncio.run(hooks.run_until_stopped())
    finally:
        web.stop(wait_s=0)
        in_background(journal.close, name="journal").join(CLOSE_S)
        web.stop(CLOSE_S)


def _make_app(gateway: KeeperGateway, listening: Listening, state: Path) -> object:
    from api.page.app import add_page  # noqa: PLC0415 - lights first
    from api.web.app import make_app  # noqa: PLC0415 - as above

    return make_app(gateway, listening=listening, access_path=state / "access.json", add_page=add_page)


def _show_address(url: str) -> None:
    """Show the address as a QR code where a person has started it at a terminal."""
    from api.render.qr_code import show_qr_code  # noqa: PLC0415 - lights first

    show_qr_code(url, sys.stderr)


def _lock(state: Path) -> StateLock:
    """Lock the state folder, or hold its name alone: a disk that fails must not keep the garden dark."""
    lock = StateLock(state)
    try:
        lock.keep()
    except JournalError as error:
        log.error("%s; running without a journal until it can be written", error)
    return lock


def _require_board(site: Site) -> None:
    """Refuse early what can never work: real pins without the library for them."""
    if missing := missing_library(*site.relays.hardware):
        raise RelayError(f'board = "{site.relays.board}" {missing[0]}; {missing[1]}')


def switch_all_off(site: Site) -> int:
    """Switch every relay of a site off, and let go of the board.

    Returns:
        The exit code: 0, or 1 where a relay did not answer.
    """
    relays = open_relays(*site.relays.hardware)
    faults: list[RelayError] = []
    for zone in site.zones:
        try:
            relays.set(Wire(pin=zone.pin, active_high=zone.active_high), on=False)
        except RelayError as error:
            faults.append(error)
    faults += relays.close()
    for fault in faults:
        log.warning("%s", fault)
    return 1 if faults else 0
