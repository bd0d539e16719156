"""The printable report of a season: what ran, what it used, what was missed and why, which lamps are due."""

import re
from datetime import date, datetime
from functools import partial

from markupsafe import Markup

from api.render.instants import day_text
from api.render.jinja import render
from api.render.numbers import count, currency_of, hour_notes, hours, kwh, money, share
from api.render.year_svg import lay_out_past, write_svg
from controller.calendar.night import local
from controller.calendar.periods import Period, Season, season_words
from controller.history.report import SeasonReport
from controller.lamps.life import LampLife

_WIDE_PX, _NARROW_PX = 1000, 380
# Lamps and relays are due from here on: so much of their life is used.
_NEARLY_USED = 0.9


def write_report(report: SeasonReport) -> str:
    """Write the report of a period as a page of HTML."""
    planner, period, account = report.planner, report.period, report.hours
    site, total = planner.site, account.total
    currency = currency_of(site)

    def instant(at_utc: datetime) -> str:
        at = local(at_utc, planner.tz)
        return f"{at:%H:%M} on {day_text(at.date())}"

    assert account.wear is not None, "a season's report holds lamps and relays"
    laid_out = lay_out_past(planner, report.light, now_utc=report.now_utc)
    pictures = [
        write_svg(laid_out, width_px=_WIDE_PX, key="wide", compact=True),
        write_svg(laid_out, width_px=_NARROW_PX, key="narrow"),
    ]
    return render(
        "report.html",
        site=site,
        title=_title(period, site.latitude_deg),
        period=period,
        nights=count(period.nights, "night"),
        printed=local(report.now_utc, planner.tz).date(),
        unfinished=period.last >= planner.night_at(report.now_utc).date,
        since=account.began_utc,
        total=total,
        zones=account.totals,
        names={zone.id: zone.name for zone in site.zones},
        months=account.periods if len(account.periods) > 1 else (),
        lamps=[(lamps, _is_due(lamps, report.year_ends)) for lamps in account.wear.lamps],
        worn=[relay for relay in account.wear.relays if relay.used >= _NEARLY_USED],
        pictures=[Markup(each) for each in pictures],  # noqa: S704 - escaped by their own template
        notes=hour_notes(account),
        currency=currency,
        day=day_text,
        instant=instant,
        hours=hours,
        kwh=kwh,
        money=partial(money, currency=currency),
        share=share,
    )


def _title(period: Period, latitude_deg: float) -> str:
    if match := re.fullmatch(r"(\d{4})-([a-z]+)", period.name):
        words = season_words(int(match[1]), Season(match[2]), latitude_deg=latitude_deg)
        return f"{words[0].upper()}{words[1:]}"
    if re.fullmatch(r"\d{4}-\d{2}", period.name):
        return f"{period.first:%B %Y}"
    return "Night" if period.nights == 1 else "Nights"


def _is_due(life: LampLife, year_ends: date) -> bool:
    about = life.replace_about
    return (life.used or 0) >= _NEARLY_USED or (about is not None and about <= year_ends)
