"""From what the keeper shows of itself to the answers that the web server gives of it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from api.render.instants import coming_text, instant_text
from api.render.nights_json import decision_as_json
from api.web.schemas.responses import (
    ClockAnswer,
    DecisionAnswer,
    FaultAnswer,
    JournalAnswer,
    KeeperAnswer,
    LoadAnswer,
    NightAnswer,
    OverrideAnswer,
    SiteFileAnswer,
    SpecialNightAnswer,
    ZoneAnswer,
    ZoneInShort,
)
from config.models.site import Zone
from controller.clock.clock import STEP_TOLERANCE_S
from controller.keeper.state import KeeperStatus, RelayFault, ZoneStatus
from controller.planning.decision import seconds_left
from controller.records.entries import Override
from controller.records.reading import Reading


def show_clock(status: KeeperStatus, now: Reading) -> ClockAnswer:
    """Show what time it is, and whether to believe it."""
    return ClockAnswer(
        now=instant_text(now.utc),
        trusted=now.trusted,
        because=now.trust,
        since=instant_text(by_present_clock(status.trust_since, now)),
    )


def show_keeper(status: KeeperStatus, now: Reading) -> KeeperAnswer:
    """Show the keeper itself."""
    return KeeperAnswer(
        started_at=instant_text(by_present_clock(status.started_at, now)),
        last_round=instant_text(status.at.utc),
        summary=status.words,
    )


def show_journal(status: KeeperStatus) -> JournalAnswer:
    """Show how the journal is doing."""
    return JournalAnswer(waiting=status.waiting, lost=status.lost, fault=status.journal_fault)


def show_site_file(status: KeeperStatus) -> SiteFileAnswer:
    """Show whether the last changed site file was taken."""
    return SiteFileAnswer(refused=status.refused)


def show_in_short(zone: Zone, seen: ZoneStatus | None, now: Reading) -> ZoneInShort:
    """Show one zone in the overview; ``seen`` is None until the keeper's first round with it."""
    return ZoneInShort(**_shared(zone, seen, now))


def show_zone(zone: Zone, seen: ZoneStatus | None, now: Reading, tonight: dict[str, Any]) -> ZoneAnswer:
    """Show one zone in full."""
    load = zone.rated_load
    totals_since = seen.totals_since if seen is not None else None
    return ZoneAnswer(
        **_shared(zone, seen, now),
        transformer=zone.transformer,
        pin=zone.pin,
        rated_load=LoadAnswer(watts=load.watts, origin=load.origin or None),
        totals_since=None if totals_since is None else instant_text(by_present_clock(totals_since, now)),
        out_of_service=zone.out_of_service,
        program=[str(span) for span in zone.program],
        special_nights=[
            SpecialNightAnswer(nights=str(each.nights), program=[str(span) for span in each.program])
            for each in zone.special_nights
        ],
        tonight=NightAnswer(**tonight),
    )


def show_override(override: Override, now: Reading) -> OverrideAnswer:
    """Show a person's wish for now."""
    left_s = seconds_left(override, now)
    until_utc: datetime | None = override.ends_at_utc
    if until_utc is None and left_s is not None and now.trusted:
        until_utc = now.utc + timedelta(seconds=left_s)
    return OverrideAnswer(
        light="on" if override.on else "off",
        until=None if until_utc is None else coming_text(until_utc),
        lasts_s=None if left_s is None else max(0.0, round(left_s, 1)),
        placed_at=instant_text(by_present_clock(override.placed_at, now)),
        by=override.by,
    )


def by_present_clock(then: Reading, now: Reading) -> datetime:
    """Say when something was, by the clock as it is now.

    A board that woke up in 1970 and learned the time later was not started in 1970. Within a boot the time
    that passed is known from the boot-time clock, which nobody sets.
    """
    if then.boot_id != now.boot_id:
        return then.utc
    reckoned_utc = now.utc - timedelta(seconds=now.boot_s - then.boot_s)
    stepped_s = abs((reckoned_utc - then.utc).total_seconds())
    return reckoned_utc if stepped_s > STEP_TOLERANCE_S else then.utc


def _shared(zone: Zone, seen: ZoneStatus | None, now: Reading) -> dict[str, Any]:
    """Give what the overview and the full picture of a zone have in common."""
    override = seen.override if seen is not None else None
    return {
        "id": zone.id,
        "name": zone.name,
        "lit": seen is not None and seen.lit,
        "decision": None if seen is None else DecisionAnswer(**decision_as_json(seen.decision)),
        "override": None if override is None else show_override(override, now),
        "fault": None if seen is None or seen.fault is None else _show_fault(seen.fault, now),
    }


def _show_fault(fault: RelayFault, now: Reading) -> FaultAnswer:
    """Show a relay that does not do what it is told."""
    return FaultAnswer(
        because=fault.words, since=instant_text(by_present_clock(fault.since, now)), tries=fault.tries
    )
