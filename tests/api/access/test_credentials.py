"""Tokens and sessions, in stepped time."""

import base64
import hmac
import subprocess
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.access.credentials import (
    LONGEST_NAME,
    Kind,
    Scope,
    checked_name,
    find_shown,
    form_token,
    new_credential,
    passed_s,
)
from controller.clock.clock import SteppedClock
from tests.api.stand_in import EVENING_UTC

DAY_S = 86_400.0


@pytest.fixture
def clock():
    return SteppedClock(EVENING_UTC, boot_s=500.0)


def make(clock, kind=Kind.SESSION, **more):
    return new_credential(kind=kind, scope=Scope.READ, name="kitchen phone", now=clock.read(), **more)


def test_a_secret_has_256_bits(clock):
    """A secret is 32 bytes in the alphabet of RFC 4648, section 5, which RFC 6750 allows in a token."""
    secrets = [make(clock)[1] for _ in range(100)]
    assert len({base64.urlsafe_b64decode(f"{each}=") for each in secrets}) == 100
    assert {len(base64.urlsafe_b64decode(f"{each}=")) for each in secrets} == {32}


def test_only_the_hash_of_a_secret_is_kept(clock):
    """A credential holds the SHA-256 of its secret, as coreutils compute it, and not the secret."""
    credential, secret = make(clock)
    done = subprocess.run(["sha256sum"], input=secret.encode(), capture_output=True, check=True)
    assert credential.sha256 == done.stdout.split()[0].decode()
    assert secret not in repr(credential)


def test_ids_are_not_taken_twice(clock, monkeypatch):
    """A new credential gets an id that none has yet."""
    ids = iter(["aaaaaaaa", "aaaaaaaa", "bbbbbbbb"])
    monkeypatch.setattr("secrets.token_hex", lambda _bytes: next(ids))
    first, _ = make(clock)
    assert make(clock, taken=[first.id])[0].id == "bbbbbbbb"


def test_a_secret_is_compared_with_every_hash_in_constant_time(clock, monkeypatch):
    """Each is found by its own secret alone, and every comparison is that of hmac, the last one's too."""
    made = [make(clock) for _ in range(5)]
    credentials = [each for each, _ in made]
    compared = []
    monkeypatch.setattr(
        "hmac.compare_digest",
        lambda one, other, real=hmac.compare_digest: compared.append(one) or real(one, other),
    )
    for credential, secret in made:
        assert find_shown(credentials, secret) is credential
        assert find_shown(credentials, secret[:-1]) is None
        assert find_shown(credentials, credential.sha256) is None
    assert len(compared) == 5 * 3 * 5
    assert find_shown(credentials, "\udcff ü") is None


def test_a_session_ends_after_thirty_days_without_use(clock):
    """A session that is used every 29 days goes on; after 30 days without use it is over."""
    session, _ = make(clock)
    for _ in range(5):
        clock.advance(29 * DAY_S)
        assert not session.is_over(clock.read())
        session = replace(session, used=clock.read())
    clock.advance(30 * DAY_S - 1)
    assert not session.is_over(clock.read())
    clock.advance(1)
    assert session.is_over(clock.read())


def test_a_session_ends_after_a_year(clock):
    """A session that is used every day is over after 365 days."""
    session, _ = make(clock)
    for _ in range(364):
        clock.advance(DAY_S)
        session = replace(session, used=clock.read())
    clock.advance(DAY_S - 1)
    assert not session.is_over(clock.read())
    clock.advance(1)
    assert session.is_over(replace(clock.read()))


def test_a_token_ends_only_when_it_is_revoked(clock):
    """A token has no end of its own."""
    token, _ = make(clock, kind=Kind.TOKEN)
    clock.advance(20 * 365 * DAY_S)
    assert not token.is_over(clock.read())


def test_a_clock_that_is_set_ends_no_session_within_a_boot(clock):
    """Within a boot only the time that really passed counts, whatever the clock is set to."""
    session, _ = make(clock)
    clock.utc += timedelta(days=4000)
    assert not session.is_over(clock.read())
    clock.utc -= timedelta(days=8000)
    clock.advance(30 * DAY_S)
    assert session.is_over(clock.read())


def test_a_session_outlives_a_power_cut_and_ends_on_time(clock):
    """In a later boot the clock counts, once it is trusted; in 1970 nobody is locked out."""
    session, _ = make(clock)
    at_utc = clock.utc
    woken = replace(
        clock.read(), boot_id="boot-2", boot_s=10.0, utc=datetime(1970, 1, 1, tzinfo=UTC), trusted=False
    )
    assert not session.is_over(woken)
    for days, is_over in ((29, False), (30, True)):
        known = replace(woken, utc=at_utc + timedelta(days=days), trusted=True)
        assert session.is_over(known) is is_over


def test_a_session_made_in_1970_gets_its_date(clock):
    """What an untrusted clock dated gets its date from a trusted one: exactly in its boot, else from then."""
    clock.utc, clock.trusted = datetime(1970, 1, 1, tzinfo=UTC), False
    session, _ = make(clock)
    clock.advance(3600)
    assert session.dated(clock.read()) == session
    clock.utc, clock.trusted = EVENING_UTC, True
    assert session.dated(clock.read()).made.utc == EVENING_UTC - timedelta(hours=1)
    assert session.dated(clock.read()).made.trusted
    later = replace(clock.read(), boot_id="boot-2", boot_s=3.0)
    assert passed_s(session.made, later) is None
    assert session.dated(later).made == later


def test_a_form_carries_what_only_its_session_gives():
    """The token of a form is the HMAC of RFC 2104 with SHA-256 over one word, by OpenSSL's computation."""
    command = ["openssl", "dgst", "-sha256", "-hmac", "a-secret", "-r"]
    done = subprocess.run(command, input=b"form", capture_output=True, check=True)
    assert form_token("a-secret") == done.stdout.split()[0].decode()
    assert form_token("another") != form_token("a-secret")


@pytest.mark.parametrize(
    ("text", "name"), [("kitchen phone", "kitchen phone"), ("  Löwe 7 ", "Löwe 7"), ("x" * 40, "x" * 40)]
)
def test_a_name_is_kept_as_it_is_written(text, name):
    """A name may have any letters; blanks around it are dropped."""
    assert checked_name(text) == name


@given(st.text(max_size=60))
def test_a_name_never_spoils_a_line_of_the_log(text):
    """Whatever is accepted as a name is one line of visible text, short, and not how Leerie names itself."""
    try:
        name = checked_name(text)
    except ValueError:
        return
    assert 1 <= len(name) <= LONGEST_NAME
    assert name.isprintable()
    assert name == name.strip()


@pytest.mark.parametrize(
    "text", ["", "  ", "x" * 41, "a\nb", "a\tb", "a\u202eb", "a\x1b[2Jb", "This Board", "command line"]
)
def test_a_name_that_misleads_is_refused(text):
    """Line breaks, invisible letters and the board's own names are refused."""
    with pytest.raises(ValueError, match="name"):
        checked_name(text)
