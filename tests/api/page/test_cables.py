"""The screen of cables and lamps, as a browser without scripts has it."""

import pytest

from config.file.loader import example_path
from tests.api.command import call
from tests.api.page.conftest import PageHouse
from tests.api.page.screens import Screen, screen, send
from tests.site_of_wiring import garden, line, piece


@pytest.fixture
def house(tmp_path):
    """The example with two transformers, many cables and some measurements."""
    house = PageHouse(tmp_path, site=example_path("full-property").read_text(encoding="utf-8"))
    yield house
    house.close()


def form_at(seen: Screen, zone: str, fixture: str) -> dict:
    return next(
        each
        for each in seen.forms
        if each["action"] == f"/cables/{zone}" and each["fields"].get("fixture") == fixture
    )


def test_every_lamp_has_the_volts_of_the_api(house):
    """The volts at each lamp, with everything lit and alone, are those of /v1/wiring."""
    seen = screen(house, "/cables").text
    for transformer in house.get("/v1/wiring")["transformers"]:
        for circuit in transformer["circuits"]:
            for light in circuit["lights"]:
                if light["volts"] is not None:
                    assert f"{light['volts']:.2f} V" in seen
    assert "No errors, 2 warnings." in seen
    assert "No errors, 2 warnings." in call("wiring", house.site_path).stdout
    assert "206.5 of 300 VA" in seen


def test_what_is_measured_at_a_lamp_is_noted(house):
    """Volts are written into the site file, with its comments kept, and compared with what was computed."""
    form = form_at(screen(house, "/cables"), "front-path", "1")
    before = house.site_path.read_text(encoding="utf-8")
    answer = send(house, form, fields={"volts": "11,2"})
    assert answer.status_code == 303, Screen(answer.text).text
    assert answer.headers["location"].startswith("/cables#lamp-")
    after = house.site_path.read_text(encoding="utf-8")
    assert [line for line in before.splitlines() if "#" in line] == [
        line for line in after.splitlines() if "#" in line
    ]
    assert house.get("/v1/zones/front-path/measured")["fixtures"][0]["volts"] == [11.2]
    assert "11.20 V, computed" in screen(house, "/cables").text


def test_a_reading_outside_its_lamps_range_is_said_first(house):
    """6 V at a lamp of 10 to 15 V is what is wrong, at the top, in the findings and beside the lamp."""
    send(house, form_at(screen(house, "/cables"), "front-path", "1"), fields={"volts": "6"})
    seen = screen(house, "/cables").text
    assert "1 error, 2 warnings." in seen
    assert "1 error, 2 warnings." in call("wiring", house.site_path).stdout
    assert "6.00 V was measured at" in seen
    assert "too few volts measured" in seen
    german = house.ask("GET", "/cables", headers={"accept-language": "de"}).text
    assert "6,00 V wurden gemessen bei „" in Screen(german).text
    assert "1 Fehler, 2 Warnungen." in Screen(german).text


def test_watts_of_a_zone_are_noted_and_taken_out_again(house):
    """Measured watts count from then on; an empty field takes them out."""
    form = next(
        each
        for each in screen(house, "/cables").forms
        if each["action"] == "/cables/terrace" and "watts" in each["fields"]
    )
    assert send(house, form, fields={"watts": "61.5"}).status_code == 303
    assert house.get("/v1/zones/terrace")["rated_load"] == {"watts": 61.5, "origin": "measured"}
    form = next(
        each
        for each in screen(house, "/cables").forms
        if each["action"] == "/cables/terrace" and "watts" in each["fields"]
    )
    assert form["fields"]["watts"] == "61.5"
    assert send(house, form, fields={"watts": ""}).status_code == 303
    assert house.get("/v1/zones/terrace/measured")["watts"] is None


@pytest.mark.parametrize("volts", ["twelve", "999", "-3", "nan"])
def test_what_is_no_reading_is_refused_at_its_field(house, volts):
    """The screen comes again, with what is wrong beside the field, and nothing is written."""
    before = house.site_path.read_bytes()
    answer = send(house, form_at(screen(house, "/cables"), "front-path", "1"), fields={"volts": volts})
    assert answer.status_code == 422
    assert f"“{volts}” is not a number. Write 11.6" in Screen(answer.text).text
    assert 'aria-invalid="true"' in answer.text
    assert house.site_path.read_bytes() == before


def test_two_phones_do_not_overwrite_each_other(house):
    """The second is told that somebody was faster, and what is there now."""
    first = form_at(screen(house, "/cables"), "front-path", "1")
    second = form_at(screen(house, "/cables"), "front-path", "1")
    assert send(house, first, fields={"volts": "11.2"}).status_code == 303
    answer = send(house, second, fields={"volts": "11.9"})
    assert answer.status_code == 412
    seen = Screen(answer.text)
    assert "Somebody noted something here meanwhile" in seen.text
    assert form_at(seen, "front-path", "1")["fields"]["volts"] == "11.2"
    assert house.get("/v1/zones/front-path/measured")["fixtures"][0]["volts"] == [11.2]


def test_a_garden_without_transformers_says_what_is_missing(tmp_path):
    """With none in the file the screen says what it would show."""
    house = PageHouse(tmp_path, site=example_path("one-zone").read_text(encoding="utf-8"))
    seen = screen(house, "/cables").text
    assert "written down" in seen
    house.close()


def test_a_ring_says_where_it_closes(tmp_path):
    """The cable that closes a ring stands once, with the node that it leads to, beside all lamps."""
    cables = line() + piece("boathouse", "jetty 6", "20 ft") + piece("jetty 6", "gate", "5 ft") * 2
    rest = '[[zones.fixtures]]\nkind = "spot"\ncount = 1\nwatts = 9\nnode = "gate"\n'
    house = PageHouse(tmp_path, site=garden(cables=cables, rest=rest))
    seen = screen(house, "/cables").text
    assert seen.count("to jetty 6, which closes the ring") == 1
    assert seen.count("to gate, which closes the ring") == 1
    [transformer] = house.get("/v1/wiring")["transformers"]
    [circuit] = transformer["circuits"]
    for place in range(1, 7):
        assert f"jetty {place}" in seen
    for light in circuit["lights"]:
        assert f"{light['volts']:.2f} V" in seen
    house.close()
