"""The file of who is let in: what it holds, and what becomes of one that is damaged."""

import json
import stat
from dataclasses import asdict, replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from api.access.credentials import Kind, Scope, find_shown, new_credential
from api.access.file import AccessFile, Saved
from config.errors import AccessFileError
from controller.clock.clock import SteppedClock
from tests.api.stand_in import EVENING_UTC

NOW = SteppedClock(EVENING_UTC, boot_s=12.5).read()


def made(kind=Kind.TOKEN, scope=Scope.READ, **more):
    return new_credential(kind=kind, scope=scope, name="Löwe “7”", now=NOW, **more)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "access.json"


@pytest.fixture
def saved():
    token, _ = made()
    session, _ = made(Kind.SESSION, Scope.CONTROL, token_id=token.id)
    return replace(
        Saved.empty(), credentials=(token, replace(session, used=NOW), made(scope=Scope.CALENDAR)[0])
    )


def test_it_holds_what_was_written(path, saved):
    """What is written is read again, with every time and every name."""
    AccessFile(path).write(saved)
    assert AccessFile(path).read() == (saved, None)


def test_only_its_owner_can_read_it(path, saved):
    """The file has mode 0600 from its first moment, and gets it back where somebody changed it."""
    file = AccessFile(path)
    file.write(saved)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    path.chmod(0o644)
    assert file.read() == (saved, None)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_nothing_is_kept_without_a_path(saved):
    """A demonstration keeps nothing."""
    file = AccessFile(None)
    file.write(saved)
    assert file.read()[0].credentials == ()


def test_a_missing_file_lets_nobody_in(path):
    """Before the first device is paired there is no file, and nothing is wrong."""
    assert AccessFile(path).read()[0].credentials == ()
    assert AccessFile(path).read()[1] is None
    assert not path.exists()


def test_a_cut_file_is_set_aside(path, saved):
    """A file that was cut anywhere lets nobody in, and is kept under another name."""
    file = AccessFile(path)
    file.write(saved)
    whole = path.read_bytes().rstrip()
    for length in range(0, len(whole), 7):
        path.write_bytes(whole[:length])
        found, fault = file.read()
        assert found.credentials == ()
        assert "damaged" in fault
        assert not path.exists()
        assert path.with_name("access.json.damaged").read_bytes() == whole[:length]


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.data())
def test_a_spoilt_byte_lets_nobody_do_more(tmp_path, data):
    """Whatever one byte becomes, no secret permits anything that it did not permit before."""
    path, (token, secret) = tmp_path / "access.json", made()
    file = AccessFile(path)
    file.write(replace(Saved.empty(), credentials=(token,)))
    whole = bytearray(path.read_bytes())
    whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(whole)
    try:
        found, fault = file.read()
    except AccessFileError:  # with a digit more in its version it is a newer one's, by which nobody is let in
        return
    shown = find_shown(found.credentials, secret)
    assert fault is None or found.credentials == ()
    assert shown is None or shown.scope is Scope.READ


@pytest.mark.parametrize(
    "change",
    [
        {"version": 0},
        {"version": True},
        {"instance": "../../etc"},
        {"instance": 7},
        {"credentials": None},
        {"credentials": [{}]},
        {"credentials": ["x"]},
    ],
    ids=str,
)
def test_other_json_is_damage(path, saved, change):
    """JSON that no version of Leerie writes is set aside like what is no JSON."""
    file = AccessFile(path)
    file.write(saved)
    path.write_text(json.dumps(json.loads(path.read_text()) | change))
    assert file.read()[0].credentials == ()
    assert not path.exists()


@pytest.mark.parametrize(
    "change",
    [
        {"scope": "all"},
        {"kind": "password"},
        {"sha256": "0" * 63},
        {"sha256": 0},
        {"id": "x"},
        {"name": None},
        {"token_id": 5},
        {"made": {}},
        {"made": None},
        {"made": asdict(NOW) | {"utc": "0001-01-01T00:00:00+23:00"}},
        {"made": asdict(NOW) | {"utc": EVENING_UTC.isoformat(), "boot_s": float("nan")}},
        {"used": "2027"},
        {"more": 1},
    ],
    ids=str,
)
def test_a_credential_of_another_form_is_damage(path, saved, change):
    """A credential with a member that is wrong, missing or unknown spoils the file."""
    file = AccessFile(path)
    file.write(saved)
    document = json.loads(path.read_text())
    document["credentials"][1] |= change
    path.write_text(json.dumps(document))
    assert file.read()[0].credentials == ()
    assert not path.exists()


def test_a_file_of_a_newer_version_is_left_alone(path):
    """What a newer version wrote lets nobody in, stays as it is, and is said."""
    text = json.dumps({"version": 2, "people": []})
    path.write_text(text)
    with pytest.raises(AccessFileError, match="newer version"):
        AccessFile(path).read()
    assert path.read_text() == text


def test_a_file_that_cannot_be_read_is_left_alone(path):
    """What the disk does not give is not damaged: nobody is let in, and nothing is moved."""
    path.mkdir()
    with pytest.raises(AccessFileError, match="cannot be read"):
        AccessFile(path).read()
    assert path.is_dir()


def test_a_disk_that_takes_nothing_is_said(tmp_path, saved):
    """A folder that is gone is one line of words, with the path and the reason."""
    path = tmp_path / "gone" / "access.json"
    with pytest.raises(AccessFileError, match=r"access\.json cannot be written: No such file"):
        AccessFile(path).write(saved)
