"""Devices of the home network, for the tests: what they pair with, send and keep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import httpx

from tests.api.stand_in import House

# Stands for the home network, as only 127.0.0.1 and ::1 are the board itself.
HOME = "127.0.0.2"


@dataclass
class Device:
    """A device that asks from the home network, with what it was given."""

    house: House
    token: str | None = None
    cookie: str | None = None
    id: str | None = None
    url: str = "http://127.0.0.1:8010"

    def ask(self, method: str, path: str, *, peer: str = HOME, **more: Any) -> httpx.Response:
        """Send a request."""
        headers = dict(more.pop("headers", {}))
        if self.token is not None:
            headers["authorization"] = f"Bearer {self.token}"
        if self.cookie is not None:
            headers["cookie"] = self.cookie
        return self.house.ask(method, self.url + path, peer=peer, headers=headers, **more)

    def get_code(self, scope: str = "control", **more: Any) -> str:
        """Have the board make a code."""
        response = self.house.ask("POST", "/v1/access/codes", json={"scope": scope, **more})
        assert response.status_code == 201, response.text
        code: str = response.json()["code"]
        return code

    def pair(self, scope: str = "control", name: str = "kitchen phone") -> Device:
        """Get a token."""
        body = {"code": self.get_code(scope), "name": name}
        response = self.ask("POST", "/v1/access/tokens", json=body)
        assert response.status_code == 201, response.text
        self.id, self.token = response.json()["id"], response.json()["token"]
        return self

    def sign_in(self, scope: str = "control", name: str = "kitchen phone", **body: Any) -> httpx.Response:
        """Get a session, by a code of the board where nothing else is given, and keep its cookie."""
        body = body or {"code": self.get_code(scope), "name": name}
        response = self.ask("POST", "/v1/access/session", json=body)
        if response.status_code == 201:
            self.id = response.json()["id"]
            self.cookie = response.headers["set-cookie"].split(";")[0]
        return response
