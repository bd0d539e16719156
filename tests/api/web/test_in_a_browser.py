"""What a real browser makes of our pages, and what pages of other sites can do by way of it."""

import json

import pytest

from api.web.app import make_app
from api.web.listening import Listening
from config.models.network import NetworkSettings
from tests.api.browser import browsing, needs_chromium, other_site
from tests.api.lines import LONG_S, serving, wait_until

pytestmark = needs_chromium

# Everything that a page can send without being asked by a person, by its kind.
ATTACK = """
<!doctype html><title>a page of another site</title>
<script>
const ours = %s;
const override = ours + "/v1/zones/jetty/override";
const put = (init) => fetch(override, {method: "PUT", body: '{"light": "off"}', ...init});
const json = {"content-type": "application/json"};
const shown = (tag, more) => new Promise((resolve) => {
  const element = document.createElement(tag);
  element.onload = () => resolve("loaded");
  element.onerror = () => resolve("failed");
  Object.assign(element, more);
  document.documentElement.append(element);
});
const form = (method, action) => {
  const element = document.createElement("form");
  Object.assign(element, {method, action, enctype: "text/plain", target: "frame"});
  element.innerHTML = '<input name=\\'{"light":"off","x":"\\' value=\\'"}\\'>';
  document.documentElement.append(element);
  element.submit();
  return "sent";
};
const ways = {
  "read": () => fetch(ours + "/v1/hours").then((r) => r.status, () => "failed"),
  "read blindly": () => fetch(ours + "/v1/hours", {mode: "no-cors"}).then((r) => r.type, () => "failed"),
  "picture": () => shown("img", {src: ours + "/v1/year.svg"}),
  "script": () => shown("script", {src: ours + "/v1/hours"}),
  "style": () => shown("link", {rel: "stylesheet", href: ours + "/v1/sheet"}),
  "frame": () => shown("iframe", {src: ours + "/v1/report/2027-summer", name: "frame"}),
  "change": () => put({headers: json}).then((r) => r.status, () => "failed"),
  "change blindly": () => put({mode: "no-cors"}).then((r) => r.type, () => "failed"),
  "post": () => fetch(ours + "/v1/replacements", {method: "POST", mode: "no-cors",
    body: '{"zone": "jetty", "part": "1"}'}).then((r) => r.type, () => "failed"),
  "end": () => fetch(override, {method: "DELETE"}).then((r) => r.status, () => "failed"),
  "form": () => form("post", ours + "/v1/replacements"),
};
(async () => {
  const found = {};
  for (const [name, way] of Object.entries(ways)) found[name] = await way();
  window.found = found;
})();
</script>
"""


@pytest.mark.parametrize("path", ["/v1/report/2027-summer", "/v1/sheet", "/v1/sheet/boathouse"])
def test_a_page_has_its_styles_under_its_own_policy(server, path):
    """The browser applies the page's own style sheet, and has nothing to complain about."""
    with browsing() as (page, complaints):
        page.goto(server.url.rstrip("/") + path)
        style = "getComputedStyle(document.querySelector('header')).display"
        assert page.evaluate(style) == "flex"
        # A style that somebody smuggles into the page is refused, by its hash.
        page.evaluate("document.head.append(Object.assign(document.createElement('style'), {textContent: "
                      "'header { display: grid }'}))")  # fmt: skip
        assert page.evaluate(style) == "flex"
        assert [each for each in complaints if "favicon" not in each and "style-src" not in each] == []
        assert any("style-src" in each for each in complaints)


def test_the_load_of_a_transformer_is_drawn_in_proportion(server):
    """The bar of the site sheet is as long as the load's part of the rating: 27 of 200 VA."""
    with browsing() as (page, _):
        page.goto(server.url + "v1/sheet")
        wide, whole = page.evaluate(
            "[document.querySelector('.bar rect'), document.querySelector('.bar svg')]"
            ".map((each) => each.getBoundingClientRect().width)"
        )
        assert wide / whole == pytest.approx(27 / 200, abs=0.01)


def test_the_picture_is_drawn_under_the_policy(server):
    """The year's picture has its colours, and the browser has nothing to complain about."""
    with browsing() as (page, complaints):
        page.goto(server.url + "v1/year.svg")
        assert page.evaluate("document.documentElement.getBoundingClientRect().width") > 500
        assert (
            page.evaluate("getComputedStyle(document.querySelector('[id$=sky] path')).fill")
            == "rgb(35, 47, 79)"
        )
        assert [each for each in complaints if "favicon" not in each] == []


@pytest.mark.parametrize(("ours", "address"), [("127.0.0.1", "127.0.0.1"), ("leerie.local", "127.0.0.2")])
def test_a_page_of_another_site_reaches_nothing(house, ours, address):
    """Nothing that another site's page sends is carried out, whether the browser tells its site or not.

    It does to 127.0.0.1, by Sec-Fetch-Site; not to a name of the home network over plain http.
    """
    asked: list[tuple[str, dict, int]] = []
    house.loop.call(lambda keeper: keeper.override("jetty", on=True, ends_at_utc=None, lasts_s=3600.0))
    before = house.get("/v1/zones/jetty")["override"]

    settings = NetworkSettings(listen=("127.0.0.2",), names=("leerie.local",))
    listening = Listening(lambda: settings, port=0)

    def watched():
        app = make_app(house.gateway, boot_s=lambda: house.clock.boot_s, listening=listening)

        async def watch(scope, receive, send):
            async def note(message):
                if message["type"] == "http.response.start":
                    asked.append((scope["method"], dict(scope["headers"]), message["status"]))
                await send(message)

            await app(scope, receive, note)

        return watch

    names = f"MAP leerie.local {address}, MAP garden.example 127.0.0.1"
    with serving(watched, listening=listening) as server:
        html = ATTACK % json.dumps(f"http://{ours}:{server.port}")
        with other_site(html) as port, browsing(f"--host-resolver-rules={names}") as (page, _):
            page.goto(f"http://garden.example:{port}/")
            page.wait_for_function("window.found", timeout=LONG_S * 1000)
            page.wait_for_timeout(500)  # for the form, whose answer no script hears
            found = page.evaluate("window.found")
    assert found.pop("form") == "sent"
    # A frame is “loaded” with the browser's own page that says that nothing is shown.
    assert found.pop("frame") == "loaded"
    assert set(found.values()) <= {"failed", "opaque"}
    told = ours == "127.0.0.1"
    assert all((b"sec-fetch-site" in headers) == told for _, headers, _ in asked)
    changing = [status for method, _, status in asked if method not in ("GET", "HEAD")]
    assert changing
    assert set(changing) <= {403}
    reading = [(headers, status) for method, headers, status in asked if method == "GET"]
    # Without Fetch metadata only what a script reads has an Origin; the rest is bounded by the queues.
    assert {status for headers, status in reading if told or b"origin" in headers} == {403}
    assert house.get("/v1/zones/jetty")["override"] == before
    assert house.get("/v1/replacements")["replacements"] == []


def test_a_link_on_another_site_may_lead_here(server):
    """A person who follows a link gets the page."""
    with (
        other_site(f'<a href="{server.url}v1/sheet">the sheet</a>') as port,
        browsing("--host-resolver-rules=MAP garden.example 127.0.0.1") as (page, _),
    ):
        page.goto(f"http://garden.example:{port}/")
        page.click("a")
        page.wait_for_url("**/v1/sheet")
        assert "Saltmarsh Lodge" in page.title()


def test_a_browser_follows_the_events_and_is_told_what_it_missed(server, house):
    """EventSource reads the stream, comes back when that ends, and is told what happened meanwhile."""
    with browsing() as (page, complaints):
        page.goto(server.url + "docs")
        page.evaluate("""() => {
            window.heard = [];
            const events = new EventSource("/v1/events");
            for (const name of ["status", "override", "zone", "reset"]) {
                events.addEventListener(name, (event) =>
                    heard.push([name, JSON.parse(event.data), event.lastEventId]));
            }
        }""")

        def heard(count):
            wait_until(lambda: page.evaluate("window.heard.length") >= count)
            return page.evaluate("window.heard")

        assert [name for name, _, _ in heard(1)] == ["status"]
        house.loop.call(lambda keeper: keeper.override("jetty", on=False))
        _, (_, override, _), (_, zone, _) = heard(3)
        assert (override["zone"], zone["id"], zone["lit"]) == ("jetty", "jetty", False)
        house.hub._hand_over(house.hub._end_all)
        wait_until(lambda: house.hub.count == 0)
        house.loop.call(lambda keeper: keeper.override("orchard", on=False))
        *_, (name, missed, last_id), (then, status, newest) = heard(5)
        assert (name, missed["zone"], then) == ("override", "orchard", "status")
        assert [each["lit"] for each in status["zones"]] == [False, False]
        assert last_id != newest == str(house.journal.recent.last)
        assert [each for each in complaints if "favicon" not in each] == []
