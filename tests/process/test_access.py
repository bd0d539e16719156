"""The real process lets devices in: across a restart, with no secret in its log, its journal or its files."""

from __future__ import annotations

import base64
import http.client
import json
import stat
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from controller.records.entries import EventKind
from tests.process.daemon import PATIENCE_S, PROGRAM, Daemon, free_port, running

# Stands for the home network; only 127.0.0.1 and ::1 are the board itself.
HOME = "127.0.0.2"
FORM = {"content-type": "application/x-www-form-urlencoded"}
WRONG_CODE, WRONG_TOKEN, WRONG_ADDRESS = "WXYW-XYWX-YWXY", "w" * 43, "a" * 43
# Everything that refused a request of a test, as it came.
refusals: list[bytes] = []


def ask(
    port: int, method: str, path: str, body: object = None, *, to: str = "127.0.0.1", **headers: str
) -> tuple[int, http.client.HTTPMessage, Any]:
    """Ask from the home network; status, headers and document of the answer."""
    line = http.client.HTTPConnection(to, port, timeout=PATIENCE_S, source_address=(HOME, 0))
    try:
        text = body if body is None or isinstance(body, str) else json.dumps(body)
        line.request(method, path, text, {"content-type": "application/json", **headers})
        answer = line.getresponse()
        content = answer.read()
        if answer.status >= 400:
            refusals.append(bytes(answer.headers) + content)
        is_json = "json" in answer.headers.get("content-type", "")
        return answer.status, answer.headers, json.loads(content) if is_json else None
    finally:
        line.close()


def make_code(daemon: Daemon, scope: str) -> str:
    """Have the board make a pairing code."""
    code: str = daemon.ask("POST", "/v1/access/codes", {"scope": scope})["code"]
    return code


def spellings(secret: str) -> Iterator[bytes]:
    """Give a secret as it is, without its hyphens, and as its bytes in hexadecimal and base64."""
    yield secret.encode()
    yield secret.replace("-", "").encode()
    if len(secret) == 43:
        raw = base64.urlsafe_b64decode(f"{secret}=")
        yield raw
        yield raw.hex().encode()
        yield base64.b64encode(raw).rstrip(b"=")


def type_in(*words: object) -> str:
    """Call the program as a person does, and give what it prints."""
    done = subprocess.run([PROGRAM, *map(str, words)], capture_output=True, text=True, check=True)
    return done.stdout


def test_a_household_is_let_in_by_what_a_person_types(site: Path, tmp_path: Path) -> None:
    """From a site file that opens an address to the override of a phone, and to its end by revocation."""
    opened = '[network]\nlisten = ["127.0.0.9"]\n\n[relays]'
    site.write_text(site.read_text(encoding="utf-8").replace("[relays]", opened), encoding="utf-8")
    port = free_port()
    with running(site, tmp_path / "state", port=port) as daemon:
        daemon.wait_for_api()
        there = f"http://127.0.0.9:{port}/"
        daemon.wait_until("open", lambda: f"listening on {there}" in daemon.log)
        assert f"In the home network: {there}\n" in type_in("access", site, "--port", port)
        first, _, last = type_in(
            "access", "pair", site, "--port", port, "--name", "kitchen phone"
        ).splitlines()
        assert last == f"Open {there} on that device and type it in. A program: POST /v1/access/tokens"
        zone = daemon.ask("GET", "/v1/zones")["zones"][0]["id"]
        switch = ("PUT", f"/v1/zones/{zone}/override", {"light": "on", "for": "1h"})
        assert ask(port, *switch, to="127.0.0.9")[0] == 401
        code = {"code": first.removeprefix("Code: ")}
        made = ask(port, "POST", "/v1/access/tokens", code, to="127.0.0.9")[2]
        bearer = f"Bearer {made['token']}"
        assert ask(port, *switch, to="127.0.0.9", authorization=bearer)[2]["by"] == "kitchen phone"
        assert daemon.ask("GET", f"/v1/zones/{zone}")["lit"] is True
        listed = type_in("access", "list", site, "--port", port)
        assert listed.startswith(f"{made['id']}  kitchen phone: token, control, made ")
        assert type_in("access", "revoke", site, made["id"], "--port", port) == f"Revoked: {made['id']}.\n"
        assert ask(port, "GET", "/v1/status", to="127.0.0.9", authorization=bearer)[0] == 401
        assert daemon.stop() == 0
    assert "plain http: whoever is in the home network can read along" in daemon.log
    assert f"access revoked: kitchen phone ({made['id']}), by the command line" in daemon.log


def make_mistakes(port: int, *, code: str, token: str, calendar: str, cookie: str) -> None:
    """Show wrong secrets, and right ones where they do not belong or not as they are."""
    assert ask(port, "POST", "/v1/access/tokens", {"code": WRONG_CODE})[0] == 403
    assert ask(port, "POST", "/sign-in", f"code={WRONG_CODE}&name=phone", **FORM)[0] == 403
    assert ask(port, "GET", "/v1/status", authorization=f"Bearer {WRONG_TOKEN}")[0] == 401
    assert ask(port, "GET", f"/v1/calendar/{WRONG_ADDRESS}.ics")[0] == 404
    assert ask(port, "GET", f"/v1/status?access_token={token}")[0] == 401
    for path in (f"/v1/calendar/{calendar}.ics?zone=pier", f"/v1/calendar/{calendar}"):
        assert ask(port, "GET", path)[0] == 404
    for text in (f'{{"token": "{token}\\ud800"}}', json.dumps({"token": 3 * token})):
        assert ask(port, "POST", "/v1/access/session", text)[0] == 422
    assert ask(port, "POST", "/v1/access/session", {"code": code, "token": token})[0] == 422
    assert ask(port, "GET", "/v1/status", authorization=f"Token {token}")[0] == 401
    assert ask(port, "GET", "/v1/status", cookie=f"{cookie}x")[0] == 401


def test_no_secret_is_in_any_file(site: Path, tmp_path: Path) -> None:
    """Codes, tokens, cookies and wrong ones leave no trace on disk and in no refusal; names and ids do."""
    refusals.clear()
    state, port = tmp_path / "state", free_port()
    with running(site, state, port=port) as daemon:
        daemon.wait_for_api()
        codes = [make_code(daemon, scope) for scope in ("control", "read", "calendar", "control")]
        tokens = []
        for code, name in zip(codes, ("kitchen phone", "guest", "calendar"), strict=False):
            body = {"code": code, "name": name}
            tokens.append(ask(port, "POST", "/v1/access/tokens", body)[2])
        phone, guest, calendar = (each["token"] for each in tokens)
        _, headers, _ = ask(port, "POST", "/v1/access/session", {"token": phone})
        cookie = headers["set-cookie"].split(";")[0]
        assert ask(port, "GET", f"/v1/calendar/{calendar}.ics")[0] in (200, 503)
        assert ask(port, "GET", "/v1/status", authorization=f"Bearer {guest}")[0] == 200
        zone = daemon.ask("GET", "/v1/zones")["zones"][0]["id"]
        path, body = f"/v1/zones/{zone}/override", {"light": "on", "for": "1h"}
        assert ask(port, "PUT", path, body, authorization=f"Bearer {guest}")[0] == 403
        assert ask(port, "PUT", path, body, cookie=cookie)[2]["by"] == "kitchen phone"
        make_mistakes(port, code=codes[3], token=phone, calendar=calendar, cookie=cookie)
        assert daemon.ask("GET", "/v1/status")["access"]["failed_tries"] == 4
        assert ask(port, "DELETE", f"/v1/access/tokens/{tokens[1]['id']}", cookie=cookie)[0] == 204
        daemon.wait_until(
            "recorded", lambda: EventKind.ACCESS_REVOKED in {each.kind for each in daemon.events}
        )
        events = [(each.kind, each.words) for each in daemon.events]
        assert daemon.stop() == 0
        log = daemon.log
    with running(site, state, port=port) as daemon:
        daemon.wait_for_api()
        assert ask(port, "GET", "/v1/status", authorization=f"Bearer {phone}")[0] == 200
        assert ask(port, "GET", "/v1/status", cookie=cookie)[0] == 200
        assert ask(port, "GET", "/v1/status", authorization=f"Bearer {guest}")[0] == 401
        # A code does not outlive the process that made it.
        assert ask(port, "POST", "/v1/access/tokens", {"code": codes[3]})[0] == 403
        assert daemon.stop() == 0

    kinds = [kind for kind, _ in events]
    assert kinds.count(EventKind.ACCESS_GIVEN) == 4
    # Of an address one of each kind in an hour.
    assert kinds.count(EventKind.ACCESS_REFUSED) == 3
    revoked = f"guest ({tokens[1]['id']}), by kitchen phone"
    assert (EventKind.ACCESS_REVOKED, revoked) in events
    assert f"access revoked: {revoked}" in log
    assert "placed by kitchen phone" in log

    files = [each for each in tmp_path.rglob("*") if each.is_file()]
    assert {"access.json", "state.log", "journal.sqlite"} <= {each.name for each in files}
    assert stat.S_IMODE((state / "access.json").stat().st_mode) == 0o600
    secrets = [*codes, phone, guest, calendar, cookie.split("=")[1], WRONG_CODE, WRONG_TOKEN, WRONG_ADDRESS]
    found = [
        (each.name, secret)
        for each in files
        for secret in secrets
        if any(spelling in each.read_bytes() for spelling in spellings(secret))
    ]
    assert not found
    assert len(refusals) >= 15
    told = [(secret, each) for each in refusals for secret in secrets if secret.encode() in each]
    assert not told
    assert tokens[0]["id"].encode() in (state / "access.json").read_bytes()
