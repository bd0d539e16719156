"""Asks the running daemon over its port, for the commands that it answers or carries out."""

from __future__ import annotations

import http.client
import json
from collections.abc import Mapping

from api.access.client import COMMAND_LINE_AGENT
from config.errors import LeerieError

# The daemon answers within a round, or not at all.
_TIMEOUT_S = 10.0


class NoDaemonError(LeerieError):
    """Nobody answers on the port."""


def ask_daemon(port: int, method: str, path: str, body: Mapping[str, object] | None = None) -> bytes:
    """Send a request to the daemon on a port of this machine, and give what it answers.

    Raises:
        NoDaemonError: none answers there.
        LeerieError: it refuses; says why.
    """
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=_TIMEOUT_S)
    headers = {"user-agent": COMMAND_LINE_AGENT}
    if body is not None:
        headers["content-type"] = "application/json"
    try:
        connection.request(method, path, None if body is None else json.dumps(body), headers)
        response = connection.getresponse()
        content = response.read()
    except (OSError, http.client.HTTPException) as error:
        raise NoDaemonError(f"no daemon answers on port {port} ({error})") from error
    finally:
        connection.close()
    if response.status // 100 != 2:  # noqa: PLR2004 - HTTP's own class of success
        try:
            detail = str(json.loads(content)["detail"])
        except (ValueError, KeyError, TypeError):
            detail = f"it answered {response.status}"
        raise LeerieError(f"the daemon on port {port} refused: {detail}")
    return content
