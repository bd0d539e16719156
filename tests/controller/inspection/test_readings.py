"""Measured volts count: a reading outside a lamp's range is an error, whatever was computed for the lamp."""

from __future__ import annotations

import pytest

from config.errors import Severity
from config.file.loader import parse_site
from controller.inspection.findings import Topic
from controller.inspection.report import Standing, report_site
from tests.site_of_wiring import garden, line, piece


def report_of(text):
    [report] = report_site(parse_site(text, "site.toml").site)
    return report


def readings(report):
    return [each for each in report.inspection.findings if each.topic is Topic.READING]


LED = 'kind = "path"\ncount = 6\nwatts = 4.5'


@pytest.mark.parametrize(
    ("lamp", "measured", "level", "words"),
    [
        ("volts = [10, 15]", "6.0", Severity.ERROR, "it is made for 10 to 15 V"),
        ("volts = [10, 15]", "16.0", Severity.ERROR, "it is made for 10 to 15 V"),
        ("volts = [10, 15]", "11.5", Severity.OK, "it is made for 10 to 15 V"),
        # Without a range 0.90 to 1.05 of 12 V is assumed; beyond 25 % of 12 V (9 and 15 V) it is an error.
        ("", "8.9", Severity.ERROR, "its rated volts are 12 V"),
        ("", "9.1", Severity.WARNING, "10.8 to 12.6 V is assumed for it"),
        ("", "14.9", Severity.WARNING, "10.8 to 12.6 V is assumed for it"),
        ("", "15.1", Severity.ERROR, "its rated volts are 12 V"),
        ('lamp = "filament"', "10.7", Severity.ERROR, "it is made for 10.8 to 12.6 V"),
        ("volts = [10, 15]", "0.0", Severity.ERROR, "0.00 V was measured at “path” at “jetty 6”"),
    ],
)
def test_a_reading_is_held_against_the_range_of_its_lamp(lamp, measured, level, words):
    """Outside the range on its plate is an error; of an LED without one, beyond 25 % of its rated volts."""
    report = report_of(garden(cables=line("20 ft"), fixtures=f"{LED}\n{lamp}\nmeasured_volts = {measured}"))
    [found] = readings(report)
    assert found.level is level
    assert words in found.words
    assert report.level is level
    assert bool(found.remedy) is (level is not Severity.OK)


def test_each_of_several_readings_counts_at_one_node_too():
    """Of the readings of three lamps at one node, the one too high and the one too low are both found."""
    lamps = 'kind = "path"\ncount = 3\nwatts = 4.5\nvolts = [10, 15]\nnode = "gate"\n'
    report = report_of(
        garden(cables=piece("boathouse", "gate"), fixtures=f"{lamps}measured_volts = [11.8, 16.0, 9.0]")
    )
    assert sorted(each.value for each in readings(report)) == [9.0, 16.0]


def test_a_reading_counts_without_any_cable_in_the_file():
    """The homeowner who wrote down no cable but measured 6 V is told so."""
    report = report_of(garden(fixtures=f"{LED}\nvolts = [10, 15]\nmeasured_volts = 6.0"))
    [found] = readings(report)
    assert found.level is report.level is Severity.ERROR
    assert found.words == "6.00 V was measured at “path” at “jetty”; it is made for 10 to 15 V"


def test_a_light_says_that_other_volts_were_measured():
    """Beside a lamp stands that it was measured too low, not that what was computed is inside its range."""
    report = report_of(
        garden(
            cables=line("20 ft"),
            fixtures=f"{LED}\nvolts = [10, 15]\nmeasured_volts = [11.8, 6.0, 16.0, 11.8, 11.8, 11.8]",
        )
    )
    assert [each.standing for each in report.lights(0)][:4] == [
        Standing.INSIDE,
        Standing.READ_LOW,
        Standing.READ_HIGH,
        Standing.INSIDE,
    ]


def test_no_change_of_the_cables_is_said_to_mend_a_reading():
    """A reading that is wrong where all that was computed is right asks for no other lamps or transformer."""
    report = report_of(
        garden(cables=line("20 ft"), fixtures=f"{LED}\nvolts = [10, 15]\nmeasured_volts = 6.0")
    )
    assert not report.proposals
    assert not report.without_advice
