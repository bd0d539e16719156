"""A board for tests of the account: a real keeper, mock pins and a real journal, driven through weeks.

Beside the journal the board keeps the truth: when each relay was closed, by a clock that is never wrong.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta
from pathlib import Path

from config.errors import RelayError
from config.models.site import Site
from controller.clock.clock import SteppedClock
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.keeper.keeper import Keeper
from controller.relays import Wire, open_relays

# As often as beats are due, so that weeks pass in a second of real time.
TICK_S = 270.0


class Board:
    """One board; ``clock`` is what it shows, ``true_utc`` what time it really is."""

    def __init__(
        self, folder: Path, site: Site, at_utc: datetime, *, tick_s: float = TICK_S, **clock
    ) -> None:
        self.folder = folder
        self.tick_s = tick_s
        self.site = site
        self.true_utc = at_utc
        self.clock = SteppedClock(at_utc, **clock)
        self.lit: dict[str, list[tuple[datetime, datetime]]] = defaultdict(list)
        self.broken: set[int] = set()
        self.start()

    @property
    def reader(self) -> JournalReader:
        """Reads the journal."""
        return JournalReader(self.folder)

    def start(self) -> None:
        """Start a keeper as the daemon does."""
        self.journal = Journal(self.folder)
        self.journal.open()
        self.relays = open_relays("simulated")
        self._break_pins()
        past = self.journal.previous_run()
        self.keeper = Keeper(
            self.site,
            clock=self.clock,
            relays=self.relays,
            journal=self.journal,
            past=past,
            tick_s=self.tick_s,
        )
        self.due_in_s = self.keeper.reconcile()
        self.keeper.record_site()

    def run_until(self, at_utc: datetime) -> None:
        """Let true time pass, round after round."""
        while self.true_utc < at_utc:
            step_s = min(self.due_in_s, (at_utc - self.true_utc).total_seconds())
            self._pass(step_s)
            self.clock.advance(step_s)
            self.due_in_s = self.keeper.reconcile()
        self.journal.flush()

    def stop(self, off_s: float) -> None:
        """Stop as a person does, and start again some time later."""
        self.keeper.stop()
        self.journal.flush()
        self.journal.close()
        self.true_utc += timedelta(seconds=off_s)
        self.clock.advance(off_s)
        self.start()

    def cut_power(self, off_s: float, *, wakes_at: datetime | None = None) -> None:
        """Lose the power without a word; without a clock chip the board wakes up at some other time."""
        self.journal.flush()
        self.journal.close()
        self.true_utc += timedelta(seconds=off_s)
        self.clock.trusted = wakes_at is None
        self.clock.reboot(utc=wakes_at or self.true_utc)
        self.start()

    def learn_time(self) -> None:
        """Have the network set the clock right."""
        self.clock.step((self.true_utc - self.clock.utc).total_seconds())
        self.clock.trusted = True
        self.due_in_s = self.keeper.reconcile()

    def change(self, site: Site) -> None:
        """Keep another site from now on."""
        self.site = site
        self.keeper.change_site(site, words="changed")
        self.due_in_s = self.keeper.reconcile()
        self.keeper.record_site()

    def override(self, zone: str, *, on: bool, lasts_s: float) -> None:
        """Override a zone; the keeper checks it at once."""
        self.keeper.override(zone, on=on, lasts_s=lasts_s)
        self.due_in_s = self.keeper.reconcile()

    def break_relay(self, zone: str) -> None:
        """Have a relay fail from now on."""
        self.broken.add(self.site.zone(zone).pin)

    def mend_relay(self, zone: str) -> None:
        """Have it work again."""
        self.broken.discard(self.site.zone(zone).pin)

    def lit_s(self, zone: str, from_utc: datetime | None = None, to_utc: datetime | None = None) -> float:
        """Say how long a zone really was lit, in all or between two instants."""
        total_s = 0.0
        for on, off in self.lit[zone]:
            starts, ends = max(on, from_utc or on), min(off, to_utc or off)
            total_s += max((ends - starts).total_seconds(), 0.0)
        return total_s

    def close(self) -> None:
        """Let go of the journal."""
        self.journal.flush()
        self.journal.close()

    def _pass(self, seconds: float) -> None:
        """Let true time pass, with the relays as they are."""
        until = self.true_utc + timedelta(seconds=seconds)
        for zone in self.site.zones:
            if self.relays.read(Wire(pin=zone.pin, active_high=zone.active_high)):
                self.lit[zone.id].append((self.true_utc, until))
        self.true_utc = until

    def _break_pins(self) -> None:
        """Make every relay on a broken pin raise when it is lit."""
        set_really = self.relays.set

        def set_or_fail(wire: Wire, *, on: bool) -> None:
            if on and wire.pin in self.broken:
                raise RelayError(f"pin {wire.pin} does not answer")
            set_really(wire, on=on)

        self.relays.set = set_or_fail
