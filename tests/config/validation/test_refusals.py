"""What is reported about a site file in which something is wrong: the place, the value, the remedy."""

from pathlib import Path

import pytest

from tests.config.site_texts import GOOD, problems_of

NAME = "site.toml"


def read_blocks(name):
    """Yield each block of a file here: lines taken out, lines put in, and what is to be reported."""
    text = (Path(__file__).parent / name).read_text()
    for block in text.split("\n\n")[1:]:
        lines = block.strip("\n").split("\n")
        out = "".join(line[2:] + "\n" for line in lines if line.startswith("- "))
        put = "".join(line[2:] + "\n" for line in lines if line.startswith("+ "))
        told = [line for line in lines if not line.startswith(("- ", "+ "))]
        yield pytest.param(out, put, told, id=put.strip() or f"no {out.strip()}")


def test_the_good_file_is_good():
    """Every mistake below is the only one in its file."""
    assert problems_of(GOOD) == []


@pytest.mark.parametrize(("out", "put", "told"), list(read_blocks("refusals.txt")))
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_each_mistake_is_reported_with_its_place_and_remedy(out, put, told, line_end, mark):
    """One mistake gives exactly these lines, with either end of line and with a byte order mark."""
    assert GOOD.count(out) == 1
    text = mark + GOOD.replace(out, put).replace("\n", line_end)
    expected = [f"{NAME}:{line}" if line[0].isdigit() else f"{NAME}: {line}" for line in told]
    assert problems_of(text) == expected


UP_TO_ZONES = GOOD[: GOOD.index("[[zones]]")]
KNOWN_TABLES = (
    "the tables are site, customer, installer, tariff, relays, clock, wiring, network, transformers, cables, "
    "zones"
)
LIST_WANTED = "site.toml:{where}: must be a list in square brackets; "
NO_ZONES = "site.toml: zones: is missing; add at least one [[zones]] table"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (UP_TO_ZONES, NO_ZONES),
        ("zones = []\n" + UP_TO_ZONES, "site.toml:1: zones = []: is empty; add at least one [[zones]] table"),
        (
            UP_TO_ZONES + "[zones]\nid = 3\n",
            LIST_WANTED.format(where="18: zones") + "write [[zones]] with two brackets on either side",
        ),
        (
            "zones = 3\n" + UP_TO_ZONES,
            LIST_WANTED.format(where="1: zones = 3") + "write at least one [[zones]] table",
        ),
        (
            "zones = [3]\n" + UP_TO_ZONES,
            "site.toml:1: zones[1] = 3: must be a table; write [[zones]] tables",
        ),
        (
            "",
            "site.toml: site: is missing; add a [site] table with name, latitude, longitude and time_zone\n"
            + NO_ZONES,
        ),
        (
            "site = 3\n",
            NO_ZONES
            + "\nsite.toml:1: site = 3: must be one table; write [site] with one bracket on either side",
        ),
        (
            '"a b"."c\\"d" = 1\n' + GOOD,
            'site.toml:1: "a b": is not a table of the site file; ' + KNOWN_TABLES,
        ),
    ],
)
def test_missing_and_misshapen_tables_are_reported(text, told):
    """Whole tables that are missing, single, doubled or of another kind are each reported once."""
    assert "\n".join(problems_of(text)) == told


def test_everything_wrong_is_reported_at_once_and_in_the_order_of_the_file():
    """Wrong values, wrong program texts and conflicts between tables come together, by line."""
    text = """\
[[zones]]
id = "jetty"
pin = 99
program = ["dusk to midnite"]
[[zones]]
id = "jetty"
pin = 18
program = [
  "dusk to midnight",
  "dusk to 24:00",
]
colour = "red"
transformer = "barn"
  [[zones.special_nights]]
  nights = "Friday"
[site]
name = "Tern Cottage"
latitude = 95
time_zone = "Europe/Lodnon"
[[transformers]]
id = "shed"
rated_va = "big"
"""
    assert [line.split(": ")[0] + ": " + line.split(": ")[1] for line in problems_of(text)] == [
        "site.toml:3: zone “jetty”, pin = 99",
        'site.toml:4: zone “jetty”, program[1] = "dusk to midnite"',
        'site.toml:6: zone “jetty”, id = "jetty"',
        'site.toml:10: zone “jetty”, program[2] = "dusk to 24:00"',
        'site.toml:12: zone “jetty”, colour = "red"',
        'site.toml:13: zone “jetty”, transformer = "barn"',
        'site.toml:15: zone “jetty”, special_nights[1].nights = "Friday"',
        "site.toml:16: site.longitude",
        "site.toml:18: site.latitude = 95",
        'site.toml:19: site.time_zone = "Europe/Lodnon"',
        'site.toml:22: transformer “shed”, rated_va = "big"',
    ]


IN_BRACES = """\
[site]
name = "Tern Cottage"
latitude = 51.5
longitude = -0.1
time_zone = "Europe/London"
[[zones]]
id = "path"
pin = 17
program = ["dusk to midnight"]
fixtures = [
  { kind = "path", count = 1, watts = 3 },  # fine
  { kind = "spot", watts = 0 },
]
"""


def test_a_problem_in_a_table_in_braces_has_its_line():
    """Tables written in braces inside a list over several lines are found as well."""
    assert "\n".join(problems_of(IN_BRACES)) == (
        "site.toml:12: zone “path”, fixtures[2].count: is missing; "
        "add “count = …”: how many there are, 1 to 500\n"
        "site.toml:12: zone “path”, fixtures[2].watts = 0: is too small; "
        "write the watts of one lamp, over 0 up to 1000, such as 4.5"
    )
