"""Inspection: every finding with its number, its limit and its level, at both sides of each line."""

from __future__ import annotations

from dataclasses import replace

import pytest

from config.errors import Severity
from config.models.cables import parse_gauge
from controller.inspection.checks import inspect
from controller.inspection.findings import Topic
from controller.lamps.physics import filament_life_h
from controller.wiring.network import CableSegment, Feed, FixtureAt, Lamp, Lead, Limits, Network
from controller.wiring.solver import solve
from tests.controller.networks import EVENLY_FT, chain, read_reference

TABLE = read_reference("twelve_gauge.json")
SHORT_FT = (0.01,)


def about(inspection, topic):
    return [finding for finding in inspection.findings if finding.topic is topic]


def checked(topic, *networks, limits=None):
    found = about(inspect(networks, limits), topic)
    assert found, f"no finding about {topic}"
    return found[0]


@pytest.mark.parametrize(
    ("watts", "level", "left"),
    [
        (119.0, Severity.OK, "1 VA below the 80 % line"),
        (121.0, Severity.WARNING, "1 VA above the 80 % line"),
        (151.0, Severity.ERROR, "31 VA above the 80 % line"),
    ],
)
def test_the_load_is_held_against_the_rating_and_its_80_percent(watts, level, left):
    """On a 150 VA transformer 119 W is ok, 121 W over the 80 % line of 120 VA, 151 W over the rating."""
    finding = checked(
        Topic.TRANSFORMER, chain(at_ft=SHORT_FT, watts=watts, lamp=Lamp.CURRENT, rated_va=150.0)
    )
    assert finding.level is level
    assert finding.value == pytest.approx(watts, abs=0.1)
    assert finding.limit == pytest.approx(150.0 if level is Severity.ERROR else 120.0)
    assert left in finding.words
    assert bool(finding.remedy) is (level is not Severity.OK)


def test_the_remedy_names_a_transformer_that_would_do():
    """For 151 VA the transformer asked for has 190 VA: 151 ÷ 0.8 is 188.75, and ratings are round."""
    finding = checked(Topic.TRANSFORMER, chain(at_ft=SHORT_FT, watts=151.0, lamp=Lamp.CURRENT))
    assert "a transformer of 190 VA" in finding.remedy


def test_a_power_factor_counts_in_the_transformers_load():
    """90 W of LED at power factor 0.6 load the transformer with 150 VA, over its 80 % line."""
    network = chain(at_ft=SHORT_FT, watts=90.0, lamp=Lamp.POWER, power_factor=0.6, rated_va=150.1)
    finding = checked(Topic.TRANSFORMER, network)
    assert finding.value == pytest.approx(150.0, abs=0.05)
    assert finding.level is Severity.WARNING


def test_zones_are_checked_alone_and_together():
    """Two zones of 80 W are ok each alone and over the 150 VA rating together."""
    beds = FixtureAt(node="n1", zone="beds", watts=80.0, lamp=Lamp.CURRENT)
    network = replace(chain(at_ft=SHORT_FT), fixtures=(beds, replace(beds, zone="path")))
    inspection = inspect([network])
    assert checked(Topic.TRANSFORMER, network).level is Severity.ERROR
    assert [(v.place, v.level) for v in about(inspection, Topic.ZONE)] == [
        ("zone “beds” alone", Severity.OK),
        ("zone “path” alone", Severity.OK),
    ]


def test_two_taps_of_a_transformer_are_added_up():
    """Two circuits of 70 W on taps of one 150 VA transformer are 140 VA together, each circuit for itself."""
    one = chain(at_ft=SHORT_FT, watts=70.0, lamp=Lamp.CURRENT)
    feed = replace(one.feed, node="second", source_v=12.0)
    cable = replace(one.segments[0], from_node="second")
    two = replace(one, feed=feed, segments=(cable,))
    inspection = inspect([one, two])
    load = about(inspection, Topic.TRANSFORMER)[0]
    assert load.value == pytest.approx(140.0, abs=0.1)
    assert load.level is Severity.WARNING
    assert [v.level for v in about(inspection, Topic.CIRCUIT)] == [Severity.OK, Severity.OK]


@pytest.mark.parametrize(
    ("source_v", "watts", "level"),
    [
        (12.0, 235.0, Severity.OK),
        (12.0, 245.0, Severity.WARNING),
        (12.0, 305.0, Severity.ERROR),
        (15.0, 370.0, Severity.WARNING),
    ],
)
def test_a_circuit_carries_25_amperes(source_v, watts, level):
    """NEC 411: 25 A are 300 W at 12 V and 375 W at 15 V; from 20 A on, 240 W at 12 V, it is a warning."""
    network = chain(source_v=source_v, at_ft=SHORT_FT, watts=watts, lamp=Lamp.POWER, gauge="6 AWG")
    finding = checked(Topic.CIRCUIT, network)
    assert finding.level is level
    assert finding.value == pytest.approx(watts / source_v, rel=1e-3)


@pytest.mark.parametrize(
    ("source_v", "level"), [(24.0, Severity.OK), (30.0, Severity.OK), (30.1, Severity.ERROR)]
)
def test_a_supply_has_30_volts_or_less(source_v, level):
    """NEC 411: a low-voltage lighting system is supplied with 30 V or less."""
    finding = checked(Topic.SUPPLY, chain(source_v=source_v, rated_v=source_v))
    assert (finding.level, finding.value, finding.limit) == (level, source_v, 30.0)


@pytest.mark.parametrize(
    ("amperes", "plate_a", "level", "limit"),
    [
        (15.9, None, Severity.OK, 16.0),
        (16.1, None, Severity.WARNING, 16.0),
        (20.1, None, Severity.ERROR, 20.0),
        (20.1, 26.0, Severity.OK, 20.8),
    ],
)
def test_a_cable_is_held_against_its_current(amperes, plate_a, level, limit):
    """12 AWG carries 20 A, and 16 A for hours on end; what the cable's plate says prevails."""
    network = chain(at_ft=SHORT_FT, watts=12.0 * amperes, lamp=Lamp.CURRENT)
    network = replace(network, segments=(replace(network.segments[0], ampacity_a=plate_a),))
    finding = checked(Topic.CABLE, network)
    assert finding.level is level
    assert finding.limit == pytest.approx(limit)
    assert finding.place == "feed to n1"


def test_every_cable_over_its_current_is_named_and_a_lead_too():
    """Where several cables carry too much each has its finding; a thin lead is checked by its own gauge."""
    lead = Lead(gauge=parse_gauge("18 AWG"), length_m=0.5)
    network = chain(at_ft=(1.0, 2.0), watts=140.0, lamp=Lamp.CURRENT, lead=lead, rated_va=600.0)
    findings = about(inspect([network]), Topic.CABLE)
    assert {(v.place, v.level) for v in findings} == {
        ("feed to n1", Severity.ERROR),
        ("lead at n1", Severity.ERROR),
        ("lead at n2", Severity.ERROR),
    }


def test_a_thin_metric_conductor_is_a_warning():
    """Copper has 1.5 mm² or more, 1 mm² where it is flexible and no longer than 3 m (IEC 60364-7-715)."""

    def sizes(gauge, lead_m, lead_gauge="1 mm2"):
        lead = Lead(gauge=parse_gauge(lead_gauge), length_m=lead_m)
        network = chain(at_ft=(10.0,), gauge=gauge, lead=lead)  # 3.05 m
        return [v.place for v in about(inspect([network]), Topic.CONDUCTOR)]

    assert sizes("1.5 mm2", 2.9) == []
    assert sizes("1.5 mm2", 3.1) == ["lead at n1"]
    assert sizes("1.5 mm2", 1.0, "1 mm2 solid") == ["lead at n1"]
    assert sizes("1 mm2", 1.0, "0.75 mm2") == ["feed to n1", "lead at n1"]
    assert sizes("16 AWG", 1.0, "18 AWG") == []


def test_the_far_lamps_of_the_hundred_foot_rule_get_too_little():
    """120 W of filament evenly over 100 ft from 12 V: the far lamp has 10.00 V, 54 % of its light."""
    inspection = inspect([chain(at_ft=EVENLY_FT)])
    low = about(inspection, Topic.LAMP_LOW)
    assert (low[0].place, low[0].level, round(low[0].value, 2)) == ("n10", Severity.ERROR, 10.0)
    assert "54 % of its light" in low[0].words  # (10.00 / 12)^3.4 = 0.538
    assert [v.place for v in low] == [f"n{place}" for place in (10, 9, 8, 7, 6, 5, 4)]
    assert inspection.level is Severity.ERROR
    assert inspection.errors("feed") == tuple(low)


def test_the_near_lamp_from_14_v_gets_too_much():
    """From 14 V the near lamp gets too much on cable at 75 °C too: 13.60 V, 0.196 of its rated life."""
    network = chain(source_v=14.0, at_ft=EVENLY_FT)
    warm = inspect([network], Limits(cool_c=75.0))
    high = about(warm, Topic.LAMP_HIGH)[0]
    assert (high.place, high.level) == ("n1", Severity.ERROR)
    assert round(high.value, 2) == TABLE["evenly_from_14_v"]["near_lamp_v"]
    life = about(warm, Topic.LIFE)[0]
    assert life.level is Severity.WARNING
    assert round(filament_life_h(1.0, 13.60), 3) == TABLE["evenly_from_14_v"]["near_lamp_life"]
    # 13.60 is printed to half a hundredth of a volt, and life goes by its 13th power.
    assert life.value == pytest.approx(filament_life_h(1.0, 13.60), rel=13.0 * 0.005 / 13.60)
    assert about(warm, Topic.LAMP_LOW)[0].level is Severity.OK


def test_the_most_volts_are_those_on_cool_cable_with_one_zone_lit():
    """A lamp inside its range with all lit on warm cable is checked by what it gets alone on cool cable."""
    far = FixtureAt(node="n2", zone="big", watts=100.0, lamp=Lamp.CURRENT)
    near = FixtureAt(node="n1", zone="small", watts=5.0, lamp=Lamp.FILAMENT)
    network = replace(chain(source_v=13.0, at_ft=(50.0, 51.0), rated_va=300.0), fixtures=(far, near))
    inspection = inspect([network])
    high = next(v for v in about(inspection, Topic.LAMP_HIGH) if v.place == "n1")
    together_v = inspection.solved[0].lit.lamps[1].volts
    assert together_v < 12.6 < high.value
    assert high.level is Severity.ERROR
    assert "zone lit alone" in high.words


def test_the_most_volts_are_those_of_cool_cable():
    """One zone alone is checked with cable at 20 °C, where a lamp gets more than at 75 °C."""
    network = chain(source_v=13.0, at_ft=EVENLY_FT)
    high = checked(Topic.LAMP_HIGH, network)
    assert high.value == solve(replace(network, temperature_c=20.0)).lamps[0].volts
    assert high.value > solve(network).lamps[0].volts + 0.05


def test_an_led_is_held_against_its_plate_and_a_warning_without():
    """9.32 V is an error for an LED rated from 10 V, ok from 9 V, a warning without a stated range."""
    network = chain(at_ft=EVENLY_FT, lamp=Lamp.POWER, rated_va=300.0)

    def low(**plate):
        return checked(
            Topic.LAMP_LOW, replace(network, fixtures=tuple(replace(f, **plate) for f in network.fixtures))
        )

    assert low(min_v=10.0, max_v=15.0).level is Severity.ERROR
    assert "the driver drops out" in low(min_v=10.0, max_v=15.0).words
    assert low(min_v=9.0, max_v=15.0).level is Severity.OK
    assert low().level is Severity.WARNING
    assert "plate" in low().remedy


@pytest.mark.parametrize(
    ("watts", "levels"),
    [
        (10.8, [Severity.OK, Severity.OK, Severity.OK]),
        (18.1, [Severity.WARNING, Severity.OK, Severity.OK]),
        (18.3, [Severity.WARNING, Severity.WARNING, Severity.OK]),
        (36.5, [Severity.WARNING, Severity.WARNING, Severity.ERROR]),
    ],
)
def test_the_drop_is_held_against_3_and_5_percent_and_the_sites_own(watts, levels):
    """12 AWG carries 10.9, 18.2 and 36.4 W over 100 ft at 3, 5 and 10 % of 12 V, by fixed current."""
    findings = about(inspect([chain(watts=watts, lamp=Lamp.CURRENT)], Limits(drop_percent=10.0)), Topic.DROP)
    assert [v.limit for v in findings] == [3.0, 5.0, 10.0]
    assert [v.level for v in findings] == levels
    assert len({v.value for v in findings}) == 1


def test_a_site_that_asks_for_no_drop_of_its_own_is_held_against_two():
    """Without a limit of the site's own, the two recommendations remain, and neither makes it an error."""
    findings = about(inspect([chain(watts=200.0, lamp=Lamp.CURRENT, rated_va=900.0)]), Topic.DROP)
    assert [(v.limit, v.level) for v in findings] == [(3.0, Severity.WARNING), (5.0, Severity.WARNING)]


def test_evenness_compares_the_dimmest_with_the_brightest():
    """From 14 V the far lamp gives 0.62 of the near one's light: (11.81 ÷ 13.60)^3.4."""
    finding = checked(Topic.SPREAD, chain(source_v=14.0, at_ft=EVENLY_FT))
    assert finding.value == pytest.approx((11.81 / 13.60) ** 3.4, abs=2e-3)
    assert finding.level is Severity.WARNING
    assert finding.place == "n10"


def test_a_network_without_a_solution_is_an_error_with_both_powers():
    """120 W of LED behind 100 ft of 12 AWG from 12 V is an error, with both powers, and no lamp has volts."""
    inspection = inspect([chain(watts=120.0, lamp=Lamp.POWER)])
    finding = about(inspection, Topic.SOLUTION)[0]
    assert finding.level is Severity.ERROR
    assert finding.value == 120.0
    assert finding.limit == pytest.approx(90.9091, abs=1e-3)
    # The lamps' own, as no volts are known.
    assert about(inspection, Topic.TRANSFORMER)[0].value == 120.0
    assert {v.topic for v in inspection.findings} == {Topic.SOLUTION, Topic.TRANSFORMER, Topic.SUPPLY}
    assert about(inspection, Topic.TRANSFORMER)[0].value == 120.0


def test_a_small_garden_is_well_in_everything():
    """Six 4 W LEDs over 40 ft of 12 AWG from 12 V pass every finding."""
    network = chain(at_ft=range(5, 35, 5), watts=3.0, lamp=Lamp.POWER, min_v=10.0, max_v=15.0)
    inspection = inspect([network])
    assert inspection.level is Severity.OK
    assert all(not finding.remedy for finding in inspection.findings)
    assert all(finding.source and finding.words for finding in inspection.findings)


def test_nothing_lit_is_checked_without_lamps():
    """A network without lamps loads nothing and has no finding on lamps."""
    feed = Feed(node="feed", transformer="shed", rated_va=150.0, source_v=12.0)
    cable = CableSegment(from_node="feed", to_node="a", gauge=parse_gauge("12 AWG"), length_m=3.0)
    inspection = inspect([Network(feed=feed, segments=(cable,), fixtures=())])
    assert inspection.level is Severity.OK
    assert about(inspection, Topic.TRANSFORMER)[0].value == 0.0
    assert not about(inspection, Topic.LAMP_LOW)
