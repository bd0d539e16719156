"""A garden with a bad splice that its site file knows nothing of, and what a meter shows at its lamps."""

from __future__ import annotations

import re
from dataclasses import replace

from config.file.loader import parse_site
from controller.wiring.from_site import build_wiring
from controller.wiring.solver import solve
from tests.site_of_wiring import garden, piece

LAMPS = tuple(f"a{place}" for place in range(1, 8))


def splice_garden(
    *, read: tuple[str, ...] = LAMPS, ohm: float = 0.2, copper_c: float = 30.0
) -> tuple[str, dict[str, float]]:
    """Give a site file with the readings of some lamps, and the volts at all of them.

    Halogen lamps hang on a cable that parts at a3; the splice between a3 and a4 has so many ohms.
    """
    cables = piece("boathouse", "a1", "30 ft")
    cables += "".join(piece(f"a{place}", f"a{place + 1}", "20 ft") for place in range(1, 5))
    cables += piece("a3", "a6", "25 ft") + piece("a6", "a7", "25 ft")
    lamps = "".join(
        f'[[zones.fixtures]]\nkind = "spot"\nname = "Spot {node}"\ncount = 1\nwatts = 20\nlamp = "filament"\n'
        f'volts = [8.0, 13.0]\nnode = "{node}"\n# measured {node}\n'
        for node in LAMPS
    )
    more = "taps = [12, 13, 14]\nregulation_percent = 0\n"
    text = garden(more=more, cables=cables, fixtures='kind = "well"\ncount = 1\nwatts = 1', rest=lamps)
    text = text.replace("watts = 1\n", 'watts = 1\nvolts = [8.0, 15.0]\nnode = "a1"\n', 1)
    [wiring] = build_wiring(parse_site(text, "site.toml").site)
    [network] = wiring.networks
    segments = tuple(
        replace(cable, splice_ohm=ohm) if cable.to_node == "a4" else cable for cable in network.segments
    )
    real = replace(network, segments=segments, temperature_c=copper_c)
    volts = {lamp.fixture.node: lamp.volts for lamp in solve(real).lamps}

    def note(found: re.Match) -> str:
        return f"measured_volts = [{volts[found[1]]:.2f}]" if found[1] in read else ""

    return re.sub(r"# measured (\w+)", note, text), volts
