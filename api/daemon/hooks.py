"""What the daemon does beside the lights: after a round, at noon, on a signal, after a new site file."""

import asyncio
import logging
import signal
import threading
from pathlib import Path

from api.daemon.last_good import log_warnings, remember
from api.daemon.sd_notify import Notifier
from api.daemon.site_file import SiteFile, SiteFileUse
from api.web.hub import EventHub
from config.errors import SiteFileError
from config.file.loader import LoadedSite, locate
from config.validation.finding import SiteFinding
from controller.clock.clock import SystemClock
from controller.clock.tzdata import reload_zone, tz_data_stamp, use_newest_zone_data
from controller.journal.maintenance import JournalMaintenance
from controller.journal.previous_run import PreviousRun
from controller.keeper.loop import ControlLoop, in_background
from controller.keeper.state import KeeperStatus
from controller.relays import missing_library, open_relays

log = logging.getLogger("leerie")


class DaemonHooks:
    """Connects the control loop with the site file, the journal and the service manager.

    ``loop`` and ``maintenance`` are set before the first hook is called.
    """

    loop: ControlLoop
    maintenance: JournalMaintenance

    def __init__(
        self, *, site_path: Path, state: Path, clock: SystemClock, loaded: LoadedSite, refusal: str = ""
    ) -> None:
        self._state = state
        self._clock = clock
        self._notifier = Notifier()
        self.hub = EventHub()
        self._reload_wanted = threading.Event()
        self._reloading = threading.Lock()
        self._copying = threading.Lock()
        self._loaded = loaded
        self._time_zone = loaded.site.time_zone
        self._stamp = tz_data_stamp(self._time_zone)
        self._board = loaded.site.relays.hardware
        use = SiteFileUse(
            changed=lambda: self._note_change(changed=True),
            unchanged=lambda: self._note_change(changed=False),
            take=self._take,
            refuse=self._refuse,
        )
        self.site_file = SiteFile(site_path, text=loaded.text, refusal=refusal, use=use)

    async def run_until_stopped(self) -> None:
        """Run the control loop with the signals handled, which are blocked before and after."""
        loop = asyncio.get_running_loop()
        on_signal = {signal.SIGTERM: self.on_stop, signal.SIGINT: self.on_stop, signal.SIGHUP: self.on_reload}
        for name, hook in on_signal.items():
            loop.add_signal_handler(name, hook)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, on_signal)
        await self.loop.run(on_started=self.on_started)
        signal.pthread_sigmask(signal.SIG_BLOCK, on_signal)

    # -- from the control loop -------------------------------------------------------------------------------

    def on_started(self) -> None:
        """Report to the service manager that the lights are right."""
        status = self.loop.status
        self._notifier.ready(status.words)
        if not status.refused:
            in_background(self._remember, name="last good copy")  # forcing it to a slow disk takes seconds
        in_background(self.site_file.watch, name="site file")

    def on_round(self, status: KeeperStatus) -> None:
        """Feed the watchdog and report the status; a clock behind this instant is not trusted from now on."""
        self._notifier.watchdog()
        self.hub.publish(status)
        self._notifier.status(status.words)
        self.site_file.warn_if_it_hangs()
        if status.at.trusted:
            self._clock.trust.raise_floor(status.at.utc)

    def on_noon(self) -> None:
        """Once a night: back up the journal, and use new time zone data where there is some."""
        keeper = self.loop.keeper
        self.maintenance.back_up(keeper.planner.night_at(self.loop.status.at.utc).date)
        stamp = tz_data_stamp(keeper.site.time_zone)
        if stamp != self._stamp:
            use_newest_zone_data()
            tz = reload_zone(keeper.site.time_zone)
            self.loop.call(lambda keeper: keeper.change_site(keeper.site, words="new time zone data", tz=tz))
            self._stamp = stamp  # not before: what failed is tried again the next noon

    def on_previous_run(self, previous: PreviousRun) -> None:
        """Use what the journal knows of the previous run, where it can be read only now."""
        if previous.last_instant_utc is not None:
            self._clock.trust.raise_floor(previous.last_instant_utc)
        self._clock.restore_confirmation(previous.confirmed)
        self.loop.call(lambda keeper: keeper.adopt_previous_run(previous))

    def on_journal_replaced(self) -> None:
        """Keep the last good site file in the folder that is there now, beside its journal."""
        self._remember()

    # -- from signals and the API ----------------------------------------------------------------------------

    def on_stop(self) -> None:
        """End the control loop, as SIGTERM and SIGINT ask."""
        self.hub.close()
        self._notifier.stopping("switching off the lights")
        self.loop.stop()

    def on_reload(self) -> None:
        """Read the site file now, as SIGHUP asks; a storm of signals leads to one more reading."""
        if not self._reload_wanted.is_set():
            self._reload_wanted.set()
            in_background(self._reload_while_wanted, name="reload")

    def on_site_written(self, loaded: LoadedSite) -> None:
        """Use a site file that was written over the API, within ``site_file.editing``."""
        self.site_file.was_edited(loaded)
        self._use(loaded)
        try:
            self._use_board(loaded)
        except SiteFileError as error:
            self._refuse(str(error))

    # -- the site file ---------------------------------------------------------------------------------------

    def _reload_while_wanted(self) -> None:
        """Read the site file until no signal came meanwhile, one thread at a time."""
        with self._reloading:
            while self._reload_wanted.is_set():
                self._reload_wanted.clear()
                self._notifier.reloading()
                try:
                    self.site_file.read()
                except TimeoutError as error:
                    log.warning("the site file was not read again: %s", error)
                finally:
                    self._notifier.ready(self.loop.status.words)

    def _note_change(self, *, changed: bool) -> None:
        self.loop.call(lambda keeper: keeper.note_site_file(changed=changed))

    def _take(self, loaded: LoadedSite) -> None:
        self._use_board(loaded)
        self.loop.call(lambda keeper: keeper.change_site(loaded.site, words="the site file was read again"))
        log_warnings(loaded)
        self._use(loaded)

    def _refuse(self, words: str) -> None:
        self.loop.call(lambda keeper: keeper.refuse_site(words))

    def _use(self, loaded: LoadedSite) -> None:
        self._clock.trust.believe = loaded.site.clock.believe
        if loaded.site.time_zone != self._time_zone:  # else the rules in force may be older than the files
            self._time_zone, self._stamp = loaded.site.time_zone, tz_data_stamp(loaded.site.time_zone)
        self._loaded = loaded
        self._remember()

    def _remember(self) -> None:
        with self._copying:
            remember(self._loaded, self._state)

    def _use_board(self, loaded: LoadedSite) -> None:
        """Have the keeper use the relays of another board, where the file names one that can be used."""
        board = loaded.site.relays.hardware
        if board == self._board:
            return
        if missing := missing_library(*board):
            finding = SiteFinding(("relays", "board"), *missing)
            raise SiteFileError(locate([finding], loaded.text, loaded.file_name))
        self.loop.call(lambda keeper: keeper.change_relays(open_relays(*board)))
        self._board = board
