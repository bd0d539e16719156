"""What relays, connectors and conduits bear: each held against the worst case of what is computed.

Cold filaments and transformers take 10 to 15 times their current for a moment (several technical texts); LED
drivers about 10 times by common practice, without a source.
"""

from __future__ import annotations

import pytest

from config.errors import Severity
from config.file.loader import parse_site
from controller.inspection.findings import Topic
from controller.inspection.report import Standing, report_site
from tests.site_of_wiring import garden, line, piece

FILAMENTS = 'kind = "spot"\ncount = 6\nwatts = 10\nlamp = "filament"'
LEDS = 'kind = "spot"\ncount = 6\nwatts = 10\nvolts = [9, 15]'


def report_of(text):
    [report] = report_site(parse_site(text, "site.toml").site)
    return report


def about(report, topic):
    return [each for each in report.inspection.findings if each.topic is topic]


def with_contact(keys, fixtures, **more):
    return report_of(garden(cables=line("2 ft"), fixtures=fixtures, zone=keys, **more))


@pytest.mark.parametrize(("contact_a", "level"), [(5.1, Severity.OK), (4.8, Severity.ERROR)])
def test_a_contact_is_held_against_the_current_of_its_zone(contact_a, level):
    """60 W at 12 V are 5 A, and a contact for less is an error."""
    report = with_contact(f"contact_a = {contact_a}", LEDS)
    [found] = about(report, Topic.CONTACT)
    assert found.level is level
    # Two feet of cable take 0.02 V on the way.
    assert found.value == pytest.approx(5.0, abs=0.02)
    assert found.place == "relay of zone “jetty”"


@pytest.mark.parametrize(
    ("keys", "fixtures", "limit_a", "level"),
    [
        # Six 10 W filaments take 5 A, and up to 75 A when they are cold; LEDs 50 A.
        ("contact_a = 10", FILAMENTS, 10.0, Severity.WARNING),
        ("contact_a = 10\ncontact_inrush_a = 80", FILAMENTS, 80.0, Severity.OK),
        ("contact_a = 10\ncontact_inrush_a = 60", FILAMENTS, 60.0, Severity.WARNING),
        ("contact_a = 10\ncontact_inrush_a = 60", LEDS, 60.0, Severity.OK),
    ],
)
def test_inrush_is_held_against_what_the_contact_takes_for_a_moment(keys, fixtures, limit_a, level):
    """Cold filaments take 15 times their current, drivers 10 times; too much for the contact is a warning."""
    [found] = about(with_contact(keys, fixtures), Topic.INRUSH)
    assert (found.level, found.limit) == (level, limit_a)
    assert found.value == pytest.approx(75.0 if fixtures == FILAMENTS else 50.0, rel=0.01)
    assert "for a moment when it is switched on" in found.words


def test_a_rating_for_lamps_allows_for_their_inrush():
    """Where the contact is rated for lamps, only the current while lit is judged."""
    report = with_contact('contact_a = 10\ncontact_load = "lamps"', FILAMENTS)
    assert about(report, Topic.CONTACT)
    assert not about(report, Topic.INRUSH)


def test_a_relay_before_the_transformer_switches_its_rating():
    """200 VA at 230 V are 0.87 A, and up to 13 A for some cycles whatever the lamps are."""
    text = garden(
        cables=line("2 ft"),
        fixtures=LEDS,
        more='relay_side = "mains"\nmains_volts = 230',
        zone='contact_a = 10\ncontact_load = "lamps"',
    )
    report = report_of(text)
    [contact], [inrush] = about(report, Topic.CONTACT), about(report, Topic.INRUSH)
    assert contact.value == pytest.approx(200.0 / 230.0)
    assert inrush.value == pytest.approx(15.0 * 200.0 / 230.0)
    assert inrush.level is Severity.WARNING


def test_the_worst_case_of_a_zone_counts():
    """Drivers that get fewer volts draw more: judged is the zone among all that is lit on warm cable."""
    other = (
        '[[zones]]\nid = "oak"\npin = 22\nprogram = []\n'
        '[[zones.fixtures]]\nkind = "spot"\ncount = 4\nwatts = 20\nvolts = [8, 15]\nnode = "jetty 6"\n'
    )
    report = report_of(garden(cables=line("40 ft"), fixtures=LEDS, zone="contact_a = 5.4", rest=other))
    [found] = about(report, Topic.CONTACT)
    lit = report.inspection.solved[0].lit
    assert found.value == sum(each.amperes for each in lit.lamps if each.fixture.zone == "jetty")
    assert found.level is Severity.ERROR
    assert "with everything lit and the cable at 75 °C" in found.words


def test_what_is_not_known_of_the_contacts_is_said_with_the_inrush():
    """Without a rating nothing is judged, and the report says how much the relay gets for a moment."""
    report = with_contact("", FILAMENTS)
    assert not about(report, Topic.CONTACT)
    [said] = [each for each in report.unknown if "contact_a" in each]
    assert "zone “jetty” takes up to 75 A for a moment" in said
    assert not [each for each in with_contact("contact_a = 10", FILAMENTS).unknown if "contact_a" in each]


@pytest.mark.parametrize(
    ("site_a", "cable_a", "level"),
    [("6", "", Severity.OK), ("4.9", "", Severity.ERROR), ("4.9", "connector_a = 6", Severity.OK)],
)
def test_connectors_are_held_against_the_current_of_their_cable(site_a, cable_a, level):
    """Every connector of the site, or of one cable, bears the 5 A that go through it, or it is an error."""
    text = garden(cables=piece("boathouse", "gate", "2 ft", more=cable_a), fixtures=f'{LEDS}\nnode = "gate"')
    [found] = about(report_of(f"{text}[wiring]\nconnector_a = {site_a}\n"), Topic.CONNECTOR)
    assert found.level is level
    assert found.value == pytest.approx(5.0, abs=0.02)


def test_connectors_of_which_nothing_is_known_are_not_judged():
    """Without a rating in the file there is nothing to compare with."""
    assert not about(with_contact("", LEDS), Topic.CONNECTOR)


@pytest.mark.parametrize(
    ("gauge", "cables", "limit_a"),
    [
        # NEC 310.15(C)(1), two conductors a cable: 4 and 6 of them 80 %, 8 70 %, 10 to 20 50 %, 22 45 %.
        ("12 AWG", 1, 20.0), ("12 AWG", 2, 16.0), ("12 AWG", 3, 16.0), ("12 AWG", 4, 14.0),
        ("12 AWG", 5, 10.0), ("12 AWG", 10, 10.0), ("12 AWG", 11, 9.0),
        # IEC 60364-5-52 table B.52.17, by circuits: two 80 %, three 70 %, six 57 %.
        ("2.5 mm2", 2, 22.4), ("2.5 mm2", 3, 19.6), ("2.5 mm2", 6, 15.96),
    ],
)  # fmt: skip
def test_cables_in_one_conduit_carry_less(gauge, cables, limit_a):
    """Cables bunched in a conduit warm each other, and each may carry only a part of its current."""
    text = garden(
        cables=piece("boathouse", "gate", "2 ft", gauge, more=f"cables_in_conduit = {cables}"),
        fixtures='kind = "spot"\ncount = 10\nwatts = 18\nvolts = [9, 15]\nnode = "gate"',
    )
    report = report_of(text)
    [found] = about(report, Topic.CABLE)
    # 180 W at 12 V are 15 A.
    level = Severity.ERROR if limit_a < 15 else Severity.WARNING if 0.8 * limit_a < 15 else Severity.OK
    assert found.level is level
    assert found.limit == pytest.approx(limit_a if level is Severity.ERROR else 0.8 * limit_a)
    assert (f"one of {cables} cables in a conduit" in found.words) == (cables > 1)
    assert ("B.52.17" in found.source, "310.15(C)(1)" in found.source) == (
        gauge == "2.5 mm2",
        gauge == "12 AWG" and cables > 1,
    )


def test_the_legs_of_a_hub_leave_the_conduit():
    """The home run to a hub lies in the conduit, and its legs part from there."""
    hub = (
        '[[cables]]\nfrom = "boathouse"\nhub = "jetty"\ngauge = "12 AWG"\nlength = "20 ft"\n'
        'legs = ["5 ft", "6 ft"]\ncables_in_conduit = 3\n'
    )
    report = report_of(garden(cables=hub, fixtures='kind = "spot"\ncount = 2\nwatts = 9'))
    limits = [cable.limit_a for cable in report.wiring.networks[0].segments]
    assert limits == [16.0, 20.0, 20.0]


def test_dimmed_lamps_are_outside_the_model_and_may_get_fewer_volts():
    """What a dimmer does is not computed, and said so; 6 V at such a lamp is no error, 16 V is."""
    lamps = 'kind = "path"\ncount = 6\nwatts = 4.5\nvolts = [10, 15]\ndimmed = true\nmeasured_volts = '
    for volts, level in (("6.0", Severity.OK), ("16.0", Severity.ERROR)):
        report = report_of(garden(cables=line("20 ft"), fixtures=lamps + volts))
        assert report.level is level
        assert any("lamps of “jetty” are dimmed" in each for each in report.unknown)
    report = report_of(garden(cables=line("20 ft"), fixtures=lamps + "6.0"))
    assert report.volts == (None,)
    assert {each.standing for each in report.lights(0)} == {Standing.INSIDE}
