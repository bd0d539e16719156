"""The site sheet in a real browser: printed on A4 and Letter, and by night on a screen."""

from __future__ import annotations

import re
from datetime import date
from zoneinfo import ZoneInfo

import pytest

from api.render.wiring.site_sheet import make_sheet
from api.render.words import Words
from config.file.loader import example_path, load_site, parse_site
from controller.inspection.report import report_site
from tests.api.browser import browsing
from tests.api.paper import SIZES, needs_browser, print_pages
from tests.site_of_wiring import garden, line, piece

pytestmark = needs_browser


@pytest.mark.parametrize("size", SIZES)
def test_every_page_has_its_number_and_the_name_of_the_site(tmp_path, size):
    """Every page says which it is, of how many, and of which site, whatever characters its name has."""
    site = load_site(example_path("full-property")).site
    name = 'The "Gull" & </style> Løvåsen \\2'
    sheets = print_pages(
        tmp_path, make_sheet(site.model_copy(update={"name": name}), report_site(site)), size
    )
    assert len(sheets) > 2
    for number, text in enumerate(sheets, start=1):
        last_line = text.rstrip().splitlines()[-1]
        assert last_line.split("   ")[0].strip() == f"{name}: wiring"
        assert last_line.endswith(f"page {number} of {len(sheets)}")


def print_sheet(folder, site, size, language="en-GB"):
    words = Words(language, ZoneInfo(site.time_zone))
    return print_pages(folder, make_sheet(site, report_site(site), date(2027, 4, 1), words=words), size)


EIGHT_LOW = garden(
    cables=line("100 ft"),
    more="taps = [12, 13, 14, 15]",
    fixtures='kind = "path"\ncount = 8\nwatts = 12\nlamp = "filament"\n'
    "measured_volts = [11.0, 11.0, 10.9, 10.8, 10.5, 10.4, 10.2, 10.0]",
)
EIGHT_APART = garden(
    tap=13,
    cables=piece("boathouse", "hub") + "".join(piece("hub", f"oak {n}", "25 ft") for n in range(8)),
    fixtures='kind = "spot"\ncount = 1\nwatts = 9\nnode = "oak 0"',
    rest="".join(
        f'[[zones.fixtures]]\nkind = "spot"\nname = "At oak {n}"\ncount = 1\nwatts = 9\nnode = "oak {n}"\n'
        for n in range(1, 8)
    ),
)
EIGHT_AND_EIGHT_ZONES = garden(
    cables="".join(piece("boathouse", f"bed {n}", "30 ft") for n in range(8)),
    fixtures='kind = "spot"\ncount = 1\nwatts = 5\nnode = "bed 0"',
    rest="".join(
        f'[[zones]]\nid = "zone-{n}"\npin = {17 + n}\nprogram = ["dusk to midnight"]\n'
        f'[[zones.fixtures]]\nkind = "spot"\ncount = 1\nwatts = 5\nnode = "bed {n}"\n'
        for n in range(1, 8)
    ),
)


@pytest.mark.parametrize(("size", "language"), [("A4", "de"), ("letter", "en-GB")])
@pytest.mark.parametrize(
    "text", [EIGHT_LOW, EIGHT_APART, EIGHT_AND_EIGHT_ZONES], ids=["low", "apart", "zones"]
)
def test_eight_lamps_take_four_pages_at_most(tmp_path, text, size, language):
    """With errors, ways to fix them and readings, at a hub, or in eight zones: not more than four sheets."""
    site = parse_site(text, "site.toml").site
    assert sum(fixture.count for zone in site.zones for fixture in zone.fixtures) == 8
    assert len(print_sheet(tmp_path, site, size, language)) <= 4


# A row of a drawing has gauge, length and amperes; its scale has words and whole volts in two lines.
ROW = re.compile(r"AWG(?: \w+)?, [\d.]+ ft, [\d.]+ A|mm2, [\d.]+ m, [\d.]+ A")
SCALE = re.compile(r"Cable to it +V +Volts, all lit\s*\n(?:[^\n]*\n)?? +\d+(?: +\d+)+")


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("count", [13, 40])
def test_the_scale_of_the_volts_stands_on_every_page(tmp_path, size, count):
    """However long a run is, no row of it is printed on a page without the scale over it."""
    fixtures = f'kind = "path"\ncount = {count}\nwatts = 0.5\nvolts = [8, 15]'
    site = parse_site(garden(cables=line("300 ft"), fixtures=fixtures), "site.toml").site
    drawn = [text for text in print_sheet(tmp_path, site, size) if ROW.search(text)]
    assert len(drawn) == (1 if count == 13 else 2)
    assert sum(len(ROW.findall(text)) for text in drawn) == count
    for text in drawn:
        assert len(SCALE.findall(text)) == 1
        assert SCALE.search(text).start() < ROW.search(text).start()


@pytest.mark.parametrize(("count", "size"), list(zip(range(1, 36, 5), ["A4", "letter"] * 4, strict=False)))
def test_no_page_has_a_signature_only(tmp_path, size, count):
    """However many rows stand before it, the place to sign is on the page with the checks that are signed."""
    fixtures = f'kind = "path"\ncount = {count}\nwatts = 0.5\nvolts = [8, 15]'
    site = parse_site(garden(cables=line("300 ft"), fixtures=fixtures), "site.toml").site
    *others, last = print_sheet(tmp_path, site, size)
    assert "Signature" in last
    assert "Before switching on" in last
    assert "After an hour no connector" in last
    assert not any("Signature" in text for text in others)


def test_a_drawing_can_be_read_by_night():
    """On a dark screen no text of a drawing or its scale keeps the dark ink of paper."""
    site = load_site(example_path("full-property")).site
    inks = {"rgb(27, 34, 51)", "rgb(74, 82, 102)", "rgb(61, 74, 102)"}
    with browsing() as (known, _):
        page = known.context.browser.new_context(color_scheme="dark").new_page()
        page.set_content(make_sheet(site, report_site(site)))
        fills = page.evaluate(
            "[...document.querySelectorAll('.drawing text, .drawing tspan')]"
            ".map((each) => getComputedStyle(each).fill)"
        )
        assert len(fills) > 100
        assert set(fills) & inks == set()
