"""The cables of a site file: what is taken, what is refused with place and remedy, what gets a warning."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from config.errors import WiringError
from config.file.loader import parse_site
from config.models.cables import Build, GaugeText, LengthText, Unit, parse_gauge, parse_length
from controller.wiring import cable as cable_tables
from controller.wiring.cable import ampacity, ohm_per_m
from tests.config.site_texts import problems_of, warnings_of

GOOD = """\
[site]
name = "Tern Cottage"
latitude = 51.5
longitude = -0.1
time_zone = "Europe/London"

[[transformers]]
id = "boathouse"
rated_va = 200
tap = 12
taps = [12, 13]

# of the shed
[[transformers]]
id = "shed"
rated_va = 100

[wiring]
copper_c = 75

# the jetty's
[[cables]]
from = "boathouse"
line = "jetty"
gauge = "12 AWG"
length = "80 ft"

[[cables]]
from = "boathouse"
hub = "hub"
gauge = "10 AWG"
length = "60 ft"
legs = ["10 ft", "20 ft"]

[[cables]]
from = "jetty 6"
to = "gate"
gauge = "2.5 mm2"
length = "12 m"

[[zones]]
id = "jetty"
transformer = "boathouse"
pin = 17
program = ["dusk to midnight"]

[[zones.special_nights]]
nights = "Sun"
[[zones.fixtures]]
kind = "path"
count = 6
watts = 4.5
volts = [10, 15]

[[zones]]
id = "oak"
transformer = "boathouse" # of the oak
pin = 27
program = ["dusk to midnight"]
[[zones.fixtures]]
node = "hub 1"
lead_gauge = "18 AWG"
lead = "3 ft"
kind = "spot"
count = 1
watts = 5
[[zones.fixtures]]
node = "gate"
kind = "wash"
count = 1
watts = 9
"""


def read_blocks():
    """Yield each block of cable_refusals.txt: lines taken out, lines put in, and the problems expected."""
    text = (Path(__file__).parent / "cable_refusals.txt").read_text()
    for block in text.split("\n\n")[1:]:
        lines = block.strip("\n").split("\n")
        out = "".join(line[2:] + "\n" for line in lines if line.startswith("- "))
        put = "".join(line[2:] + "\n" for line in lines if line.startswith("+ "))
        told = [line for line in lines if not line.startswith(("- ", "+ "))]
        yield pytest.param(out, put, told, id=put.strip() or f"no {out.strip()}")


@pytest.mark.parametrize(("out", "put", "told"), list(read_blocks()))
def test_each_mistake_is_reported_with_its_place_and_remedy(out, put, told):
    """One mistake gives exactly these lines."""
    assert GOOD.count(out) == 1
    assert problems_of(GOOD.replace(out, put)) == [f"site.toml:{line}" for line in told]


def test_the_good_file_is_good():
    """Every mistake of the list is the only one in its file."""
    assert problems_of(GOOD) == []


def one_site(cables: str, fixtures: str = "", *, transformers: str = "", zones: str = "") -> str:
    """A site with one transformer and one zone around some cables."""
    head = '[[zones.fixtures]]\nkind = "spot"\nwatts = 5\n'
    hung = "".join(f"{head}{each}\n" for each in fixtures.split(";") if each)
    return f"""\
[site]
name = "Tern Cottage"
latitude = 51.5
longitude = -0.1
time_zone = "Europe/London"
[[transformers]]
id = "shed"
rated_va = 200
tap = 12
{transformers}
{cables}
[[zones]]
id = "oak"
transformer = "shed"
pin = 17
program = ["dusk to midnight"]
{hung}
{zones}
"""


def cable(start: str, end: str) -> str:
    """One piece of cable."""
    return f'[[cables]]\nfrom = "{start}"\nto = "{end}"\ngauge = "12 AWG"\nlength = "10 ft"\n'


def told(text: str) -> list[str]:
    """What is wrong with a site, without its file and line."""
    return [line.split(": ", 1)[1] for line in problems_of(text)]


def test_a_ring_is_reported_once_with_its_nodes():
    """Three cables in a ring are one problem, and a cable that only hangs on the ring is none more."""
    ring = cable("b", "c") + cable("c", "a") + cable("a", "b") + cable("c", "d")
    [problem] = told(one_site(ring, 'count = 1\nnode = "d"'))
    assert problem == (
        "cable to “c”: is part of a loop that no transformer supplies: “c” → “a” → “b” → “c”;"
        " begin one cable of it at a transformer, or at a node that a transformer supplies"
    )


def test_a_line_that_begins_at_its_own_light_is_a_ring():
    """A line cannot feed itself."""
    line = '[[cables]]\nfrom = "oak 1"\nline = "oak"\ngauge = "12 AWG"\nlength = "10 ft"\n'
    [problem] = told(one_site(line, "count = 2"))
    assert problem.startswith("line “oak”: is part of a loop that no transformer supplies")


def test_a_tap_on_a_cable_that_begins_at_no_transformer_is_refused():
    """Only what is screwed to a transformer has a tap."""
    cables = cable("shed", "hub") + cable("hub", "end") + "tap = 12\n"
    [problem] = told(one_site(cables, 'count = 1\nnode = "end"'))
    assert problem == (
        "cable to “end”, tap = 12: is a tap, but this cable does not begin at a transformer;"
        " write it on the cable that does"
    )


def test_cables_without_a_transformer_are_refused():
    """Without any transformer no cable can begin anywhere."""
    text = one_site(cable("shed", "hub"), 'count = 1\nnode = "hub"')
    text = text.replace('[[transformers]]\nid = "shed"\nrated_va = 200\ntap = 12\n', "")
    text = text.replace('transformer = "shed"\n', "")
    [problem] = told(text)
    assert problem == (
        'cable to “hub”, from = "shed": is not a transformer, and the site has none;'
        " add a [[transformers]] table"
    )


def test_too_many_nodes_are_refused_at_once():
    """A typing error is reported before it takes minutes; lamps that share a node do not count."""
    long = '[[cables]]\nfrom = "shed"\nline = "oak"\ngauge = "12 AWG"\nlength = "80 ft"\n'
    [problem] = told(one_site(long, "count = 500;count = 1"))
    assert problem.startswith("cables: lead to more than 500 nodes; put the lamps of a tape or a string")
    fixtures = ";".join(['count = 500\nnode = "hub"'] * 3)
    assert told(one_site(cable("shed", "hub"), fixtures)) == []


def test_a_node_cannot_have_the_name_of_a_tap():
    """Taps beside the usual one are named after their transformer and volts, and no node may be called so."""
    [problem] = told(one_site(cable("shed", "shed, 14 V"), "count = 1"))
    assert problem.startswith(
        'cable to “shed, 14 V”, to = "shed, 14 V": leads to “shed, 14 V”, which is a tap'
    )


def test_the_wiring_problems_come_with_all_others():
    """A wrong gauge, a loose cable and a wrong pin are reported together."""
    cables = cable("shed", "hub").replace("12 AWG", "twelve") + cable("nowhere", "end")
    text = one_site(cables, 'count = 1\nnode = "hub"').replace("pin = 17", "pin = 99")
    assert [line.partition(" = ")[0] for line in told(text)] == [
        "cable to “hub”, gauge",
        "cable to “end”, from",
        "zone “oak”, pin",
    ]


@pytest.mark.parametrize(
    ("cables", "fixtures", "message"),
    [
        (
            cable("shed", "hub"),
            'count = 1\nnode = "hub";count = 2',
            "zone “oak”, fixtures[2]: is not on any cable of transformer “shed”",
        ),
        (
            cable("shed", "hub") + cable("hub", "end"),
            'count = 1\nnode = "hub"',
            'cable to “end”, to = "end": leads to no light and to no other cable',
        ),
    ],
)
def test_what_is_probably_a_mistake_gets_a_warning(cables, fixtures, message):
    """A warning stops nothing, and names its place."""
    [warning] = warnings_of(one_site(cables, fixtures))
    assert warning.split(": ", 1)[1].startswith(message)


def test_a_run_with_the_lights_of_two_zones_is_warned_of_unless_the_mains_are_switched():
    """A relay at the transformer would light both; one in the mains has its own warning."""
    other = '[[zones]]\nid = "elm"\ntransformer = "shed"\npin = 22\nprogram = ["dusk to midnight"]\n'
    other += '[[zones.fixtures]]\nkind = "spot"\ncount = 1\nwatts = 5\nnode = "hub"\n'
    text = one_site(cable("shed", "hub"), 'count = 1\nnode = "hub"', zones=other)
    [warning] = warnings_of(text)
    assert "carries lights of “oak” and “elm”: a relay at the transformer would switch" in warning
    mains = text.replace("tap = 12\n", 'tap = 12\nrelay_side = "mains"\n', 1)
    [warning] = warnings_of(mains)
    assert "relay_side" in warning


def test_lights_without_a_node_take_the_line_of_their_zone():
    """The simplest form needs nothing in the fixtures."""
    line = '[[cables]]\nfrom = "shed"\nline = "oak"\ngauge = "12 AWG"\nlength = "80 ft"\n'
    assert parse_site(one_site(line, "count = 4;count = 2"), "site.toml").warnings == ()


SIZES = st.sampled_from(
    ["18", "16", "14", "12", "10", "8", "6", "13", "0", "12.0", "0.75", "1", "1.0", "1.5", "2.5", "4", "3"]
)
GAUGES = st.one_of(
    st.builds(
        "{}{}{}{}{}".format,
        SIZES,
        st.sampled_from(["", " ", "  "]),
        st.sampled_from(["AWG", "awg", "mm2", "mm²", "MM2", "m", "", "/2", "-2", "ga", "/3"]),
        st.sampled_from(["", " solid", " stranded", " flexible", " Solid", " thin"]),
        st.sampled_from(["", " ", "."]),
    ),
    st.text(max_size=12),
)
LENGTHS = st.one_of(
    st.builds(
        "{}{}{}".format,
        st.sampled_from(["0", "0.0", "1", "100", "0.5", "12.25", "-3", "1e3", "9842", "0.000001", "nan"]),
        st.sampled_from(["", " "]),
        st.sampled_from(["ft", "m", "FT", "in", "", "mm", "'", "ft 6 in"]),
    ),
    st.text(max_size=12),
)


def taken(kind, text):
    """What the site file makes of a text; None where it refuses it."""
    try:
        return TypeAdapter(kind).validate_python(text)
    except ValidationError:
        return None


def parsed(parse, text):
    """What a parser makes of a text; None where it refuses it."""
    try:
        return parse(text)
    except WiringError:
        return None


@pytest.mark.parametrize("size", [*range(1, 25), *(area / 4 for area in range(1, 50))])
@pytest.mark.parametrize("build", list(Build))
def test_every_gauge_has_a_resistance_and_no_other_is_taken(size, build):
    """The sizes that a gauge may have are those of the two tables of resistances."""
    for unit, table in ((Unit.AWG, cable_tables._OHM_PER_KFT), (Unit.MM2, cable_tables._OHM_PER_KM)):
        gauge = parsed(parse_gauge, f"{size:g} {unit} {build}")
        assert (gauge is not None) == ((size, build) in table)
        assert gauge is None or ohm_per_m(gauge) > 0


@pytest.mark.parametrize(
    ("text", "gauge"),
    [
        *(
            (text, "12 AWG")
            for text in ("12/2", "12-2", "12 ga", "12ga.", "12 gauge", "#12", "AWG 12", "12/2 AWG")
        ),
        ("14-2 solid", "14 AWG solid"),
        ("4 AWG", "4 AWG"),
        ("4/2", "4 AWG"),
        *((text, "16 mm2") for text in ("16 mm²", "16mm2", "16 sq mm", "16 mm^2", "2 x 16 mm2", "2×16 mm²")),
        ("2x2.5 mm2 stranded", "2.5 mm2 stranded"),
    ],
)
def test_a_gauge_may_be_written_as_the_trade_does(text, gauge):
    """Every spelling is the gauge that it means, and the program writes each in one way."""
    assert parse_gauge(text) == parse_gauge(gauge)
    assert str(parse_gauge(text)) == gauge


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        *((text, 96) for text in ("8'", "8 ft", "8’", "8 feet", "8ft.", "96 in", '96"', "8 ft 0 in")),
        *(
            (text, 102)
            for text in ("8 ft 6 in", "8'6\"", "8' 6''", "8ft6in", "8 ft. 6 in.", "8’ 6”", "8 ft, 6 inches")
        ),
        ("0.5 in", 0.5),
    ],
)
def test_a_length_may_be_written_as_the_trade_does(text, inches):
    """Feet and inches are read in their usual spellings; an inch is 25.4 mm exactly."""
    assert parse_length(text) == pytest.approx(inches * 0.0254, rel=1e-12)


@pytest.mark.parametrize(
    ("parse", "text", "words"),
    [
        (parse_gauge, "12/3", "“12/3” has 3 conductors, and the lamps are fed by two; write the gauge alone"),
        (parse_gauge, "3 x 1.5 mm2", "has 3 conductors, and the lamps are fed by two"),
        (parse_gauge, "12", "“12” is not a gauge; write a gauge such as “12 AWG”, “12/2”"),
        (parse_gauge, "2.5 mm", "is not a gauge"),
        (parse_gauge, "13/2", "“13 AWG” is not in any table of resistances; use 18, 16, 14"),
        (parse_gauge, "2,5 mm2", "has a comma in its number; decimals have a point"),
        (parse_length, "1,000 ft", "has a comma in its number; decimals have a point"),
        (
            parse_length,
            "8 ft 6",
            "is not a length with its unit; write a length such as “100 ft”, “8 ft 6 in”",
        ),
        (parse_length, "6 in 8 ft", "is not a length with its unit"),
        (parse_length, "0' 0\"", "is not above zero"),
        (parse_length, "", "is not a length with its unit"),
    ],
)
def test_what_is_unclear_is_refused_in_clear_words(parse, text, words):
    """A bare number, a third conductor, a comma or inches without a sign are answered with what to write."""
    with pytest.raises(WiringError) as caught:
        parse(text)
    assert words in str(caught.value)


@given(GAUGES)
def test_the_site_file_takes_the_gauges_that_have_a_resistance_and_no_others(text):
    """A gauge of the site file is what the parser makes of it, and has ohms and amperes."""
    gauge = taken(GaugeText, text)
    assert gauge == parsed(parse_gauge, text)
    assert gauge is None or (ohm_per_m(gauge) > 0 and ampacity(gauge).amperes > 0)


@given(LENGTHS)
def test_the_site_file_takes_the_lengths_that_can_be_computed_with(text):
    """A length of the site file is what the parser makes of it, up to the longest that a garden has."""
    length_m = parsed(parse_length, text)
    assert taken(LengthText, text) == (length_m if length_m is not None and length_m <= 3000.0 else None)
