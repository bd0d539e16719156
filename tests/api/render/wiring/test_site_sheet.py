"""The site sheet: well formed, with every node, light and reading on it, and whole without any colour."""

from __future__ import annotations

import re
from datetime import date
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

import pytest

from api.render.wiring.site_sheet import make_sheet, tidy
from api.render.wiring.svg import ROWS_A_PIECE, draw_tree
from api.render.words import english
from config.file.loader import example_path, load_site, parse_site
from controller.inspection.report import report_site
from tests.api.markup import SVG, Drawing, Page
from tests.site_of_wiring import garden, line, piece

EXAMPLES = ("one-zone", "two-zones", "full-property", "polar")
FILAMENT = 'kind = "path"\ncount = 10\nwatts = 12\nlamp = "filament"'


def sheet_of(text):
    site = parse_site(text, "site.toml").site
    return make_sheet(site, report_site(site), date(2027, 4, 1))


def example_sheet(name):
    site = load_site(example_path(name)).site
    return site, make_sheet(site, report_site(site), date(2027, 4, 1))


def drawings(html):
    """The drawings of a page, each read as XML by itself."""
    return [Drawing(each) for each in re.findall(r"<svg xmlns.*?</svg>\s*</svg>", html, re.DOTALL)]


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_sheet_of_every_example_is_well_formed(name):
    """Every tag is closed in its order, every name used once, and nothing comes from elsewhere."""
    _, html = example_sheet(name)
    page = Page(html)
    assert page.links == []
    assert "script" not in page.tags
    for drawing in drawings(html):
        assert drawing.root.get("role") == "img"
        assert len(drawing.words("title")) == len(drawing.words("desc")) == 1
        assert drawing.root.get("aria-labelledby").split() == [
            each.get("id") for tag in ("title", "desc") for each in drawing.root.iter(f"{SVG}{tag}")
        ]


def rows_of(html):
    """The rows of all drawings: for each node that is named, all that is written in its row."""
    return {
        names[0].text: [" ".join("".join(each.itertext()).split()) for each in row.iter(f"{SVG}text")]
        for drawing in drawings(html)
        for row in drawing.root.iter(f"{SVG}g")
        if (names := [each for each in row.iter(f"{SVG}tspan") if each.get("font-weight") == "600"])
    }


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_sheet_has_every_zone_fixture_and_node(name):
    """Nothing of the site file is left out: loads, fixtures to buy, nodes with cable and volts."""
    site, html = example_sheet(name)
    page, rows = Page(html), rows_of(html)
    for zone in site.zones:
        assert zone.name in page.text
        for fixture in zone.fixtures:
            assert f"{fixture.name or fixture.kind}" in page.text
    for report in report_site(site):
        for circuit, one in zip(report.wiring.circuits, report.inspection.solved, strict=True):
            for cable in circuit.network.segments:
                row = rows[cable.to_node]
                assert row[1].startswith(f"{cable.gauge}, ")
                if cable.to_node not in {light.at.node for light in circuit.lights}:
                    assert row[2] == f"{one.lit.volts[cable.to_node]:.2f}"
            for light, state in zip(circuit.lights, one.lit.lamps, strict=True):
                if light.placed:
                    assert f"{state.volts:.2f}" in rows[light.at.node]


def test_a_ring_is_drawn_with_the_cable_that_closes_it():
    """Each node has one row; the cable that closes the ring has one that says where it leads."""
    site = parse_site(garden(cables=line() + piece("boathouse", "jetty 6", "20 ft")), "site.toml").site
    [report] = report_site(site)
    html = make_sheet(site, (report,), date(2027, 4, 1))
    rows = rows_of(html)
    [solution] = [one.lit for one in report.inspection.solved]
    into = {each.segment.from_node: each for each in solution.segments if each.segment.to_node == "jetty 6"}
    # By the fewest cables jetty 6 is reached straight from the transformer, so the line closes the ring.
    assert set(rows) == {"boathouse", *(f"jetty {place}" for place in range(1, 7)), "to jetty 6"}
    assert rows["to jetty 6"][1].endswith(f", {into['jetty 5'].amperes:.2f} A")
    assert rows["jetty 6"][1].endswith(f", {into['boathouse'].amperes:.2f} A")
    assert rows["to jetty 6"][2] == f"{solution.volts['jetty 6']:.2f}"


def test_cables_side_by_side_are_two_rows():
    """A second cable beside the first is a row of its own, and both carry half."""
    fixtures = 'kind = "spot"\ncount = 1\nwatts = 30\nnode = "gate"'
    site = parse_site(garden(cables=piece("boathouse", "gate") * 2, fixtures=fixtures), "site.toml").site
    [report] = report_site(site)
    rows = rows_of(make_sheet(site, (report,), date(2027, 4, 1)))
    assert set(rows) == {"boathouse", "gate", "to gate"}
    [solution] = [one.lit for one in report.inspection.solved]
    assert rows["gate"][1] == rows["to gate"][1]
    assert rows["gate"][1].endswith(f", {solution.source_a / 2:.2f} A")


def test_the_sheet_has_what_the_installer_needs():
    """Load, what to buy with its spare, both depths of cover, the checks, the boxes and the cautions."""
    _, html = example_sheet("full-property")
    text = Page(html).text
    for words in (
        "made on 1 April 2027",
        "206.5 of 300 VA (69 %)",
        "315 ft",
        "347 ft",
        "Buy 10 % more than is laid",
        "about 3 in (76 mm) under turf",
        "6 in (150 mm) of cover",
        "The code takes precedence",
        "call 811",
        "GFCI",
        "unplugged while anything is wired",
        "Marked conductor to marked conductor",
        "Half an inch (13 mm)",
        "rated for wet places",
        "10 ft (3 m) of a pool",
        "Measured V",
        "Measured A",
        "Measured W",
        "licensed electrician",
        "Local code takes precedence",
        "it protects nothing",
    ):
        assert words.replace("\u00a0", " ") in text.replace("\u00a0", " "), words


def test_the_sheet_says_for_whom_and_from_whom_it_is():
    """Customer and address, installer, telephone and e-mail stand on it as the site file has them."""
    site, html = example_sheet("full-property")
    for words in (
        f"For {site.customer.name}",
        site.customer.address,
        f"From {site.installer.name}",
        f"{site.installer.telephone} · {site.installer.email}",
    ):
        assert words in Page(html).text
    _, without = example_sheet("two-zones")
    assert "From" not in Page(without).text


def test_readings_stand_in_their_boxes():
    """What was measured already is printed; every other box is empty."""
    _, html = example_sheet("full-property")
    [readings] = [
        table for table in Page(html).tables if table[0][-1] == "Measured V" and table[1][0] == "house"
    ]
    filled = {row[0]: row[-1] for row in readings[1:] if row[-1].strip()}
    assert filled == {"front-path 13": "12.20"}
    assert len(readings) == 1 + 2 + 13 + 4 + 3 + 2  # heading, two taps, lights of four zones


def test_a_light_that_is_outside_has_words_and_by_an_arrow():
    """The drawing and the table say “too low”; no colour has to tell it."""
    html = sheet_of(garden(cables=line("100 ft"), more="taps = [12, 13, 14, 15]", fixtures=FILAMENT))
    text = Page(html).text
    assert '<span class="level error">error</span>' in html
    assert '.level.error::before { content: "✗"; }' in html
    assert any("▼ too low" in words for drawing in drawings(html) for words in drawing.words())
    assert "10.00 ▼ too low" in text
    assert "Ways to fix the errors, each computed" in text
    inks = {
        each.get(name)
        for drawing in drawings(html)
        for each in drawing.root.iter()
        for name in ("fill", "stroke")
        if each.get(name) and each.get(name) != "none"
    }
    # One ink and its greys; the lamps have a ring besides their yellow. No red against green.
    for ink in inks:
        red, green, blue = (int(ink[place : place + 2], 16) for place in (1, 3, 5))
        assert ink == "#ffd65c" or max(red, green, blue) - min(red, green, blue) < 64, ink


def test_a_tree_without_a_solution_is_drawn_without_volts():
    """The drawing stands, the reason is written over it, and no light has volts."""
    fixtures = 'kind = "spot"\ncount = 1\nwatts = 120\nnode = "end"'
    html = sheet_of(garden(cables=piece("boathouse", "end", "100 ft"), fixtures=fixtures))
    assert "no solution: the lamps ask for 120 W" in Page(html).text
    [drawing] = drawings(html)
    assert "–" in drawing.words()
    assert "? no solution" in drawing.words()


def test_long_trees_are_cut_into_pieces_without_losing_a_row():
    """Sixty lights are drawn on several pieces, one row for each node, in order."""
    text = garden(cables=line("300 ft"), fixtures='kind = "path"\ncount = 60\nwatts = 1\nvolts = [8, 15]')
    site = parse_site(text, "site.toml").site
    [report] = report_site(site)
    pieces = [
        Drawing(each) for each in draw_tree(report, 0, words=english(ZoneInfo("UTC")), key="tree").pieces
    ]
    assert len(pieces) == -(-61 // ROWS_A_PIECE)
    names = [
        "".join(each.itertext()).strip()
        for drawing in pieces
        for each in drawing.root.iter(f"{SVG}tspan")
        if each.get("font-weight") == "600"
    ]
    assert names == ["boathouse", *(f"jetty {place}" for place in range(1, 61))]
    heights = [int(each.root.get("height")) for each in pieces]
    assert sum(heights) == 61 * 25


def test_branches_take_lanes_of_their_own():
    """Where cables part each begins farther right; a chain stays in its lane."""
    cables = piece("boathouse", "hub") + piece("hub", "a") + piece("hub", "b") + piece("b", "c")
    rest = '[[zones.fixtures]]\nkind = "spot"\ncount = 1\nwatts = 9\nnode = "c"\n'
    text = garden(cables=cables, fixtures='kind = "spot"\ncount = 1\nwatts = 9\nnode = "a"', rest=rest)
    [report] = report_site(parse_site(text, "site.toml").site)
    [drawing] = [
        Drawing(each) for each in draw_tree(report, 0, words=english(ZoneInfo("UTC")), key="tree").pieces
    ]
    lamps_and_joints = [each for each in drawing.root.iter(f"{SVG}circle") if each.get("r") in ("6", "3.6")]
    hub, a, b, c = (float(each.get("cx")) for each in lamps_and_joints if float(each.get("cx")) < 200)
    assert hub < a == b == c


def test_names_from_the_file_are_text_and_nothing_else():
    """A name with angle brackets, quotes and ampersands is shown as it is."""
    name = "Fish & <b>chips</b> \u201cat\u201d the 'pier'"
    text = garden(cables=line(), fixtures=f'kind = "path"\ncount = 6\nwatts = 4.5\nname = "{name}"')
    html = sheet_of(text.replace("Tern Cottage", "<script>alert(1)</script>"))
    page = Page(html)
    assert "script" not in page.tags
    assert name in page.text
    for drawing in drawings(html):
        ET.tostring(drawing.root)


def test_numbers_and_their_units_stay_on_one_line():
    """A blank between a number and its unit does not break; other blanks do."""
    assert tidy("0.65 V, 5.4 % of 12 V (limit 3 %), 12 AWG to 5 lamps") == (
        "0.65\u00a0V, 5.4\u00a0% of 12\u00a0V (limit 3\u00a0%), 12\u00a0AWG to 5 lamps"
    )


def test_twenty_lamps_with_one_cause_are_one_line():
    """Too few volts at twenty lamps, and twenty readings that are too low, are a line each with the worst."""
    fixtures = 'kind = "path"\ncount = 20\nwatts = 6\nlamp = "filament"\n'
    fixtures += f"measured_volts = {[8.0] * 20}"
    html = sheet_of(garden(cables=line("150 ft"), more="taps = [12, 13, 14, 15]", fixtures=fixtures))
    page = Page(html)
    [findings] = [table for table in page.tables if table[0][0] == "Level"]
    too_low = [row for row in findings if "get too few volts" in row[1]]
    assert len(too_low) == 1
    assert re.search(r"lamps at \d+ places get too few volts; the worst: “path” at “jetty 20”", too_low[0][1])
    compared = re.search(r"<h3>Measured and computed</h3>\s*<ul>(.*?)</ul>", html, re.DOTALL)[1]
    assert "20 readings are too low; the worst" in compared.replace("\u00a0", " ")
    assert compared.count("too low; the worst") == 1
    assert len(findings) <= 8
