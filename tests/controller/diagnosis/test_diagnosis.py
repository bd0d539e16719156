"""Faults made on purpose in small gardens, found by the volts that scipy gives for what is really there."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from config.models.cables import parse_gauge
from controller.diagnosis.diagnosis import diagnose
from controller.diagnosis.faults import MeasuredVolts, WiringFault
from controller.wiring.network import CableSegment, Feed, FixtureAt, Lamp, Network
from tests.controller.networks import EVENLY_FT, chain
from tests.controller.nodal import NodalEquations

LINE = chain(source_v=13.0, at_ft=EVENLY_FT, temperature_c=25.0)
TAPS_V = (12.0, 13.0, 14.0)


def read(network, fixtures=None):
    """Volts at the lamps as a meter shows them, from scipy's solution of what is really there."""
    nodal = NodalEquations(network)
    pair_v = nodal.solve()
    places = range(len(network.fixtures)) if fixtures is None else fixtures
    volts = [pair_v[nodal.at[nodal.first_lamp[at]]] for at in places]
    return [MeasuredVolts(fixture=at, volts=round(v, 2)) for at, v in zip(places, volts, strict=True)]


def two_runs(*, temperature_c=30.0, lamp=Lamp.FILAMENT):
    """Two runs of four lamps from one tap, of the zones “a” and “b”."""
    gauge = parse_gauge("12 AWG")
    cables, lamps = [], []
    for zone in "ab":
        before = "feed"
        for number in range(1, 5):
            node = f"{zone}{number}"
            cables.append(CableSegment(from_node=before, to_node=node, gauge=gauge, length_m=6.0))
            lamps.append(FixtureAt(node=node, zone=zone, watts=20.0, lamp=lamp))
            before = node
    feed = Feed(node="feed", transformer="shed", rated_va=300.0, source_v=13.0)
    return Network(feed=feed, segments=tuple(cables), fixtures=tuple(lamps), temperature_c=temperature_c)


def spliced(network, node, ohm):
    cables = (replace(c, splice_ohm=ohm) if c.to_node == node else c for c in network.segments)
    return replace(network, segments=tuple(cables))


@pytest.mark.parametrize("copper_c", [12.0, 25.0, 55.0, 75.0])
def test_nothing_is_wrong_whatever_the_copper_s_temperature(copper_c):
    """Readings of what was noted say so, and the copper's temperature within 12 °C; tables are for 75 °C."""
    found = diagnose([LINE], read(replace(LINE, temperature_c=copper_c)), TAPS_V)
    assert found.all_well
    assert found.copper_c == pytest.approx(copper_c, abs=12.0)


def test_noise_alone_is_not_called_a_fault():
    """Of two hundred series of good readings with noise, none is clearly a fault and few look like one."""
    draw = random.Random(5)
    good = read(replace(LINE, temperature_c=35.0))
    doubted = 0
    for _ in range(200):
        shown = [replace(one, volts=round(one.volts + draw.gauss(0.0, 0.05), 2)) for one in good]
        found = diagnose([LINE], shown, TAPS_V)
        assert found.all_well or not found.clear
        doubted += not found.all_well
    assert doubted <= 10


def test_a_bad_splice_is_found_where_it_is():
    """0.3 ohm too much between n5 and n6 is found there within 0.03 ohm, said as an electrician would."""
    found = diagnose([LINE], read(spliced(LINE, "n6", 0.3)), TAPS_V)
    best = found.explanations[0]
    assert found.clear
    assert (best.fault, best.places[0].cables) == (WiringFault.SPLICE, (("n5", "n6"),))
    assert (best.places[0].size, best.places[0].unit) == (pytest.approx(0.3, abs=0.03), "ohm")
    assert best.words == "About 0.3 ohm too much between “n5” and “n6”"
    assert best.remedy == "open the splices there and remake them"
    assert "Switch the transformer off" in best.cautions[0]


def test_a_bad_splice_at_one_lamp_is_told_from_one_in_the_cable():
    """Half an ohm in front of the lamp at n4 alone is found at that lamp."""
    end = CableSegment(
        from_node="n4", to_node="x", gauge=parse_gauge("12 AWG"), length_m=0.01, splice_ohm=0.5
    )
    moved = (replace(f, node="x") if f.node == "n4" else f for f in LINE.fixtures)
    really = replace(LINE, segments=(*LINE.segments, end), fixtures=tuple(moved))
    best = diagnose([LINE], read(really), TAPS_V).explanations[0]
    assert (best.fault, best.places[0].fixture) == (WiringFault.SPLICE, 3)
    assert best.places[0].size == pytest.approx(0.5, abs=0.05)
    assert best.words.endswith(" ohm too much at the 12 W lamp at “n4”")


@pytest.mark.parametrize(("gauge", "size"), [("14 AWG", 2.0809), ("16 AWG", 1.3087)])
def test_one_piece_of_a_thinner_gauge_is_named_beside_a_bad_splice(gauge, size):
    """A longer piece one or two sizes thinner: that gauge, or a splice of its ohms, and nothing else."""
    line = chain(source_v=13.0, at_ft=(20, 30, 80, 90, 100), watts=20.0, temperature_c=40.0)
    cables = (replace(c, gauge=parse_gauge(gauge)) if c.to_node == "n3" else c for c in line.segments)
    found = diagnose([line], read(replace(line, segments=tuple(cables))), TAPS_V)
    best = found.explanations[0]
    assert (best.fault, best.places[0].cables) == (WiringFault.GAUGE, (("n2", "n3"),))
    assert (best.places[0].gauge, best.places[0].size) == (gauge, size)
    assert best.words == f"Cable of {gauge}, not of 12 AWG, between “n2” and “n3”"
    assert {each.fault for each in found.explanations} <= {WiringFault.GAUGE, WiringFault.SPLICE}


def test_all_cable_of_a_thinner_gauge_is_found():
    """14 AWG in the ground all the way where 12 AWG was noted is found as that."""
    thin = parse_gauge("14 AWG")
    really = replace(LINE, segments=tuple(replace(c, gauge=thin) for c in LINE.segments))
    best = diagnose([LINE], read(really), TAPS_V).explanations[0]
    assert (best.fault, best.places[0].gauge) == (WiringFault.GAUGE, "14 AWG")
    assert best.words == "Cable of 14 AWG, not of 12 AWG, all the way from “feed” to “n10”"


def test_a_dead_lamp_is_found_by_the_volts_of_the_others():
    """A 50 W lamp that is out at the end of the line is found there."""
    big = FixtureAt(node="n10", zone="all", watts=50.0, lamp=Lamp.FILAMENT)
    noted = replace(LINE, fixtures=(*LINE.fixtures, big))
    found = diagnose([noted], read(LINE, range(10)), TAPS_V)
    best = found.explanations[0]
    assert (best.fault, best.places[0].fixture, best.places[0].size) == (WiringFault.LAMP_OUT, 10, 50.0)
    assert best.words.startswith("Probably out: the 50 W lamp at “n10”")


def test_the_wrong_tap_is_found():
    """Everything on 12 V where 13 V were noted is the tap, whether the file lists the taps or not."""
    really = replace(LINE, feed=replace(LINE.feed, source_v=12.0))
    for taps_v in (TAPS_V, ()):
        best = diagnose([LINE], read(really), taps_v).explanations[0]
        assert (best.fault, best.places[0].size) == (WiringFault.TAP, 12.0)
        assert best.words == "The cable at “feed” is on the tap of 12 V, not on that of 13 V"


def test_a_tap_that_was_measured_says_itself_which_it_is():
    """12.05 V at the terminals of a 13 V tap are the tap of 12 V; 12.9 V are no fault."""
    really = replace(LINE, feed=replace(LINE.feed, source_v=12.05))
    found = diagnose([LINE], read(really), TAPS_V, {0: 12.05})
    assert (found.fault, found.explanations[0].places[0].size) == (WiringFault.TAP, 12.0)
    really = replace(LINE, feed=replace(LINE.feed, source_v=12.9))
    assert diagnose([LINE], read(really), TAPS_V, {0: 12.9}).all_well


def test_volts_of_no_tap_are_the_supply():
    """12.5 V where 13 V were noted is no tap of this transformer: measure at its terminals."""
    really = replace(LINE, feed=replace(LINE.feed, source_v=12.5))
    found = diagnose([LINE], read(really), TAPS_V)
    kinds = [each.fault for each in found.explanations]
    assert WiringFault.SUPPLY in kinds
    # One cable leaves the tap: its splice cannot be told from fewer volts there.
    assert not found.clear or found.fault is WiringFault.SUPPLY


def test_a_lamp_on_the_wrong_zone_is_found_with_everything_lit():
    """The lamp of a4 that really hangs at b3: it gets the volts there, and loads that run."""
    noted = two_runs()
    moved = (replace(f, node="b3", zone="b") if f.node == "a4" else f for f in noted.fixtures)
    found = diagnose([noted], read(replace(noted, fixtures=tuple(moved))), TAPS_V)
    best = found.explanations[0]
    assert (best.fault, best.places[0].fixture, best.places[0].other_zone) == (WiringFault.ZONE, 3, "b")
    assert best.words.startswith("Wired to another zone than noted: the 20 W lamp at “a4” on zone “b”")


def test_a_lamp_on_the_wrong_zone_is_found_zone_by_zone():
    """Read with its own zone lit alone the lamp is dark, and with the other alone that run carries it."""
    noted = two_runs()
    on_b = [FixtureAt(node="b2", zone="b", watts=20.0, lamp=Lamp.FILAMENT)]
    a_lit = replace(noted, fixtures=noted.fixtures[:3])
    b_lit = replace(noted, fixtures=(*noted.fixtures[4:], *on_b))
    shown = [replace(each, alone=True) for each in read(a_lit)]
    shown.append(MeasuredVolts(fixture=3, volts=0.0, alone=True))
    shown += [replace(each, alone=True, fixture=each.fixture + 4) for each in read(b_lit, range(4))]
    found = diagnose([noted], shown, TAPS_V)
    best = found.explanations[0]
    assert found.clear
    assert (best.fault, best.places[0].fixture, best.places[0].other_zone) == (WiringFault.ZONE, 3, "b")


def test_a_lamp_may_be_on_another_tap_s_zone():
    """Two networks of one transformer are judged together: the lamp missing in one is found in the other."""
    both = two_runs()
    nets = []
    for zone in "ab":
        feed = replace(both.feed, node="feed" if zone == "a" else "feed, common 2")
        cables = [c for c in both.segments if c.to_node.startswith(zone)]
        first = replace(cables[0], from_node=feed.node)
        lamps = tuple(f for f in both.fixtures if f.zone == zone)
        nets.append(replace(both, feed=feed, segments=(first, *cables[1:]), fixtures=lamps))
    a, b = nets
    moved = replace(a.fixtures[2], node="b4", zone="b")
    b_shown = read(replace(b, fixtures=(*b.fixtures, moved)))
    without = replace(a, fixtures=(*a.fixtures[:2], a.fixtures[3]))
    a_shown = [replace(one, fixture=at) for one, at in zip(read(without), (0, 1, 3), strict=True)]
    shown = [*a_shown, replace(b_shown[4], fixture=2)]
    shown += [replace(each, circuit=1) for each in b_shown[:4]]
    best = diagnose(nets, shown, TAPS_V).explanations[0]
    assert (best.fault, best.places[0].fixture, best.places[0].circuit) == (WiringFault.ZONE, 2, 0)


def test_what_is_open_is_found_by_the_lights_that_get_nothing():
    """A cable cut between n6 and n7 leaves n7 to n10 at nothing, the others with more volts than noted."""
    lit = replace(LINE, segments=LINE.segments[:6], fixtures=LINE.fixtures[:6])
    nothing = [MeasuredVolts(fixture=at, volts=0.0) for at in range(6, 10)]
    found = diagnose([LINE], [*read(lit), *nothing], TAPS_V)
    best = found.explanations[0]
    assert found.clear
    assert (best.fault, best.places[0].cables) == (WiringFault.OPEN, (("n6", "n7"),))
    assert best.words == "Open circuit between “n6” and “n7”"


@pytest.mark.parametrize("dark", [3, 9])
def test_one_light_that_gets_nothing_has_a_splice_of_its_own_open(dark):
    """Nothing at n4 alone, with light before and behind it, is at that lamp; at the end it may be either."""
    lit = [place for place in range(10) if place != dark]
    really = replace(LINE, fixtures=tuple(LINE.fixtures[place] for place in lit))
    readings = [replace(one, fixture=lit[one.fixture]) for one in read(really)]
    best = diagnose([LINE], [*readings, MeasuredVolts(fixture=dark, volts=0.0)], TAPS_V).explanations[0]
    assert best.fault is WiringFault.OPEN
    places = [(place.fixture, place.cables) for place in best.places]
    assert (dark, ()) in places
    assert ((None, (("n9", "n10"),)) in places) is (dark == 9)


def test_readings_that_no_single_fault_explains_are_only_shown():
    """Readings up and down at random: nothing is named, and it says so."""
    readings = [MeasuredVolts(fixture=at, volts=12.0 + (2.0 if at % 2 else -2.0)) for at in range(10)]
    found = diagnose([LINE], readings, TAPS_V)
    assert (found.explanations, found.clear, found.fault) == ((), False, None)
    assert "No single fault that was tried explains these readings" in found.words


def test_a_network_without_a_solution_has_nothing_to_compare_with():
    """Where the lamps ask for more than the cables deliver, or nothing was read, there is no diagnosis."""
    network = chain(watts=120.0, lamp=Lamp.POWER)
    assert diagnose([network], [MeasuredVolts(fixture=0, volts=9.0)]) is None
    assert diagnose([LINE], []) is None


def test_places_that_readings_cannot_tell_apart_are_named_together():
    """With one reading at the end of the line, a splice may be anywhere: ten places, and nothing is clear."""
    found = diagnose([LINE], read(spliced(LINE, "n6", 0.5), [9]), TAPS_V)
    assert not found.clear
    splice = next(each for each in found.explanations if each.fault is WiringFault.SPLICE)
    assert (("n5", "n6"),) in [place.cables for place in splice.places]
    assert len(splice.places) > 3
    assert "other places" in splice.words


def test_two_hundred_lamps_are_looked_through():
    """Of two hundred lamps on many branches the bad splice is found, though not every fault is tried."""
    gauge, cables, lamps = parse_gauge("10 AWG"), [], []
    for place in range(1, 201):
        parent = place - 1 if place % 7 else place // 2
        cables.append(CableSegment(from_node=f"n{parent}", to_node=f"n{place}", gauge=gauge, length_m=2.0))
        zone = ("beds", "path", "trees")[place % 3]
        lamps.append(FixtureAt(node=f"n{place}", zone=zone, watts=1.0, lamp=Lamp.POWER))
    feed = Feed(node="n0", transformer="shed", rated_va=600.0, source_v=13.0)
    noted = Network(feed=feed, segments=tuple(cables), fixtures=tuple(lamps), temperature_c=30.0)
    best = diagnose([noted], read(spliced(noted, "n49", 0.5)), TAPS_V).explanations[0]
    assert (best.fault, best.places[0].cables) == (WiringFault.SPLICE, (("n24", "n49"),))


def test_a_single_explanation_is_not_announced_as_several():
    """Where one kind of fault is named but not clear, the sentence before it speaks of one."""
    readings = [MeasuredVolts(fixture=at, volts=11.0 - at / 8) for at in range(10)]
    found = replace(diagnose([LINE], readings, TAPS_V), clear=False)
    assert found.explanations
    one = replace(found, explanations=found.explanations[:1])
    two = replace(found, explanations=found.explanations[:1] * 2)
    assert "These explain" in two.words
    assert "This explains" in one.words
