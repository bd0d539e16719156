"""What the site was in the past: by what the journal was told at the time, not by today's site file."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import takewhile
from typing import Any, cast

from config.models.site import Fixture
from controller.calendar.intervals import Interval, merge, ms_of, overlap, utc_of
from controller.calendar.moved_zone import MovedZone
from controller.calendar.night import Night, zone_info
from controller.history.site_facts import FittedLamps, SiteFacts, facts_of, parse_facts
from controller.lamps.life import Lamps
from controller.planning.plan import PlanContext
from controller.planning.planner import Planner
from controller.records.entries import SiteRecord
from controller.sun.sun import Sun, dark_intervals

_FIRST_MS, _LAST_MS = ms_of(datetime.min.replace(tzinfo=UTC)), ms_of(datetime.max.replace(tzinfo=UTC))


@dataclass(frozen=True, kw_only=True, slots=True)
class SitePeriod:
    """What the site was, from when to when in milliseconds since 1970, half-open.

    Attributes:
        place: its sun, its angle of dusk and its time zone.
        assumed: whether the journal was not told: then the first facts that it was told of count, and before
            any the site file.
    """

    facts: SiteFacts
    place: PlanContext
    starts_ms: int
    ends_ms: int
    assumed: bool

    @property
    def interval(self) -> Interval:
        """From when to when."""
        return self.starts_ms, self.ends_ms


class SiteHistory:
    """All that the journal was told of a site.

    Args:
        planner: of the site as it is now.
        records: in the order in which they were written. Those of a clock that was never trusted are left
            out, unless there is no other.

    Attributes:
        planner: the same, in the time zone of the time: where that was changed, earlier nights keep their
            noons.
    """

    def __init__(self, planner: Planner, records: Iterable[SiteRecord]) -> None:
        told = list(records)
        dated = [(ms_of(each.at.utc), parse_facts(each.text)) for each in told if each.at.trusted]
        first = dated[0][1] if dated else parse_facts(told[0].text) if told else facts_of(planner.site)
        starts: list[tuple[int, SiteFacts]] = [(_FIRST_MS, first)]
        for at_ms, facts in dated:
            starts.append((max(at_ms, starts[-1][0]), facts))
        ends = [at_ms for at_ms, _ in starts[1:]] + [_LAST_MS]
        self._periods = [
            SitePeriod(
                facts=facts,
                place=_place_of(facts, planner),
                starts_ms=starts_ms,
                ends_ms=ends_ms,
                assumed=number == 0,
            )
            for number, ((starts_ms, facts), ends_ms) in enumerate(zip(starts, ends, strict=True))
            if starts_ms < ends_ms
        ]
        self._zones = {zone.id for zone in planner.site.zones}
        tz = MovedZone.of([(utc_of(each.starts_ms), each.place.tz) for each in self._periods])
        self.planner = planner if tz is planner.tz else Planner(planner.site, tz=tz)

    def periods(self, within: Interval) -> list[SitePeriod]:
        """Cut a stretch wherever the site changed; nothing where it is empty."""
        return [
            replace(each, starts_ms=max(each.starts_ms, within[0]), ends_ms=min(each.ends_ms, within[1]))
            for each in self._periods
            if max(each.starts_ms, within[0]) < min(each.ends_ms, within[1])
        ]

    def lamps_at(self, at_utc: datetime) -> list[Lamps] | None:
        """Give the lamps of present zones as they were at an instant; None where the journal was never told.

        Before it was told of lamps, the first ones that it was told of are assumed. A fixture that got its id
        later has that one already: it is the one of its kind at its place.
        """
        at_ms = ms_of(at_utc)
        told = [each.facts.lamps for each in self._periods if each.ends_ms > at_ms and each.facts.lamps]
        if not told:
            return None
        told.append(facts_of(self.planner.site).lamps or {})
        found = []
        for zone, fixtures in told[0].items():
            later = _with_the_same_kinds([then.get(zone, ()) for then in told])
            for number, each in enumerate(fixtures, start=1):
                id_ = next((some[number - 1].id for some in later if some[number - 1].id), None)
                if zone in self._zones:
                    lamps = Lamps(zone=zone, number=number, fixture=_fixture(each, id_), volts=each.volts)
                    found.append(lamps)
        return found


def dark_over(
    sites: Iterable[SitePeriod], those: Sequence[Night], angle_deg: float | None = None
) -> list[Interval]:
    """Give when the sun was below an angle, else below that of dusk, by the place at which the site was."""

    def dark_in(site: SitePeriod) -> list[Interval]:
        there = [each for each in those if overlap([each.interval], [site.interval])]
        angle = site.place.dusk_angle_deg if angle_deg is None else angle_deg
        return overlap(dark_intervals(site.place.sun, there, angle), [site.interval])

    return merge(piece for site in sites for piece in dark_in(site))


_Fixtures = Sequence[FittedLamps]


def _with_the_same_kinds(records: Sequence[_Fixtures]) -> list[_Fixtures]:
    """Give the first record, and those that follow as long as they have the same kinds in the same order."""
    kinds = [each.kind for each in records[0]]
    return list(takewhile(lambda some: [each.kind for each in some] == kinds, records))


def _fixture(told: FittedLamps, fixture_id: str | None) -> Fixture:
    """Make a table of the site file again; what was valid once needs no check."""
    return Fixture.model_construct(
        id=fixture_id,
        kind=cast(Any, told.kind),
        name=told.name,
        count=told.count,
        watts=told.watts,
        rated_volts=told.rated_volts,
        lamp=told.lamp,
        rated_life_h=told.rated_life_h,
        fitted=told.fitted,
    )


def _place_of(facts: SiteFacts, planner: Planner) -> PlanContext:
    """Give the place of a time; where that is still the same, the planner's own, which remembers its sun."""
    site = planner.site
    tz = planner.tz if facts.time_zone == site.time_zone else zone_info(facts.time_zone)
    sun = planner.sun
    if (facts.latitude_deg, facts.longitude_deg) != (site.latitude_deg, site.longitude_deg):
        sun = Sun(facts.latitude_deg, facts.longitude_deg)
    return PlanContext(sun=sun, dusk_angle_deg=facts.dusk_angle_deg, tz=tz)
