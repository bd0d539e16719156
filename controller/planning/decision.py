"""The decision: what a zone's relay must be at this instant, because of what, and until when.

What wins, first to last: zone out of service, override, clock not trusted, special night, program.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from config.phrase import Phrase
from controller.planning.planner import Planner, ProgramState
from controller.records.entries import Cause, Override
from controller.records.reading import Reading

LIGHTS_HELD = "lights held: the clock is not trusted"

# How long an override lasts where neither the person nor the program says when it ends.
LONGEST_OVERRIDE_S = 24 * 3600.0
# The same while the clock is not trusted and the program's next change is not known.
OVERRIDE_WITHOUT_CLOCK_S = 4 * 3600.0
# The most that a person may ask for, by a length or by an instant: more is not "for now".
_MOST_DAYS = 31
MOST_OVERRIDE_S = _MOST_DAYS * 24 * 3600.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Decision:
    """What one relay must be at one instant.

    Attributes:
        words: why, without instants.
        until_utc: when this answer ends: the next change of the light, or the end of the override; None where
            no such instant is known.
        changes_in_s: seconds until then by the clock that measures it; None where not known.
    """

    on: bool
    cause: Cause
    words: str
    until_utc: datetime | None
    changes_in_s: float | None


def decide(zone_id: str, now: Reading, *, planner: Planner, override: Override | None = None) -> Decision:
    """Decide what a zone's relay must be now.

    An override counts only while it is in force. Without a trusted clock nothing else lights a zone.

    Raises:
        UnknownZoneError: no zone has that id.
    """
    zone = planner.site.zone(zone_id)
    if zone.out_of_service is not None:
        return _dark(Cause.OUT_OF_SERVICE, f"out of service: {zone.out_of_service}")
    if override is not None and (left_s := seconds_left(override, now)) is not None and left_s > 0:
        return _as_asked(override, now, left_s)
    if not now.trusted:
        return _dark(Cause.CLOCK_NOT_TRUSTED, LIGHTS_HELD)
    return _as_programmed(planner.program_state(zone_id, now.utc), now)


def _dark(cause: Cause, words: str) -> Decision:
    return Decision(on=False, cause=cause, words=words, until_utc=None, changes_in_s=None)


def _as_asked(override: Override, now: Reading, left_s: float) -> Decision:
    return Decision(
        on=override.on,
        cause=Cause.OVERRIDE,
        words=f"somebody asked for {'light' if override.on else 'dark'}",
        until_utc=now.utc + timedelta(seconds=left_s) if now.trusted else None,
        changes_in_s=left_s,
    )


def _as_programmed(state: ProgramState, now: Reading) -> Decision:
    until_utc = state.until_utc
    return Decision(
        on=state.on,
        cause=state.plan.cause,
        words=state.words,
        until_utc=until_utc,
        changes_in_s=None if until_utc is None else (until_utc - now.utc).total_seconds(),
    )


def seconds_left(override: Override, now: Reading) -> float | None:
    """Give how long an override still runs, in seconds; zero or less where it is over.

    None where nobody can know, because it was placed before this boot and the clock is not trusted.
    """
    placed = override.placed_at
    same_boot = placed.boot_id == now.boot_id
    elapsed_s = now.boot_s - placed.boot_s
    if override.lasts_s is not None and same_boot:
        return override.lasts_s - elapsed_s
    ends_at_utc = override.ends_at_utc
    if ends_at_utc is None and placed.trusted:
        ends_at_utc = placed.utc + timedelta(seconds=override.lasts_s or 0.0)
    if now.trusted:
        return 0.0 if ends_at_utc is None else (ends_at_utc - now.utc).total_seconds()
    if same_boot and ends_at_utc is not None:
        return (ends_at_utc - placed.utc).total_seconds() - elapsed_s
    return None


def place_override(
    zone_id: str,
    now: Reading,
    *,
    on: bool,
    planner: Planner,
    ends_at_utc: datetime | None = None,
    lasts_s: float | None = None,
    by: str = "api",
) -> Override:
    """Make an override that ends by itself: at an instant, or after so many seconds, in at most 31 days.

    Without either it ends with the program's next change, at most ``LONGEST_OVERRIDE_S`` from now; while the
    clock is not trusted, after ``OVERRIDE_WITHOUT_CLOCK_S``.

    Raises:
        UnknownZoneError: no zone has that id.
        ValueError: both an end and a duration, an end in the past, or an end by a clock that is not trusted.
    """
    planner.site.zone(zone_id)
    if ends_at_utc is not None and lasts_s is not None:
        raise ValueError(Phrase("an override ends at an instant or after a time, not both; give one of them"))
    if lasts_s is not None and not 0 < lasts_s <= MOST_OVERRIDE_S:
        raise ValueError(
            Phrase(
                "an override lasts more than 0 s and at most {most} days, not {lasts:g} s",
                most=_MOST_DAYS,
                lasts=lasts_s,
            )
        )
    if ends_at_utc is not None and not now.trusted:
        raise ValueError(Phrase("say for how long, not until when: {trust}", trust=now.trust))
    if ends_at_utc is not None and ends_at_utc <= now.utc:
        end = f"{ends_at_utc:%Y-%m-%dT%H:%M:%SZ}"
        raise ValueError(Phrase("{end} is already over; name a later instant", end=end))
    if ends_at_utc is not None and (ends_at_utc - now.utc).total_seconds() > MOST_OVERRIDE_S:
        raise ValueError(
            Phrase(
                "{end} is more than {most} days away; name an earlier instant, or change the program",
                end=f"{ends_at_utc:%Y-%m-%dT%H:%M:%SZ}",
                most=_MOST_DAYS,
            )
        )
    if ends_at_utc is None and lasts_s is None:
        if now.trusted:
            at_most_utc = now.utc + timedelta(seconds=LONGEST_OVERRIDE_S)
            next_change_utc = planner.program_state(zone_id, now.utc).until_utc
            ends_at_utc = min(next_change_utc or at_most_utc, at_most_utc)
        else:
            lasts_s = OVERRIDE_WITHOUT_CLOCK_S
    return Override(zone=zone_id, on=on, placed_at=now, ends_at_utc=ends_at_utc, lasts_s=lasts_s, by=by)
