"""The year ahead for people: months, zones, other plans, and the mechanical timer against the sun."""

from collections.abc import Iterator, Sequence
from itertools import groupby

from rich.console import RenderableType
from rich.text import Text

from api.render.limits import explain_lower_bounds
from api.render.numbers import (
    count,
    currency_of,
    hours,
    hours_of,
    kwh,
    kwh_of,
    money,
    share,
    signed,
    signed_money,
)
from api.render.tables import QUIET, STRONG, Row, build_table, note_line, numbers, strong, texts
from controller.forecast.forecast import Forecast, ForecastSum, MonthAhead, add_up, compare
from controller.forecast.mechanical_timer import TimerNight
from controller.forecast.year import YearForecast

_S_PER_HOUR = 3600
_EARLY = "Before dusk or\nafter dawn"
_UNLIT = "Dark but not lit,\nuntil the off pin"
# Zones beside each other in the table of months: with ids of usual length they fit 100 columns.
_ZONES_ABREAST = 5


def lay_out_year(year: YearForecast) -> Iterator[RenderableType]:
    """Lay out the year ahead."""
    period = year.present.period
    ahead = count(period.nights, "night")
    yield Text(f"{year.planner.site.name}, {ahead} from {period.first} to {period.last}\n")
    tables = _Tables(year)
    for start in range(0, len(year.zones), _ZONES_ABREAST):
        yield from (tables.months(year.zones[start : start + _ZONES_ABREAST]), Text(""))
    yield tables.zones()
    for other in year.others:
        yield Text(f"\nWith {other.name}", style=STRONG)
        yield tables.other(other)
    if year.timer is not None and year.by_timer is not None:
        yield Text(f"\nWith an {year.by_timer.name}", style=STRONG)
        yield from (tables.other(year.by_timer), Text(""), _timer_months(year.timer_nights))
        moved = "moved at clock changes" if year.timer.moved_at_clock_changes else "never moved"
        drift = f", gains {year.timer.drift_s_per_day:g} s a day" if year.timer.drift_s_per_day else ""
        yield Text(f"\nSet on {year.timer.set_on}, {moved}{drift}.", style=QUIET)
    if year.lower_bounds:
        yield Text("")
        yield from map(note_line, explain_lower_bounds(year.planner.site, year.zones))


class _Tables:
    """Lays out the tables of one year."""

    def __init__(self, year: YearForecast) -> None:
        self._year = year
        self._currency = currency_of(year.planner.site)
        self._cost = [f"Cost {self._currency}"] if self._currency else []

    def months(self, zones: Sequence[str]) -> RenderableType:
        """Lay out hours by month for some zones; beside the last of them what all zones use."""
        forecast, last = self._year.present, zones[-1] == self._year.zones[-1]
        by_month: dict[str, list[MonthAhead]] = {}
        for row in forecast.months:
            if row.zone in self._year.zones:
                by_month.setdefault(row.month.name, []).append(row)
        rows: list[Row] = []
        for month, found in by_month.items():
            lit = [hours(row.lit_ms) for row in found if row.zone in zones]
            rows.append([month, *lit, *(self._energy(add_up(found)) if last else ())])
        total = [hours(forecast.total(zone).lit_ms) for zone in zones]
        total += self._energy(self._sum(forecast)) if last else []
        headings = [*zones, *(["Meter kWh", *self._cost] if last else ())]
        return _table("Hours lit", headings, [*rows, None, strong("total", *total)])

    def zones(self) -> RenderableType:
        year, forecast = self._year, self._year.present
        early = self._sum(forecast).daylight_ms > 0
        rows: list[Row] = []
        for zone in year.zones:
            total = forecast.total(zone)
            row = [zone, hours(total.lit_ms), *([hours(total.daylight_ms)] if early else ())]
            row += [f"{total.starts}", kwh(total.energy.lamps_j), *self._energy(total, zone)]
            rows.append([*row, share(year.life_used(zone, total.lit_ms))])
        headings = ["Lit h", *([_EARLY] if early else ()), "Starts", "Lamps kWh", "Meter kWh", *self._cost]
        return _table("Zone", [*headings, "Lamp life used"], rows)

    def other(self, other: Forecast) -> RenderableType:
        early = self._sum(other).daylight_ms + self._sum(self._year.present).daylight_ms > 0
        rows: list[Row] = [[zone, *self._changes(other, zone, early=early)] for zone in self._year.zones]
        headings = ["Lit h", "Change", *([_EARLY, "Change"] if early else ()), "Meter kWh", "Change"]
        headings += [*self._cost, "Change"] if self._cost else []
        total = strong("total", *self._changes(other, *self._year.zones, early=early))
        return _table("Zone", headings, [*rows, None, total])

    def _changes(self, forecast: Forecast, *zones: str, early: bool) -> list[str]:
        total, change = forecast.total(*zones), compare(self._year.present, forecast, *zones)
        cells = [hours(total.lit_ms), signed(hours_of(change.lit_ms))]
        if early:
            cells += [hours(total.daylight_ms), signed(hours_of(change.daylight_ms))]
        meter, *cost = self._energy(total, *zones)
        cells += [meter, signed(kwh_of(change.meter_j))]
        return cells + ([*cost, signed_money(change.cost, self._currency)] if cost else [])

    def _sum(self, forecast: Forecast) -> ForecastSum:
        return forecast.total(*self._year.zones)

    def _energy(self, total: ForecastSum, *zones: str) -> list[str]:
        """Write energy at the meter and its cost, marked where it is a lower bound for one of the zones."""
        at_least = not self._year.lower_bounds.isdisjoint(zones or self._year.zones)
        cost = [money(total.energy.cost, self._currency, at_least=at_least)] if self._currency else []
        return [kwh(total.energy.meter_j, at_least=at_least), *cost]


def _timer_months(nights: Sequence[TimerNight]) -> RenderableType:
    rows: list[Row] = []
    for month, found in groupby(nights, lambda night: f"{night.night:%Y-%m}"):
        some = list(found)
        rows.append([month, *_timer_cells(some), _ahead(some)])
    headings = ["Lit h", _EARLY, _UNLIT, "Dial ahead"]
    return _table("Mechanical timer", headings, [*rows, None, strong("total", *_timer_cells(nights), "")])


def _timer_cells(nights: Sequence[TimerNight]) -> list[str]:
    parts = zip(*((night.lit_ms, night.daylight_ms, night.unlit_ms) for night in nights), strict=True)
    return [hours(sum(part)) for part in parts]


def _ahead(nights: Sequence[TimerNight]) -> str:
    """Say how far the dial is ahead of the clock on the wall over some nights."""
    ahead = [night.ahead_s / _S_PER_HOUR for night in nights]
    low, high = min(ahead), max(ahead)
    dial = signed(low) if round(low, 2) == round(high, 2) else f"{signed(low)} to {signed(high)}"
    return f"{dial} h"


def _table(first: str, headings: Sequence[str], rows: Sequence[Row]) -> RenderableType:
    return build_table([*texts(first), *numbers(*headings)], rows)
