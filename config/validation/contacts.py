"""Whether a relay's contact carries what it switches: its zone's current, and the inrush when it closes.

A contact may weld on inrush, and a welded relay keeps the lights on whatever the program says. The figures
here are rough: what a contact can take is in the data sheet of the relay.
"""

from collections.abc import Iterator
from typing import NamedTuple

from config.errors import KeyPath
from config.models.site import Fixture, Site, Transformer, Zone
from config.phrase import Phrase
from config.validation.finding import SiteFinding

# Times the current while lit. Cold filaments take 10 to 15 times for milliseconds, a transformer 10 to 15
# times its rated current for several cycles, a toroidal one up to about 60: several technical texts. LED
# drivers charge their capacitors: common practice, no source.
FILAMENT_INRUSH = 15
TRANSFORMER_INRUSH = 15
LED_INRUSH = 10
# Where the file does not say: the lower of the two usual mains, as it makes the higher current.
ASSUMED_MAINS_V = 120.0

INRUSH_WHY = {
    FILAMENT_INRUSH: Phrase("cold filaments take up to 15 times their current"),
    LED_INRUSH: Phrase("LED drivers take about 10 times their current"),
}
TRANSFORMER_INRUSH_WHY = Phrase("a transformer takes up to 15 times its current, a toroidal one up to 60")


class _Switched(NamedTuple):
    """What a relay switches: amperes while lit and when switched on (0 where not known), and in words."""

    current_a: float
    inrush_a: float
    words: Phrase
    why: Phrase


class _Contact(NamedTuple):
    """What a contact bears, and the path of the table that says so."""

    rated_a: float
    inrush_a: float | None
    path: KeyPath
    for_lamps: bool


def warn_contacts(site: Site) -> Iterator[SiteFinding]:
    """Yield a warning for each contact that carries too much, and one for what they switch on together."""
    momentary: dict[_Contact, list[tuple[Zone, _Switched]]] = {}
    for index, zone in enumerate(site.zones):
        contact, switched = _contact_of(site, zone, index), _switched_by(site, zone)
        if contact is None or switched is None:
            continue
        if switched.current_a > contact.rated_a:
            what = Phrase(
                "{switched}, more than the {rated:g} A that its relay’s contact is rated for",
                switched=switched.words,
                rated=contact.rated_a,
            )
            remedy = Phrase("use a relay for more amperes, or split the zone")
            yield SiteFinding(("zones", index), what, remedy)
        elif contact.for_lamps and contact.inrush_a is None and switched.why != TRANSFORMER_INRUSH_WHY:
            pass  # a rating for lamps allows for their inrush
        elif switched.inrush_a > (contact.inrush_a or contact.rated_a):
            momentary.setdefault(contact, []).append((zone, switched))
    for contact, zones in momentary.items():
        yield _explain_inrush(contact, zones)


def _explain_inrush(contact: _Contact, zones: list[tuple[Zone, _Switched]]) -> SiteFinding:
    zone, worst = max(zones, key=lambda each: each[1].inrush_a)
    which = Phrase("zone “{name}”", name=zone.id)
    if len(zones) > 1:
        which = Phrase("zone “{zone}” and {count} more", zone=zone.id, count=len(zones) - 1)
    what = Phrase(
        "is exceeded for a moment in {which}: {why}, here {inrush:.0f} A",
        which=which,
        why=worst.why,
        inrush=worst.inrush_a,
    )
    if contact.inrush_a is not None:
        remedy = Phrase("use a relay that is made for lamps or for more inrush")
        return SiteFinding((*contact.path, "contact_inrush_a"), what, remedy)
    remedy = Phrase("look for the inrush current in the relay’s data sheet, and write it as contact_inrush_a")
    return SiteFinding((*contact.path, "contact_a"), what, remedy)


def _contact_of(site: Site, zone: Zone, index: int) -> _Contact | None:
    """Return a zone's own contact, else that of the relay board; None where neither is known."""
    for table, path in ((zone, ("zones", index)), (site.relays, ("relays",))):
        if table.contact_a is not None:
            return _Contact(table.contact_a, table.contact_inrush_a, path, table.contact_load == "lamps")
    return None


def _switched_by(site: Site, zone: Zone) -> _Switched | None:
    """Return what a zone's relay switches; None where its load or its volts are not known."""
    transformer = site.transformer_of(zone)
    if transformer is not None and transformer.relay_side == "mains":
        return _switched_mains(transformer)
    load, listed_a, inrush_a = zone.rated_load, 0.0, 0.0
    for fixture in zone.fixtures:
        amperes = fixture.count * fixture.watts / fixture.power_factor / _volts_of(fixture, transformer)
        listed_a += amperes
        inrush_a += amperes * (FILAMENT_INRUSH if fixture.lamp == "filament" else LED_INRUSH)
    if load.origin == "fixtures":
        current_a = listed_a
    elif load.watts is not None and transformer is not None and transformer.tap is not None:
        current_a = load.watts / transformer.tap
        inrush_a *= current_a / listed_a if listed_a else 0.0
    else:
        return None
    factor = FILAMENT_INRUSH if any(each.lamp == "filament" for each in zone.fixtures) else LED_INRUSH
    return _Switched(
        current_a, inrush_a, Phrase("draws {amperes:.1f} A", amperes=current_a), INRUSH_WHY[factor]
    )


def _switched_mains(transformer: Transformer) -> _Switched:
    volts = transformer.mains_volts
    volts_said = Phrase("{volts:g} V", volts=volts or 0.0)
    if volts is None:
        volts = ASSUMED_MAINS_V
        volts_said = Phrase("{volts:g} V (assumed: write mains_volts)", volts=volts)
    current_a = transformer.rated_va / volts
    words = Phrase(
        "switches {rated:g} VA at {volts}, {amperes:.1f} A",
        rated=transformer.rated_va,
        volts=volts_said,
        amperes=current_a,
    )
    return _Switched(current_a, current_a * TRANSFORMER_INRUSH, words, TRANSFORMER_INRUSH_WHY)


def _volts_of(fixture: Fixture, transformer: Transformer | None) -> float:
    tap = transformer.tap if transformer else None
    return tap if tap is not None else fixture.rated_volts
