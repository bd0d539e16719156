"""The report in a real browser: printed on A4 and Letter, and on a phone, with nothing cut off."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from html import escape

import pytest

from api.render.season_report import write_report
from config.file.loader import example_path, load_site
from controller.history.report import year_to_come
from controller.history.season import report_season
from controller.planning.planner import Planner
from tests.api.paper import SIZES, browse, needs_browser, print_pages
from tests.controller.board import Board
from tests.sites import site, zone

pytestmark = needs_browser


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    """The report of a whole property with eight zones after two months."""
    site = load_site(example_path("full-property")).site
    begins = datetime(2027, 6, 1, 17, tzinfo=UTC)
    board = Board(tmp_path_factory.mktemp("property"), site, begins, tick_s=6 * 3600)
    board.run_until(datetime(2027, 7, 4, 2, tzinfo=UTC))
    board.cut_power(7200)
    board.run_until(datetime(2027, 8, 1, 16, tzinfo=UTC))
    board.close()
    planner = Planner(site)
    year = year_to_come(planner, board.true_utc)
    now_utc = board.true_utc
    return write_report(report_season(planner, board.reader, "2027-summer", now_utc=now_utc, year=year))


@pytest.mark.parametrize("size", SIZES)
def test_it_prints_on_either_paper(report, tmp_path, size):
    """Eight zones with lamps, picture and remarks take three numbered pages of either paper."""
    sheets = print_pages(tmp_path, report, size)
    assert [text.rstrip().splitlines()[-1].split("   ")[-1].strip() for text in sheets] == [
        f"page {number} of 3" for number in (1, 2, 3)
    ]


def test_tables_go_on_over_pages_with_their_headings(tmp_path):
    """Where a table goes on, the next page has its heading again, no row is cut, and the total comes once."""
    names = [f"begin{n} of a zone whose name goes over several lines end{n}" for n in range(10, 26)]
    zones = [zone(f"z{n}", pin=n - 8, name=name, rated_watts=5) for n, name in enumerate(names, start=10)]
    board = Board(tmp_path / "state", site(*zones), datetime(2027, 6, 1, 12, tzinfo=UTC), tick_s=6 * 3600)
    board.run_until(datetime(2027, 6, 3, 12, tzinfo=UTC))
    board.close()
    planner, now_utc = Planner(board.site), board.true_utc
    year = year_to_come(planner, now_utc)
    html = write_report(report_season(planner, board.reader, "2027-06", now_utc=now_utc, year=year))
    # Only the table of the zones is looked at, larger than a page.
    html = re.sub(r"(?s)<figure.*?</figure>", "", html).replace("font-size: 9.6pt", "font-size: 18pt")
    sheets = print_pages(tmp_path, html, "A4")
    with_rows = [text for text in sheets if re.search(r"begin\d\d", text)]
    assert len(with_rows) > 1
    for text in with_rows:
        assert re.search(r"Zone +Lit", text)
        assert re.findall(r"begin(\d\d)", text) == re.findall(r"end(\d\d)", text)
    assert re.findall(r"begin(\d\d)", "".join(sheets)) == [str(n) for n in range(10, 26)]
    assert sum(len(re.findall(r"^ *Total", text, re.MULTILINE)) for text in sheets) == 1


@pytest.mark.parametrize("width", [360, 390, 800, 1400])
def test_no_screen_has_to_be_pushed_sideways(report, tmp_path, width):
    """On a phone as on a wide screen the page is as wide as the window; only its tables scroll."""
    # A frame, because no window of a browser is as narrow as a phone.
    frame = (
        f'<title>?</title><iframe width="{width}" height="900" style="border: 0" srcdoc="{escape(report)}" '
        'onload="const page = this.contentDocument.documentElement;'
        "document.title = page.scrollWidth + '/' + page.clientWidth\"></iframe>"
    )
    told = browse(tmp_path, frame, "--window-size=1600,1000", "--dump-dom")
    wide, seen = map(int, re.search(r"<title>(\d+)/(\d+)</title>", told).groups())
    # A scroll bar may take up to 20 pixels of the frame.
    assert width - 20 <= seen <= width
    assert wide <= seen
