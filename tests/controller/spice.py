"""The same transformer once more, for the circuit simulator ngspice: a netlist, and the volts that it finds.

Every conductor is a resistor of its own and every lamp of a fixture stands on a lead of its own. A tap is a
source whose volts fall with the currents of all taps, as the regulation of the transformer says.
"""

from __future__ import annotations

import os
import shutil
import subprocess

import pytest

from controller.wiring.cable import ohm_per_m
from controller.wiring.network import Lamp

NGSPICE = shutil.which("ngspice")
needs_ngspice = pytest.mark.skipif(NGSPICE is None and not os.environ.get("CI"), reason="no ngspice here")
_EXPONENTS = {Lamp.CURRENT: "0", Lamp.RESISTANCE: "1", Lamp.FILAMENT: "0.55", Lamp.POWER: "-1"}


def run_ngspice(networks, folder, *, begin=None):
    """Volts between the conductors by network and node, and of each fixture's lamps by network and place.

    The simulator begins at the volts of the taps everywhere, or at the volts of these solutions.
    """
    lines, wanted = ["* leerie"], []
    for number, network in enumerate(networks):
        lines += _tap(number, networks)
        nodes = {network.feed.node: 0}
        for cable in network.segments:
            for node in (cable.from_node, cable.to_node):
                nodes.setdefault(node, len(nodes))
        for place, cable in enumerate(network.segments):
            ohm = ohm_per_m(cable.gauge, network.temperature_c) * cable.length_m + cable.splice_ohm / 2.0
            a, b = nodes[cable.from_node], nodes[cable.to_node]
            lines += [
                f"R{wire}{number}_{place} {wire}{number}_{a} {wire}{number}_{b} {ohm!r}" for wire in "pn"
            ]
        wanted += [((number, node), f"p{number}_{at}", f"n{number}_{at}") for node, at in nodes.items()]
        for place, fixture in enumerate(network.fixtures):
            for one in range(fixture.count):
                at, name = f"{number}_{nodes[fixture.node]}", f"{number}_{place}_{one}"
                if (lead := fixture.lead) is not None:
                    ohm = ohm_per_m(lead.gauge, network.temperature_c) * lead.length_m
                    lines += [f"R{wire}l{name} {wire}{at} {wire}l{name} {ohm!r}" for wire in "pn"]
                    at = f"l{name}"
                rated_a = fixture.watts / fixture.power_factor / fixture.rated_v
                ratio = f"max(v(p{at},n{at}),1e-3)/{fixture.rated_v!r}"
                lines.append(f"B{name} p{at} n{at} i={rated_a!r}*pow({ratio},{_EXPONENTS[fixture.lamp]})")
                wanted.append(((number, place), f"p{at}", f"n{at}"))
    volts = {key: _begin_at(key, networks, begin) for key, _, _ in wanted}
    for key, p, n in wanted:
        feed_v = _begin_at((key[0], networks[key[0]].feed.node), networks, begin)
        # Both conductors are alike, so each loses half of the drop.
        lines += [
            f".nodeset v({p})={(feed_v + volts[key]) / 2}",
            f".nodeset v({n})={(feed_v - volts[key]) / 2}",
        ]
    lines += [".options reltol=1e-9 abstol=1e-12 vntol=1e-10 gmin=1e-15 itl1=500", ".control", "op"]
    lines += ["set numdgt=12", *(f"print v({p},{n})" for _, p, n in wanted), "quit", ".endc", ".end"]
    path = folder / "transformer.cir"
    path.write_text("\n".join(lines) + "\n")
    command = [NGSPICE or "ngspice", "-b", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    found = [float(line.partition("=")[2]) for line in done.stdout.splitlines() if line.startswith("v(")]
    assert len(found) == len(wanted), done.stdout + done.stderr
    return {key: volts for (key, _, _), volts in zip(wanted, found, strict=True)}


def _begin_at(key, networks, begin):
    number, what = key
    if begin is None:
        return networks[number].feed.source_v
    return begin[number].volts[what] if isinstance(what, str) else begin[number].lamps[what].volts


def _tap(number, networks):
    """One tap as a source, with a meter for its current; all taps of a transformer end at its common."""
    feed, first = networks[number].feed, networks[0].feed
    rated = feed.source_v * feed.full_load
    load = "+".join(
        f"{other.feed.source_v * other.feed.full_load!r}*i(Vm{place})" for place, other in enumerate(networks)
    )
    rise = f"{first.regulation or 0.0!r}*(1-({load})/{feed.rated_va!r})"
    return [
        f"Bt{number} t{number} 0 v={rated!r}*(1+{rise})",
        f"Vm{number} t{number} p{number}_0 0",
        f"Vn{number} n{number}_0 0 0",
    ]
