"""The page in a real browser: what it shows by itself, without a reload; and without scripts."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.api.browser import browsing, needs_chromium
from tests.api.lines import LONG_S, ask, serving

pytestmark = needs_chromium

LONG_MS = LONG_S * 1000


def put_out(server, zone="jetty"):
    path = f"/v1/zones/{zone}/override"
    return ask(server, "PUT", path, '{"light": "off"}', content_type="application/json")


def require_accessible(page):
    """Have axe look at a screen as it is: it finds nothing, and leaves open nothing but text in a picture."""
    found = Axe().run(page).response
    assert [(each["id"], [node["target"] for node in each["nodes"]]) for each in found["violations"]] == []
    unsure = [
        (each["id"], node["target"])
        for each in found["incomplete"]
        for node in each["nodes"]
        if "<text" not in node["html"]
    ]
    assert unsure == []


def open_page(page, server, path="/"):
    page.set_default_timeout(LONG_MS)
    page.goto(server.url.rstrip("/") + path)
    return page


def test_what_happens_elsewhere_shows_by_itself(house, server):
    """A zone that another phone puts out is dark on this screen, without a reload."""
    with browsing() as (page, complaints):
        open_page(page, server)
        expect(page.locator("#jetty p")).to_contain_text("lit since", timeout=LONG_MS)
        page.wait_for_timeout(1000)  # until it listens, and has looked once
        page.evaluate("window.same = true")
        put_out(server)
        expect(page.locator("#jetty p")).to_contain_text("put out by", timeout=LONG_MS)
        assert page.evaluate("window.same")
        assert complaints == []


def test_one_touch_and_undo(house, server):
    """A button puts a zone out, its answer takes the place of the screen, and undo lights it again."""
    with browsing() as (page, complaints):
        open_page(page, server)
        page.get_by_role("button", name="Jetty and steps: put out for now").click()
        expect(page.locator("#jetty p")).to_contain_text("put out by this board", timeout=LONG_MS)
        assert not house.gateway.status.zones[0].lit
        page.get_by_role("button", name="Jetty and steps: undo").click()
        expect(page.locator("#jetty p")).to_contain_text("lit since", timeout=LONG_MS)
        assert house.gateway.status.zones[0].lit
        assert complaints == []


def test_a_choice_that_is_open_stays_open(house, server):
    """What happens meanwhile does not close what a person has opened."""
    with browsing() as (page, _):
        open_page(page, server)
        page.get_by_label("orchard: for how long").click()
        put_out(server)
        expect(page.locator("#jetty p")).to_contain_text("put out by", timeout=LONG_MS)
        expect(page.locator("#more-orchard")).to_have_attribute("open", "")
        page.locator("#for-orchard").select_option("2h")
        page.locator("#more-orchard").get_by_role("button", name="Put out").click()
        expect(page.locator("#orchard p")).to_contain_text("back to its program at 11:30", timeout=LONG_MS)


def test_a_board_that_restarts_is_survived(house):
    """While it is away the screen says so and since when; once it is back it shows what is so now."""
    with browsing() as (page, _):
        with serving(house.make_app) as server:
            port = server.port
            open_page(page, server)
            expect(page.locator("#jetty p")).to_contain_text("lit since", timeout=LONG_MS)
        expect(page.locator(".stale")).to_contain_text("how it was on Monday", timeout=LONG_MS)
        house.loop.call(lambda keeper: keeper.override("jetty", on=False, lasts_s=3600.0))
        with serving(house.make_app, port=port):
            expect(page.locator("#jetty p")).to_contain_text("put out by", timeout=LONG_MS)
            expect(page.locator(".stale")).to_have_count(0, timeout=LONG_MS)


def test_seven_tabs_work(house, server):
    """A tab that is not seen listens to nothing, so that a browser's six connections are enough."""
    with browsing() as (first, _):
        context = first.context.browser.new_context()
        pages = [context.new_page() for _ in range(7)]
        for page in pages:
            open_page(page, server)
            expect(page.locator("#jetty p")).to_contain_text("lit since", timeout=LONG_MS)


def test_it_works_without_scripts(house, server):
    """Reading, on and off, and another language need no script."""
    with browsing() as (known, _):
        page = known.context.browser.new_context(java_script_enabled=False).new_page()
        open_page(page, server)
        page.get_by_role("button", name="Jetty and steps: put out for now").click()
        expect(page.locator("#jetty p")).to_contain_text("put out by this board", timeout=LONG_MS)
        page.get_by_role("button", name="Deutsch").click()
        expect(page.locator("#jetty p")).to_contain_text("ausgeschaltet", timeout=LONG_MS)


SCREENS = [
    "/",
    "/programs",
    "/report/2027-summer",
    "/sheet",
    "/what-if?off=23:00",
    "/programs/jetty",
    "/lamps",
    "/cost?period=2027-06",
    "/year?night=2027-06-20",
    "/year/2027-06",
    "/cables",
    "/garden/devices",
    "/garden",
    "/garden/place",
    "/garden/zones/jetty",
    "/garden/new/zones",
    "/sign-in",
    "/static/0/none",
]


@pytest.mark.parametrize("language", ["en-GB", "de-DE"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everybody_can_use_it(house, server, scheme, language):
    """Axe finds nothing, and leaves open nothing but what is drawn, on any screen (WCAG 2.2 AA)."""
    put_out(server)
    with browsing() as (known, _):
        context = known.context.browser.new_context(color_scheme=scheme, locale=language, bypass_csp=True)
        page = context.new_page()
        # Without its script, which would put a fresh screen in the place of the one that is looked at.
        page.route("**/page.js", lambda route: route.abort())
        for path in SCREENS:
            open_page(page, server, path)
            for each in page.locator("summary").all():
                each.click()
            require_accessible(page)


@pytest.mark.parametrize("width", [320, 360, 768, 1440, 2560])
def test_it_fits_every_screen(house, server, width):
    """Nothing is wider than the screen, and everything that can be pressed is large enough for a finger."""
    with browsing() as (page, _):
        page.set_viewport_size({"width": width, "height": 800})
        for path in SCREENS:
            open_page(page, server, path)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            boxes = [each.bounding_box() for each in page.locator("main :is(button, .button):visible").all()]
            for box in filter(None, boxes):
                assert min(box["width"], box["height"]) >= 44, path


def test_times_are_those_of_the_garden(house, server):
    """A phone in another time zone sees the garden's times."""
    with browsing() as (known, _):
        page = known.context.browser.new_context(timezone_id="Asia/Tokyo").new_page()
        open_page(page, server)
        expect(page.locator("#jetty p")).to_contain_text("lit since 8:56", timeout=LONG_MS)
