"""Whether the relays' contacts carry what they switch: the current while lit, and the inrush before that.

``leerie check`` warns of the same by the watts in the file; here the current is the one computed, in its
worst case. What a contact can take is in the data sheet of the relay.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from config.models.site import RelayContact, RelaySettings, Zone
from config.phrase import Phrase
from config.validation.contacts import (
    ASSUMED_MAINS_V,
    FILAMENT_INRUSH,
    INRUSH_WHY,
    LED_INRUSH,
    TRANSFORMER_INRUSH,
    TRANSFORMER_INRUSH_WHY,
)
from controller.inspection.findings import Finding, Rule, Topic
from controller.inspection.states import Case, SolvedStates
from controller.wiring.from_site import TransformerWiring
from controller.wiring.network import Lamp
from controller.wiring.solver import Solution

_BY_SHEET: Final = Phrase("the relay's data sheet, from the site file")
_BY_TEXTS: Final = Phrase(
    "cold filaments and transformers take 10 to 15 times their current for a moment (several technical"
    " texts), LED drivers about 10 times (common practice, no source)"
)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Switched:
    """What the relay of a zone switches, and for a moment; ``words`` and ``why`` say what that is."""

    amperes: float
    inrush_a: float
    words: Phrase
    why: Phrase
    is_lamps: bool


def check_contacts(
    wiring: TransformerWiring, solved: Sequence[SolvedStates], relays: RelaySettings
) -> Iterator[Finding]:
    """The contact of each zone's relay, where its rating is known."""
    for zone in wiring.zones:
        contact = zone if zone.contact_a is not None else relays
        switched = _switched_by(zone, wiring, solved)
        if contact.contact_a is not None and switched is not None:
            yield from _check(zone, contact, contact.contact_a, switched)


def list_unknown_contacts(
    wiring: TransformerWiring, solved: Sequence[SolvedStates], relays: RelaySettings
) -> Iterator[Phrase]:
    """Say that ratings of contacts are not known, with the highest inrush that they get."""
    zones = [zone for zone in wiring.zones if zone.contact_a is None and relays.contact_a is None]
    found = [(zone, switched) for zone in zones if (switched := _switched_by(zone, wiring, solved))]
    if found:
        zone, switched = max(found, key=lambda each: each[1].inrush_a)
        yield Phrase(
            "what the relays' contacts can take is not in the file: zone “{zone}” takes up to {inrush:.0f} A"
            " for a moment when it is switched on ({why}); write “contact_a” and “contact_inrush_a” from the"
            " relay's data sheet",
            zone=zone.id,
            inrush=switched.inrush_a,
            why=switched.why,
        )


def _check(zone: Zone, contact: RelayContact, rated_a: float, switched: _Switched) -> Iterator[Finding]:
    place = Phrase("relay of zone “{zone}”", zone=zone.id)
    rule = Rule(Topic.CONTACT, "A", _BY_SHEET, Phrase("use a relay for more amperes, or split the zone"))
    words = Phrase(
        "the relay of zone “{zone}” {switches}; its contact is rated for {limit:g} A",
        zone=zone.id,
        switches=switched.words,
        limit=rated_a,
    )
    yield rule.check(place, switched.amperes, words, warning=rated_a, error=rated_a)
    if contact.contact_inrush_a is None and contact.contact_load == "lamps" and switched.is_lamps:
        return  # such a rating allows for their inrush
    if contact.contact_inrush_a is None:
        limit_a = rated_a
        remedy = Phrase(
            "look for the inrush current in the relay's data sheet, and write it as “contact_inrush_a”"
        )
        words = Phrase(
            "zone “{zone}” takes up to {inrush:.0f} A for a moment when it is switched on: {why}; its relay's"
            " contact is rated for {limit:g} A, and how much it takes for a moment is not in the file",
            zone=zone.id,
            inrush=switched.inrush_a,
            why=switched.why,
            limit=limit_a,
        )
    else:
        limit_a = contact.contact_inrush_a
        remedy = Phrase("use a relay that is made for lamps or for more inrush")
        words = Phrase(
            "zone “{zone}” takes up to {inrush:.0f} A for a moment when it is switched on: {why}; its relay's"
            " contact takes {limit:g} A",
            zone=zone.id,
            inrush=switched.inrush_a,
            why=switched.why,
            limit=limit_a,
        )
    yield Rule(Topic.INRUSH, "A", _BY_TEXTS, remedy).check(place, switched.inrush_a, words, warning=limit_a)


def _switched_by(zone: Zone, wiring: TransformerWiring, solved: Sequence[SolvedStates]) -> _Switched | None:
    """Give what a zone's relay switches; None where its load cannot be computed."""
    transformer = wiring.transformer
    if transformer.relay_side == "mains":
        volts = ASSUMED_MAINS_V if transformer.mains_volts is None else transformer.mains_volts
        amperes = transformer.rated_va / volts
        return _Switched(
            amperes=amperes,
            inrush_a=amperes * TRANSFORMER_INRUSH,
            words=Phrase(
                "switches the transformer's {rated:g} VA at {volts:g} V, {amperes:.1f} A",
                rated=transformer.rated_va,
                volts=volts,
                amperes=amperes,
            ),
            why=TRANSFORMER_INRUSH_WHY,
            is_lamps=False,
        )
    if not wiring.tap_known:
        return None
    worst = _worst_case(zone.id, solved)
    if worst is None:
        return None
    amperes, inrush_a, case = worst
    lamps = [fixture.lamp for one in solved for fixture in one.lit.network.lit((zone.id,)).fixtures]
    return _Switched(
        amperes=amperes,
        inrush_a=inrush_a,
        words=Phrase("switches {amperes:.1f} A, {case}", amperes=amperes, case=case.words),
        why=INRUSH_WHY[FILAMENT_INRUSH if Lamp.FILAMENT in lamps else LED_INRUSH],
        is_lamps=True,
    )


def _worst_case(zone: str, solved: Sequence[SolvedStates]) -> tuple[float, float, Case] | None:
    """The most amperes of a zone over all taps, its inrush then, and the case; None without a solution."""
    found: dict[Case, tuple[float, float]] = {}
    unsolved = set()
    for one in solved:
        for case, outcome in one.cases.items():
            if case.zone not in (None, zone):
                continue
            if not isinstance(outcome, Solution):
                unsolved.add(case)
                continue
            amperes, inrush_a = found.get(case, (0.0, 0.0))
            for lamp in outcome.lamps:
                if lamp.fixture.zone == zone:
                    lamp_a = lamp.fixture.count * lamp.amperes
                    amperes += lamp_a
                    inrush_a += lamp_a * (
                        FILAMENT_INRUSH if lamp.fixture.lamp is Lamp.FILAMENT else LED_INRUSH
                    )
            found[case] = (amperes, inrush_a)
    solved_cases = [
        (*carried, case) for case, carried in found.items() if case not in unsolved and carried[0]
    ]
    return max(solved_cases, key=lambda each: each[0], default=None)
