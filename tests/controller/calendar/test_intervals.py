"""Half-open intervals: held against sets of single milliseconds, the plainest second computation there is."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from controller.calendar.intervals import layers, merge, ms_of, overlap, share_out, total_ms, utc_of, without

Pairs = list[tuple[int, int]]

pair = st.tuples(st.integers(0, 60), st.integers(0, 12)).map(lambda each: (each[0], each[0] + each[1]))
pairs = st.lists(pair, max_size=12)


def moments(intervals: Pairs) -> set[int]:
    return {moment for starts, ends in intervals for moment in range(starts, ends)}


def is_apart(intervals: Pairs) -> bool:
    flat = [edge for interval in intervals for edge in interval]
    return all(a < b for a, b in pairwise(flat))


@given(pairs)
def test_merging_keeps_every_moment_once(some):
    """Merging keeps every moment and leaves intervals that neither touch nor overlap."""
    assert moments(merge(some)) == moments(some)
    assert is_apart(merge(some))


@given(pairs)
def test_layers_lose_nothing(some):
    """Every interval with a length is in one layer, and no layer overlaps itself."""
    dealt = layers(some)
    assert sorted(each for layer in dealt for each in layer) == sorted(
        each for each in some if each[0] < each[1]
    )
    assert all(before[1] <= after[0] for layer in dealt for before, after in pairwise(layer))


@given(pairs, pairs)
def test_overlap_and_difference_are_those_of_sets(some, others):
    """The common part and the difference hold exactly the moments of the set operations."""
    some, others = merge(some), merge(others)
    assert moments(overlap(some, others)) == moments(some) & moments(others)
    assert moments(without(some, others)) == moments(some) - moments(others)
    assert total_ms(without(some, others)) + total_ms(overlap(some, others)) == total_ms(some)


@given(pairs, pairs)
def test_sharing_out_gives_each_box_what_lies_in_it(some, boxes):
    """Each box receives every interval's part inside it, overlapping ones each for itself."""
    boxes = merge(boxes)
    for box, share in zip(boxes, share_out(some, boxes), strict=True):
        clipped = [(max(a, box[0]), min(b, box[1])) for a, b in some]
        assert share == [piece for piece in clipped if piece[0] < piece[1]]


@given(st.integers(-4_000_000_000_000, 8_000_000_000_000))
def test_milliseconds_and_instants_are_the_same_thing(at_ms):
    """Going to an instant and back changes nothing; a fraction of a millisecond is dropped downwards."""
    assert ms_of(utc_of(at_ms)) == at_ms
    assert ms_of(utc_of(at_ms) + timedelta(microseconds=999)) == at_ms


def test_an_instant_is_counted_from_1970():
    """The count is POSIX time in milliseconds, as Python's own timestamp gives it."""
    at = datetime(2027, 6, 21, 22, 15, 30, 250_000, tzinfo=UTC)
    assert ms_of(at) == round(at.timestamp() * 1000)
