"""Backups of the journal: made each night or on request, put in the place of a journal that is set aside.

A backup is an ordinary journal in one file, with no log beside it. To restore one by hand: stop Leerie, move
``journal.sqlite`` away together with its ``-wal`` and ``-shm`` files (left behind, they would be applied to
the backup), copy the backup there under that name, give it to the user that Leerie runs as, start Leerie.
"""

import contextlib
import os
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

from config.errors import JournalDamagedError, JournalError
from config.file.atomic_write import fsync, move_into_place
from config.phrase import Phrase
from controller.journal.database import (
    BACKUPS_NAME,
    backups_of,
    explain_error,
    files_of,
    find_damage,
    is_nothing,
    journal_errors,
    open_to_read,
)

# A backup may wait for another program; nothing waits for the backup.
COPY_BUSY_S = 5.0
BACKUPS_KEPT = 14
# Damaged journals that are kept. So many within a month mean that the disk spoils whatever it is given; then
# nothing more is moved, and none of those kept is dropped for a new one that would be spoilt as well.
QUARANTINES_KEPT = 12
MONTH = timedelta(days=30)
_STAMP = "%Y%m%dT%H%M%SZ"
# What backups may write to the card on an average night. A small journal is backed up every night, a larger
# one as seldom as this asks; with it, everything that Leerie writes stays under 1 MB a day. Our own choice.
COPIED_BYTES_PER_NIGHT = 512 * 1024


@dataclass(frozen=True, kw_only=True, slots=True)
class Quarantined:
    """What became of a damaged journal.

    Attributes:
        path: where it is now; None where there was no file any more.
        restored_from: the backup that took its place; None where the new journal began empty.
    """

    damage: str
    path: Path | None
    restored_from: Path | None

    def __str__(self) -> str:
        found = "the journal file was empty or gone"
        if self.path is not None:
            found = f"the journal was damaged ({self.damage}) and is set aside as {self.path.name}"
        backup = f"from the backup {self.restored_from.name}" if self.restored_from else ""
        return f"{found}; a new one was started {backup or 'empty: no good backup was found'}"


def back_up(path: Path, night_date: date) -> Path | None:
    """Make the night's backup in the folder ``backups``, check it, and drop the oldest.

    None is made where the last one is recent enough for a journal of this size.

    Raises:
        JournalError: the backup could not be made; the earlier ones stay.
    """
    folder = path.parent / BACKUPS_NAME
    target = folder / f"journal-{night_date}.sqlite"
    with journal_errors(path):
        nights = 1 + path.stat().st_size // COPIED_BYTES_PER_NIGHT
        lately = (night_date - timedelta(days=days) for days in range(nights))
        if any((folder / f"journal-{night}.sqlite").exists() for night in lately):
            return None
        folder.mkdir(exist_ok=True)
        copy_to(path, target)
        for old in backups_of(path)[BACKUPS_KEPT:]:
            old.unlink()
    return target


def copy_to(path: Path, target: Path) -> None:
    """Write a consistent backup of a journal, live or not, to a file that does not exist yet.

    Nobody who writes to the journal meanwhile is held up. The target is there whole or not at all.

    Raises:
        JournalError: it could not be made.
    """
    if target.exists():
        raise JournalError(f"{target} exists already; choose another file")
    try:
        with _unfinished(target) as part:
            with open_to_read(path, busy_s=COPY_BUSY_S, any_version=True) as connection:
                connection.execute("VACUUM INTO ?", (str(part),))
            if damage := find_damage(part):
                raise JournalError(f"the backup {target} came out damaged ({damage}); try another disk")
    except (sqlite3.Error, OSError) as error:
        if isinstance(error, JournalError):
            raise
        meaning = explain_error(error, path)
        if isinstance(meaning, JournalDamagedError):
            raise meaning from error
        raise JournalError(f"the backup {target} was not made: {error}") from error


@contextlib.contextmanager
def _unfinished(target: Path) -> Iterator[Path]:
    """Give the path to write a file under; it takes the place of ``target`` whole or not at all."""
    part = target.with_name(target.name + ".part")
    part.unlink(missing_ok=True)
    try:
        yield part
        fsync(part)
        move_into_place(part, target)
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def quarantine(path: Path, at_utc: datetime) -> Path | None:
    """Move a journal away whole, under a name with the instant in it, which is given if there was a file.

    Raises:
        JournalError: so many were set aside within a month that the disk must be spoiling them.
        OSError: it could not be moved.
    """
    others = sorted(path.parent.glob("set-aside-*.sqlite"), reverse=True)
    month_ago, now, in_a_month = (f"set-aside-{at_utc + by:{_STAMP}}" for by in (-MONTH, timedelta(0), MONTH))
    if len(others) >= QUARANTINES_KEPT and month_ago < others[QUARANTINES_KEPT - 1].name < in_a_month:
        raise JournalError(
            Phrase(
                "{kept} damaged journals were set aside in {folder} within a month: the disk spoils them; "
                "replace it, then move the files set-aside-* away",
                kept=QUARANTINES_KEPT,
                folder=str(path.parent),
            )
        )
    moved_to = path.with_name(f"{now}.sqlite")
    number = 1
    while moved_to.exists():
        number += 1
        moved_to = path.with_name(f"{now}-{number}.sqlite")
    # The log goes first: a file without its log is only older, a log without its file is thrown away.
    for part, moved in zip(files_of(path), files_of(moved_to), strict=True):
        if part.exists():
            part.rename(moved)
    fsync(path.parent)
    for old in others[QUARANTINES_KEPT - 1 :]:
        clear_away(old)
    return moved_to if moved_to.exists() else None


def clear_away(path: Path) -> None:
    """Remove a journal with its log: one that holds nothing, could not be begun, or was kept long enough."""
    for part in files_of(path):
        part.unlink(missing_ok=True)


def restore_from_backup(path: Path) -> Path | None:
    """Put the newest good backup in the place of a journal that is gone, and give it; None without one.

    Raises:
        JournalError: the journal came back meanwhile; it stays.
    """
    for copy in backups_of(path):
        if _is_good(copy):
            put_in_place(copy, path)
            return copy
    return None


def _is_good(copy: Path) -> bool:
    with contextlib.suppress(JournalError):
        return find_damage(copy) is None
    return False


def restore(copy: Path, path: Path, at_utc: datetime) -> Path | None:
    """Put a backup in the place of the journal; no keeper may run meanwhile. See ``quarantine``.

    Raises:
        JournalError: the backup is no file or damaged, or could not be put there.
    """
    if copy.is_dir():
        newest = max(copy.glob("journal*.sqlite"), default=None)
        raise JournalError(
            f"{copy} is a folder; give the backup in it{f', such as {newest}' if newest else ''}"
        )
    if not copy.is_file():
        raise JournalError(f"{copy} is no file; give the file of a backup")
    if damage := find_damage(copy):
        raise JournalError(f"the backup {copy} is damaged ({damage}); use an older one")
    with journal_errors(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        moved_to = quarantine(path, at_utc)
        put_in_place(copy, path)
    return moved_to


def put_in_place(copy: Path, path: Path) -> None:
    """Copy a file to the journal's path, whole or not at all; nothing may be there."""
    with _unfinished(path) as part:
        shutil.copyfile(copy, part)
        # Put there by root, it must still be the service's to write.
        owner = path.parent.stat()
        if os.geteuid() == 0:
            os.chown(part, owner.st_uid, owner.st_gid)
        if not is_nothing(path):
            raise JournalError(
                Phrase(
                    "a journal came back to {path} while the backup {backup} was restored",
                    path=str(path),
                    backup=copy.name,
                )
            )
