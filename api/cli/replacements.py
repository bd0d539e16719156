"""Records from the command line that lamps were replaced: through a running daemon, else directly."""

from __future__ import annotations

import http.client
import json
import re
import time
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.render.instants import quote, read_date
from config.errors import AlreadyRunningError, JournalError, LeerieError
from controller.clock.clock import SystemClock, now_utc
from controller.clock.trust import RELEASED_UTC
from controller.journal.journal import Journal
from controller.journal.reader import JournalReader
from controller.lamps.life import require_replaced
from controller.planning.planner import Planner
from controller.records.entries import Replacement

if TYPE_CHECKING:
    from controller.records.reading import Reading

_PATTERN = re.compile(r"([^:]+):([0-9]{1,4})(?::([^:]+))?")
# The daemon answers within a round, or not at all.
_TIMEOUT_S = 10.0
_CREATED = 201
# It writes at once, unless its disk is slow or full.
WRITTEN_S = 3.0
_LOOK_S = 0.02


def replace_lamps(planner: Planner, state: Path, texts: Sequence[str], *, note: str, port: int) -> None:
    """Record that lamps were replaced; each text is ``ZONE:FIXTURE`` or ``ZONE:FIXTURE:DATE``.

    Raises:
        click.BadParameter: a text that is none, or a fixture that the zone does not have.
        LeerieError: no zone has that id, the running daemon refuses or does not answer, or the journal cannot
            be written.
    """
    wanted = [_read_replaced(planner, text) for text in texts]
    journal = Journal(state)
    if not journal.path.exists():
        raise JournalError(f"there is no journal at {journal.path}; it begins with the first `leerie run`")
    try:
        journal.open()
    except AlreadyRunningError:
        known = len(list(JournalReader(state).replacements()))
        for zone, fixture, on_date in wanted:
            _send_to_daemon(port, {"zone": zone, "fixture": fixture, "on": on_date.isoformat(), "note": note})
        if not _await(JournalReader(state), known + len(wanted)):
            click.echo("recorded, but not written yet; the hours shown do not count it", err=True)
        return
    try:
        at = _read_clock(planner, journal)
        for zone, fixture, on_date in wanted:
            journal.append(Replacement(zone=zone, part=str(fixture), on_date=on_date, at=at, note=note))
        journal.flush()
    finally:
        journal.close()


def _read_replaced(planner: Planner, text: str) -> tuple[str, int, date]:
    """Read in which zone which fixture's lamps were replaced, and when."""
    match = _PATTERN.fullmatch(text)
    if match is None:
        words = f"{quote(text)} names no lamps; write ZONE:FIXTURE such as jetty:1, or jetty:1:2027-04-15"
        raise click.BadParameter(words, param_hint="--replaced")
    zone, fixture = planner.site.zone(match[1]), int(match[2])
    today = now_utc().astimezone(planner.tz).date()
    try:
        on_date = read_date(match[3]) if match[3] else today
        require_replaced(zone, fixture, on_date, today)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="--replaced") from None
    return zone.id, fixture, on_date


def _read_clock(planner: Planner, journal: Journal) -> Reading:
    """Read the clock as the daemon would, so that the entry says whether it was to be believed."""
    previous = journal.previous_run()
    floor_utc = (previous and previous.last_instant_utc) or RELEASED_UTC
    return SystemClock(believe=planner.site.clock.believe, floor_utc=floor_utc).read()


def _await(journal: JournalReader, wanted: int) -> bool:
    """Wait until the daemon has written so many replacements; False where its disk takes too long."""
    until_s = time.monotonic() + WRITTEN_S
    while len(list(journal.replacements())) < wanted:
        if time.monotonic() >= until_s:
            return False
        time.sleep(_LOOK_S)
    return True


def _send_to_daemon(port: int, replaced: dict[str, object]) -> None:
    """Have the daemon that holds the journal record a replacement."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=_TIMEOUT_S)
    headers = {"content-type": "application/json"}
    try:
        connection.request("POST", "/v1/replacements", json.dumps(replaced), headers)
        response = connection.getresponse()
        body = response.read()
    except (OSError, http.client.HTTPException) as error:
        raise LeerieError(f"a daemon writes this journal, but none answers on port {port} {error}") from error
    finally:
        connection.close()
    if response.status != _CREATED:
        try:
            detail = str(json.loads(body)["detail"])
        except (ValueError, KeyError, TypeError):
            detail = f"it answered {response.status}"
        raise LeerieError(f"the daemon on port {port} did not record it: {detail}")
