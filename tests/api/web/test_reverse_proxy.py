"""Behind a reverse proxy: Debian's nginx, with the very lines of systemd/README.md, and https in front."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import shutil
import socket
import ssl
import subprocess

import pytest
import trustme

from api.web.listening import Listening
from config.models.network import NetworkSettings
from tests.api.lines import LONG_S, ask, serving, wait_until
from tests.systemd.unit_file import README

NGINX = shutil.which("nginx") or shutil.which("nginx", path="/usr/sbin")
NAME, PROXY, BEHIND = "garden.example.net", "127.0.0.5", "127.0.0.2"
JSON = {"content-type": "application/json"}
OVERRIDE = "/v1/zones/jetty/override"

pytestmark = pytest.mark.skipif(
    NGINX is None and not os.environ.get("CI"), reason="no nginx here; the CI installs it"
)


def shown(language: str) -> str:
    """Give what the page says to write in a language, for a reverse proxy."""
    page = README.read_text(encoding="utf-8").partition("### Behind a reverse proxy")[2]
    found = re.search(rf"^```{language}\n(.*?)^```", page, re.MULTILINE | re.DOTALL)
    assert found
    return found[1]


def free_port(*addresses: str) -> int:
    """Find a port that nobody uses on any of these addresses."""
    while True:
        with contextlib.ExitStack() as bound, contextlib.suppress(OSError):
            port = 0
            for address in addresses:
                port = bound.enter_context(socket.create_server((address, port))).getsockname()[1]
            return port


class Proxy:
    """A name that is served by https, and a browser that trusts its certificate."""

    def __init__(self, folder, behind: int, server_lines: str) -> None:
        self.port = free_port(PROXY)
        ca = trustme.CA()
        ca.issue_cert(NAME).private_key_and_cert_chain_pem.write_to_path(folder / "garden.pem")
        self._trusting = ssl.create_default_context()
        ca.configure_trust(self._trusting)
        for ours, its in (
            ("listen 443", f"listen {PROXY}:{self.port}"),
            ("/etc/ssl/garden.pem", str(folder / "garden.pem")),
            ("/etc/ssl/garden.key", str(folder / "garden.pem")),
            (f"{BEHIND}:8010", f"{BEHIND}:{behind}"),
        ):
            assert ours in server_lines
            server_lines = server_lines.replace(ours, its)
        kinds = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
        folders = "\n".join(f"{kind}_temp_path {folder}/{kind};" for kind in kinds)
        text = f"pid {folder}/pid;\nevents {{}}\nhttp {{\naccess_log off;\n{folders}\n{server_lines}\n}}\n"
        (folder / "nginx.conf").write_text(text, encoding="utf-8")
        words = [NGINX, "-e", folder / "error", "-p", folder, "-c", folder / "nginx.conf"]
        only_this = "daemon off; master_process off;"
        self.process = subprocess.Popen([*words, "-g", only_this], stderr=subprocess.DEVNULL)
        wait_until(self._serves)

    def _serves(self) -> bool:
        assert self.process.poll() is None
        with contextlib.suppress(OSError):
            socket.create_connection((PROXY, self.port)).close()
            return True
        return False

    def line(self) -> ssl.SSLSocket:
        """Open a connection, as a browser does that was given the name."""
        bare = socket.create_connection((PROXY, self.port), timeout=LONG_S)
        return self._trusting.wrap_socket(bare, server_hostname=NAME)

    def ask(self, method, path, body=None, *, host=None, **headers):
        """Send a request through the proxy, and give status, headers and document."""
        browser = http.client.HTTPConnection(NAME)
        browser.sock = self.line()
        with contextlib.closing(browser):
            headers = {name.replace("_", "-"): value for name, value in headers.items()}
            headers["host"] = host or f"{NAME}:{self.port}"
            content = None if body is None else json.dumps(body)
            browser.request(method, path, content, headers if body is None else headers | JSON)
            response = browser.getresponse()
            content = response.read()
            return response.status, response.headers, json.loads(content) if content else None


@pytest.fixture
def leerie(house):
    """A server that is open to a proxy on its board, as the page says."""
    said = dict(re.findall(r"^(\w+) = (\[.*?\])", shown("toml"), re.MULTILINE))
    settings = NetworkSettings(**{key: json.loads(value) for key, value in said.items()})
    assert settings.listen == (BEHIND,)
    listening = Listening(lambda: settings, port=free_port("127.0.0.1", BEHIND))
    with serving(lambda: house.make_app(listening=listening), listening=listening) as server:
        wait_until(lambda: listening.status.home)
        yield server


@pytest.fixture
def start_proxy(leerie, tmp_path):
    """Start a proxy, with other lines than the page's where a test wants them."""
    started = []

    def start(change=lambda lines: lines) -> Proxy:
        started.append(Proxy(tmp_path, leerie.port, change(shown("nginx"))))
        return started[0]

    yield start
    for proxy in started:
        proxy.process.terminate()
        proxy.process.wait(LONG_S)


def pair(leerie, proxy) -> str:
    """Let a phone in that reaches the board through the proxy."""
    body = json.dumps({"scope": "control", "name": "kitchen phone"})
    code = ask(leerie, "POST", "/v1/access/codes", body, content_type="application/json")[2]["code"]
    status, _, made = proxy.ask("POST", "/v1/access/tokens", {"code": code})
    assert status == 201
    return f"Bearer {made['token']}"


def test_a_phone_is_let_in_through_the_proxy(leerie, start_proxy, house):
    """Who comes through the proxy needs permission, gets it by a code, and is named in what they change."""
    proxy = start_proxy()
    assert proxy.ask("GET", "/v1/status")[0] == 401
    permission = pair(leerie, proxy)
    status, _, me = proxy.ask("GET", "/v1/access", authorization=permission)
    assert (status, me["kind"], me["address"], me["may_control"]) == (200, "home", "127.0.0.1", True)
    assert proxy.ask("PUT", OVERRIDE, {"light": "off", "for": "1h"}, authorization=permission)[0] == 200
    assert house.get("/v1/zones/jetty")["override"]["by"] == "kitchen phone"


@pytest.mark.parametrize("header", [None, "X-Forwarded-For", "Forwarded", "Via", "X-Real-IP"])
def test_nobody_behind_the_proxy_is_the_board(start_proxy, header):
    """Also where the proxy adds no header at all, and where a client calls itself the board."""
    proxy = start_proxy(lambda lines: re.sub(r".*X-Forwarded.*\n", "", lines))
    claimed = {} if header is None else {header: "for=127.0.0.1" if header == "Forwarded" else "127.0.0.1"}
    status, _, me = proxy.ask("GET", "/v1/access", **claimed)
    assert (status, me["kind"], me["may_read"]) == (200, "home", False)
    assert proxy.ask("GET", "/v1/status", **claimed)[0] == 401


def test_hosts_and_pages_are_judged_behind_the_proxy(leerie, start_proxy):
    """The page that the proxy serves may change something; other hosts, and pages of other sites, may not."""
    proxy = start_proxy()
    permission = pair(leerie, proxy)
    change = ("PUT", OVERRIDE, {"light": "off", "for": "1h"})
    ours = {"authorization": permission, "if_none_match": "*"}
    own = f"https://{NAME}:{proxy.port}"
    assert proxy.ask(*change, origin=own, **ours)[0] == 200
    for origin in (
        "https://evil.example.net",
        "null",
        f"https://{NAME}",
        f"https://{NAME}.example:{proxy.port}",
    ):
        status, _, problem = proxy.ask(*change, origin=origin, **ours)
        assert (status, problem["type"]) == (403, "/problems/cross-site"), origin
    for host in ("evil.example.net", "localhost", "127.0.0.1"):
        status = proxy.ask("GET", "/v1/status", host=host, authorization=permission)[0]
        assert status == (421 if host == "evil.example.net" else 200), host


def test_a_page_behind_the_proxy_keeps_its_session(leerie, start_proxy):
    """The cookie is for https alone, and no script and no other site gets it."""
    proxy = start_proxy()
    permission = pair(leerie, proxy)
    token = permission.removeprefix("Bearer ")
    status, headers, _ = proxy.ask("POST", "/v1/access/session", {"token": token})
    assert status == 201
    cookie, *attributes = headers["set-cookie"].split("; ")
    assert {"httponly", "secure", "path=/", "samesite=strict"} <= {each.lower() for each in attributes}
    assert proxy.ask("GET", "/v1/status", cookie=cookie)[0] == 200
    assert proxy.ask("GET", "/v1/status", cookie=cookie[:-1])[0] == 401


def test_events_pass_the_proxy_as_they_come(leerie, start_proxy, house):
    """The first message arrives while the stream is open, and so does what happens then."""
    proxy = start_proxy()
    permission = pair(leerie, proxy)
    with proxy.line() as line:
        head = f"GET /v1/events HTTP/1.1\r\nHost: {NAME}\r\nAuthorization: {permission}\r\n\r\n"
        line.sendall(head.encode())
        heard = b""
        while b"event: status" not in heard:
            piece = line.recv(65536)
            assert piece, heard
            heard += piece
        assert proxy.ask("PUT", OVERRIDE, {"light": "off", "for": "1h"}, authorization=permission)[0] == 200
        while b"event: override" not in heard:
            piece = line.recv(65536)
            assert piece, heard
            heard += piece
