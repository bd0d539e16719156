"""Which nights are to be accounted for, and into what they are cut: for the command line and the web."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from config.errors import PeriodError
from config.models.site import Site
from config.phrase import Phrase
from controller.calendar.periods import (
    FIRST_YEAR,
    LAST_YEAR,
    Each,
    Period,
    iter_split,
    parse_period,
    split,
    stretch_of_nights,
)
from controller.planning.planner import Planner

# How many periods an answer has by default.
USUAL = {Each.NIGHT: 14, Each.MONTH: 12, Each.SEASON: 4, Each.YEAR: 5}
# The most nights that each of them has.
_LONGEST = {Each.NIGHT: 1, Each.MONTH: 31, Each.SEASON: 92, Each.YEAR: 366}
# A journal is not older than this.
MOST_NIGHTS = 366 * 100
# The most for a report on paper: ten years.
MOST_NIGHTS_ON_PAPER = 3653


class Beside(StrEnum):
    """What may be put beside a period."""

    LAST_YEAR = "last-year"
    FORECAST = "forecast"


@dataclass(frozen=True, kw_only=True, slots=True)
class HoursQuery:
    """Which nights and zones.

    Attributes:
        by: into what the nights are cut.
        period: a night, month, season, year, or two nights joined by "to".
        everything: from the beginning of the journal on.
        zones: ids of the zones; all where empty.
        beside: what is put beside each period.
        most_nights: more nights than these are refused.
    """

    by: Each
    period: str | None = None
    first: date | None = None
    last: date | None = None
    everything: bool = False
    zones: tuple[str, ...] = ()
    beside: frozenset[Beside] = frozenset()
    most_nights: int = MOST_NIGHTS

    def named_now(self, site: Site) -> "HoursQuery":
        """Name the zones as they are called now, where somebody asks by an earlier id."""
        return replace(self, zones=tuple(dict.fromkeys(site.zone_id_now(zone) for zone in self.zones)))


def choose_nights(query: HoursQuery, planner: Planner, *, tonight: date, began: date | None) -> Period:
    """Give the nights that a query means; by default nothing before the night in which the journal began.

    Raises:
        PeriodError: no such period, one that ends before it begins, or too many nights; says what would do.
    """
    if query.period is None:
        whole = _usual(query, planner, tonight, began)
    elif query.first is not None or query.last is not None or query.everything:
        raise PeriodError(
            Phrase("a period has its own dates; leave out either the period or “from”, “to” and “all”")
        )
    else:
        whole = read_period(query.period, planner)
    if whole.nights > query.most_nights:
        what = Phrase(
            "{period} is {count} nights; ask for fewer at once", period=whole.name, count=whole.nights
        )
        raise PeriodError(what)
    return whole


def cut(whole: Period, query: HoursQuery, planner: Planner) -> Iterator[Period]:
    """Cut the nights of a query into its periods."""
    return iter_split(whole, query.by, planner.tz, latitude_deg=planner.site.latitude_deg)


def read_period(text: str, planner: Planner) -> Period:
    """Read a period as a person writes it.

    Raises:
        PeriodError: there is none of that name, or it lies in years for which no answer can be given.
    """
    period = parse_period(text, planner.tz, latitude_deg=planner.site.latitude_deg)
    if not FIRST_YEAR <= period.first.year <= period.last.year <= LAST_YEAR:
        what = Phrase(
            "“{text}” is out of range; name a year from {first} to {last}",
            text=text,
            first=FIRST_YEAR,
            last=LAST_YEAR,
        )
        raise PeriodError(what)
    return period


def _usual(query: HoursQuery, planner: Planner, tonight: date, began: date | None) -> Period:
    """Fill in the first and the last night where they are not given."""
    if query.everything and query.first is not None:
        raise PeriodError(Phrase("“all” begins with the journal; leave out either “all” or “from”"))
    last = query.last or max(tonight, query.first or tonight)
    first = query.first or _usual_first(query, planner, last, began)
    if last < first:
        named = f"from = {first}"
        if not query.first:
            named = Phrase("{first}, where the journal begins", first=str(first))
        raise PeriodError(
            Phrase("to = {last} lies before {first}; name a later night", last=str(last), first=named)
        )
    return stretch_of_nights(first, last, planner.tz)


def _usual_first(query: HoursQuery, planner: Planner, last: date, began: date | None) -> date:
    """Go back as far as is usual, to the beginning of a month or season, and not before the journal began.

    While the journal is empty, one period is enough.
    """
    if query.by is Each.WHOLE or query.everything:
        return began or last
    far_back = timedelta(days=USUAL[query.by] * _LONGEST[query.by])
    around = stretch_of_nights(last - far_back, last, planner.tz)
    pieces = split(around, query.by, planner.tz, latitude_deg=planner.site.latitude_deg)
    if began is None:
        return pieces[-1].first
    first = pieces[-USUAL[query.by]].first
    return first if last < began else max(first, began)
