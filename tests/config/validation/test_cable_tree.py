"""Rings and cables side by side: what the check takes, and what would join two supplies."""

from __future__ import annotations

import pytest

from config.file.loader import parse_site
from controller.wiring.from_site import build_wiring
from tests.config.models.test_cables import cable, one_site, told
from tests.config.site_texts import warnings_of

BARN = '[[transformers]]\nid = "barn"\nrated_va = 100\ntap = 12'
LINE = '[[cables]]\nfrom = "shed"\nline = "oak"\ngauge = "12 AWG"\nlength = "80 ft"\n'
HUB = '[[cables]]\nfrom = "shed"\nhub = "oak"\ngauge = "12 AWG"\nlength = "80 ft"\nlegs = ["3 m", "3 m"]\n'


@pytest.mark.parametrize(
    ("cables", "fixtures"),
    [
        pytest.param(cable("shed", "a") * 2, 'count = 1\nnode = "a"', id="side by side"),
        pytest.param(
            cable("shed", "a") + cable("a", "b") + cable("shed", "b"), 'count = 1\nnode = "a"', id="ring"
        ),
        pytest.param(
            cable("c", "a") + cable("b", "c") + cable("a", "b") + cable("shed", "a"),
            'count = 1\nnode = "b"',
            id="ring on a run, written backwards",
        ),
        pytest.param(LINE + cable("shed", "oak 4"), "count = 4", id="line fed at both ends"),
        pytest.param(cable("shed", "oak 4") + LINE, "count = 4", id="the same, the other cable first"),
        pytest.param(LINE + cable("oak 2", "oak 4"), "count = 4", id="bridge along a line"),
        pytest.param(HUB + cable("shed", "oak"), "count = 2", id="second cable to a hub"),
        pytest.param(HUB + cable("oak 1", "oak 2"), "count = 2", id="legs joined"),
    ],
)
def test_a_ring_is_taken_without_a_word(cables, fixtures):
    """Two cables may lead to one node: side by side, as a ring, to a line's light, to a hub."""
    text = one_site(cables, fixtures)
    assert told(text) == []
    assert warnings_of(text) == []


@pytest.mark.parametrize(
    ("cables", "fixtures", "transformers", "noun"),
    [
        (cable("shed", "hub") + cable("barn", "hub"), 'count = 1\nnode = "hub"', BARN, "transformer"),
        (cable("shed", "hub") + cable("shed", "hub") + "tap = 14\n", 'count = 1\nnode = "hub"', "", "tap"),
        (
            cable("shed", "a") + cable("shed", "b") + "common = 2\n" + cable("a", "c") + cable("b", "c"),
            'count = 1\nnode = "c"',
            "commons = 2",
            "common",
        ),
        (LINE + cable("shed", "oak 2") + "tap = 13\n", "count = 2", "", "tap"),
    ],
)
def test_cables_from_two_supplies_may_not_meet(cables, fixtures, transformers, noun):
    """What joins two taps, two commons or two transformers is reported once, with the other's line."""
    [problem] = told(one_site(cables, fixtures, transformers=transformers))
    assert f"supplies from another {noun}; begin both at the same {noun}, or keep them apart" in problem


def test_the_usual_tap_and_the_first_common_need_not_be_written():
    """A cable that names the usual tap and common 1 may meet one that names neither."""
    cables = cable("shed", "hub") + cable("shed", "hub") + "tap = 12.0\ncommon = 1\n"
    assert told(one_site(cables, 'count = 1\nnode = "hub"')) == []


def test_two_taps_of_the_same_volts_are_taken():
    """Some transformers have several terminals of the same volts."""
    text = one_site(cable("shed", "hub"), 'count = 1\nnode = "hub"', transformers="taps = [12, 12, 13]")
    assert told(text) == []


def test_a_ring_with_the_lights_of_two_zones_is_one_run():
    """The two cables of a ring are lit together: lights of two zones on them get the warning of one run."""
    other = '[[zones]]\nid = "elm"\ntransformer = "shed"\npin = 22\nprogram = ["dusk to midnight"]\n'
    other += '[[zones.fixtures]]\nkind = "spot"\ncount = 1\nwatts = 5\nnode = "b"\n'
    cables = cable("shed", "a") + cable("shed", "b")
    assert warnings_of(one_site(cables, 'count = 1\nnode = "a"', zones=other)) == []
    [warning] = warnings_of(one_site(cables + cable("a", "b"), 'count = 1\nnode = "a"', zones=other))
    assert "carries lights of “oak” and “elm”" in warning


def test_two_cables_to_a_node_without_lights_are_one_warning():
    """Cables side by side to nothing are reported once; the far corner of a ring is no dead end."""
    lamp = 'count = 1\nnode = "a"'
    [warning] = warnings_of(one_site(cable("shed", "a") + cable("a", "b") * 2, lamp))
    assert "leads to no light" in warning
    assert warnings_of(one_site(cable("shed", "a") + cable("a", "b") + cable("shed", "b"), lamp)) == []


def test_several_cables_make_up_a_line(cable_nodes):
    """Two lights on the first cable and the others on the second are the same nodes as one cable's."""
    first = LINE.replace("80 ft", "40 ft") + "lights = 2\n"
    second = LINE.replace('"shed"', '"oak 2"').replace("80 ft", "40 ft")
    assert cable_nodes(first + second) == cable_nodes(LINE)


@pytest.fixture
def cable_nodes():
    def nodes(cables):
        site = parse_site(one_site(cables, "count = 4"), "site.toml").site
        [wiring] = build_wiring(site)
        [network] = wiring.networks
        return [(each.from_node, each.to_node, round(each.length_m, 9)) for each in network.segments]

    return nodes
