"""The keeper: compares what each relay is with what it must be, and corrects it.

A round asks for every zone's decision, reads its relay and puts it right. Rounds may come at any time and as
often as they like; nothing depends on one having been made at a certain moment. The keeper holds no timer, no
thread and no file: ``round`` says in how many seconds the next one is due, and whoever calls it sees to that.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from config.errors import RelayError
from config.models.site import Site, Zone
from controller.clock.clock import Clock
from controller.journal.previous_run import PreviousRun
from controller.keeper.overrides import ActiveOverrides
from controller.keeper.recorder import JournalLike, Recorder
from controller.keeper.state import LONG_AGO_S, TRIES_BEFORE_REOPENING, KeeperStatus, RelayFault, ZoneState
from controller.planning.decision import decide, place_override
from controller.planning.planner import Planner
from controller.records.entries import Cause, EventKind, Override
from controller.records.reading import Reading
from controller.relays import Relays, Wire

log = logging.getLogger(__name__)

# The state is worked out afresh at least this often, whatever any timer says.
TICK_S = 30.0


class Keeper:
    """Keeps the relays of one site right.

    Args:
        site: the site.
        clock: tells the time and whether to believe it.
        relays: the board.
        journal: takes what happened.
        past: what the journal knows of the keeper before; None where it cannot say yet.
        tick_s: the longest time between two rounds.
    """

    def __init__(
        self,
        site: Site,
        *,
        clock: Clock,
        relays: Relays,
        journal: JournalLike,
        past: PreviousRun | None = None,
        tick_s: float = TICK_S,
    ) -> None:
        """Take the site on; no relay is touched before the first round."""
        self._clock = clock
        self._relays = relays
        self._journal = journal
        self._planner = Planner(site)
        self._zones = {zone.id: ZoneState.of(zone) for zone in site.zones}
        self._leaving: dict[tuple[str, Wire], ZoneState] = {}
        self._overrides = ActiveOverrides(journal)
        self._started_at = self._last = clock.read()
        words = f"site {site.name}"
        self._recorder = Recorder(journal, started_at=self._started_at, words=words, past=past)
        self._recorder.tell_programs(site.zones, self._started_at)
        self._lit_boot_s = LONG_AGO_S
        moved_boot_s = past.switched_in(self._started_at.boot_id) if past else {}
        self._moved_boot_s = {each.pin: moved_boot_s.get(each.id, LONG_AGO_S) for each in site.zones}
        self._refused: str | None = None
        self._tick_s = self._due_in_s = tick_s
        self.restore_overrides(past.overrides if past else ())

    # -- what it is asked ------------------------------------------------------------------------------------

    @property
    def site(self) -> Site:
        """The site as it is kept now."""
        return self._planner.site

    @property
    def planner(self) -> Planner:
        """The plans that the keeper goes by; not for other threads."""
        return self._planner

    @property
    def overrides(self) -> Mapping[str, Override]:
        """What people want for now, by zone; not for other threads."""
        return self._overrides.by_zone

    def status(self) -> KeeperStatus:
        """Show every zone as it was after the last round."""
        zones = tuple(
            status
            for zone in self.site.zones
            if (status := self._zones[zone.id].show(zone, self._overrides.of(zone.id))) is not None
        )
        return KeeperStatus(
            at=self._last,
            started_at=self._started_at,
            trust_since=self._recorder.trust_since,
            zones=zones,
            waiting=self._journal.waiting,
            lost=self._journal.lost,
            journal_fault=self._journal.fault,
            refused=self._refused,
        )

    # -- what it does ----------------------------------------------------------------------------------------

    def reconcile(self) -> float:
        """Put every relay right.

        Returns:
            Seconds until the next round is due, by the boot-time clock: at most a tick, more than zero.
        """
        now = self._clock.read()
        self._recorder.compare(self._last, now, due_in_s=self._due_in_s)
        due_in_s = self._tick_s
        for zone_id, wire in list(self._leaving):
            due_in_s = min(due_in_s, self._release_old_relay(zone_id, wire, now))
        for zone in self.site.zones:
            due_in_s = min(due_in_s, self._reconcile_zone(zone, now))
        if any(state.lit for state in [*self._zones.values(), *self._leaving.values()]):
            self._recorder.beat(now)
        self._last, self._due_in_s = now, max(due_in_s, 0.001)
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
        """Take a person's wish for now; the next round follows it.

        Raises:
            UnknownZoneError: no zone has that id.
            ValueError: the wish has no end that could be kept; see ``decision.place_override``.
        """
        now = self._clock.read()
        override = place_override(
            zone_id, now, on=on, planner=self._planner, ends_at_utc=ends_at_utc, lasts_s=lasts_s, by=by
        )
        self._overrides.place(override)
        return override

    def lift_override(self, zone_id: str, *, by: str = "api") -> bool:
        """End a person's wish before its time; False where there was none.

        Raises:
            UnknownZoneError: no zone has that id.
        """
        self.site.zone(zone_id)
        return self._overrides.lift(zone_id, self._clock.read(), by=by)

    def adopt_previous_run(self, past: PreviousRun) -> None:
        """Take what the journal can tell only now of an earlier keeper."""
        self.restore_overrides(past.overrides)
        self._recorder.adopt_previous_run(past, self._last)

    def restore_overrides(self, overrides: Sequence[Override]) -> None:
        """Take overrides of an earlier keeper that the journal could tell only now; newer wishes stand."""
        self._overrides.restore(overrides, self._zones, self._started_at)

    def change_site(self, site: Site, *, words: str, tz: ZoneInfo | None = None) -> None:
        """Keep another site from now on, or the same one by new time zone data.

        A relay whose zone went, or whose wiring changed, is put to its off level and let go of first. Where
        the wiring changed back before that, it stays as it is.
        """
        now, planner = self._clock.read(), Planner(site, tz=tz)
        known = self._leaving | {(zone_id, state.wire): state for zone_id, state in self._zones.items()}
        fresh = [(zone.id, ZoneState.of(zone)) for zone in site.zones]
        self._zones = {zone_id: known.pop((zone_id, state.wire), state) for zone_id, state in fresh}
        self._leaving = known
        for zone in site.zones:
            self._zones[zone.id].load = zone.rated_load
        self._overrides.keep_only(self._zones, now)
        self._planner = planner
        self._refused = None
        self._recorder.note(EventKind.SITE_CHANGED, words, now)
        self._recorder.tell_programs(site.zones, now)

    def refuse_site(self, words: str) -> None:
        """Remember why a changed site file was not taken; the old one stays in force."""
        self._refused = words
        self._recorder.note(EventKind.SITE_REFUSED, words, self._clock.read())

    def stop(self) -> None:
        """Put every relay to its off level, let go of the board and close the account."""
        now = self._clock.read()
        for fault in self._relays.close():
            log.error("at the end: %s", fault)
        leaving = [(zone_id, state) for (zone_id, _), state in self._leaving.items()]
        for zone_id, state in [*leaving, *self._zones.items()]:
            words = "Leerie was stopped"
            self._recorder.switched(zone_id, state, now, on=False, cause=Cause.STOPPED, words=words)
        self._recorder.note(EventKind.STOPPED, "stopped as asked", now)

    # -- one zone --------------------------------------------------------------------------------------------

    def _reconcile_zone(self, zone: Zone, now: Reading) -> float:
        """Put one zone right; whatever goes wrong with it stays with it."""
        try:
            self._overrides.end_if_over(zone.id, now)
            return self._correct(zone, now)
        except Exception as error:
            log.exception("zone %s", zone.id)
            return self._note_failure(
                zone.id, self._zones[zone.id], now, RelayError(f"cannot be kept: {error}")
            )

    def _correct(self, zone: Zone, now: Reading) -> float:
        """Compare one relay with its decision and correct it; seconds until it wants another look."""
        state = self._zones[zone.id]
        override = self._overrides.of(zone.id)
        decision = state.decision = decide(zone.id, now, planner=self._planner, override=override)
        due_in_s = self._tick_s if decision.changes_in_s is None else decision.changes_in_s
        if state.fault is not None and now.boot_s < state.fault.retry_at_boot_s:
            return min(due_in_s, state.fault.retry_at_boot_s - now.boot_s)
        if self._waits_for_another(zone, now):
            return min(due_in_s, 1.0)
        try:
            found = self._relays.read(state.wire)
            self._note_external_change(zone.id, state, now, lit=bool(found))
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
            zone.id, state, now, on=decision.on, cause=decision.cause, words=decision.words
        )
        return due_in_s

    def _switch(self, state: ZoneState, now: Reading, *, on: bool) -> None:
        """Set one relay, opening its pin afresh where it keeps failing."""
        self._moved_boot_s[state.wire.pin] = now.boot_s
        if on:
            self._lit_boot_s = now.boot_s
        if state.fault is not None and state.fault.tries >= TRIES_BEFORE_REOPENING:
            self._relays.reopen(state.wire, on=on)
        else:
            self._relays.set(state.wire, on=on)

    def _pause_s(self, state: ZoneState, now: Reading, *, on: bool) -> float:
        """Say how long a relay has to wait: for its rest, and for its turn where several come on together.

        The relay is the pin's, whichever zone it belongs to by now.
        """
        moved_boot_s = self._moved_boot_s.get(state.wire.pin, LONG_AGO_S)
        rest_s = moved_boot_s + self.site.relays.rest_s - now.boot_s
        turn_s = self._lit_boot_s + self.site.relays.stagger_s - now.boot_s if on else 0.0
        return max(rest_s, turn_s)

    def _note_external_change(self, zone_id: str, state: ZoneState, now: Reading, *, lit: bool) -> None:
        """Take down a relay that is not as it was left: somebody or something else switched it."""
        words = f"the relay was found {'lit' if lit else 'dark'}"
        self._recorder.switched(zone_id, state, now, on=lit, cause=Cause.RELAY_FAULT, words=words)

    def _note_failure(self, zone_id: str, state: ZoneState, now: Reading, error: RelayError) -> float:
        """Note a relay that fails, once a fault, and say when to try again."""
        if state.fault is None:
            log.error("zone %s: %s", zone_id, error)
            self._recorder.note(EventKind.RELAY_FAULT, str(error), now, zone=zone_id)
        state.fault = RelayFault.after(state.fault, words=str(error), now=now)
        return state.fault.retry_at_boot_s - now.boot_s

    def _note_recovery(self, zone_id: str, state: ZoneState, now: Reading) -> None:
        """Note a relay that works again."""
        if state.fault is not None:
            log.info("zone %s: its relay works again", zone_id)
            lasted_s = now.boot_s - state.fault.since.boot_s
            self._recorder.note(EventKind.RELAY_RECOVERED, "works again", now, zone=zone_id, size_s=lasted_s)
            state.fault = None

    # -- relays that leave -----------------------------------------------------------------------------------

    def _waits_for_another(self, zone: Zone, now: Reading) -> bool:
        """Whether a relay that leaves is still in a zone's way: its own old one, or one on the same pin."""
        for (zone_id, wire), old in self._leaving.items():
            if zone.pin == wire.pin or (zone.id == zone_id and old.fault is None):
                return True
            if zone.id == zone_id:  # nobody waits for a relay that does not answer
                words = "its old relay does not answer"
                self._recorder.switched(zone_id, old, now, on=False, cause=Cause.RELAY_FAULT, words=words)
        return False

    def _release_old_relay(self, zone_id: str, wire: Wire, now: Reading) -> float:
        """Put a relay that no zone uses any more to its off level, and let go of its pin."""
        state = self._leaving[zone_id, wire]
        rest_s = self._pause_s(state, now, on=False) if state.lit else 0.0
        if state.fault is not None:
            rest_s = max(rest_s, state.fault.retry_at_boot_s - now.boot_s)
        if rest_s > 0:
            return rest_s
        try:
            if state.lit:
                self._moved_boot_s[wire.pin] = now.boot_s
            self._relays.release(wire)
        except RelayError as error:
            return self._note_failure(zone_id, state, now, error)
        words = "the site file changed"
        self._recorder.switched(zone_id, state, now, on=False, cause=Cause.SITE_CHANGED, words=words)
        del self._leaving[zone_id, wire]
        return self._tick_s
