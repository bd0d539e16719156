"""A zone's program, changed over the web."""

import errno
import os

import pytest

from config.file import editor as site_edit
from tests.api.stand_in import SITE, pointed_at, problem

JETTY = "/v1/zones/jetty"


def put(house, url, body):
    return house.ask("PUT", url, json=body)


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
