"""What the keeper records in the journal, and in what words."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta, tzinfo
from typing import TYPE_CHECKING

from config.models.site import Site, Zone
from controller.clock.clock import step_between
from controller.clock.trust import CONFIRMED, IMPOSSIBLE
from controller.journal.previous_run import PreviousRun
from controller.keeper.state import ZoneState
from controller.planning.program_text import REMOVED, format_program
from controller.records.entries import Cause, Event, EventKind, FixtureIds, Heartbeat, SiteRecord, Switching
from controller.records.reading import Reading

if TYPE_CHECKING:
    from controller.journal.journal import Journal

log = logging.getLogger(__name__)

# A heartbeat while something is lit, so often that a power cut loses no more than five minutes: with a tick
# of 30 s between two checks, 270 s keeps that promise.
BEAT_S = 270.0
# A round this much later than it was due means that the board slept, or was held up.
HELD_UP_S = 60.0


class Recorder:
    """Puts what happens into the journal, each thing once; begins by closing the previous run."""

    def __init__(
        self, journal: Journal, *, started_at: Reading, words: str, past: PreviousRun | None
    ) -> None:
        self.journal = journal
        # Since when the clock is, or is not, trusted, and why.
        self.trust_since = started_at
        self._started_at = started_at
        self._beat_boot_s = -1e9
        self._journal_fault: str | None = None
        self._previous = past
        self._programs: dict[str, str] = {}
        self._site_record: SiteRecord | None = None
        journal.close_open_runs(started_at)
        self.note(EventKind.STARTED, words, started_at)
        if not started_at.trusted:
            self.note(EventKind.CLOCK_NOT_TRUSTED, started_at.trust, started_at)
        elif past and past.confirmed and past.confirmed.boot_id == started_at.boot_id:
            self.trust_since = replace(past.confirmed, trust=CONFIRMED)
        self._record_gap(started_at)

    def note(
        self,
        kind: EventKind,
        words: str,
        at: Reading,
        *,
        zone: str | None = None,
        size_s: float | None = None,
    ) -> None:
        """Record an event."""
        self.journal.append(Event(kind=kind, at=at, words=words, zone=zone, size_s=size_s))

    def record_programs(self, zones: Sequence[Zone], at: Reading) -> None:
        """Record what each zone is to do from now on, where it differs from what was recorded before."""
        programs = {zone.id: format_program(zone) for zone in zones}
        for zone_id in sorted(self._programs.keys() - programs.keys()):
            self.note(EventKind.PROGRAM, REMOVED, at, zone=zone_id)
        for zone_id, program in programs.items():
            if self._programs.get(zone_id) != program:
                self.note(EventKind.PROGRAM, program, at, zone=zone_id)
        self._programs = programs

    def record_site(self, site: Site, at: Reading) -> None:
        """Record what the site is, and the ids of its fixtures.

        Its cables are solved for that, so from a thread that nobody waits for.
        """
        from controller.history.site_facts import facts_of, format_facts  # noqa: PLC0415 - lights first

        self._site_record = SiteRecord(at=at, text=format_facts(facts_of(site)))
        self.journal.append(self._site_record)
        self.journal.append(FixtureIds.of(site))
        self._date_site_record()

    def _date_site_record(self) -> None:
        """Write a record that was made before the clock was trusted once more: that gives it its instant."""
        record, now = self._site_record, self.trust_since
        if record is not None and not record.at.trusted and now.trusted:
            self._site_record = replace(record, at=now)
            self.journal.append(self._site_record)

    def switched(
        self,
        zone_id: str,
        state: ZoneState,
        at: Reading,
        *,
        on: bool,
        cause: Cause,
        words: str,
        until_utc: datetime | None = None,
        tz: tzinfo = UTC,
    ) -> None:
        """Record a change of one relay; nothing where there is none, so that on and off alternate.

        ``until_utc`` is its next change, for the log, which has it by the clock of ``tz``.
        """
        if state.lit is on:
            return
        if log.isEnabledFor(logging.INFO):
            until = until_words(until_utc, at, tz)
            log.info("zone %s: %s%s (%s)", zone_id, "on" if on else "off", until, words)
        entry = Switching(
            zone=zone_id,
            at=at,
            on=on,
            cause=cause,
            words=words,
            load_w=state.load.watts,
            load_from=state.load.origin,
        )
        state.lit, state.lit_since, state.lit_by = on, at if on else None, entry if on else None
        self.journal.append(entry)

    def renamed(self, zone_id: str, name: str, state: ZoneState, at: Reading) -> None:
        """Have a run go on under the id that its zone has now: one ends, and one like it begins at once."""
        log.info("zone %s is called %s now", zone_id, name)
        by, words = state.lit_by, f"the zone is called {name} now"
        if by is not None:
            state.lit_by = replace(by, zone=name, at=at)
            self.journal.append(replace(by, at=at, on=False, cause=Cause.SITE_CHANGED, words=words))
            self.journal.append(state.lit_by)

    def compare(self, last: Reading, now: Reading, *, due_in_s: float) -> None:
        """Record what happened to the clock and to the journal since the last round.

        This round was due ``due_in_s`` seconds after the last one.
        """
        step_s = step_between(last, now)
        if step_s is not None:
            self.note(EventKind.CLOCK_STEPPED, "the clock was set", now, size_s=step_s)
        late_s = now.boot_s - last.boot_s - due_in_s
        if late_s > HELD_UP_S:
            words = "the board slept or was held up: no relay was checked"
            self.note(EventKind.RESUMED, words, now, size_s=late_s)
        before = self.trust_since
        if now.trusted is not before.trusted or (before.trust == CONFIRMED != now.trust):
            found = EventKind.CLOCK_CONFIRMED if now.trust == CONFIRMED else EventKind.CLOCK_TRUSTED
            self._change_trust(found if now.trusted else EventKind.CLOCK_NOT_TRUSTED, now.trust, now)
        fault = self.journal.fault
        if (fault is None) is not (self._journal_fault is None):
            kind = EventKind.JOURNAL_RECOVERED if fault is None else EventKind.JOURNAL_FAULT
            self.note(kind, fault or "written again", now)
        self._journal_fault = fault

    def confirm_clock(self, now: Reading, *, by: str) -> None:
        """Record that a person confirmed the clock; where it was trusted for a better reason, that too."""
        log.info("clock: %s confirmed the time", by)
        self._change_trust(EventKind.CLOCK_CONFIRMED, f"{by} confirmed the time", now)
        self.trust_since = replace(now, trust=CONFIRMED)

    def adopt_previous_run(self, past: PreviousRun, now: Reading) -> None:
        """Record how the previous run ended, where the journal can be read only now."""
        self._previous = past
        self._record_gap(now)

    def _change_trust(self, kind: EventKind, words: str, now: Reading) -> None:
        """Record that the clock is, or is not, trusted from now on."""
        self.note(kind, words, now, size_s=now.boot_s - self.trust_since.boot_s)
        self.trust_since = now
        self._record_gap(now)
        self._date_site_record()

    def _record_gap(self, now: Reading) -> None:
        """Record how long no daemon ran, once the clock is trusted."""
        past = self._previous
        if past is None or past.last_sign is None or not now.trusted:
            return
        self._previous = None
        gap_s = self._seconds_to_start(past.last_sign, now)
        if past.ended_well:
            return
        if past.last_sign.boot_id == now.boot_id:
            self.note(EventKind.DIED, "Leerie ended without warning and was started again", now, size_s=gap_s)
        else:
            self.note(EventKind.POWER_LOST, "the power was lost, or the board was reset", now, size_s=gap_s)

    def _seconds_to_start(self, last_sign: Reading, now: Reading) -> float | None:
        """Measure from the last sign of life to the start of this keeper; None where no clock can.

        Within a boot its own clock does, whoever set the other one meanwhile.
        """
        started_at = self._started_at
        if last_sign.boot_id == started_at.boot_id:
            return started_at.boot_s - last_sign.boot_s
        # A time before this program was made may have to be believed, but measures nothing.
        if not last_sign.trusted or now.trust.startswith(IMPOSSIBLE):
            return None
        return (now.utc - last_sign.utc).total_seconds() - (now.boot_s - started_at.boot_s)

    def beat(self, now: Reading) -> None:
        """Record a heartbeat if the last one is old enough; called while something is lit."""
        if now.boot_s - self._beat_boot_s >= BEAT_S:
            self._beat_boot_s = now.boot_s
            self.journal.append(Heartbeat(at=now))


def until_words(until_utc: datetime | None, now: Reading, tz: tzinfo) -> str:
    """Write `` until 23:30`` for the log, with its date where that is a day or more away; empty for None."""
    if until_utc is None:
        return ""
    until = (until_utc + timedelta(milliseconds=500)).astimezone(tz)
    is_near = until_utc - now.utc < timedelta(days=1)
    return f" until {until:%H:%M}" if is_near else f" until {until:%Y-%m-%d %H:%M}"
