"""Comparing a journal with what the program asks for: what is lost, false, or late for no reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from controller.clock.trust import STEP_TOLERANCE_S
from controller.keeper.keeper import TICK_S
from controller.keeper.recorder import HELD_UP_S
from controller.records.entries import Event, EventKind, Switching
from tests.process.oracle import Edge, Window


@dataclass(frozen=True, kw_only=True)
class Match:
    """An edge of the program, and the switching that it led to."""

    edge: Edge
    switching: Switching

    @property
    def late_s(self) -> float:
        """How much later than the edge the switching was; negative where it was earlier."""
        return (self.switching.at.utc - self.edge.at.at_utc).total_seconds()


def edges_in(
    windows: Mapping[str, Sequence[Window]],
    from_utc: datetime,
    to_utc: datetime,
    *,
    switchings: Sequence[Switching],
    events: Sequence[Event],
) -> tuple[list[Edge], set[str]]:
    """Give the changes of light that a daemon that runs from one instant to another must make.

    What is to be lit already at the start is lit then. The second value names the zones of which nothing can
    be said, because the start is nearer to the end of a window than astral's sun is exact.
    """
    found, unclear = [], set()
    for zone_id, each in windows.items():
        own = [switching for switching in switchings if switching.zone == zone_id]
        for on, off in each:
            if abs((off.at_utc - from_utc).total_seconds()) <= off.tolerance_s:
                unclear.add(zone_id)
            if off.at_utc <= from_utc or on.at_utc > to_utc:
                continue
            if is_passed_over((on, off), from_utc, own=own, events=events, turns=len(windows)):
                continue
            begins = on if on.at_utc >= from_utc else replace(on, at_utc=from_utc)
            found.append(Edge(zone=zone_id, on=True, at=begins))
            if off.at_utc <= to_utc:
                found.append(Edge(zone=zone_id, on=False, at=off))
    return sorted(found, key=lambda edge: edge.at.at_utc), unclear


def is_passed_over(
    window: Window, from_utc: datetime, *, own: Sequence[Switching], events: Sequence[Event], turns: int
) -> bool:
    """Whether a zone was not lit in a window because no round was made in it, or its turn never came.

    Args:
        window: when the zone was to be lit.
        from_utc: when the daemon was started.
        own: the zone's switchings.
        events: what else the journal holds.
        turns: for how many zones a zone may have to wait, each up to ``HELD_UP_S`` without a note.
    """
    begins_utc, ends_utc = max(window[0].at_utc, from_utc), window[1].at_utc
    if any(each.on and begins_utc <= each.at.utc <= ends_utc for each in own):
        return False
    waiting = timedelta(seconds=turns * HELD_UP_S)
    if ends_utc <= begins_utc + waiting:
        return True
    for each in events:
        if each.kind is EventKind.RESUMED:
            last_round_utc = each.at.utc - timedelta(seconds=(each.size_s or 0.0) + TICK_S)
            if last_round_utc <= begins_utc < ends_utc <= each.at.utc + waiting:
                return True
    return False


def match_up(edges: Sequence[Edge], switchings: Sequence[Switching], *, heard_utc: datetime) -> list[Match]:
    """Pair each zone's edges with its switchings, in order.

    Args:
        edges: what had to be switched in a run.
        switchings: what the journal holds of it.
        heard_utc: up to when the journal is complete; an edge after that may have none.

    Raises:
        AssertionError: there is a switching too many, or too few, or one goes the wrong way.
    """
    found = []
    for zone_id in sorted({edge.zone for edge in edges} | {each.zone for each in switchings}):
        wanted = [edge for edge in edges if edge.zone == zone_id]
        came = [each for each in switchings if each.zone == zone_id]
        needed = sum(edge.at.at_utc <= heard_utc for edge in wanted)
        message = f"{zone_id}, recorded until {heard_utc}:\n wanted {_lines(wanted)}\n came {_lines(came)}"
        assert needed <= len(came) <= len(wanted), message
        assert [edge.on for edge in wanted[: len(came)]] == [each.on for each in came], message
        found += [Match(edge=edge, switching=each) for edge, each in zip(wanted, came, strict=False)]
    return sorted(found, key=lambda match: match.switching.at.utc)


def late_at_most_s(match: Match, switchings: Sequence[Switching], events: Sequence[Event]) -> float:
    """Say how late a switching may be.

    A round that comes more than ``HELD_UP_S`` after it was due is itself in the journal, with how much. At
    x1000 a real millisecond is a faked second, so those are the times that the machine gave the process no
    turn. What is less is not noted; and a zone that comes on waits for its turn behind others, each of which
    may be so late.
    """
    edge_utc, at_utc = match.edge.at.at_utc, match.switching.at.utc
    noted_s = sum(
        event.size_s or 0.0
        for event in events
        if event.kind is EventKind.RESUMED and edge_utc <= event.at.utc <= at_utc
    )
    turns = sum(
        each.on and edge_utc - timedelta(seconds=HELD_UP_S) <= each.at.utc <= at_utc for each in switchings
    )
    return match.edge.at.tolerance_s + noted_s + HELD_UP_S * (1 + turns)


def adds_up(steps_s: Sequence[float], to_s: float) -> bool:
    """Whether the steps in a journal add up to those that were made.

    A pair of readings that the machine came between looks like a step, and the next pair like one back; so
    they cancel out, but for one right before the end.
    """
    allowed_s = STEP_TOLERANCE_S * (1 + len(steps_s))
    return any(abs(sum(sizes) - to_s) <= allowed_s for sizes in (steps_s, steps_s[:-1]))


def steps_in(events: Sequence[Event]) -> list[float]:
    """Give the sizes of the steps in a journal, in the order of the boot-time clock."""
    steps = [each for each in events if each.kind is EventKind.CLOCK_STEPPED]
    return [each.size_s or 0.0 for each in sorted(steps, key=lambda event: event.at.boot_s)]


def _lines(found: Sequence[Edge] | Sequence[Switching]) -> str:
    return "; ".join(f"{_at(each):%d %H:%M:%S} {'on' if each.on else 'off'}" for each in found)


def _at(found: Edge | Switching) -> datetime:
    return found.at.at_utc if isinstance(found, Edge) else found.at.utc
