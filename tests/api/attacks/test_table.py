"""The attacks on the web server, row by row, over real sockets: what each is answered, and what it leaves.

127.0.0.2 and beyond stand for the machines of the home network. All of it at once, while lights are switched,
is in ``test_boundary.py``; how soon and how late things are is measured by ``tests/bench/bench_attacks.py``.
"""

from __future__ import annotations

import contextlib
import logging
import sqlite3
from datetime import timedelta

import pytest
import trustme

from api.web.accepting import HANDSHAKE_S
from api.web.hub import MOST_STREAMS
from api.web.limits import RateLimitMiddleware
from api.web.listening import Listening
from api.web.middleware import RECEIVE_S
from api.web.protocol import IDLE_TIMEOUT_S, SILENCE_S
from api.web.slots import MOST_LONG_RUNNING, MOST_WAITING
from config.models.network import NetworkSettings
from tests.api.attacks.attackers import (
    BOARD,
    GUEST,
    MILLION,
    OVERRIDE,
    PHONE,
    ZONE,
    ask,
    bare_gets,
    change_often,
    come_from_elsewhere,
    cross_site_gets,
    hang_up_on_a_change,
    heavy_gets,
    overwrite_unseen,
    pair,
    plant_a_session,
    read,
    request,
    send_ambiguous_json,
    send_other_types,
    send_too_much,
    slow_ones,
    use_bad_tokens,
)
from tests.api.event_stream import Client
from tests.api.lines import LONG_S, many, serving, wait_for_ends, wait_until
from tests.api.stand_in import House
from tests.api.web.load.held_up import Gate, one_slot_taken, waiting

ENCRYPTED = "127.9.0.2"
# From the end of a timer to the end of the connection.
SLACK_S = 1.0
CA = trustme.CA()


@pytest.fixture
def web(house, tmp_path):
    """A server of the house, on the board's own address and, by TLS, on one of the home network."""
    made = CA.issue_cert(ENCRYPTED)
    made.private_key_and_cert_chain_pem.write_to_path(tmp_path / "both.pem")
    settings = NetworkSettings(listen=(ENCRYPTED,), certificate=str(tmp_path / "both.pem"))
    with serving(lambda: house.app, listening=Listening(lambda: settings, port=0)) as server:
        yield server


def told(answers):
    """Say of each answer its status and its type of problem."""
    assert None not in answers
    for each in answers:
        assert each.headers["content-type"] == "application/problem+json"
        assert each.document["status"] == each.status
    return [(each.status, each.problem) for each in answers]


def is_served(server, source):
    answer = ask(server, "GET", "/health", source=source)
    return answer is not None and answer.status in (200, 401)


def light_is_as_before(house):
    return house.keeper.overrides == {} and house.get(ZONE)["lit"]


# 60 cross-site heavy GETs, hung up: 403 each; status is answered meanwhile


def test_60_cross_site_heavy_gets_hung_up(web, house, monkeypatch):
    """Heavy requests of another site's page are refused, and nothing is worked out for any of them."""
    gate = Gate(house)
    with gate.closed(monkeypatch):
        with heavy_gets(web, Origin="https://garden.example") as lines:
            assert ask(web, "GET", "/v1/status").status == 200
            assert told([read(line) for line in lines]) == [(403, "cross-site")] * 60
        # Where they come faster than the last ones are seen to have gone, some are cut off instead.
        answers = [each for each in cross_site_gets(web) if each is not None]
        assert set(told(answers)) == {(403, "cross-site")}
        assert ask(web, "GET", "/v1/status").status == 200
        assert gate.count == 0


# the same without Fetch headers: 503 with Retry-After past 8; an override is made meanwhile


def test_60_heavy_gets_without_fetch_headers(web, house, monkeypatch):
    """Two run, eight wait, all others are told when to come back; an override is made meanwhile."""
    gate = Gate(house)
    with contextlib.ExitStack() as stack:
        with gate.closed(monkeypatch):
            running = stack.enter_context(heavy_gets(web, MOST_LONG_RUNNING))
            for _ in running:
                assert gate.begun.acquire(timeout=LONG_S)
            queued = stack.enter_context(heavy_gets(web, MOST_WAITING))
            wait_until(lambda: waiting(gate.context.long_slots) == MOST_WAITING)
            with heavy_gets(web, 60 - len(running) - len(queued)) as lines:
                refused = [read(line) for line in lines]
            assert set(told(refused)) == {(503, "too-busy")}
            assert {each.headers["retry-after"] for each in refused} == {"5"}
            placed = ask(web, "PUT", f"{ZONE}/override", OVERRIDE)
            assert (placed.status, placed.document["light"]) == (200, "off")
            assert ask(web, "GET", "/v1/status").status == 200
            assert gate.count == MOST_LONG_RUNNING
        assert {read(line).status for line in [*running, *queued]} == {200}
    assert {each.status for each in bare_gets(web) if each is not None} <= {200, 503}


# PUT hung up while queued: zone unchanged


@pytest.mark.parametrize("pipelined", [b"", request("GET", "/health") * 5], ids=["alone", "pipelined"])
def test_put_hung_up_while_queued(house, monkeypatch, pipelined):
    """A change that waits for its turn is dropped with its client, whatever else that had sent."""
    with one_slot_taken(house, monkeypatch) as busy:
        with many(busy, 1, source=BOARD, said=request("PUT", f"{ZONE}/override", OVERRIDE)) as (line,):
            wait_until(lambda: waiting(busy.slots) == 1)
            line.sendall(pipelined)
        if not pipelined:
            wait_until(lambda: waiting(busy.slots) == 0)
        hang_up_on_a_change(busy, then=pipelined)
        busy.free()
        assert ask(busy, "GET", ZONE).document["override"] is None
    assert light_is_as_before(house)


# If-Match stale · absent from the page: 412 · 428


def test_if_match_stale_or_absent_from_the_page(web, house):
    """A change of what another phone changed meanwhile, or that names nothing, leaves the file as it is."""
    before = house.site_path.read_bytes()
    assert told(overwrite_unseen(web)) == [(412, "changed-meanwhile"), (428, "condition-needed")]
    assert house.site_path.read_bytes() == before


# foreign Host · Origin null · same-site write: 421 · 403 · 403


def test_foreign_host_origin_null_same_site_write(web, house):
    """What was sent to another name, by a page of no origin or of another port, is refused."""
    expected = [(421, "wrong-host"), (403, "cross-site"), (403, "cross-site")]
    answers = come_from_elsewhere(web)
    assert told(answers) == expected
    assert {each.headers["connection"] for each in answers} == {"close"}
    assert light_is_as_before(house)


# form, text/plain · UTF-16, duplicate keys: 415 · 400


def test_form_text_utf_16_duplicate_keys(web, house):
    """What is no JSON, or may be understood in two ways, changes nothing."""
    assert set(told(send_other_types(web))) == {(415, "not-json-type")}
    assert set(told(send_ambiguous_json(web))) == {(400, "not-json")}
    assert light_is_as_before(house)


# 65 KiB · 10 GB with Expect · 200 kB header: 413 · 413 · 431


def test_65_kib_10_gb_200_kb_header(web, house):
    """Too large a body is refused, one that is announced before it is sent, and so is too large a header."""
    expected = [(413, "too-large"), (413, "too-large"), (431, "header-too-large")]
    assert told(send_too_much(web)) == expected
    assert light_is_as_before(house)


# 200 and 1,000 slow heads, bodies, TLS hellos: gone within 11 s; another address is served


@pytest.mark.usefixtures("files_to_open")
def test_200_and_1000_slow_heads_bodies_hellos(web):
    """Connections that never finish what they began end by timers; others are served meanwhile."""
    with slow_ones(web, 250, encrypted=ENCRYPTED) as lines:
        assert len(lines) == 4 * 200 + 1000
        assert is_served(web, GUEST)
        assert is_served(web, BOARD)
        wait_for_ends(lines)
        assert is_served(web, GUEST)
    assert max(IDLE_TIMEOUT_S, RECEIVE_S, HANDSHAKE_S) + SLACK_S <= 11


# 66 idle connections from one address: the ninth refused, others served


def test_66_idle_connections_from_one_address(web):
    """The ninth of one address is refused and told so; the first eight and all others are served."""
    with many(web, 66, source=PHONE) as lines:
        lines[8].sendall(request("GET", "/health"))
        ninth = read(lines[8])
        assert told([ninth]) == [(503, "too-busy")]
        assert ninth.headers["retry-after"] == "5"
        for line in lines[:8]:
            line.sendall(request("GET", "/health"))
            assert read(line).status == 401
        assert is_served(web, GUEST)
        assert is_served(web, BOARD)
        # All that ask nothing are closed before long.
        wait_for_ends(lines[9:])


# 31st change in a minute: 429


def test_31st_change_in_a_minute(house, monkeypatch):
    """Thirty changes of one machine in a minute are made, the next is not; another one may go on."""
    # Time stands still, so that no machine is too slow to be too fast.
    monkeypatch.setitem(RateLimitMiddleware.__init__.__kwdefaults__, "now_s", lambda: 1000.0)
    with serving(house.make_app) as server:
        token = pair(server, "control")["token"]
        answers = change_often(server, token)
        assert [each.status for each in answers[:30]] == [204] * 30
        assert told(answers[30:]) == [(429, "too-many-requests")]
        assert answers[30].headers["retry-after"] == "60"
        bearer = {"Authorization": f"Bearer {token}"}
        assert ask(server, "GET", "/v1/status", source=GUEST, **bearer).status == 200
        assert ask(server, "DELETE", f"{ZONE}/override", source=PHONE, **bearer).status == 204


# token in the query · revoked · read-only that writes: 401 · 401 · 403


def test_token_in_the_query_revoked_read_only(web, house):
    """A token counts in the header alone, until it is revoked, and for no more than it was made for."""
    good, revoked, reader = (pair(web, scope) for scope in ("control", "control", "read"))
    assert ask(web, "DELETE", f"/v1/access/tokens/{revoked['id']}").status == 204
    tokens = {"good": good["token"], "revoked": revoked["token"], "read_only": reader["token"]}
    answers = use_bad_tokens(web, **tokens)
    assert told(answers) == [(401, "permission-needed")] * 3 + [(403, "not-permitted")]
    realm = 'Bearer realm="Leerie"'
    assert [each.headers["www-authenticate"] for each in answers] == [
        *[realm] * 2,
        f'{realm}, error="invalid_token"',
        f'{realm}, error="insufficient_scope", scope="control"',
    ]
    assert light_is_as_before(house)


# session id set before sign-in: replaced at sign-in


def test_session_id_set_before_sign_in(web):
    """A cookie that somebody planted counts neither before nor after the sign-in, which gives another."""
    cookie, (before, after, signed_in) = plant_a_session(web, pair(web, "control")["token"])
    assert told([before, after]) == [(401, "permission-needed")] * 2
    assert signed_in.status == 200
    assert not cookie.endswith("x" * 43)


# HEAD on events · 17th stream · stalled reader: head only · 503 · cut within 20 s


def test_head_on_events(web, house):
    """HEAD is answered with the head of the stream and nothing more, and holds no place."""
    for _ in range(MOST_STREAMS + 2):
        answer = ask(web, "HEAD", "/v1/events")
        assert (answer.status, answer.document) == (200, None)
        assert answer.headers["content-type"].startswith("text/event-stream")
        assert answer.headers["cache-control"] == "no-store"
    wait_until(lambda: house.hub.count == 0)


def test_17th_stream(web, house):
    """Sixteen streams are served, the next is answered 503 with Retry-After, and other requests go on."""
    with contextlib.ExitStack() as opened:
        clients = [opened.enter_context(Client(web).begin()) for _ in range(MOST_STREAMS)]
        for each in clients:
            each.next()
        refused = ask(web, "GET", "/v1/events")
        assert told([refused]) == [(503, "too-busy")]
        assert refused.headers["retry-after"] == "5"
        assert ask(web, "GET", "/v1/status").status == 200
        assert ask(web, "PUT", f"{ZONE}/override", OVERRIDE).status == 200
        assert {each.until("zone")[-1].data["lit"] for each in clients} == {False}
        clients[0].close()
        wait_until(lambda: house.hub.count == MOST_STREAMS - 1)
        with Client(web).begin() as late:
            assert late.next().event == "status"
    wait_until(lambda: house.hub.count == 0)


def test_stalled_reader(house, monkeypatch, caplog):
    """A client that reads nothing is cut and loses its place; it holds up no other, and nothing is logged."""
    caplog.set_level(logging.DEBUG)
    monkeypatch.setattr("api.web.protocol.LimitedH11Protocol.silence_s", 0.5)
    with serving(house.make_app) as server, Client(server).begin() as reader:
        reader.next()
        with Client(server, small=True) as stalled:
            wait_until(lambda: house.hub.count == 2)
            while house.hub.count == 2:
                for light in ("off", "on"):
                    assert ask(server, "PUT", f"{ZONE}/override", {"light": light}).status == 200
                reader.until("zone", lit=True)
            with contextlib.suppress(ConnectionError):
                while stalled.line.recv(65536):
                    pass
        assert ask(server, "PUT", f"{ZONE}/override", OVERRIDE).status == 200
        assert reader.until("zone")[-1].data["lit"] is False
    assert not [each for each in caplog.records if each.levelno >= logging.WARNING or each.exc_info]
    # The kernel looks seconds apart.
    assert SILENCE_S + 5 <= 20


# Last-Event-ID a million behind: `reset`


def test_last_event_id_a_million_behind(house, tmp_path):
    """Who missed a million entries is told to read everything again, without any of them being looked at."""
    with serving(house.make_app) as server, Client(server).begin() as client:
        last_id = client.next().last_id
    house.pass_time(10.0)
    house.keeper.stop()
    house.journal.close()
    write_a_million(house.journal.directory / "journal.sqlite")
    later_s = MILLION / 1000 + 60.0
    clock = {
        "at_utc": house.clock.utc + timedelta(seconds=later_s),
        "boot_s": house.clock.boot_s + later_s,
    }
    with contextlib.closing(House(tmp_path, **clock)) as later:
        later.journal.flush()
        with serving(later.make_app) as server, Client(server, last_id=last_id).begin() as client:
            assert [each.event for each in client.until("status")] == ["reset", "status"]
            assert ask(server, "GET", "/v1/status").status == 200


def write_a_million(path):
    """Add as many overrides that are over to a journal, a millisecond apart, after all that is in it."""
    connection = sqlite3.connect(path)
    with contextlib.closing(connection), connection:
        boot, at_ms, boot_ms = connection.execute(
            "SELECT boot, max(at_ms), max(boot_ms) FROM event"
        ).fetchone()
        connection.execute(
            """WITH RECURSIVE count (n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM count WHERE n < :many)
            INSERT INTO override (at_ms, boot_ms, boot, trusted, zone, lit, by,
                ended_at_ms, ended_boot_ms, ended_boot, ended_trusted, ended_words)
            SELECT :at + n, :boot_at + n, :boot, 1, (SELECT min(id) FROM zone), 1, 'this board',
                :at + n, :boot_at + n, :boot, 1, 'its time was over' FROM count""",
            {"many": MILLION, "at": at_ms, "boot_at": boot_ms, "boot": boot},
        )
