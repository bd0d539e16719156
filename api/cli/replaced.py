"""``leerie replaced``: records that lamps or a relay were replaced, by a running daemon or directly."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from api.cli.daemon_client import NoDaemonError, ask_daemon
from api.cli.options import (
    date_option,
    json_option,
    load,
    port_option,
    print_json,
    read_journal,
    site_argument,
    state_option,
)
from api.render.replacements_json import ReplacementResponse, replacement_response
from config.errors import AlreadyRunningError, JournalError, LeerieError
from config.file.fixture_ids import write_fixture_id
from controller.calendar.night import zone_info
from controller.clock.clock import now_utc
from controller.journal.journal import Journal
from controller.journal.previous_run import PreviousRun
from controller.lamps.replacements import Part, find_part, record, require_past, undo
from controller.records.entries import Entry, Replacement

if TYPE_CHECKING:
    from config.models.site import Site
    from controller.records.reading import Reading

# It writes at once, unless its disk is slow or full.
WRITTEN_S = 3.0
_LOOK_S = 0.02


@click.command("replaced", short_help="Record that lamps or a relay were replaced.")
@site_argument
@click.argument("zone_id", metavar="ZONE")
@click.argument("part_text", metavar="FIXTURE|relay")
@date_option("--on", "on_date", about="The day on which it was replaced; default: today.")
@click.option("--note", default="", metavar="TEXT", help="A note on it.")
@click.option("--undo", "is_undo", is_flag=True, help="Take back what was recorded for that day.")
@json_option
@state_option
@port_option("Port of a running daemon, which then records it; default: as in the site file.")
def replaced(
    *,
    site_path: Path,
    zone_id: str,
    part_text: str,
    on_date: date | None,
    note: str,
    is_undo: bool,
    as_json: bool,
    state: Path,
    port: int | None,
) -> None:
    """Record that the lamps of a fixture, or the relay of a zone, were replaced.

    FIXTURE is the fixture's id, or its place in the zone, from 1. Its hours, or the relay's cycles, count
    from that night on. A fixture without an id gets one, which is written into the site file.
    """
    site = load(site_path).site
    today = now_utc().astimezone(zone_info(site.time_zone)).date()
    zone, on_date = site.zone(zone_id), on_date or today
    try:
        part = find_part(zone, part_text)
        require_past(on_date, today)
    except ValueError as error:
        raise click.UsageError(str(error)) from None
    journal = Journal(state)
    if not journal.path.exists():
        raise JournalError(f"there is no journal at {journal.path}; it begins with the first `leerie run`")
    change = _Change(site_path=site_path, site=site, part=part, on_date=on_date, note=note)
    try:
        journal.open()
    except AlreadyRunningError:
        port = port or site.network.port
        document = change.undo_by_daemon(state, port) if is_undo else change.record_by_daemon(state, port)
    else:
        with contextlib.closing(journal):
            document = change.undo(journal) if is_undo else change.record(journal)
    if as_json:
        print_json(document)
        return
    click.echo(f"{'Taken back' if is_undo else 'Recorded'}: {document.id}.")
    if part.id is None and not is_undo:
        click.echo(f"Fixture {part.place} of zone {zone.id} has the id “{document.part}” in {site_path} now.")


@dataclass(frozen=True, kw_only=True)
class _Change:
    """A replacement to be recorded or taken back; each way gives the document that describes it."""

    site_path: Path
    site: Site
    part: Part
    on_date: date
    note: str

    def record(self, journal: Journal) -> ReplacementResponse:
        """Record it in a journal that nobody else writes."""
        site, part = self.site, self.part
        if part.id is None and part.place is not None:
            site = write_fixture_id(self.site_path, part.zone.id, part.place).site
            part = find_part(site.zone(part.zone.id), str(part.place))
        at = _read_clock(site, journal)
        wanted = part.replaced(self.on_date, at=at, note=self.note)
        known = {each.id: each for each in read_journal(journal.path, site).replacements()}
        stands, entries = record(site, wanted, known.get(wanted.id))
        _write(journal, entries)
        return replacement_response(site, stands)

    def undo(self, journal: Journal) -> ReplacementResponse:
        """Take it back in a journal that nobody else writes."""
        known = self._find(journal.path)
        _write(journal, undo(self.site, known, _read_clock(self.site, journal)))
        return replacement_response(self.site, known)

    def record_by_daemon(self, state: Path, port: int) -> ReplacementResponse:
        """Have the daemon that holds the journal record it."""
        body = {
            "zone": self.part.zone.id,
            "part": self.part.id or self.part.place,
            "on": self.on_date.isoformat(),
            "note": self.note,
        }
        document = ReplacementResponse.model_validate_json(_ask(port, "POST", "/v1/replacements", body))
        self._await(state, document.id, wanted=True)
        return document

    def undo_by_daemon(self, state: Path, port: int) -> ReplacementResponse:
        """Have the daemon that holds the journal take it back."""
        known = self._find(state)
        _ask(port, "DELETE", f"/v1/replacements/{known.id}")
        self._await(state, known.id, wanted=False)
        return replacement_response(self.site, known)

    def _find(self, place: Path) -> Replacement:
        """Find what is to be taken back."""
        part = self.part.id or str(self.part.place)
        source = read_journal(place, self.site)
        known = [each for each in source.replacements(self.part.zone.id) if each.part == part]
        for each in known:
            if each.on_date == self.on_date:
                return each
        what = f"zone {self.part.zone.id}, {part}"
        has = f"recorded: {', '.join(each.id for each in known)}" if known else f"nor any other of {what}"
        raise LeerieError(f"no replacement {self.part.zone.id}.{part}.{self.on_date} is recorded; {has}")

    def _await(self, state: Path, replacement_id: str, *, wanted: bool) -> None:
        """Wait until the daemon has written it; say so where its disk takes too long."""
        until_s = time.monotonic() + WRITTEN_S
        source = read_journal(state, self.site)
        while (replacement_id in (each.id for each in source.replacements())) is not wanted:
            if time.monotonic() >= until_s:
                click.echo(
                    "not written yet, as the disk is slow or full; the daemon goes on trying", err=True
                )
                return
            time.sleep(_LOOK_S)


def _write(journal: Journal, entries: list[Entry]) -> None:
    for entry in entries:
        journal.append(entry)
    journal.flush()


def _read_clock(site: Site, journal: Journal) -> Reading:
    """Read the clock as the daemon would, so that the entry says whether it was to be believed."""
    return (journal.previous_run() or PreviousRun()).make_clock(site.clock.believe).read()


def _ask(port: int, method: str, path: str, body: Mapping[str, object] | None = None) -> bytes:
    """Ask the daemon that holds the journal."""
    try:
        return ask_daemon(port, method, path, body)
    except NoDaemonError as error:
        raise LeerieError(f"a daemon writes this journal, but {error}; name its port with --port") from error
