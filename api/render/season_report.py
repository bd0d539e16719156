"""The printable report of a season: what ran, what it used, what was missed and why, what is to be done."""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import partial
from typing import Any

from markupsafe import Markup

from api.render.instants import day_text
from api.render.jinja import render
from api.render.limits import hour_notes
from api.render.numbers import (
    NONE,
    count,
    currency_of,
    hours_of,
    kwh,
    kwh_that_add_up,
    money,
    share,
)
from api.render.words import Words, english
from api.render.year.svg import lay_out_past, write_svg
from controller.calendar.night import local
from controller.calendar.periods import Period, season_words
from controller.energy.values import LOSSES_NOT_KNOWN
from controller.history.dark_nights import Outage, dates_text
from controller.history.season import SeasonReport, season_in
from controller.history.totals import HourSum, Recorded
from controller.history.work import NEARLY_USED, is_due

_WIDE_PX, _NARROW_PX = 1000, 380
# More outages of one kind than these are told in one line.
_MOST_ALIKE = 3


def write_report(report: SeasonReport, words: Words | None = None) -> str:
    """Write the report of a period as a page of HTML.

    ``words`` are those of a browser that shows it on the page; without any it is in English, and alone.
    """
    planner, period, account = report.planner, report.period, report.hours
    on_page, words = words is not None, words or english(planner.tz)
    site, total = planner.site, account.total
    currency = currency_of(site)

    def instant(at_utc: datetime) -> str:
        at = local(at_utc, planner.tz)
        return f"{at:%H:%M} on {day_text(at.date())}"

    laid_out = lay_out_past(report.light, now_utc=account.head.bounds.now_utc)
    pictures = [
        write_svg(laid_out, words, width_px=_WIDE_PX, key="wide", compact=True),
        write_svg(laid_out, words, width_px=_NARROW_PX, key="narrow"),
    ]
    return render(
        "report.html",
        words,
        on_page=on_page,
        site=site,
        report=report,
        title=_title(period, site.latitude_deg),
        period=period,
        printed=local(report.now_utc, planner.tz).date(),
        since=account.head.began_utc,
        total=total,
        has_figures=total.recorded is not Recorded.NONE and report.last >= period.first,
        zones=account.totals,
        names=_Names({zone.id: zone.name for zone in site.zones}),
        months=account.periods if len(account.periods) > 1 else (),
        missed_nights=_missed_nights,
        outages=[(each, _when(each, times)) for each, times in _told_together(report.outages)],
        parts=_parts(total),
        beside=_beside(report, currency),
        months_beside=_month_names(report),
        lamps=[(life, is_due(life, report.due_before)) for life in report.wear.lamps],
        worn=[relay for relay in report.wear.relays if relay.used >= NEARLY_USED],
        pictures=[Markup(each) for each in pictures],  # noqa: S704 - escaped by their own template
        notes=hour_notes(site, account.totals),
        currency=currency,
        count=count,
        day=day_text,
        dates=dates_text,
        instant=instant,
        hours=_hours,
        kwh=kwh,
        money=partial(money, currency=currency),
        share=share,
    )


class _Names(dict[str, str]):
    """What a person calls the zones, by id; one that is gone says so."""

    def __missing__(self, zone: str) -> str:
        return f"{zone} (gone)"


def _title(period: Period, latitude_deg: float) -> str:
    if season := season_in(period):
        words = season_words(int(period.name[:4]), season, latitude_deg=latitude_deg)
        return f"{words[0].upper()}{words[1:]}"
    if re.fullmatch(r"\d{4}-\d{2}", period.name):
        return f"{period.first:%B %Y}"
    if re.fullmatch(r"\d{4}", period.name):
        return period.name
    dates = dates_text(period.first, period.last)
    return f"Night of {dates}" if period.nights == 1 else f"Nights of {dates}"


def _hours(lasts_ms: int) -> str:
    """Write hours to the hundredth, so that a column has one kind of figure."""
    return f"{hours_of(lasts_ms):,.2f}"


def _missed_nights(each: HourSum) -> int:
    """Count the nights on which light was missed, for whatever reason."""
    return len({night for part in each.missed for night, _ in part.nights})


def _told_together(outages: Iterable[Outage]) -> list[tuple[Outage, int]]:
    """Join outages of the same zones for the same reason where there are many, and say how many they were."""
    alike: dict[Any, list[Outage]] = defaultdict(list)
    for each in outages:
        alike[each.reason, each.zones].append(each)
    told = []
    for some in alike.values():
        if len(some) <= _MOST_ALIKE:
            told += [(each, 1) for each in some]
            continue
        nights, lasts_ms = sum(each.nights for each in some), sum(each.lasts_ms for each in some)
        told.append((replace(some[0], last=some[-1].last, nights=nights, lasts_ms=lasts_ms), len(some)))
    return sorted(told, key=lambda each: each[0].first)


def _when(outage: Outage, times: int) -> str:
    """Write the dates of an outage, or between which dates several lie."""
    if times == 1:
        return outage.dates
    return f"{times} times between {dates_text(outage.first, outage.last, joined_by='and')}"


def _beside(
    report: SeasonReport, currency: str | None
) -> list[tuple[str | None, list[tuple[str, str, str]]]]:
    """Give for each zone, and for all, hours, energy and cost: now, the year before, and the change."""
    account = report.hours
    rows = []
    for each in (*account.totals, account.total):
        comparison = each.year_earlier
        if comparison is None or comparison.change is None:
            continue
        then, change = comparison.other, comparison.change
        now = then + change
        figures = [
            (_hours(now.lit_ms), _hours(then.lit_ms), _signed(_hours(change.lit_ms))),
            (kwh(now.meter_j), kwh(then.meter_j), _signed(kwh(change.meter_j))),
        ]
        if currency is not None:
            costs = (money(each.cost, currency) for each in (now, then, change))
            figures.append((next(costs), next(costs), _signed(next(costs))))
        rows.append((each.zone, figures))
    return rows


def _signed(figure: str) -> str:
    """Write a change with its sign; none has none."""
    if not figure.strip("0.,-") or figure == NONE:
        return figure.lstrip("-")
    return figure.replace("-", "\u2212") if figure.startswith("-") else f"+{figure}"


def _month_names(report: SeasonReport) -> str:
    """Name the months that can be compared, where these are not all that have begun."""
    begun = [each.period for each in report.hours.periods if each.period and each.period.first <= report.last]
    if report.compared == begun:
        return ""
    names = [f"{period.first:%B}" for period in report.compared]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _parts(total: HourSum) -> Sequence[tuple[str, str, str]]:
    """Give what the energy at the meter is made of, in figures that add up; nothing where there is none."""
    energy = total.energy
    if energy is None or not energy.meter_j:
        return ()
    parts = {
        "lamps": energy.lamps_j,
        "lost in the cables, where known": energy.cable_j,
        "lost in the transformers while lit": energy.transformer_lit_j,
        "taken by the transformers with nothing lit": energy.idle_j,
    }
    first, *others = parts.values()
    written = kwh_that_add_up(first, others, energy.meter_j)
    shares = [share(float(part / energy.meter_j)) for part in parts.values()]
    if {*total.losses} == {LOSSES_NOT_KNOWN}:
        written[2:], shares[2:] = ["not known"] * 2, [NONE] * 2
    return list(zip(parts, written, shares, strict=True))
