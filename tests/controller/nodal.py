"""The same networks by another way: nodal equations of both conductors, solved by scipy.

Shares nothing with the program but the values that describe a network: every conductor is a resistor of its
own (the sweeps fold both into a loop), every lamp of a fixture sits on a lead of its own, and the unknowns
are the potentials of all supply and return nodes, found at once by a general root finder.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import root

from controller.wiring.cable import ohm_per_m
from controller.wiring.network import Lamp


class NodalEquations:
    """Kirchhoff's current law at every supply and return node."""

    def __init__(self, network):
        self.network = network
        self.source_v = network.feed.source_v
        self.place = {network.feed.node: 0}
        for cable in network.segments:
            self.place.setdefault(cable.to_node, len(self.place))
        resistors = [
            (
                self.place[cable.from_node],
                self.place[cable.to_node],
                ohm_per_m(cable.gauge, network.temperature_c) * cable.length_m + cable.splice_ohm / 2.0,
            )
            for cable in network.segments
        ]
        count = len(self.place)
        lamps = []
        self.first_lamp = []
        for fixture in network.fixtures:
            self.first_lamp.append(len(lamps))
            for _ in range(fixture.count):
                at = self.place[fixture.node]
                if fixture.lead is not None:
                    ohm = ohm_per_m(fixture.lead.gauge, network.temperature_c) * fixture.lead.length_m
                    resistors.append((at, count, ohm))
                    at, count = count, count + 1
                lamps.append((at, fixture))
        self.at = np.array([at for at, _ in lamps], dtype=int)
        self.fixtures = [fixture for _, fixture in lamps]
        self.conductance = np.zeros((count, count))
        for a, b, ohm in resistors:
            self.conductance[[a, b], [a, b]] += 1.0 / ohm
            self.conductance[[a, b], [b, a]] -= 1.0 / ohm
        self.count = count
        self.rated_a = np.array([f.watts / f.power_factor / f.rated_v for f in self.fixtures])
        self.rated_v = np.array([f.rated_v for f in self.fixtures])
        # Current by V to this exponent; a regulated driver's is −1.
        exponents = {Lamp.CURRENT: 0.0, Lamp.RESISTANCE: 1.0, Lamp.FILAMENT: 0.55, Lamp.POWER: -1.0}
        self.exponent = np.array([exponents[f.lamp] for f in self.fixtures])

    def amperes(self, pair_v, factor=1.0):
        """Current of every lamp; ``factor`` multiplies those that insist on their power or current."""
        scale = np.where(self.exponent <= 0.0, factor, 1.0)
        volts = np.maximum(pair_v[self.at], 1e-3)  # a root finder may look below zero on its way
        return scale * self.rated_a * (volts / self.rated_v) ** self.exponent

    def residual(self, unknown):
        """Amperes missing at every node but the feed's two."""
        supply = np.concatenate(([self.source_v], unknown[: self.count - 1]))
        back = np.concatenate(([0.0], unknown[self.count - 1 :]))
        drawn = np.bincount(self.at, weights=self.amperes(supply - back), minlength=self.count)
        at_supply, at_return = self.conductance @ supply + drawn, self.conductance @ back - drawn
        return np.concatenate((at_supply[1:], at_return[1:]))

    def solve(self, start_pair_v=None):
        """Volts between the conductors at every place; None where scipy finds no root."""
        if self.count == 1:
            return np.array([self.source_v])
        pair_v = np.full(self.count, self.source_v) if start_pair_v is None else start_pair_v
        drop_v = (self.source_v - pair_v[1:]) / 2.0
        start = np.concatenate((self.source_v - drop_v, drop_v))
        found = root(self.residual, start, method="hybr", tol=1e-11)
        if not found.success and np.abs(found.fun).max() > 1e-8:
            return None
        return np.concatenate(([self.source_v], found.x[: self.count - 1] - found.x[self.count - 1 :]))

    def pair_volts(self, at_nodes, at_lamps):
        """Volts by place, from volts by node name and volts of each fixture's lamps."""
        pair_v = np.full(self.count, self.source_v)
        for node, place in self.place.items():
            pair_v[place] = at_nodes[node]
        for first, fixture, volts in zip(self.first_lamp, self.network.fixtures, at_lamps, strict=True):
            pair_v[self.at[first : first + fixture.count]] = volts
        return pair_v

    def missing_a(self, pair_v, factor=1.0):
        """The largest current that fails to balance at any node with these volts."""
        drawn = np.bincount(self.at, weights=self.amperes(pair_v, factor), minlength=self.count)
        return np.abs((self.conductance @ pair_v / 2.0 + drawn)[1:]).max(initial=0.0)

    def stiffness(self, pair_v):
        """The smallest eigenvalue of the loop equations' derivative; above zero on the high branch."""
        volts = pair_v[self.at]
        slopes = self.exponent * self.rated_a * (volts / self.rated_v) ** self.exponent / volts
        loop = self.conductance / 2.0 + np.diag(np.bincount(self.at, weights=slopes, minlength=self.count))
        return np.linalg.eigvalsh(loop[1:, 1:]).min() if self.count > 1 else np.inf
