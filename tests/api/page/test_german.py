"""What the deeper layers say, on screens in German: nothing is left in English but what is typed so."""

import errno
from datetime import UTC, date, datetime
from html.parser import HTMLParser

import pytest

from api.render.network_json import NetworkResponse
from api.web.listening import explain
from config.errors import JournalError
from config.file.loader import parse_site
from config.phrase import Phrase
from controller.journal.reader import JournalReader
from tests.api.page.conftest import PageHouse
from tests.api.page.screens import Screen, screen, send
from tests.api.stand_in import SITE
from tests.years import write_years

GERMAN = {"accept": "text/html", "accept-language": "de-DE"}


class English(HTMLParser):
    """The elements that are marked as English, but for code, what is typed, and the name of the language."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        if ("lang", "en") in attrs and tag not in ("code", "input", "button", "a"):
            self.found.append(f"{self.getpos()}: <{tag}>")


def german(house, path="/") -> str:
    """Open a screen in German, which has nothing in English, and give its text."""
    return german_text(house.ask("GET", path, headers=GERMAN))


def german_text(response) -> str:
    assert English(response.text).found == []
    return Screen(response.text).text


def form_of(house, path) -> dict:
    return screen(house, path, headers=GERMAN).form(path)


def test_a_relay_that_fails(house):
    """What it did is said in German; what the system says of it stays as it is."""
    device = next(iter(house.relays._devices.values()))
    device.pin._change_state = lambda *_: (_ for _ in ()).throw(OSError(errno.EIO, "no answer"))
    house.pass_time(3 * 3600)
    assert "Stift 17 lässt sich nicht schalten: [Errno 5] no answer" in german(house)
    del device.pin._change_state


def test_lights_that_are_held(tmp_path):
    """The notice, and the refusal of a time that is not the board's, are in German."""
    house = PageHouse(tmp_path, trusted=False)
    seen = screen(house, headers=GERMAN)
    assert "Das Licht bleibt aus: Niemand weiß, ob die Uhr des Rechners stimmt." in german(house)
    answer = send(house, seen.form("/clock"), headers=GERMAN, fields={"seen": "2027-06-22T03:30:00Z"})
    text = german_text(answer)
    assert "Die Uhr des Rechners zeigt 2027-06-21 21:30:00, und du siehst 2027-06-21 23:30:00;" in text
    house.close()


def test_a_site_file_that_was_refused(house):
    """The first thing that is wrong is said with its place."""
    house.keeper.refuse_site(refusal(SITE.replace("pin = 27", "pin = 40").replace("count = 6", "count = 0")))
    house.pass_time(30)
    text = german(house)
    assert "site.toml:" in text
    assert (
        ": Zone „jetty“, fixtures[1].count = 0: ist zu klein; schreibe wie viele es sind, 1 bis 500" in text
    )


def refusal(text: str) -> str:
    with pytest.raises(ValueError, match="is too small") as refused:
        parse_site(text, "site.toml")
    return str(refused.value)


def test_warnings_of_the_site_file(tmp_path):
    """The garden and its forms show them in German, with numbers as they are written there."""
    site = SITE.replace("watts = 4.5", "watts = 28.5").replace("pin = 27", "pin = 14")
    house = PageHouse(tmp_path, site=site.replace("longitude = -71", "longitude = 71"))
    text = german(house, "/garden")
    assert "davor scheint das Minus zu fehlen: mit ihm liegt der Ort 242 km von New York entfernt" in text
    assert "ist fast ausgelastet: seine Zonen nehmen 171 W, 1 davon mit unbekannter Last" in text
    assert "gehört zur seriellen Konsole" in text
    assert "davor scheint das Minus zu fehlen" in german(house, "/garden/place")
    house.close()


@pytest.mark.parametrize(
    ("path", "fields", "said"),
    [
        ("/garden/zones/jetty", {"id": "Jetty 1"}, "schreibe jetty-1: Kleinbuchstaben, Ziffern"),
        ("/garden/zones/jetty", {"id": "orchard"}, "ist schon die id von Zone „orchard“ in Zeile"),
        (
            "/garden/transformers/boathouse",
            {"rated_va": "9000"},
            "ist zu groß; schreibe seine Nennleistung in VA",
        ),
        ("/garden/place", {"time_zone": "America/Nowhere"}, "ist keine Zeitzone der tz-Datenbank; schreibe"),
    ],
)
def test_a_mistake_in_a_form(house, path, fields, said):
    """What the check of the site file refuses is told in German."""
    assert said in german_text(send(house, form_of(house, path), headers=GERMAN, fields=fields))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("dusk til late", "„til“ ist hier nicht gültig: schreibe „to“ (Spalte 6)."),
        ("dusk to 9 pm", "„9 pm“ ist hier keine Uhrzeit: schreibe 21:00 (Spalte 9)."),
        ("dusk for 2", "„2“ ist hier keine Dauer: schreibe 2h für Stunden, 2m für Minuten (Spalte 10)."),
        (
            "dusk",
            "Hört zu früh auf: schreibe „to“ und ein Ende wie midnight, oder „for“ und eine Dauer wie 4h",
        ),
    ],
)
def test_a_mistake_in_a_program(house, line, said):
    """The words of the program language stay, all the others are German."""
    form = form_of(house, "/programs/jetty")
    answer = send(house, form, ("do", "save"), headers=GERMAN, fields={"p0s0-text": line})
    assert said in german_text(answer)


def test_special_nights_and_nights_without_light(tmp_path):
    """They are named, and explained, as people say it."""
    house = PageHouse(tmp_path, site=SITE.replace('["21:15 to 23:45"]', '["dusk to 20:30"]'))
    text = german(house, "/year?night=2027-06-25")
    assert "(am Freitag und Samstag)" in text
    assert "es würde um 20:57 beginnen, aber schon um 20:30 enden" in text
    house.close()


def test_what_wants_attention(tmp_path):
    """Lamps past their life, and what was missed, are told in German."""
    worn = SITE.replace("  watts = 4.5\n", "  watts = 4.5\n  rated_life_h = 100\n  fitted = 2027-06-01\n")
    write_years(tmp_path / "state", parse_site(worn, "site.toml").site, date(2027, 6, 1), date(2027, 7, 11))
    house = PageHouse(tmp_path, site=worn, at_utc=datetime(2027, 7, 12, 17, tzinfo=UTC), boot_id="another")
    house.pass_time(1)
    text = german(house, "/lamps")
    assert "Ersetze 6 × Wegleuchte:" in text
    assert "% der Nennlebensdauer verbraucht." in text
    assert "Miss ihre Last, für measured_watts in der Gartendatei." in text
    house.close()


def test_what_limits_the_figures(house):
    """What is not known, and where to enter it, stands below the figures in German."""
    said = "Mindestens: Zone orchard hat keine Last; trage Leuchten, rated_watts oder measured_watts ein."
    assert said in german(house, "/cost")
    assert said in german(house, "/what-if")


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("off=25:00", "„25:00“ ist hier keine Uhrzeit"),
        ("pin_on=21:15", "Das ist keine Uhrzeit; schreibe beide Reiter wie 21:15 und 23:45."),
        (
            "pin_on=21:15&pin_off=21:15",
            "Die beiden Reiter einer Schaltuhr können nicht beide auf 21:15 stehen",
        ),
        ("pin_on=21:15&pin_off=23:45&set_on=2030-01-01", "1. Januar 2030 kommt erst noch"),
        (
            "pin_on=21:15&pin_off=23:45&drift=1000",
            "Eine Schaltuhr geht höchstens 900 s am Tag falsch, nicht 1000",
        ),
    ],
)
def test_a_mistake_in_a_question(house, asked, said):
    """What cannot be read is told in German at its field."""
    assert said in german(house, f"/what-if?{asked}")


def test_a_journal_that_cannot_be_read(house, monkeypatch):
    """Why is said in German."""

    def broken(*_args, **_more):
        raise JournalError(Phrase("the journal {path}: {meaning}", path="x", meaning=Phrase("no light")))

    monkeypatch.setattr(JournalReader, "last_sign", broken)
    assert "Das Protokoll x:" in german(house, "/year")


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("/cost?period=never", "„never“ ist kein Zeitraum (kein Datum); schreibe 2027-06-21,"),
        ("/year?night=2027-02-30", "„2027-02-30“ gibt es nicht; schreibe einen Tag des Kalenders."),
        ("/programs/pier", "Unbekannte Zone. Es gibt keine Zone „pier“; die Zonen sind jetty, orchard."),
        ("/garden/zones/pier", "Diese Zone gibt es im Garten nicht mehr"),
    ],
)
def test_what_does_not_work(house, path, said):
    """The screen of a problem is in German, and says nothing of what a program could ask."""
    text = german(house, path)
    assert said in text
    assert "GET " not in text


def test_who_did_something_and_why_a_zone_rests(tmp_path):
    """The board is named as such, and a reason that nobody gave is said to be none."""
    house = PageHouse(tmp_path, site=SITE.replace("pin = 27", "pin = 27\nout_of_service = true"))
    form = screen(house, headers=GERMAN).form("/zones/jetty/light")
    send(house, form, ("light", "off"), headers=GERMAN)
    text = german(house)
    assert "ausgeschaltet von diesem Rechner" in text
    assert "außer Betrieb: ohne Angabe von Gründen" in text
    assert "außer Betrieb: ohne Angabe von Gründen" in german(house, "/garden")
    assert "Außer Betrieb: ohne Angabe von Gründen." in german(house, "/programs")
    house.close()


@pytest.mark.parametrize(
    "path", ["/cables", "/garden/transformers/boathouse", "/garden/devices", "/programs"]
)
def test_other_screens(house, path):
    """Nothing on them is in English."""
    german(house, path)


def test_what_is_wrong_with_the_home_network(house):
    """A port that another program has is told in German, with its number as it is."""
    fault = explain(OSError(errno.EADDRINUSE, "in use"), "192.168.1.20", 8010)
    network = NetworkResponse(board="http://127.0.0.1:8010/", home=[], encrypted=False, faults=[fault])
    house.app.state.context.network = lambda: network
    assert "Port 8010 auf 192.168.1.20 belegt ein anderes Programm;" in german(house, "/garden/devices")
