"""The set-up of a new garden on the page: its form, without scripts and in a browser."""

import asyncio
import dataclasses
import re

import httpx
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from api.daemon.first_run import let_phone_in, make_first_app
from api.page.garden.first_run import FirstRun
from api.web.listening import Listening
from config.errors import RelayError
from config.file.loader import load_site
from config.header import RELAY_LINES
from controller.clock import zone_of_place
from controller.relays import Wire
from tests.api.browser import browsing, needs_chromium
from tests.api.lines import LONG_S, serving
from tests.api.page.screens import Screen, screen, send
from tests.api.page.test_devices import CODE
from tests.api.page.test_sign_in import PHONE

WHOLE = {
    "name": "Plum Tree Cottage",
    "place": "51.221, -2.413",
    "zone-1": "Garden path",
    "pin-1": "17",
    "do": "finish",
}


class Board:
    """A board that is not set up yet, as its set-up serves it."""

    def __init__(self, folder, *, home=False):
        self.site_path = folder / "garden.toml"
        self.blinked: list[Wire] = []
        self.fault: RelayError | None = None
        self.is_finished = False
        first = FirstRun(site_path=self.site_path, home=home, trial=self, finish=self.finish)
        self.app = make_first_app(first, listening=Listening(), state=folder)

    def blink(self, board, wire):
        assert board == "gpio"
        if self.fault is not None:
            raise self.fault
        self.blinked.append(wire)

    def finish(self):
        self.is_finished = True

    def ask(self, method, url, *, peer="127.0.0.1", **more):
        async def send_it():
            transport = httpx.ASGITransport(app=self.app, client=(peer, 40000))
            async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8010") as client:
                return await client.request(method, url, **more)

        return asyncio.run(send_it())


@pytest.fixture
def board(tmp_path):
    return Board(tmp_path)


def fill(board, /, **fields):
    """Fill the form in as it is first shown, and send it."""
    return send(board, screen(board).form("/"), fields=fields)


def test_one_form_makes_a_garden(board):
    """Name, place, and one zone are enough: the rest is proposed, and the daemon's turn comes."""
    answer = fill(board, **WHOLE)
    assert answer.status_code == 200
    assert "Done. The garden starts now" in Screen(answer.text).text
    assert board.is_finished
    loaded = load_site(board.site_path)
    site = loaded.site
    assert loaded.warnings == ()
    assert (site.name, site.time_zone, site.relays.board) == (
        "Plum Tree Cottage",
        "Europe/London",
        "simulated",
    )
    assert [(zone.id, zone.pin, *map(str, zone.program)) for zone in site.zones] == [
        ("garden-path", 17, "dusk to midnight")
    ]
    assert "# most relay boards close on low" in loaded.text


def test_every_answer_counts(board):
    """Several zones, another program and time zone, real pins, and who reaches the page."""
    more = send(board, screen(board).form("/"), ("do", "more"), fields={**WHOLE, "do": "more"})
    form = Screen(more.text).form("/")
    assert (form["fields"]["zone-1"], form["fields"]["pin-2"]) == ("Garden path", "27")
    fields = {
        "zone-2": "Terrace", "program": "dusk for 4h", "board": "gpio", "active_high": "true",
        "listen": "home", "place": "Oslo", "time_zone": "Europe/Oslo",
    }  # fmt: skip
    assert send(board, form, ("do", "finish"), fields=fields).status_code == 200
    site = load_site(board.site_path).site
    assert (site.relays.board, site.network.listen, site.time_zone) == ("gpio", "home", "Europe/Oslo")
    assert [(zone.name, zone.pin, zone.active_high) for zone in site.zones] == [
        ("Garden path", 17, True),
        ("Terrace", 27, True),
    ]


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"name": ""}, "This is needed."),
        ({"name": "x" * 101}, "Write a shorter name, in one line."),
        ({"place": ""}, "This is needed."),
        ({"place": "Nowhere"}, "That is no place known here."),
        ({"time_zone": "Europe/Lundon"}, "Write an area and a city"),
        ({"program": "dusk - 23:00"}, "Write it as “dusk to midnight”"),
        ({"zone-1": " "}, "Name at least one zone."),
    ],
)
def test_a_mistake_is_told_and_nothing_is_lost(board, fields, says):
    """The form comes again with all that was typed; no file is written."""
    answer = fill(board, **{**WHOLE, **fields})
    assert answer.status_code == 422
    seen = Screen(answer.text)
    assert says in seen.text
    assert seen.form("/")["fields"]["name"] == {**WHOLE, **fields}["name"]
    assert not board.site_path.exists()
    assert not board.is_finished


def test_two_zones_on_one_pin_are_told(board):
    """The second names the pin that is taken."""
    answer = fill(board, **WHOLE, **{"zone-2": "Terrace", "pin-2": "17"})
    assert answer.status_code == 422
    assert "This pin is another zone's." in Screen(answer.text).text


def test_a_place_that_does_not_fit_its_time_zone_is_asked_about_once(board):
    """The check's own words are shown; whoever sends the same once more is believed."""
    answer = fill(board, **{**WHOLE, "place": "-2.413, 51.221", "time_zone": "Europe/London"})
    assert answer.status_code == 422
    seen = Screen(answer.text)
    assert "look exchanged" in seen.text
    assert not board.site_path.exists()
    assert send(board, seen.form("/"), ("do", "finish")).status_code == 200
    assert load_site(board.site_path).site.latitude_deg == -2.413


def test_where_no_map_knows_the_time_zone_the_phone_s_is_taken(board, monkeypatch):
    """Without the package, and without an answer of the phone's, it is asked for."""
    monkeypatch.setattr(zone_of_place, "_LOOK_UP", "import no_such_module")
    answer = fill(board, **WHOLE)
    assert answer.status_code == 422
    assert "Write an area and a city" in Screen(answer.text).text
    assert fill(board, **WHOLE, phone_zone="Europe/London").status_code == 200
    assert load_site(board.site_path).site.time_zone == "Europe/London"


def test_a_relay_blinks_to_be_found(board):
    """Its pin and level are those of the form, which keeps all that was typed; simulated ones say so."""
    answer = fill(board, **{**WHOLE, "do": "blink-1"})
    assert "Simulated relays do not blink." in Screen(answer.text).text
    assert board.blinked == []
    answer = fill(board, **{**WHOLE, "pin-1": "22", "board": "gpio", "active_high": "true", "do": "blink-1"})
    seen = Screen(answer.text)
    assert board.blinked == [Wire(pin=22, active_high=True)]
    assert "It was closed for two seconds." in seen.text
    assert seen.form("/")["fields"]["pin-1"] == "22"
    board.fault = RelayError("pin 22 cannot be switched: taken")
    answer = fill(board, **{**WHOLE, "pin-1": "22", "board": "gpio", "do": "blink-1"})
    assert "That relay cannot be switched. Pin 22 cannot be switched: taken" in Screen(answer.text).text
    assert not board.site_path.exists()


def test_no_more_zones_than_lines_for_relays(board):
    """Where every line has a zone, there is no button for another."""
    form = screen(board).form("/")
    for _ in range(len(RELAY_LINES) - 1):
        assert ("do", "more") in form["buttons"]
        form = Screen(send(board, form, ("do", "more")).text).form("/")
    assert ("do", "more") not in form["buttons"]
    assert {form["fields"][f"pin-{number}"] for number in range(1, len(RELAY_LINES) + 1)} == set(
        map(str, RELAY_LINES)
    )


def test_a_file_that_came_meanwhile_is_left_alone(board):
    """Somebody who wrote one by hand keeps it."""
    form = screen(board).form("/")
    board.site_path.write_text("mine", encoding="utf-8")
    answer = send(board, form, fields=WHOLE)
    assert answer.status_code == 422
    assert "is there already, and is left as it is" in Screen(answer.text).text
    assert board.site_path.read_text("utf-8") == "mine"


def test_every_other_address_leads_to_the_set_up(board):
    """There is nothing else to see yet; the API answers for itself."""
    for path in ("/programs", "/garden", "/sign-out"):
        answer = board.ask("GET", path, headers={"accept": "text/html"})
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert board.ask("GET", "/v1/access").json()["kind"] == "board"


def test_a_form_of_another_page_is_refused(board):
    """Without the token of this page nothing is written."""
    assert fill(board, **WHOLE, form_token="0" * 64).status_code == 403
    assert not board.site_path.exists()


def test_a_phone_is_let_in_by_the_code_that_is_printed(tmp_path, caplog):
    """Without it the home network sees only the way in; with it the phone sets the garden up."""
    caplog.set_level("INFO")
    board = Board(tmp_path, home=True)
    phone = {"headers": {"accept": "text/html"}, "peer": PHONE}
    assert board.ask("GET", "/", **phone).headers["location"] == "/sign-in?to=/"
    context = board.app.state.context
    let_phone_in(context, "http://192.168.1.20:8010/")
    assert "open http://192.168.1.20:8010/sign-in, and type" in caplog.text
    code = CODE.search(caplog.text)[0]
    answer = board.ask("POST", "/sign-in", data={"to": "/", "code": code}, headers={
        "accept": "text/html", "origin": "http://127.0.0.1:8010",
    }, peer=PHONE)  # fmt: skip
    cookie = {"cookie": answer.headers["set-cookie"].partition(";")[0]}
    seen = screen(board, headers=cookie, peer=PHONE)
    assert seen.form("/")["fields"]["listen"] == "home"
    headers = {**cookie, "origin": "http://127.0.0.1:8010"}
    assert send(board, seen.form("/"), fields=WHOLE, headers=headers, peer=PHONE).status_code == 200
    assert load_site(board.site_path).site.network.listen == "home"
    caplog.clear()
    let_phone_in(context, "http://192.168.1.20:8010/")
    assert caplog.text == ""


@needs_chromium
@pytest.mark.parametrize("language", ["en-GB", "de-DE"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everybody_can_use_it(board, scheme, language):
    """Axe finds nothing on the form, also with something wrong on it, nor on what follows (WCAG 2.2 AA)."""
    with serving(lambda: board.app) as server, browsing() as (known, _):
        context = known.context.browser.new_context(color_scheme=scheme, locale=language, bypass_csp=True)
        page = context.new_page()
        page.goto(server.url)
        for step in ("form", "mistakes", "done"):
            if step == "mistakes":
                page.locator("button[value=finish]").click()
                expect(page.locator("[role=alert]")).to_be_visible(timeout=LONG_S * 1000)
            if step == "done":
                for name in ("name", "place", "zone-1"):
                    page.locator(f"#{name}").fill(WHOLE[name])
                page.locator("button[value=finish]").click()
                expect(page.locator("[data-await]")).to_be_visible(timeout=LONG_S * 1000)
            page.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")
            found = Axe().run(page).response
            assert [
                (each["id"], [node["target"] for node in each["nodes"]]) for each in found["violations"]
            ] == []
            unsure = [node["html"] for each in found["incomplete"] for node in each["nodes"]]
            assert [html for html in unsure if "<text" not in html] == []


@needs_chromium
@pytest.mark.parametrize("width", [320, 360, 768, 1440, 2560])
def test_it_fits_every_screen(board, width):
    """Nothing is wider than the screen, and every button is large enough for a finger."""
    with serving(lambda: board.app) as server, browsing() as (page, _):
        page.set_viewport_size({"width": width, "height": 800})
        page.goto(server.url)
        page.locator("#drawing summary").click()
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        for box in (each.bounding_box() for each in page.locator("main button:visible").all()):
            assert min(box["width"], box["height"]) >= 44


@needs_chromium
def test_the_drawing_and_the_choice_agree(board):
    """A touch on a pin gives it to the zone that was touched last, and a choice shows on the drawing."""
    with serving(lambda: board.app) as server, browsing() as (page, complaints):
        page.goto(server.url)
        page.locator("#drawing summary").click()
        page.locator('#drawing [data-bcm="22"]').click()
        assert page.locator("#pin-1").input_value() == "22"
        assert page.locator('[data-bcm="22"] .in').text_content() == "1"
        assert page.locator('[data-bcm="17"] .in').text_content() == "11"
        page.locator("#pin-1").select_option("17")
        assert page.locator('[data-bcm="17"] .in').text_content() == "1"
        assert not re.search(r"\btaken\b", page.locator('[data-bcm="22"]').get_attribute("class"))
        assert complaints == []


@needs_chromium
def test_the_phone_s_own_place_is_taken(board):
    """Where a browser may tell it, one touch fills it in; elsewhere there is no such button."""
    with serving(lambda: board.app) as server, browsing() as (known, _):
        place = {"latitude": 51.221, "longitude": -2.413}
        context = known.context.browser.new_context(geolocation=place, permissions=["geolocation"])
        page = context.new_page()
        page.goto(server.url)
        page.get_by_role("button", name="Take where this phone is").click()
        expect(page.locator("#place")).to_have_value("51.22100, -2.41300", timeout=LONG_S * 1000)
        plain = known.context.browser.new_context(java_script_enabled=False).new_page()
        plain.goto(server.url)
        assert plain.get_by_role("button", name="Take where this phone is").count() == 0


@pytest.mark.parametrize("proposed", ["gpio", "simulated"])
def test_where_the_library_of_the_pins_is_installed_real_relays_are_proposed(tmp_path, proposed):
    """The first choice is the likely one; the other stays."""
    board = Board(tmp_path)
    board.app.state.first_run = dataclasses.replace(board.app.state.first_run, board=proposed)
    assert screen(board).form("/")["fields"]["board"] == proposed
