"""The screens of the cables in a real browser: they fit, everybody can use them, and each path works."""

import re
from contextlib import contextmanager

import pytest
from playwright.sync_api import expect

from config.errors import Severity
from config.file.loader import parse_site
from controller.inspection.report import report_site
from tests.api.browser import browsing, needs_chromium
from tests.api.lines import serving
from tests.api.page.conftest import PageHouse
from tests.api.page.test_cable_proposals import FAILING, TRIED
from tests.api.page.test_in_a_browser import LONG_MS, open_page, require_accessible
from tests.site_of_faults import splice_garden

pytestmark = needs_chromium


@contextmanager
def garden_served(folder, text):
    folder.mkdir()
    house = PageHouse(folder, site=text)
    with serving(house.make_app) as server:
        yield house, server
    house.close()


def has_errors(house):
    site = parse_site(house.site_path.read_text(encoding="utf-8"), "site.toml").site
    return any(each.level is Severity.ERROR for each in report_site(site))


def apply_first(page, server):
    open_page(page, server, TRIED.format(1))
    page.get_by_role("button", name="Apply it").click()
    expect(page.locator("#changed")).to_contain_text("Written into the site file", timeout=LONG_MS)


@pytest.mark.parametrize(("scheme", "language"), [("light", "de-DE"), ("dark", "en-GB")])
def test_everybody_can_use_them(tmp_path, scheme, language):
    """Axe finds nothing on a diagnosis, on proposals, on one that is tried, nor after it is written."""
    with (
        garden_served(tmp_path / "failing", FAILING) as (_, failing),
        garden_served(tmp_path / "fault", splice_garden()[0]) as (_, fault),
        browsing() as (known, _),
    ):
        context = known.context.browser.new_context(color_scheme=scheme, locale=language, bypass_csp=True)
        page = context.new_page()
        tried = [(failing, TRIED.format(number)) for number in (1, 2)]
        for server, path in [(failing, "/cables"), (fault, "/cables"), *tried]:
            open_page(page, server, path)
            page.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")
            require_accessible(page)
        page.locator("form[action='/cables/proposals/2'] button").click()
        expect(page.locator("#changed")).to_be_visible(timeout=LONG_MS)
        require_accessible(page)


@pytest.mark.parametrize("width", [320, 360, 768, 1440, 2560])
def test_they_fit_every_screen(tmp_path, width):
    """Nothing is wider than the screen, and everything that can be pressed is large enough for a finger."""
    with (
        garden_served(tmp_path / "failing", FAILING) as (_, failing),
        garden_served(tmp_path / "fault", splice_garden()[0]) as (_, fault),
        browsing() as (page, complaints),
    ):
        page.set_viewport_size({"width": width, "height": 800})
        tried = [(failing, TRIED.format(number)) for number in (1, 2)]
        for server, path in [(failing, "/cables"), (fault, "/cables"), *tried]:
            open_page(page, server, path)
            page.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            for each in page.locator("main :is(button, .button):visible").all():
                box = each.bounding_box()
                assert min(box["width"], box["height"]) >= 44, path
        assert complaints == []


def test_measured_volts_lead_to_the_place(tmp_path):
    """Who taps each lamp and notes what the meter shows is led to the splice, on the tree."""
    text, volts = splice_garden(read=(), ohm=0.4)
    with garden_served(tmp_path / "garden", text) as (_, server), browsing() as (page, complaints):
        open_page(page, server, "/cables")
        for number, node in enumerate(("a1", "a2", "a3", "a4", "a5"), start=2):
            lamp = page.locator(f"#lamp-boathouse-1-{number}")
            lamp.locator("summary").click()
            lamp.get_by_label("Volts, everything lit").fill(f"{volts[node]:.2f}")
            lamp.get_by_role("button", name="Note it").click()
            expect(lamp.locator("summary")).to_have_text(re.compile("measured: "), timeout=LONG_MS)
        expect(page.locator("h1")).to_contain_text("The volts that were measured point to a fault.")
        expect(page.locator("h1")).to_contain_text("between “a3” and “a4”")
        page.locator("#lamp-boathouse-1-6").get_by_role("link", name="Where to look").click()
        page.get_by_role("link", name="See place 1 on the tree").click()
        mark = page.locator("#look-boathouse-1")
        expect(mark).to_be_in_viewport(timeout=LONG_MS)
        expect(mark).to_contain_text("look here first")
        below, node = mark.bounding_box(), page.locator(".stop", has_text="a4").bounding_box()
        assert below["y"] < node["y"] < below["y"] + 100
        assert complaints == []


def test_a_proposal_is_tried_applied_and_undone(tmp_path):
    """Trying changes nothing, applying writes the site file with its comments, undoing gives it back."""
    with garden_served(tmp_path / "garden", FAILING) as (house, server), browsing() as (page, complaints):
        open_page(page, server, "/cables")
        page.get_by_role("link", name="Try proposal 1 for boathouse").click()
        expect(page.locator("h1")).to_contain_text("Then 6 of 6 lamps", timeout=LONG_MS)
        assert house.site_path.read_text(encoding="utf-8") == FAILING
        assert has_errors(house)
        page.get_by_role("button", name="Apply it").click()
        expect(page.locator("#changed")).to_contain_text("Written into the site file", timeout=LONG_MS)
        written = house.site_path.read_text(encoding="utf-8")
        assert written != FAILING
        assert re.findall("#.*", written) == re.findall("#.*", FAILING)
        assert not has_errors(house)
        page.get_by_role("button", name="Undo this change").click()
        expect(page.locator("#changed")).to_contain_text("Taken out of the site file again", timeout=LONG_MS)
        assert house.site_path.read_text(encoding="utf-8") == FAILING
        assert complaints == []


def test_it_works_without_scripts(tmp_path):
    """Trying, applying and undoing need no script."""
    with garden_served(tmp_path / "garden", FAILING) as (house, server), browsing() as (known, _):
        page = known.context.browser.new_context(java_script_enabled=False).new_page()
        apply_first(page, server)
        assert not has_errors(house)
        page.get_by_role("button", name="Undo this change").click()
        expect(page.locator("#changed")).to_contain_text("Taken out", timeout=LONG_MS)
