"""Routes of the clock: what it says, whether it is trusted, and a person's word for it."""

import pytest

from controller.clock.trust import NOT_SET, REMEDY
from controller.journal.reader import JournalReader
from tests.api.stand_in import House, problem

HELD = f"{NOT_SET}. {REMEDY}"
CONFIRMATION = "/v1/clock/confirmation"


@pytest.fixture
def unset(tmp_path):
    """A house whose clock nothing has set."""
    house = House(tmp_path, trusted=False, trust=HELD)
    yield house
    house.close()


def test_the_clock_says_what_it_says_and_why(unset):
    """Both times, whether it is trusted, why, since when, and what the site file says of it."""
    unset.pass_time(60)
    assert unset.get("/v1/clock") == {
        "now": "2027-06-22T01:31:00Z",
        "trusted": False,
        "because": HELD,
        "since": "2027-06-22T01:30:00Z",
        "site": "Saltmarsh Lodge",
        "time_zone": "America/New_York",
        "local": "2027-06-21T21:31:00-04:00",
        "believe": "synchronised",
        "confirmed_at": None,
        "basis": "keeper",
    }
    assert unset.get(CONFIRMATION) == {"confirmed_at": None, "trusted": False, "because": HELD}


@pytest.mark.parametrize(
    "time", ["2027-06-22T01:30:00Z", "2027-06-21T21:29:01-04:00", "2027-06-22T03:31:00+02:00"]
)
def test_a_person_who_sees_the_same_time_has_the_lights_follow_their_program(unset, time):
    """Within a minute of the board's, in whatever offset: trusted, lit, and written in the journal."""
    response = unset.ask("PUT", CONFIRMATION, json={"time": time})
    assert response.status_code == 200, response.text
    confirmed = {
        "confirmed_at": "2027-06-22T01:30:00Z",
        "trusted": True,
        "because": "confirmed by a person",
    }
    assert response.json() == confirmed
    unset.pass_time(600)
    assert unset.get(CONFIRMATION) == confirmed
    clock = unset.get("/v1/clock")
    assert (clock["confirmed_at"], clock["since"]) == ("2027-06-22T01:30:00Z", "2027-06-22T01:30:00Z")
    assert unset.get("/v1/status")["keeper"]["summary"].startswith("lit: Jetty and steps, orchard")
    unset.journal.flush()
    kinds = [each.kind.value for each in JournalReader(unset.journal.directory).events()]
    assert [kind for kind in kinds if kind.startswith("clock")] == ["clock not trusted", "clock confirmed"]


@pytest.mark.parametrize("time", ["2027-06-22T01:31:01Z", "2027-06-22T01:28:59Z", "2026-06-22T01:30:00Z"])
def test_a_phone_that_says_another_time_is_told_both(unset, time):
    """More than a minute off: 409 with both times in the site's time zone, and nothing is trusted."""
    words = problem(
        unset.ask("PUT", CONFIRMATION, json={"time": time}), "confirmation-refused", at=CONFIRMATION
    )
    assert "the board's clock says 2027-06-21 21:30:00, and you see 202" in words["detail"]
    assert words["detail"].endswith("; set the clock, then confirm it")
    assert not unset.get("/v1/clock")["trusted"]


@pytest.mark.parametrize(
    "body", [{}, {"time": "21:30"}, {"time": 5}, {"time": "2027-06-22T01:30:00Z", "by": "me"}]
)
def test_a_confirmation_says_the_time(unset, body):
    """Without an instant with its offset from UTC nothing is confirmed."""
    response = unset.ask("PUT", CONFIRMATION, json=body)
    assert (response.status_code, response.json()["type"]) == (422, "/problems/invalid-request")
    assert not unset.get("/v1/clock")["trusted"]


def test_a_confirmation_has_a_tag_that_changes_with_it(unset):
    """GET answers 304 to the tag of what has not changed, and the new document after a PUT."""
    before = unset.ask("GET", CONFIRMATION)
    tag = before.headers["etag"]
    unset.pass_time(60)
    for known in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        unchanged = unset.ask("GET", CONFIRMATION, headers={"if-none-match": known})
        assert (unchanged.status_code, unchanged.content, unchanged.headers["etag"]) == (304, b"", tag)
    assert unset.ask("PUT", CONFIRMATION, json={"time": "2027-06-22T01:31:00Z"}).status_code == 200
    after = unset.ask("GET", CONFIRMATION, headers={"if-none-match": tag})
    assert after.status_code == 200
    assert after.headers["etag"] != tag
