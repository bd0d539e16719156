"""How far along every lamp and relay of a site is: by the journal since it was fitted, then by the plan.

Lamps that were fitted before the journal began burned hours that nobody counted. These are worked out from
the plan of today and shown apart, since a lamp that is older than the account must not look new.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from controller.calendar.intervals import MS_PER_HOUR
from controller.calendar.night import night_at, night_on
from controller.forecast.forecast import Forecast
from controller.history.source import JournalSource
from controller.lamps.life import (
    LampLife,
    RelayLife,
    fitted_since,
    lamp_life,
    lamps_of,
    nights_again,
    relay_life,
)
from controller.planning.planner import Planner
from controller.records.past import ZoneSum
from controller.wiring.losses import cable_losses

_ONE_DAY = timedelta(days=1)
_S_PER_HOUR = 3600


@dataclass(frozen=True, kw_only=True, slots=True)
class Wear:
    """What is worn: the lamps of every fixture and the relay of every zone, in the order of the site file."""

    lamps: tuple[LampLife, ...]
    relays: tuple[RelayLife, ...]


def account_for_wear(
    planner: Planner, source: JournalSource, year: Forecast, *, zones: Sequence[str] = ()
) -> Wear:
    """Account for the lamps and relays of some zones; of all where none is named.

    Returns:
        Hours and cycles over runs that have ended. Held by tests/controller/history/test_lamp_wear.py.

    Raises:
        JournalError: the journal cannot be read.
    """
    first, began_utc = year.period.first, source.began_at()
    began = first if began_utc is None else night_at(began_utc, planner.tz).date
    # All hours of every zone, and those since a date; most lamps are as old as the journal.
    whole = {each.zone: each for each in source.totals()}
    since_date: dict[date, dict[str, ZoneSum]] = {}
    replacements = list(source.replacements())
    wanted = [zone for zone in planner.site.zones if not zones or zone.id in zones]
    again = {zone.id: nights_again(first, year.lit_ms_by_night(zone.id)) for zone in wanted}
    lives = []
    for lamps in lamps_of(planner.site, cable_losses(planner.site).volts):
        if lamps.zone not in again:
            continue
        since, lit_ms_on, burned = fitted_since(lamps, replacements), again[lamps.zone], whole
        estimated_h = 0.0
        if since is not None and since > began:
            if since not in since_date:
                from_utc = night_on(since, planner.tz).starts_at_utc
                since_date[since] = {each.zone: each for each in source.totals_since(from_utc)}
            burned = since_date[since]
        elif since is not None:
            before = range((began - since).days)
            estimated_h = sum(lit_ms_on(since + number * _ONE_DAY) for number in before) / MS_PER_HOUR
        lit_h = burned[lamps.zone].lit_s / _S_PER_HOUR if lamps.zone in burned else 0.0
        lives.append(
            lamp_life(
                lamps,
                lit_h + estimated_h,
                since=since,
                first_night=first,
                lit_ms_on=lit_ms_on,
                estimated_h=estimated_h,
            )
        )

    relays = [
        relay_life(
            zone.id,
            whole[zone.id].cycles if zone.id in whole else 0,
            first_night=first,
            starts_on=nights_again(first, year.starts[zone.id]),
            endurance_cycles=planner.site.relays.endurance_cycles,
        )
        for zone in wanted
    ]
    return Wear(lamps=tuple(lives), relays=tuple(relays))
