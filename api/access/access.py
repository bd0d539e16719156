"""Who is let in: codes become tokens and sessions, which are found again, listed and revoked."""

from __future__ import annotations

import logging
import secrets
import threading
from collections.abc import Callable
from dataclasses import replace
from math import ceil
from pathlib import Path

from api.access.client import Client
from api.access.codes import PairingCode, PairingCodes
from api.access.credentials import (
    Credential,
    Kind,
    Scope,
    find_shown,
    new_credential,
    passed_s,
)
from api.access.file import AccessFile, Saved
from api.access.tries import FailedTries
from config.errors import AccessError, AccessFileError, TooManyTriesError
from config.phrase import Phrase
from controller.records.entries import EventKind
from controller.records.reading import Reading

log = logging.getLogger(__name__)

# When a device was last seen is written at most so often: the file lies on a memory card.
USED_WRITTEN_S = 3600.0
# A file that could not be read is tried again after so long.
READ_AGAIN_S = 10.0
MOST_CREDENTIALS = 200
_MAY = {Scope.CONTROL: "may control", Scope.READ: "may read", Scope.CALENDAR: "may read the calendar"}


class Access:
    """Every token, session and pairing code; for the threads of the web server.

    Args:
        path: of the file; None where nothing is kept.
        record: tells the journal what happened, in words without any secret.
        in_background: has something done that nobody waits for.

    Attributes:
        fault: why the file cannot be read or written, or that it was damaged; None where all is well.
        tries: counts the failed ones.
    """

    def __init__(
        self,
        path: Path | None = None,
        *,
        record: Callable[[EventKind, str, Reading], None] = lambda _kind, _words, _at: None,
        in_background: Callable[[Callable[[], None]], object] = lambda work: work(),
    ) -> None:
        self.fault: str | None = None
        self.tries = FailedTries()
        self._file = AccessFile(path)
        self._record = record
        self._in_background = in_background
        self._codes = PairingCodes()
        # Held by whoever changes what is saved. Readers take what is there: it is only ever replaced.
        self._lock = threading.Lock()
        self._counting = threading.Lock()
        self._saved = Saved.empty()
        self._is_read = False
        self._read_boot_s = 0.0
        self._used: dict[str, Reading] = {}
        self._used_written_boot_s: float | None = None
        # For the forms of the board's own page, which needs no session.
        self.board_secret = secrets.token_urlsafe()
        with self._lock:
            self._read()

    @property
    def instance(self) -> str:
        """Names this daemon's cookies."""
        return self._saved.instance

    # -- requests --------------------------------------------------------------------------------------------

    def find(self, secret: str, kind: Kind, now: Reading) -> Credential | None:
        """Find the token or session that somebody shows, and note that it was used; None where it is none."""
        if not self._is_read and now.boot_s - self._read_boot_s >= READ_AGAIN_S:
            self._read_boot_s = now.boot_s
            self._in_background(self._read_again)
        found = find_shown((each for each in self._saved.credentials if each.kind is kind), secret)
        if found is None or self._as_used(found).is_over(now):
            return None
        self._used[found.id] = now
        self._write_used_soon(found, now)
        return found

    def is_in_force(self, client: Client, now: Reading) -> bool:
        """Whether what a client showed earlier still counts: it was not revoked, and has not ended."""
        shown = client.session_id or client.token_id
        return shown is None or any(each.id == shown for each in self.credentials(now))

    def opens_calendar(self, secret: str, *, address: str, now: Reading) -> bool:
        """Whether the secret of an address for subscribers is that of a token for the calendar alone."""
        token = self.find(secret, Kind.TOKEN, now)
        if token is not None and token.scope is Scope.CALENDAR:
            return True
        self.note_failure("wrong calendar address", address, now)
        return False

    def note_failure(self, what: str, address: str, now: Reading) -> None:
        """Count that somebody showed what does not count; the journal is told where that is new."""
        with self._counting:
            is_new = self.tries.add(what, address, now.boot_s)
        if is_new:
            count = f"{self.tries.count} failed {'try' if self.tries.count == 1 else 'tries'} since the start"
            self._record(EventKind.ACCESS_REFUSED, f"{what} from {address} ({count})", now)

    # -- changes ---------------------------------------------------------------------------------------------

    def make_code(self, scope: Scope, *, name: str | None, by: str, now: Reading) -> PairingCode:
        """Make a pairing code.

        Raises:
            AccessFileError: what becomes of it could not be saved, as the file cannot be read.
        """
        with self._lock:
            self._require_read()
            code = self._codes.make(scope, name=name, by=by, boot_s=now.boot_s)
        log.info("a pairing code was made by %s (%s)", by, _MAY[scope])
        return code

    def pair(
        self,
        typed: str,
        kind: Kind,
        *,
        name: str | None,
        address: str,
        now: Reading,
        replaces: str | None = None,
    ) -> tuple[Credential, str]:
        """Make a token or session of a pairing code, which is used up, and give it with its secret.

        The name that was chosen with the code counts, else the device's own. A session that it ``replaces``
        is over.

        Raises:
            AccessError: the code is wrong, over, or was used.
            TooManyTriesError: too many wrong ones came within a minute, from whomever.
            AccessFileError: it cannot be saved; the code stays good.
        """
        with self._lock:
            if wait_s := ceil(self.tries.wait_s(now.boot_s)):
                raise TooManyTriesError(
                    Phrase("too many wrong codes; try again in {wait} s", wait=wait_s), wait_s=wait_s
                )
            code = self._codes.find(typed, now.boot_s)
            if code is None:
                self.tries.add_wrong_code(now.boot_s)
                self.note_failure("wrong pairing code", address, now)
                raise AccessError(
                    Phrase("the code is wrong, over or used already; have the board show another")
                )
            if kind is Kind.SESSION and code.scope is Scope.CALENDAR:
                raise AccessError(
                    Phrase("this code is for a calendar, not for a page; have the board show another")
                )
            name = code.name or name or f"device at {address}"
            made = self._add(kind, code.scope, name, now, replaces=replaces)
            self._codes.spend(code)
        self._tell_given(made[0], f"by a pairing code of {code.by}, from {address}", now)
        return made

    def sign_in(
        self, secret: str, *, address: str, now: Reading, replaces: str | None = None
    ) -> tuple[Credential, str]:
        """Make a session of a token, which may do the same and ends with it, and give it with its secret.

        Raises:
            AccessError: there is no such token.
            AccessFileError: it cannot be saved.
        """
        token = self.find(secret, Kind.TOKEN, now)
        if token is None or token.scope is Scope.CALENDAR:
            self.note_failure("sign-in with a wrong token", address, now)
            raise AccessError(Phrase("there is no such token, or it was revoked; pair this device again"))
        with self._lock:
            made = self._add(Kind.SESSION, token.scope, token.name, now, token_id=token.id, replaces=replaces)
        self._tell_given(made[0], f"signed in with token {token.id}, from {address}", now)
        return made

    def revoke(self, public_id: str, *, by: str, now: Reading) -> Credential | None:
        """End a token with its sessions, or a session; give it, or None where there is none.

        Raises:
            AccessFileError: it counts no longer, but comes back when Leerie starts again: it cannot be saved.
        """
        with self._lock:
            self._require_read()
            found = next((each for each in self._saved.credentials if each.id == public_id), None)
            if found is None:
                return None
            gone = {each.id for each in self._saved.credentials if public_id in (each.id, each.token_id)}
            left = tuple(each for each in self._saved.credentials if each.id not in gone)
            self._saved = replace(self._saved, credentials=left)
            self._record(EventKind.ACCESS_REVOKED, f"{found.name} ({found.id}), by {by}", now)
            try:
                self._write(now)
            except AccessFileError as error:
                words = Phrase(
                    "{fault}; {name} is shut out only until Leerie starts again",
                    fault=str(error),
                    name=found.name,
                )
                raise AccessFileError(words) from error
        return found

    def credentials(self, now: Reading) -> list[Credential]:
        """List what is in force, with when each was used last."""
        return [each for each in map(self._as_used, self._saved.credentials) if not each.is_over(now)]

    # -- the file --------------------------------------------------------------------------------------------

    def _as_used(self, credential: Credential) -> Credential:
        used = self._used.get(credential.id)
        return credential if used is None else replace(credential, used=used)

    def _add(
        self,
        kind: Kind,
        scope: Scope,
        name: str,
        now: Reading,
        *,
        token_id: str | None = None,
        replaces: str | None = None,
    ) -> tuple[Credential, str]:
        """Save one more; the lock is held."""
        self._require_read()
        known = [each for each in self.credentials(now) if each.id != replaces]
        if len(known) >= MOST_CREDENTIALS:
            raise AccessError(
                Phrase("{count} devices are let in already; revoke those that are not used", count=len(known))
            )
        made = new_credential(
            kind=kind, scope=scope, name=name, now=now, token_id=token_id, taken=[each.id for each in known]
        )
        before = self._saved
        kept = (each for each in before.credentials if each.id != replaces)
        self._saved = replace(before, credentials=(*kept, made[0]))
        try:
            self._write(now)
        except AccessFileError:
            self._saved = before
            raise
        return made

    def _write(self, now: Reading) -> None:
        """Write what is in force; the lock is held."""
        kept = tuple(each.dated(now) for each in self.credentials(now))
        self._saved = replace(self._saved, credentials=kept)
        self._used_written_boot_s = now.boot_s
        try:
            self._file.write(self._saved)
        except AccessFileError as error:
            if self.fault != str(error):
                log.error("%s", error)
            self.fault = str(error)
            raise
        self.fault = None

    def _write_used_soon(self, found: Credential, now: Reading) -> None:
        """Have it written when a device was used, at most once an hour."""
        ago_s = None if found.used is None else passed_s(found.used, now)
        last_s = self._used_written_boot_s
        if (ago_s is not None and ago_s < USED_WRITTEN_S) or (
            last_s is not None and now.boot_s - last_s < USED_WRITTEN_S
        ):
            return
        self._used_written_boot_s = now.boot_s
        self._in_background(lambda: self._write_used(now))

    def _write_used(self, now: Reading) -> None:
        with self._lock:
            try:
                self._write(now)
            except AccessFileError:
                return  # it was said; the next hour tries again

    def _require_read(self) -> None:
        """Read the file if it could not be read yet: writing now would lose what it holds."""
        if not self._is_read:
            self._read()
        if not self._is_read:
            raise AccessFileError(self.fault or Phrase("the file of who is let in cannot be read"))

    def _read_again(self) -> None:
        with self._lock:
            if not self._is_read:
                self._read()

    def _read(self) -> None:
        try:
            self._saved, fault = self._file.read()
            self._is_read = True
        except AccessFileError as error:
            fault = str(error)
        if fault is not None and fault != self.fault:
            log.error("%s", fault)
        self.fault = fault

    def _tell_given(self, made: Credential, how: str, now: Reading) -> None:
        self._record(EventKind.ACCESS_GIVEN, f"{made.name} ({made.id}) {_MAY[made.scope]}, {how}", now)
