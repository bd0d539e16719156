"""How far along every lamp and relay of a site is: by the journal since it was fitted, then by the plan.

Lamps that were fitted before the journal began burned hours that nobody counted. These are worked out from
the plan of today and shown apart, since a lamp that is older than the account must not look new.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

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
from controller.records.totals import ZoneSum

_ONE_DAY = timedelta(days=1)
_S_PER_HOUR = 3600
_NO_VOLTS: Mapping[tuple[str, int], float] = {}


@dataclass(frozen=True, kw_only=True, slots=True)
class LampAccount:
    """The lamps of one fixture.

    Attributes:
        name: what the site file calls it, else its kind.
        count: how many lamps.
        life: how far along they are; its hours hold the estimated ones too.
        estimated_h: hours before the journal began, by the plan of today.
    """

    name: str
    count: int
    life: LampLife
    estimated_h: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Wear:
    """What is worn: the lamps of every fixture and the relay of every zone, in the order of the site file."""

    lamps: tuple[LampAccount, ...]
    relays: tuple[RelayLife, ...]


def account_for_wear(
    planner: Planner,
    journal: JournalSource | None,
    year: Forecast,
    *,
    volts: Mapping[tuple[str, int], float] = _NO_VOLTS,
) -> Wear:
    """Account for lamps and relays.

    Args:
        planner: the site as it is now.
        journal: the site's journal; None where there is none, and then all hours are estimated.
        year: the year to come by the present program.
        volts: what the lamps of a zone's fixture get, where known.

    Returns:
        Hours and cycles over runs that have ended. Held by tests/controller/history/test_lamp_wear.py.

    Raises:
        JournalError: the journal cannot be read.
    """
    first = year.period.first
    burned = _Burned(planner, journal, first)
    replacements = list(journal.replacements()) if journal is not None else []
    again = {zone.id: nights_again(first, year.lit_ms_by_night(zone.id)) for zone in planner.site.zones}
    lamps = []
    for zone, fixture, each in lamps_of(planner.site, volts):
        since = fitted_since(each, replacements)
        estimated_h = burned.before_h(since, again[zone.id])
        life = lamp_life(
            each,
            burned.since_h(zone.id, since) + estimated_h,
            since=since,
            first_night=first,
            lit_ms_on=again[zone.id],
        )
        name = fixture.name or fixture.kind
        lamps.append(LampAccount(name=name, count=fixture.count, life=life, estimated_h=estimated_h))
    relays = tuple(
        relay_life(
            zone.id,
            burned.cycles(zone.id),
            first_night=first,
            starts_on=nights_again(first, year.starts[zone.id]),
            endurance_cycles=planner.site.relays.endurance_cycles,
        )
        for zone in planner.site.zones
    )
    return Wear(lamps=tuple(lamps), relays=relays)


class _Burned:
    """Hours that zones were lit since a date, each date asked of the journal once."""

    def __init__(self, planner: Planner, journal: JournalSource | None, today: date) -> None:
        """Add up the whole life first; it is at hand, and most lamps are as old as the journal."""
        self._tz = planner.tz
        self._journal = journal
        began_utc = None if journal is None else journal.began_at()
        self._began = today if began_utc is None else night_at(began_utc, self._tz).date
        self._whole = {} if journal is None else _by_zone(journal.totals())
        self._since: dict[date, dict[str, ZoneSum]] = {}

    def since_h(self, zone: str, since: date | None) -> float:
        """Give the hours of a zone from the night of a date on; all there are where it is None."""
        found = self._sums(since).get(zone)
        return 0.0 if found is None else found.lit_s / _S_PER_HOUR

    def before_h(self, since: date | None, lit_ms_on: Callable[[date], int]) -> float:
        """Estimate the hours from the night of a date up to the journal's beginning."""
        if since is None:
            return 0.0
        nights = max((self._began - since).days, 0)
        return sum(lit_ms_on(since + number * _ONE_DAY) for number in range(nights)) / MS_PER_HOUR

    def cycles(self, zone: str) -> int:
        """Say how often a zone's relay closed and opened again."""
        return self._whole[zone].cycles if zone in self._whole else 0

    def _sums(self, since: date | None) -> dict[str, ZoneSum]:
        """Give every zone's sums since a date."""
        if since is None or since <= self._began or self._journal is None:
            return self._whole
        if since not in self._since:
            from_utc: datetime = night_on(since, self._tz).starts_at_utc
            self._since[since] = _by_zone(self._journal.totals_since(from_utc))
        return self._since[since]


def _by_zone(sums: list[ZoneSum]) -> dict[str, ZoneSum]:
    """Put sums under their zones' ids."""
    return {each.zone: each for each in sums}
