"""The year as a picture: what ran in the nights that are over, and what is planned for those to come."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from api.render.words import Words
from api.render.year.chart import ClockChange
from api.render.year.svg import Strip, lay_out_past
from api.web.context import RequestContext
from config.errors import JournalError
from controller.calendar.intervals import Interval, ms_of, overlap
from controller.calendar.night import nights
from controller.calendar.periods import Period, year_of
from controller.history.account import PastLight, light_of_past
from controller.history.nights import bounds_of
from controller.history.site_history import SiteHistory
from controller.history.source import JournalSource
from controller.planning.planner import Planner


@dataclass(frozen=True, kw_only=True, slots=True)
class YearView:
    """A year that is drawn, as far as it does not depend on the language.

    Attributes:
        tonight: place of tonight from the left, below 0 or beyond the last where it is in another year.
        began: the night in which the journal began; None where it is empty or cannot be read.
        fault: why nothing is known of the past, where the journal cannot be read.
    """

    first: date
    nights: int
    tonight: int
    sky: Mapping[str, str]
    strips: tuple[Strip, ...]
    changes: tuple[ClockChange, ...]
    began: date | None
    fault: str

    @property
    def lit_h(self) -> float:
        """Hours lit, of all zones."""
        return sum(each.lit_h for each in self.strips)

    @property
    def to_come_h(self) -> float:
        """Hours to come, of all zones."""
        return sum(each.to_come_h for each in self.strips)

    @property
    def has_begun(self) -> bool:
        """Whether a night before tonight is on record."""
        return self.began is not None and (self.began - self.first).days < self.tonight

    @property
    def missed_h(self) -> float:
        """Hours missed, of all zones."""
        return sum(each.missed_h for each in self.strips)


def show_year(context: RequestContext, year: int) -> YearView:
    """Draw a calendar year, once a night."""
    gateway, now_utc = context.gateway, context.now().utc
    tonight = gateway.planner.night_at(now_utc).date

    def draw(planner: Planner) -> YearView:
        period = year_of(year, planner.tz)
        try:
            return _draw(planner, gateway.journal, period, now_utc, fault="")
        except JournalError as error:
            return _draw(planner, None, period, now_utc, fault=str(error))

    return context.years.keep(("year", year, tonight), gateway.planner, draw)


def _draw(
    planner: Planner, journal: JournalSource | None, period: Period, now_utc: datetime, *, fault: str
) -> YearView:
    tonight = planner.night_at(now_utc)
    history = SiteHistory(planner, [] if journal is None else journal.site_records())
    began, first, last = None, period.first, period.last
    if journal is None:
        zones = [zone.id for zone in planner.site.zones]
        those = list(nights(first, last, planner.tz))
        light = PastLight(
            planner=planner,
            sites=history.periods((ms_of(those[0].starts_at_utc), ms_of(those[-1].ends_at_utc))),
            first=first,
            last=last,
            lit=dict.fromkeys(zones, ()),
            missed={},
            unknown={},
        )
    else:
        bounds = bounds_of(history, journal, now_utc)
        began = None if bounds.is_empty else history.planner.night_at(bounds.began_utc).date
        light = light_of_past(history, journal, first, last, bounds=bounds)
    # Tonight is still to come: so the picture holds until the next noon.
    over = [(0, ms_of(tonight.starts_at_utc))]
    light = replace(
        light,
        lit={zone: overlap(some, over) for zone, some in light.lit.items()},
        missed={zone: overlap(some, over) for zone, some in light.missed.items()},
        unknown={zone: overlap(some, over) for zone, some in light.unknown.items()},
    )
    laid_out = lay_out_past(light, now_utc=now_utc, to_come=_planned(planner, max(first, tonight.date), last))
    return YearView(
        first=first,
        nights=period.nights,
        tonight=(tonight.date - first).days,
        sky=laid_out.sky,
        strips=laid_out.strips,
        changes=laid_out.picture.changes,
        began=began,
        fault=fault,
    )


def _planned(planner: Planner, first: date, last: date) -> dict[str, list[Interval]]:
    """Give when each zone is to be lit from one night to another."""
    ahead = list(nights(first, last, planner.tz)) if first <= last else []
    return {
        zone.id: [
            (ms_of(window.on_utc), ms_of(window.off_utc))
            for night in ahead
            for window in planner.plan(zone.id, night).windows
        ]
        for zone in planner.site.zones
    }


def months_of(view: YearView, words: Words) -> list[tuple[float, str, str, str]]:
    """Give where each month begins, in percent of the width, its name, that in short, and its address."""
    found = []
    for month in range(1, 13):
        first = view.first.replace(month=month, day=1)
        name = words.month(first)
        place = round((first - view.first).days / view.nights * 100, 2)
        found.append((place, name, words.short_month(first), f"/year/{first:%Y-%m}"))
    return found


def year_sentence(view: YearView, words: Words) -> tuple[str, str]:
    """Say what a year came to, and what is to come of it."""
    _ = words.gettext
    hours = {"lit": words.number(view.lit_h), "ahead": words.number(view.to_come_h), "year": view.first.year}
    if view.tonight >= view.nights:
        first = _("In %(year)d there were %(lit)s hours of light.") % hours
    elif view.tonight > 0 and view.has_begun:
        first = _("%(lit)s hours of light so far in %(year)d.") % hours
    elif view.tonight > 0:
        first = _("The record of %(year)d begins tonight.") % hours
    else:
        first = _("%(ahead)s hours of light are planned for %(year)d.") % hours
    rest = []
    if 0 < view.tonight < view.nights:
        ahead = (
            _("%(ahead)s are still to come.") if view.has_begun else _("%(ahead)s hours are still to come.")
        )
        rest.append(ahead % hours)
    if view.missed_h >= 0.05:  # noqa: PLR2004 - shows as 0.1
        rest.append(_("%(hours)s were missed.") % {"hours": words.number(view.missed_h, 1)})
    return first, " ".join(rest)


def strip_words(strip: Strip, words: Words) -> str:
    """Say beside a strip how long its zone was lit and will be, and what was missed."""
    said = []
    if strip.lit_h:
        on = words.ngettext(
            "%(hours)s h on %(nights)d night", "%(hours)s h on %(nights)d nights", strip.nights_lit
        )
        said.append(on % {"hours": words.number(strip.lit_h), "nights": strip.nights_lit})
    if strip.missed_h >= 0.05:  # noqa: PLR2004 - shows as 0.1
        said.append(words.gettext("%(hours)s h missed") % {"hours": words.number(strip.missed_h, 1)})
    if strip.to_come_h:
        said.append(words.gettext("%(hours)s h to come") % {"hours": words.number(strip.to_come_h)})
    return ", ".join(said).replace(" h", "\N{NO-BREAK SPACE}h") or words.gettext("no light")


def change_words(changes: Sequence[ClockChange], words: Words) -> str:
    """Say when the clocks are changed, which shows as a step in the picture."""
    said = []
    for each in changes:
        forward = words.gettext("The clocks go forward on %(day)s.")
        text = forward if each.by_h > 0 else words.gettext("The clocks go back on %(day)s.")
        said.append(text % {"day": words.date(each.day)})
    return " ".join(said)


def tonight_of(context: RequestContext) -> date:
    """Give the date of tonight."""
    return context.gateway.planner.night_at(context.now().utc).date


def index_of(view: YearView, night: date | None) -> int | None:
    """Give the place of a night from the left; None where it is in another year."""
    if night is None or not 0 <= (night - view.first).days < view.nights:
        return None
    return (night - view.first).days
