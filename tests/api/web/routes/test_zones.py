"""Routes of the zones: how they are, and what is wanted of them."""

import errno
import os
from concurrent.futures import CancelledError

import pytest

from config.file import editor as site_edit
from tests.api.stand_in import SITE, House, SilentLoop, pointed_at, problem

JETTY = "/v1/zones/jetty"


def put(house, url, body, **more):
    return house.ask("PUT", url, json=body, **more)


# -- reading -------------------------------------------------------------------------------------------------


def test_zones_come_in_the_order_of_the_site_file(house):
    """The list has every zone, in the order of the site file."""
    told = house.get("/v1/zones")
    assert told["site"] == "Saltmarsh Lodge"
    assert [(zone["id"], zone["name"]) for zone in told["zones"]] == [
        ("jetty", "Jetty and steps"),
        ("orchard", "orchard"),
    ]


def test_a_zone_is_shown_in_full(house):
    """One zone shows its wiring, load, light, decision, program, special nights and tonight's windows."""
    assert house.get(JETTY) == {
        "id": "jetty",
        "name": "Jetty and steps",
        "transformer": "boathouse",
        "pin": 17,
        "rated_load": {"watts": 27.0, "origin": "fixtures"},  # six times 4.5 W
        "lit": True,
        "lit_since": "2027-06-22T01:30:00Z",
        "decision": {
            "on": True,
            "cause": "program",
            "because": "dusk to midnight, every night",
            "until": "2027-06-22T04:00:00Z",
        },
        "override": None,
        "fault": None,
        "out_of_service": None,
        "program": ["dusk to midnight"],
        "special_nights": [{"nights": "Fri, Sat", "program": ["dusk to 01:30"]}],
        "tonight": {
            "night": "2027-06-21",
            "zone": "jetty",
            "windows": [
                {"on": "2027-06-22T00:56:40Z", "off": "2027-06-22T04:00:00Z", "span": "dusk to midnight"}
            ],
            "because": "every night",
        },
    }


def test_a_load_that_nobody_knows_is_null(house):
    """A zone whose load is not known shows null, not zero."""
    zone = house.get("/v1/zones/orchard")
    assert zone["rated_load"] == {"watts": None, "origin": None}
    assert zone["transformer"] is None


def test_a_dark_zone_has_no_lit_since(house):
    """A zone that is dark has no lit_since."""
    house.pass_time(3 * 3600)
    zone = house.get(JETTY)
    assert (zone["lit"], zone["lit_since"]) == (False, None)
    assert zone["decision"]["because"] == "dusk to midnight is over, every night"


def test_a_relay_fault_is_shown_with_its_zone(house):
    """A relay that does not switch shows in its zone: since when, why, how often it was tried."""
    device = next(iter(house.relays._devices.values()))
    device.pin._change_state = lambda *_: (_ for _ in ()).throw(
        OSError(errno.EIO, "the line does not answer")
    )
    house.pass_time(3 * 3600)
    zone = house.get(JETTY)
    assert zone["lit"] is True
    assert zone["decision"]["on"] is False
    assert zone["fault"]["since"] == "2027-06-22T04:30:00Z"
    assert zone["fault"]["tries"] == 1
    assert "pin 17" in zone["fault"]["because"]
    assert house.get("/v1/zones/orchard")["fault"] is None
    del device.pin._change_state


@pytest.mark.parametrize(
    ("method", "rest", "body"),
    [
        ("GET", "", None),
        ("GET", "/why", None),
        ("GET", "/why?at=2027-06-22T01:30:00Z", None),
        ("PUT", "/program", {"program": []}),
        ("PUT", "/override", {"light": "on"}),
        ("DELETE", "/override", None),
    ],
)
def test_an_unknown_zone_is_refused_with_those_that_exist(house, method, rest, body):
    """Every request about an unknown zone is answered with the zones that exist."""
    more = {} if body is None else {"json": body}
    response = house.ask(method, f"/v1/zones/pier{rest}", **more)
    at = f"/v1/zones/pier{rest.split('?')[0]}"
    told = problem(response, "unknown-zone", at=at, zones=["jetty", "orchard"])
    assert told["detail"] == "there is no zone “pier”; the zones are jetty, orchard"


# -- why -----------------------------------------------------------------------------------------------------


def test_why_now_is_the_decision_in_force(house):
    """Without an instant, why shows what the keeper decided, an override included."""
    put(house, f"{JETTY}/override", {"light": "off", "for": "30m"})
    assert house.get(f"{JETTY}/why") == {
        "site": "Saltmarsh Lodge",
        "zone": "jetty",
        "at": "2027-06-22T01:30:00Z",
        "on": False,
        "cause": "override",
        "because": "somebody asked for dark",
        "until": "2027-06-22T02:00:00Z",
        "basis": "keeper",
        "note": "what the keeper decided in its last round",
    }


def test_why_at_an_instant_is_by_the_site_file_and_says_so(house):
    """With an instant, why goes by the site file alone, whatever is in force now, and says so."""
    put(house, f"{JETTY}/override", {"light": "off", "for": "30m"})
    told = house.get(f"{JETTY}/why", params={"at": "2027-06-25T22:30:00-04:00"})
    assert (told["on"], told["cause"]) == (True, "special night")
    assert told["because"] == "dusk to 01:30, special night Fri, Sat"
    assert (told["at"], told["until"]) == ("2027-06-26T02:30:00Z", "2027-06-26T05:30:00Z")
    assert told["basis"] == "site file"
    assert told["note"].startswith("by the site file alone")


def test_why_at_no_instant_is_refused(house):
    """A text that is not an instant is refused, with the name of the parameter and what would do."""
    told = house.ask("GET", f"{JETTY}/why?at=2027-06-25T22:30:00+02:00")
    detail = "at: “2027-06-25T22:30:00 02:00” is not an instant; a + in an address is written %2B"
    problem(told, "invalid-request", at=f"{JETTY}/why", errors=[{"detail": detail, "parameter": "at"}])


@pytest.mark.parametrize("at", ["1970-01-01T00:00:00Z", "2199-12-31T23:59:59Z", "2100-02-28T12:00:00Z"])
def test_why_answers_to_the_edges_of_its_years(house, at):
    """The first and the last instant that can be asked about are answered."""
    assert house.get(f"{JETTY}/why", params={"at": at})["at"] == at


# -- override ------------------------------------------------------------------------------------------------


def test_an_override_without_an_end_lasts_to_the_next_change(house):
    """An override that names no end ends where the program changes next; the relay follows at once."""
    response = put(house, f"{JETTY}/override", {"light": "off"})
    assert response.status_code == 200
    assert response.json() == {
        "light": "off",
        "until": "2027-06-22T04:00:00Z",
        "lasts_s": 9000.0,  # half past nine to midnight
        "placed_at": "2027-06-22T01:30:00Z",
        "by": "this board",
    }
    zone = house.get(JETTY)
    assert zone["lit"] is False
    assert zone["override"] == response.json()


def test_an_override_until_an_instant_ends_there(house):
    """An override until an instant, of any offset from UTC, is in force until then and not longer."""
    body = {"light": "on", "until": "2027-06-22T02:15:00-04:00"}
    assert put(house, f"{JETTY}/override", body).json()["until"] == "2027-06-22T06:15:00Z"
    house.pass_time(4 * 3600 + 44 * 60 + 59)  # to 06:14:59
    assert house.get(JETTY)["lit"] is True
    house.pass_time(1)
    zone = house.get(JETTY)
    assert (zone["lit"], zone["override"]) == (False, None)


@pytest.mark.parametrize(("length", "seconds"), [("1h30m", 5400), ("45m", 2700), ("24h", 86400)])
def test_an_override_for_a_time_lasts_that_long(house, length, seconds):
    """An override for a duration, written as in the program language, lasts as many seconds."""
    told = put(house, f"{JETTY}/override", {"light": "off", "for": length}).json()
    assert told["lasts_s"] == seconds


def test_an_override_for_a_time_works_without_a_trusted_clock(tmp_path):
    """While the clock is not trusted an override for a duration lights the zone, without an end time."""
    house = House(tmp_path, trusted=False)
    told = put(house, f"{JETTY}/override", {"light": "on", "for": "2h"}).json()
    assert (told["until"], told["lasts_s"]) == (None, 7200.0)
    assert house.get(JETTY)["lit"] is True
    house.close()


def test_an_override_until_an_instant_needs_a_trusted_clock(tmp_path):
    """While the clock is not trusted an end on a clock is refused, with what would do."""
    house = House(tmp_path, trusted=False, trust="nobody has set it")
    response = put(house, f"{JETTY}/override", {"light": "on", "until": "2027-06-22T04:00:00Z"})
    told = problem(response, "override-refused", at=f"{JETTY}/override")
    assert "say for how long, not until when: nobody has set it" in told["detail"]
    house.close()


def test_an_override_that_ends_in_the_past_is_refused(house):
    """An end that is over already is refused, and no override is placed."""
    response = put(house, f"{JETTY}/override", {"light": "off", "until": "2027-06-22T01:30:00Z"})
    told = problem(response, "override-refused", at=f"{JETTY}/override")
    assert told["detail"] == "2027-06-22T01:30:00Z is already over; name a later instant"
    assert house.get(JETTY)["override"] is None


@pytest.mark.parametrize(
    ("body", "errors"),
    [
        ({}, [("#/light", "light: is missing")]),
        ({"light": "blue"}, [("#/light", "light: must be “on” or “off”, not “blue”")]),
        ({"light": True}, [("#/light", "light: must be “on” or “off”, not “true”")]),
        ({"light": "on", "colour": "red"}, [("#/colour", "colour: is not an allowed field; leave it out")]),
        ({"light": "on", "for": 90}, [("#/for", "for: must be a valid string, not “90”")]),
        (
            {"light": "on", "until": "2027-06-22T04:00:00Z", "for": "1h"},
            [
                (
                    "#",
                    "the body: give “until” or “for”, not both",
                )
            ],
        ),
        ([], [("#", "the body: must be an object")]),
        (None, [("#", "the body: is missing")]),
    ],
)
def test_an_override_that_is_not_understood_is_refused_thing_by_thing(house, body, errors):
    """Everything that is wrong in the body is listed, with a JSON pointer to it."""
    response = house.ask("PUT", f"{JETTY}/override", json=body, headers={"content-type": "application/json"})
    entries = [{"detail": detail, "pointer": pointer} for pointer, detail in errors]
    told = problem(response, "invalid-request", at=f"{JETTY}/override", errors=entries)
    assert told["detail"] == "; ".join(detail for _, detail in errors)


def test_a_duration_that_is_not_valid_is_refused_with_its_column(house):
    """A duration that is not valid is refused with the column, what is there and what was expected."""
    response = put(house, f"{JETTY}/override", {"light": "on", "for": "two hours"})
    (error,) = response.json()["errors"]
    assert (
        error.pop("detail")
        == f"for: “two hours”: “two” is not a duration here; write {error['expected']} (column 1)"
    )
    assert error == {
        "pointer": "#/for",
        "text": "two hours",
        "column": 1,
        "found": "two",
        "expected": "a duration such as 4h, 45m or 1h30m",
    }
    problem(response, "not-a-program", at=f"{JETTY}/override", errors=response.json()["errors"])


def test_lifting_an_override_gives_the_zone_back(house):
    """DELETE ends an override at once, and is as well where there is none."""
    put(house, f"{JETTY}/override", {"light": "off"})
    for _ in range(2):
        response = house.ask("DELETE", f"{JETTY}/override")
        assert (response.status_code, response.content) == (204, b"")
        zone = house.get(JETTY)
        assert (zone["lit"], zone["override"]) == (True, None)


@pytest.mark.parametrize("error", [TimeoutError, CancelledError])
@pytest.mark.parametrize(("method", "body"), [("PUT", {"light": "off"}), ("DELETE", None)])
def test_a_keeper_that_does_not_answer_is_reported(house, method, body, error):
    """An override that the keeper did not confirm is reported so, because it may have been carried out."""
    house.gateway.loop = SilentLoop(house.keeper)
    house.gateway.loop.error = error
    more = {} if body is None else {"json": body}
    told = problem(house.ask(method, f"{JETTY}/override", **more), "keeper-silent", at=f"{JETTY}/override")
    assert "did not answer in time" in told["detail"]


# -- programs ------------------------------------------------------------------------------------------------


def test_a_new_program_is_written_and_followed(house):
    """A new program stands in the file with every comment kept, and the light follows it at once."""
    response = put(house, f"{JETTY}/program", {"program": ["dusk to 21:25", "22:00 to 23:00"]})
    assert response.status_code == 200
    told = response.json()
    assert told == house.get(JETTY)
    assert told["program"] == ["dusk to 21:25", "22:00 to 23:00"]
    assert told["lit"] is False
    assert [window["span"] for window in told["tonight"]["windows"]] == ["dusk to 21:25", "22:00 to 23:00"]
    # Nothing but the one line changed.
    old, new = SITE.splitlines(), house.site_path.read_text(encoding="utf-8").splitlines()
    changed = [line for line in new if line not in old]
    assert len(changed) == 1
    assert "dusk to 21:25" in changed[0]
    assert changed[0].endswith("# as every neighbour")
    assert told["special_nights"] == [{"nights": "Fri, Sat", "program": ["dusk to 01:30"]}]


def test_special_nights_are_written_where_they_are_given(house):
    """Special nights that are given replace those of the file; an empty list takes them out."""
    special_nights = [
        {"nights": "12-20 to 01-06", "program": ["dusk to dawn"]},
        {"nights": "Mon", "program": []},
    ]
    body = {"program": ["dusk for 4h"], "special_nights": special_nights}
    told = put(house, f"{JETTY}/program", body).json()
    assert told["special_nights"] == special_nights
    assert told["decision"]["because"] == "special night Mon: no light"  # 21 June 2027 is a Monday
    told = put(house, f"{JETTY}/program", {"program": ["dusk for 4h"], "special_nights": []}).json()
    assert told["special_nights"] == []
    assert told["decision"]["because"] == "dusk for 4h, every night"


def test_a_text_that_is_not_in_the_language_is_refused_at_its_place(house):
    """Each text that is not valid is listed with a pointer, its column, what is there and what to write."""
    body = {
        "program": ["dusk to midnight", "dusk til late"],
        "special_nights": [{"nights": "Friday", "program": ["dusk to dawn", "sunset+20m to 25:00"]}],
    }
    before = house.site_path.read_bytes()
    response = put(house, f"{JETTY}/program", body)
    errors = response.json()["errors"]
    problem(response, "not-a-program", at=f"{JETTY}/program", errors=errors)
    assert [each["pointer"] for each in errors] == [
        "#/program/1",
        "#/special_nights/0/nights",
        "#/special_nights/0/program/1",
    ]
    for error in errors:
        text = pointed_at(body, error["pointer"])
        assert error["text"] == text
        # The column counts from 1 and leads to what was found there.
        assert text[error["column"] - 1 :].startswith(error["found"])
        assert error["expected"]
    assert (errors[0]["column"], errors[0]["found"], errors[0]["expected"]) == (6, "til", "“to”")
    assert house.site_path.read_bytes() == before


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "#/program"),
        ({"program": "dusk to midnight"}, "#/program"),
        ({"program": [7]}, "#/program/0"),
        ({"program": [], "pin": 4}, "#/pin"),
        ({"program": [], "special_nights": [{"nights": "Fri"}]}, "#/special_nights/0/program"),
        ({"program": [], "special_nights": [{"nights": "Fri", "program": [], "a/b~c d": 1}]}, None),
    ],
)
def test_a_program_of_another_shape_is_refused(house, body, pointer):
    """What has another shape than a program is refused with a pointer to the place."""
    response = put(house, f"{JETTY}/program", body)
    (error,) = response.json()["errors"]
    # RFC 6901, section 3 and 6: ~ is ~0, / is ~1, a blank is percent-encoded in a fragment.
    assert error["pointer"] == (pointer or "#/special_nights/0/a~1b~0c%20d")
    problem(response, "invalid-request", at=f"{JETTY}/program", errors=[error])


def test_a_site_file_that_would_not_do_is_refused_with_its_problems(house):
    """Where the file on disk was spoilt meanwhile, the change is refused with every problem of the file."""
    spoilt = SITE.replace("latitude = 41.4901", "latitude = 141.4901").replace("pin = 27", "pin = 99")
    house.site_path.write_text(spoilt, encoding="utf-8")
    response = put(house, f"{JETTY}/program", {"program": ["dusk for 4h"]})
    problems = response.json()["problems"]
    problem(response, "site-file-refused", at=f"{JETTY}/program", problems=problems)
    assert [each["value"] for each in problems] == ["141.4901", "99"]
    assert all(each["what"] and each["remedy"] and each["line"] for each in problems)
    assert house.site_path.read_text(encoding="utf-8") == spoilt
    assert house.get(JETTY)["program"] == ["dusk to midnight"]


@pytest.mark.parametrize(
    ("code", "name"),
    [
        (errno.ENOSPC, "disk-full"),
        (errno.EROFS, "site-file-unwritable"),
        (errno.EACCES, "site-file-unwritable"),
    ],
)
def test_a_disk_that_cannot_be_written_is_reported(house, monkeypatch, code, name):
    """A site file that cannot be written stays as it was, and the response says why."""

    def fail(*_args):
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr("config.file.atomic_write.os.fsync", fail)
    before = house.site_path.read_bytes()
    response = put(house, f"{JETTY}/program", {"program": ["dusk for 4h"]})
    told = problem(response, name, at=f"{JETTY}/program")
    assert os.strerror(code) in told["detail"]
    assert house.site_path.read_bytes() == before
    assert house.get(JETTY)["program"] == ["dusk to midnight"]


def test_a_file_that_somebody_else_changes_meanwhile_is_reported(house, monkeypatch):
    """A file that changes between reading and writing is not touched, and the response says so."""
    write = site_edit.write_atomically

    def change_first(path, content, *, expected):
        path.write_text(SITE + "# by hand\n", encoding="utf-8")
        write(path, content, expected=expected)

    monkeypatch.setattr(site_edit, "write_atomically", change_first)
    response = put(house, f"{JETTY}/program", {"program": ["dusk for 4h"]})
    problem(response, "site-file-changed", at=f"{JETTY}/program")
    assert house.site_path.read_text(encoding="utf-8").endswith("# by hand\n")


def test_a_demonstration_writes_nothing(house):
    """A demonstration has no site file, and says so."""
    house.gateway.site_path = None
    response = put(house, f"{JETTY}/program", {"program": ["dusk for 4h"]})
    told = problem(response, "demonstration", at=f"{JETTY}/program")
    assert told["detail"] == "this is a demonstration, which has no site file to write to"
    assert house.get(JETTY)["program"] == ["dusk to midnight"]
