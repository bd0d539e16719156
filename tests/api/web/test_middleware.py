"""The request guard: hosts, origins, targets, media types, sizes, times."""

import asyncio
import gzip
import json

import pytest

from api.web.middleware import LARGEST_BODY_BYTES, READ_ON_BYTES, RequestGuardMiddleware
from tests.api.lines import ask, send_raw
from tests.api.stand_in import problem

OVERRIDE = "/v1/zones/jetty/override"


@pytest.mark.parametrize(
    "host",
    [
        "localhost",
        "localhost:8010",
        "127.0.0.1",
        "127.0.0.1:80",
        "[::1]",
        "[::1]:8010",
        "[0:0::1]",
        "LocalHost:8010",
        "localhost.",
    ],
)
def test_own_names_are_let_in(house, host):
    """A request to this machine's own names is answered, on any port."""
    assert house.ask("GET", "/health", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "garden.example",
        "garden.example:8010",
        "192.168.1.20:8010",
        "127.0.0.1.garden.example",
        "localhost.garden.example",
        "localhost:8010@garden.example",
        "localhost:",
        "localhost:8010:8010",
        "localhost..",
        "::1",
        "",
    ],
)
def test_other_names_are_refused(house, host):
    """A request that was sent to another name is refused: a page may have pointed its own name here."""
    response = house.ask("GET", "/v1/status", headers={"host": host})
    told = problem(response, "wrong-host", at="/v1/status")
    assert "127.0.0.1, [::1], localhost" in told["detail"]
    assert response.headers["connection"] == "close"


@pytest.mark.parametrize("method", ["PUT", "DELETE"])
@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},  # another port of this machine is the same site, and not us
        {"origin": "https://garden.example"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "http://localhost:8010"},  # another name of this machine is another origin
        {"origin": "null"},
        {"origin": ""},
        {"origin": "http://127.0.0.1:8010", "sec-fetch-site": "cross-site"},
    ],
)
def test_other_sites_pages_change_nothing(house, method, headers):
    """A change that another site's page asks for is refused, and nothing changes."""
    body = {"json": {"light": "off"}} if method == "PUT" else {}
    response = house.ask(method, OVERRIDE, headers=headers, **body)
    problem(response, "cross-site", at=OVERRIDE)
    assert house.get("/v1/zones/jetty")["override"] is None


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"sec-fetch-site": "same-origin", "origin": "http://127.0.0.1:8010"},
        {"sec-fetch-site": "none"},
        {"origin": "HTTP://127.0.0.1:8010"},
    ],
)
def test_own_page_and_programs_may_change_things(house, headers):
    """Our own page, an address typed by a person and a program without an Origin may change things."""
    headers = {"if-none-match": "*", **headers}
    response = house.ask("PUT", OVERRIDE, json={"light": "off"}, headers=headers)
    assert response.status_code == 200


NAVIGATION = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}


@pytest.mark.parametrize("method", ["GET", "HEAD", "OPTIONS"])
@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://garden.example"},  # a script on plain http, where the browser tells no more
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors", "sec-fetch-dest": "image"},
        {"sec-fetch-site": "same-site", "sec-fetch-mode": "cors", "sec-fetch-dest": "empty"},
        {"sec-fetch-site": "moon"},
        NAVIGATION | {"sec-fetch-dest": "iframe"},
        NAVIGATION | {"sec-fetch-dest": "object"},
        NAVIGATION | {"origin": "https://garden.example"},
        NAVIGATION | {"sec-purpose": "prefetch;prerender"},  # nobody has gone there yet
    ],
)
def test_other_sites_pages_read_nothing(house, method, headers):
    """What another site's page reads is refused before anything is worked out: reading takes work too."""
    response = house.ask(method, "/v1/hours", headers=headers)
    assert response.status_code == 403
    if method != "HEAD":
        problem(response, "cross-site", at="/v1/hours")
    assert "access-control-allow-origin" not in response.headers


@pytest.mark.parametrize(
    "headers",
    [
        NAVIGATION,
        NAVIGATION | {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "none"},
        {"sec-fetch-site": "same-origin", "sec-fetch-dest": "image"},
        {"origin": "http://127.0.0.1:8010"},
        {},
    ],
)
def test_a_link_and_our_own_page_may_read(house, headers):
    """A link on another site may lead here; our own page, a bookmark and a program may read everything."""
    assert house.ask("GET", "/v1/hours", headers=headers).status_code == 200


def test_a_link_is_no_way_to_change_something(house):
    """A form of another site, which is a navigation too, is refused like any other change."""
    response = house.ask("POST", "/v1/replacements", headers=NAVIGATION, json={"zone": "jetty", "part": 1})
    problem(response, "cross-site", at="/v1/replacements")


def test_each_origin_counts(house):
    """A second Origin beside our own does not help."""
    headers = [("origin", "http://127.0.0.1:8010"), ("origin", "https://garden.example")]
    assert house.ask("GET", "/v1/zones", headers=headers).status_code == 403


def test_over_tls_our_plain_page_is_another_site():
    """Over TLS a page of the same name that came by plain http is not ours; behind a proxy one by TLS is."""
    assert refused_by_guard("https", b"http://localhost")
    assert not refused_by_guard("https", b"https://localhost")
    assert not refused_by_guard("http", b"https://localhost")


@pytest.mark.parametrize(
    "path",
    ["/v1", "/health", "/v1/status", "/v1/year.svg", "/v1/sheet", "/nowhere", "/v1/zones/jetty/why?x=1"],
)
def test_every_answer_says_what_a_browser_may_do_with_it(house, path):
    """No answer may be framed, sniffed, read by another site, or run anything."""
    headers = house.ask("GET", path).headers
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["x-frame-options"] == "DENY"
    policy = dict(each.split(" ", 1) for each in headers["content-security-policy"].split("; "))
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert "unsafe" not in headers["content-security-policy"]
    assert "script-src" not in policy
    assert not [name for name in headers if name.startswith("access-control-")]


# -- targets -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("target", "host", "path"),
    [
        ("http://localhost/v1/zones/jetty/why", "localhost", "/v1/zones/jetty/why"),
        ("HTTP://localhost:{port}/v1/zones/jetty/why", "garden.example", "/v1/zones/jetty/why"),
        ("http://127.0.0.1:{port}", "localhost", "/"),
        ("http://[::1]?x=1", "localhost", "/"),
    ],
)
def test_a_whole_address_is_a_target_too(server, target, host, path):
    """A target in absolute form is taken, and the host in it counts (RFC 9112, section 3.2.2)."""
    target = target.format(port=server.port)
    heard = send_raw(server, f"GET {target} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode())
    if path == "/":  # where these tests have no page
        assert json.loads(heard.partition(b"\r\n\r\n")[2])["instance"] == path
    else:
        assert heard.startswith(b"HTTP/1.1 200 ")
        assert json.loads(heard.partition(b"\r\n\r\n")[2]) == house_answer(server, path)


def house_answer(server, path):
    return ask(server, "GET", path)[2]


@pytest.mark.parametrize(
    "target",
    [
        "http://garden.example/health",
        "http://a@localhost/health",
        "https://localhost/health",
        "http:///health",
    ],
)
def test_a_whole_address_of_somebody_else_is_refused(server, target):
    """Another host in the target is refused whatever the header Host says, and so is another scheme."""
    heard = send_raw(server, f"GET {target} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
    assert heard.startswith(b"HTTP/1.1 421 ")
    assert b"/problems/wrong-host" in heard


def test_the_origin_is_compared_with_the_host_in_the_target(server):
    """A page whose own name stands in Host only is not ours."""
    head = "GET http://localhost/health HTTP/1.1\r\nHost: garden.example\r\nOrigin: http://{}\r\n\r\n"
    assert send_raw(server, head.format("garden.example").encode()).startswith(b"HTTP/1.1 403 ")
    assert send_raw(server, head.format("localhost").encode()).startswith(b"HTTP/1.1 200 ")


def test_the_server_as_a_whole_says_what_it_knows(server):
    """OPTIONS * names every method that some route has (RFC 9110, section 9.3.7)."""
    heard = send_raw(server, b"OPTIONS * HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
    assert heard.startswith(b"HTTP/1.1 204 ")
    assert b"allow: DELETE, GET, HEAD, OPTIONS, POST, PUT\r\n" in heard


# -- bodies --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "said",
    [
        *(None, "", "text/plain", "application/x-www-form-urlencoded", "text/plain; application/json"),
        *("multipart/form-data; boundary=x", "application/jsonp", "application/json, text/plain"),
    ],
)
def test_a_body_that_is_not_declared_as_json_is_refused(house, said):
    """A body of another type, as a plain form sends it, is refused."""
    headers = {} if said is None else {"content-type": said}
    response = house.ask("PUT", OVERRIDE, content=b'{"light": "off"}', headers=headers)
    problem(response, "not-json-type", at=OVERRIDE)
    assert house.get("/v1/zones/jetty")["override"] is None


def test_the_type_may_name_its_letters(house):
    """JSON may say in which letters it is written."""
    headers = {"content-type": "Application/JSON; charset=utf-8"}
    assert house.ask("PUT", OVERRIDE, content=b'{"light": "off"}', headers=headers).status_code == 200


def test_a_compressed_body_is_refused(house):
    """A body in a coding that nobody undoes is refused as that, and not as broken JSON."""
    headers = {"content-type": "application/json", "content-encoding": "gzip"}
    response = house.ask("PUT", OVERRIDE, content=gzip.compress(b'{"light": "off"}'), headers=headers)
    told = problem(response, "not-json-type", at=OVERRIDE)
    assert told["detail"] == "the Content-Encoding is “gzip”; leave it out"


def padded(length: int) -> bytes:
    body = b'{"light": "off"}'
    return body + b" " * (length - len(body))


def test_the_largest_body_is_read_and_a_byte_more_is_refused(house):
    """A body of 64 kB is read; one that is a byte larger is refused."""
    headers = {"content-type": "application/json"}
    largest = house.ask("PUT", OVERRIDE, content=padded(LARGEST_BODY_BYTES), headers=headers)
    assert largest.status_code == 200
    response = house.ask("PUT", OVERRIDE, content=padded(LARGEST_BODY_BYTES + 1), headers=headers)
    problem(response, "too-large", at=OVERRIDE)


def test_a_body_in_pieces_counts_as_a_whole(house):
    """A chunked body without a declared length is refused once it is too large."""

    async def pieces():
        for _ in range(3):
            yield b" " * (LARGEST_BODY_BYTES // 2)

    headers = {"content-type": "application/json"}
    response = house.ask("PUT", OVERRIDE, content=pieces(), headers=headers)
    problem(response, "too-large", at=OVERRIDE)


# -- below, the guard alone, with the other side's pieces handed to it one by one ----------------------------


class Line:
    """A connection to the guard: gives it messages, and keeps its responses."""

    def __init__(self, *messages):
        self.messages = list(messages)
        self.taken = 0
        self.sent = []

    async def receive(self):
        if self.taken == len(self.messages):
            await asyncio.Event().wait()  # nothing more comes
        self.taken += 1
        return self.messages[self.taken - 1]

    async def send(self, message):
        self.sent.append(message)

    @property
    def document(self):
        return json.loads(b"".join(each.get("body", b"") for each in self.sent[1:]))


def piece(body: bytes, *, more: bool):
    return {"type": "http.request", "body": body, "more_body": more}


def ask_guard(
    line: Line,
    *headers: tuple[bytes, bytes],
    receive_s: float = 10.0,
    method: str = "PUT",
    app=None,
    scheme: str = "http",
):
    async def no_app(_scope, _receive, _send):
        raise AssertionError("this must not be let through")

    named = [(b"host", b"localhost"), (b"content-type", b"application/json"), *headers]
    scope = {"type": "http", "method": method, "path": "/v1/x", "scheme": scheme, "headers": named}
    guard = RequestGuardMiddleware(app or no_app, receive_s=receive_s)
    asyncio.run(guard(scope, line.receive, line.send))


def refused_by_guard(scheme: str, origin: bytes) -> bool:
    async def app(_scope, _receive, send):
        await send({"type": "http.response.start", "status": 204, "headers": []})

    line = Line(piece(b"", more=False))
    ask_guard(line, (b"origin", origin), method="DELETE", app=app, scheme=scheme)
    return line.sent[0]["status"] == 403


def test_a_body_that_does_not_arrive_is_not_waited_for():
    """A body of which only a piece arrives in time is answered as too slow."""
    line = Line(piece(b"{", more=True))
    ask_guard(line, receive_s=0.01)
    assert line.sent[0]["status"] == 408
    assert line.document["type"] == "/problems/too-slow"
    assert line.document["detail"] == "the body had not arrived after 0.01 s; send it again"


def test_a_far_too_large_body_is_not_read_to_its_end():
    """Only a megabyte of an endless body is read before it is refused and the connection closed."""
    line = Line(*[piece(b" " * 65536, more=True)] * 1000)
    ask_guard(line)
    assert line.sent[0]["status"] == 413
    assert (b"connection", b"close") in line.sent[0]["headers"]
    assert line.taken * 65536 <= READ_ON_BYTES + 65536


def test_a_body_that_is_announced_and_too_large_is_not_asked_for():
    """Where the other side waits for a go-ahead before a body that is too large, it is refused at once."""
    line = Line()
    ask_guard(line, (b"content-length", b"70000"), (b"expect", b"100-continue"))
    assert (line.sent[0]["status"], line.taken) == (413, 0)


def test_a_side_that_goes_away_is_not_answered():
    """Where the other side goes away before its request is whole, nothing is sent and nothing is done."""
    line = Line(piece(b"{", more=True), {"type": "http.disconnect"})
    ask_guard(line)
    assert line.sent == []


def test_a_fault_after_an_answer_began_adds_nothing_to_it():
    """An exception after the answer began leaves it as it is: two answers would make it worse."""

    async def app(_scope, _receive, send):
        await send({"type": "http.response.start", "status": 200, "headers": []})
        raise RuntimeError("half way")

    line = Line(piece(b"", more=False))
    ask_guard(line, method="GET", app=app)
    assert [each["type"] for each in line.sent] == ["http.response.start"]


def test_a_request_that_is_cut_off_at_the_end_is_answered():
    """A request under way when Leerie is stopped is answered with the problem “stopping”."""

    async def run():
        async def app(_scope, _receive, _send):
            await asyncio.Event().wait()

        line = Line(piece(b"", more=False))
        scope = {"type": "http", "method": "GET", "path": "/v1/x", "headers": [(b"host", b"localhost")]}
        task = asyncio.create_task(RequestGuardMiddleware(app)(scope, line.receive, line.send))
        while not line.taken:
            await asyncio.sleep(0)
        await asyncio.sleep(0)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        return line

    line = asyncio.run(run())
    assert line.sent[0]["status"] == 503
    assert line.document["type"] == "/problems/stopping"


def test_what_is_no_http_passes():
    """The guard minds HTTP only."""
    seen = []

    async def app(scope, _receive, _send):
        seen.append(scope["type"])

    asyncio.run(RequestGuardMiddleware(app)({"type": "lifespan"}, None, None))
    assert seen == ["lifespan"]


@pytest.mark.parametrize(
    ("method", "path", "name"), [("PUT", "/v1/zones", "method-not-allowed"), ("POST", "/x", "not-found")]
)
def test_where_no_route_would_read_a_body_its_type_does_not_matter(house, method, path, name):
    """A body of any type, sent where nothing takes one, is answered by what is really wrong."""
    problem(house.ask(method, path, content=b"light=off"), name, at=path)
