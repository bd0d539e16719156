"""GET /v1/events over real sockets, read by the rules of the standard for event streams."""

from __future__ import annotations

import contextlib
import json
import logging
import socket

import pytest

from api.web import hub as hub_module
from api.web.server import WebServer
from config.errors import RelayError
from config.file.loader import load_site
from controller.journal.recent import MOST_MISSED
from controller.records.entries import EventKind
from tests.api.event_stream import Client
from tests.api.lines import LONG_S, ask, serving, wait_until
from tests.api.stand_in import House
from tests.api.web.devices import HOME
from tests.api.web.test_home_network import pair


def put(server, path, **body):
    status, _, document = ask(server, "PUT", path, json.dumps(body), content_type="application/json")
    assert status == 200, document
    return document


def shape(messages):
    return [each.event for each in messages]


def test_a_stream_begins_with_the_state_of_everything(server, house):
    """The first event is the status, as GET /v1/status has it, with the id of the newest entry."""
    with Client(server).begin() as client:
        first = client.next()
        assert first.event == "status"
        assert first.data == house.get("/v1/status")
        assert first.last_id == str(house.journal.recent.last)
        assert client.retry_ms == 2000


def test_an_override_is_told_as_it_is_placed_and_lifted(server, house):
    """An override is told with its switching and the zone's new state, and so is its end."""
    with Client(server).begin() as client:
        client.next()
        placed = put(server, "/v1/zones/jetty/override", light="off", **{"for": "1h"})
        override, switching, zone = client.until("zone")
        assert (override.event, override.data) == ("override", {**placed, "zone": "jetty"})
        assert switching.data == house_switching(house)
        assert (zone.data["lit"], zone.data["override"]) == (False, placed)
        assert ask(server, "DELETE", "/v1/zones/jetty/override")[0] == 204
        ended, switching, zone = client.until("zone")
        assert ended.event == "override_ended"
        assert ended.data == {"at": placed["placed_at"], "zone": "jetty", "because": "lifted by this board"}
        assert (switching.event, switching.data["on"], zone.data["lit"]) == ("switching", True, True)
        ids = [each.last_id for each in (override, ended, switching)]
        assert len(set(ids)) == 3
        assert zone.last_id == switching.last_id


def house_switching(house):
    house.journal.flush()
    return house.get("/v1/switchings?zone=jetty&limit=1")["switchings"][0]


def test_the_program_ends_the_light(server, house):
    """What the program switches is told too, and the time until the next change."""
    with Client(server).begin() as client:
        client.next()
        house.pass_time(2.5 * 3600)
        found = client.until("zone", id="jetty")
        assert shape(found).count("switching") == 2
        assert found[-1].data["decision"]["until"] > "2027-06-22T20:00:00Z"


def test_a_calm_round_is_not_told(server, house):
    """A round that finds nothing new sends nothing, with an override in force neither."""
    with Client(server).begin() as client:
        client.next()
        put(server, "/v1/zones/orchard/override", light="off", **{"for": "2h"})
        client.until("zone")
        for _ in range(5):
            house.pass_time(30.0)
        put(server, "/v1/zones/jetty/override", light="off")
        assert shape(client.until("zone")) == ["override", "switching", "zone"]


def test_a_program_that_changes_is_told(server):
    """A new program is told with its spans, and the site file's change as an event."""
    with Client(server).begin() as client:
        client.next()
        program = {"program": ["dusk to 22:00"], "special_nights": [{"nights": "Sat", "program": []}]}
        put(server, "/v1/zones/jetty/program", **program)
        event, told = client.until("program")
        assert (event.event, event.data["kind"]) == ("event", "site changed")
        assert {name: told.data[name] for name in program} == program
        assert (told.data["zone"], told.data["out_of_service"]) == ("jetty", None)
        assert client.until("zone", id="jetty")[-1].data["lit"] is True


def test_faults_trust_and_the_site_file_are_told(server, house, monkeypatch):
    """A relay's fault and recovery, trust in the clock and a refused site file are told, each in words."""
    with Client(server).begin() as client:
        client.next()

        def fail(_wire):
            raise RelayError("GPIO17: the pin does not answer")

        with monkeypatch.context() as patch:
            patch.setattr(house.relays, "read", fail)
            house.loop.run_once()
            fault = client.until("event", kind="relay fault", zone="jetty")[-1]
            assert "does not answer" in fault.data["because"]
            assert client.until("zone", id="jetty")[-1].data["fault"]["because"] == fault.data["because"]
        house.pass_time(5.0)
        assert client.until("event", kind="relay recovered", zone="jetty")[-1].data["size_s"] == 5.0
        house.clock.trusted = False
        house.loop.run_once()
        assert client.until("event", kind="clock not trusted")[-1].data["trusted"] is False
        assert client.until("clock")[-1].data["trusted"] is False
        house.loop.call(lambda keeper: keeper.refuse_site("line 3: no such zone"))
        assert client.until("event", kind="site refused")[-1].data["because"] == "line 3: no such zone"
        assert client.until("site_file")[-1].data["refused"] == "line 3: no such zone"


def test_zones_that_come_and_go_are_told(server, house):
    """A zone that is added, or called otherwise, brings all zones anew."""
    text = house.site_path.read_text(encoding="utf-8")
    with Client(server).begin() as client:
        client.next()
        house.site_path.write_text(text.replace('id = "orchard"', 'id = "meadow"\nformerly = ["orchard"]'))
        site = load_site(house.site_path).site
        house.loop.call(lambda keeper: keeper.change_site(site, words="the site file was read again"))
        found = client.until("zones")
        assert [each["id"] for each in found[-1].data["zones"]] == ["jetty", "meadow"]
        assert {each.data["zone"] for each in found if each.event == "switching"} == {"meadow"}


# -- coming back ---------------------------------------------------------------------------------------------


def test_what_was_missed_is_told_once_and_in_order(server, house):
    """A client that comes back with its last id is told each entry since, by its id, then the status."""
    with Client(server).begin() as client:
        start = client.next().last_id
        put(server, "/v1/zones/jetty/override", light="off")
        seen = client.until("zone")
        put(server, "/v1/zones/orchard/override", light="off")
        seen += client.until("zone")
    entries = [(each.last_id, each.event, each.data["zone"]) for each in seen if each.event != "zone"]
    for number, last_id in enumerate([start, *(each[0] for each in entries)]):
        with Client(server, last_id=last_id).begin() as again:
            missed = again.until("status")
            told = [(each.last_id, each.event, each.data["zone"]) for each in missed[:-1]]
            assert told == entries[number:]
            assert missed[-1].last_id == entries[-1][0]


def test_what_was_missed_over_a_restart_is_told(tmp_path):
    """After a restart of the daemon a client is told what it missed before and since."""
    with contextlib.closing(House(tmp_path)) as house, serving(house.make_app) as server:
        with Client(server).begin() as client:
            last_id = client.next().last_id
        put(server, "/v1/zones/jetty/override", light="off", **{"for": "1h"})
        missed = house.journal.recent.last
        house.keeper.stop()
        house.journal.flush()
    house.clock.advance(60.0)
    with contextlib.closing(House(tmp_path, at_utc=house.clock.utc, boot_s=house.clock.boot_s)) as later:
        later.journal.flush()
        with serving(later.make_app) as server, Client(server, last_id=last_id).begin() as client:
            found = client.until("status")
            assert "reset" not in shape(found)
            assert found[0].event == "override"
            assert str(missed) in [each.last_id for each in found]
            kinds = [each.data["kind"] for each in found if each.event == "event"]
            assert kinds[-2:] == ["stopped", "started"]
            assert shape(found[-5:]) == ["program", "program", "switching", "switching", "status"]


@pytest.mark.parametrize("last_id", ["boot-7:100:1", "boot-1:999999999:1", "anything", "0", "x" * 4000])
def test_an_id_that_is_not_known_is_answered_with_reset(server, house, last_id):
    """A client whose last id is of another journal, or none at all, is told to read everything again."""
    house.journal.flush()
    with Client(server, last_id=last_id).begin() as client:
        reset, status = client.next(), client.next()
        assert (reset.event, status.event) == ("reset", "status")
        assert reset.data["because"]
        assert reset.last_id == status.last_id == str(house.journal.recent.last)


def test_who_missed_too_much_is_told_to_read_again(server, house):
    """More than a thousand entries are not told one by one; a thousand are."""
    with Client(server).begin() as client:
        last_id = client.next().last_id
    now = house.clock.read()
    for _ in range(MOST_MISSED):
        house.keeper._recorder.note(EventKind.RELAY_FAULT, "stuck", now, zone="jetty")
    with Client(server, last_id=last_id).begin() as client:
        found = client.until("status")
        assert shape(found) == ["event"] * MOST_MISSED + ["status"]
    house.keeper._recorder.note(EventKind.RELAY_FAULT, "stuck", now, zone="jetty")
    with Client(server, last_id=last_id).begin() as client:
        assert shape(client.until("status")) == ["reset", "status"]


def test_another_journal_is_told_as_reset(server, house):
    """Where another file takes the journal's place, open streams are told to read everything again."""
    house.pass_time(1.0)
    with Client(server).begin() as client:
        last_id = client.next().last_id
        for each in house.journal.directory.glob("journal*"):
            each.unlink()
        house.pass_time(1.0)
        house.pass_time(1.0)
        assert shape(client.until("reset"))[-1] == "reset"
    with Client(server, last_id=last_id).begin() as client:
        assert shape(client.until("status")) == ["reset", "status"]


# -- limits --------------------------------------------------------------------------------------------------


def test_a_ping_comes_until_the_token_is_revoked(server, house, monkeypatch):
    """With every ping the token of a device is looked at again; once it is revoked, the stream ends."""
    monkeypatch.setattr(hub_module, "PING_S", 0.05)
    token, token_id = pair(server, "read")
    with Client(server, source=HOME, token=token).begin() as client:
        assert shape([client.next(), client.next(), client.next()]) == ["status", "ping", "ping"]
        assert ask(server, "DELETE", f"/v1/access/tokens/{token_id}")[0] == 204
        assert set(shape(client.rest())) <= {"ping", "event"}
    wait_until(lambda: house.hub.count == 0)


def test_a_device_has_two_streams(server):
    """A device of the home network has two streams at once and no third; without permission it has none."""
    token, _ = pair(server, "read")
    with contextlib.ExitStack() as streams:
        for _ in range(2):
            streams.enter_context(Client(server, source=HOME, token=token).begin()).next()
        third, stranger = Client(server, source=HOME, token=token), Client(server, source=HOME)
        assert streams.enter_context(third).head()[0] == 503
        assert streams.enter_context(stranger).head()[0] == 401
        streams.enter_context(Client(server).begin()).next()


def test_a_client_that_goes_leaves_no_trace(server, house, caplog):
    """A client that hangs up, or resets its connection, gives its place back, and nothing is logged."""
    for linger in (None, b"\1\0\0\0\0\0\0\0"):
        client = Client(server).begin()
        client.next()
        if linger:
            client.line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger)
        client.close()
        wait_until(lambda: house.hub.count == 0)
    assert not [each for each in caplog.records if each.levelno >= logging.WARNING]


def test_the_end_of_the_server_ends_the_streams(house, caplog):
    """Streams end at once where the daemon stops, and leave no trace in the log; no new one is begun."""
    server = WebServer(house.make_app, port=0)
    server.start()
    assert server.wait_until_serving(LONG_S)
    with Client(server).begin() as client:
        client.next()
        house.hub.close()
        assert client.rest() == []
        with Client(server) as late:
            status, head = late.head()
            assert (status, "application/problem+json" in head) == (503, True)
        assert server.stop(LONG_S)
    assert not [each for each in caplog.records if each.levelno >= logging.WARNING]
