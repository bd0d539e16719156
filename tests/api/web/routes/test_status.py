"""Routes about the daemon as a whole."""

from datetime import timedelta

import pytest

from api.web.problems.types import PROBLEM_TYPES
from tests.api.stand_in import EVENING_UTC, House, problem


def test_health_is_well_while_rounds_are_made(house):
    """Health answers 200 with the age of the last round and how many zones are lit."""
    house.clock.advance(89.9)
    assert house.get("/health") == {"status": "ok", "last_round_s": 89.9, "lit": 2}


def test_health_is_ill_once_the_last_round_is_90_s_old(house):
    """Health answers 503 when the last round is 90 s old, and 200 again after the next one."""
    house.clock.advance(90.0)
    problem(house.ask("GET", "/health"), "keeper-late", at="/health", last_round_s=90.0)
    house.loop.run_once()
    assert house.get("/health")["status"] == "ok"


@pytest.mark.parametrize("step_s", [-3600.0, 3600.0, 15_552_000.0])
def test_health_asks_no_wall_clock(house, step_s):
    """A wall clock that is set, back or forward, makes no keeper look late."""
    house.clock.step(step_s)
    assert house.get("/health")["last_round_s"] == 0.0


def test_status_shows_everything_at_a_glance(house):
    """The status shows site, clock, keeper, zones, journal and site file."""
    house.pass_time(60)
    status = house.get("/v1/status")
    rules = status.pop("time_zone")
    assert rules["name"] == "America/New_York"
    assert rules["rules"][:2] == "20"  # an edition such as 2026a
    assert status == {
        "site": "Saltmarsh Lodge",
        "clock": {
            "now": "2027-06-22T01:31:00Z",
            "trusted": True,
            "because": "stepped clock",
            "since": "2027-06-22T01:30:00Z",
        },
        "keeper": {
            "started_at": "2027-06-22T01:30:00Z",
            "last_round": "2027-06-22T01:31:00Z",
            "summary": "lit: Jetty and steps, orchard; simulated relays: nothing is switched",
        },
        "zones": [
            {
                "id": "jetty",
                "name": "Jetty and steps",
                "lit": True,
                "decision": {
                    "on": True,
                    "cause": "program",
                    "because": "dusk to midnight, every night",
                    "until": "2027-06-22T04:00:00Z",
                },
                "override": None,
                "fault": None,
            },
            {
                "id": "orchard",
                "name": "orchard",
                "lit": True,
                "decision": {
                    "on": True,
                    "cause": "program",
                    "because": "21:15 to 23:45, every night",
                    "until": "2027-06-22T03:45:00Z",
                },
                "override": None,
                "fault": None,
            },
        ],
        "journal": {"waiting": 0, "lost": 0, "fault": None},
        "site_file": {"summary": "in use", "changed_at": None, "refused": None},
        "relays": {"simulated": True, "summary": "simulated relays: nothing is switched"},
        "network": {"board": "http://127.0.0.1:8010/", "home": [], "encrypted": False, "faults": []},
        "access": {"devices": 0, "failed_tries": 0, "fault": None},
    }


def test_now_goes_on_between_rounds(house):
    """The time in the status is the present one, not that of the last round."""
    house.clock.advance(17)
    status = house.get("/v1/status")
    assert status["clock"]["now"] == "2027-06-22T01:30:17Z"
    assert status["keeper"]["last_round"] == "2027-06-22T01:30:00Z"


def test_a_clock_that_is_not_trusted_shows_since_when(tmp_path):
    """While the clock is not trusted status says so, why, and since when; nothing is lit."""
    house = House(tmp_path, trusted=False, trust="nobody has set it since the board started")
    house.pass_time(600)
    status = house.get("/v1/status")
    assert status["clock"] == {
        "now": "2027-06-22T01:40:00Z",
        "trusted": False,
        "because": "nobody has set it since the board started",
        "since": "2027-06-22T01:30:00Z",
    }
    assert [zone["decision"]["cause"] for zone in status["zones"]] == ["clock not trusted"] * 2
    assert not any(zone["lit"] for zone in status["zones"])
    house.close()


def test_a_board_that_woke_in_1970_is_told_by_the_present_clock(tmp_path):
    """What happened before the clock was set is shown by the clock as it is now, not as of 1970."""
    house = House(tmp_path, at_utc=EVENING_UTC.replace(year=1970, month=1, day=1), trusted=False)
    house.pass_time(300)
    house.clock.step((EVENING_UTC - house.clock.utc).total_seconds())
    house.clock.trusted = True
    house.pass_time(60)
    status = house.get("/v1/status")
    assert (
        status["keeper"]["started_at"] == "2027-06-22T01:25:00Z"
    )  # 300 s before the step, by the boot-time clock
    assert status["clock"]["since"] == "2027-06-22T01:31:00Z"
    house.close()


def test_a_refused_site_file_and_a_journal_fault_are_shown(house):
    """Status carries why a changed site file was not taken, and why the journal cannot be written."""
    house.loop.call(lambda keeper: keeper.refuse_site("site.toml:3: latitude = 99: too far north"))
    house.journal._fault = OSError("the disk is full; make room on it")
    house.loop.run_once()
    status = house.get("/v1/status")
    why = "site.toml:3: latitude = 99: too far north"
    assert status["site_file"] == {"summary": f"refused: {why}", "changed_at": None, "refused": why}
    assert status["journal"]["fault"] == "the disk is full; make room on it"
    assert status["journal"]["waiting"] > 0


def test_the_index_lists_every_route_that_there_is(house):
    """The index names every route, and each of them is there."""
    routes = house.get("/v1")["routes"]
    listed = {(route["method"], route["path"]) for route in routes}
    # The routes of the contract, as far as they are built.
    assert listed == {
        ("GET", "/v1"),
        ("GET", "/health"),
        ("GET", "/openapi.json"),
        ("GET", "/problems/{name}"),
        ("GET", "/v1/access"),
        ("POST", "/v1/access/codes"),
        ("POST", "/v1/access/session"),
        ("DELETE", "/v1/access/session"),
        ("GET", "/v1/access/tokens"),
        ("POST", "/v1/access/tokens"),
        ("DELETE", "/v1/access/tokens/{token_id}"),
        ("GET", "/v1/hours"),
        ("GET", "/v1/nights"),
        ("GET", "/v1/replacements"),
        ("POST", "/v1/replacements"),
        ("DELETE", "/v1/replacements/{replacement_id}"),
        ("GET", "/v1/report/{season}"),
        ("GET", "/v1/status"),
        ("GET", "/v1/clock"),
        ("GET", "/v1/clock/confirmation"),
        ("PUT", "/v1/clock/confirmation"),
        ("GET", "/v1/switchings"),
        ("GET", "/v1/year"),
        ("GET", "/v1/year.svg"),
        ("POST", "/v1/check"),
        ("GET", "/v1/zones"),
        ("GET", "/v1/zones/{zone_id}"),
        ("GET", "/v1/zones/{zone_id}/why"),
        ("GET", "/v1/zones/{zone_id}/program"),
        ("PUT", "/v1/zones/{zone_id}/program"),
        ("GET", "/v1/zones/{zone_id}/override"),
        ("PUT", "/v1/zones/{zone_id}/override"),
        ("DELETE", "/v1/zones/{zone_id}/override"),
        ("GET", "/v1/zones/{zone_id}/measured"),
        ("PUT", "/v1/zones/{zone_id}/measured"),
        ("GET", "/v1/wiring"),
        ("GET", "/v1/wiring/{transformer_id}/proposals"),
        ("POST", "/v1/wiring/{transformer_id}/proposals"),
        ("GET", "/v1/sheet"),
        ("GET", "/v1/sheet/{transformer_id}"),
        ("GET", "/v1/placing"),
        ("GET", "/v1/events"),
        ("GET", "/v1/calendar.ics"),
        ("GET", "/v1/calendar/{secret}.ics"),
        ("GET", "/metrics"),
        ("GET", "/docs"),
    }
    assert all(route["does"] for route in routes)


@pytest.mark.parametrize("name", sorted(PROBLEM_TYPES))
def test_every_kind_of_problem_is_explained_where_its_type_points(house, name):
    """The type of a problem is a path at which the kind is explained."""
    told = house.get(f"/problems/{name}")
    assert told == {
        "type": f"/problems/{name}",
        "title": PROBLEM_TYPES[name].title,
        "status": PROBLEM_TYPES[name].status,
        "remedy": PROBLEM_TYPES[name].remedy,
    }


def test_an_unknown_kind_of_problem_is_not_found(house):
    """A kind that there is not is answered with a problem itself."""
    problem(house.ask("GET", "/problems/flood"), "not-found", at="/problems/flood")


def test_a_lit_zone_shows_since_when_by_the_present_clock(house):
    """A clock that was set while a zone was lit moves the beginning with it; the length stays what it was."""
    house.pass_time(1800)
    house.clock.step(3600)
    house.loop.run_once()
    zone = house.get("/v1/zones/jetty")
    began = EVENING_UTC + timedelta(seconds=3600)
    assert zone["lit_since"] == f"{began:%Y-%m-%dT%H:%M:%SZ}"
