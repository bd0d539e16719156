"""What a month, a season or a year came to: hours, energy and cost by zone, beside the year before."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

from api.page.nights import lasts, reason_words
from api.page.span_prose import capital
from api.render.limits import hour_notes
from api.render.numbers import NONE, currency_of, hours_of, kwh_of
from api.render.words import Words
from api.web.context import RequestContext
from controller.calendar.periods import Each, Period, parse_period, season_at, season_of
from controller.energy.tariff import round_money
from controller.history.query import Beside, HoursQuery, read_period
from controller.history.report import HoursReport, report_hours
from controller.history.totals import Comparison, Figures, HourSum, Recorded
from controller.planning.planner import Planner

# One screen: a longer account is a table of its own.
MOST_NIGHTS = 366
_ONE_DAY = timedelta(days=1)
_TOLD_MS = 60_000


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One line of figures; ``kind`` is "now", "before", "change" or "expected"."""

    kind: str
    name: str
    hours: str
    kwh: str
    cost: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Account:
    """What a period came to.

    Attributes:
        zones: the rows of each zone by its name; ``total`` are those of all.
        months: of a longer period, its months, each with its address and its rows.
        missed: what was missed, and why.
        compared: whether all of the year before is known; ``earlier`` whether some of it is.
        notes: what limits the figures, in English.
        links: to other periods: an address and a name each.
    """

    name: str
    sentence: str
    rest: str
    is_over: bool
    currency: str | None
    zones: tuple[tuple[str, tuple[Row, ...]], ...]
    total: tuple[Row, ...]
    months: tuple[tuple[str, tuple[Row, ...]], ...]
    missed: tuple[str, ...]
    earlier: bool
    compared: bool
    notes: tuple[str, ...]
    links: tuple[tuple[str, str], ...]


def show_account(context: RequestContext, text: str, words: Words) -> Account:
    """Account for a period; for this month where none is named.

    Raises:
        PeriodError: no such period.
        JournalError: the journal cannot be read.
    """
    gateway, now = context.gateway, context.now()
    planner = gateway.planner
    tonight = planner.night_at(now.utc).date
    text = text or f"{tonight:%Y-%m}"
    period = read_period(text, planner)
    query = HoursQuery(
        by=Each.MONTH,
        period=text,
        beside=frozenset({Beside.LAST_YEAR, Beside.FORECAST}),
        most_nights=MOST_NIGHTS,
    )

    def work(planner: Planner) -> HoursReport:
        return report_hours(planner, gateway.journal, query, now_utc=now.utc)

    # What is over stays until the next noon; else a minute, and no longer than nothing is switched.
    minute = now.utc.replace(second=0, microsecond=0)
    until = tonight if period.ends_at_utc <= now.utc else (minute, gateway.recent.last)
    report = context.years.keep(("account", text, until, gateway.recent.forgotten), planner, work)
    return _Writer(report, period, tonight, words).account()


class _Writer:
    """Writes the account of one period."""

    def __init__(self, report: HoursReport, period: Period, tonight: date, words: Words) -> None:
        self.report, self.period, self.tonight, self.words = report, period, tonight, words
        self.site = report.head.site
        self.currency = currency_of(self.site)
        self.is_over = report.total.is_over

    def account(self) -> Account:
        report, names = self.report, {zone.id: zone.name for zone in self.site.zones}
        months = report.periods if len(report.periods) > 1 else ()
        begun = [each for each in report.periods if each.period and each.period.first <= self.tonight]
        sentence, rest = self._sentence()
        return Account(
            name=self.words.period(self.period),
            sentence=sentence,
            rest=rest,
            is_over=self.is_over,
            currency=self.currency,
            zones=tuple(
                (names.get(each.zone or "", each.zone or ""), tuple(self._rows(each)))
                for each in report.totals
            ),
            total=tuple(self._rows(report.total)),
            months=tuple(self._month(each) for each in months),
            missed=tuple(self._missed()),
            earlier=report.total.year_earlier is not None,
            compared=all(each.year_earlier and each.year_earlier.change for each in begun),
            notes=tuple(hour_notes(self.site, report.totals)),
            links=tuple(self._links()),
        )

    def money(self, amount: Decimal | None) -> str:
        """Write an amount with its currency and the digits of that."""
        if amount is None or self.currency is None:
            return NONE
        value = round_money(amount, self.currency)
        return self.words.number(value, max(0, -int(value.as_tuple().exponent)))

    def _sentence(self) -> tuple[str, str]:
        _, total, name = self.words.gettext, self.report.total, self.words.period(self.period)
        name = name[0].upper() + name[1:]
        if self.period.first > self.tonight:
            return _("%(period)s is still to come.") % {"period": name}, ""
        if total.recorded is Recorded.NONE:
            return _("There is no record of %(period)s.") % {"period": name}, ""
        if self.currency is not None:
            figure = f"{self.money(total.cost)} {self.currency}"
        else:
            figure = f"{self.words.number(kwh_of(total.meter_j), 1)} kWh"
        values = {"period": name, "figure": _("at least %s") % figure if total.at_least else figure}
        cost = _("%(period)s: %(figure)s.") if self.is_over else _("%(period)s: %(figure)s so far.")
        return cost % values, self._less_or_more(total.year_earlier)

    def _less_or_more(self, earlier: Comparison | None) -> str:
        _ = self.words.gettext
        if earlier is None or earlier.change is None:
            return ""
        if self.currency is not None and earlier.change.cost is not None:
            change: Decimal | float = round_money(earlier.change.cost, self.currency)
            figure = f"{self.money(abs(earlier.change.cost))} {self.currency}"
        else:
            change = round(kwh_of(earlier.change.meter_j), 1)
            figure = f"{self.words.number(abs(change), 1)} kWh"
        if not change:
            return _("As much as a year before.")
        said = (
            _("%(figure)s less than a year before.")
            if change < 0
            else _("%(figure)s more than a year before.")
        )
        return said % {"figure": figure}

    def _rows(self, each: HourSum) -> Iterator[Row]:
        _ = self.words.gettext
        now = _("lit and used") if self.is_over else _("so far")
        yield self._row("now", now, each.figures, at_least=each.at_least)
        for kind, name, beside in (
            ("before", _("a year before"), each.year_earlier),
            ("expected", _("expected by the program"), each.forecast),
        ):
            if beside is None:
                continue
            yield self._row(kind, name, beside.other, at_least=beside.at_least)
            if beside.change is not None:
                yield self._row("change", _("difference"), beside.change, signed=True)

    def _row(
        self, kind: str, name: str, figures: Figures, *, at_least: bool = False, signed: bool = False
    ) -> Row:
        def write(text: str, value: float | Decimal | None) -> str:
            if signed:
                return f"+{text}" if value is not None and value > 0 else text.replace("-", "\N{MINUS SIGN}")
            return f"≥\N{NO-BREAK SPACE}{text}" if at_least and text != NONE else text

        hours, energy = hours_of(figures.lit_ms), kwh_of(figures.meter_j)
        hours, energy = round(hours, 1) + 0.0, round(energy, 2) + 0.0
        cost = figures.cost
        if cost is not None and self.currency is not None:
            cost = round_money(cost, self.currency)
        lit = self.words.number(hours, 1)
        return Row(
            kind=kind,
            name=name,
            hours=write(lit, hours) if signed else lit,
            kwh=write(self.words.number(energy, 2), energy),
            cost=write(self.money(cost), cost),
        )

    def _month(self, each: HourSum) -> tuple[str, tuple[Row, ...]]:
        assert each.period is not None, "a month is a period"
        _, first, name = self.words.gettext, each.period.first, self.words.period(each.period)
        if first > self.tonight:
            name = _("%(month)s, to come") % {"month": name}
        elif each.recorded is Recorded.NONE:
            name = _("%(month)s, no record") % {"month": name}
        elif not each.is_over:
            name = _("%(month)s, so far") % {"month": name}
        beside = list(self._rows(replace(each, forecast=None)))[1:]
        now = self._row("now", name, each.figures, at_least=each.at_least)
        return f"/cost?period={first:%Y-%m}", (now, *beside)

    def _missed(self) -> Iterator[str]:
        for part in self.report.total.missed:
            if part.lasts_ms < _TOLD_MS:
                continue
            nights = len(part.nights)
            said = self.words.ngettext(
                "%(lasts)s on %(nights)d night; %(reason)s",
                "%(lasts)s on %(nights)d nights; %(reason)s",
                nights,
            )
            yield said % {
                "lasts": lasts(part.lasts_ms, self.words),
                "nights": nights,
                "reason": reason_words(part.reason, self.words),
            }

    def _links(self) -> Iterator[tuple[str, str]]:
        """Lead to the period before and after, to the season of a month, and to the year."""
        tz, latitude_deg = self.report.head.tz, self.site.latitude_deg
        each = _kind(self.period)
        if each is None:
            return
        names = [self._neighbour(self.period.first - _ONE_DAY, each)]
        if self.period.last < self.tonight:
            names.append(self._neighbour(self.period.last + _ONE_DAY, each))
        if each is Each.MONTH:
            names.append(self._neighbour(self.period.first, Each.SEASON))
        if each is not Each.YEAR:
            names.append(self._neighbour(self.period.first, Each.YEAR))
        if f"{self.tonight:%Y-%m}" not in (self.period.name, *names):
            names.append(f"{self.tonight:%Y-%m}")
        for name in dict.fromkeys(names):
            there = parse_period(name, tz, latitude_deg=latitude_deg)
            yield f"/cost?period={name}", capital(self.words.period(there))

    def _neighbour(self, night: date, each: Each) -> str:
        if each is Each.MONTH:
            return f"{night:%Y-%m}"
        if each is Each.YEAR:
            return f"{night:%Y}"
        tz, latitude_deg = self.report.head.tz, self.site.latitude_deg
        return season_of(*season_at(night, latitude_deg), tz, latitude_deg=latitude_deg).name


def _kind(period: Period) -> Each | None:
    """Say what a period is; None of a stretch of nights."""
    forms = {r"\d{4}-\d{2}": Each.MONTH, r"\d{4}-[a-z]+": Each.SEASON, r"\d{4}": Each.YEAR}
    return next((each for form, each in forms.items() if re.fullmatch(form, period.name)), None)
