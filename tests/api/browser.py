"""A real browser that opens pages from a web server of ours, and of others."""

from __future__ import annotations

import contextlib
import os
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from playwright.sync_api import sync_playwright

from tests.api.paper import CHROMIUM

needs_chromium = pytest.mark.skipif(
    CHROMIUM is None and not os.environ.get("CI"), reason="no chromium here; the CI installs it"
)


@contextlib.contextmanager
def browsing(*args: str):
    """Give a page of a browser without a window, and what it complains about meanwhile."""
    quiet = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=[*quiet, *args])
        try:
            page = browser.new_page()
            complaints: list[str] = []
            page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
            page.on("pageerror", lambda error: complaints.append(str(error)))
            yield page, complaints
        finally:
            browser.close()


@contextlib.contextmanager
def other_site(html: str):
    """Serve one page of somebody else's, whatever is asked for; gives its port."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("content-type", "text/html; charset=utf-8")
            self.end_headers()
            self.wfile.write(html.encode())

        def log_message(self, *_args):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield server.server_address[1]
    finally:
        server.shutdown()
        server.server_close()
