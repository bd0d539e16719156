"""The keeper: compares what each relay is with what it must be, and corrects it.

It has no timer, no thread and no file: ``reconcile`` may be called at any time and as often as one likes, and
says in how many seconds the next call is due.
"""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from config.errors import RelayError
from config.models.site import Site, Zone
from config.phrase import Phrase, first_line
from controller.calendar.night import local
from controller.clock.clock import Clock
from controller.clock.trust import CONFIRMED_WITHIN
from controller.journal.previous_run import PreviousRun
from controller.keeper.recorder import Recorder, until_words
from controller.keeper.state import LONG_AGO_S, TRIES_BEFORE_REOPENING, KeeperStatus, RelayFault, ZoneState
from controller.planning.decision import decide, place_override, seconds_left
from controller.planning.planner import Planner
from controller.records.entries import Cause, EventKind, Override, OverrideEnded
from controller.records.reading import Reading
from controller.relays import Relays, Wire

if TYPE_CHECKING:
    from controller.journal.journal import Journal

log = logging.getLogger(__name__)

ZONE_REMOVED = "the zone was removed"

# Every relay is checked at least this often, whatever any timer says.
TICK_S = 30.0


class Keeper:
    """Keeps the relays of one site right; none is touched before the first ``reconcile``.

    Args:
        journal: takes what happened, and never blocks or raises.
        past: what the journal knows of the previous run; None where it cannot say yet.

    Attributes:
        tick_s: the longest time between two rounds.
        planner: the plans in force; not for other threads.
        overrides: those in force, by zone; not for other threads.
    """

    def __init__(
        self,
        site: Site,
        *,
        clock: Clock,
        relays: Relays,
        journal: Journal,
        past: PreviousRun | None = None,
        tick_s: float = TICK_S,
    ) -> None:
        self._clock = clock
        self._relays = relays
        self._journal = journal
        self.planner = Planner(site)
        self._zones = {zone.id: ZoneState.of(zone) for zone in site.zones}
        self._leaving: dict[tuple[str, Wire], ZoneState] = {}
        self.overrides: dict[str, Override] = {}
        self._started_at = self._last = clock.read()
        self._recorder = Recorder(journal, started_at=self._started_at, words=f"site {site.name}", past=past)
        self._recorder.record_programs(site.zones, self._started_at)
        self._lit_boot_s = LONG_AGO_S
        # By pin, and before this start by zone. Whatever else switched a relay, the power or an earlier boot,
        # was before this boot began: 0.
        self._moved_boot_s: dict[int, float] = {}
        self._moved_before_boot_s = past.switched_in(self._started_at.boot_id) if past else {}
        self._add_moves_before(site)
        self._unrecorded: tuple[Site, Reading] | None = (site, self._started_at)
        self._refused: str | None = None
        self._site_changed_at: Reading | None = None
        self.tick_s = self._due_in_s = tick_s
        self._rounds = 0
        self.restore_overrides(past.overrides if past else ())

    @property
    def site(self) -> Site:
        """The site that is kept now."""
        return self.planner.site

    def status(self) -> KeeperStatus:
        """Give every zone's status after the last round."""
        zones = tuple(
            status
            for zone in self.site.zones
            if (status := self._zones[zone.id].show(zone, self.overrides.get(zone.id))) is not None
        )
        return KeeperStatus(
            at=self._last,
            rounds=self._rounds,
            started_at=self._started_at,
            trust_since=self._recorder.trust_since,
            zones=zones,
            waiting=self._journal.waiting,
            lost=self._journal.lost,
            journal_fault=self._journal.fault,
            site_changed_at=self._site_changed_at,
            refused=self._refused,
            site_file=self._describe_site_file(),
            simulated=self._relays.are_simulated,
        )

    def _describe_site_file(self) -> str:
        if self._site_changed_at is not None:
            return f"changed at {self._site_changed_at.utc.astimezone(self.planner.tz):%H:%M}, not read yet"
        return f"refused: {self._refused}" if self._refused else "in use"

    def reconcile(self) -> float:
        """Check every relay and correct what differs from its decision.

        Returns:
            Seconds until the next call is due, by the boot-time clock: more than zero, at most a tick.
        """
        now = self._clock.read()
        self._recorder.compare(self._last, now, due_in_s=self._due_in_s)
        due_in_s = self.tick_s
        for zone_id, wire in list(self._leaving):
            due_in_s = min(due_in_s, self._release_old_relay(zone_id, wire, now))
        for zone in self.site.zones:
            due_in_s = min(due_in_s, self._reconcile_zone(zone, now))
        if any(state.lit for state in [*self._zones.values(), *self._leaving.values()]):
            self._recorder.beat(now)
        self._last, self._due_in_s = now, max(due_in_s, 0.001)
        self._rounds += 1
        return self._due_in_s

    def override(
        self,
        zone_id: str,
        *,
        on: bool,
        ends_at_utc: datetime | None = None,
        lasts_s: float | None = None,
        by: str = "api",
    ) -> Override:
        """Place an override; the next round follows it.

        Raises:
            UnknownZoneError: no zone has that id.
            ValueError: its end cannot be kept; see ``decision.place_override``.
        """
        now = self._clock.read()
        override = place_override(
            zone_id, now, on=on, planner=self.planner, ends_at_utc=ends_at_utc, lasts_s=lasts_s, by=by
        )
        self.overrides[zone_id] = override
        self._journal.append(override)
        self._log_override(override, "placed")
        return override

    def lift_override(self, zone_id: str, *, by: str = "api") -> bool:
        """End an override before its time; False where there was none.

        Raises:
            UnknownZoneError: no zone has that id.
        """
        self.site.zone(zone_id)
        if zone_id not in self.overrides:
            return False
        self._end_override(zone_id, f"lifted by {by}", self._clock.read())
        return True

    def confirm_clock(self, seen_utc: datetime, *, by: str = "a person") -> None:
        """Trust the clock because a person, for whom it is ``seen_utc``, vouches for it.

        Raises:
            ValueError: the clock says another time than they see, or one that cannot be; says what to do.
        """
        now = self._clock.read()
        if abs(now.utc - seen_utc) > CONFIRMED_WITHIN:
            says, sees = (f"{local(each, self.planner.tz):%Y-%m-%d %H:%M:%S}" for each in (now.utc, seen_utc))
            raise ValueError(
                Phrase(
                    "the board's clock says {says}, and you see {sees}; set the clock, then confirm it",
                    says=says,
                    sees=sees,
                )
            )
        self._recorder.confirm_clock(self._clock.confirm(), by=by)

    def adopt_previous_run(self, past: PreviousRun) -> None:
        """Use what the journal knows of the previous run, where it can be read only now."""
        self.restore_overrides(past.overrides)
        self._recorder.adopt_previous_run(past, self._last)

    def restore_overrides(self, overrides: Iterable[Override]) -> None:
        """Restore the overrides of the previous run, which the journal has already; newer ones stay."""
        for override in overrides:
            name = self.site.zone_id_now(override.zone)
            if name not in self._zones:
                self._end_override(override.zone, ZONE_REMOVED, self._started_at)
            elif name != override.zone:
                self._rename_override(override, name, self._started_at)
            elif self.overrides.setdefault(override.zone, override) is override:
                self._log_override(override, "still in force, placed")

    def change_site(self, site: Site, *, words: str, tz: ZoneInfo | None = None) -> None:
        """Keep another site from now on, or the same one with new time zone data.

        A relay whose zone was removed, or whose wiring changed, is switched off and released first. Where the
        wiring changed back before that, or the zone has only another id now, it stays as it is.
        """
        now, planner = self._clock.read(), Planner(site, tz=tz)
        states = self._leaving | {(zone_id, state.wire): state for zone_id, state in self._zones.items()}
        known = {}
        for (zone_id, wire), state in states.items():
            name = site.zone_id_now(zone_id)
            if name != zone_id:
                self._recorder.renamed(zone_id, name, state, now)
            known[name, wire] = state
        for override in list(self.overrides.values()):
            if (name := site.zone_id_now(override.zone)) != override.zone:
                self._rename_override(override, name, now)
        fresh = [(zone.id, ZoneState.of(zone)) for zone in site.zones]
        self._zones = {zone_id: known.pop((zone_id, state.wire), state) for zone_id, state in fresh}
        self._leaving = known
        for zone in site.zones:
            self._zones[zone.id].load = zone.rated_load
        for zone_id in sorted(self.overrides.keys() - self._zones.keys()):
            self._end_override(zone_id, ZONE_REMOVED, now)
        self._add_moves_before(site)
        self.planner = planner
        self._unrecorded = (site, now)
        if tz is None:
            self._refused = self._site_changed_at = None
        log.info("%s", words)
        self._recorder.note(EventKind.SITE_CHANGED, words, now)
        self._recorder.record_programs(site.zones, now)

    @property
    def site_is_recorded(self) -> bool:
        """Whether the journal was told what the site is now."""
        return self._unrecorded is None

    def record_site(self) -> None:
        """Tell the journal what the site is now, for the account of later; one thread at a time.

        It may take a while, and nobody needs to wait: another thread than the keeper's may call it.
        """
        unrecorded, self._unrecorded = self._unrecorded, None
        if unrecorded is not None:
            self._recorder.record_site(*unrecorded)

    def note_site_file(self, *, changed: bool) -> None:
        """Note that the site file was changed and is not read yet, or that it need not be read after all."""
        self._site_changed_at = self._clock.read() if changed else None
        log.info("%s", f"site file {self._describe_site_file()}" if changed else "the site file is as it was")

    def refuse_site(self, words: str) -> None:
        """Record why a changed site file was refused, by its first problem; the old one stays in force."""
        log.error("the site file was refused: %s", words)
        self._refused, self._site_changed_at = first_line(words), None
        self._recorder.note(EventKind.SITE_REFUSED, self._refused, self._clock.read())

    def change_relays(self, relays: Relays) -> None:
        """Use other relays from the next round on: those in use are switched off and released first."""
        now, words = self._clock.read(), "the relays are on another board"
        self._moved_boot_s |= {state.wire.pin: now.boot_s for state in self._zones.values() if state.lit}
        self._release_all(now, cause=Cause.SITE_CHANGED, words=words)
        self._leaving = {}
        for state in self._zones.values():
            state.fault = None  # of a relay that nobody uses any more
        self._relays = relays
        log.info("the relays are %s", "simulated" if relays.are_simulated else "on the pins of the board")

    def stop(self) -> None:
        """Switch every relay off, release the board and record the end."""
        now = self._clock.read()
        self._release_all(now, cause=Cause.STOPPED, words="Leerie was stopped")
        self._recorder.note(EventKind.STOPPED, "stopped as asked", now)

    def _release_all(self, now: Reading, *, cause: Cause, words: str) -> None:
        """Switch every relay off and release the board, whatever fails, and record it."""
        states = [*((zone_id, state) for (zone_id, _), state in self._leaving.items()), *self._zones.items()]
        for zone_id, state in states:
            if state.fault is None:
                with contextlib.suppress(RelayError):
                    self._find(zone_id, state, now)
        for fault in self._relays.close():
            log.error("while the relays were released: %s", fault)
        for zone_id, state in states:
            self._recorder.switched(zone_id, state, now, on=False, cause=cause, words=words)

    def _reconcile_zone(self, zone: Zone, now: Reading) -> float:
        """Check one zone; an error in it stays with it."""
        try:
            override = self.overrides.get(zone.id)
            left_s = None if override is None else seconds_left(override, now)
            if left_s is not None and left_s <= 0:
                self._end_override(zone.id, "its time was over", now)
            return self._correct(zone, now)
        except Exception as error:
            log.exception("zone %s", zone.id)
            fault = RelayError(Phrase("cannot be kept: {error}", error=str(error)))
            return self._note_failure(zone.id, self._zones[zone.id], now, fault)

    def _log_override(self, override: Override, what: str) -> None:
        ends_at_utc, placed_at, lasts_s = override.ends_at_utc, override.placed_at, override.lasts_s
        if lasts_s is not None and placed_at.trusted:
            ends_at_utc = placed_at.utc + timedelta(seconds=lasts_s)
        until = until_words(ends_at_utc, placed_at, self.planner.tz)
        if ends_at_utc is None and lasts_s is not None:
            until = f" for {lasts_s / 60:.0f} min"
        light = "on" if override.on else "off"
        log.info("zone %s: override %s%s, %s by %s", override.zone, light, until, what, override.by)

    def _end_override(self, zone_id: str, words: str, at: Reading) -> None:
        self.overrides.pop(zone_id, None)
        log.info("zone %s: override ended: %s", zone_id, words)
        self._journal.append(OverrideEnded(zone=zone_id, at=at, words=words))

    def _rename_override(self, override: Override, name: str, at: Reading) -> None:
        """Have an override go on under the id that its zone has now, unless that has a newer one."""
        self._end_override(override.zone, f"the zone is called {name} now", at)
        if name not in self.overrides:
            self.overrides[name] = replace(override, zone=name)
            self._journal.append(self.overrides[name])
            self._log_override(self.overrides[name], "still in force, placed")

    def _correct(self, zone: Zone, now: Reading) -> float:
        """Compare one relay with its decision and correct it; give the seconds until it is due again."""
        state = self._zones[zone.id]
        override = self.overrides.get(zone.id)
        decision = state.decision = decide(zone.id, now, planner=self.planner, override=override)
        due_in_s = self.tick_s if decision.changes_in_s is None else decision.changes_in_s
        if state.fault is not None and now.boot_s < state.fault.retry_at_boot_s:
            return min(due_in_s, state.fault.retry_at_boot_s - now.boot_s)
        if self._waits_for_old_relay(zone, now):
            return min(due_in_s, 1.0)
        try:
            found = self._find(zone.id, state, now)
            if found is None and not decision.on:
                self._relays.set(state.wire, on=False)
            elif found is not decision.on:
                pause_s = self._pause_s(state, now, on=decision.on)
                if pause_s > 0:
                    if found is None:  # no pin floats while its relay waits
                        self._relays.set(state.wire, on=False)
                    return min(due_in_s, pause_s)
                self._switch(state, now, on=decision.on)
            self._note_recovery(zone.id, state, now)
        except RelayError as error:
            return min(due_in_s, self._note_failure(zone.id, state, now, error))
        self._recorder.switched(
            zone.id,
            state,
            now,
            on=decision.on,
            cause=decision.cause,
            words=decision.words,
            until_utc=decision.until_utc,
            tz=self.planner.tz,
        )
        return due_in_s

    def _find(self, zone_id: str, state: ZoneState, now: Reading) -> bool | None:
        """Read a relay; where it is not as it was left, something else switched it."""
        found = self._relays.read(state.wire)
        words = f"the relay was found {'lit' if found else 'dark'}"
        self._recorder.switched(zone_id, state, now, on=bool(found), cause=Cause.RELAY_FAULT, words=words)
        return found

    def _add_moves_before(self, site: Site) -> None:
        """Have relays rest also from what an earlier keeper switched: the journal knows zones, not pins."""
        for zone in site.zones:
            before = (self._moved_before_boot_s.get(name, 0.0) for name in (zone.id, *zone.formerly))
            self._moved_boot_s[zone.pin] = max(self._moved_boot_s.get(zone.pin, 0.0), *before)

    def _switch(self, state: ZoneState, now: Reading, *, on: bool) -> None:
        self._moved_boot_s[state.wire.pin] = now.boot_s
        if state.fault is not None and state.fault.tries >= TRIES_BEFORE_REOPENING:
            self._relays.reopen(state.wire, on=on)
        else:
            self._relays.set(state.wire, on=on)
        if on:  # one that failed takes nobody's turn
            self._lit_boot_s = now.boot_s

    def _pause_s(self, state: ZoneState, now: Reading, *, on: bool) -> float:
        """How long a relay must wait: for its rest, and for its turn where several come on together.

        Both are counted for the pin, whichever zone it belongs to by now.
        """
        moved_boot_s = self._moved_boot_s.get(state.wire.pin, 0.0)
        rest_s = moved_boot_s + self.site.relays.rest_s - now.boot_s
        turn_s = self._lit_boot_s + self.site.relays.stagger_s - now.boot_s if on else 0.0
        return max(rest_s, turn_s)

    def _note_failure(self, zone_id: str, state: ZoneState, now: Reading, error: RelayError) -> float:
        """Record a relay that fails, once for each fault; give the seconds until the next try."""
        if state.fault is None:
            log.error("zone %s: %s", zone_id, error)
            self._recorder.note(EventKind.RELAY_FAULT, str(error), now, zone=zone_id)
            state.faults += 1
        state.fault = RelayFault.after(state.fault, words=str(error), now=now)
        return state.fault.retry_at_boot_s - now.boot_s

    def _note_recovery(self, zone_id: str, state: ZoneState, now: Reading) -> None:
        if state.fault is not None:
            log.info("zone %s: its relay works again", zone_id)
            lasted_s = now.boot_s - state.fault.since.boot_s
            self._recorder.note(EventKind.RELAY_RECOVERED, "works again", now, zone=zone_id, size_s=lasted_s)
            state.fault = None

    def _waits_for_old_relay(self, zone: Zone, now: Reading) -> bool:
        """Whether an old relay must be released first: the zone's own, or one on the same pin."""
        for (zone_id, wire), old in self._leaving.items():
            if zone.pin == wire.pin or (zone.id == zone_id and old.fault is None):
                return True
            if zone.id == zone_id:  # nobody waits for a relay that does not answer
                words = "its old relay does not answer"
                self._recorder.switched(zone_id, old, now, on=False, cause=Cause.RELAY_FAULT, words=words)
        return False

    def _release_old_relay(self, zone_id: str, wire: Wire, now: Reading) -> float:
        """Switch off a relay that no zone uses any more, and release its pin."""
        state = self._leaving[zone_id, wire]
        if state.fault is not None and now.boot_s < state.fault.retry_at_boot_s:
            return state.fault.retry_at_boot_s - now.boot_s
        try:
            # After a fault its zone may have another relay, whose runs the journal has.
            if state.fault is None:
                self._find(zone_id, state, now)
            if state.lit:
                pause_s = self._pause_s(state, now, on=False)
                if pause_s > 0:
                    return pause_s
                self._moved_boot_s[wire.pin] = now.boot_s
            self._relays.release(wire)
        except RelayError as error:
            return self._note_failure(zone_id, state, now, error)
        words = "the site file changed"
        self._recorder.switched(zone_id, state, now, on=False, cause=Cause.SITE_CHANGED, words=words)
        self._note_recovery(zone_id, state, now)
        del self._leaving[zone_id, wire]
        return self.tick_s
