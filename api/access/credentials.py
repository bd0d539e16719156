"""Tokens and sessions: what a device shows to be let in, and when that is over.

A secret is 256 bits of the system's generator. Only its SHA-256 is kept, which is enough for a secret that
nobody can guess (a password would need more). Sources: RFC 6750, sections 2.1 and 5.2; NIST SP 800-63B,
section 7.1.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import timedelta
from enum import StrEnum

from config.phrase import Phrase
from controller.records.reading import Reading

SECRET_BYTES = 32
DAY_S = 86_400.0
# A session that is not used for so long is over, and one so old in any case.
SESSION_IDLE_S = 30 * DAY_S
SESSION_S = 365 * DAY_S
LONGEST_NAME = 40
# How the board itself is named: no device may pass for it.
RESERVED_NAMES = frozenset({"this board", "command line", "the command line", "leerie", "api"})


class Scope(StrEnum):
    """What a device may do: read everything, change everything as well, or read the calendar alone."""

    READ = "read"
    CONTROL = "control"
    CALENDAR = "calendar"


class Kind(StrEnum):
    """How a device shows its permission: in the header Authorization, or as a page's cookie."""

    TOKEN = "token"  # noqa: S105 - a word, no secret
    SESSION = "session"


@dataclass(frozen=True, kw_only=True, slots=True)
class Credential:
    """A token or a session, without its secret.

    Attributes:
        id: its public name, for the list and to revoke it.
        sha256: of the secret, in hexadecimal digits.
        used: when it was shown last; None where it never was.
        token_id: of a session: the token that it was signed in with, and ends with; None for a code.
    """

    id: str
    kind: Kind
    scope: Scope
    name: str
    sha256: str
    made: Reading
    used: Reading | None = None
    token_id: str | None = None

    def is_over(self, now: Reading) -> bool:
        """Whether it is a session that has ended by itself; a token ends only when it is revoked.

        What nobody can tell, as the clock is not trusted after a power cut, ends nothing: the page is where
        a person confirms the clock.
        """
        if self.kind is not Kind.SESSION:
            return False
        age_s, idle_s = passed_s(self.made, now), passed_s(self.used or self.made, now)
        return (age_s is not None and age_s >= SESSION_S) or (idle_s is not None and idle_s >= SESSION_IDLE_S)

    def dated(self, now: Reading) -> Credential:
        """Give its times by a clock that is trusted now, where they were read from one that was not."""
        return replace(self, made=_dated(self.made, now), used=self.used and _dated(self.used, now))


def new_credential(
    *,
    kind: Kind,
    scope: Scope,
    name: str,
    now: Reading,
    token_id: str | None = None,
    taken: Iterable[str] = (),
) -> tuple[Credential, str]:
    """Make a credential, with an id that is not taken, and its secret, which is kept nowhere."""
    known = set(taken)
    while (public_id := secrets.token_hex(4)) in known:
        pass
    secret = secrets.token_urlsafe(SECRET_BYTES)
    credential = Credential(
        id=public_id, kind=kind, scope=scope, name=name, sha256=sha256_of(secret), made=now, token_id=token_id
    )
    return credential, secret


def find_shown(known: Iterable[Credential], secret: str) -> Credential | None:
    """Find the credential of a secret; every one is compared, each in constant time."""
    digest, found = sha256_of(secret), None
    for each in known:
        if hmac.compare_digest(each.sha256, digest):
            found = each
    return found


def sha256_of(secret: str) -> str:
    """Give the SHA-256 of a secret, in hexadecimal digits."""
    return hashlib.sha256(secret.encode("utf-8", "backslashreplace")).hexdigest()


def form_token(secret: str) -> str:
    """Give what each form of a page carries: derived from the session's secret, which no other site knows."""
    return hmac.new(secret.encode(), b"form", hashlib.sha256).hexdigest()


def checked_name(text: str) -> str:
    """Give the name of a device as it is kept, or refuse it.

    Raises:
        ValueError: it is empty or too long, has characters that cannot be seen, or is the board's own.
    """
    name = " ".join(text.split(" ")).strip()
    if not 1 <= len(name) <= LONGEST_NAME:
        what = Phrase(
            "a name has 1 to {most} characters; write one such as “kitchen phone”", most=LONGEST_NAME
        )
        raise ValueError(what)
    if not name.isprintable():
        raise ValueError(
            Phrase("a name has no line breaks or invisible characters; write one such as “kitchen phone”")
        )
    if name.casefold() in RESERVED_NAMES:
        raise ValueError(Phrase("“{name}” is how Leerie names itself; choose another name", name=name))
    return name


def passed_s(since: Reading, now: Reading) -> float | None:
    """Give the seconds between two readings: by the boot-time clock, else by two trusted times, else None."""
    if since.boot_id == now.boot_id:
        return now.boot_s - since.boot_s
    return (now.utc - since.utc).total_seconds() if since.trusted and now.trusted else None


def _dated(then: Reading, now: Reading) -> Reading:
    """Give an earlier reading by a clock that is trusted by now; in a later boot as if it were now."""
    if then.trusted or not now.trusted:
        return then
    if then.boot_id != now.boot_id:
        return now
    at_utc = now.utc - timedelta(seconds=now.boot_s - then.boot_s)
    return replace(then, utc=at_utc, trusted=True, trust=now.trust)
