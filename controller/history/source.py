"""What history asks of a journal, as a protocol, and a journal read by present names.

`controller.journal.reader.JournalReader` answers the protocol. Entries keep the names of their time, so
whoever reads it does so through `RenamedJournal`, and never meets an earlier id of a zone or fixture.

Stretches of time are half-open and in UTC; None leaves an end open. Every question may raise `JournalError`
at its first value.
"""

import heapq
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import islice
from typing import Protocol

from config.models.site import Site
from controller.history.site_facts import FittedLamps, format_facts, parse_facts
from controller.records.entries import Event, Replacement, SiteRecord, Switching
from controller.records.past import LoadAt, LoadSum, PastOverride, Run, ZoneSum
from controller.records.reading import Reading


class JournalSource(Protocol):
    """A journal that can be read."""

    def began_at(self) -> datetime | None:
        """Give the first instant of a trusted clock; None where there is none."""

    def zones_began(self) -> dict[str, datetime]:
        """Give the first instant of a trusted clock since each zone was known, by its first program."""

    def last_sign(self) -> Reading | None:
        """Give the last sign of life of any keeper; None in an empty journal."""

    def events_about(self, from_utc: datetime, to_utc: datetime, /) -> Iterator[Event]:
        """Give the events that say what held over a stretch, in the order in which they were written."""

    def site_records(self) -> Iterator[SiteRecord]:
        """Give what the site was, from each change to the next, in the order in which they were written."""

    def overrides(
        self, from_utc: datetime | None = None, to_utc: datetime | None = None, /
    ) -> Iterator[PastOverride]:
        """Give every override that was in force at some moment of a stretch."""

    def runs(self, from_utc: datetime | None = None, to_utc: datetime | None = None, /) -> Iterator[Run]:
        """Give every run that reaches into a stretch, in the order in which they began."""

    def loads_at(self, at_utc: datetime, /) -> dict[str, LoadAt]:
        """Give the load at which each zone was last lit before an instant, else first lit after it."""

    def replacements(self) -> Iterator[Replacement]:
        """Give what was replaced and not taken back, in the order of the dates."""

    def totals(self) -> list[ZoneSum]:
        """Add up all runs of every zone that have ended."""

    def totals_since(self, since_utc: datetime, /) -> list[ZoneSum]:
        """The same since an instant; of a run that it cuts, only the later part counts."""

    def switchings(
        self,
        from_utc: datetime | None = None,
        to_utc: datetime | None = None,
        /,
        *,
        zone: str | None = None,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> Iterator[Switching]:
        """Give the switchings of a stretch in the order of their instants, at most so many."""


class RenamedJournal:
    """Answers from a journal by the names that a site has now; zones that are gone keep their ids."""

    def __init__(self, source: JournalSource, site: Site) -> None:
        self._source = source
        self._site = site
        self._now = {old: zone.id for zone in site.zones for old in zone.formerly}
        self._parts: dict[tuple[str, str], str] = {}
        for zone in site.zones:
            for place, fixture in enumerate(zone.fixtures, start=1):
                if fixture.id is not None:
                    earlier = (str(place), *fixture.formerly)
                    self._parts |= {(zone.id, old): fixture.id for old in earlier}

    def began_at(self) -> datetime | None:
        """As the journal."""
        return self._source.began_at()

    def zones_began(self) -> dict[str, datetime]:
        """As the journal, by the present names: the earliest of all that a zone had."""
        began: dict[str, datetime] = {}
        for zone, at_utc in self._source.zones_began().items():
            name = self._name(zone)
            began[name] = min(at_utc, began.get(name, at_utc))
        return began

    def last_sign(self) -> Reading | None:
        """As the journal."""
        return self._source.last_sign()

    def events_about(self, from_utc: datetime, to_utc: datetime) -> Iterator[Event]:
        """As the journal, by the present names."""
        for event in self._source.events_about(from_utc, to_utc):
            yield event if event.zone not in self._now else replace(event, zone=self._now[event.zone])

    def site_records(self) -> Iterator[SiteRecord]:
        """As the journal, by the present names."""
        for record in self._source.site_records():
            facts = parse_facts(record.text) if self._now or self._parts else None
            if facts is None:
                yield record
            else:
                named = replace(
                    facts,
                    supplies={self._name(zone): supply for zone, supply in facts.supplies.items()},
                    lamps=None if facts.lamps is None else dict(map(self._lamps_now, facts.lamps.items())),
                )
                yield record if named == facts else replace(record, text=format_facts(named))

    def overrides(
        self, from_utc: datetime | None = None, to_utc: datetime | None = None
    ) -> Iterator[PastOverride]:
        """As the journal, by the present names."""
        for past in self._source.overrides(from_utc, to_utc):
            zone, ended = self._name(past.override.zone), past.ended
            yield PastOverride(
                override=replace(past.override, zone=zone),
                ended=None if ended is None else replace(ended, zone=zone),
            )

    def runs(self, from_utc: datetime | None = None, to_utc: datetime | None = None) -> Iterator[Run]:
        """As the journal, by the present names."""
        for run in self._source.runs(from_utc, to_utc):
            yield run if run.zone not in self._now else replace(run, zone=self._now[run.zone])

    def loads_at(self, at_utc: datetime) -> dict[str, LoadAt]:
        """As the journal, by the present names."""
        found: dict[str, list[LoadAt]] = defaultdict(list)
        for zone, load in self._source.loads_at(at_utc).items():
            found[self._name(zone)].append(load)

        def distance(load: LoadAt) -> tuple[bool, timedelta]:
            return load.lit_at_utc >= at_utc, abs(load.lit_at_utc - at_utc)

        return {zone: min(loads, key=distance) for zone, loads in found.items()}

    def replacements(self, zone: str | None = None) -> Iterator[Replacement]:
        """As the journal, each once, by the present names; those of one zone where it is named."""
        found: dict[str, Replacement] = {}
        for each in self._source.replacements():
            zone_id = self._name(each.zone)
            part = self._parts.get((zone_id, each.part), each.part)
            if zone is None or zone_id == self._name(zone):
                renamed = replace(each, zone=zone_id, part=part)
                found[renamed.id] = renamed
        yield from found.values()

    def totals(self) -> list[ZoneSum]:
        """As the journal, by the present names."""
        return self._add_up(self._source.totals())

    def totals_since(self, since_utc: datetime) -> list[ZoneSum]:
        """As the journal, by the present names."""
        return self._add_up(self._source.totals_since(since_utc))

    def switchings(
        self,
        from_utc: datetime | None = None,
        to_utc: datetime | None = None,
        *,
        zone: str | None = None,
        limit: int | None = None,
        newest_first: bool = False,
    ) -> Iterator[Switching]:
        """As the journal, by the present names; a zone may be asked for by an earlier one."""
        wanted: tuple[str | None, ...] = (None,)
        if zone is not None:
            now = self._name(zone)
            wanted = (now, *(old for old, new in self._now.items() if new == now))
        found = [
            self._source.switchings(from_utc, to_utc, zone=name, limit=limit, newest_first=newest_first)
            for name in wanted
        ]
        merged = heapq.merge(*found, key=lambda each: each.at.utc, reverse=newest_first)
        for each in islice(merged, limit):
            yield each if each.zone not in self._now else replace(each, zone=self._now[each.zone])

    def _name(self, zone: str) -> str:
        return self._now.get(zone, zone)

    def _lamps_now(self, told: tuple[str, tuple[FittedLamps, ...]]) -> tuple[str, tuple[FittedLamps, ...]]:
        """Name a zone and its fixtures as they are called now."""
        zone, lamps = self._name(told[0]), told[1]
        ids = [each.id and self._parts.get((zone, each.id), each.id) for each in lamps]
        return zone, tuple(replace(each, id=now) for each, now in zip(lamps, ids, strict=True))

    def _add_up(self, sums: list[ZoneSum]) -> list[ZoneSum]:
        """Give the sums of each zone under all of its names, load by load."""
        by_zone: dict[str, dict[tuple[float | None, str], LoadSum]] = defaultdict(dict)
        for zone_sum in sums:
            loads = by_zone[self._name(zone_sum.zone)]
            for part in zone_sum.by_load:
                key = (part.load_w, part.load_from)
                loads[key] = loads[key].plus(part) if key in loads else part
        return [ZoneSum(zone=zone, by_load=tuple(loads.values())) for zone, loads in by_zone.items()]
