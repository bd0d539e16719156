"""What to say about a fault: what it is and where, what to do, and what to be careful with."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from config.phrase import Phrase, count_phrase
from controller.diagnosis.faults import Fault, WiringFault
from controller.wiring.network import Network

MOST_NAMED: Final = 3
"""Of more places that readings cannot tell apart, the rest is counted."""

_REMEDIES: Final = {
    WiringFault.SPLICE: Phrase("open the splices there and remake them"),
    WiringFault.GAUGE: Phrase(
        "read what is printed on the cable, and lay it as noted or correct the site file"
    ),
    WiringFault.LAMP_OUT: Phrase("try another lamp in its holder, and measure the volts at the holder"),
    WiringFault.TAP: Phrase("look to which terminals of the transformer the cable is connected"),
    WiringFault.SUPPLY: Phrase("measure at the terminals of the transformer with everything lit"),
    WiringFault.ZONE: Phrase("light its own zone alone: where it stays dark, follow its cable"),
    WiringFault.OPEN: Phrase(
        "look for an open splice, a cut cable or a loose plug; a lamp may also be wired to a zone that was"
        " not lit"
    ),
}
_SWITCH_OFF: Final = Phrase("Switch the transformer off before you open a splice: a loose joint may be hot.")
_HOT: Final = Phrase("Switch the zone off and let the lamp cool before you change it.")
_MAINS: Final = Phrase(
    "Behind the cover of the transformer there is mains voltage: unplug it first; fixed wiring is for a"
    " licensed electrician."
)
_CAUTIONS: Final = {
    WiringFault.SPLICE: (_SWITCH_OFF,),
    WiringFault.OPEN: (_SWITCH_OFF,),
    WiringFault.GAUGE: (_SWITCH_OFF,),
    WiringFault.ZONE: (_SWITCH_OFF,),
    WiringFault.LAMP_OUT: (_HOT,),
    WiringFault.TAP: (_MAINS,),
    WiringFault.SUPPLY: (_MAINS,),
}


def remedy(fault: WiringFault) -> str:
    """What to do about it; empty where nothing is wrong."""
    return _REMEDIES.get(fault, "")


def cautions(fault: WiringFault) -> tuple[Phrase, ...]:
    """What to be careful with."""
    return _CAUTIONS.get(fault, ())


def place_of(network: Network, fault: Fault) -> Phrase:
    """Say where a fault is, as a part of a sentence about it."""
    if fault.cables:
        return _among_cables(network, fault)
    if fault.fixture is None:
        return Phrase("the tap at “{node}”", node=network.feed.node)
    fixture = network.fixtures[fault.fixture]
    lamp = Phrase("the {watts:g} W lamp at “{node}”", watts=fixture.watts, node=fixture.node)
    if fault.goes_to is not None:
        return Phrase("{lamp} on zone “{zone}”", lamp=lamp, zone=fault.goes_to[2])
    at_it = fault.kind in {WiringFault.SPLICE, WiringFault.OPEN}
    return Phrase("at {lamp}", lamp=lamp) if at_it else lamp


def _among_cables(network: Network, fault: Fault) -> Phrase:
    cables = [network.segments[at] for at in fault.cables]
    first, last = cables[0], cables[-1]
    if len(cables) == 1:
        return Phrase("between “{begin}” and “{end}”", begin=first.from_node, end=first.to_node)
    if all(one.to_node == other.from_node for one, other in pairwise(cables)):
        return Phrase("all the way from “{begin}” to “{end}”", begin=first.from_node, end=last.to_node)
    if len({cable.from_node for cable in cables}) == 1:
        return Phrase("in all {n} cables from “{begin}”", n=len(cables), begin=first.from_node)
    return Phrase("in {n} cables, the last to “{end}”", n=len(cables), end=last.to_node)


def sentence(network: Network, fault: Fault, size: float, places: Sequence[Phrase]) -> Phrase:
    """Say what may be wrong, at the likeliest place and at others that are nearly as likely."""
    where, node, noted_v = _either(places), network.feed.node, network.feed.source_v
    match fault.kind:
        case WiringFault.SPLICE:
            words = Phrase("About {ohm:.2g} ohm too much {where}", ohm=size, where=where)
        case WiringFault.GAUGE:
            noted = str(network.segments[fault.cables[0]].gauge)
            words = Phrase(
                "Cable of {gauge}, not of {noted}, {where}", gauge=str(fault.gauge), noted=noted, where=where
            )
        case WiringFault.LAMP_OUT:
            words = Phrase("Probably out: {where}", where=where)
        case WiringFault.TAP:
            words = Phrase(
                "The cable at “{node}” is on the tap of {volts:g} V, not on that of {noted:g} V",
                node=node,
                volts=fault.tap_v,
                noted=noted_v,
            )
        case WiringFault.SUPPLY:
            words = Phrase(
                "The tap at “{node}” gives about {volts:.1f} V, not {noted:g} V",
                node=node,
                volts=noted_v + size,
                noted=noted_v,
            )
        case WiringFault.ZONE:
            words = Phrase("Wired to another zone than noted: {where}", where=where)
        case WiringFault.OPEN:
            words = Phrase("Open circuit {where}", where=where)
        case WiringFault.NONE:
            words = Phrase("Nothing is wrong: the readings agree with the cables as noted")
    return words


def _either(places: Sequence[Phrase]) -> Phrase:
    """Name some places, and count those beyond three."""
    named = places[0]
    for other in places[1:MOST_NAMED]:
        named = Phrase("{one} or {other}", one=named, other=other)
    if len(places) > MOST_NAMED:
        rest = len(places) - MOST_NAMED
        named = count_phrase("{named} or {n} other place", "{named} or {n} other places", rest, named=named)
    return named
