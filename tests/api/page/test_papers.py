"""Report and site sheet on a screen: a way back in the browser's language, landmarks, compressed, kept."""

from __future__ import annotations

import gzip
import re

import pytest

from tests.api.browser import browsing
from tests.api.lines import LONG_S
from tests.api.markup import Page
from tests.api.paper import needs_browser

PAPERS = ["/report/2027-summer", "/sheet", "/sheet/boathouse"]


def paper(house, path, language="en-GB"):
    response = house.ask("GET", path, headers={"accept": "text/html", "accept-language": language})
    assert response.status_code == 200, response.text
    return response


@pytest.mark.parametrize("path", PAPERS)
def test_a_link_leads_back_to_the_page(house, path):
    """On the screen there is a way back, and all of it is in the language of the browser."""
    answer = paper(house, path, "de-DE")
    Page(answer.text)
    assert '<nav class="frame" aria-label="Seiten"><a href="/">Zurück zur Seite</a></nav>' in answer.text
    assert '<html lang="de">' in answer.text
    assert answer.headers["content-language"] == "de"
    assert "Back to the page" in paper(house, path).text
    assert 'content: "Blatt " counter(page) " von " counter(pages)' in answer.text


@pytest.mark.parametrize("path", PAPERS)
def test_what_others_read_stands_alone(house, path):
    """Under /v1 the same paper has no frame."""
    assert '<nav class="frame"' not in house.ask("GET", f"/v1{path}").text


@pytest.mark.parametrize("path", PAPERS)
def test_it_has_landmarks_and_regions_that_can_be_reached(house, path):
    """Header and main are there once, and whatever scrolls has a name and takes the keyboard."""
    html = paper(house, path).text
    assert (html.count("<main>"), html.count("<header>")) == (1, 1)
    regions = re.findall(r'<div class="scroll[^"]*"([^>]*)>', html)
    assert regions
    names = [re.fullmatch(r' role="region" tabindex="0" aria-label="([^"]+)"', each)[1] for each in regions]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize("path", [*PAPERS, "/v1/report/2027-summer", "/v1/sheet", "/v1/year.svg"])
def test_it_is_compressed_where_that_is_taken(house, path):
    """A browser that takes gzip gets less than half of the bytes; one that does not gets it plain."""
    packed = house.ask("GET", path, headers={"accept-encoding": "gzip"})
    assert packed.headers["content-encoding"] == "gzip"
    assert int(packed.headers["content-length"]) < len(packed.content) / 2
    assert "accept-encoding" in packed.headers["vary"]
    plain = house.ask("GET", path, headers={"accept-encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert plain.content == packed.content
    assert len(gzip.compress(plain.content)) < len(plain.content)


def test_a_report_is_kept_until_something_happens(house, monkeypatch):
    """The second look works nothing out and compresses nothing; a recorded replacement shows in the next."""
    house.pass_time(60)
    first = paper(house, "/report/2027-summer").text
    with monkeypatch.context() as patch:
        patch.setattr("api.web.routes.hours.report_season", None)
        patch.setattr("api.web.headers.gzip", None)
        assert paper(house, "/report/2027-summer").text == first
    body = '{"zone": "jetty", "part": 1, "on": "2027-06-20"}'
    house.ask("POST", "/v1/replacements", content=body, headers={"content-type": "application/json"})
    house.pass_time(60)
    assert "20 June 2027" in paper(house, "/report/2027-summer").text


def test_what_is_no_season_is_told_to_a_person(house):
    """A name that is none is answered with a screen that says what would do."""
    answer = house.ask("GET", "/report/monsoon", headers={"accept": "text/html"})
    assert answer.status_code == 422
    assert "2027-winter" in answer.text


@needs_browser
@pytest.mark.parametrize("path", ["/report/2027-summer", "/sheet"])
def test_it_is_dark_by_night_and_paper_stays_white(server, path):
    """A dark scheme darkens the screen and the ground of its pictures; in print both are white."""
    with browsing() as (known, _):
        page = known.context.browser.new_context(color_scheme="dark").new_page()
        page.goto(server.url.rstrip("/") + path, timeout=LONG_S * 1000)
        ground = "getComputedStyle(document.body).backgroundColor"
        assert page.evaluate(ground) == "rgb(18, 23, 42)"
        fill = "[...document.querySelectorAll('svg > rect')].map((each) => getComputedStyle(each).fill)"
        assert "rgb(255, 255, 255)" not in page.evaluate(fill)
        page.emulate_media(media="print", color_scheme="dark")
        assert page.evaluate(ground) == "rgb(255, 255, 255)"
        assert page.locator("nav.frame").is_hidden()
