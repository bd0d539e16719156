"""The printable report of a season: what ran, what it used, what was missed and why, what is to be done."""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from markupsafe import Markup

from api.render.jinja import render
from api.render.limits import hour_notes
from api.render.numbers import (
    NONE,
    currency_of,
    hours_of,
    kwh,
    kwh_that_add_up,
    money,
)
from api.render.words import N_, Words, english
from api.render.year.svg import lay_out_past, write_svg
from config.phrase import between_phrase
from controller.calendar.night import local
from controller.calendar.periods import Period
from controller.energy.values import LOSSES_NOT_KNOWN
from controller.history.dark_nights import Outage
from controller.history.season import SeasonReport
from controller.history.totals import HourSum, Recorded
from controller.history.work import NEARLY_USED, is_due
from controller.records.entries import Cause

# Why light was missed, as on every paper.
_REASONS: dict[Cause | None, str] = {
    None: N_("unexplained"),
    Cause.POWER_LOST: N_("power lost"),
    Cause.STOPPED: N_("stopped"),
    Cause.CLOCK_NOT_TRUSTED: N_("clock not trusted"),
    Cause.OUT_OF_SERVICE: N_("out of service"),
    Cause.RELAY_FAULT: N_("relay fault"),
    Cause.SITE_CHANGED: N_("site changed"),
    Cause.OVERRIDE: N_("override"),
}
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
        day = words.full_date(local(at_utc, planner.tz).date())
        return words.gettext("%(clock)s on %(day)s") % {"clock": words.clock(at_utc), "day": day}

    laid_out = lay_out_past(report.light, now_utc=account.head.bounds.now_utc)
    pictures = [
        write_svg(laid_out, words, width_px=_WIDE_PX, key="wide", compact=True),
        write_svg(laid_out, words, width_px=_NARROW_PX, key="narrow", like="wide"),
    ]
    return render(
        "report.html",
        words,
        on_page=on_page,
        site=site,
        report=report,
        title=_title(period, words),
        period=period,
        printed=local(report.now_utc, planner.tz).date(),
        since=account.head.began_utc,
        total=total,
        has_figures=total.recorded is not Recorded.NONE and report.last >= period.first,
        zones=account.totals,
        names=_Names({zone.id: zone.name for zone in site.zones}, words),
        months=account.periods if len(account.periods) > 1 else (),
        missed_nights=_missed_nights,
        outages=[(each, _when(each, times, words)) for each, times in _told_together(report.outages)],
        parts=_parts(total, words),
        beside=_beside(report, currency, words),
        months_beside=_month_names(report, words),
        lamps=[(life, is_due(life, report.due_before)) for life in report.wear.lamps],
        worn=[relay for relay in report.wear.relays if relay.used >= NEARLY_USED],
        pictures=[Markup(each) for each in pictures],  # noqa: S704 - escaped by their own template
        notes=hour_notes(site, account.totals),
        currency=currency,
        reason=lambda reason: words.gettext(_REASONS[reason]),
        instant=instant,
        hours=lambda lasts_ms: words.written(_hours(lasts_ms)),
        kwh=lambda joules, **more: words.written(kwh(joules, **more)),
        money=lambda amount, **more: words.written(money(amount, currency, **more)),
        share=lambda part: NONE if part is None else words.percent(part),
    )


class _Names(dict[str, str]):
    """What a person calls the zones, by id; one that is gone says so."""

    def __init__(self, names: Mapping[str, str], words: Words) -> None:
        super().__init__(names)
        self._words = words

    def __missing__(self, zone: str) -> str:
        return self._words.gettext("%(zone)s (gone)") % {"zone": zone}


def _title(period: Period, words: Words) -> str:
    name = words.period(period)
    if re.fullmatch(r"\d{4}(-\w+)?", period.name):
        return f"{name[0].upper()}{name[1:]}"
    title = words.ngettext("Night of %(dates)s", "Nights of %(dates)s", period.nights)
    return title % {"dates": name}


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


def _when(outage: Outage, times: int, words: Words) -> str:
    """Write the dates of an outage, or between which dates several lie."""
    if times == 1:
        return words.dates(outage.first, outage.last)
    between = words.say(between_phrase(outage.first, outage.last))
    return words.gettext("%(times)d times %(between)s") % {"times": times, "between": between}


def _beside(
    report: SeasonReport, currency: str | None, words: Words
) -> list[tuple[str | None, list[tuple[str, ...]]]]:
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
            tuple(_hours(each.lit_ms) for each in (now, then, change)),
            tuple(kwh(each.meter_j) for each in (now, then, change)),
        ]
        if currency is not None:
            figures.append(tuple(money(each.cost, currency) for each in (now, then, change)))
        written = [tuple(map(words.written, (*some, _signed(more)))) for *some, more in figures]
        rows.append((each.zone, written))
    return rows


def _signed(figure: str) -> str:
    """Write a change with its sign; none has none."""
    if not figure.strip("0.,-") or figure == NONE:
        return figure.lstrip("-")
    return figure.replace("-", "\u2212") if figure.startswith("-") else f"+{figure}"


def _month_names(report: SeasonReport, words: Words) -> str:
    """Name the months that can be compared, where these are not all that have begun."""
    begun = [each.period for each in report.hours.periods if each.period and each.period.first <= report.last]
    if report.compared in ([], begun):
        return ""
    return words.listed([words.month(period.first) for period in report.compared])


def _parts(total: HourSum, words: Words) -> Sequence[tuple[str, str, str]]:
    """Give what the energy at the meter is made of, in figures that add up; nothing where there is none."""
    _, energy = words.gettext, total.energy
    if energy is None or not energy.meter_j:
        return ()
    parts = {
        _("lamps"): energy.lamps_j,
        _("lost in the cables, where known"): energy.cable_j,
        _("lost in the transformers while lit"): energy.transformer_lit_j,
        _("taken by the transformers with nothing lit"): energy.idle_j,
    }
    first, *others = parts.values()
    written = [words.written(each) for each in kwh_that_add_up(first, others, energy.meter_j)]
    shares = [words.percent(float(part / energy.meter_j)) for part in parts.values()]
    if {*total.losses} == {LOSSES_NOT_KNOWN}:
        written[2:], shares[2:] = [_("not known")] * 2, [NONE] * 2
    return list(zip(parts, written, shares, strict=True))
