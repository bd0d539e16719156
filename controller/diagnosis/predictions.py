"""What the meter would show with a fault: quickly by the linear network, and solved exactly."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import Final

from controller.diagnosis.faults import Fault, MeasuredVolts, WiringFault, lit_alone
from controller.diagnosis.linear import LinearNetwork
from controller.wiring.cable import loop_ohm
from controller.wiring.network import Network
from controller.wiring.solver import Outcome, Solution, solve, solve_all

State = str | None
"""The zone that was lit alone; None where everything was."""

COOLEST_C: Final = 10.0
WARMEST_C: Final = 58.0
"""Copper of a garden cable: cool ground, and loaded on a hot day."""

MIDDLE_C: Final = (COOLEST_C + WARMEST_C) / 2.0

Vector = list[float]


class Predictions:
    """The networks as noted and the readings, with what each fault would make of them."""

    def __init__(self, networks: Sequence[Network], readings: Sequence[MeasuredVolts]) -> None:
        self.networks, self.readings = tuple(networks), tuple(readings)
        self.states: list[State] = [
            networks[each.circuit].fixtures[each.fixture].zone if each.alone else None for each in readings
        ]
        self._solved: dict[tuple[int, State, float], Outcome] = {}

    def noted(self, copper_c: float) -> Vector | None:
        """What the meter would show were everything as noted; None where there is no solution."""
        return self._read(self.networks, copper_c, {})

    def exact(self, fault: Fault, size: float, copper_c: float) -> Vector | None:
        """What the meter would show with a fault; None where there is no solution."""
        moved: dict[tuple[int, int], tuple[int, int]] = {}
        networks = fault.applied_to(self.networks, size)
        if fault.goes_to is not None and fault.fixture is not None:
            circuit = fault.goes_to[0]
            moved[fault.circuit, fault.fixture] = circuit, len(networks[circuit].fixtures) - 1
        shown = self._read(networks, copper_c, moved)
        if shown is not None and fault.kind is WiringFault.OPEN:
            dark = fault.behind(self.networks[fault.circuit])
            return [
                0.0 if each.circuit == fault.circuit and each.fixture in dark else volts
                for each, volts in zip(self.readings, shown, strict=True)
            ]
        return shown

    def _read(
        self, networks: Sequence[Network], copper_c: float, moved: dict[tuple[int, int], tuple[int, int]]
    ) -> Vector | None:
        found: dict[State, dict[int, Solution]] = {}
        shown = []
        for each, state in zip(self.readings, self.states, strict=True):
            circuit, fixture = moved.get((each.circuit, each.fixture), (each.circuit, each.fixture))
            if state not in found:
                found[state] = self._solve(networks, state, copper_c)
            if circuit not in found[state]:
                return None
            lamp = networks[circuit].fixtures[fixture]
            shown.append(found[state][circuit].lamps[fixture].volts if state in (None, lamp.zone) else 0.0)
        return shown

    def _solve(self, networks: Sequence[Network], state: State, copper_c: float) -> dict[int, Solution]:
        """Solve in one state all networks that can be; those as noted only once."""

        def lit(network: Network) -> Network:
            return replace(network if state is None else lit_alone(network, state), temperature_c=copper_c)

        outcomes: dict[int, Outcome] = {}
        if any(each.feed.regulation for each in networks):
            outcomes = dict(enumerate(solve_all([lit(each) for each in networks])))
        else:
            for at, network in enumerate(networks):
                if network is not self.networks[at]:
                    outcomes[at] = solve(lit(network))
                elif (outcome := self._solved.get((at, state, copper_c))) is not None:
                    outcomes[at] = outcome
                else:
                    outcomes[at] = self._solved[at, state, copper_c] = solve(lit(network))
        return {at: outcome for at, outcome in outcomes.items() if isinstance(outcome, Solution)}

    def linear(self) -> "LinearPredictions | None":
        """The same by linear networks, at a middling temperature; None where there is no solution."""
        found = {}
        for state in {None, *self.states}:
            solved = self._solve(self.networks, state, MIDDLE_C)
            if len(solved) < len(self.networks):
                return None
            found.update({(at, state): LinearNetwork(solution) for at, solution in solved.items()})
        return LinearPredictions(self, found)


class LinearPredictions:
    """By how much each fault changes what the meter shows, by the linear networks."""

    def __init__(self, predictions: Predictions, linear: dict[tuple[int, State], LinearNetwork]) -> None:
        self.readings, self._states, self._linear = predictions.readings, predictions.states, linear
        self.networks = predictions.networks

    def all_lit(self, circuit: int) -> LinearNetwork:
        """One network with everything lit."""
        return self._linear[circuit, None]

    def effect(self, fault: Fault, size: float) -> Vector | None:
        """By how much a fault of this size changes each reading; None where the volts collapse."""
        changes: dict[State, list[float] | None] = {}
        effect = []
        for each, state in zip(self.readings, self._states, strict=True):
            if fault.goes_to is not None:
                effect.append(self._moved(fault, each, state))
                continue
            if each.circuit != fault.circuit:
                effect.append(0.0)
                continue
            linear = self._linear[fault.circuit, state]
            if state not in changes:
                changes[state] = self._change(linear, fault, size)
            change = changes[state]
            if change is None:
                return None
            load = linear.loads[each.fixture]
            volts = 0.0 if load.node is None else change[load.node]
            if each.fixture != fault.fixture:
                effect.append(load.share * volts)
            elif fault.kind is WiringFault.SPLICE:
                below = 1.0 + load.siemens * size
                amperes = (load.amperes + load.siemens * volts) / below
                effect.append(load.share * (volts - size * amperes))
            else:  # a lamp that is out: no current in its lead any more, unless it has neighbours
                count = self.networks[fault.circuit].fixtures[each.fixture].count
                lead_v = linear.node_volts(load.node) - load.volts
                effect.append(volts + lead_v if count == 1 else load.share * volts)
        return effect

    def direction(self, circuit: int, begin: int | None, end: int | None) -> Vector:
        """Volts more at each reading for each ampere let in at one place of a network and out at another."""
        found = []
        for each, state in zip(self.readings, self._states, strict=True):
            if each.circuit != circuit:
                found.append(0.0)
                continue
            linear = self._linear[circuit, state]
            load = linear.loads[each.fixture]
            found.append(load.share * (linear.between(load.node, begin) - linear.between(load.node, end)))
        return found

    def follow(self, circuits: Collection[int]) -> Vector:
        """By how much each reading follows the volts at the feeds of some networks."""
        followed = [0.0] * len(self.readings)
        for circuit in circuits:
            effect = self.effect(Fault(kind=WiringFault.SUPPLY, circuit=circuit), 1.0) or followed
            followed = [a + b for a, b in zip(followed, effect, strict=True)]
        return followed

    def _change(self, linear: LinearNetwork, fault: Fault, size: float) -> list[float] | None:
        """By how much the volts change at the nodes of the network that the fault is in."""
        change: list[float] | None = None
        match fault.kind:
            case WiringFault.NONE:
                change = [0.0] * len(linear.volts)
            case WiringFault.SPLICE if fault.fixture is not None:
                load = linear.loads[fault.fixture]
                below = 1.0 + load.siemens * size
                if below > 0.0:
                    share = 1.0 / below - 1.0
                    change = linear.taken(load.node, load.amperes * share, load.siemens * share)
            case WiringFault.SPLICE:
                change = linear.inserted(fault.cables[0], size)
            case WiringFault.GAUGE if fault.gauge is not None:
                ohms = {}
                for at in fault.cables:
                    cable = linear.network.segments[at]
                    ohm = loop_ohm(fault.gauge, cable.length_m, linear.network.temperature_c)
                    ohms[at] = ohm + cable.splice_ohm
                change = linear.exchanged(ohms)
            case WiringFault.LAMP_OUT if fault.fixture is not None:
                load = linear.loads[fault.fixture]
                share = -1.0 / linear.network.fixtures[fault.fixture].count
                change = linear.taken(load.node, load.amperes * share, load.siemens * share)
            case WiringFault.TAP if fault.tap_v is not None:
                feed = linear.network.feed
                change = linear.raised((fault.tap_v / feed.source_v - 1.0) * feed.no_load_v)
            case WiringFault.SUPPLY:
                change = linear.raised(size)
        return change

    def _moved(self, fault: Fault, reading: MeasuredVolts, state: State) -> float:
        """By how much one reading changes where a lamp hangs on another zone, to first order."""
        assert fault.goes_to is not None
        assert fault.fixture is not None
        circuit, node_name, zone = fault.goes_to
        fixture = self.networks[fault.circuit].fixtures[fault.fixture]
        here, there = self._linear[fault.circuit, state], self._linear[circuit, state]
        load, node = here.loads[fault.fixture], there.place[node_name]
        moved = (reading.circuit, reading.fixture) == (fault.circuit, fault.fixture)
        if moved and state not in (None, zone):
            return -load.volts
        volts = 0.0
        at = node if moved else self._linear[reading.circuit, state].loads[reading.fixture].node
        share = load.share if moved else self._linear[reading.circuit, state].loads[reading.fixture].share
        read_in = circuit if moved else reading.circuit
        # What the lamp takes where it is lit; it may be dark in this state.
        lit = here if state in (None, fixture.zone) else self.all_lit(fault.circuit)
        load = lit.loads[fault.fixture]
        node_v = lit.node_volts(load.node)
        if state in (None, fixture.zone) and read_in == fault.circuit and load.node is not None:
            amperes = load.amperes / (1.0 - load.siemens * here.answer[load.node][load.node])
            volts += here.between(at, load.node) * amperes
        if state in (None, zone) and read_in == circuit:
            amperes = load.amperes + load.siemens * (there.volts[node] - node_v)
            amperes /= 1.0 + load.siemens * there.answer[node][node]
            volts -= there.between(at, node) * amperes
        return share * (volts + (there.volts[node] - node_v if moved else 0.0))
