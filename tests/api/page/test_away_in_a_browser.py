"""A phone that is away for a while, and what ends by itself: the screen of tonight in a real browser."""

import pytest
from playwright.sync_api import expect

from tests.api.browser import browsing, needs_chromium
from tests.api.lines import LONG_S
from tests.api.page.test_in_a_browser import SCREENS, open_page, put_out

pytestmark = needs_chromium

LONG_MS = LONG_S * 1000


def test_what_was_asked_for_ends_on_the_screen(house, server):
    """After its half hour a zone that was put out is lit again, without a reload and without a touch."""
    with browsing() as (page, complaints):
        open_page(page, server)
        page.evaluate("window.same = true")
        page.get_by_label("Jetty and steps: for how long").click()
        page.locator("#for-jetty").select_option("30m")
        page.locator("#more-jetty").get_by_role("button", name="Put out").click()
        expect(page.locator("#jetty p")).to_contain_text("back to its program at 10:00", timeout=LONG_MS)
        page.evaluate("document.activeElement.blur()")
        for _ in range(62):
            house.pass_time(30)
        expect(page.locator("#jetty p")).to_contain_text("lit since 10:00", timeout=LONG_MS)
        assert page.evaluate("window.same")
        assert complaints == []


def test_a_phone_without_network_says_so_and_catches_up(house, server):
    """A press that reaches nobody is told and switches nothing; back in the network it shows what is so."""
    with browsing() as (page, _):
        open_page(page, server)
        expect(page.locator("#jetty p")).to_contain_text("lit since", timeout=LONG_MS)
        page.context.set_offline(True)
        page.get_by_role("button", name="Jetty and steps: put out for now").click()
        expect(page.locator(".stale")).to_contain_text("how it was on Monday", timeout=LONG_MS)
        assert house.gateway.status.zones[0].lit
        put_out(server, "orchard")
        page.context.set_offline(False)
        expect(page.locator("#orchard p")).to_contain_text("put out by", timeout=LONG_MS)
        expect(page.locator(".stale")).to_have_count(0, timeout=LONG_MS)


def test_a_phone_that_slept_shows_what_is_so_once_it_is_looked_at(house, server):
    """A screen that nobody sees listens to nothing; what happened meanwhile shows at once on its return."""
    with browsing() as (page, _):
        open_page(page, server)
        expect(page.locator("#jetty p")).to_contain_text("lit since", timeout=LONG_MS)
        turn = """(hidden) => {
            Object.defineProperty(document, "hidden", { value: hidden, configurable: true });
            document.dispatchEvent(new Event("visibilitychange"));
        }"""
        page.evaluate(turn, True)
        page.wait_for_timeout(1000)  # until it has let go of the stream
        put_out(server)
        page.wait_for_timeout(2000)
        assert "lit since" in page.locator("#jetty p").inner_text()
        page.evaluate(turn, False)
        expect(page.locator("#jetty p")).to_contain_text("put out by", timeout=LONG_MS)


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_every_screen_prints(house, server, size):
    """Each becomes a document of few sheets; none is empty, and nothing to press or to fill in is on it."""
    with browsing() as (page, complaints):
        for path in SCREENS[:-2]:
            open_page(page, server, path)
            printed = page.pdf(format=size, print_background=True)
            assert 1 <= printed.count(b"/Type /Page\n") <= 12, path
            page.emulate_media(media="print")
            assert page.locator("main").inner_text().strip(), path
            assert page.locator(":is(button, select, input, textarea):visible").count() == 0, path
            page.emulate_media(media="screen")
        assert complaints == []
