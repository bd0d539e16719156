"""Transformers as they are: the volts measured at a tap are what is computed from."""

from __future__ import annotations

import pytest

from config.errors import Severity
from config.file.loader import parse_site
from controller.inspection.findings import Topic
from controller.inspection.report import report_site
from controller.wiring.network import Feed
from tests.site_of_wiring import garden, line

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
