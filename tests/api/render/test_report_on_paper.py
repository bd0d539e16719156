"""The report in a real browser: printed on A4 and Letter, and on a phone, with nothing cut off."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from datetime import UTC, datetime
from html import escape
from pathlib import Path

import pytest

from api.render.season_report import write_report
from config.file.loader import example_path, load_site
from controller.history.report import report_season, year_to_come
from controller.planning.planner import Planner
from tests.controller.board import Board

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(
    CHROMIUM is None and not os.environ.get("CI"), reason="no chromium here; the CI installs it"
)
# In points of 1/72 inch: ISO 216 A4 is 210 by 297 mm, ANSI/ASME Y14.1 size A 8.5 by 11 inches.
A4, LETTER = (595, 842), (612, 792)


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


def browse(folder: Path, html: str, *args: str) -> str:
    """Have a browser of our own open a page, and give what it prints."""
    page = folder / "report.html"
    page.write_text(html, encoding="utf-8")
    quiet = ["--no-first-run", "--disable-background-networking", "--disable-component-update"]
    result = subprocess.run(
        [
            str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--disable-sync", *quiet,
            f"--user-data-dir={folder / 'profile'}", *args, page.as_uri(),
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )  # fmt: skip
    return result.stdout


@pytest.mark.parametrize(("size", "points"), [("A4", A4), ("letter", LETTER)], ids=["A4", "Letter"])
def test_it_prints_on_either_paper(report, tmp_path, size, points):
    """Eight zones with lamps, picture and remarks take three pages of the printer's paper."""
    # A browser without a window has no printer whose paper it could take, so the test names one.
    sized = report.replace("@page {", f"@page {{ size: {size};", 1)
    assert sized != report
    paper = tmp_path / "report.pdf"
    browse(tmp_path, sized, "--no-pdf-header-footer", f"--print-to-pdf={paper}")
    found = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", paper.read_bytes())
    assert [(round(float(wide)), round(float(high))) for wide, high in found] == [points] * 3


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
