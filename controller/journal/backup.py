"""Care for the journal's file: copies of it, setting a damaged one aside, beginning a fresh one.

A copy is an ordinary journal in one file, with no log beside it. To put one back by hand: stop Leerie, move
``journal.sqlite`` away together with ``journal.sqlite-wal`` and ``journal.sqlite-shm`` where they exist, copy
the copy there under the name ``journal.sqlite``, give it to the user that Leerie runs as, start Leerie. The
log must go with the file that it belongs to: left behind, it would be applied to the copy. ``restore`` does
the same.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from config.errors import JournalDamagedError, JournalError
from controller.journal.database import BACKUPS_NAME, beside, copies_of, explain, open_to_read
from controller.journal.integrity import damage_of

# A copy may wait for another program; nothing waits for the copy.
COPY_BUSY_S = 5.0
CHUNK_BYTES = 1 << 20
BACKUPS_KEPT = 14
# Damaged journals that are kept. So many within a month mean that the disk spoils whatever it is given; then
# nothing more is moved, and none of those kept is dropped for a fresh one that would be spoilt as well.
SETS_ASIDE_KEPT = 12
MONTH = timedelta(days=30)
# What copies may cost the card on an average night. A small journal is copied every night, a larger one as
# seldom as this asks; with it, everything that Leerie writes stays under 1 MB a day. Our own choice.
COPIED_BYTES_PER_NIGHT = 512 * 1024


@dataclass(frozen=True, kw_only=True, slots=True)
class Quarantined:
    """What became of a damaged journal.

    Attributes:
        damage: what was wrong with it.
        path: where it lies now; None where there was no file any more.
        begun_from: the copy that the fresh journal was begun from; None where it began empty.
    """

    damage: str
    path: Path | None
    begun_from: Path | None

    def __str__(self) -> str:
        """Say it in one sentence."""
        aside = f"set aside as {self.path.name}" if self.path else "gone"
        begun = f"the copy {self.begun_from.name}" if self.begun_from else "nothing, no good copy was found"
        return f"the journal was damaged ({self.damage}) and is {aside}; a fresh one was begun from {begun}"


def back_up(path: Path, night_date: date) -> Path | None:
    """Make the night's copy in the folder ``backups``, see that it is whole, and drop the oldest.

    Returns:
        The copy; None where the last one is recent enough for a journal of this size.

    Raises:
        JournalError: the copy could not be made; the earlier ones stand.
    """
    folder = path.parent / BACKUPS_NAME
    copy = folder / f"journal-{night_date.isoformat()}.sqlite"
    try:
        nights = 1 + path.stat().st_size // COPIED_BYTES_PER_NIGHT
        earlier = [_night_of(other) for other in copies_of(path) if other != copy]
        if copy.exists() or any(0 < (night_date - night).days < nights for night in earlier if night):
            return None
        folder.mkdir(exist_ok=True)
        copy_to(path, copy)
        for old in copies_of(path)[BACKUPS_KEPT:]:
            old.unlink()
    except JournalError:
        raise
    except OSError as error:
        raise explain(error, path) from error
    return copy


def copy_to(path: Path, target: Path) -> None:
    """Write a consistent copy of a journal, live or not, to a file that does not exist yet.

    Nobody who writes to the journal meanwhile is held up. The target is there whole or not at all.

    Raises:
        JournalError: it could not be made.
    """
    if target.exists():
        raise JournalError(f"{target} exists already; name another file")
    part = target.with_name(target.name + ".part")
    try:
        part.unlink(missing_ok=True)
        with contextlib.closing(open_to_read(path, busy_s=COPY_BUSY_S, any_version=True)) as connection:
            connection.execute("VACUUM INTO ?", (str(part),))
        damage = damage_of(part)
        if damage:
            raise JournalError(f"the copy {target} came out wrong ({damage}); try another disk")
        _settle(part, target)
    except (sqlite3.Error, OSError) as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        if isinstance(error, JournalError):
            raise
        meaning = explain(error, path)
        if isinstance(meaning, JournalDamagedError):
            raise meaning from error
        raise JournalError(f"the copy {target} was not made: {error}") from error


def quarantine(path: Path, at_utc: datetime) -> Path | None:
    """Move a journal away whole, under a name with the instant in it; keep the newest of such.

    Returns:
        Where it lies now; None where there was no file.

    Raises:
        JournalError: so many were set aside within a month that the disk must be spoiling them.
        OSError: it could not be moved.
    """
    others = sorted(path.parent.glob("set-aside-*.sqlite"), reverse=True)
    if len(others) >= SETS_ASIDE_KEPT and abs(at_utc - _moment_of(others[SETS_ASIDE_KEPT - 1])) < MONTH:
        raise JournalError(
            f"{SETS_ASIDE_KEPT} damaged journals were set aside in {path.parent} within a month; "
            f"the disk spoils them: replace it, then move the files set-aside-* away"
        )
    stamp = at_utc.strftime("%Y%m%dT%H%M%SZ")
    aside = path.with_name(f"set-aside-{stamp}.sqlite")
    number = 1
    while aside.exists():
        number += 1
        aside = path.with_name(f"set-aside-{stamp}-{number}.sqlite")
    # The log goes first: a file without its log is only older, a log without its file is thrown away.
    for part, moved in zip(beside(path), beside(aside), strict=True):
        if part.exists():
            part.rename(moved)
    existed = path.exists()
    if existed:
        path.rename(aside)
    _sync(path.parent)
    for old in others[SETS_ASIDE_KEPT - 1 :]:
        for part in (*beside(old), old):
            part.unlink(missing_ok=True)
    return aside if existed else None


def clear_away(path: Path) -> None:
    """Remove what is left of a journal that holds nothing, or could not be begun."""
    for part in (*beside(path), path):
        part.unlink(missing_ok=True)


def restore_from_backup(path: Path) -> Path | None:
    """Put the newest copy that is whole in the place of a journal that is gone.

    Returns:
        The copy that was taken; None where there is no good one, and then no journal either.

    Raises:
        OSError: it could not be put there.
    """
    for copy in copies_of(path):
        try:
            damage = damage_of(copy)
        except JournalError:
            continue
        if damage is None:
            put_in_place(copy, path)
            return copy
    return None


def restore(copy: Path, path: Path, at_utc: datetime) -> Path | None:
    """Put a copy in the place of the journal, which is set aside. No keeper may run meanwhile.

    Returns:
        Where the earlier journal lies now; None where there was none.

    Raises:
        JournalError: the copy is no file or damaged, or could not be put there.
    """
    if not copy.is_file():
        remedy = f"name the copy in it{_such_as(copy)}" if copy.is_dir() else "name the file of a copy"
        raise JournalError(f"{copy} is {'a folder' if copy.is_dir() else 'no file'}; {remedy}")
    damage = damage_of(copy)
    if damage:
        raise JournalError(f"the copy {copy} is damaged ({damage}); take an older one")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        aside = quarantine(path, at_utc)
        put_in_place(copy, path)
    except JournalError:
        raise
    except OSError as error:
        raise explain(error, path) from error
    return aside


def _such_as(folder: Path) -> str:
    """Name the newest copy in a folder, where there is one."""
    copies = sorted(folder.glob("journal*.sqlite"), reverse=True)
    return f", such as {copies[0]}" if copies else ""


def put_in_place(copy: Path, path: Path) -> None:
    """Copy a file to where the journal lies, whole or not at all."""
    part = path.with_name(path.name + ".part")
    try:
        with copy.open("rb") as source, part.open("wb") as sink:
            while chunk := source.read(CHUNK_BYTES):
                sink.write(chunk)
        # Put there by root, it must still be the service's to write.
        owner = path.parent.stat()
        if os.geteuid() == 0:
            os.chown(part, owner.st_uid, owner.st_gid)
        _settle(part, path)
    except OSError:
        part.unlink(missing_ok=True)
        raise


def _settle(part: Path, target: Path) -> None:
    """Have a finished file reach the disk, then give it its name."""
    with part.open("rb") as file:
        os.fsync(file.fileno())
    part.replace(target)
    _sync(target.parent)


def _sync(folder: Path) -> None:
    """Have the names in a folder reach the disk."""
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _moment_of(aside: Path) -> datetime:
    """Read when a journal was set aside from its name; long ago where somebody named it otherwise."""
    try:
        return datetime.strptime(aside.stem.split("-")[2], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
    except (ValueError, IndexError):
        return datetime.min.replace(tzinfo=UTC)


def _night_of(copy: Path) -> date | None:
    """Read the night from a copy's name; None where somebody named it otherwise."""
    try:
        return date.fromisoformat(copy.stem.removeprefix("journal-"))
    except ValueError:
        return None
