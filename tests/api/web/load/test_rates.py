"""How often an address may ask: against a count of all that was let in."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.web.rates import MostWithin, SteadyRate

# Moments at which one address asks, in order, from many at once to minutes apart; whole milliseconds.
MOMENTS_MS = st.lists(st.integers(0, 3000), min_size=1, max_size=300).map(
    lambda gaps: [sum(gaps[: i + 1]) for i in range(len(gaps))]
)
ONE = {"10.0.0.1": 1}


@given(MOMENTS_MS)
def test_a_steady_rate_is_a_bucket_of_tokens(moments_ms):
    """What is let in is what a bucket of 6 tokens lets in, into which one falls each second."""
    rate, tokens_ms, last_ms = SteadyRate(per_s=1, burst=6), 6000, 0
    for now_ms in moments_ms:
        tokens_ms, last_ms = min(6000, tokens_ms + now_ms - last_ms), now_ms
        wait_s = rate.take(ONE, now_ms / 1000)
        if tokens_ms >= 1000:
            tokens_ms -= 1000
            assert wait_s == pytest.approx(0, abs=1e-6)
        else:
            assert wait_s == pytest.approx((1000 - tokens_ms) / 1000, abs=1e-6)


@given(MOMENTS_MS)
def test_never_more_within_any_minute(moments_ms):
    """In no minute are there more than allowed, and none is refused without that many before it."""
    window, let_in_s = MostWithin(most=5, within_s=60.0), []
    for now_s in (each / 1000 for each in moments_ms):
        lately = [each for each in let_in_s if each > now_s - 60]
        wait_s = window.take(ONE, now_s)
        assert (wait_s == 0) is (len(lately) < 5)
        if wait_s == 0:
            let_in_s.append(now_s)
        else:
            assert wait_s == pytest.approx(lately[0] + 60 - now_s)
    for first, sixth in pairwise(let_in_s[::5]):
        assert sixth - first >= 60 - 1e-9


@pytest.mark.parametrize(
    "make", [lambda: SteadyRate(per_s=1, burst=3), lambda: MostWithin(most=3, within_s=3)]
)
def test_the_wait_that_is_told_is_enough(make):
    """Who comes back after the time that was told is let in, and not before."""
    rate = make()
    for _ in range(3):
        assert rate.take(ONE, 100.0) == 0
    wait_s = rate.take(ONE, 100.0)
    assert rate.take(ONE, 100.0 + wait_s - 0.01) > 0
    assert rate.take(ONE, 100.0 + wait_s) == 0


@pytest.mark.parametrize(
    "make",
    [
        lambda most: SteadyRate(per_s=1, burst=3, most_addresses=most),
        lambda most: MostWithin(most=3, within_s=60, most_addresses=most),
    ],
)
def test_memory_is_bounded_and_the_last_ones_are_remembered(make):
    """However many addresses ask, only so many are remembered: those that came last."""
    rate = make(100)
    table = rate._due_s if isinstance(rate, SteadyRate) else rate._taken_s
    for _ in range(3):
        rate.take(ONE, 0.0)
    for number in range(99):
        rate.take({f"fd00::{number:x}": 1}, 0.0)
    assert rate.take(ONE, 0.0) > 0
    for number in range(1000):
        rate.take({f"fd00:1::{number:x}": 1}, 0.0)
    assert len(table) == 100
    assert rate.take(ONE, 0.0) == 0  # it was forgotten meanwhile, and begins anew


def test_a_network_of_ipv6_shares_four_times_as_much():
    """An address has its own burst, and all of its network together four; a refusal costs none of either."""
    rate = SteadyRate(per_s=1, burst=2)

    def take(host: int) -> float:
        return rate.take({f"fd00::{host}": 1, "fd00::/64": 4}, 0.0)

    assert [take(1), take(1), take(1)] == [0, 0, pytest.approx(1)]
    assert [take(host) for host in (2, 2, 3, 3, 4, 4)] == [0] * 6
    assert take(5) == pytest.approx(0.25)
    assert rate.take({"fd00::5": 1}, 0.0) == 0
