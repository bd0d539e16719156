"""A real browser of our own: prints pages to paper, and says how they look on a screen."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
PDFTOTEXT = shutil.which("pdftotext")
needs_browser = pytest.mark.skipif(
    (CHROMIUM is None or PDFTOTEXT is None) and not os.environ.get("CI"),
    reason="no chromium or pdftotext here; the CI installs them",
)
# In points of 1/72 inch: ISO 216 A4 is 210 by 297 mm, ANSI/ASME Y14.1 size A 8.5 by 11 inches.
SIZES = {"A4": (595, 842), "letter": (612, 792)}


def browse(folder: Path, html: str, *args: str) -> str:
    """Have the browser open a page, and give what it prints."""
    page = folder / "page.html"
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


def print_pages(folder: Path, html: str, size: str) -> list[str]:
    """Print a page on paper of a size, and give the text of each sheet, laid out as it stands."""
    # A browser without a window has no printer whose paper it could take, so it is named.
    sized = html.replace("@page {", f"@page {{ size: {size};", 1)
    assert sized != html
    paper = folder / "page.pdf"
    browse(folder, sized, "--no-pdf-header-footer", f"--print-to-pdf={paper}")
    found = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", paper.read_bytes())
    assert {(round(float(wide)), round(float(high))) for wide, high in found} == {SIZES[size]}
    text = subprocess.run(
        [str(PDFTOTEXT), "-layout", str(paper), "-"], capture_output=True, text=True, timeout=60, check=True
    ).stdout
    sheets = text.split("\f")[:-1]
    assert len(sheets) == len(found)
    return sheets
