"""The form of a program in a real browser: what its script adds, and what its style hides."""

import pytest
from playwright.sync_api import expect

from tests.api.browser import browsing, needs_chromium
from tests.api.page.test_in_a_browser import LONG_MS, open_page, require_accessible

pytestmark = needs_chromium


def test_what_it_would_do_shows_while_it_is_filled_in(house, server):
    """A choice in the sentence changes the line, the words and the preview, without a press and a reload."""
    with browsing() as (page, complaints):
        open_page(page, server, "/programs/jetty")
        page.evaluate("window.same = true")
        page.locator("[name=p0s0-end]").select_option("for")
        page.locator("[name=p0s0-lasts]").select_option("3h")
        expect(page.locator("#preview")).to_contain_text("h less than now", timeout=LONG_MS)
        expect(page.locator("[name=p0s0-text]")).to_have_value("dusk for 3h")
        expect(page.locator("[data-part=p0-said]")).to_have_text("Every night from dusk for 3 hours.")
        assert page.evaluate("window.same")
        assert complaints == []


def test_a_typed_line_fills_the_sentence_in_and_its_mistakes_show(house, server):
    """The field that is typed in is left alone; the sentence follows, or the mistake shows at its word."""
    with browsing() as (page, complaints):
        open_page(page, server, "/programs/jetty")
        page.locator("[id='p0s0-more'] summary").click()
        line = page.locator("[name=p0s0-text]")
        line.fill("21:15 to 23:45, while")
        expect(page.locator("[data-part='p0s0-wrong']")).to_contain_text("dark", timeout=LONG_MS)
        expect(line).to_have_value("21:15 to 23:45, while")
        line.fill("21:15 to 23:45")
        expect(page.locator("[name=p0s0-begin]")).to_have_value("time", timeout=LONG_MS)
        expect(page.locator("[name=p0s0-end-at]")).to_have_value("23:45")
        expect(page.locator("[data-part='p0s0-wrong']")).to_have_text("")
        # The line was taken over, so that another choice in the sentence is no contradiction.
        page.locator("[name=p0s0-end]").select_option("midnight")
        expect(line).to_have_value("21:15 to midnight", timeout=LONG_MS)
        page.get_by_role("button", name="Save this program").click()
        expect(page).to_have_url(server.url.rstrip("/") + "/programs#jetty", timeout=LONG_MS)
        assert [str(span) for span in house.gateway.site.zone("jetty").program] == ["21:15 to midnight"]
        assert complaints == []


def test_stretches_are_added_and_removed_without_a_reload(house, server):
    """The form is drawn anew in its place, with what was filled in."""
    with browsing() as (page, complaints):
        open_page(page, server, "/programs/jetty")
        page.evaluate("window.same = true")
        page.locator("[name=p0s0-end]").select_option("dawn")
        page.locator("button[value=add-0]").click()
        expect(page.locator("[name=p0s1-text]")).to_have_value("05:30 to dawn", timeout=LONG_MS)
        expect(page.locator("[name=p0s0-text]")).to_have_value("dusk to dawn")
        page.locator("button[value=cut-0-0]").click()
        expect(page.locator("[name=p0s1-text]")).to_have_count(0, timeout=LONG_MS)
        expect(page.locator("[name=p0s0-text]")).to_have_value("05:30 to dawn")
        assert page.evaluate("window.same")
        assert complaints == []


def test_only_the_blanks_that_a_choice_needs_are_shown(house, server):
    """A time, a length, days or a date are there only where they count, without any script too."""
    with browsing() as (known, _):
        page = known.context.browser.new_context(java_script_enabled=False).new_page()
        open_page(page, server, "/programs/jetty")
        expect(page.locator("[name=p0s0-end-at]")).to_be_hidden()
        expect(page.locator("[name=p0s0-lasts]")).to_be_hidden()
        page.locator("[name=p0s0-end]").select_option("time")
        expect(page.locator("[name=p0s0-end-at]")).to_be_visible()
        page.locator("[name=p0s0-end]").select_option("for")
        expect(page.locator("[name=p0s0-end-at]")).to_be_hidden()
        expect(page.locator("[name=p0s0-lasts]")).to_be_visible()
        expect(page.locator("[name=p1-day4]")).to_be_visible()
        page.locator("[name=p1-nights]").select_option("date")
        expect(page.locator("[name=p1-day4]")).to_be_hidden()
        expect(page.locator("[name=p1-date]")).to_be_visible()
        page.get_by_role("button", name="See what it would do").click()
        expect(page.locator("#preview")).to_have_count(1, timeout=LONG_MS)


def test_two_phones_in_a_browser(house, server):
    """The second phone is told in words, and chooses with one button."""
    with browsing() as (first, _):
        second = first.context.browser.new_page()
        open_page(first, server, "/programs/jetty")
        open_page(second, server, "/programs/jetty")
        for page, end in ((first, "dawn"), (second, "sunrise")):
            page.locator("[name=p0s0-end]").select_option(end)
            page.get_by_role("button", name="Save this program").click()
        expect(second.locator("h1")).to_contain_text(
            "changed the program of Jetty and steps", timeout=LONG_MS
        )
        second.get_by_role("button", name="Save mine instead").click()
        expect(second).to_have_url(server.url.rstrip("/") + "/programs#jetty", timeout=LONG_MS)
        assert [str(span) for span in house.gateway.site.zone("jetty").program] == ["dusk to sunrise"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 1440])
def test_every_state_of_the_form_can_be_used_by_everybody(house, server, scheme, width):
    """With a mistake, with a preview, where it is asked for which zones, and which of two versions."""
    with browsing() as (known, _):
        context = known.context.browser.new_context(
            color_scheme=scheme, viewport={"width": width, "height": 800}, bypass_csp=True
        )
        page, other = context.new_page(), context.new_page()
        open_page(page, server, "/programs/jetty")
        open_page(other, server, "/programs/jetty")

        def look(at):
            require_accessible(at)
            assert at.evaluate("document.documentElement.scrollWidth") <= width

        page.locator("[id='p0s0-more'] summary").click()
        page.locator("[name=p0s0-text]").fill("dusk til late")
        expect(page.locator("[data-part='p0s0-wrong'] mark")).to_have_text("til", timeout=LONG_MS)
        look(page)
        page.locator("[name=p0s0-text]").fill("sunset+20m to 22:00, at most 1h, while dark")
        expect(page.locator("#preview svg")).to_have_count(4, timeout=LONG_MS)
        for kind in ("date", "stretch"):
            page.locator("[name=p1-nights]").select_option(kind)
            look(page)
        page.locator("[name=p1-nights]").select_option("days")
        page.locator("button[value=everywhere]").click()
        expect(page.locator("[name=zone-orchard]")).to_be_checked(timeout=LONG_MS)
        look(page)
        page.locator("main form button").first.click()
        expect(page).to_have_url(server.url.rstrip("/") + "/programs", timeout=LONG_MS)
        other.locator("[name=p0s0-end]").select_option("dawn")
        other.locator("button[value=save]").click()
        expect(other.locator(".beside")).to_have_count(1, timeout=LONG_MS)
        look(other)


def test_enter_in_the_line_shows_what_it_would_do_and_keeps_the_place(house, server):
    """Enter saves nothing: the preview comes, and the line is still where one types."""
    with browsing() as (page, _):
        open_page(page, server, "/programs/jetty")
        page.locator("[id='p0s0-more'] summary").click()
        page.locator("[name=p0s0-text]").fill("dusk to 22:00")
        page.keyboard.press("Enter")
        expect(page.locator("#preview")).to_contain_text("h less than now", timeout=LONG_MS)
        expect(page.locator("[name=p0s0-text]")).to_be_focused()
        assert [str(span) for span in house.gateway.site.zone("jetty").program] == ["dusk to midnight"]
