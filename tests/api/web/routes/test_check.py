"""The check of a proposed site file over the web: the command line's own document, and nothing written."""

import json

import pytest

from config.file.loader import example_path
from tests.api.command import call
from tests.api.stand_in import SITE, problem

BROKEN = SITE.replace("latitude = 41.4901", "latitude = 141").replace("dusk to midnight", "dusk til late")
EXAMPLES = [example_path(name).read_text(encoding="utf-8") for name in ("one-zone", "full-property", "polar")]


def check(house, **body):
    response = house.ask("POST", "/v1/check", json=body)
    assert response.status_code == 200, response.text
    return response.json()


@pytest.mark.parametrize("text", [SITE, BROKEN, "", "[site", "\ufeff" + SITE, *EXAMPLES])
def test_it_is_the_document_of_the_command_line(house, tmp_path, monkeypatch, text):
    """The route and the command find the same, in the same words and order, in good files and bad ones."""
    monkeypatch.setattr("api.cli.check.now_utc", lambda: house.clock.utc)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "site.toml").write_text(text, encoding="utf-8")
    for args, more in (([], {}), (["--from", "2028-03-01"], {"from": "2028-03-01"})):
        told = call("check", "site.toml", "--json", *args)
        assert check(house, text=text, **more) == json.loads(told.stdout)


def test_a_file_with_errors_is_an_answer(house):
    """A file that cannot be used gives every problem with its line, and no site."""
    told = check(house, text=BROKEN)
    assert (told["site"], told["pins"]) == (None, [])
    assert [(each["level"], each["key"], each["line"]) for each in told["problems"]] == [
        ("error", "site.latitude", 3),
        ("error", "zones[1].program[1]", 21),
    ]


def test_nothing_is_written(house):
    """The site in use, its file and the folder of the file stay as they are."""
    before = (house.site_path.read_bytes(), sorted(house.site_path.parent.rglob("*")), house.gateway.site)
    check(house, text=SITE.replace("dusk to midnight", "dusk to 23:00"))
    after = (house.site_path.read_bytes(), sorted(house.site_path.parent.rglob("*")), house.gateway.site)
    assert after == before


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({}, "#/text"),
        ({"text": 3}, "#/text"),
        ({"text": "", "from": "soon"}, "#/from"),
        ({"text": "", "to": ""}, "#/to"),
    ],
)
def test_a_request_that_is_wrong_is_refused(house, body, pointer):
    """What is no text, and no date, is refused with a pointer to it."""
    response = house.ask("POST", "/v1/check", json=body)
    (error,) = response.json()["errors"]
    problem(response, "invalid-request", at="/v1/check", errors=[error])
    assert error["pointer"] == pointer


def test_half_a_letter_is_refused(house):
    """Half of a pair of surrogates, which no file in UTF-8 can hold, is refused."""
    headers = {"content-type": "application/json"}
    response = house.ask("POST", "/v1/check", content=rb'{"text": "\ud800"}', headers=headers)
    assert (response.status_code, response.json()["errors"][0]["pointer"]) == (422, "#/text")


def test_a_file_that_is_too_large_is_refused(house):
    """A text beyond the size of any body is refused as such."""
    response = house.ask("POST", "/v1/check", json={"text": "#" * 70_000})
    problem(response, "too-large", at="/v1/check")
