"""The garden's forms in a real browser: everybody can use them, they fit, and scripts help with the pins."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.api.browser import browsing, needs_chromium
from tests.api.lines import serving
from tests.api.page.conftest import PageHouse
from tests.api.page.test_in_a_browser import open_page, require_accessible

pytestmark = needs_chromium

EXAMPLE = Path(__file__).parents[3] / "config" / "examples" / "full-property.toml"
FORMS = [
    "/garden",
    "/garden/cables/2",
    "/garden/cables/5",
    "/garden/new/cables",
    "/garden/tariff",
    "/garden/tariff/bands/1",
    "/garden/tariff/changes/1",
    "/garden/new/tariff/changes/1/bands",
    "/garden/relays",
    "/garden/clock",
    "/garden/network",
    "/garden/wiring",
    "/garden/place",
    "/garden/transformers/house",
    "/garden/zones/terrace",
    "/garden/zones/terrace/fixtures/1",
]


@pytest.fixture
def property_server(tmp_path):
    """A whole property, by its example."""
    house = PageHouse(tmp_path, site=EXAMPLE.read_text("utf-8"), at_utc=datetime(2027, 9, 18, 1, tzinfo=UTC))
    with serving(house.make_app) as server:
        yield server
    house.close()


@pytest.mark.parametrize(("scheme", "language"), [("light", "de-DE"), ("dark", "en-GB")])
def test_everybody_can_use_the_forms(property_server, scheme, language):
    """Axe finds nothing on any of them, as they are and with something wrong on them (WCAG 2.2 AA)."""
    with browsing() as (known, _):
        context = known.context.browser.new_context(color_scheme=scheme, locale=language, bypass_csp=True)
        page = context.new_page()
        for path in FORMS:
            open_page(page, property_server, path)
            page.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")
            require_accessible(page)
        open_page(page, property_server, "/garden/cables/2")
        page.locator("#f-gauge").fill("thick")
        page.locator("form.fields button").click()
        require_accessible(page)


@pytest.mark.parametrize("width", [320, 768, 2560])
def test_the_forms_fit_every_screen(property_server, width):
    """Nothing is wider than the screen, and everything that can be pressed is large enough for a finger."""
    with browsing() as (page, complaints):
        page.set_viewport_size({"width": width, "height": 800})
        for path in FORMS:
            open_page(page, property_server, path)
            page.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            for box in (
                each.bounding_box() for each in page.locator("main :is(button, .button):visible").all()
            ):
                assert min(box["width"], box["height"]) >= 44, path
        assert complaints == []


# The widest option of each list, in its font, against what the list leaves beside the arrow of 20 px.
CUT_OFF = """() => {
  const pen = document.createElement("canvas").getContext("2d"), cut = [];
  for (const list of document.querySelectorAll("main select")) {
    if (!list.checkVisibility()) continue;
    const style = getComputedStyle(list);
    pen.font = style.font;
    const room = list.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight) - 20;
    for (const each of list.options) if (pen.measureText(each.text).width > room)
      cut.push(`${list.name}: ${each.text} (${Math.round(pen.measureText(each.text).width)} of ${room})`);
  }
  return cut;
}"""


@pytest.mark.parametrize("language", ["de-DE", "en-GB"])
def test_every_choice_can_be_read_on_a_phone(property_server, language):
    """No option of a list is cut off on a screen of 360 px."""
    with browsing() as (known, _):
        context = known.context.browser.new_context(locale=language, viewport={"width": 360, "height": 740})
        page = context.new_page()
        for path in FORMS:
            open_page(page, property_server, path)
            page.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")
            assert page.evaluate(CUT_OFF) == [], path


def test_the_volts_of_the_header_are_written_as_the_language_writes_them(property_server):
    """Pins 1 and 17 of the drawing have a decimal comma in German."""
    for language, volts in (("de-DE", "3,3 V"), ("en-GB", "3.3 V")):
        with browsing() as (known, _):
            page = known.context.browser.new_context(locale=language).new_page()
            open_page(page, property_server, "/garden/zones/terrace")
            labels = page.locator("#drawing svg text").all_text_contents()
            assert [each for each in labels if each.startswith("3")].count(volts) == 2


def test_a_pin_is_chosen_on_the_drawing(property_server):
    """A touch on a free pin chooses it; those of other zones stay as they are."""
    with browsing() as (page, complaints):
        open_page(page, property_server, "/garden/zones/terrace")
        page.locator("#drawing summary").click()
        page.locator('#drawing [data-bcm="16"]').click()
        assert page.locator("#f-pin").input_value() == "16"
        assert page.locator('[data-bcm="16"] .in').text_content() == "4"
        assert page.locator('[data-bcm="23"] .in').text_content() == "16"
        assert page.locator('#drawing [data-bcm="17"]').count() == 0
        assert complaints == []


def test_what_belongs_to_a_hub_is_shown_for_a_hub_only(property_server):
    """The legs come and go with the choice, without a script."""
    with browsing() as (known, _):
        page = known.context.browser.new_context(java_script_enabled=False).new_page()
        open_page(page, property_server, "/garden/cables/5")
        assert not page.locator("#f-legs").is_visible()
        page.locator("#f-form").select_option("hub")
        assert page.locator("#f-legs").is_visible()
