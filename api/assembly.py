"""Where everything is put together and started, and stopped in reverse.

Lights first: the relays are right before the event loop, the scheduler and the web stack are imported.
"""

from __future__ import annotations

import logging
import shutil
import signal
import sys
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from api.notify import Notifier
from config.errors import AlreadyRunningError, JournalError, RelayError, SiteFileError
from config.site import Site
from config.site_file import load_site
from controller.clock import SystemClock
from controller.clock_trust import RELEASED_UTC
from controller.journal import Journal
from controller.journal_hold import Hold, hold_state
from controller.keeper import Keeper
from controller.keeper_state import KeeperStatus
from controller.past import read_past
from controller.relays import Wire, open_relays
from controller.scribe import Scribe
from controller.zone_data import reload_zone, tz_data_stamp, use_newest_zone_data

if TYPE_CHECKING:
    from controller.rounds import Rounds

log = logging.getLogger("leerie")

# A copy of the last site file that was taken, in the state folder: a file that a power cut or a slip of the
# hand has spoilt must not keep the garden dark.
LAST_GOOD = "site.last-good.toml"


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
        site, refused = _load(site_path, state)
        _require_board(site)
        if relays_off:
            return put_out(site)
        hold = _hold(state)
    except (SiteFileError, AlreadyRunningError, RelayError) as error:
        print(error, file=sys.stderr)  # noqa: T201 - a message for the person who started it
        return 2
    _keep(site, refused, site_path=site_path, state=state, hold=hold, port=port)
    return 0


def _hold(state: Path) -> Hold | None:
    """Hold the state folder; None where that cannot be done now, which must not keep the garden dark.

    Raises:
        AlreadyRunningError: another keeper holds it.
    """
    try:
        return hold_state(state)
    except JournalError as error:
        log.error("%s; going on without a journal until it can be written", error)
        return None


def _keep(site: Site, refused: str, *, site_path: Path, state: Path, hold: Hold | None, port: int) -> None:
    """Put the house together from the clock up, light the lights, and make the rounds until told to stop."""
    journal = Journal(state, hold=hold)
    past = read_past(journal)
    clock = SystemClock(
        believe=site.clock.believe,
        floor_utc=past.last_instant_utc or RELEASED_UTC if past else RELEASED_UTC,
        trusted_boot_id=past.trusted_boot_id if past else None,
    )
    relays = open_relays(site.relays.board)
    keeper = Keeper(site, clock=clock, relays=relays, journal=journal, past=past)
    if refused:
        keeper.refuse_site(refused)
    keeper.round()
    log.info("%s: %s", site.name, keeper.status().words)

    # From here on the lights are right, and the rest of the house may take its time.
    import asyncio  # noqa: PLC0415

    from api.desk import Desk  # noqa: PLC0415
    from api.server import WebServer  # noqa: PLC0415
    from controller.journal_reading import JournalReader  # noqa: PLC0415
    from controller.rounds import Rounds, in_background  # noqa: PLC0415

    scribe = Scribe(
        journal,
        clock=clock,
        past=past,
        take_back=lambda overrides: rounds.ask(lambda keeper: keeper.take_back(overrides)),
    )
    house = _House(site_path=site_path, state=state, keeper=keeper, clock=clock, scribe=scribe)
    rounds = Rounds(
        keeper, clock=clock, write=scribe.write, after_round=house.after_round, at_noon=house.at_noon
    )
    house.rounds = rounds
    desk = Desk(rounds=rounds, journal=JournalReader(state), site_path=site_path)

    def make_web() -> object:
        from api.app import make_app  # noqa: PLC0415 - imported in the web server's own thread

        return make_app(desk)

    web = WebServer(make_web, port=port)

    async def run() -> None:
        loop = asyncio.get_running_loop()
        for name in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(name, rounds.stop)
        loop.add_signal_handler(signal.SIGHUP, house.reload)
        await rounds.run(started=house.started)

    in_background(scribe.check, name="journal check")
    web.start()
    try:
        asyncio.run(run())
    finally:
        web.stop()
        journal.close()


class _House:
    """The errands between the rooms: what follows a round, a signal, noon, and a write."""

    rounds: Rounds

    def __init__(
        self,
        *,
        site_path: Path,
        state: Path,
        keeper: Keeper,
        clock: SystemClock,
        scribe: Scribe,
    ) -> None:
        self._site_path = site_path
        self._state = state
        self._keeper = keeper
        self._clock = clock
        self._scribe = scribe
        self._notifier = Notifier.from_environment()
        self._reload_asked = 0
        self._stamp = tz_data_stamp(keeper.site.time_zone)

    def started(self) -> None:
        """Tell the service manager that the lights are right."""
        self._notifier.ready(self._keeper.status().words)

    def after_round(self, status: KeeperStatus) -> None:
        """Feed the watchdog, show the state, and never again believe a clock that is behind this instant."""
        self._notifier.watchdog()
        self._notifier.status(status.words)
        if status.at.trusted:
            self._clock.raise_floor(status.at.utc)

    def at_noon(self) -> None:
        """Once a night: a copy of the journal, and a look at the time zone data."""
        self._scribe.copy(self._keeper.almanac.night_at(self.rounds.status.at.utc).date)
        name = self._keeper.site.time_zone
        stamp = tz_data_stamp(name)
        if stamp != self._stamp:
            self._stamp = stamp
            use_newest_zone_data()
            tz = reload_zone(name)
            self.rounds.ask(
                lambda keeper: keeper.change_site(keeper.site, words="new time zone data", tz=tz)
            )

    def reload(self) -> None:
        """Read the site file again, as asked by a signal; a storm of signals leads to one reading more."""
        self._reload_asked += 1
        if self._reload_asked == 1:
            from controller.rounds import in_background  # noqa: PLC0415 - loaded long since

            in_background(self._reload_all, name="reload")

    def _reload_all(self) -> None:
        """Read until nobody asks any more."""
        while asked := self._reload_asked:
            self._notifier.reloading()
            self._reload_once()
            self._notifier.ready()
            self._reload_asked -= asked

    def _reload_once(self) -> None:
        """Read the site file; one that will not do is refused, and the old one kept."""
        try:
            site = load_site(self._site_path).site
        except SiteFileError as error:
            words = str(error)
            log.error("the site file was not taken: %s", words)
            self.rounds.ask(lambda keeper: keeper.refuse_site(words.splitlines()[0]))
            return
        self._clock.believe = site.clock.believe
        self.rounds.ask(lambda keeper: keeper.change_site(site, words="the site file was read again"))
        self._stamp = tz_data_stamp(site.time_zone)
        _remember(self._site_path, self._state)


def _load(site_path: Path, state: Path) -> tuple[Site, str]:
    """Read the site file, or the last good copy where it will not do; the second value says why.

    Raises:
        SiteFileError: neither will do.
    """
    try:
        loaded = load_site(site_path)
    except SiteFileError as error:
        last_good = state / LAST_GOOD
        if not last_good.is_file():
            raise
        site = load_site(last_good).site
        log.error("%s\nthe site file will not do; going on with the last good one, %s", error, last_good)
        return site, str(error).splitlines()[0]
    for warning in loaded.warnings:
        log.warning("%s", warning)
    _remember(site_path, state)
    return loaded.site, ""


def _remember(site_path: Path, state: Path) -> None:
    """Keep a copy of a site file that was taken, if the state folder can be written."""
    try:
        state.mkdir(parents=True, exist_ok=True)
        fresh = state / (LAST_GOOD + ".new")
        shutil.copyfile(site_path, fresh)
        fresh.replace(state / LAST_GOOD)
    except OSError as error:
        log.warning("%s: no copy of the site file could be kept: %s", state, error.strerror or error)


def _require_board(site: Site) -> None:
    """Refuse early what can never work.

    Raises:
        RelayError: the site wants real pins and the library for them is not installed.
    """
    if site.relays.board == "gpio" and find_spec("lgpio") is None:
        raise RelayError(
            'board = "gpio" needs lgpio, which is not installed; install Leerie as "leerie[gpio]"'
        )


def put_out(site: Site, *, tell: Callable[[str], None] = log.warning) -> int:
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
