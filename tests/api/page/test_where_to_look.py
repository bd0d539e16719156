"""Where a fault may be, on the page as a browser without scripts has it."""

import re

import pytest

from tests.api.page.conftest import PageHouse
from tests.api.page.screens import Screen, screen, send
from tests.site_of_faults import LAMPS, splice_garden


def note(house, node, volts):
    """Note the volts at a lamp, with the form that stands at it."""
    number = str(LAMPS.index(node) + 2)
    form = next(each for each in screen(house, "/cables").forms if each["fields"].get("fixture") == number)
    answer = send(house, form, fields={"volts": f"{volts:.2f}"})
    assert answer.status_code == 303, Screen(answer.text).text
    return answer.headers["location"]


@pytest.fixture
def garden_with_fault(tmp_path):
    """A garden with a bad splice between a3 and a4 that nobody has measured yet, and its real volts."""
    text, volts = splice_garden(read=())
    house = PageHouse(tmp_path, site=text)
    yield house, volts
    house.close()


def marked_stop(html, place):
    """Name the node whose cable or lamp carries a mark."""
    return re.search(rf'id="look-boathouse-{place}".*?<p class="stop"><b>(.*?)</b>', html, re.DOTALL)[1]


def test_readings_lead_to_the_place_on_the_tree(garden_with_fault):
    """Once the volts are noted lamp by lamp, the splice is named and marked on the cable that it is in."""
    house, volts = garden_with_fault
    assert "Where to look" not in screen(house, "/cables").text
    for node in LAMPS:
        place = note(house, node, volts[node])
    html = house.ask("GET", "/cables", headers={"accept": "text/html"}).text
    seen = Screen(html)
    assert "Where to look" in seen.text
    assert "ohm too much between “a3” and “a4”: open the splices there and remake them." in seen.text
    assert "a loose joint may be hot" in seen.text
    assert marked_stop(html, 1) == "a4"
    assert "look here first" in seen.text
    assert f'id="{place.removeprefix("/cables#")}"' in html
    assert '<a href="#where-boathouse">Where to look</a>' in html
    assert 'href="#look-boathouse-1"' in html


def test_what_is_said_is_what_the_api_says(garden_with_fault):
    """Each cause has its sentence, in the order of the API, and how sure it is in words."""
    house, volts = garden_with_fault
    for node in ("a3", "a5"):
        note(house, node, volts[node])
    [transformer] = house.get("/v1/wiring")["transformers"]
    found = transformer["diagnosis"]["explanations"]
    assert len(found) > 1
    seen = screen(house, "/cables").text
    places = [seen.index(each["words"]) for each in found]
    assert places == sorted(places)
    html = house.ask("GET", "/cables", headers={"accept": "text/html"}).text
    sure = re.findall(r"\((almost certain|probable, not certain|possible|less likely)\)", html)
    assert len(sure) == len(found)
    for number, each in enumerate(found, start=1):
        assert marked_stop(html, number) in {cable["to"] for cable in each["places"][0]["cables"]}


def test_readings_that_agree_mark_nothing(tmp_path):
    """Where every reading is as computed, no place is marked."""
    text, _ = splice_garden(ohm=0.0)
    house = PageHouse(tmp_path, site=text)
    html = house.ask("GET", "/cables", headers={"accept": "text/html"}).text
    assert 'class="look"' not in html
    assert "Nothing is wrong: the readings agree" in html
    assert house.get("/v1/wiring")["transformers"][0]["diagnosis"]["fault"] == "nothing wrong"
    house.close()


def test_a_fault_that_stands_out_is_the_first_thing_said(tmp_path):
    """A splice of 0.4 ohm is said at the top and almost certain, before the tree that shows it."""
    text, _ = splice_garden(ohm=0.4)
    house = PageHouse(tmp_path, site=text)
    html = house.ask("GET", "/cables", headers={"accept": "text/html"}).text
    top = Screen(re.search(r"<h1.*?</h1>", html, re.DOTALL)[0]).text
    assert top.startswith("The volts that were measured point to a fault. About 0.4")
    assert top.endswith(" ohm too much between “a3” and “a4”.")
    assert "almost certain" in html
    assert marked_stop(html, 1) == "a4"
    assert html.count("look here first") == 1
    house.close()


def test_german(garden_with_fault):
    """What is said about the fault, and the marks, are German."""
    house, volts = garden_with_fault
    for node in LAMPS:
        note(house, node, volts[node])
    text = Screen(
        house.ask("GET", "/cables", headers={"accept": "text/html", "accept-language": "de"}).text
    ).text
    assert "Wo zu suchen ist" in text
    assert "hier zuerst suchen" in text
    assert "look" not in text


READINGS_V = (11.4, 11.0, 10.7, 9.9, 9.7, 9.55, 9.45, 9.4)
LINE = f"""
[site]
name = "Plum Tree Cottage"
latitude = 51.2
longitude = -1.5
time_zone = "Europe/London"
[relays]
board = "simulated"
[[transformers]]
id = "boathouse"
rated_va = 150
tap = 12
[[cables]]
from = "boathouse"
line = "path"
gauge = "14 AWG"
length = "40 m"
[[zones]]
id = "path"
name = "Path"
transformer = "boathouse"
pin = 17
program = ["dusk to midnight"]
[[zones.fixtures]]
kind = "path"
count = 8
watts = 5.0
volts = [10.5, 15.0]
node = "path"
measured_volts = {list(READINGS_V)}
"""


def test_a_fault_all_the_way_marks_each_place_once(tmp_path):
    """Where a fault may be in one of several overlapping stretches, each place has one mark of it."""
    house = PageHouse(tmp_path, site=LINE)
    html = house.ask("GET", "/cables", headers={"accept": "text/html"}).text
    house.close()
    assert "all the way" in html
    stops = re.findall(r'<li class="marked">((?:(?!<li).)*?)<p class="stop">', html, re.DOTALL)
    assert len(stops) == len(READINGS_V)
    assert [stop.count("look here first") + stop.count("perhaps here") for stop in stops] == [1] * len(stops)


def test_a_lamp_shows_its_own_reading(tmp_path):
    """Of a line whose lamps were all read, each lamp shows what was read at it."""
    house = PageHouse(tmp_path, site=LINE)
    html = house.ask("GET", "/cables", headers={"accept": "text/html"}).text
    house.close()
    assert re.findall(r"measured: ([\d.]+) V", html) == [f"{volts:g}" for volts in READINGS_V]
