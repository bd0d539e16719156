"""What somebody says was replaced: which part of which zone, on which day, and what the journal is told."""

from dataclasses import dataclass, replace
from datetime import date

from config.models.base import RELAY
from config.models.site import Fixture, Site, Zone
from config.phrase import Phrase
from controller.records.entries import Entry, FixtureIds, Replacement, ReplacementUndone
from controller.records.reading import Reading


@dataclass(frozen=True, kw_only=True, slots=True)
class Part:
    """A part of a zone that can be replaced: the lamps of a fixture, or the relay where ``place`` is None.

    Attributes:
        place: the fixture's place in the zone's list, from 1.
    """

    zone: Zone
    place: int | None = None

    @property
    def fixture(self) -> Fixture | None:
        """The fixture; None for the relay."""
        return None if self.place is None else self.zone.fixtures[self.place - 1]

    @property
    def id(self) -> str | None:
        """What its replacements are recorded under; None while the fixture has no id."""
        return RELAY if self.fixture is None else self.fixture.id

    def replaced(self, on_date: date, *, at: Reading, note: str = "") -> Replacement:
        """Make the entry that says that it was replaced; it has an id."""
        if self.id is None:
            raise ValueError(f"fixture {self.place} of zone {self.zone.id} has no id")
        return Replacement(zone=self.zone.id, part=self.id, on_date=on_date, at=at, note=note)


def find_part(zone: Zone, text: str) -> Part:
    """Find what somebody names: “relay”, the id of a fixture, now or earlier, or its place in the list.

    Raises:
        ValueError: the zone has no such part; says which it has.
    """
    if text == RELAY:
        return Part(zone=zone)
    for place, fixture in enumerate(zone.fixtures, start=1):
        if text in (str(place), fixture.id, *fixture.formerly):
            return Part(zone=zone, place=place)
    has = [each.id or str(place) for place, each in enumerate(zone.fixtures, start=1)]
    known = ", ".join([*has, RELAY])
    raise ValueError(
        Phrase("zone {zone} has no fixture “{text}”; it has {known}", zone=zone.id, text=text, known=known)
    )


def require_past(on_date: date, today: date) -> None:
    """Refuse a day that is still to come.

    Raises:
        ValueError: says so.
    """
    if on_date > today:
        raise ValueError(
            Phrase("{day} is still to come; name the day on which it was replaced", day=str(on_date))
        )


def record(site: Site, wanted: Replacement, known: Replacement | None) -> tuple[Replacement, list[Entry]]:
    """Say how a replacement stands once it is recorded, and what the journal has to be told for that.

    ``known`` is the same one where it is recorded already: then only another note is told.
    """
    if known is not None and wanted.note in ("", known.note):
        return known, []
    return wanted, [FixtureIds.of(site), wanted]


def undo(site: Site, known: Replacement, at: Reading) -> list[Entry]:
    """Give what the journal has to be told to take a replacement back, under whatever names it knows it."""
    zones, parts = [known.zone], [known.part]
    for zone in site.zones:
        if zone.id == known.zone:
            zones += zone.formerly
            parts += [old for each in zone.fixtures if each.id == known.part for old in each.formerly]
    undone = ReplacementUndone(zone=known.zone, part=known.part, on_date=known.on_date, at=at)
    return [
        FixtureIds.of(site),
        *(replace(undone, zone=zone_id, part=part) for zone_id in zones for part in parts),
    ]
