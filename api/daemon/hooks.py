"""The errands between the rooms: what follows a round, a signal, noon, and a program that was written."""

from __future__ import annotations

import logging
import threading
from pathlib import Path

from api.daemon.last_good import remember
from api.daemon.sd_notify import Notifier
from config.errors import SiteFileError
from config.file.loader import load_site
from config.models.site import Site
from controller.clock.clock import SystemClock
from controller.clock.tzdata import reload_zone, tz_data_stamp, use_newest_zone_data
from controller.journal.maintenance import JournalMaintenance
from controller.keeper.loop import ControlLoop, in_background
from controller.keeper.state import KeeperStatus

log = logging.getLogger("leerie")


class DaemonHooks:
    """Runs between the keeper, the files and the service manager.

    Args:
        site_path: the site file.
        state: the state folder.
        clock: the keeper's clock.
        maintenance: looks after the journal.
        site: the site at the start.
    """

    rounds: ControlLoop

    def __init__(
        self, *, site_path: Path, state: Path, clock: SystemClock, maintenance: JournalMaintenance, site: Site
    ) -> None:
        """Take the errands on; ``rounds`` is given before the first one."""
        self._site_path = site_path
        self._state = state
        self._clock = clock
        self._maintenance = maintenance
        self._notifier = Notifier.from_environment()
        self._reload_wanted = threading.Event()
        self._reloading = threading.Lock()
        self._stamp = tz_data_stamp(site.time_zone)
        self._board = site.relays.board

    def started(self) -> None:
        """Tell the service manager that the lights are right."""
        self._notifier.ready(self.rounds.status.words)

    def after_round(self, status: KeeperStatus) -> None:
        """Feed the watchdog, show the state, and never again believe a clock that is behind this instant."""
        self._notifier.watchdog()
        self._notifier.status(status.words)
        if status.at.trusted:
            self._clock.raise_floor(status.at.utc)

    def at_noon(self) -> None:
        """Once a night: a copy of the journal, and a look at the time zone data."""
        keeper = self.rounds.keeper
        self._maintenance.back_up(keeper.planner.night_at(self.rounds.status.at.utc).date)
        stamp = tz_data_stamp(keeper.site.time_zone)
        if stamp != self._stamp:
            use_newest_zone_data()
            tz = reload_zone(keeper.site.time_zone)
            self.rounds.ask(lambda keeper: keeper.change_site(keeper.site, words="new time zone data", tz=tz))
            self._stamp = stamp  # not before: what failed is tried again the next noon

    def site_written(self) -> None:
        """Follow a site file that was written over the API; other hands may have changed it too."""
        self._follow(self.rounds.keeper.site)
        if self.rounds.keeper.site.relays.board != self._board:
            self._refuse(self._other_board(self.rounds.keeper.site))

    def reload(self) -> None:
        """Read the site file again, as a signal asks; a storm of signals leads to one reading more."""
        self._reload_wanted.set()
        in_background(self._reload_while_wanted, name="reload")

    def _reload_while_wanted(self) -> None:
        """Read until nobody asks any more, one thread at a time."""
        with self._reloading:
            while self._reload_wanted.is_set():
                self._reload_wanted.clear()
                self._notifier.reloading()
                try:
                    self._reload_once()
                except TimeoutError as error:
                    log.warning("the site file was not read again: %s", error)
                finally:
                    self._notifier.ready(self.rounds.status.words)

    def _reload_once(self) -> None:
        """Read the site file; one that will not do is refused, and the old one kept."""
        try:
            site = load_site(self._site_path).site
        except SiteFileError as error:
            self._refuse(str(error))
            return
        if site.relays.board != self._board:
            self._refuse(self._other_board(site))
            return
        self.rounds.ask(lambda keeper: keeper.change_site(site, words="the site file was read again"))
        log.info("the site file was read again and taken")
        self._follow(site)

    def _follow(self, site: Site) -> None:
        """Go by a site that is kept from now on, and keep a copy of its file."""
        self._clock.believe = site.clock.believe
        self._stamp = tz_data_stamp(site.time_zone)
        remember(self._site_path, self._state)

    @staticmethod
    def _other_board(site: Site) -> str:
        """Say that the board of a running program is not changed."""
        return f"relays.board is now “{site.relays.board}”; restart Leerie to use another board"

    def _refuse(self, words: str) -> None:
        """Say that the changed site file was not taken, and why."""
        log.error("the site file was not taken: %s", words)
        self.rounds.ask(lambda keeper: keeper.refuse_site(words.splitlines()[0]))
