"""The whole report on the wiring of a transformer: findings, advice, readings, what is not known."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache
from typing import Final

from config.errors import Severity
from config.models.site import Fixture, RelaySettings, Site, Zone
from config.phrase import Phrase
from controller.diagnosis.diagnosis import Diagnosis, diagnose
from controller.diagnosis.faults import MeasuredVolts
from controller.inspection.advice import advise
from controller.inspection.checks import inspect
from controller.inspection.contacts import check_contacts, list_unknown_contacts
from controller.inspection.findings import Finding, InspectionResult, Topic
from controller.inspection.gauges import Prices
from controller.inspection.measurements import (
    VoltageComparison,
    WattsComparison,
    compare_volts,
    compare_watts,
)
from controller.inspection.proposals import Proposal
from controller.inspection.readings import check_readings
from controller.inspection.rule_of_thumb import RuleOfThumbCheck, check_rule_of_thumb
from controller.inspection.states import Case, SolvedStates
from controller.inspection.volts import judged_most_v
from controller.lamps.physics import filament_life_h, filament_light
from controller.wiring.from_site import Circuit, PlacedLight, TransformerWiring, build_wiring
from controller.wiring.network import ASSUMED_REGULATION, FixtureAt, Lamp
from controller.wiring.solver import LampState, Outcome, Solution

_OF_LAMPS: Final = frozenset({Topic.LAMP_LOW, Topic.LAMP_HIGH, Topic.DROP})
_OF_A_TAP: Final = frozenset({Topic.SUPPLY, Topic.CIRCUIT})


class Standing(StrEnum):
    """How a light's volts stand to what it is allowed."""

    INSIDE = "inside"
    LOW = "too low"
    HIGH = "too high"
    BOTH = "too low and too high"
    OUT = "drops out"
    NONE = "no solution"
    READ_LOW = "measured too low"
    READ_HIGH = "measured too high"


@dataclass(frozen=True, kw_only=True, slots=True)
class LightResult:
    """One light, or equal lights at one node, with what it gets.

    Attributes:
        state: with everything lit; None where there is no solution.
        most_v: volts with its zone lit alone on cool cable; where the regulation is not known, with an
            assumed one.
        sure_v: the same without any rise where the regulation is not known.
    """

    light: PlacedLight
    state: LampState | None
    most_v: float | None
    sure_v: float | None

    @property
    def fixture(self) -> FixtureAt:
        """The fixture as the solver has it."""
        return self.light.at

    @property
    def volts(self) -> float | None:
        """Volts with everything lit."""
        return self.state.volts if self.state else None

    @property
    def brightness(self) -> float | None:
        """Part of the rated light with everything lit; None but for a filament lamp."""
        if self.fixture.lamp is not Lamp.FILAMENT or self.state is None:
            return None
        return filament_light(self.state.volts, self.fixture.rated_v)

    @property
    def life(self) -> float | None:
        """Part of the rated life at the most volts; None but for a filament lamp."""
        if self.fixture.lamp is not Lamp.FILAMENT or not self.most_v:
            return None
        return filament_life_h(1.0, self.most_v, self.fixture.rated_v)

    @property
    def stated(self) -> bool:
        """Whether its range is read off its plate."""
        return self.fixture.min_v is not None

    @property
    def standing(self) -> Standing:
        """How its volts stand to its range; what was measured outside of it goes before what was computed."""
        low_v, high_v = self.fixture.range_v
        read_v = self.light.measured_v
        if read_v is not None and read_v < low_v and not self.light.dimmed:
            return Standing.READ_LOW
        if read_v is not None and read_v > high_v:
            return Standing.READ_HIGH
        if self.state is None:
            return Standing.NONE
        low = self.state.volts < low_v
        high = self.most_v is not None and judged_most_v(self.fixture, self.most_v, self.sure_v) > high_v
        if low and high:
            return Standing.BOTH
        if self.state.drops_out:
            return Standing.OUT
        return Standing.LOW if low else Standing.HIGH if high else Standing.INSIDE


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneLoad:
    """What one zone asks of its transformer.

    Attributes:
        alone_va: with this zone lit alone, cables included; None where it cannot be computed.
        placed: whether all its lights are on cables.
    """

    zone: Zone
    alone_va: float | None
    alone_w: float | None
    placed: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class WiringReport:
    """One transformer.

    Attributes:
        inspection: networks solved, in the order of the circuits, and the findings about them.
        rules: the rule of thumb for each tap in use.
        volts: readings of each tap in use; None where there are none.
        diagnosis: what would explain the readings; None where there are none.
        unknown: sentences on what is not known, and why.
    """

    wiring: TransformerWiring
    inspection: InspectionResult
    loads: tuple[ZoneLoad, ...]
    proposals: tuple[Proposal, ...]
    rules: tuple[RuleOfThumbCheck, ...]
    volts: tuple[VoltageComparison | None, ...]
    diagnosis: Diagnosis | None
    watts: tuple[WattsComparison, ...]
    unknown: tuple[str, ...]

    @property
    def level(self) -> Severity:
        """The worst of its findings."""
        return self.inspection.level

    @property
    def without_advice(self) -> bool:
        """Whether a tap has an error, or lamps outside an assumed range, that no change mends."""
        return not self.proposals and any(each.feed for each in self.inspection.to_mend)

    def lights(self, place: int) -> tuple[LightResult, ...]:
        """The lights on one tap, in the order of the site file."""
        circuit, one = self.wiring.circuits[place], self.inspection.solved[place]
        states = one.lit.lamps if isinstance(one.lit, Solution) else [None] * len(circuit.lights)
        return tuple(
            LightResult(light=light, state=state, most_v=most_v, sure_v=sure_v)
            for light, state, most_v, sure_v in zip(
                circuit.lights, states, one.most_v, one.sure_v, strict=True
            )
        )

    def lights_after(self, proposal: Proposal) -> dict[tuple[int, int], LightResult]:
        """The lights on cables as they are after a proposal, by the places of their tap and their own there.

        What was measured does not hold then. Without those for whose network there is no solution.
        """
        found: dict[FixtureAt, tuple[LampState, float | None, float | None]] = {}
        for one in proposal.inspection.solved:
            if isinstance(one.lit, Solution):
                for state, most_v, sure_v in zip(one.lit.lamps, one.most_v, one.sure_v, strict=True):
                    found[state.fixture] = state, most_v, sure_v
        after = {}
        for place, circuit in enumerate(self.wiring.circuits):
            for number, light in enumerate(circuit.lights):
                if light.placed and light.at in found:
                    state, most_v, sure_v = found[light.at]
                    unread = replace(light, measured_v=None)
                    after[place, number] = LightResult(
                        light=unread, state=state, most_v=most_v, sure_v=sure_v
                    )
        return after

    @property
    def load(self) -> Finding:
        """The finding about the whole load."""
        return next(one for one in self.inspection.findings if one.topic is Topic.TRANSFORMER)


@lru_cache(maxsize=2)
def report_site(site: Site) -> tuple[WiringReport, ...]:
    """Report on every transformer of a site, once for each site."""
    return tuple(report_transformer(wiring, site.relays) for wiring in build_wiring(site))


def report_transformer(wiring: TransformerWiring, relays: RelaySettings) -> WiringReport:
    """Report on one transformer, and on the relays that switch what is on it."""
    networks, limits = wiring.networks, wiring.limits
    inspection = inspect(networks, limits)
    findings = (
        *_relevant(inspection.findings, wiring),
        *check_readings(wiring),
        *check_contacts(wiring, inspection.solved, relays),
    )
    inspection = replace(inspection, findings=findings)
    loads = tuple(_load_of(zone, inspection.solved, wiring) for zone in wiring.zones)
    return WiringReport(
        wiring=wiring,
        inspection=inspection,
        loads=loads,
        proposals=_advise(wiring) if wiring.has_cables else (),
        rules=check_rule_of_thumb(inspection),
        volts=tuple(
            _compare_volts(circuit, one.lit)
            for circuit, one in zip(wiring.circuits, inspection.solved, strict=True)
        ),
        diagnosis=_diagnose(wiring),
        watts=tuple(_compare_watts(loads)),
        unknown=(*_list_unknown(wiring), *list_unknown_contacts(wiring, inspection.solved, relays)),
    )


def _advise(wiring: TransformerWiring) -> tuple[Proposal, ...]:
    prices = Prices(copper_per_kg=wiring.prices.copper_per_kg, trench_per_m=wiring.prices.trench_per_m)
    return advise(
        wiring.networks,
        taps_v=wiring.taps_v,
        commons=wiring.transformer.commons,
        limits=wiring.limits,
        prices=prices,
    )


def _relevant(findings: Sequence[Finding], wiring: TransformerWiring) -> Iterator[Finding]:
    """Leave out findings about volts where no light is on a cable, and about an unknown tap."""
    placed = {each.network.feed.node for each in wiring.circuits for light in each.lights if light.placed}
    for finding in findings:
        no_lamp = finding.topic in _OF_LAMPS and finding.feed not in placed
        no_tap = finding.topic in _OF_A_TAP and not wiring.tap_known
        if not (no_lamp or no_tap):
            yield finding


def _load_of(zone: Zone, states: Sequence[SolvedStates], wiring: TransformerWiring) -> ZoneLoad:
    """What a zone asks of its transformer in its worst case, on warm or on cool cable."""
    found: dict[Case, list[Outcome]] = {}
    for one in states:
        for case, outcome in one.cases.items():
            if case.zone == zone.id:
                found.setdefault(case, []).append(outcome)
    solved = [
        [outcome for outcome in outcomes if isinstance(outcome, Solution)]
        for outcomes in found.values()
        if all(isinstance(outcome, Solution) for outcome in outcomes)
    ]
    worst = max(solved, key=lambda parts: sum(each.source_va for each in parts), default=None)
    lights = [light for circuit in wiring.circuits for light in circuit.lights if light.zone == zone.id]
    return ZoneLoad(
        zone=zone,
        alone_va=sum(each.source_va for each in worst) if worst else None,
        alone_w=sum(each.lamp_w + each.loss_w for each in worst) if worst else None,
        placed=bool(lights) and all(light.placed for light in lights),
    )


def _readings_of(circuit: Circuit, place: int = 0) -> list[MeasuredVolts]:
    """The readings of one tap, taken with everything lit; dimmed lamps are outside the model."""
    return [
        MeasuredVolts(circuit=place, fixture=number, volts=light.measured_v)
        for number, light in enumerate(circuit.lights)
        if light.measured_v is not None and not light.dimmed
    ]


def _compare_volts(circuit: Circuit, lit: Outcome) -> VoltageComparison | None:
    """Compare the readings of one tap with computed volts."""
    readings, network = _readings_of(circuit), circuit.network
    if isinstance(lit, Solution):
        network = replace(network, feed=network.feed.held_at(lit.feed_v))
    return compare_volts(network, readings) if readings else None


def _diagnose(wiring: TransformerWiring) -> Diagnosis | None:
    """Look for the fault that would explain all readings of a transformer."""
    circuits = list(enumerate(wiring.circuits))
    readings = [each for place, circuit in circuits for each in _readings_of(circuit, place)]
    taps = {place: each.measured_v for place, each in circuits if each.measured_v is not None}
    return diagnose(wiring.networks, readings, wiring.taps_v, taps)


def _compare_watts(loads: Sequence[ZoneLoad]) -> Iterator[WattsComparison]:
    for load in loads:
        measured_w = load.zone.measured_watts
        if measured_w is not None and load.zone.fixtures and load.alone_w is not None:
            lamps: Counter[float] = Counter()
            for fixture in load.zone.fixtures:
                lamps[fixture.watts] += fixture.count
            yield compare_watts(load.zone.id, measured_w, load.alone_w, lamps)


def _list_unknown(wiring: TransformerWiring) -> Iterator[Phrase]:
    """Say what is not known, and what to write into the file for it."""
    for zone in wiring.unknown_zones:
        yield Phrase(
            "zone “{zone}”: its watts are not in the file, so it counts as nothing; list its fixtures",
            zone=zone.id,
        )
    leds = [(zone, fixture) for zone in wiring.zones for fixture in zone.fixtures if fixture.lamp == "led"]
    if wiring.has_cables:
        loose = (each.zone for circuit in wiring.circuits for each in circuit.lights if not each.placed)
        for zone_id in dict.fromkeys(loose):
            yield Phrase(
                "zone “{zone}” has lights without a cable: they count in the load, but their volts are not"
                " known; give its fixtures a “node”",
                zone=zone_id,
            )
        if zones := _zones_without(leds, "volts"):
            yield Phrase(
                "LED fixtures of {zones} have no “volts”: 0.90 to 1.05 of the rated volts is assumed, and"
                " only beyond 0.75 to 1.25 of them it is an error; write what their plates say",
                zones=zones,
            )
        if wiring.networks[0].feed.regulation is None:
            yield Phrase(
                "how far the volts of transformer “{transformer}” rise without load is not known: the fewest"
                " volts are computed without any rise, the most with {rise:.0f} % (5 to 15 % is usual for"
                " magnetic ones); write “regulation_percent”, or measure “no_load_volts”",
                transformer=wiring.transformer.id,
                rise=100.0 * ASSUMED_REGULATION,
            )
    else:
        yield Phrase(
            "transformer “{transformer}” has no cables in the file: the volts at its lamps, the drop and the"
            " current in each cable are not known; add [[cables]], and “tap” to the transformer",
            transformer=wiring.transformer.id,
        )
    if zones := _name_zones(zone for zone in wiring.zones if any(each.dimmed for each in zone.fixtures)):
        yield Phrase(
            "lamps of {zones} are dimmed, and what a dimmer does is outside this model: they count as if at"
            " full brightness, and that they get fewer volts is no error",
            zones=zones,
        )
    if zones := _zones_without(leds, "power_factor"):
        yield Phrase(
            "LED fixtures of {zones} have no “power_factor”: 1 is assumed, and many LED drivers draw more"
            " volt-amperes than watts; write what their plates say",
            zones=zones,
        )


def _zones_without(fixtures: Sequence[tuple[Zone, Fixture]], key: str) -> str:
    """Name the zones in whose LED fixtures a key is missing; nothing where it is in all of them."""
    return _name_zones(zone for zone, fixture in fixtures if key not in fixture.model_fields_set)


def _name_zones(zones: Iterable[Zone]) -> str:
    """Name some zones, each once."""
    return ", ".join(f"“{zone_id}”" for zone_id in dict.fromkeys(zone.id for zone in zones))
