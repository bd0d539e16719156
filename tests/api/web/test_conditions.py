"""ETags and conditions: answers that can be compared, and changes that never overwrite another unseen."""

import json
import threading

import pytest

from api.web.problems.types import PROBLEM_TYPES
from tests.api.lines import ask
from tests.api.stand_in import SITE, problem

JETTY = "/v1/zones/jetty"
PAGE = {"origin": "http://127.0.0.1:8010"}
CONFIRMATION = "/v1/clock/confirmation"
# Each with two bodies that change it.
RESOURCES = {
    f"{JETTY}/program": [{"program": ["dusk for 4h"]}, {"program": ["dusk to 23:00"], "special_nights": []}],
    f"{JETTY}/measured": [{"watts": 26.5}, {"fixtures": [{"fixture": 1, "volts": [11.5]}]}],
    f"{JETTY}/override": [{"light": "off", "for": "1h"}, {"light": "on", "until": "2027-06-22T06:00:00Z"}],
    CONFIRMATION: [{"time": "2027-06-22T01:30:00Z"}, {"time": "2027-06-22T01:31:00Z"}],
}
PATHS = sorted(RESOURCES)


def put(house, path, number, **headers):
    body = RESOURCES[path][number]
    if path == CONFIRMATION:  # a person confirms the time that it is, and confirms it again later
        house.clock.advance(60 * number)
        house.loop.run_once()
        body = {"time": f"{house.clock.utc:%Y-%m-%dT%H:%M:%SZ}"}
    names = {name.replace("_", "-"): value for name, value in headers.items()}
    return house.ask("PUT", path, json=body, headers=names)


def tag_at(house, path):
    response = house.ask("GET", path)
    assert response.status_code == 200, response.text
    tag = response.headers["etag"]
    # A strong one (RFC 9110, section 8.8.3).
    assert tag[0] == tag[-1] == '"'
    return tag


def test_everything_that_can_be_put_can_be_read(house):
    """Every address that takes PUT takes GET too, and says in the description that it has an ETag."""
    paths = house.get("/openapi.json")["paths"]
    put_at = {path for path, item in paths.items() if "put" in item}
    assert {path.replace("{zone_id}", "jetty") for path in put_at} == set(RESOURCES)
    for path in put_at:
        assert "ETag" in paths[path]["get"]["responses"]["200"]["headers"]
        assert "304" in paths[path]["get"]["responses"]
        for method in paths[path].keys() & {"put", "delete"}:
            assert {"412", "428"} <= set(paths[path][method]["responses"])


@pytest.mark.parametrize("path", PATHS)
def test_an_etag_stays_while_nothing_changes(house, path):
    """The same content has the same ETag, however much time passes; another content has another."""
    assert put(house, path, 0).status_code == 200
    tag, content = tag_at(house, path), house.get(path)
    house.pass_time(700)
    assert (tag_at(house, path), house.get(path)) == (tag, content)
    assert put(house, path, 1).status_code == 200
    assert tag_at(house, path) != tag
    assert house.get(path) != content


@pytest.mark.parametrize("path", [*PATHS, "/openapi.json"])
@pytest.mark.parametrize("method", ["GET", "HEAD"])
def test_what_the_client_has_is_not_sent_again(house, path, method):
    """If-None-Match with the ETag, weak or strong, alone or among others, gives 304 without content."""
    if path in RESOURCES:
        put(house, path, 0)
    tag = tag_at(house, path)
    for known in (tag, f"W/{tag}", f'"a,b", {tag}', "*"):
        response = house.ask(method, path, headers={"if-none-match": known})
        assert (response.status_code, response.content, response.headers["etag"]) == (304, b"", tag)
        assert response.headers["cache-control"] == "private, no-cache"
    for other in ('"other"', tag.strip('"'), f'"x{tag[1:]}', f'"a, {tag[1:]}', ""):
        assert house.ask(method, path, headers={"if-none-match": other}).status_code == 200


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("who", [{}, PAGE, {"sec_fetch_site": "same-origin"}])
def test_a_change_of_what_is_still_the_same_is_made(house, path, who):
    """If-Match with the present ETag lets a change through, of a page and of another program."""
    put(house, path, 0)
    before = house.get(path)
    assert put(house, path, 1, if_match=tag_at(house, path), **who).status_code == 200
    assert house.get(path) != before


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("who", [{}, PAGE])
def test_a_change_of_what_another_changed_is_refused(house, path, who):
    """If-Match with an ETag of before gives 412 with the present document and its ETag; nothing changes."""
    put(house, path, 0)
    old = tag_at(house, path)
    put(house, path, 1)
    present, tag, site = house.get(path), tag_at(house, path), house.site_path.read_bytes()
    for stale in (old, f"W/{tag}", tag.strip('"')):  # a weak one never matches (section 13.1.1)
        response = house.ask("PUT", path, json=RESOURCES[path][0], headers={"if-match": stale, **who})
        told = problem(response, "changed-meanwhile", at=path, present=present)
        assert told["detail"] == "it was changed meanwhile; “present” is what it is now"
        assert response.headers["etag"] == tag
    assert (house.get(path), house.site_path.read_bytes()) == (present, site)


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("who", [PAGE, {"sec-fetch-site": "same-origin"}])
def test_the_page_must_say_what_it_changes(house, path, who):
    """A change by the page without a condition gives 428, and nothing changes; a script needs none."""
    put(house, path, 0)
    before, site = house.get(path), house.site_path.read_bytes()
    response = house.ask("PUT", path, json=RESOURCES[path][1], headers=who)
    problem(response, "condition-needed", at=path)
    assert (house.get(path), house.site_path.read_bytes()) == (before, site)
    assert put(house, path, 1).status_code == 200


def test_a_first_override_is_asked_for_with_a_star(house):
    """Where no override is in force, GET is 404 and If-None-Match: * lets one be placed, once."""
    path = f"{JETTY}/override"
    problem(house.ask("GET", path), "no-override", at=path)
    first = {**PAGE, "if-none-match": "*"}
    body = {"light": "on", "for": "1h"}
    assert house.ask("PUT", path, json=body, headers=first).status_code == 200
    problem(
        house.ask("PUT", path, json=body, headers=first),
        "changed-meanwhile",
        at=path,
        present=house.get(path),
    )


@pytest.mark.parametrize("match", ['"8c1f0e6d2b7a4953"', "*"])
@pytest.mark.parametrize("method", ["PUT", "DELETE"])
def test_an_override_that_is_over_does_not_match(house, method, match):
    """If-Match, also of anything at all, gives 412 where no override is in force any more."""
    path = f"{JETTY}/override"
    house.ask("PUT", path, json={"light": "on", "for": "1m"})
    house.clock.advance(61)  # over, and the keeper has not looked yet
    problem(house.ask("GET", path), "no-override", at=path)
    more = {"json": {"light": "off"}} if method == "PUT" else {}
    response = house.ask(method, path, headers={"if-match": match}, **more)
    told = problem(response, "changed-meanwhile", at=path, present=None)
    assert told["detail"] == "it is gone meanwhile"
    assert "etag" not in response.headers


def test_an_override_is_lifted_under_a_condition_too(house):
    """DELETE obeys the same conditions: the page must name what it ends."""
    path = f"{JETTY}/override"
    put(house, path, 0)
    problem(house.ask("DELETE", path, headers=PAGE), "condition-needed", at=path)
    stale = {**PAGE, "if-match": '"stale"'}
    problem(house.ask("DELETE", path, headers=stale), "changed-meanwhile", at=path, present=house.get(path))
    assert house.ask("DELETE", path, headers={**PAGE, "if-match": tag_at(house, path)}).status_code == 204
    problem(house.ask("GET", path), "no-override", at=path)


@pytest.mark.parametrize("path", [f"{JETTY}/program", f"{JETTY}/measured"])
def test_what_is_read_can_be_put_back(house, path):
    """The document that GET gives is one that PUT takes; put back, it changes nothing."""
    put(house, path, 1)
    before, site = house.get(path), house.site_path.read_bytes()
    assert house.ask("PUT", path, json=before).status_code == 200
    assert (house.get(path), house.site_path.read_bytes()) == (before, site)


def test_what_is_refused_for_another_reason_is_not_a_matter_of_conditions(house):
    """A body that is wrong and a zone that there is not are said first (RFC 9110, section 13.2.1)."""
    headers = {**PAGE, "if-match": '"stale"'}
    response = house.ask("PUT", f"{JETTY}/program", json={"program": ["noon"]}, headers=headers)
    assert response.json()["type"] == "/problems/not-a-program"
    response = house.ask("PUT", "/v1/zones/pier/override", json={"light": "on"}, headers=headers)
    assert response.json()["type"] == "/problems/unknown-zone"


def test_a_put_is_answered_without_an_etag(house):
    """What is kept is not the content that was sent, so no validator comes with it (section 9.3.4)."""
    for path in PATHS:
        assert "etag" not in put(house, path, 0).headers


@pytest.mark.parametrize("path", [f"{JETTY}/program", f"{JETTY}/override"])
def test_of_two_phones_at_once_one_is_told(server, path):
    """Of many changes at once that name the same ETag exactly one is made, and the others see it."""
    if path.endswith("override"):
        ask(server, "PUT", path, json.dumps({"light": "off"}), content_type="application/json")
    _, headers, _ = ask(server, "GET", path)
    together, answers = threading.Barrier(6), []

    def change(number):
        body = {"program": [f"dusk to 22:{number:02}"]}
        if path.endswith("override"):
            body = {"light": "on", "for": f"{number + 1}h"}
        together.wait()
        answers.append(
            ask(
                server,
                "PUT",
                path,
                json.dumps(body),
                content_type="application/json",
                if_match=headers["etag"],
                origin=f"http://127.0.0.1:{server.port}",
            )
        )

    phones = [threading.Thread(target=change, args=(number,)) for number in range(6)]
    for each in phones:
        each.start()
    for each in phones:
        each.join()
    assert sorted(status for status, _, _ in answers) == [200, *[412] * 5]
    _, _, present = ask(server, "GET", path)
    assert all(document["present"] == present for status, _, document in answers if status == 412)


def test_comments_and_conditions(house):
    """A refused change leaves the file as it was, and an accepted one keeps its comments."""
    path = f"{JETTY}/program"
    tag = tag_at(house, path)
    house.ask("PUT", path, json={"program": ["dusk for 1h"]}, headers={"if-match": '"no"'})
    assert house.site_path.read_text(encoding="utf-8") == SITE
    house.ask("PUT", path, json={"program": ["dusk for 1h"]}, headers={"if-match": tag})
    assert "# as every neighbour" in house.site_path.read_text(encoding="utf-8")
    assert PROBLEM_TYPES["changed-meanwhile"].retry_after_s is None
