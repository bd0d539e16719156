"""What a transformer's regulation and its commons mean for the findings."""

from __future__ import annotations

from dataclasses import replace

import pytest

from config.errors import Severity
from config.file.loader import parse_site
from controller.inspection.advice import advise
from controller.inspection.checks import inspect
from controller.inspection.findings import Topic
from controller.inspection.report import Standing, report_site
from controller.inspection.states import solve_states
from controller.wiring.network import Lamp, Limits
from controller.wiring.solver import solve
from tests.controller.networks import chain
from tests.site_of_wiring import garden, line, piece

FILAMENT = 'kind = "path"\ncount = 6\nwatts = 4.5\nlamp = "filament"'


def with_regulation(network, regulation, **more):
    return replace(network, feed=replace(network.feed, regulation=regulation, **more))


def report_of(text):
    [report] = report_site(parse_site(text, "site.toml").site)
    return report


def about(report, topic):
    return [each for each in report.inspection.findings if each.topic is topic]


def test_the_most_volts_rise_by_the_regulation():
    """15 VA of 150 on a tap of 12 V with 10 %: 12 × (1 + 0.10 × 0.9) = 13.08 V, by hand."""
    network = with_regulation(chain(at_ft=(0.001,), watts=15.0, lamp=Lamp.CURRENT), 0.10)
    [one] = solve_states([network], Limits())
    assert one.most_v == pytest.approx((13.08,), abs=1e-3)
    assert one.sure_v == one.most_v


def test_an_unknown_regulation_counts_for_the_most_volts_only():
    """Where it is not known, the fewest volts and loads are without any rise, the most with 10 %."""
    ideal = chain(at_ft=(20.0, 40.0), watts=12.0)
    [unknown] = solve_states([with_regulation(ideal, None)], Limits())
    [none], [assumed] = (solve_states([with_regulation(ideal, part)], Limits()) for part in (0.0, 0.10))
    assert [lamp.volts for lamp in unknown.lit.lamps] == [lamp.volts for lamp in none.lit.lamps]
    assert unknown.sure_v == none.most_v
    assert unknown.most_v == assumed.most_v
    assert [each.source_va for each in unknown.cases.values()] == [
        each.source_va for each in none.cases.values()
    ]


def test_the_other_taps_count_in_the_fewest_volts():
    """A tap whose own lamps are few has fewer volts while another tap of its transformer is loaded."""
    small = with_regulation(chain(at_ft=(10.0,), watts=10.0), 0.10)
    large = with_regulation(chain(at_ft=(10.0,), watts=100.0, zone="other"), 0.10)
    one, _ = solve_states([small, large], Limits())
    assert one.lit.feed_v < solve(small).feed_v - 0.5
    # With its zone alone the other tap is dark.
    assert one.most_v[0] > one.lit.lamps[0].volts + 0.5


def test_volts_that_only_an_assumed_rise_makes_too_many_are_a_warning_without_advice():
    """12 V bulbs on a 12 V tap may get over 12.6 V on light load: a warning that says how to find out."""
    report = report_of(garden(cables=line("20 ft"), fixtures=FILAMENT))
    highs = about(report, Topic.LAMP_HIGH)
    assert {each.level for each in highs} == {Severity.WARNING}
    assert "rise by 10 % without load, as is assumed" in highs[0].words
    assert "no_load_volts" in highs[0].remedy
    assert report.proposals == ()
    assert not report.without_advice
    assert any("“boathouse” rise without load is not known" in each for each in report.unknown)


@pytest.mark.parametrize(
    ("key", "level"),
    [("regulation_percent = 3", Severity.OK), ("regulation_percent = 12", Severity.ERROR)],
)
def test_a_known_regulation_is_held_against_the_range(key, level):
    """The same bulbs with 3 % are inside their range, and with 12 % it is an error; nothing is unknown."""
    report = report_of(garden(cables=line("20 ft"), fixtures=FILAMENT, more=key))
    assert max((each.level for each in about(report, Topic.LAMP_HIGH)), key=lambda each: each.rank) is level
    assert not any("rise without load" in each for each in report.unknown)


def test_measured_volts_say_how_far_they_rise():
    """12.6 V without load and 12 V at the rated load are 5 %; all taps are as the one measured."""
    first = report_of(garden(cables=line(), more="no_load_volts = 12.6")).wiring.networks[0].feed
    assert (first.regulation, first.full_load_v) == pytest.approx((0.05, 12.0))
    more = "no_load_volts = 12.54\nfull_load_volts = 11.4\ntaps = [12, 15]"
    cables = line() + piece("boathouse", "gate", more="tap = 15")
    rest = '[[zones.fixtures]]\nkind = "spot"\ncount = 1\nwatts = 9\nnode = "gate"\n'
    low, high = (each.feed for each in report_of(garden(cables=cables, more=more, rest=rest)).wiring.networks)
    assert (low.regulation, low.full_load_v, low.no_load_v) == pytest.approx((0.10, 11.4, 12.54))
    assert (high.regulation, high.full_load_v) == pytest.approx((0.10, 15.0 * 11.4 / 12.0))


def test_an_led_without_a_range_is_not_judged_by_two_assumptions():
    """On a 12 V tap it is inside its assumed range, whatever the transformer's unknown rise."""
    report = report_of(garden(cables=line("20 ft")))
    assert {each.level for each in about(report, Topic.LAMP_HIGH)} == {Severity.OK}
    assert {each.standing for each in report.lights(0)} == {Standing.INSIDE}


@pytest.mark.parametrize(
    ("known", "common", "circuits"),
    [
        (True, 1, [(26.0, Severity.ERROR)]),
        (True, 2, [(13.0, Severity.OK)] * 2),
        (False, 1, [(13.0, Severity.OK)] * 2),
    ],
)
def test_a_common_carries_the_current_of_all_its_taps(known, common, circuits):
    """13 A from each of two taps are an error on one common of 25 A; not on two, or where none is written."""
    load = chain(at_ft=(1.0,), watts=156.0, lamp=Lamp.CURRENT, rated_va=1000.0)
    first = replace(load, feed=replace(load.feed, commons_known=known))
    cable, lamp = replace(load.segments[0], from_node="two", to_node="t"), replace(load.fixtures[0], node="t")
    feed = replace(first.feed, node="two", source_v=13.0, common=common)
    second = replace(load, feed=feed, segments=(cable,), fixtures=(lamp,))
    found = [each for each in inspect([first, second]).findings if each.topic is Topic.CIRCUIT]
    assert [(round(each.value, 6), each.level) for each in found] == circuits


def test_the_limit_of_a_common_is_the_transformers_own():
    """A transformer whose commons are fused at 10 A has an error at 13 A, on a tap of any volts."""
    more = "commons = 2\ncommon_limit_a = 10"
    fixtures = 'kind = "spot"\ncount = 1\nwatts = 156\ndriver = "linear"\nnode = "gate"'
    report = report_of(
        garden(cables=piece("boathouse", "gate", "3 ft", "6 AWG"), more=more, fixtures=fixtures)
    )
    [circuit] = about(report, Topic.CIRCUIT)
    assert (circuit.level, circuit.limit) == (Severity.ERROR, 10.0)


def test_advice_does_not_answer_an_assumption():
    """Bulbs that are only warned of for an assumed rise get no proposals."""
    network = with_regulation(chain(at_ft=(10.0,), watts=12.0), None)
    assert any(each.assumed for each in inspect([network]).findings)
    assert advise([network], taps_v=(11.0, 12.0)) == ()
