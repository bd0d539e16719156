"""What the keeper knows of each zone, and the status that it gives to others."""

from __future__ import annotations

from dataclasses import dataclass

from config.models.site import RatedLoad, Zone
from controller.clock.trust import RELEASED_UTC
from controller.planning.decision import Decision
from controller.records.entries import Override, Switching
from controller.records.reading import Reading
from controller.relays import SIMULATED, Wire

# Pauses between tries at a relay that fails: doubled from the first, never longer than a tick.
FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 30.0
# After so many failed tries in a row the pin is closed and opened afresh, each time.
TRIES_BEFORE_REOPENING = 3
# By the boot-time clock, of what has not happened yet.
LONG_AGO_S = -1e9


@dataclass(frozen=True, kw_only=True, slots=True)
class RelayFault:
    """A relay that does not do as it is set: why, since when, and when it is tried again."""

    words: str
    since: Reading
    tries: int
    retry_at_boot_s: float

    @staticmethod
    def after(earlier: RelayFault | None, *, words: str, now: Reading) -> RelayFault:
        """Count one more failed try, and choose the pause before the next."""
        tries = 1 if earlier is None else earlier.tries + 1
        pause_s = min(LONGEST_PAUSE_S, FIRST_PAUSE_S * 2.0 ** min(tries - 1, 10))
        since = now if earlier is None else earlier.since
        return RelayFault(words=words, since=since, tries=tries, retry_at_boot_s=now.boot_s + pause_s)


@dataclass(kw_only=True, slots=True)
class ZoneState:
    """What the keeper remembers of one zone's relay.

    ``lit`` was read back last, and is in the journal; ``lit_by`` is the switching that lit it.
    """

    wire: Wire
    load: RatedLoad
    lit: bool = False
    lit_since: Reading | None = None
    lit_by: Switching | None = None
    fault: RelayFault | None = None
    faults: int = 0
    decision: Decision | None = None

    @classmethod
    def of(cls, zone: Zone) -> ZoneState:
        """Give the state of a zone of which nothing is known yet."""
        return cls(wire=Wire(pin=zone.pin, active_high=zone.active_high), load=zone.rated_load)

    def show(self, zone: Zone, override: Override | None) -> ZoneStatus | None:
        """Give the zone's status; None before its first round."""
        if self.decision is None:
            return None
        return ZoneStatus(
            zone=zone.id,
            name=zone.name,
            lit=self.lit,
            lit_since=self.lit_since,
            decision=self.decision,
            override=override,
            fault=self.fault,
            faults=self.faults,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneStatus:
    """One zone's status after the last round; ``faults`` counts how often its relay failed so far."""

    zone: str
    name: str
    lit: bool
    lit_since: Reading | None
    decision: Decision
    override: Override | None
    fault: RelayFault | None
    faults: int


@dataclass(frozen=True, kw_only=True, slots=True)
class KeeperStatus:
    """The keeper's status after its last round.

    Attributes:
        at: the time of the round.
        rounds: how many there were since the start.
        trust_since: since when the clock is, or is not, trusted.
        zones: in the order of the site file.
        waiting: journal entries not written yet.
        lost: journal entries that had to be dropped.
        journal_fault: why the journal cannot be written; None while it can.
        site_changed_at: when a change of the site file was noticed that is not read yet; None where all is.
        refused: why the last changed site file was refused; None where it was not.
        site_file: the same two in words.
        simulated: whether the relays are simulated, and nothing is switched.
    """

    at: Reading
    rounds: int
    started_at: Reading
    trust_since: Reading
    zones: tuple[ZoneStatus, ...]
    waiting: int
    lost: int
    journal_fault: str | None
    site_changed_at: Reading | None
    refused: str | None
    site_file: str
    simulated: bool

    @property
    def words(self) -> str:
        """One line for the service manager and the log."""
        lit = [zone.name for zone in self.zones if zone.lit]
        parts = [f"lit: {', '.join(lit)}" if lit else "all dark"]
        if not self.at.trusted:
            parts = [f"Lights held: {self.at.trust}"]
        elif self.at.utc < RELEASED_UTC:
            parts.append(self.at.trust)
        parts += [f"{zone.name}: {zone.fault.words}" for zone in self.zones if zone.fault]
        if self.journal_fault:
            parts.append(f"journal: {self.journal_fault}, {self.waiting} waiting")
        if self.site_changed_at or self.refused:
            parts.append(f"site file {self.site_file}")
        if self.simulated:
            parts.append(SIMULATED)
        return "; ".join(parts)
