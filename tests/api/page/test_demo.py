"""The page of the demonstration: an evening passes before one's eyes."""

import re
import subprocess

from playwright.sync_api import expect

from tests.api.browser import browsing, needs_chromium
from tests.api.command import ROOT, command, environment
from tests.api.lines import LONG_S
from tests.api.page.conftest import PageHouse

LONG_MS = LONG_S * 1000


@needs_chromium
def test_an_evening_passes_on_the_page(tmp_path):
    """Without a reload the screen goes from dark to lit, and its clock moves on."""
    with subprocess.Popen(
        command("demo", "--pace", "600", "--stay"),
        cwd=ROOT,
        env=environment(TMPDIR=str(tmp_path)),
        stdout=subprocess.PIPE,
        text=True,
    ) as running:
        try:
            address = next(found for line in running.stdout if (found := re.match(r"http://\S+", line)))
            with browsing() as (page, complaints):
                page.goto(address[0])
                page.evaluate("window.same = true")
                expect(page.locator(".say")).to_contain_text("All eight zones are lit.", timeout=LONG_MS)
                first = page.locator("#as-of").inner_text()
                expect(page.locator("#as-of")).not_to_have_text(first, timeout=LONG_MS)
                assert page.evaluate("window.same")
                assert complaints == []
        finally:
            running.terminate()


def test_everybody_may_look_at_a_demonstration_that_is_open(house):
    """With “all_may” a phone of the home network needs no code; else it is led to the way in."""
    ask = {"peer": "192.168.1.20", "headers": {"accept": "text/html"}}
    assert house.ask("GET", "/", **ask).status_code == 303
    house.app = PageHouse.make_app(house, all_may=True)
    answer = house.ask("GET", "/", **ask)
    assert answer.status_code == 200
    assert "Put out" in answer.text
