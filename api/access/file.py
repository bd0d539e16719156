"""The file ``access.json`` of the state folder: every token and session, without their secrets.

The daemon is its one writer, and holds the lock on the state folder.
"""

from __future__ import annotations

import contextlib
import json
import logging
import math
import re
import secrets
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from api.access.credentials import Credential, Kind, Scope
from config.errors import AccessFileError
from config.file.atomic_write import write_atomically
from config.phrase import Phrase
from controller.records.reading import Reading

log = logging.getLogger(__name__)

VERSION = 1
_MODE = 0o600
_SHA256 = re.compile(r"[0-9a-f]{64}")
_ID = re.compile(r"[0-9a-f]{8}")


@dataclass(frozen=True, kw_only=True, slots=True)
class Saved:
    """What the file holds; ``instance`` names this daemon's cookies, since browsers' cookies ignore ports."""

    instance: str
    credentials: tuple[Credential, ...] = ()

    @classmethod
    def empty(cls) -> Saved:
        """Give what holds before anybody is let in."""
        return cls(instance=secrets.token_hex(4))


class AccessFile:
    """Reads and writes the file; ``path`` is None where nothing is kept, as in a demonstration."""

    def __init__(self, path: Path | None) -> None:
        self._path = path

    def read(self) -> tuple[Saved, str | None]:
        """Give what the file holds, and what was wrong with it, if anything.

        A damaged file is set aside as ``access.json.damaged``, and nobody is let in by it.

        Raises:
            AccessFileError: it cannot be read now, or a newer version wrote it; it stays as it is.
        """
        path = self._path
        if path is None:
            return Saved.empty(), None
        try:
            text = path.read_bytes()
            with contextlib.suppress(OSError):
                path.chmod(_MODE)
        except FileNotFoundError:
            return Saved.empty(), None
        except OSError as error:
            raise AccessFileError(
                Phrase(
                    "{path} cannot be read: {why}; nobody is let in by it",
                    path=str(path),
                    why=str(error.strerror),
                )
            ) from error
        try:
            return _parse(json.loads(text), path), None
        except (ValueError, KeyError, TypeError, OverflowError, RecursionError) as error:
            log.debug("what is wrong in %s: %s", path, error)
        aside = path.with_name(f"{path.name}.damaged")
        try:
            path.replace(aside)
        except OSError as error:
            raise AccessFileError(
                Phrase(
                    "{path} is damaged and cannot be set aside: {why}",
                    path=str(path),
                    why=str(error.strerror),
                )
            ) from error
        return Saved.empty(), f"{path} was damaged and is set aside as {aside.name}; pair every device again"

    def write(self, saved: Saved) -> None:
        """Write it, whole or not at all.

        Raises:
            AccessFileError: the disk is full, read-only or gone.
        """
        if self._path is None:
            return
        document = {
            "version": VERSION,
            "instance": saved.instance,
            "credentials": [asdict(each) for each in saved.credentials],
        }
        text = json.dumps(document, ensure_ascii=False, indent=1, default=datetime.isoformat)
        try:
            write_atomically(self._path, f"{text}\n".encode(), mode=_MODE)
        except OSError as error:
            raise AccessFileError(
                Phrase("{path} cannot be written: {why}", path=str(self._path), why=str(error.strerror))
            ) from error


def _parse(document: Any, path: Path) -> Saved:  # noqa: ANN401 - whatever JSON holds
    version = document["version"]
    if type(version) is not int:
        raise TypeError("the version is no number")
    if version > VERSION:
        raise AccessFileError(
            Phrase("{path} was written by a newer version of Leerie; nobody is let in by it", path=str(path))
        )
    if version != VERSION or not _ID.fullmatch(document["instance"]):
        raise ValueError("no version or no instance")
    credentials = tuple(_credential(each) for each in document["credentials"])
    if len({each.id for each in credentials}) != len(credentials):
        raise ValueError("an id stands twice")
    return Saved(instance=document["instance"], credentials=credentials)


def _credential(data: dict[str, Any]) -> Credential:
    if set(data) != {each.name for each in fields(Credential)}:
        raise ValueError("other members than a credential has")
    if not _ID.fullmatch(data["id"]) or not _SHA256.fullmatch(data["sha256"]):
        raise ValueError("no id or no hash")
    if not isinstance(data["name"], str) or not isinstance(data["token_id"], str | None):
        raise TypeError("a name or an id is no text")
    return Credential(
        **{
            **data,
            "kind": Kind(data["kind"]),
            "scope": Scope(data["scope"]),
            "made": _reading(data["made"]),
            "used": data["used"] and _reading(data["used"]),
        }
    )


def _reading(data: dict[str, Any]) -> Reading:
    if type(data["trusted"]) is not bool or not math.isfinite(data["boot_s"]):
        raise TypeError("a time is not one")
    return Reading(**{**data, "utc": datetime.fromisoformat(data["utc"]).astimezone(UTC)})
