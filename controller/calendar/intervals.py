"""Half-open intervals of time, and everything that is done with them: the one place for it.

An interval is a pair ``(starts, ends)`` that contains its start and not its end: of instants or, where
seasons are cut into nights and summed again, of whole milliseconds since 1970-01-01T00:00Z, because floats
would drift. "Disjoint" means sorted as well; neighbours may touch.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import TypeVar

Interval = tuple[int, int]
T = TypeVar("T", int, datetime)
Item = TypeVar("Item")

MS_PER_S = 1000
MS_PER_HOUR = 3_600_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_ONE_MS = timedelta(milliseconds=1)


def ms_of(at_utc: datetime) -> int:
    """Count the whole milliseconds since 1970 at an instant, rounded down."""
    return (at_utc - _EPOCH) // _ONE_MS


def utc_of(at_ms: int) -> datetime:
    """Give the instant of a count of milliseconds since 1970, in UTC."""
    return _EPOCH + at_ms * _ONE_MS


def total_ms(intervals: Iterable[Interval]) -> int:
    """Add up the lengths; where intervals overlap, each counts."""
    return sum(ends - starts for starts, ends in intervals)


def merge(intervals: Iterable[tuple[T, T]]) -> list[tuple[T, T]]:
    """Make intervals disjoint: sorted, what overlaps or touches joined, what is empty dropped."""
    merged: list[tuple[T, T]] = []
    for starts, ends in sorted(intervals):
        if ends <= starts:
            continue
        if merged and starts <= merged[-1][1]:
            if ends > merged[-1][1]:
                merged[-1] = (merged[-1][0], ends)
        else:
            merged.append((starts, ends))
    return merged


def layers(intervals: Iterable[Interval]) -> list[list[Interval]]:
    """Deal intervals that may overlap into lists that are each disjoint, so that none is lost by joining.

    Where nothing overlaps, as nearly always, there is one list.
    """
    dealt: list[list[Interval]] = []
    for starts, ends in sorted(intervals):
        if ends <= starts:
            continue
        for layer in dealt:
            if layer[-1][1] <= starts:
                layer.append((starts, ends))
                break
        else:
            dealt.append([(starts, ends)])
    return dealt


def overlap(some: Sequence[tuple[T, T]], others: Sequence[tuple[T, T]]) -> list[tuple[T, T]]:
    """Keep what is in both; each of the two must be disjoint."""
    common: list[tuple[T, T]] = []
    i = j = 0
    while i < len(some) and j < len(others):
        starts, ends = max(some[i][0], others[j][0]), min(some[i][1], others[j][1])
        if starts < ends:
            common.append((starts, ends))
        if some[i][1] < others[j][1]:
            i += 1
        else:
            j += 1
    return common


def without(some: Sequence[Interval], others: Sequence[Interval]) -> list[Interval]:
    """Keep what is in the first and not in the second; each of the two must be disjoint."""
    left: list[Interval] = []
    j = 0
    for starts, ends in some:
        while j < len(others) and others[j][1] <= starts:
            j += 1
        since = starts
        k = j
        while k < len(others) and others[k][0] < ends:
            if since < others[k][0]:
                left.append((since, others[k][0]))
            since = max(since, others[k][1])
            k += 1
        if since < ends:
            left.append((since, ends))
    return left


def first_part(
    intervals: Iterable[tuple[datetime, datetime]], lasts: timedelta
) -> list[tuple[datetime, datetime]]:
    """Keep so much of disjoint intervals, from the first on."""
    kept = []
    for starts, ends in intervals:
        if lasts <= timedelta(0):
            break
        ends_at_most = min(ends, starts + lasts)
        kept.append((starts, ends_at_most))
        lasts -= ends_at_most - starts
    return kept


def share_out(intervals: Iterable[Interval], boxes: Sequence[Interval]) -> list[list[Interval]]:
    """Cut intervals, in any order, at the edges of some disjoint boxes and put each piece into its box.

    Returns:
        For each box the pieces inside it, in the order in which they came. What lies in no box is left out.
    """
    shares = sort_into(((interval, interval) for interval in intervals), boxes)
    return [
        [(max(starts, box[0]), min(ends, box[1])) for starts, ends in share]
        for box, share in zip(boxes, shares, strict=True)
    ]


def sort_into(items: Iterable[tuple[Interval, Item]], boxes: Sequence[Interval]) -> list[list[Item]]:
    """Give for each of some disjoint boxes, in their order, the items whose interval reaches into it."""
    starts_of_boxes = [box[0] for box in boxes]
    sorted_items: list[list[Item]] = [[] for _ in boxes]
    for (starts, ends), item in items:
        index = max(bisect_right(starts_of_boxes, starts) - 1, 0)
        while index < len(boxes) and boxes[index][0] < ends:
            if max(starts, boxes[index][0]) < min(ends, boxes[index][1]):
                sorted_items[index].append(item)
            index += 1
    return sorted_items
