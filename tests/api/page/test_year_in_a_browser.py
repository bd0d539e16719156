"""The year's picture in a real browser: a night is read where a pointer, a finger or the slider is."""

from playwright.sync_api import expect

from tests.api.browser import browsing, needs_chromium
from tests.api.lines import LONG_S

pytestmark = needs_chromium

LONG_MS = LONG_S * 1000
# The 172nd night of the year is that of 21 June, which is tonight in this house.
TONIGHT, NIGHTS = 171, 365


def open_year(page, server):
    page.set_default_timeout(LONG_MS)
    page.goto(server.url.rstrip("/") + "/year")
    expect(page.locator("#slide")).to_be_visible(timeout=LONG_MS)
    return page.locator("#told")


def place_of(page, night):
    box = page.locator("svg.nights[role=img]").first.bounding_box()
    return {"x": box["width"] * (night + 0.5) / NIGHTS, "y": box["height"] / 2}


def test_a_pointer_reads_the_night_that_it_is_on(server):
    """Over a night's column its sentence stands below, without a click and without a reload."""
    with browsing() as (page, complaints):
        told = open_year(page, server)
        strip = page.locator("svg.nights[role=img]").first
        strip.hover(position=place_of(page, TONIGHT + 3))
        expect(told).to_contain_text("The night of Thursday, June 24, 2027", timeout=LONG_MS)
        expect(told).to_contain_text("Jetty and steps: to be lit from 8:57", timeout=LONG_MS)
        expect(page.locator("#night")).to_have_value("2027-06-24")
        assert complaints == []


def test_a_finger_and_the_keyboard_read_too(server):
    """A tap reads a night, and the arrows of the slider lead to its neighbours, told to a screen reader."""
    with browsing() as (known, _):
        page = known.context.browser.new_context(
            has_touch=True, viewport={"width": 360, "height": 740}
        ).new_page()
        told = open_year(page, server)
        page.locator("svg.nights[role=img]").first.tap(position=place_of(page, TONIGHT + 10))
        expect(told).to_contain_text("July 1, 2027", timeout=LONG_MS)
        page.locator("#slide").focus()
        page.keyboard.press("ArrowLeft")
        expect(told).to_contain_text("June 30, 2027", timeout=LONG_MS)
        expect(page.locator("#slide")).to_have_attribute(
            "aria-valuetext", "The night of Wednesday, June 30, 2027"
        )


def test_a_board_that_does_not_answer_is_told(server):
    """A night that cannot be read says so."""
    with browsing() as (page, _):
        told = open_year(page, server)
        page.route("**/year/2027-*", lambda route: route.abort())
        page.locator("#slide").focus()
        page.keyboard.press("ArrowRight")
        expect(told).to_contain_text("The board does not answer.", timeout=LONG_MS)


def test_paper_is_white_by_night_too(server):
    """Printed from a dark screen, text is dark ink on white paper, and nothing to press is printed."""
    with browsing() as (known, _):
        page = known.context.browser.new_context(color_scheme="dark").new_page()
        page.set_default_timeout(LONG_MS)
        for path in ("/", "/year", "/cost"):
            page.goto(server.url.rstrip("/") + path)
            ink = "getComputedStyle(document.querySelector('main .say')).color"
            assert page.evaluate(ink) == "rgb(236, 230, 216)"
            page.emulate_media(media="print", color_scheme="dark")
            assert page.evaluate(ink) == "rgb(35, 40, 56)"
            assert page.locator("button:visible, a.button:visible").count() == 0
            page.emulate_media(media="screen", color_scheme="dark")
