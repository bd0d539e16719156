"""The home network over real sockets: 127.0.0.2 stands for it, as only 127.0.0.1 and ::1 are the board."""

import http.client
import json
import socket
import struct
import threading
from contextlib import closing

import pytest

from tests.api.lines import LONG_S, read_to_end, serving
from tests.api.web.devices import HOME

OVERRIDE = json.dumps({"light": "off", "for": "1h"})
# With this a socket that is closed sends a reset: whoever accepts it later finds a peer that is gone.
RESET_AT_CLOSE = struct.pack("ii", 1, 0)


def ask(server, method, path, body=None, *, peer=HOME, **headers):
    """Send one request from an address, and give status, headers and document."""
    line = http.client.HTTPConnection("127.0.0.1", server.port, timeout=LONG_S, source_address=(peer, 0))
    with closing(line):
        if body is not None:
            headers["content-type"] = "application/json"
        line.request(method, path, body, headers)
        response = line.getresponse()
        content = response.read()
        return response.status, response.headers, json.loads(content) if content else None


def pair(server, scope):
    """Pair a device with a code of the board, and give its token and the token's id."""
    _, _, made = ask(server, "POST", "/v1/access/codes", json.dumps({"scope": scope}), peer="127.0.0.1")
    body = json.dumps({"code": made["code"], "name": "kitchen phone"})
    status, _, token = ask(server, "POST", "/v1/access/tokens", body)
    assert status == 201
    return token["token"], token["id"]


def light_of(house):
    return house.get("/v1/zones/jetty")["override"]


def test_a_phone_is_let_in_and_out_again(server, house):
    """From the code to the switched relay, and to the refusal once the token is revoked."""
    assert ask(server, "PUT", "/v1/zones/jetty/override", OVERRIDE)[0] == 401
    token, token_id = pair(server, "control")
    bearer = {"authorization": f"Bearer {token}"}
    assert ask(server, "GET", "/v1/status", **bearer)[0] == 200
    assert ask(server, "PUT", "/v1/zones/jetty/override", OVERRIDE, **bearer)[0] == 200
    assert light_of(house)["by"] == "kitchen phone"
    assert ask(server, "DELETE", f"/v1/access/tokens/{token_id}", peer="127.0.0.1")[0] == 204
    status, headers, document = ask(server, "GET", "/v1/status", **bearer)
    assert (status, document["type"]) == (401, "/problems/permission-needed")
    assert headers["www-authenticate"] == 'Bearer realm="Leerie", error="invalid_token"'
    assert headers["content-type"] == "application/problem+json"


def test_a_proxy_on_the_board_gives_nobody_the_board_s_rights(server):
    """What a reverse proxy passes on from 127.0.0.1 needs permission like what comes itself."""
    for header in ("X-Forwarded-For", "Forwarded", "Via"):
        assert ask(server, "GET", "/v1/status", peer="127.0.0.1", **{header: "1.1 proxy"})[0] == 401


@pytest.mark.parametrize("path", ["/v1/access/tokens", "/v1/access/session"])
@pytest.mark.parametrize(
    "body", [b'{"code": "\\ud800"}', b'{"code": "\\u0000"}', b'{"code": "' + b"2" * 100 + b'"}'], ids=repr
)
def test_a_code_of_any_letters_is_refused(server, path, body):
    """Whatever JSON can carry as a code is refused, and no fault of the server."""
    assert ask(server, "POST", path, body)[0] in (403, 422)


def test_who_resets_the_connection_is_not_taken_for_the_board(house):
    """A connection that was reset before it was accepted has no peer; its request changes nothing."""
    busy, go_on, seen = threading.Event(), threading.Event(), []

    def make_app():
        app = house.app

        async def wait_or_pass_on(scope, receive, send):
            seen.append(scope["client"])
            if scope["path"] == "/wait":
                busy.set()
                go_on.wait(LONG_S)  # holds the whole event loop: nothing is accepted meanwhile
            await app(scope, receive, send)

        return wait_or_pass_on

    with serving(make_app) as server, socket.create_connection(("127.0.0.1", server.port), LONG_S) as first:
        first.sendall(b"GET /wait HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
        assert busy.wait(LONG_S)
        with socket.create_connection(("127.0.0.1", server.port), LONG_S, source_address=(HOME, 0)) as second:
            second.sendall(
                b"PUT /v1/zones/jetty/override HTTP/1.1\r\nHost: 127.0.0.1\r\n"
                b"Content-Type: application/json\r\n"
                b"Content-Length: %d\r\n\r\n%s" % (len(OVERRIDE), OVERRIDE.encode())
            )
            second.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET_AT_CLOSE)
        go_on.set()
        read_to_end(first)
        assert ask(server, "GET", "/v1/access", peer="127.0.0.1")[0] == 200
    assert None in seen, "the request came without a peer, and was read all the same"
    assert light_of(house) is None
