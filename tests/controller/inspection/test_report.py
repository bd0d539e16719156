"""The report on a transformer: what is known, what is not, and what there is to buy."""

from __future__ import annotations

import pytest

from config.errors import Severity
from config.file.loader import parse_site
from controller.design.materials import list_materials
from controller.diagnosis.faults import WiringFault
from controller.inspection.findings import Topic
from controller.inspection.report import report_site
from controller.wiring.from_site import build_wiring
from tests.site_of_wiring import PLACE, garden, line, piece


def site_of(text):
    return parse_site(text, "site.toml").site


def report_of(text):
    [report] = report_site(site_of(text))
    return report


def topics(report):
    return {finding.topic for finding in report.inspection.findings}


BARE = (
    f'{PLACE}[[transformers]]\nid = "shed"\nrated_va = 100\n'
    '[[zones]]\nid = "path"\npin = 17\nprogram = ["dusk to midnight"]\n'
    '[[zones.fixtures]]\nkind = "path"\ncount = 8\nwatts = 4.5\n'
)


def test_without_cables_the_load_is_given_and_nothing_about_volts():
    """The load stands; volts, drop, supply and circuit are left out, and the reasons are given."""
    report = report_of(BARE)
    assert topics(report) == {Topic.TRANSFORMER}
    assert report.load.value == pytest.approx(36.0)
    assert report.level is Severity.OK
    assert report.rules == report.proposals == ()
    assert "transformer “shed” has no cables in the file" in report.unknown[0]


def test_an_overloaded_transformer_without_cables_is_an_error():
    """Eight lamps of 14 W on 100 VA pass the rating; 90 W pass only the 80 % line."""
    assert report_of(BARE.replace("watts = 4.5", "watts = 14")).level is Severity.ERROR
    assert report_of(BARE.replace("watts = 4.5", "watts = 11")).level is Severity.WARNING


def test_a_power_factor_makes_volt_amperes_of_watts():
    """36 W at a power factor of 0.9 load the transformer with 40 VA."""
    report = report_of(BARE.replace("watts = 4.5", "watts = 4.5\npower_factor = 0.9"))
    assert report.load.value == pytest.approx(40.0)
    assert not any("power_factor" in words for words in report.unknown)


def test_a_zone_of_which_nothing_is_known_is_named():
    """A load that is not in the file counts as nothing, and that is said."""
    zone = '[[zones]]\nid = "arbour"\npin = 22\nprogram = []\n'
    report = report_of(BARE + zone)
    assert report.load.value == pytest.approx(36.0)
    assert report.loads[1].alone_va is None
    assert "zone “arbour”: its watts are not in the file" in report.unknown[0]


def test_loads_alone_and_together_close():
    """Zones on runs of their own from one tap: what each takes alone on cool cable is near what all take."""
    other = (
        '[[zones]]\nid = "oak"\npin = 22\nprogram = []\n'
        '[[zones.fixtures]]\nkind = "spot"\ncount = 2\nwatts = 12\nnode = "end"\nlamp = "filament"\n'
    )
    report = report_of(garden(cables=line() + piece("boathouse", "end"), rest=other))
    together = sum(load.alone_va for load in report.loads)
    assert report.load.value == pytest.approx(together, rel=0.01)
    assert all(load.placed for load in report.loads)


FILAMENT = 'kind = "path"\ncount = 10\nwatts = 12\nlamp = "filament"'


def test_an_error_gets_advice_and_the_rule_of_thumb():
    """120 W of filament lamps on 100 ft of 12 AWG keep the rule of thumb, and the last gets 10.00 V."""
    report = report_of(garden(cables=line("100 ft"), more="taps = [12, 13, 14, 15]", fixtures=FILAMENT))
    assert report.level is Severity.ERROR
    [rule] = report.rules
    assert rule.rule_kept
    assert not rule.every_lamp_in_range
    # The table of the rule of thumb in the reference: 12 V, evenly, filament, 75 °C.
    assert "gets 10.00 V" in rule.words
    assert report.proposals
    for proposal in report.proposals:
        assert proposal.worst.volts >= 10.8


def test_a_change_of_tap_changes_the_volts():
    """The same lamps from 14 V: the far one gets 11.81 V, as the reference's table has it."""
    report = report_of(garden(cables=line("100 ft"), tap=14, fixtures=FILAMENT))
    assert "gets 11.81 V" in report.rules[0].words


def test_a_bad_splice_is_suggested():
    """Readings that fall behind one light on suggest a splice there."""
    lamps = 'kind = "path"\ncount = 3\nwatts = 12\nlamp = "filament"'
    site = site_of(garden(cables=line("100 ft"), fixtures=lamps))
    lit = report_site(site)[0].inspection.solved[0].lit
    good = [round(state.volts + 0.05, 2) for state in lit.lamps]
    bad = [good[0], good[1] - 0.8, good[2] - 0.8]
    fixtures = f"{lamps}\nmeasured_volts = {bad}"
    report = report_of(garden(cables=line("100 ft"), fixtures=fixtures))
    assert not report.volts[0].agrees
    best = report.diagnosis.explanations[0]
    assert (best.fault, best.places[0].cables) == (WiringFault.SPLICE, (("jetty 1", "jetty 2"),))
    fixtures = fixtures.replace(str(bad), str(good))
    report = report_of(garden(cables=line("100 ft"), fixtures=fixtures))
    assert report.volts[0].agrees
    assert report.diagnosis.all_well


def test_measured_watts_are_set_beside_computed_ones():
    """27 W of lamps lose some watts in the cable; 29 W agree, and 22 W lack a lamp."""
    good = report_of(garden(cables=line(), zone="measured_watts = 29"))
    assert [each.agrees for each in good.watts] == [True]
    dark = report_of(garden(cables=line(), zone="measured_watts = 22"))
    assert "1 of its 6 lamps of 4.5 W may be out" in dark.watts[0].words


def test_materials_add_up():
    """Cable by gauge with its spare, two connectors a splice, and the trench as long as the cables."""
    cables = line("80 ft") + piece("jetty 3", "gate", "10 m", "2.5 mm2")
    rest = '[[zones.fixtures]]\nkind = "spot"\ncount = 2\nwatts = 9\nnode = "gate"\nlead = "3 ft"\n'
    site = site_of(garden(cables=cables, rest=rest) + "[wiring]\nspare_percent = 15\n")
    found = list_materials(site, build_wiring(site))
    assert [(str(each.gauge), round(each.laid, 6), each.buy, each.unit) for each in found.cables] == [
        ("12 AWG", 80.0, 92, "ft"),
        ("2.5 mm2", 10.0, 12, "m"),
    ]
    assert [(str(each.gauge), round(each.laid, 6)) for each in found.leads] == [("18 AWG", 6.0)]
    assert found.trench_m == pytest.approx(80 * 0.3048 + 10.0)
    # By hand: jetty 6 joins two wires; jetty 1, 2, 4, 5 three, and so does the gate; jetty 3 four.
    assert found.connectors == {2: 2, 3: 10, 4: 2}
    assert [(each.kind, count) for each, count in found.fixtures.items()] == [("path", 6), ("spot", 2)]


def test_a_string_of_lamps_is_spliced_once():
    """Ten bulbs on a cord of their own take one pair of wires."""
    fixtures = 'kind = "string"\ncount = 10\nwatts = 5\nnode = "table"'
    site = site_of(garden(cables=piece("boathouse", "table"), fixtures=fixtures))
    assert list_materials(site, build_wiring(site)).connectors == {2: 2}
