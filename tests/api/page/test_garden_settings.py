"""What electricity costs, the relays, and the rest of the site file as forms, without scripts."""

import re
import tomllib
from datetime import date, time
from decimal import Decimal

import pytest

from api.page.garden import change as change_module
from api.page.garden.parts import find_part
from config.file.loader import load_site
from config.models.cables import Cable, WiringSettings
from config.models.contacts import Customer, Installer
from config.models.network import NetworkSettings
from config.models.site import (
    SITE_KEYS,
    ClockSettings,
    Fixture,
    RelaySettings,
    Site,
    Transformer,
    Zone,
)
from config.models.tariff import PriceBand, PriceChange, Tariff
from config.program.special_nights import Weekdays, YearlyStretch
from tests.api.page.conftest import PageHouse
from tests.api.page.screens import Screen, screen, send
from tests.api.page.test_garden import change, site_of
from tests.api.stand_in import SITE

PRICED = SITE.replace(
    "[relays]",
    """[tariff]
currency = "EUR"
per_kwh = 0.29                 # by the contract of last year

  [[tariff.bands]]             # the cheap nights
  from = "23:00"
  to = "midnight"
  days = "fri, sat"
  per_kwh = 0.21

[relays]""",
)
PEAK = {
    "name": "peak", "from": "16:00", "to": "21:00", "days-Mon": "yes", "days-Tue": "yes",
    "season-kind": "stretch", "season-first-month": "06", "season-first-day": "01",
    "season-last-month": "09", "season-last-day": "30", "per_kwh": "0,41",
}  # fmt: skip


@pytest.fixture
def priced(tmp_path):
    """A garden with a price, and another one on some nights."""
    house = PageHouse(tmp_path, site=PRICED)
    yield house
    house.close()


def test_a_price_for_some_hours_is_added(priced):
    """Hours, days and a part of the year are chosen; the price stands behind the one that there was."""
    form = screen(priced, "/garden/new/tariff/bands").form("/garden/new/tariff/bands")
    assert send(priced, form, fields=PEAK).headers["location"] == "/garden/tariff"
    band = site_of(priced).tariff.bands[1]
    assert (band.name, band.begins, band.ends, band.per_kwh) == ("peak", time(16), time(21), Decimal("0.41"))
    assert (band.days, band.season) == (
        Weekdays(days=(0, 1)),
        YearlyStretch(first=(6, 1), last=(9, 30)),
    )
    seen = screen(priced, "/garden/tariff").text
    assert (
        "peak 16:00 to 21:00, on Monday and Tuesday, from 1 June to 30 September of every year: 0.41" in seen
    )


def test_a_band_is_shown_as_it_is_chosen(priced):
    """The boxes have what the file says, however it is written there; sent as shown, nothing changes."""
    before = priced.site_path.read_bytes()
    form = screen(priced, "/garden/tariff/bands/1").form("/garden/tariff/bands/1")
    assert {key for key in form["fields"] if key.startswith("days-")} == {"days-Fri", "days-Sat"}
    assert (form["fields"]["from"], form["fields"]["to"]) == ("23:00", "00:00")
    assert send(priced, form).status_code == 303
    assert send(priced, screen(priced, "/garden/tariff").form("/garden/tariff")).status_code == 303
    assert priced.site_path.read_bytes() == before


def test_a_band_is_changed_and_goes(priced):
    """Days that are no longer chosen leave the file; its comment stays."""
    path = "/garden/tariff/bands/1"
    form = screen(priced, path).form(path)
    del form["fields"]["days-Fri"]
    assert send(priced, form, fields={"per_kwh": "0.2"}).status_code == 303
    band = site_of(priced).tariff.bands[0]
    assert (str(band.days), str(band.per_kwh)) == ("Sat", "0.2")
    form = screen(priced, path).form(path)
    del form["fields"]["days-Sat"]
    assert send(priced, form).status_code == 303
    assert site_of(priced).tariff.bands[0].days is None
    assert "# the cheap nights" in priced.site_path.read_text("utf-8")
    assert change(priced, path, "/garden/remove/tariff/bands/1").status_code == 303
    assert site_of(priced).tariff.bands == ()


def test_price_lists_stand_in_the_order_of_their_dates(priced):
    """Whichever is entered first; each may have prices for some hours of its own."""
    for since, price in (("2029-01-01", "0.35"), ("2028-01-01", "0.31")):
        form = screen(priced, "/garden/new/tariff/changes").form("/garden/new/tariff/changes")
        assert send(priced, form, fields={"since": since, "per_kwh": price}).status_code == 303
    path = "/garden/new/tariff/changes/1/bands"
    assert send(priced, screen(priced, path).form(path), fields=PEAK).headers["location"] == (
        "/garden/tariff/changes/1"
    )
    one, other = site_of(priced).tariff.changes
    assert (one.since, other.since) == (date(2028, 1, 1), date(2029, 1, 1))
    assert [band.name for band in one.bands] == ["peak"]
    assert other.bands == ()
    assert "from 1 January 2028 0.31 a kilowatt-hour; 1 other price" in screen(priced, "/garden/tariff").text
    assert change(priced, "/garden/tariff/changes/1", "/garden/remove/tariff/changes/1").status_code == 303
    assert [each.since.year for each in site_of(priced).tariff.changes] == [2029]


@pytest.mark.parametrize(
    ("path", "fields", "says"),
    [
        ("/garden/new/tariff/bands", {"per_kwh": ""}, "This is needed."),
        ("/garden/new/tariff/bands", {"per_kwh": "-1"}, "0 or more"),
        ("/garden/new/tariff/bands", {**PEAK, "season-first-month": "02", "season-first-day": "31"}, "02-31"),
        ("/garden/new/tariff/changes", {"since": "2028-01-01", "per_kwh": "much"}, "Write a number"),
        ("/garden/new/tariff/changes", {"since": "soon", "per_kwh": "1"}, "Write a date"),
        ("/garden/relays", {"rest_s": "-2"}, "0 to 60"),
        ("/garden/relays", {"endurance_cycles": "1.5"}, "Write a whole number."),
        ("/garden/wiring", {"drop_percent": "80"}, "over 0 up to 50"),
        ("/garden/network", {"names": "http://a.example"}, "is more than a host name"),
        ("/garden/place", {"dusk_angle": "40"}, "0.84 to 18"),
        ("/garden/zones/jetty", {"contact_a": "500"}, "is too large"),
    ],
)
def test_what_does_not_fit_stands_beside_its_field(priced, path, fields, says):
    """Nothing is written, and nothing that was typed is lost."""
    before = priced.site_path.read_bytes()
    form = screen(priced, path).form(path)
    answer = send(priced, form, fields=fields)
    assert answer.status_code == 422
    seen = Screen(answer.text)
    assert says in seen.text
    assert re.search(rf'id="m-\w+"[^/]*{re.escape(says)}', answer.text)
    shown = seen.form(path)["fields"]
    assert {key: shown[key] for key in fields} == fields
    assert priced.site_path.read_bytes() == before


def test_a_price_that_is_probably_in_cents_is_warned_about_beside_it(priced):
    """It is written, as the check only warns."""
    path = "/garden/tariff/bands/1"
    assert change(priced, path, per_kwh="21").status_code == 303
    html = priced.ask("GET", path, headers={"accept": "text/html"}).text
    assert re.search(r'id="m-per_kwh"><span>[^<]*in hundredths of EUR', html)
    assert "in hundredths of EUR" in screen(priced, "/garden/tariff").text
    assert "in hundredths of EUR" in screen(priced, "/garden").text


@pytest.mark.parametrize(
    ("path", "fields", "table", "values"),
    [
        ("/garden/relays", {"rest_s": "3", "contact_a": "10"}, "relays", {"rest_s": 3, "contact_a": 10}),
        ("/garden/clock", {"believe": "always"}, "clock", {"believe": "always"}),
        ("/garden/wiring", {"drop_percent": "7,5"}, "wiring", {"drop_percent": 7.5}),
        ("/garden/network", {"discovery": "false", "names": "garden.example"}, "network",
         {"discovery": False, "names": ("garden.example",)}),
    ],
)  # fmt: skip
def test_settings_are_written_where_they_belong(house, path, fields, table, values):
    """A table that the file does not have is added; what holds without it is not written down."""
    assert change(house, path).status_code == 303
    assert change(house, path, **fields).status_code == 303
    found = getattr(site_of(house), table)
    assert {key: getattr(found, key) for key in values} == values
    written = tomllib.loads(house.site_path.read_text("utf-8"))[table]
    assert written.keys() <= {*fields, "board", "stagger_s"}


def test_every_key_of_a_lamp_has_a_field(house):
    """What few people need stands behind “More”, and is written as the file has it."""
    fields = {
        "volts": "10,5; 15", "driver": "linear", "power_factor": "0.9", "lead": "3 ft", "lead_gauge":
        "16 AWG", "measured_volts": "11.6", "rated_volts": "13", "id": "hats",
    }  # fmt: skip
    path = "/garden/zones/jetty/fixtures/1"
    assert change(house, path, **fields).status_code == 303
    lamp = site_of(house).zones[0].fixtures[0]
    assert (lamp.volts, lamp.driver, lamp.power_factor) == ((10.5, 15), "linear", 0.9)
    assert (lamp.measured_volts, lamp.id, lamp.rated_volts) == ((11.6,), "hats", 13)
    assert change(house, path, id="caps", measured_volts="12, 12, 12, 12, 12, 11.6").status_code == 303
    lamp = site_of(house).zones[0].fixtures[0]
    assert (lamp.id, lamp.formerly, lamp.measured_volts) == ("caps", ("hats",), (*[12] * 5, 11.6))
    html = house.ask("GET", path, headers={"accept": "text/html"}).text
    assert '<details id="more" open>' in html


def test_the_header_shows_which_zone_is_on_which_pin(house):
    """Beside the relays with the way to each zone, and beside a zone to choose its pin."""
    seen = screen(house, "/garden/relays")
    assert "Jetty and steps : pin 11 of the header (BCM 17)" in seen.text
    html = house.ask("GET", "/garden/zones/jetty", headers={"accept": "text/html"}).text
    choosable = {int(each) for each in re.findall(r'data-bcm="(\d+)"', html)}
    assert 17 in choosable
    assert 27 not in choosable


def test_tonight_leads_from_simulated_relays_to_their_form(house):
    """The notice has a button, and the form says what happens."""
    html = house.ask("GET", "/", headers={"accept": "text/html"}).text
    assert "The relays are simulated" in html
    assert 'class="button" href="/garden/relays"' in html
    assert "Another choice counts at once" in screen(house, "/garden/relays").text


def test_real_pins_are_not_chosen_without_their_library(house, monkeypatch):
    """The form says what is missing; with it, the choice is written."""
    monkeypatch.setattr(change_module, "missing_library", lambda *_board: ("needs it", "install it"))
    answer = change(house, "/garden/relays", board="gpio")
    assert answer.status_code == 422
    assert "The library for the pins, lgpio, is not installed here." in Screen(answer.text).text
    monkeypatch.setattr(change_module, "missing_library", lambda *_board: None)
    assert change(house, "/garden/relays", board="gpio").status_code == 303
    assert load_site(house.site_path).site.relays.board == "gpio"


def test_the_driver_of_the_pins_is_chosen_under_more(house, monkeypatch):
    """Driver and chip are written as chosen; a driver that is missing is refused; emptied, both are gone."""
    installed = ["lgpio", "gpiod"]
    monkeypatch.setattr("controller.relays.find_spec", lambda name: name if name in installed else None)
    chosen = {"board": "gpio", "driver": "gpiod", "chip": "/dev/gpiochip1"}
    assert change(house, "/garden/relays", **chosen).status_code == 303
    assert load_site(house.site_path).site.relays.hardware == ("gpio", "gpiod", "/dev/gpiochip1")
    assert change(house, "/garden/relays", driver="", chip="").status_code == 303
    assert load_site(house.site_path).site.relays.hardware == ("gpio", None, None)
    installed.remove("gpiod")
    for wanted in ({"driver": "gpiod"}, {"chip": "/dev/gpiochip1"}):
        answer = change(house, "/garden/relays", **wanted)
        assert answer.status_code == 422
        assert "pip install '.[gpiod]' adds it" in Screen(answer.text).text
    assert load_site(house.site_path).site.relays.hardware == ("gpio", None, None)


# What is changed in another way: places and programs have fields of their own, ids of earlier are kept by
# themselves, and who reaches the page is changed among the devices. The rest concerns whoever looks after the
# files of the board, and would cut the page off from the phone that changes it.
ELSEWHERE = {
    "site": {"latitude", "longitude"},
    "zones": {"formerly", "program", "special_nights", "fixtures"},
    "fixtures": {"formerly"},
    "transformers": {"id"},
    "cables": {"to", "line", "hub"},
    "tariff": {"bands", "changes"},
    "changes": {"bands"},
    "network": {"listen", "port", "certificate", "key"},
}


@pytest.mark.parametrize(
    ("table", "model", "addresses"),
    [
        ("site", Site, ["name", "place"]),
        ("customer", Customer, ["customer"]),
        ("installer", Installer, ["installer"]),
        ("relays", RelaySettings, ["relays"]),
        ("clock", ClockSettings, ["clock"]),
        ("network", NetworkSettings, ["network"]),
        ("wiring", WiringSettings, ["wiring"]),
        ("zones", Zone, ["zones/orchard"]),
        ("transformers", Transformer, ["transformers/boathouse"]),
        ("cables", Cable, ["cables/1"]),
        ("fixtures", Fixture, ["zones/jetty/fixtures/1"]),
        ("tariff", Tariff, ["tariff"]),
        ("changes", PriceChange, ["tariff/changes/1"]),
        ("bands", PriceBand, ["tariff/bands/1"]),
    ],
)
def test_every_key_of_the_site_file_has_a_field(table, model, addresses):
    """Whatever somebody looks for in the file is found on the page; a new key needs a field."""
    document = {
        "transformers": [{"id": "boathouse"}],
        "cables": [{"from": "boathouse", "line": "jetty"}],
        "zones": [{"id": "jetty", "pin": 17, "fixtures": [{}]}, {"id": "orchard", "pin": 27}],
        "tariff": {"bands": [{}], "changes": [{}]},
    }
    fields = {field.key for each in addresses for field in find_part(document, each.split("/")).fields}
    keys = {field.alias or name for name, field in model.model_fields.items()}
    if model is Site:
        keys &= set(SITE_KEYS) | {"dusk_angle"}
    extra = {"place"} if table == "site" else {"form", "end"} if table == "cables" else set()
    assert fields - extra == keys - ELSEWHERE.get(table, set())
