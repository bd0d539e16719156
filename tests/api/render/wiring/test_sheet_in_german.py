"""The site sheet in German: every text is, and every figure is the one of the English sheet."""

from __future__ import annotations

import re
from datetime import date
from itertools import chain
from zoneinfo import ZoneInfo

import pytest

from api.render.wiring.site_sheet import make_sheet
from api.render.words import Words
from config.file.loader import example_path, load_site, parse_site
from controller.inspection.report import report_site
from tests.api.markup import Page
from tests.api.render.test_papers_in_german import Texts
from tests.site_of_wiring import garden, line, piece

FILAMENT = 'kind = "path"\ncount = 10\nwatts = 12\nlamp = "filament"\nmeasured_volts = 9.5'
LOST = 'kind = "spot"\ncount = 1\nwatts = 120\nnode = "end"'
SITES = {
    "full-property": load_site(example_path("full-property")).site,
    "too low": parse_site(
        garden(cables=line("100 ft"), more="taps = [12, 13, 14, 15]", fixtures=FILAMENT), "a.toml"
    ).site,
    "no solution": parse_site(
        garden(cables=piece("boathouse", "end", "100 ft"), fixtures=LOST), "a.toml"
    ).site,
}
# Names from the file, units, and what is the same in both languages.
SAME = re.compile(
    r"\b(V|VA|W|A|ft|m|mm|cm|AWG|mm2|mm²|LED|NEC|IEC|UF|Name|Zone|solid|stranded|Transformator|and|of)\b"
)


@pytest.fixture(params=SITES)
def sheets(request):
    """A sheet in German and in English, and the names in its file."""
    site = SITES[request.param]
    tz = ZoneInfo(site.time_zone)
    made = [
        make_sheet(site, report_site(site), date(2027, 4, 1), words=Words(tag, tz)) for tag in ("de", "en-GB")
    ]
    named = [*site.transformers, *site.zones]
    names = {each.id for each in named} | {each.name for each in named} | {site.name}
    names |= {fixture.name for zone in site.zones for fixture in zone.fixtures} - {""}
    names |= {each.node for report in report_site(site) for each in nodes_of(report)}
    return (*made, sorted(names, key=len, reverse=True))


def nodes_of(report):
    for circuit in report.wiring.circuits:
        for light in circuit.lights:
            if light.placed:
                yield light.at


def words_of(html, names):
    """The texts of a sheet that have words in them besides names and units."""
    found = set()
    for text in Texts(html).found:
        bare = re.sub(r"^.*…", "", text)  # a name that was shortened in a drawing
        for name in names:
            bare = bare.replace(name, "")
        if re.search(r"[^\W\d_]{3,}", SAME.sub("", bare)):
            found.add(text)
    return found


def test_no_text_of_the_sheet_is_english(sheets):
    """But for names and units no text is the same in both languages, read, drawn or read out."""
    german, english, names = sheets
    assert words_of(german, names) & words_of(english, names) - contacts(english) == set()
    assert len(words_of(english, names)) > 60


def contacts(html):
    """Names and addresses of people, as they are."""
    found = re.search(r'<div class="contacts">(.*?)</div>', html, re.DOTALL)
    return set(Texts(found[1]).found) if found else set()


def test_every_figure_is_that_of_the_english_sheet(sheets):
    """Row by row the tables have the same volts, amperes and lengths, with a comma for the point."""
    german, english, _ = sheets
    ours, theirs = Page(german).tables, Page(english).tables
    assert [len(table) for table in ours] == [len(table) for table in theirs]
    checked = 0
    for row, other in zip(chain(*ours), chain(*theirs), strict=True):
        for cell, figure in zip(row, other, strict=True):
            if re.fullmatch(r"\d+(\.\d+)?([–\s][\d.]+\*?)?(\s(V|VA|A|W|ft|m))?", figure.strip()):
                assert cell.strip() == figure.strip().replace(".", ",")
                checked += 1
    assert checked >= 10


def test_a_drawing_is_described_in_german(sheets):
    """What a screen reader says of a drawing is German, with German numbers."""
    german, _, _ = sheets
    described = re.findall(r"<desc [^>]*>(.*?)</desc>", german)
    assert described
    for words in described:
        assert re.search(r"Leuchten, wenn alles an ist|Setzt Teil \d+ fort|Lösung", words), words
        assert not re.search(r"\d\.\d", words)
