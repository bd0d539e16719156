"""How far along every lamp and relay of a site is: by the journal since it was fitted, then by the plan.

Lamps that were fitted before the journal knew their zone burned hours that nobody counted. These are worked
out from the program that the zone had when the journal was first told of it, a week later to be exact, as
people try things out in the first days; so what is edited later does not change them. They are shown apart,
since a lamp that is older than the account must not look new.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cache, lru_cache

from config.models.base import RELAY
from controller.calendar.intervals import MS_PER_HOUR, merge, ms_of, total_ms
from controller.calendar.night import night_at, night_on, nights, zone_info
from controller.forecast.forecast import Forecast
from controller.history.clock_correction import ClockCorrection
from controller.history.programs import program_periods
from controller.history.site_history import SiteHistory
from controller.history.source import JournalSource
from controller.lamps.life import (
    LampLife,
    RelayLife,
    fittings,
    lamp_life,
    lamps_of,
    nights_again,
    relay_life,
    replacement_dates,
)
from controller.planning.plan import PlanContext, plan_night
from controller.planning.planner import Planner
from controller.planning.program_record import ZoneProgram
from controller.sun.sun import Sun
from controller.wiring.losses import cable_losses

_ONE_DAY, _A_WEEK, _A_YEAR = timedelta(days=1), timedelta(days=7), timedelta(days=364)
_S_PER_HOUR = 3600


@dataclass(frozen=True, kw_only=True, slots=True)
class Wear:
    """What is worn: the lamps of every fixture and the relay of every zone, in the order of the site file."""

    lamps: tuple[LampLife, ...]
    relays: tuple[RelayLife, ...]


def account_for_wear(
    planner: Planner,
    source: JournalSource,
    year: Forecast,
    *,
    zones: Sequence[str] = (),
    until: date | None = None,
) -> Wear:
    """Account for the lamps and relays of some zones; of all where none is named.

    ``until`` is the night at whose end they are looked at, as they were then; they are looked at now where
    None. What comes then is taken from ``year``, the plan of a year, night by night.

    Returns:
        Hours and cycles over runs that have ended. Held by tests/controller/history/test_lamp_wear.py.

    Raises:
        JournalError: the journal cannot be read.
    """
    last_night = date.max if until is None else until
    first_night = year.period.first if until is None else until + _ONE_DAY
    history = SiteHistory(planner, source.site_records())
    tz = history.planner.tz
    # Before the journal was told of a zone, none of its hours was counted.
    began_utc = source.zones_began()
    began = {zone: night_at(at_utc, tz).date for zone, at_utc in began_utc.items()}
    replacements = list(source.replacements())
    wanted = [zone for zone in planner.site.zones if not zones or zone.id in zones]
    again = {zone.id: nights_again(year.period.first, year.lit_ms_by_night(zone.id)) for zone in wanted}

    def noon(night: date) -> datetime:
        return night_on(night, tz).starts_at_utc

    later = {} if until is None else {each.zone: each for each in source.totals_since(noon(first_night))}

    @cache  # most lamps are as old as the journal
    def burned(since: date | None) -> dict[str, tuple[float, int]]:
        """Give the seconds lit and the cycles of each zone, since the noon of a date or since ever."""
        sums = source.totals() if since is None else source.totals_since(noon(since))
        return {
            each.zone: (
                each.lit_s - (later[each.zone].lit_s if each.zone in later else 0.0),
                each.cycles - (later[each.zone].cycles if each.zone in later else 0),
            )
            for each in sums
        }

    @cache
    def before_that(zone: str) -> Callable[[date], int]:
        """Give how long a zone was lit in a night before the journal was told of it."""
        told = zone in began_utc and first_plan(history, source, zone, began_utc[zone])
        return told or again[zone]

    lamps_then = None if until is None else history.lamps_at(noon(first_night))
    if lamps_then is None:
        lamps_then = lamps_of(planner.site, cable_losses(planner.site).volts)
    lives = []
    for lamps in lamps_then:
        if lamps.zone not in again:
            continue
        dates, lit_ms_on = fittings(lamps, replacements), again[lamps.zone]
        since = max((each for each in dates if each <= last_night), default=None)
        counted_from, estimated_h = min(began.get(lamps.zone, first_night), first_night), 0.0
        if since is not None and since < counted_from:
            before = range((counted_from - since).days)
            lit_ms_before = before_that(lamps.zone)
            estimated_h = sum(lit_ms_before(since + number * _ONE_DAY) for number in before) / MS_PER_HOUR
        of_zones = burned(since if since is not None and since > counted_from else None)
        lit_s, _ = of_zones.get(lamps.zone, (0.0, 0))
        lives.append(
            lamp_life(
                lamps,
                lit_s / _S_PER_HOUR + estimated_h,
                since=since,
                first_night=first_night,
                lit_ms_on=lit_ms_on,
                estimated_h=estimated_h,
                replaced_on=next((each for each in dates if each > last_night), None),
            )
        )

    relays = []
    for zone in wanted:
        dates = replacement_dates(zone.id, RELAY, replacements)
        since = max((each for each in dates if each <= last_night), default=None)
        _, cycles = burned(since).get(zone.id, (0.0, 0))
        relays.append(
            relay_life(
                zone.id,
                cycles,
                since=since,
                first_night=first_night,
                starts_on=nights_again(year.period.first, year.starts[zone.id]),
                endurance_cycles=planner.site.relays.endurance_cycles,
            )
        )
    return Wear(lamps=tuple(lives), relays=tuple(relays))


def first_plan(
    history: SiteHistory, source: JournalSource, zone: str, began_utc: datetime
) -> Callable[[date], int] | None:
    """Give how long a zone's first program lit it in any night; None where it was gone within a week."""
    night = history.planner.night_at(began_utc + _A_WEEK)
    events = list(source.events_about(night.starts_at_utc, night.ends_at_utc))
    correction = ClockCorrection(each.at for each in events)
    starts_ms, ends_ms = night.interval
    programs = program_periods(events, correction, starts_ms=starts_ms, ends_ms=ends_ms).get(zone)
    if not programs:
        return None
    facts = history.periods(night.interval)[0].facts
    place = facts.latitude_deg, facts.longitude_deg, facts.dusk_angle_deg, facts.time_zone
    return nights_again(night.date, _lit_in_a_year(programs[0].program, night.date, place))


@lru_cache(maxsize=64)  # what is over is asked for again and again
def _lit_in_a_year(
    program: ZoneProgram, first: date, place: tuple[float, float, float, str]
) -> tuple[int, ...]:
    """Work out how long a program lights its zone on each of 365 nights, in milliseconds."""
    latitude_deg, longitude_deg, dusk_angle_deg, time_zone = place
    context = PlanContext(
        sun=Sun(latitude_deg, longitude_deg), dusk_angle_deg=dusk_angle_deg, tz=zone_info(time_zone)
    )
    windows = [
        plan_night(program, night, context).windows for night in nights(first, first + _A_YEAR, context.tz)
    ]
    return tuple(
        total_ms(merge((ms_of(window.on_utc), ms_of(window.off_utc)) for window in some)) for some in windows
    )
