"""Which nights are to be accounted for, and into what they are cut: for the command line and the web."""

from dataclasses import dataclass, replace
from datetime import date, timedelta

from config.errors import PeriodError
from config.models.site import Site
from controller.calendar.periods import (
    FIRST_YEAR,
    LAST_YEAR,
    Each,
    Period,
    parse_period,
    split,
    stretch_of_nights,
)
from controller.planning.planner import Planner

# How many periods an answer has by default.
USUAL = {Each.NIGHT: 14, Each.MONTH: 12, Each.SEASON: 4}
# So many nights back that whole ones of these are among them.
_FAR_BACK = timedelta(days=15 * 31)
# More rows than these are a typing error: ten years night by night.
MOST_PERIODS = 3653
# A journal is not older than this.
MOST_NIGHTS = 366 * 100
# The most for one request over the web: ten years, some seconds of work on a small board.
MOST_NIGHTS_OVER_THE_WEB = 3653


@dataclass(frozen=True, kw_only=True, slots=True)
class HoursQuery:
    """Which nights and zones.

    Attributes:
        by: into what the nights are cut.
        period: a night, month, season, or two nights joined by "to".
        zones: ids of the zones; all where empty.
        most_nights: more nights than these are refused.
    """

    by: Each
    period: str | None = None
    first: date | None = None
    last: date | None = None
    zones: tuple[str, ...] = ()
    most_nights: int = MOST_NIGHTS

    def named_now(self, site: Site) -> "HoursQuery":
        """Name the zones as they are called now, where somebody asks by an earlier id."""
        return replace(self, zones=tuple(dict.fromkeys(site.zone_id_now(zone) for zone in self.zones)))

    @property
    def is_whole_life(self) -> bool:
        """Whether it is about all that the journal ever recorded, in one sum."""
        return self.by is Each.WHOLE and self.period is None and self.first is None and self.last is None


def choose_periods(query: HoursQuery, planner: Planner, *, tonight: date, began: date | None) -> list[Period]:
    """Give the periods that a query means; by default nothing before the night in which the journal began.

    Raises:
        PeriodError: no such period, one that ends before it begins, or too many of them; says what would do.
    """
    if query.period is None:
        whole = _usual(query, planner, tonight, began)
    elif query.first is not None or query.last is not None:
        raise PeriodError("a period has its own dates; leave out either the period or “from” and “to”")
    else:
        whole = read_period(query.period, planner)
    if whole.nights > query.most_nights or (query.by is Each.NIGHT and whole.nights > MOST_PERIODS):
        raise PeriodError(f"{whole.name} is {whole.nights} nights; ask for fewer at once")
    return list(split(whole, query.by, planner.tz, latitude_deg=planner.site.latitude_deg))


def read_period(text: str, planner: Planner) -> Period:
    """Read a period as a person writes it.

    Raises:
        PeriodError: there is none of that name, or it lies in years for which no answer can be given.
    """
    period = parse_period(text, planner.tz, latitude_deg=planner.site.latitude_deg)
    if not FIRST_YEAR <= period.first.year <= period.last.year <= LAST_YEAR:
        raise PeriodError(f"“{text}” is out of range; name a year from {FIRST_YEAR} to {LAST_YEAR}")
    return period


def _usual(query: HoursQuery, planner: Planner, tonight: date, began: date | None) -> Period:
    """Fill in the first and the last night where they are not given."""
    last = query.last or max(tonight, query.first or tonight)
    first = query.first or _usual_first(query, planner, last, began)
    if last < first:
        named = f"from = {first}" if query.first else f"{first}, where the journal begins"
        raise PeriodError(f"to = {last} lies before {named}; name a later night")
    return stretch_of_nights(first, last, planner.tz)


def _usual_first(query: HoursQuery, planner: Planner, last: date, began: date | None) -> date:
    """Go back as far as is usual, to the beginning of a month or season, and not before the journal began.

    While the journal is empty, one period is enough.
    """
    if query.by is Each.WHOLE:
        return began or last
    around = stretch_of_nights(last - _FAR_BACK, last, planner.tz)
    pieces = split(around, query.by, planner.tz, latitude_deg=planner.site.latitude_deg)
    if began is None:
        return pieces[-1].first
    first = pieces[-USUAL[query.by]].first
    return first if last < began else max(first, began)
