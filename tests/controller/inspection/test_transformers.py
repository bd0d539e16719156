"""Transformers as they are: the volts measured at a tap are what is computed from; commons have limits."""

from __future__ import annotations

import pytest

from config.errors import Severity
from config.file.loader import parse_site
from controller.inspection.findings import Topic
from controller.inspection.report import report_site
from controller.wiring.network import Feed
from controller.wiring.solver import solve_all
from tests.site_of_wiring import garden, line, piece

LEDS = 'kind = "path"\ncount = 6\nwatts = 20\nvolts = [10, 15]'


def report_of(text):
    [report] = report_site(parse_site(text, "site.toml").site)
    return report


def lit_of(report):
    return [one.lit for one in report.inspection.solved]


@pytest.mark.parametrize("regulation", ["", "regulation_percent = 10"])
def test_volts_measured_at_the_tap_are_those_that_are_computed_from(regulation):
    """With 12.3 V measured at the tap, everything lit, it has 12.3 V then, whatever its regulation is."""
    more = f"measured_volts = 12.3\n{regulation}"
    report = report_of(garden(cables=line("40 ft"), fixtures=LEDS, more=more))
    [lit] = lit_of(report)
    assert lit.feed_v == pytest.approx(12.3, abs=1e-6)
    same = report_of(garden(tap=12.3, cables=line("40 ft"), fixtures=LEDS))
    volts = [lamp.volts for lamp in lit_of(same)[0].lamps]
    assert [lamp.volts for lamp in lit.lamps] == pytest.approx(volts, abs=1e-6)


def test_a_tap_measured_far_too_low_makes_lamps_fail():
    """9 V at the tap of 12 V leave lamps of 10 to 15 V too few, and that is an error."""
    report = report_of(garden(cables=line("20 ft"), fixtures=LEDS, more="measured_volts = 9"))
    assert report.level is Severity.ERROR
    assert {each.topic for each in report.inspection.errors()} == {Topic.LAMP_LOW}


def test_the_volts_rise_from_the_measured_ones_when_less_is_lit():
    """A transformer of 10 % at 60 % of its load has 12.3 V; with nothing lit it has by hand 12.98 V.

    As a voltage E behind a resistance R: E − R · 120 VA ÷ 12.3 V = 12.3 V, and R drops a tenth of the volts
    at 200 VA: E = 1.1 V, R = 0.1 V² ÷ 200 VA for V volts at full load.
    """
    feed = Feed(
        node="a", transformer="a", rated_va=200.0, source_v=12.0,
        regulation=0.1, full_load=12.3 / 12.0, at_load=0.6,
    )  # fmt: skip
    rated_v = feed.full_load_v
    ohm = 0.1 * rated_v**2 / 200.0
    amperes = 0.6 * 200.0 / 12.3
    assert feed.no_load_v - ohm * amperes == pytest.approx(12.3, abs=1e-9)
    assert feed.no_load_v == pytest.approx(12.9791, abs=1e-3)


@pytest.mark.parametrize("more", ["", "regulation_percent = 10"])
def test_measured_volts_do_not_rise_while_the_same_is_lit(more):
    """With one zone, it gets alone what was measured with everything lit, but for the cooler cable."""
    report = report_of(garden(cables=line("40 ft"), fixtures=LEDS, more=f"measured_volts = 12.3\n{more}"))
    [one] = report.inspection.solved
    assert max(one.most_v) < 12.3
    assert max(one.most_v) == pytest.approx(max(lamp.volts for lamp in one.lit.lamps), abs=0.1)


def test_what_is_measured_at_one_tap_tells_of_the_others():
    """Where 12.6 V were measured at 12 V, the mains are 5 % high, and so is the 13 V tap."""
    cables = piece("boathouse", "gate") + piece("boathouse", "oak", more="tap = 13")
    rest = '[[zones.fixtures]]\nkind = "spot"\ncount = 2\nwatts = 9\nvolts = [9, 16]\nnode = "oak"\n'
    report = report_of(
        garden(
            cables=cables,
            more="taps = [12, 13]\nmeasured_volts = 12.6\nregulation_percent = 8",
            fixtures=f'{LEDS}\nnode = "gate"',
            rest=rest,
        )
    )
    lit = lit_of(report)
    assert [each.feed_v for each in lit] == pytest.approx([12.6, 13.65], abs=1e-6)
    again = solve_all([each.network for each in lit])
    assert [each.feed_v for each in again] == pytest.approx([12.6, 13.65], abs=1e-6)


def spread(commons, second):
    """180 W on each of two runs, 15 A each, the second from another tap or common."""
    lamps = 'kind = "spot"\ncount = 6\nwatts = 30\nvolts = [9, 16]\nnode = '
    return garden(
        more=f"taps = [12, 13]\n{commons}",
        cables=piece("boathouse", "gate", "0.5 ft", "8 AWG")
        + piece("boathouse", "oak", "0.5 ft", "8 AWG", more=second),
        fixtures=f'{lamps}"gate"',
        rest=f'[[zones.fixtures]]\n{lamps}"oak"\n',
    ).replace("rated_va = 200", "rated_va = 600")


@pytest.mark.parametrize(
    ("commons", "second", "amperes", "level"),
    [
        # 360 W at 12 V are 30 A; 180 W 15 A at 12 V and 13.85 A at 13 V.
        ("commons = 2", "", [30.0], Severity.ERROR),
        ("commons = 2", "common = 2", [15.0, 15.0], Severity.OK),
        ("commons = 2", "tap = 13", [28.85], Severity.ERROR),
        ("commons = 2", "tap = 13\ncommon = 2", [15.0, 13.85], Severity.OK),
        # Where it is not said which commons there are, each tap is a circuit of its own.
        ("", "tap = 13", [15.0, 13.85], Severity.OK),
        ("commons = 2\ncommon_limit_a = 14", "common = 2", [15.0, 15.0], Severity.ERROR),
    ],
)
def test_each_common_has_a_limit_over_all_its_taps(commons, second, amperes, level):
    """NEC 411: 25 A, or what the transformer says, for a common with its taps; each common for itself."""
    found = [
        each for each in report_of(spread(commons, second)).inspection.findings if each.topic is Topic.CIRCUIT
    ]
    assert [each.value for each in found] == pytest.approx(amperes, abs=0.1)
    assert {each.level for each in found} == {level}
