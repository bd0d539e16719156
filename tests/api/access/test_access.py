"""Codes become tokens and sessions, which are found, listed, revoked: in stepped time, with a real file."""

import contextlib
import logging
import threading
from itertools import pairwise

import pytest

from api.access.access import MOST_CREDENTIALS, Access
from api.access.client import Client, ClientKind
from api.access.credentials import Kind, Scope
from config.errors import AccessError, AccessFileError, TooManyTriesError
from controller.clock.clock import SteppedClock
from controller.records.entries import EventKind
from tests.api.stand_in import EVENING_UTC

PHONE = "192.168.1.20"
HOUR_S, DAY_S = 3600.0, 86_400.0


class Door:
    """Access in stepped time, with what it tells the journal."""

    def __init__(self, folder):
        self.folder = folder
        self.path = folder / "access.json"
        self.clock = SteppedClock(EVENING_UTC, boot_s=500.0)
        self.told = []
        self.restart()

    def restart(self, **more):
        """Begin again, as when the daemon starts."""
        self.access = Access(
            self.path, record=lambda kind, words, _at: self.told.append((kind, words)), **more
        )

    @property
    def now(self):
        return self.clock.read()

    def code(self, scope=Scope.CONTROL, name=None):
        return self.access.make_code(scope, name=name, by="this board", now=self.now).text

    def pair(self, code=None, kind=Kind.TOKEN, **more):
        more = {"name": "kitchen phone", "address": PHONE, **more}
        return self.access.pair(code or self.code(), kind, now=self.now, **more)

    def sign_in(self, token, **more):
        return self.access.sign_in(token, address=PHONE, now=self.now, **more)

    def find(self, secret, kind=Kind.TOKEN):
        return self.access.find(secret, kind, self.now)

    def revoke(self, public_id):
        return self.access.revoke(public_id, by="this board", now=self.now)

    def ids(self):
        return [each.id for each in self.access.credentials(self.now)]


@pytest.fixture
def door(tmp_path):
    return Door(tmp_path)


@pytest.mark.parametrize("scope", Scope)
def test_a_code_becomes_a_token(door, scope):
    """The token permits what the code permits, before and after a restart; the code is used up."""
    code = door.code(scope)
    token, secret = door.pair(code)
    assert (token.name, token.scope, token.kind) == ("kitchen phone", scope, Kind.TOKEN)
    assert door.find(secret).id == token.id
    assert door.find(secret, Kind.SESSION) is None
    door.restart()
    assert door.find(secret).scope is scope
    with pytest.raises(AccessError):
        door.pair(code)


def test_the_name_that_was_chosen_with_the_code_counts(door):
    """The board's name for a device wins over its own; one without any is named by its address."""
    assert door.pair(door.code(name="shed"))[0].name == "shed"
    assert door.pair(name=None)[0].name == f"device at {PHONE}"


def test_the_journal_is_told_who_was_let_in_and_by_whom(door):
    """Each device that is let in or shut out is told, with its id, and without any secret."""
    code = door.code(Scope.READ)
    token, secret = door.pair(code)
    session, cookie = door.sign_in(secret)
    door.revoke(token.id)
    given = f"kitchen phone ({token.id}) may read, by a pairing code of this board, from {PHONE}"
    signed_in = f"kitchen phone ({session.id}) may read, signed in with token {token.id}, from {PHONE}"
    assert door.told == [
        (EventKind.ACCESS_GIVEN, given),
        (EventKind.ACCESS_GIVEN, signed_in),
        (EventKind.ACCESS_REVOKED, f"kitchen phone ({token.id}), by this board"),
    ]
    told = repr(door.told)
    assert not [each for each in (code, secret, cookie) if each in told]


def test_wrong_codes_are_refused_counted_and_told(door):
    """Five wrong codes a minute are looked at; then the right one too is refused, until a minute is over."""
    code = door.code()
    for _ in range(5):
        with pytest.raises(AccessError, match="wrong, over or used"):
            door.pair("2222-2222-2222", address="192.168.1.66")
        door.clock.advance(1)
    with pytest.raises(TooManyTriesError, match="in 55 s") as refusal:
        door.pair(code)
    assert refusal.value.wait_s == 55
    door.clock.advance(54.5)
    with pytest.raises(TooManyTriesError):
        door.pair(code)
    door.clock.advance(0.5)
    assert door.find(door.pair(code)[1])
    assert door.access.tries.count == 5
    refused = "wrong pairing code from 192.168.1.66 (1 failed try since the start)"
    assert door.told[0] == (EventKind.ACCESS_REFUSED, refused)
    assert [kind for kind, _ in door.told] == [EventKind.ACCESS_REFUSED, EventKind.ACCESS_GIVEN]


def test_a_code_is_used_once_by_however_many(door):
    """Of many who use one code at the same moment, one gets a token."""
    code, barrier, got = door.code(), threading.Barrier(5), []

    def use():
        barrier.wait()
        with contextlib.suppress(AccessError):
            got.append(door.pair(code))

    threads = [threading.Thread(target=use) for _ in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(got) == len(door.ids()) == 1


def test_a_session_ends_with_its_token(door):
    """A session that was signed in with a token may do the same, and ends when the token is revoked."""
    token, secret = door.pair(door.code(Scope.READ))
    session, cookie = door.sign_in(secret)
    assert (session.scope, session.name, session.token_id) == (Scope.READ, "kitchen phone", token.id)
    assert door.find(cookie, Kind.SESSION).id == session.id
    assert door.find(cookie, Kind.TOKEN) is None
    assert door.revoke(token.id).id == token.id
    for _ in range(2):
        assert door.find(cookie, Kind.SESSION) is None
        assert door.find(secret) is None
        assert door.ids() == []
        door.restart()
    assert door.revoke(token.id) is None


def test_a_session_can_be_revoked_alone(door):
    """Revoking a session leaves the token, and the other sessions of it."""
    token, secret = door.pair()
    (first, _), (other, _) = door.sign_in(secret), door.sign_in(secret)
    door.revoke(first.id)
    assert door.ids() == [token.id, other.id]


def test_signing_in_replaces_the_earlier_session(door):
    """The session that a sign-in replaces is over, and the new one has another secret and id."""
    _, secret = door.pair()
    earlier, old = door.sign_in(secret)
    later, new = door.sign_in(secret, replaces=earlier.id)
    newest, _ = door.pair(kind=Kind.SESSION, replaces=later.id)
    assert len({earlier.id, later.id, newest.id}) == 3
    assert old != new
    assert door.find(old, Kind.SESSION) is door.find(new, Kind.SESSION) is None
    assert newest.id in door.ids()
    assert len(door.ids()) == 2


@pytest.mark.parametrize("secret", ["", "x" * 43, "ü\udc80"])
def test_nobody_signs_in_with_a_wrong_token(door, secret):
    """A wrong token gives no session, counts as a failed try, and is told."""
    with pytest.raises(AccessError, match="no such token"):
        door.sign_in(secret)
    assert door.access.tries.count == 1
    assert door.told[0][0] is EventKind.ACCESS_REFUSED


def test_a_calendar_is_no_page(door):
    """What is for a calendar opens no session: neither its code, which stays good, nor its token."""
    code = door.code(Scope.CALENDAR)
    with pytest.raises(AccessError, match="for a calendar"):
        door.pair(code, Kind.SESSION)
    _, secret = door.pair(code)
    with pytest.raises(AccessError):
        door.sign_in(secret)


def test_a_session_that_is_over_is_not_found_nor_listed(door):
    """After thirty days without use it lets nobody in, and the next write drops it from the file."""
    _, cookie = door.pair(kind=Kind.SESSION)
    door.clock.advance(29 * DAY_S)
    assert door.find(cookie, Kind.SESSION)
    door.clock.advance(30 * DAY_S)
    assert door.find(cookie, Kind.SESSION) is None
    assert door.ids() == []
    door.pair()
    assert door.path.read_text().count('"session"') == 0


def test_what_was_shown_earlier_is_looked_at_again(door):
    """A client counts no longer once what it showed was revoked or ended; the board always does."""
    session, _ = door.pair(kind=Kind.SESSION)
    client = Client.with_credential(ClientKind.HOME, PHONE, session)
    assert door.access.is_in_force(client, door.now)
    door.revoke(session.id)
    assert not door.access.is_in_force(client, door.now)
    session, _ = door.pair(kind=Kind.SESSION)
    client = Client.with_credential(ClientKind.HOME, PHONE, session)
    door.clock.advance(30 * DAY_S)
    assert not door.access.is_in_force(client, door.now)
    assert door.access.is_in_force(Client.of_board("127.0.0.1"), door.now)


def test_the_last_use_is_known_at_once_and_written_once_an_hour(door):
    """A phone that asks every ten seconds for a day causes 24 writes; the list has its last use exactly."""
    written, write = [], door.access._file.write
    _, secret = door.pair()
    door.access._file.write = lambda saved: (written.append(door.now.boot_s), write(saved))
    begun_s = door.now.boot_s
    while door.now.boot_s < begun_s + DAY_S:
        door.clock.advance(10)
        door.find(secret)
    assert len(written) == 24
    assert all(later - first >= HOUR_S for first, later in pairwise(written))
    assert [each.used for each in door.access.credentials(door.now)] == [door.now]
    last = door.now.utc
    door.restart()
    (known,) = door.access.credentials(door.now)
    assert 0 <= (last - known.used.utc).total_seconds() <= HOUR_S


def test_a_use_is_written_without_waiting_for_the_disk(door):
    """Whoever asks does not wait: the writing is handed over."""
    later = []
    door.restart(in_background=later.append)
    _, secret = door.pair()
    door.clock.advance(HOUR_S)
    before = door.path.read_bytes()
    assert door.find(secret)
    assert door.find(secret)
    assert door.path.read_bytes() == before
    assert len(later) == 1
    later[0]()
    assert door.path.read_bytes() != before


def test_a_disk_that_takes_nothing_lets_nobody_new_in(door, caplog):
    """What cannot be saved is not given; the code stays good, and the fault is said until it works again."""
    code = door.code()
    aside = door.folder.rename(door.folder.with_name("elsewhere"))
    with pytest.raises(AccessFileError, match="cannot be written"):
        door.pair(code)
    assert door.ids() == []
    assert "cannot be written" in door.access.fault
    assert [record.levelno for record in caplog.records].count(logging.ERROR) == 1
    aside.rename(door.folder)
    assert door.find(door.pair(code)[1])
    assert door.access.fault is None


def test_a_device_is_shut_out_even_if_the_disk_takes_nothing(door):
    """A revoked token counts no longer at once; that it would come back after a restart is said."""
    token, secret = door.pair()
    aside = door.folder.rename(door.folder.with_name("elsewhere"))
    with pytest.raises(AccessFileError, match="kitchen phone is shut out only until Leerie starts again"):
        door.revoke(token.id)
    assert door.find(secret) is None
    aside.rename(door.folder)
    door.pair()
    door.restart()
    assert door.find(secret) is None


def test_a_damaged_file_lets_nobody_in(door, caplog):
    """After a restart with a damaged file no token counts, which is said; pairing anew works."""
    _, secret = door.pair()
    door.path.write_bytes(door.path.read_bytes()[:-40])
    door.restart()
    assert door.find(secret) is None
    assert "pair every device again" in door.access.fault
    assert "pair every device again" in caplog.text
    assert door.find(door.pair()[1])
    assert door.access.fault is None
    assert door.find(secret) is None


def test_a_file_that_cannot_be_read_is_tried_again(door):
    """While the disk does not give it, nobody is let in and nothing is written over it; then all are."""
    token, secret = door.pair()
    aside = door.path.rename(door.folder / "aside")
    door.path.mkdir()
    door.restart()
    instance = door.access.instance
    assert door.find(secret) is None
    for change in (door.code, lambda: door.revoke(token.id)):
        with pytest.raises(AccessFileError, match="cannot be read"):
            change()
    door.path.rmdir()
    aside.rename(door.path)
    assert door.find(secret) is None  # it was tried a moment ago
    door.clock.advance(10)
    door.find(secret)
    assert door.find(secret).id == token.id
    assert door.access.fault is None
    assert door.access.instance != instance


def test_the_name_of_the_cookies_stays(door):
    """Each daemon has a name of its own for its cookies, which a restart does not change."""
    door.pair()
    instance = door.access.instance
    door.restart()
    assert door.access.instance == instance
    assert Access().instance != Access().instance


def test_no_more_devices_than_a_household_has(door, monkeypatch):
    """Nobody can fill the file with sessions: beyond a bound they are refused, unless one is replaced."""
    monkeypatch.setattr("api.access.access.MOST_CREDENTIALS", 4)
    assert MOST_CREDENTIALS == 200
    _, secret = door.pair()
    sessions = [door.sign_in(secret)[0] for _ in range(3)]
    with pytest.raises(AccessError, match="revoke"):
        door.sign_in(secret)
    assert door.sign_in(secret, replaces=sessions[0].id)
    assert len(door.ids()) == 4
