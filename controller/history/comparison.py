"""Periods beside others: the same ones a year earlier, or what the present program was expected to use.

Like is compared with like. Of a period that is not over, both sides end at the same time of the year; and
nothing is expected of a zone from before the journal was first told of it.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from controller.calendar.intervals import Interval, ms_of, overlap, total_ms
from controller.calendar.night import nights
from controller.calendar.periods import Period, instant_a_year_before, up_to, year_earlier
from controller.energy.metering import measure_zones
from controller.energy.tariff import price_steps
from controller.energy.values import LOSSES_NOT_KNOWN, Draw
from controller.forecast.forecast import forecast_input
from controller.history.account import AccountInput, Step, account_in_steps
from controller.history.nights import Bounds
from controller.history.steps import sums_in_steps
from controller.history.totals import Comparison, HourSum, Recorded, add_up
from controller.planning.plan import plan_night
from controller.planning.planner import Planner

_Counterpart = Callable[[Period], Period | None]


def beside_year_earlier(
    inputs: AccountInput, periods: Iterable[Period], steps: Iterator[Step]
) -> Iterator[Step]:
    """Put the same period a year earlier beside each row of an account, where the journal knows some of it.

    ``steps`` are the account of ``periods``.

    Raises:
        JournalError: the journal cannot be read.
    """
    bounds, planner = inputs.bounds, inputs.history.planner
    year_ago_utc = instant_a_year_before(bounds.now_utc, planner.tz)

    def earlier_of(period: Period) -> Period | None:
        earlier = year_earlier(period, planner.tz, latitude_deg=planner.site.latitude_deg)
        if earlier is not None and period.ends_at_utc > bounds.now_utc:
            earlier = up_to(earlier, year_ago_utc, planner.tz)
        return None if earlier is None or bounds.recorded(earlier) is Recorded.NONE else earlier

    def compare(this: HourSum, earlier: Period, other: HourSum) -> HourSum:
        whole = bounds.recorded(earlier) is Recorded.ALL
        return replace(this, year_earlier=_compare(this, earlier, other, alike=whole))

    before = account_in_steps(inputs, _some(periods, earlier_of), with_nights=False)
    return _beside(steps, before, earlier_of, compare)


def beside_forecast(inputs: AccountInput, periods: Iterable[Period], steps: Iterator[Step]) -> Iterator[Step]:
    """Put beside each row of an account what the present program, loads and transformers would have used.

    ``steps`` are the account of ``periods``. Energy has the prices of its time.
    """
    bounds, planner = inputs.bounds, inputs.history.planner
    began_ms = {zone: ms_of(at_utc) for zone, at_utc in inputs.source.zones_began().items()}

    def expected_of(period: Period) -> Period | None:
        is_known = bounds.recorded(period) is not Recorded.NONE and period.starts_at_utc < bounds.now_utc
        return period if is_known else None

    def compare(this: HourSum, period: Period, other: HourSum) -> HourSum:
        return replace(this, forecast=_compare(this, period, other, alike=True))

    def work(pieces: Sequence[Period]) -> Iterator[HourSum]:
        return _expect(planner, pieces, bounds, began_ms)

    expected = sums_in_steps(_some(periods, expected_of), planner.tz, work)
    return _beside(steps, expected, expected_of, compare)


def _some(periods: Iterable[Period], counterpart_of: _Counterpart) -> Iterator[Period]:
    return (other for period in periods if (other := counterpart_of(period)) is not None)


def _compare(this: HourSum, period: Period, other: HourSum, *, alike: bool) -> Comparison:
    change = this.figures - other.figures if alike else None
    return Comparison(period=period, other=other.figures, change=change, at_least=other.at_least)


def _beside(
    steps: Iterator[Step],
    others: Iterator[Step],
    counterpart_of: _Counterpart,
    compare: Callable[[HourSum, Period, HourSum], HourSum],
) -> Iterator[Step]:
    """Wait with each period for its counterpart, and compare the two zone by zone; one without is nothing."""
    known: Step = {}
    for step in steps:
        compared: Step = {}
        for period, rows in step.items():
            other = counterpart_of(period)
            if other is None:
                compared[period] = rows
                continue
            while other not in known:
                known |= next(others)
                yield {}
            then = {row.zone: row for row in known.pop(other)}
            compared[period] = [compare(row, other, then.get(row.zone) or HourSum()) for row in rows]
        yield compared


def _expect(
    planner: Planner, pieces: Sequence[Period], bounds: Bounds, began_ms: Mapping[str, int]
) -> Iterator[HourSum]:
    """Work out what the present program uses over some periods, from each zone's beginning up to now."""
    inputs, tz = forecast_input(planner), planner.tz
    starts_at_utc, ends_at_utc = pieces[0].starts_at_utc, pieces[-1].ends_at_utc
    lit: dict[str, list[Interval]] = {each.zone: [] for each in inputs.zones}
    for night in nights(pieces[0].first, pieces[-1].last, tz):
        for zone in planner.site.zones:
            windows = plan_night(zone, night, planner.place).windows
            lit[zone.id] += [(ms_of(window.on_utc), ms_of(window.off_utc)) for window in windows]
    prices = None
    if inputs.tariff is not None:
        prices = price_steps(inputs.tariff, starts_at_utc, ends_at_utc, tz)
    for piece in pieces:
        known = bounds.known(piece)
        edges = sorted({*known, *(at_ms for at_ms in began_ms.values() if known[0] < at_ms < known[1])})
        sums = {each.zone: HourSum(zone=each.zone, period=piece) for each in inputs.zones}
        for part in pairwise(edges):
            there = [each for each in inputs.zones if began_ms.get(each.zone, part[1]) <= part[0]]
            inside = {each.zone: overlap(lit[each.zone], [part]) for each in there}
            draws = [
                Draw(zone=each.zone, starts_ms=on_ms, ends_ms=off_ms, load=each.load)
                for each in there
                for on_ms, off_ms in inside[each.zone]
            ]
            losses = {each.zone: each.losses for each in there}
            rated = {each.zone: each.load.total_w for each in there}
            energies = measure_zones(losses, rated, draws, part, prices)
            for each in there:
                energy, lit_ms = energies[each.zone], total_ms(inside[each.zone])
                of_part = HourSum(
                    zone=each.zone,
                    lit_ms=lit_ms,
                    planned_ms=lit_ms,
                    lamps_j=energy.lamps_j,
                    energy=energy,
                    at_least=energy.without_load_ms > 0 or each.losses.origin == LOSSES_NOT_KNOWN,
                )
                sums[each.zone] = add_up([sums[each.zone], of_part], zone=each.zone, period=piece)
        yield from sums.values()
