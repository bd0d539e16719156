"""What is printed, in German: every text is, and every figure is the one of the English paper."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from decimal import Decimal
from functools import partial
from html.parser import HTMLParser

import pytest

from api.render.season_report import write_report
from api.render.words import Words
from controller.history.report import year_to_come
from controller.history.season import report_season
from controller.planning.planner import Planner
from tests.api.browser import browsing, needs_chromium
from tests.api.markup import Page
from tests.controller.board import Board
from tests.sites import site, zone

# What people called things, and what is the same in both languages.
NAMES = {
    "Jetty & steps",
    "path",
    "Tern Cottage",
    "shed",
    "bulbs",
    "night",
    "GBP",
    "kWh",
    "Name",
    "Zone",
    "Winter",
}
MONTHS = re.compile(r"\b(Jan|Feb|Apr(il)?|Jun|Jul|Aug(ust)?|Sep(tember)?|Nov(ember)?)\b")
UNITS = re.compile(r"[\d.,:\s×→*≥?%()=;+\N{MINUS SIGN}–-]|\b(h|W|kWh|GBP)\b")


class Texts(HTMLParser):
    """Gathers what is read and what is read out, but for styles."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[str] = []
        self._styles = False
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attrs):
        self._styles = tag == "style"
        self.found += [value for name, value in attrs if name in ("aria-label", "title", "alt")]

    def handle_endtag(self, tag):
        self._styles = False

    def handle_data(self, data):
        if not self._styles:
            self.found.append(" ".join(data.split()))


def words_of(html: str) -> set[str]:
    """The texts of a paper that have words in them besides names and units."""
    found = set()
    for text in Texts(html).found:
        bare = text
        for name in NAMES:
            bare = bare.replace(name, "")
        if re.search(r"[^\W\d_]{2,}", UNITS.sub("", MONTHS.sub("", bare))):
            found.add(text)
    return found


@pytest.fixture(scope="module")
def make(tmp_path_factory):
    """Gives reports of a garden with a power cut, a failing relay, light by day, price bands, worn lamps."""
    bulbs = {
        "kind": "string", "name": "bulbs", "count": 10, "watts": 3, "rated_life_h": 600, "lamp": "filament"
    }  # fmt: skip
    here = site(
        zone("jetty", "22:00 to 01:00", name="Jetty & steps", fixtures=[bulbs]),
        zone("path", "18:00 to 23:30", pin=18, rated_watts=24.5),
        transformers=[{"id": "shed", "rated_va": 200.0, "no_load_w": 6.0, "copper_w": 9.0}],
        tariff={
            "currency": "GBP",
            "per_kwh": Decimal("0.30"),
            "bands": [{"name": "night", "from": "23:00", "to": "07:00", "per_kwh": Decimal("0.12")}],
        },
    )
    begins = datetime(2026, 6, 20, 12, tzinfo=UTC)
    board = Board(tmp_path_factory.mktemp("garden"), here, begins, tick_s=6 * 3600)
    board.run_until(datetime(2027, 6, 10, 14, tzinfo=UTC))
    board.cut_power(11 * 86_400)
    board.run_until(datetime(2027, 7, 3, 12, tzinfo=UTC))
    board.break_relay("path")
    board.run_until(datetime(2027, 7, 6, 12, tzinfo=UTC))
    board.mend_relay("path")
    board.override("jetty", on=True, lasts_s=7200)
    board.run_until(datetime(2027, 8, 15, 12, tzinfo=UTC))
    board.close()
    planner, now_utc = Planner(here), board.true_utc
    year = year_to_come(planner, now_utc)
    return partial(report_season, planner, board.reader, now_utc=now_utc, year=year)


@pytest.fixture(scope="module")
def report(make):
    """The report of a season of that garden."""
    return make("2027-summer")


def both(report) -> tuple[str, str]:
    """The report in German and in English."""
    tz = report.planner.tz
    return write_report(report, Words("de", tz)), write_report(report, Words("en-GB", tz))


@pytest.mark.parametrize(
    "period", ["2027-summer", "2027-winter", "2027-07", "2026", "2027-07-04", "2026-05-01 to 2026-06-30"]
)
def test_no_text_of_the_report_is_english(make, period):
    """But for names and units no text is the same in both languages, read or read out."""
    german, english = both(make(period))
    assert words_of(german) & words_of(english) == set()
    assert len(words_of(english)) > 30


def test_every_figure_is_that_of_the_english_report(report):
    """Row by row the tables have the same numbers, with a comma where English has a point."""
    german, english = (Page(html).tables for html in both(report))
    assert [len(table) for table in german] == [len(table) for table in english]
    checked = 0
    for ours, theirs in zip(german, english, strict=True):
        for row, other in zip(ours, theirs, strict=True):
            for cell, figure in zip(row, other, strict=True):
                if re.fullmatch(r"[≥+\N{MINUS SIGN}]? ?[\d,]+(\.\d+)?%?\*?", figure):
                    swapped = figure.translate(str.maketrans(",.", ".,")).replace("%", "\N{NO-BREAK SPACE}%")
                    assert cell == swapped
                    checked += 1
    assert checked > 80


def test_dates_are_written_as_in_the_country(report):
    """Outages, lamps and the head have dates as they are written in each country."""
    german, english = (Page(html).text for html in both(report))
    american = Page(write_report(report, Words("en-US", report.planner.tz))).text
    for text, dates in (
        (german, ["10. bis 20. Juni 2027", "bisher, bis 15. August 2027: 76 von 92 Nächten"]),
        (english, ["10 to 20 June 2027", "so far, to 15 August 2027: 76 of 92 nights"]),
        (american, ["June 10 to June 20, 2027", "so far, to August 15, 2027: 76 of 92 nights"]),
    ):
        assert [each for each in dates if each not in text] == []


OVERLAPS = """() => {
  const texts = [...document.querySelectorAll("figure svg text")].map((each) => [
    each.textContent.trim(), each.getBoundingClientRect()]).filter(([, box]) => box.width);
  const apart = (a, b) => a.right <= b.left || b.right <= a.left
    || a.bottom - 2 <= b.top || b.bottom - 2 <= a.top;
  const found = [];
  texts.forEach(([one, a], n) => texts.slice(n + 1).forEach(([two, b]) => {
    if (!apart(a, b)) found.push([one, two]); }));
  return [texts.length, found];
}"""


@needs_chromium
@pytest.mark.parametrize("width", [360, 1200])
def test_no_text_in_the_picture_stands_upon_another(report, width):
    """Names, figures, months and legend have room of their own, in both languages and both pictures."""
    with browsing() as (page, _):
        page.set_viewport_size({"width": width, "height": 900})
        for html in both(report):
            page.set_content(html)
            number, overlaps = page.evaluate(OVERLAPS)
            assert number > 20
            assert overlaps == []
