"""The calendar of the coming nights, read back by vobject, which did not write it."""

import os
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import httpx
import pytest
import vobject

from api.render.feeds import calendar_ics
from config.file.editor import write_program
from config.program.parser import parse_program
from tests.api.lines import LONG_S
from tests.api.stand_in import EVENING_UTC, SITE, House, problem
from tests.api.web.devices import HOME, Device

# 2027-01-01, an instant in the past of every test.
CHANGED_UTC = datetime(2027, 1, 1, tzinfo=UTC)
# What a problem document says of an address with a secret in it.
SHOWN = "/v1/calendar/%E2%80%A6.ics"


@pytest.fixture
def house(tmp_path):
    """The house, with a site file that was changed on the first of January."""
    house = House(tmp_path)
    touch(house, CHANGED_UTC)
    yield house
    house.close()


def touch(house, at_utc):
    os.utime(house.site_path, (at_utc.timestamp(), at_utc.timestamp()))


def events(house, url="/v1/calendar.ics"):
    """Read the calendar and give its events."""
    response = house.ask("GET", url)
    assert response.status_code == 200, response.text
    assert response.headers["content-type"] == "text/calendar; charset=utf-8"
    return vobject.readOne(response.text).vevent_list


def start_of(event):
    return event.dtstart.value


def change_program(house, zone, program):
    """Write another program into the site file and have the keeper take it over."""
    loaded = write_program(house.site_path, zone, parse_program(program))
    house.loop.call(lambda keeper: keeper.change_site(loaded.site, words="edited"))


def test_the_windows_are_those_of_the_nights(house):
    """Every window of the coming 60 nights, and no other, is an event with its zone, span and edges."""
    nights = house.get("/v1/nights?from=2027-06-21&to=2027-08-19")["nights"]
    names = {"jetty": "Jetty and steps lit", "orchard": "orchard lit"}
    expected = [
        (names[night["zone"]], window["on"], window["off"], f"{window['span']}, {night['because']}")
        for night in nights
        for window in night["windows"]
    ]
    assert len(expected) == 120
    found = [
        (
            each.summary.value,
            f"{each.dtstart.value:%Y-%m-%dT%H:%M:%SZ}",
            f"{each.dtend.value:%Y-%m-%dT%H:%M:%SZ}",
            each.description.value,
        )
        for each in events(house)
    ]
    assert found == expected


def test_the_file_has_the_form_of_the_standards(house):
    """Lines end in CRLF and have at most 75 octets; version, name and refresh interval stand at the top."""
    change_program(house, "jetty", ["21:15 to 22:00", "22:10 to 22:20"])
    content = house.ask("GET", "/v1/calendar.ics").content
    lines = content.split(b"\r\n")
    assert lines[-1] == b""
    assert not [line for line in lines if b"\n" in line or b"\r" in line or len(line) > 75]
    head = content.decode().partition("BEGIN:VEVENT")[0].splitlines()
    assert head[0] == "BEGIN:VCALENDAR"
    # RFC 5545, sections 3.7.3 and 3.7.4; RFC 7986, sections 5.1 and 5.7.
    assert {"VERSION:2.0", "NAME:Saltmarsh Lodge", "REFRESH-INTERVAL;VALUE=DURATION:PT12H"} <= set(head)
    assert any(line.startswith("PRODID:") for line in head)
    for event in events(house):
        assert event.dtstart.value < event.dtend.value
        assert event.dtstamp.value == house.app.state.context.site_changed_utc()


def test_names_of_any_kind_come_back_as_they_were(tmp_path):
    """A name with what iCalendar escapes, and too long for a line, is read as it was written."""
    name = "Jetty; steps, and “the long walk” \\ north — " + "ü" * 40
    house = House(tmp_path, site=SITE.replace('"Jetty and steps"', f"'{name}'"))
    assert events(house, "/v1/calendar.ics?zone=jetty")[0].summary.value == f"{name} lit"
    house.close()


def uids(found):
    """Give the UID and the beginning of each event, by what it is and by its night in UTC-4."""
    return {
        (each.summary.value, (start_of(each) - timedelta(hours=16)).date()): (each.uid.value, start_of(each))
        for each in found
    }


def test_an_event_keeps_its_uid(house):
    """Each event has a UID of its own, the same on the next day, and wherever dusk and the site file move."""
    before = uids(events(house))
    assert len({uid for uid, _ in before.values()}) == 120
    house.clock.advance(24 * 3600)
    house.loop.run_once()
    after = uids(events(house))
    shared = before.keys() & after.keys()
    assert (len(after), len(shared)) == (120, 118)
    assert all(before[each] == after[each] for each in shared)
    text = house.site_path.read_text(encoding="utf-8")
    house.site_path.write_text(text.replace("[relays]", "dusk_angle = 5.0\n\n[relays]"), encoding="utf-8")
    change_program(house, "orchard", ["21:15 to 23:00"])
    moved = uids(events(house))
    for each, (uid, start) in after.items():
        is_jetty = each[0] == "Jetty and steps lit"
        # Its dusk comes earlier, and it is the same window; the orchard's window is another one.
        assert (moved[each][0] == uid) is is_jetty
        assert (moved[each][1] < start) is is_jetty


def test_two_windows_of_one_span_are_two_events(tmp_path):
    """A span that gives two windows in one night gives two events, each with its own UID."""
    # In January the sun is up from about 06 to 10 UTC here, and a night by that clock ends at 12:00.
    site = SITE.replace("41.4901", "65.0").replace("-71.3128", "60.0").replace("America/New_York", "UTC")
    site = site.replace('["21:15 to 23:45"]', '["12:30 to 11:30, while dark"]')
    site = site.replace("[relays]", "dusk_angle = 0.84\n\n[relays]")
    house = House(tmp_path, site=site, at_utc=datetime(2027, 1, 10, 18, tzinfo=UTC))
    found = events(house, "/v1/calendar.ics?zone=orchard")
    house.close()
    nights = Counter((start_of(each) - timedelta(hours=12)).date() for each in found)
    assert [nights[date(2027, 1, day)] for day in range(10, 25)] == [2] * 15
    assert len({each.uid.value for each in found}) == len(found)


def test_one_zone_alone(house):
    """`zone` leaves out the others; one that is not there is refused."""
    found = events(house, "/v1/calendar.ics?zone=orchard")
    assert {each.summary.value for each in found} == {"orchard lit"}
    assert len(found) == 60
    response = house.ask("GET", "/v1/calendar.ics?zone=pier")
    problem(response, "unknown-zone", at="/v1/calendar.ics", zones=["jetty", "orchard"])


def test_a_zone_out_of_service_has_no_events(tmp_path):
    """A zone that is never lit stands in no calendar."""
    house = House(tmp_path, site=SITE.replace("pin = 27", 'pin = 27\nout_of_service = "cable cut"'))
    found = events(house)
    house.close()
    assert {each.summary.value for each in found} == {"Jetty and steps lit"}


def test_an_etag_lasts_until_something_changes(house):
    """The same night and site file answer 304; the next night, another zone and a new site file do not."""

    def ask(tag=None, url="/v1/calendar.ics"):
        response = house.ask("GET", url, headers={} if tag is None else {"if-none-match": tag})
        assert response.headers["cache-control"] == "private, no-cache"
        return response.status_code, response.headers["etag"]

    (status, first) = ask()
    assert status == 200
    house.pass_time(6 * 3600)
    assert ask(first) == ask(f'"other", W/{first}') == (304, first)
    assert ask(first, "/v1/calendar.ics?zone=jetty")[0] == 200
    touch(house, CHANGED_UTC + timedelta(days=1))
    status, second = ask(first)
    assert (status, ask(second)) == (200, (304, second))
    change_program(house, "orchard", ["21:15 to 23:00"])
    touch(house, CHANGED_UTC + timedelta(days=1))
    status, third = ask(second)
    assert (status, ask(third)) == (200, (304, third))
    house.pass_time(12 * 3600)  # past noon, into the next night
    status, fourth = ask(third)
    assert (status, len({first, second, third, fourth})) == (200, 4)


def test_while_the_clock_is_not_trusted_there_is_no_calendar(tmp_path):
    """A wrong clock does not replace what subscribers have with nights of another year."""
    house = House(tmp_path, trusted=False, trust="nobody has set it since the board started")
    told = problem(house.ask("GET", "/v1/calendar.ics"), "clock-not-trusted", at="/v1/calendar.ics")
    house.close()
    assert "nobody has set it" in told["detail"]


def test_a_calendar_has_an_end(house, monkeypatch):
    """However many windows a program has, a calendar stays bounded, and ends with a whole night."""
    monkeypatch.setattr(calendar_ics, "MOST_EVENTS", 31)
    found = events(house)
    assert len(found) == 32
    assert all(before.summary.value != after.summary.value for before, after in pairwise(found))


def test_without_a_site_file_the_stamp_is_that_of_the_start(house):
    """A demonstration has no site file, and one that was removed has no date: the start of Leerie counts."""
    house.site_path.unlink()
    assert {each.dtstamp.value for each in events(house)} == {EVENING_UTC}
    house.gateway.site_path = None
    assert {each.dtstamp.value for each in events(house)} == {EVENING_UTC}


def test_a_garden_that_stays_dark_has_an_empty_calendar(house):
    """A site whose programs give no light for 60 nights has a calendar without events."""
    for zone in ("jetty", "orchard"):
        change_program(house, zone, [])
    text = house.ask("GET", "/v1/calendar.ics?zone=orchard").text
    assert text.splitlines()[-1] == "END:VCALENDAR"
    assert "vevent" not in vobject.readOne(text).contents


def test_the_log_holds_no_secret(house, monkeypatch, caplog):
    """Where a calendar cannot be made the log says which request failed, and leaves out the secret."""
    secret = Device(house).pair("calendar").token
    monkeypatch.setattr(calendar_ics, "write_calendar", lambda *_args, **_more: 1 / 0)
    address = f"/v1/calendar/{secret}.ics"
    problem(house.ask("GET", address), "fault", at=SHOWN)
    assert "GET '/v1/calendar/….ics'" in caplog.text
    assert secret not in caplog.text


def test_a_secret_address_needs_nothing_else(house):
    """A subscriber's address gives the same calendar while its secret is in force, and nothing without it."""
    subscriber, device = Device(house), Device(house).pair("calendar")
    secret = device.token
    address = f"/v1/calendar/{secret}.ics"
    given = subscriber.ask("GET", address)
    assert given.content == house.ask("GET", "/v1/calendar.ics").content
    known = {"if-none-match": given.headers["etag"]}
    assert subscriber.ask("GET", address, headers=known).status_code == 304
    assert len(events(house, f"{address}?zone=jetty")) == 60
    for wrong in (secret[:-1], secret.upper(), "x" * 100, Device(house).pair("control").token):
        path = f"/v1/calendar/{wrong}.ics"
        problem(subscriber.ask("GET", path), "not-found", at=SHOWN)
    assert house.get("/v1/status")["access"]["failed_tries"] == 4
    assert house.ask("GET", f"/v1/calendar/{'x' * 101}.ics").status_code == 422
    house.ask("DELETE", f"/v1/access/tokens/{device.id}")
    for peer in (HOME, "127.0.0.1"):
        problem(subscriber.ask("GET", address, peer=peer), "not-found", at=SHOWN)


def test_nothing_but_reading_is_possible_at_a_secret_address(house):
    """What knows the secret may read the calendar and do nothing else."""
    address = f"/v1/calendar/{Device(house).pair('calendar').token}.ics"
    for method in ("PUT", "POST", "PATCH", "DELETE"):
        body = {"json": {} if method != "DELETE" else None}
        assert Device(house).ask(method, address, **body).status_code == 401
        response = house.ask(method, address, **body)
        problem(response, "method-not-allowed", at=SHOWN)
        assert response.headers["allow"] == "GET, HEAD, OPTIONS"


def test_a_calendar_over_a_real_socket(house, server):
    """A calendar program gets the calendar from the port, its head, and 304 where it has it already."""
    url = f"http://127.0.0.1:{server.port}/v1/calendar.ics"
    got, head = httpx.get(url, timeout=LONG_S), httpx.head(url, timeout=LONG_S)
    assert got.status_code == head.status_code == 200
    assert head.content == b""
    assert int(head.headers["content-length"]) == len(got.content)
    assert len(vobject.readOne(got.text).vevent_list) == 120
    again = httpx.get(url, headers={"if-none-match": got.headers["etag"]}, timeout=LONG_S)
    assert (again.status_code, again.content) == (304, b"")
