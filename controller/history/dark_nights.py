"""Outages as a person counts them: on how many nights planned light was missed, which ones, and why."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby

from controller.history.totals import REASONS, HourSum
from controller.records.entries import Cause

# These keep every zone dark at once; the other reasons concern one zone.
OF_WHOLE_GARDEN = frozenset({Cause.POWER_LOST, Cause.STOPPED, Cause.CLOCK_NOT_TRUSTED})

# How many milliseconds each zone missed in a night.
_ByNight = dict[date, dict[str, int]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Outage:
    """Nights in a row on which zones missed planned light, all of it or a part, for one reason.

    Nights without a program may lie between them; they are not counted.

    Attributes:
        reason: None where nothing explains it.
        nights: how many there are.
        lasts_ms: planned time without light, of all the zones together.
    """

    reason: Cause | None
    zones: tuple[str, ...]
    first: date
    last: date
    nights: int
    lasts_ms: int


def outages_of(sums: Iterable[HourSum]) -> tuple[Outage, ...]:
    """Find the outages in the sums of zones over some periods.

    What kept the whole garden dark is one outage of all its zones; what kept zones dark one by one, for the
    same reason over the same nights, is one too.

    Returns:
        In the order of their first nights. Held by tests/controller/history/test_dark_nights.py.
    """
    planned: dict[str | None, set[date]] = defaultdict(set)
    missed: dict[tuple[Cause | None, str | None], _ByNight] = defaultdict(lambda: defaultdict(dict))
    for each in sums:
        assert each.zone is not None, "outages are found before zones are added up"
        planned[each.zone].update(each.planned_nights)
        planned[None].update(each.planned_nights)
        for part in each.missed:
            nights = missed[part.reason, None if part.reason in OF_WHOLE_GARDEN else each.zone]
            for night, lasts_ms in part.nights:
                nights[night][each.zone] = nights[night].get(each.zone, 0) + lasts_ms
    found = [
        outage
        for (reason, zone), nights in missed.items()
        for outage in _split(reason, nights, planned[zone])
    ]
    found.sort(key=lambda each: (each.first, each.last, REASONS.index(each.reason), each.nights))
    return tuple(_join_alike(found))


def _split(reason: Cause | None, missed: _ByNight, planned: AbstractSet[date]) -> Iterator[Outage]:
    """Cut the nights with missed light wherever a planned night without it lies between."""
    for is_missed, some in groupby(sorted(planned), lambda night: night in missed):
        if is_missed:
            nights = list(some)
            yield Outage(
                reason=reason,
                zones=tuple(dict.fromkeys(zone for night in nights for zone in missed[night])),
                first=nights[0],
                last=nights[-1],
                nights=len(nights),
                lasts_ms=sum(sum(missed[night].values()) for night in nights),
            )


def _join_alike(outages: Sequence[Outage]) -> Iterator[Outage]:
    """Join neighbours that are alike but for their zones."""

    def alike(each: Outage) -> tuple[object, ...]:
        return each.reason, each.first, each.last, each.nights

    for _, some in groupby(outages, alike):
        joined = list(some)
        zones = tuple(dict.fromkeys(zone for each in joined for zone in each.zones))
        yield replace(joined[0], zones=zones, lasts_ms=sum(each.lasts_ms for each in joined))
