"""Pairing codes, kept in memory only: a person reads one from the board and types it into a phone, once."""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, replace

from api.access.credentials import Scope

# Letters and digits that neither look nor sound alike (common practice, no source): twelve are 46 bits.
ALPHABET = "2345679HKLMRWXY"
LENGTH = 12
_GROUP = 4
LASTS_S = 600.0
# After so many wrong tries a code is void. At 5 a minute nobody finds one of 2**46 within its time anyway.
MOST_WRONG = 10
# More than a household pairs at once; the oldest is void when another is made.
MOST_CODES = 8


@dataclass(frozen=True, kw_only=True, slots=True)
class PairingCode:
    """A code.

    Attributes:
        scope: what it permits.
        name: of the device; None where the device chooses it.
        by: who made the code.
        ends_boot_s: when it ends by the boot-time clock.
        wrong: wrong tries since it was made.
    """

    text: str
    scope: Scope
    name: str | None
    by: str
    ends_boot_s: float
    wrong: int = 0


class PairingCodes:
    """The codes that can be used now."""

    def __init__(self) -> None:
        self._open: list[PairingCode] = []

    def make(self, scope: Scope, *, name: str | None, by: str, boot_s: float) -> PairingCode:
        """Make a code, which ends ``LASTS_S`` from now."""
        letters = "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))
        text = "-".join(letters[at : at + _GROUP] for at in range(0, LENGTH, _GROUP))
        code = PairingCode(text=text, scope=scope, name=name, by=by, ends_boot_s=boot_s + LASTS_S)
        self._open = [*self._open[1 - MOST_CODES :], code]
        return code

    def find(self, typed: str, boot_s: float) -> PairingCode | None:
        """Find the code that somebody typed, in letters of either size and with blanks or hyphens anywhere.

        None where it is wrong, over or used: one more wrong try for every code.
        """
        self._open = [each for each in self._open if boot_s < each.ends_boot_s]
        plain, found = _plain(typed), None
        for each in self._open:
            if hmac.compare_digest(_plain(each.text), plain):
                found = each
        if found is None:
            counted = (replace(each, wrong=each.wrong + 1) for each in self._open)
            self._open = [each for each in counted if each.wrong < MOST_WRONG]
        return found

    def spend(self, code: PairingCode) -> None:
        """Use a code up: it counts once."""
        self._open = [each for each in self._open if each.text != code.text]


def _plain(text: str) -> bytes:
    return "".join(text.split()).replace("-", "").upper().encode("utf-8", "backslashreplace")
