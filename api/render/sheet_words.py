"""What stands on every site sheet: the checks before switching on, the cautions, what a relay switches.

Where a check names no code it is common practice, without a source: half an inch of bared copper, marked
conductor to marked conductor, the outlet tested and the transformer unplugged first. Marked services before
digging are 49 CFR 196.103; outlets outdoors NEC 210.8(A)(3), elsewhere IEC 60364-4-41; water NEC 411 and 680.
"""

from __future__ import annotations

from typing import Final

from controller.wiring.from_site import TransformerWiring

CHECKS: Final = (
    "Before digging, buried services are marked (in the US: call 811) and the marks are waited for.",
    "The outlet is tested, and its cover stays weatherproof with the plug in (NEC 406.9).",
    "The outlet is protected by a GFCI, elsewhere by a 30 mA RCD, and its test button was pressed.",
    "The transformer is unplugged while anything is wired.",
    "The transformer is listed for outdoor use and hangs upright; its cables are under the tap written here.",
    "Marked conductor to marked conductor at every splice, all the way.",
    "Half an inch (13 mm) of copper bared at a splice: none shows outside the connector.",
    "Every connector is rated for wet places, and takes the number of wires in it.",
    "Nothing within 10 ft (3 m) of a pool, spa or fountain unless NEC 680 permits it.",
    "Cable lies under its cover, and deeper under a drive.",
    "Every lamp is of the watts written here.",
    "Switched on: volts at the tap and at every light are read and written down.",
    "Switched on: amperes of each cable at the transformer, and watts of each zone, are written down.",
    "After an hour no connector, cable or transformer is too warm to hold.",
)

CAUTIONS: Final = (
    "Work on the mains side, a new outlet or hard wiring, is for a licensed electrician.",
    "Local code and its authority prevail over this sheet, and so do the instructions of a listed product.",
    "This program computes and advises; it protects nothing. Fuses and breakers do.",
    "A GFCI or RCD before the transformer sees no leakage behind it: keep the distance from water.",
    "Low voltage is not low current: a loose joint heats.",
    "Computed from the published tables of resistance, without reactance; splices count where written down.",
)


def relays_words(wiring: TransformerWiring) -> str:
    """Say what the relays of a transformer switch."""
    if wiring.transformer.relay_side == "mains":
        return "The relay switches its mains: everything behind it is lit together."
    return "The relays stand behind it: each zone has runs of its own from its relay on."
