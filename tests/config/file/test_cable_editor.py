"""Changes of cables in the site file: what is written, and that all the rest stays."""

from __future__ import annotations

import pytest

from config.errors import SiteFileError
from config.file.cable_editor import write_changes
from config.file.loader import parse_site
from config.models.cable_changes import AddTransformer, LayGauge, LayRun, MoveToTap, Terminal
from config.models.cables import parse_gauge
from tests.site_of_wiring import garden, line, piece

TEN = parse_gauge("10 AWG")
TAPS = "taps = [12, 13, 14]\ncommons = 2"
HUB = (
    '[[cables]]\nfrom = "boathouse"\nhub = "jetty"  # under the stone\ngauge = "12 AWG"\nlength = "40 ft"\n'
    'legs = ["6 ft", "9 ft", "12 ft", "6 ft", "9 ft", "12 ft"]\n'
)


def write(tmp_path, text, *changes):
    """Write changes into a file; give the cables as plain tables, and the file's new text."""
    path = tmp_path / "site.toml"
    path.write_text(text)
    site = write_changes(path, parse_site(text, "site.toml").site, changes).site
    tables = [
        cable.model_dump(exclude_unset=True, exclude={"gauge", "length_m"}) | {"gauge": str(cable.gauge)}
        for cable in site.cables
    ]
    return tables, path.read_text()


def run(node, *, table=0, cut_from="", instead_of="", tap_v=12.0):
    return LayRun(
        table=table,
        node=node,
        cut_from=cut_from,
        instead_of=instead_of,
        gauge=TEN,
        length_m=12.192,
        terminal=Terminal(tap_v=tap_v),
    )


def test_a_part_of_a_line_that_is_laid_anew_becomes_a_cable_of_the_same_line(tmp_path):
    """Two of six lights on thicker cable: two cables of one line, the second from the second light."""
    change = LayGauge(table=0, ends=("jetty 1", "jetty 2"), gauge=TEN, length_m=6.096)
    tables, text = write(tmp_path, garden(cables=line("60 ft", more="# along the edge")), change)
    assert tables == [
        {"begins": "boathouse", "line": "jetty", "lights": 2, "gauge": "10 AWG"},
        {"begins": "jetty 2", "line": "jetty", "lights": 4, "gauge": "12 AWG"},
    ]
    assert 'length = "20 ft"' in text
    assert 'length = "40 ft"' in text
    assert "# along the edge" in text


def test_a_whole_line_only_gets_another_gauge(tmp_path):
    """Where all of a line is laid anew, one value changes."""
    before = garden(cables=line("60 ft"))
    ends = tuple(f"jetty {place}" for place in range(1, 7))
    _, text = write(tmp_path, before, LayGauge(table=0, ends=ends, gauge=TEN, length_m=18.288))
    assert text == before.replace("12 AWG", "10 AWG")


def test_a_second_run_into_a_line_parts_it(tmp_path):
    """A run to the fourth of six lights: three lights, one light by the run, and two behind it."""
    change = run("jetty 4", cut_from="jetty 3", tap_v=13.0)
    tables, _ = write(tmp_path, garden(more=TAPS, cables=line("60 ft")), change)
    assert tables == [
        {"begins": "boathouse", "line": "jetty", "lights": 3, "gauge": "12 AWG"},
        {"begins": "boathouse", "line": "jetty", "lights": 1, "gauge": "10 AWG", "tap": 13.0},
        {"begins": "jetty 4", "line": "jetty", "lights": 2, "gauge": "12 AWG"},
    ]


def test_a_feed_that_moves_turns_cables_round(tmp_path):
    """A home run to the third of three nodes: the pieces before it lead back, each in its own table."""
    cables = piece("boathouse", "a") + piece("a", "b", "10 ft") + piece("b", "c", "12 ft")
    fixtures = 'kind = "path"\ncount = 1\nwatts = 4.5\nnode = "a"'
    change = run("c", table=2, instead_of="a")
    tables, text = write(tmp_path, garden(cables=cables, fixtures=fixtures), change)
    assert [(each["begins"], each["to"]) for each in tables] == [("b", "a"), ("c", "b"), ("boathouse", "c")]
    # The pieces keep their lengths; the first one, 40 ft, is taken away.
    lengths = [part.split('"')[1] for part in text.split("length = ")[1:]]
    assert lengths == ["10 ft", "12 ft", "40 ft"]


def test_a_hub_whose_own_cable_changes_keeps_its_legs(tmp_path):
    """Thicker cable to a hub: its legs keep their gauge by a key of their own."""
    tables, text = write(
        tmp_path, garden(cables=HUB), LayGauge(table=0, ends=("jetty",), gauge=TEN, length_m=12.2)
    )
    [table] = tables
    assert (table["hub"], table["gauge"]) == ("jetty", "10 AWG")
    assert 'leg_gauge = "12 AWG"' in text
    assert "# under the stone" in text


def test_a_hub_of_which_one_leg_changes_becomes_single_cables(tmp_path):
    """One thicker leg: the hub gets a name of its own, and each leg is a cable with one light."""
    change = LayGauge(table=0, ends=("jetty 3",), gauge=TEN, length_m=3.7)
    tables, _ = write(tmp_path, garden(cables=HUB), change)
    assert tables[0] == {"begins": "boathouse", "to": "jetty hub", "gauge": "12 AWG"}
    assert [each["gauge"] for each in tables[1:]] == [
        "12 AWG",
        "12 AWG",
        "10 AWG",
        "12 AWG",
        "12 AWG",
        "12 AWG",
    ]
    assert {(each["begins"], each["line"], each["lights"]) for each in tables[1:]} == {
        ("jetty hub", "jetty", 1)
    }


def test_another_tap_for_all_cables_becomes_the_usual_one(tmp_path):
    """Where every cable goes to 13 V, that is the transformer's tap from then on."""
    change = MoveToTap(table=0, node="jetty 1", terminal=Terminal(tap_v=13.0))
    before = garden(more=TAPS, cables=line())
    _, text = write(tmp_path, before, change)
    assert text == before.replace("tap = 12\n", "tap = 13\n")


def test_cables_side_by_side_are_moved_to_another_tap_together(tmp_path):
    """Two cables to one node both get the other tap and common, and each comment stays where it was."""
    cables = piece("boathouse", "gate", "90 ft", more="# the old one") + piece("boathouse", "gate", "80 ft")
    text = garden(
        cables=line() + cables,
        more="taps = [12, 13]\ncommons = 2",
        rest='[[zones.fixtures]]\nkind = "spot"\ncount = 1\nwatts = 9\nnode = "gate"\n',
    )
    to = Terminal(tap_v=13.0, common=2)
    tables, new = write(tmp_path, text, *(MoveToTap(table=at, node="gate", terminal=to) for at in (1, 2)))
    assert [(each.get("tap"), each.get("common")) for each in tables] == [(None, None), (13.0, 2), (13.0, 2)]
    assert new.index("# the old one") < new.rindex('length = "80 ft"')


def test_measured_volts_stay_those_of_their_tap(tmp_path):
    """Where the present tap was measured, the cable names its new tap and the transformer keeps its own."""
    change = MoveToTap(table=0, node="jetty 1", terminal=Terminal(tap_v=13.0, common=2))
    before = garden(more=f"{TAPS}\nmeasured_volts = 12.1", cables=line())
    tables, text = write(tmp_path, before, change)
    assert (tables[0]["tap"], tables[0]["common"]) == (13.0, 2)
    assert "tap = 12\n" in text


def test_a_second_transformer_takes_whole_zones(tmp_path):
    """A transformer is added, its cables begin there, and every zone names its own."""
    change = AddTransformer(
        like="boathouse", rated_va=150.0, tap_v=12.0, nodes=("jetty 1",), tables=(0,), zones=("jetty",)
    )
    _, text = write(tmp_path, garden(cables=line()), change)
    assert 'id = "boathouse-2"\nrated_va = 150\ntap = 12\n' in text
    assert 'from = "boathouse-2"' in text
    assert 'transformer = "boathouse-2"' in text


def test_a_file_that_is_another_by_now_is_left_as_it_is(tmp_path):
    """Between reading and writing somebody changed the file: refused, and nothing is written."""
    site = parse_site(garden(cables=line()), "site.toml").site
    path = tmp_path / "site.toml"
    other = garden(cables=line("90 ft"))
    path.write_text(other)
    with pytest.raises(SiteFileError, match="was changed by another program meanwhile"):
        write_changes(path, site, [MoveToTap(table=0, node="jetty 1", terminal=Terminal(tap_v=13.0))])
    assert path.read_text() == other
