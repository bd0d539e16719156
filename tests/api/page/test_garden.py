"""The garden's screen and its forms, as a browser without scripts has them."""

import re
import tomllib

import pytest

from config.file.loader import load_site
from tests.api.page.conftest import PageHouse
from tests.api.page.screens import Screen, screen, send
from tests.api.page.test_devices import let_in, make_code
from tests.api.page.test_sign_in import PHONE
from tests.api.stand_in import SITE


def change(house, path, action=None, /, **fields):
    """Open a form, fill some of its fields in, and send it."""
    form = screen(house, path).form(action or path)
    return send(house, form, fields=fields)


def site_of(house):
    """The site that the keeper has, which is that of the file."""
    site = load_site(house.site_path).site
    assert house.gateway.site == site
    return site


def test_the_garden_is_told_in_short_sections(house):
    """Place, zones with their pins, transformers and what is known for the reports stand there in words."""
    seen = screen(house, "/garden")
    assert "This is the garden as Leerie knows it. It has 2 zones." in seen.text
    assert "41.4901° north, 71.3128° west; its clocks go by America/New_York." in seen.text
    assert "Jetty and steps pin 11 of the header (BCM 17), closes on low; 6 lamps; 27 W" in seen.text
    assert "200 VA; carries at least 27 W" in seen.text
    assert "Price of electricity not entered" in seen.text


def test_what_did_not_change_is_not_touched(house):
    """A form that is sent as it was shown leaves the file as it is, to the byte."""
    before = house.site_path.read_bytes()
    for path in ("/garden/name", "/garden/place", "/garden/zones/jetty", "/garden/transformers/boathouse",
                 "/garden/zones/jetty/fixtures/1"):  # fmt: skip
        assert change(house, path).status_code == 303
    assert house.site_path.read_bytes() == before


@pytest.mark.parametrize(
    ("path", "fields", "key", "value"),
    [
        ("/garden/name", {"name": "Curlew Lodge"}, ("name",), "Curlew Lodge"),
        ("/garden/zones/jetty", {"name": "Pier"}, ("zones", 0, "name"), "Pier"),
        ("/garden/zones/jetty", {"pin": "22"}, ("zones", 0, "pin"), 22),
        ("/garden/zones/jetty", {"active_high": "true"}, ("zones", 0, "active_high"), True),
        ("/garden/zones/jetty", {"out_of_service": "frost"}, ("zones", 0, "out_of_service"), "frost"),
        ("/garden/zones/orchard", {"rated_watts": "40,5"}, ("zones", 1, "rated_watts"), 40.5),
        ("/garden/zones/jetty", {"transformer": ""}, ("zones", 0, "transformer"), None),
        ("/garden/transformers/boathouse", {"rated_va": "300"}, ("transformers", 0, "rated_va"), 300),
        ("/garden/transformers/boathouse", {"taps": "12; 13.5"}, ("transformers", 0, "taps"), (12, 13.5)),
        ("/garden/zones/jetty/fixtures/1", {"watts": "3"}, ("zones", 0, "fixtures", 0, "watts"), 3),
        ("/garden/zones/jetty/fixtures/1", {"name": "Hats"}, ("zones", 0, "fixtures", 0, "name"), "Hats"),
    ],
)  # fmt: skip
def test_a_field_is_written_and_followed_at_once(house, path, fields, key, value):
    """The one value changes, every comment stays, and the keeper has the new site."""
    assert change(house, path, **fields).status_code == 303
    found = site_of(house)
    for part in key:
        found = found[part] if isinstance(part, int) else getattr(found, part)
    assert found == value
    text = house.site_path.read_text("utf-8")
    assert "# the long one" in text
    assert "# as every neighbour" in text


def test_a_place_may_be_a_link_or_a_city_and_brings_its_time_zone(house):
    """With the field of the time zone empty, that of the place is taken; a city brings its own along."""
    link = "https://map.example/@51.221,-2.413,15z"
    assert change(house, "/garden/place", place=link, time_zone="").status_code == 303
    site = site_of(house)
    assert (site.latitude_deg, site.longitude_deg, site.time_zone) == (51.221, -2.413, "Europe/London")
    assert change(house, "/garden/place", place="Oslo").status_code == 303
    assert site_of(house).latitude_deg == pytest.approx(59.9, abs=0.1)
    assert site_of(house).time_zone == "Europe/Oslo"
    assert change(house, "/garden/place", time_zone="Europe/London").status_code == 303
    assert change(house, "/garden/place", time_zone="").status_code == 303
    assert site_of(house).time_zone == "Europe/Oslo"


def test_a_place_that_does_not_fit_is_warned_about_beside_its_field(house):
    """It is written, for the check only warns, and its words stand beside the field and on the overview."""
    assert change(house, "/garden/place", place="-71.3128, 41.4901").status_code == 303
    for path in ("/garden", "/garden/place"):
        assert "latitude and longitude look exchanged" in screen(house, path).text
    html = house.ask("GET", "/garden/place", headers={"accept": "text/html"}).text
    assert re.search(r'id="m-place"><span>latitude and longitude look', html)


@pytest.mark.parametrize(
    ("path", "fields", "says"),
    [
        ("/garden/name", {"name": " "}, "This is needed."),
        ("/garden/place", {"place": "Nowhere"}, "That is no place known here."),
        ("/garden/place", {"time_zone": "America/Nowhere"}, "is not"),
        ("/garden/zones/jetty", {"rated_watts": "much"}, "Write a number, such as 4.5."),
        ("/garden/zones/jetty", {"rated_watts": "-3"}, "over 0 up to 3000"),
        ("/garden/zones/jetty", {"id": "Jetty 1"}, "lower case letters"),
        ("/garden/zones/jetty", {"id": "orchard"}, "orchard"),
        ("/garden/zones/jetty", {"pin": "27"}, "27"),
        ("/garden/zones/jetty/fixtures/1", {"count": "4.5"}, "Write a whole number."),
        ("/garden/zones/jetty/fixtures/1", {"fitted": "spring"}, "Write a date, such as 2027-04-15."),
        ("/garden/transformers/boathouse", {"rated_va": "9000"}, "over 0 up to 3000"),
        ("/garden/tariff", {"currency": "USD", "per_kwh": "0.1.2"}, "Write a number"),
        ("/garden/customer", {"address": "1 Harrow Rise"}, "This is needed."),
    ],
)
def test_a_mistake_is_told_and_nothing_that_was_typed_is_lost(house, path, fields, says):
    """The form comes again with what was typed and what is wrong; the file is as it was."""
    before = house.site_path.read_bytes()
    answer = change(house, path, **fields)
    assert answer.status_code == 422
    seen = Screen(answer.text)
    assert "Nothing is written yet" in seen.text
    assert says in seen.text
    assert {key: seen.form(path)["fields"][key] for key in fields if key != "pin"} == {
        key: value for key, value in fields.items() if key != "pin"
    }
    assert house.site_path.read_bytes() == before


def test_a_zone_comes_gets_another_id_and_goes(house):
    """A new zone has a free pin; its history goes on under another id; and it can be taken out again."""
    form = screen(house, "/garden/new/zones").form("/garden/new/zones")
    assert form["fields"]["program"] == "dusk to midnight"
    fields = {"name": "Under the elm", "pin": "22", "program": "dusk for 2h; 05:30 to dawn"}
    assert send(house, form, fields=fields).status_code == 303
    zone = site_of(house).zones[2]
    assert (zone.id, zone.name, zone.pin, len(zone.program)) == ("under-the-elm", "Under the elm", 22, 2)
    assert change(house, "/garden/zones/under-the-elm", id="elm").status_code == 303
    zone = site_of(house).zones[2]
    assert (zone.id, zone.formerly) == ("elm", ("under-the-elm",))
    assert change(house, "/garden/zones/elm", "/garden/remove/zones/elm").status_code == 303
    assert [each.id for each in site_of(house).zones] == ["jetty", "orchard"]


def test_the_cables_of_a_zone_go_by_its_new_id(tmp_path):
    """Its line, and the nodes along it, are called by the new one, so that its lamps stay on the cable."""
    cables = """
[[cables]]
from = "boathouse"
line = "jetty"
gauge = "12 AWG"
length = "80 ft"

[[cables]]
from = "jetty 6"
to = "gate"
gauge = "12 AWG"
length = "10 ft"
"""
    house = PageHouse(
        tmp_path,
        site=SITE.replace("[[zones]]", cables + "\n[[zones]]", 1).replace(
            "rated_va = 200", "rated_va = 200\ntap = 12"
        ),
    )
    warnings = [each.what for each in load_site(house.site_path).warnings]
    assert change(house, "/garden/zones/jetty", id="pier").status_code == 303
    document = tomllib.loads(house.site_path.read_text("utf-8"))
    assert [each.get("line") or each["from"] for each in document["cables"]] == ["pier", "pier 6"]
    assert [each.what for each in load_site(house.site_path).warnings] == warnings
    house.close()


def test_the_last_zone_cannot_go(house):
    """With one zone left there is no way to take it out."""
    assert change(house, "/garden/zones/jetty", "/garden/remove/zones/jetty").status_code == 303
    actions = [each["action"] for each in screen(house, "/garden/zones/orchard").forms]
    assert "/garden/remove/zones/orchard" not in actions


def test_lamps_are_added_and_go(house):
    """They stand under their zone, and count in its load."""
    path = "/garden/new/zones/orchard/fixtures"
    assert change(house, path, kind="spot", count="3", watts="7").status_code == 303
    assert site_of(house).zones[1].rated_load.watts == 21
    assert "3 × 7 W" in screen(house, "/garden/zones/orchard").text
    there = "zones/orchard/fixtures/1"
    assert change(house, f"/garden/{there}", f"/garden/remove/{there}").status_code == 303
    assert site_of(house).zones[1].fixtures == ()


def test_a_second_transformer_keeps_the_zones_with_the_first(house):
    """Zones that named none stay on the only one that there was."""
    path = "/garden/new/transformers"
    assert change(house, path, name="Barn", rated_va="150").status_code == 303
    site = site_of(house)
    assert [each.id for each in site.transformers] == ["boathouse", "barn"]
    assert [site.transformer_of(zone).id for zone in site.zones] == ["boathouse", "boathouse"]
    answer = change(house, "/garden/transformers/boathouse", "/garden/remove/transformers/boathouse")
    assert answer.status_code == 422
    assert "boathouse" in Screen(answer.text).text


def test_prices_and_people_are_entered_and_go(house):
    """Tables that the file did not have are added, and can be taken out again."""
    assert change(house, "/garden/tariff", currency="USD", per_kwh="0,29").status_code == 303
    assert change(house, "/garden/customer", name="The owners", address="").status_code == 303
    assert (
        change(house, "/garden/installer", name="The installer", telephone="+1 802 555 0142").status_code
        == 303
    )
    site = site_of(house)
    assert (str(site.tariff.per_kwh), site.customer.name) == ("0.29", "The owners")
    assert site.installer.telephone == "+1 802 555 0142"
    seen = screen(house, "/garden").text
    assert "0.29 USD a kilowatt-hour" in seen
    assert change(house, "/garden/customer", "/garden/remove/customer").status_code == 303
    assert site_of(house).customer is None


def test_two_phones_do_not_overwrite_each_other(house):
    """The second is told, sees both versions, and writes its own all the same or keeps the other."""
    form = screen(house, "/garden/name").form("/garden/name")
    assert send(house, form, fields={"name": "Curlew Lodge"}).status_code == 303
    answer = send(house, form, fields={"name": "Heron Lodge"})
    assert answer.status_code == 412
    seen = Screen(answer.text)
    assert "Somebody else changed this meanwhile" in seen.text
    assert "Curlew Lodge Heron Lodge" in seen.text
    assert site_of(house).name == "Curlew Lodge"
    assert send(house, seen.form("/garden/name")).status_code == 303
    assert site_of(house).name == "Heron Lodge"


def test_a_part_that_was_changed_is_not_taken_out(house):
    """Whoever takes out a zone that somebody just renamed is asked to look again."""
    form = screen(house, "/garden/zones/orchard").form("/garden/remove/zones/orchard")
    change(house, "/garden/zones/orchard", name="Apple trees")
    assert send(house, form).status_code == 412
    assert len(site_of(house).zones) == 2


def test_two_phones_change_two_parts(house):
    """What another phone changed elsewhere is no reason to refuse."""
    form = screen(house, "/garden/name").form("/garden/name")
    change(house, "/garden/zones/orchard", name="Apple trees")
    assert send(house, form, fields={"name": "Heron Lodge"}).status_code == 303
    assert (site_of(house).name, site_of(house).zones[1].name) == ("Heron Lodge", "Apple trees")


def test_what_may_only_read_sees_the_garden_and_changes_nothing(house):
    """It has no buttons, and its forms are refused."""
    _, code = make_code(house, name="hall tablet", may="read")
    cookie = let_in(house, code)
    for path in ("/garden", "/garden/zones/jetty"):
        seen = screen(house, path, headers=cookie, peer=PHONE)
        assert {each["action"] for each in seen.forms} == {"/language", "/sign-out"}
        assert "Change" not in seen.text
    answer = house.ask(
        "POST", "/garden/name", data={"name": "x"}, headers={"accept": "text/html", **cookie}, peer=PHONE
    )
    assert answer.status_code == 403


@pytest.mark.parametrize(
    "path",
    ["/garden/nothing", "/garden/zones/pier", "/garden/zones/jetty/fixtures/2", "/garden/new/name",
     "/garden/zones/jetty/fixtures/0", "/garden/transformers/barn", "/garden/zones", "/garden/zones/a/b/c/d",
     "/garden/new/zones/pier/fixtures", "/garden/", "/garden/zones/jetty/fixtures/x"],
)  # fmt: skip
def test_what_is_not_there_is_said(house, path):
    """A form of something that went meanwhile says so, on a screen."""
    answer = house.ask("GET", path, headers={"accept": "text/html"})
    assert answer.status_code == 404
    assert "That did not work." in Screen(answer.text).text


def test_a_demonstration_shows_its_garden(house):
    """It has no site file: everything can be read, and a change is refused with words."""
    house.gateway.site_path = None
    assert "Jetty and steps" in screen(house, "/garden").text
    tonight = screen(house).text
    assert "This is a demonstration: its relays are simulated" in tonight
    assert "Once relays are wired" not in tonight
    answer = change(house, "/garden/zones/jetty", name="Pier")
    assert answer.status_code in (403, 409)
    assert "demonstration" in Screen(answer.text).text


def test_the_last_change_is_undone(house):
    """The file is as it was to the byte, and undoing again brings the change back."""
    before = house.site_path.read_bytes().replace(b"\n", b"\r\n")
    house.site_path.write_bytes(before)
    assert change(house, "/garden/zones/orchard", "/garden/remove/zones/orchard").status_code == 303
    after = house.site_path.read_bytes()
    seen = screen(house, "/garden")
    assert (
        "Last change, 9:30 PM, by this board: orchard, taken out."
        in screen(house, "/garden", headers={"accept-language": "en-US"}).text
    )
    assert send(house, seen.form("/garden")).status_code == 303
    assert house.site_path.read_bytes() == before
    assert len(site_of(house).zones) == 2
    seen = screen(house, "/garden")
    assert "by this board: orchard, added." in seen.text
    assert send(house, seen.form("/garden")).status_code == 303
    assert house.site_path.read_bytes() == after


def test_a_change_is_not_undone_over_another(house):
    """Once anything else has changed it is not offered any more, and whoever asks all the same is told."""
    change(house, "/garden/name", name="Curlew Lodge")
    form = screen(house, "/garden").form("/garden")
    change(house, "/garden/zones/orchard", name="Apple trees")
    answer = send(house, form)
    assert answer.status_code == 412
    assert "Somebody changed the garden meanwhile; look at it first" in Screen(answer.text).text
    body = {"program": ["dusk to 23:00"]}
    assert house.ask("PUT", "/v1/zones/jetty/program", json=body).status_code == 200
    assert "Undo this change" not in screen(house, "/garden").text
    assert (site_of(house).name, site_of(house).zones[1].name) == ("Curlew Lodge", "Apple trees")
