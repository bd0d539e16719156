"""The site sheet in a real browser, printed on A4 and Letter."""

from __future__ import annotations

import pytest

from api.render.wiring.site_sheet import make_sheet
from config.file.loader import example_path, load_site
from controller.inspection.report import report_site
from tests.api.paper import SIZES, needs_browser, print_pages

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
