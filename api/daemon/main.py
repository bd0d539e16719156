"""Where everything is put together and started, and stopped in reverse.

Lights first: the relays are right before the event loop, the scheduler and the web stack are imported.
"""

from __future__ import annotations

import gc
import logging
import signal
import sys
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

from api.daemon.last_good import load_or_last_good, remember
from config.errors import AlreadyRunningError, JournalError, RelayError, SiteFileError
from config.models.site import Site
from controller.clock.clock import SystemClock
from controller.clock.trust import RELEASED_UTC
from controller.clock.tzdata import use_newest_zone_data
from controller.journal.journal import Journal
from controller.journal.lock import StateLock, lock_state
from controller.journal.maintenance import JournalMaintenance
from controller.journal.previous_run import PreviousRun, read_previous_run
from controller.keeper.keeper import Keeper
from controller.relays import Wire, open_relays

log = logging.getLogger("leerie")

# What ends the program, or has it read its site file.
HEARD = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
# At the end, how long journal and web server are waited for; a disk that hangs holds up nobody.
CLOSE_S = 0.2


def run_daemon(site_path: Path, *, state: Path, port: int, relays_off: bool = False) -> int:
    """Keep a site's lights until told to stop.

    Args:
        site_path: the site file.
        state: folder of the journal; made where it is missing.
        port: where the web server listens on this machine.
        relays_off: only put every relay to its off level, and end.

    Returns:
        The exit code: 0 well, 2 where the file or the request is wrong.
    """
    logging.basicConfig(stream=sys.stderr, level=logging.INFO, format="%(name)s: %(message)s")
    logging.getLogger("apscheduler").setLevel(logging.WARNING)  # it tells of every round
    use_newest_zone_data()
    try:
        site, refused = load_or_last_good(site_path, state)
        _require_board(site)
        if relays_off:
            return switch_all_off(site)
        lock = _lock(state)
    except (SiteFileError, AlreadyRunningError, RelayError) as error:
        print(error, file=sys.stderr)  # noqa: T201 - a message for the person who started it
        return 2
    _keep(site, refused, site_path=site_path, state=state, lock=lock, port=port)
    return 0


def _lock(state: Path) -> StateLock | None:
    """Hold the state folder; None where that cannot be done now, which must not keep the garden dark.

    Raises:
        AlreadyRunningError: another keeper holds it.
    """
    try:
        return lock_state(state)
    except JournalError as error:
        log.error("%s; going on without a journal until it can be written", error)
        return None


def _keep(
    site: Site, refused: str, *, site_path: Path, state: Path, lock: StateLock | None, port: int
) -> None:
    """Put the house together from the clock up, light the lights, and make the rounds until told to stop."""
    journal = Journal(state, lock=lock)
    past = read_previous_run(journal)
    clock = SystemClock(
        believe=site.clock.believe,
        floor_utc=past.last_instant_utc or RELEASED_UTC if past else RELEASED_UTC,
        trusted_boot_id=past.trusted_boot_id if past else None,
    )
    relays = open_relays(site.relays.board)
    keeper = Keeper(site, clock=clock, relays=relays, journal=journal, past=past)
    if refused:
        keeper.refuse_site(refused)
    # From the first light on a signal waits until somebody can follow it: to die of it would leave runs open.
    signal.pthread_sigmask(signal.SIG_BLOCK, HEARD)
    keeper.round()
    log.info("%s: %s", site.name, keeper.status().words)
    if not refused:
        remember(site_path, state)

    # From here on the lights are right, and the rest of the house may take its time. What is there by now
    # stays, and no collection of garbage need ever look at it again.
    gc.freeze()
    gc.enable()
    import asyncio  # noqa: PLC0415

    from api.daemon.hooks import DaemonHooks  # noqa: PLC0415
    from api.web.gateway import KeeperGateway  # noqa: PLC0415
    from api.web.server import WebServer  # noqa: PLC0415
    from controller.journal.reader import JournalReader  # noqa: PLC0415
    from controller.keeper.loop import ControlLoop, in_background  # noqa: PLC0415

    def learn(past: PreviousRun) -> None:
        if past.last_instant_utc is not None:
            clock.raise_floor(past.last_instant_utc)
        rounds.ask(lambda keeper: keeper.learn(past))

    maintenance = JournalMaintenance(
        journal,
        clock=clock,
        past=past,
        learn=learn,
    )
    errands = DaemonHooks(site_path=site_path, state=state, clock=clock, maintenance=maintenance, site=site)
    rounds = ControlLoop(
        keeper, clock=clock, write=maintenance.flush, after_round=errands.after_round, at_noon=errands.at_noon
    )
    errands.rounds = rounds
    desk = KeeperGateway(
        rounds=rounds,
        journal=JournalReader(state),
        site_path=site_path,
        take_down=journal.append,
        written=errands.site_written,
    )

    def make_web() -> object:
        from api.web.app import make_app  # noqa: PLC0415 - imported in the web server's own thread

        return make_app(desk)

    web = WebServer(make_web, port=port)

    async def run() -> None:
        loop = asyncio.get_running_loop()
        for name in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(name, rounds.stop)
        loop.add_signal_handler(signal.SIGHUP, errands.reload)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, HEARD)
        await rounds.run(started=errands.started)
        signal.pthread_sigmask(signal.SIG_BLOCK, HEARD)

    in_background(maintenance.check, name="journal check")
    web.start()
    try:
        asyncio.run(run())
    finally:
        web.stop(wait_s=0)
        in_background(journal.close, name="journal").join(CLOSE_S)
        web.stop(CLOSE_S)


def _require_board(site: Site) -> None:
    """Refuse early what can never work.

    Raises:
        RelayError: the site wants real pins and the library for them is not installed.
    """
    if site.relays.board == "gpio" and find_spec("lgpio") is None:
        # Not by name: an index of packages may hold a stranger's under ours.
        remedy = "in Leerie's folder, pip install '.[gpio]' adds it"
        raise RelayError(f'board = "gpio" needs lgpio, which is not installed; {remedy}')


def switch_all_off(site: Site, *, tell: Callable[[str], None] = log.warning) -> int:
    """Put every relay of a site to its off level, and let go of the board.

    Returns:
        The exit code: 0, or 1 where a relay did not answer.
    """
    relays = open_relays(site.relays.board)
    faults: list[RelayError] = []
    for zone in site.zones:
        try:
            relays.set(Wire(pin=zone.pin, active_high=zone.active_high), on=False)
        except RelayError as error:
            faults.append(error)
    faults += relays.close()
    for fault in faults:
        tell(str(fault))
    return 1 if faults else 0
