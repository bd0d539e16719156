"""Numbers for people: parts that add up as they are written, and no sign before a nought."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from api.render.numbers import kwh, kwh_of, kwh_that_add_up, money_of, unrounded
from controller.energy.tariff import round_money

JOULES = st.decimals(0, 10_000_000_000, places=3)


def as_number(text: str) -> Decimal:
    return Decimal(text.replace(",", ""))


@given(JOULES, st.lists(JOULES | st.just(Decimal(0)), min_size=1, max_size=4))
def test_parts_of_an_energy_add_up_as_they_are_written(first, others):
    """Whatever is rounded, the parts written make the total written, each within a hundredth of its value."""
    total = first + sum(others)
    written = kwh_that_add_up(first, others, total)
    assert written[0] == kwh(first)
    assert sum(map(as_number, written)) == as_number(kwh(total))
    for text, part in zip(written[1:], others, strict=True):
        assert abs(as_number(text) - part / 3_600_000) <= Decimal("0.01")
        assert as_number(text) >= 0


@given(st.decimals(-1, 1, places=12), st.sampled_from(["JPY", "USD", "KWD"]))
def test_what_rounds_to_nothing_has_no_sign(amount, currency):
    """A difference of less than the smallest unit is 0 in JSON and in CSV, not -0."""
    shown = [str(round_money(amount, currency)), *map(str, (kwh_of(amount), unrounded(amount)))]
    shown.append(str(money_of(amount, currency)))
    assert [text for text in shown if text.startswith("-") and not float(text)] == []
