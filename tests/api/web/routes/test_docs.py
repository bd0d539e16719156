"""The page that shows the API, in a browser that can reach nothing but this server."""

import os
from importlib.metadata import distribution

import httpx
import pytest
from playwright.sync_api import sync_playwright

from tests.api.lines import LONG_S
from tests.api.paper import CHROMIUM
from tests.api.stand_in import problem

FILES = ("start.js", "swagger-ui-bundle.js", "swagger-ui.css")


@pytest.fixture
def browser():
    """A browser for which every name but this machine's address is unknown.

    While it runs this thread has an event loop, so its tests ask over the socket alone.
    """
    if CHROMIUM is None and not os.environ.get("CI"):
        pytest.skip("no chromium here; the CI installs it")
    with sync_playwright() as playwright:
        only_us = "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=[only_us])
        yield browser
        browser.close()


def test_the_page_works_without_the_internet(browser, server):
    """The page shows every route and tries one, asks nobody else, and the browser complains of nothing."""
    own = f"http://127.0.0.1:{server.port}/"
    asked, complaints = [], []
    page = browser.new_page()
    page.set_default_timeout(LONG_S * 1000)
    page.on("request", lambda request: asked.append(request.url))
    page.on("requestfailed", lambda request: complaints.append(request.url))
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(f"{own}docs", wait_until="networkidle")
    page.locator(".opblock").first.wait_for()
    shown = {
        (block.locator(".opblock-summary-method").inner_text(), block.get_attribute("id"))
        for block in page.locator(".opblock").all()
    }
    described = httpx.get(f"{own}openapi.json", timeout=LONG_S).json()["paths"]
    assert shown == {
        (method.upper(), f"operations-{tag}-{operation['operationId']}")
        for path in described.values()
        for method, operation in path.items()
        for tag in operation["tags"]
    }
    block = page.locator(f"#operations-status-{described['/health']['get']['operationId']}")
    block.locator(".opblock-summary-control").click()
    block.get_by_role("button", name="Try it out").click()
    block.get_by_role("button", name="Execute").click()
    answer = block.locator(".live-responses-table .response-col_description")
    answer.get_by_text("last_round_s").first.wait_for()
    assert [url for url in asked if not url.startswith((own, "data:"))] == []
    assert {f"{own}docs/{name}" for name in FILES} | {f"{own}openapi.json", f"{own}health"} <= set(asked)
    assert complaints == []
    page.close()


def test_no_other_script_runs_in_the_page(browser, server):
    """The page's policy keeps a script out that somebody gets into it, and no page may frame it."""
    page = browser.new_page()
    answer = page.goto(f"http://127.0.0.1:{server.port}/docs")
    page.evaluate("""() => {
        const script = document.createElement("script");
        script.textContent = "window.harm = 1";
        document.body.append(script);
    }""")
    assert page.evaluate("window.harm") is None
    policy = answer.headers["content-security-policy"]
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    page.close()


def test_the_page_and_its_files_are_served(house):
    """The page names its files, and each is served with its type, as it is in the package."""
    page = house.ask("GET", "/docs")
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    package = distribution("fastapi-offline")
    for name in FILES:
        assert f'"/docs/{name}"' in page.text
        got = house.ask("GET", f"/docs/{name}")
        assert got.status_code == 200
        kind = "text/css" if name.endswith(".css") else "text/javascript"
        assert got.headers["content-type"] == f"{kind}; charset=utf-8"
        if name != "start.js":
            assert got.content == package.locate_file(f"fastapi_offline/static/{name}").read_bytes()


def test_a_browser_keeps_the_files(house):
    """The large files are answered 304 where the browser has them already."""
    for name in FILES[1:]:
        got = house.ask("GET", f"/docs/{name}")
        assert got.headers["cache-control"] == "no-cache"
        again = house.ask("GET", f"/docs/{name}", headers={"if-none-match": got.headers["etag"]})
        assert (again.status_code, again.content) == (304, b"")


@pytest.mark.parametrize(
    "path", ["/docs/redoc.standalone.js", "/docs/favicon.png", "/docs/..%2Fcore.py", "/docs/", "/redoc"]
)
def test_nothing_else_of_the_package_is_served(house, path):
    """No other file of the package can be had, and there is no second page of documentation."""
    response = house.ask("GET", path)
    problem(response, "not-found", at=response.request.url.path.replace("..%2F", "../"))


def test_the_files_can_only_be_read(house):
    """A file of the page allows GET and HEAD, as every route that only shows."""
    for path in ("/docs", *(f"/docs/{name}" for name in FILES)):
        response = house.ask("POST", path, json={})
        problem(response, "method-not-allowed", at=path)
        assert response.headers["allow"] == "GET, HEAD, OPTIONS"


def test_the_files_over_a_real_socket(server):
    """A large file comes whole from the port, in the length that its head says."""
    url = f"http://127.0.0.1:{server.port}/docs/swagger-ui-bundle.js"
    got, head = httpx.get(url, timeout=LONG_S), httpx.head(url, timeout=LONG_S)
    assert got.status_code == head.status_code == 200
    assert len(got.content) == int(head.headers["content-length"]) > 1_000_000
    assert head.content == b""
