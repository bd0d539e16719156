"""Looks at the journal and its disk; neither a lock nor a file beside the journal is made."""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.doctor.board import user_name
from config.errors import JournalError
from controller.clock.kernel import read_line
from controller.doctor.storage import DiskFacts, JournalFacts, Written
from controller.journal.backup import COPIED_BYTES_PER_NIGHT
from controller.journal.database import (
    backups_of,
    find_damage,
    is_nothing,
    journal_errors,
    journal_path,
    open_to_read,
)
from controller.journal.lock import LOCK_NAME, name_of
from controller.journal.previous_run import PreviousRun, previous_run_in
from controller.journal.reader import began_in
from controller.journal.schema import STEPS

if TYPE_CHECKING:
    from api.web.schemas.status import JournalResponse

# Over a shorter time a day's bytes say nothing.
_LEAST_WITHIN_S = 3600.0
_SECTOR_BYTES = 512
_STARTED, _SECTORS_WRITTEN = 21, 6
"""Where /proc/PID/stat (proc(5)) has the start of a process, and a block device's stat (Linux
Documentation/block/stat.rst) what was written, each counted from 0."""


def is_kept(state: Path, *, root: Path) -> bool:
    """Whether a keeper has locked a state folder: read from the kernel's list, not tried."""
    name = name_of(state).decode().replace("\0", "@")
    with suppress(OSError):
        return any(line.endswith(name) for line in (root / "proc/net/unix").read_text().splitlines())
    return False


def find_journal(
    state: Path, told: JournalResponse | None, *, kept: bool
) -> tuple[JournalFacts, PreviousRun]:
    """Look at the journal of a state folder, and at what it knows of the clock.

    Args:
        state: the folder.
        told: what the running keeper says of it.
        kept: whether a keeper has locked the folder.
    """
    path = journal_path(state)
    folder = path.parent
    found = _Found(path=path, told=told)
    if folder.exists() and not os.access(folder, os.R_OK | os.X_OK):
        return found.facts(readable=False), PreviousRun()
    if is_nothing(path):
        return found.facts(exists=False, kept_elsewhere=told is not None and not kept), PreviousRun()
    try:
        if damage := find_damage(path):
            return found.facts(damage=damage), PreviousRun()
        with journal_errors(path), open_to_read(path, any_version=True) as connection:
            (version,) = connection.execute("PRAGMA user_version").fetchone()
            if version != len(STEPS):
                return found.facts(version=version), PreviousRun()
            previous = previous_run_in(connection)
            # The log holds pages that the file lacks.
            (size_bytes,) = connection.execute(
                "SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()"
            ).fetchone()
            first_utc = began_in(connection)
    except JournalError as error:
        return found.facts(unreadable=str(error)), PreviousRun()
    facts = found.facts(first_utc=first_utc, last_utc=previous.last_instant_utc, size_bytes=size_bytes)
    return facts, previous


@dataclass(frozen=True, kw_only=True, slots=True)
class _Found:
    """What holds of a journal whatever is in it."""

    path: Path
    told: JournalResponse | None

    def facts(self, **more: object) -> JournalFacts:
        path, told = self.path, self.told
        size_bytes, owner, backup, set_aside = 0, "", None, 0
        folder_owner = user_name(path.parent.stat().st_uid) if path.parent.exists() else ""
        with suppress(OSError):
            status = path.stat()
            size_bytes, owner = status.st_size, user_name(status.st_uid)
        with suppress(OSError, ValueError):
            set_aside = len(list(path.parent.glob("set-aside-*.sqlite")))
            newest = next(iter(backups_of(path)), None)
            backup = None if newest is None else date.fromisoformat(newest.stem.removeprefix("journal-"))
        values: dict[str, object] = {
            "path": str(path),
            "owner": owner,
            "folder_owner": folder_owner,
            "version": len(STEPS),
            "newest_version": len(STEPS),
            "size_bytes": size_bytes,
            "last_backup": backup,
            "backup_every": 1 + size_bytes // COPIED_BYTES_PER_NIGHT,
            "set_aside": set_aside,
        }
        if told is not None:
            values |= {"waiting": told.waiting, "lost": told.lost, "fault": told.fault or ""}
        return JournalFacts(**(values | more))  # type: ignore[arg-type]  # each by its name


def find_disk(state: Path, *, root: Path, kept: bool) -> DiskFacts:
    """Look at the disk of a state folder: room, and what is written to it."""
    folder = next(each for each in (state.absolute(), *state.absolute().parents) if each.is_dir())
    room = os.statvfs(folder)
    number, device, kind = _mount_of(folder, root)
    return DiskFacts(
        path=str(folder),
        device=device,
        kind=kind,
        free_bytes=room.f_bavail * room.f_frsize,
        total_bytes=room.f_blocks * room.f_frsize,
        free_files=room.f_favail if room.f_files else None,
        read_only=bool(room.f_flag & os.ST_RDONLY),
        by_leerie=_written_by_keeper(state, root) if kept else None,
        by_all=_written_by_all(number, root),
    )


def _mount_of(folder: Path, root: Path) -> tuple[str, str, str]:
    """Give number, source and kind of a folder's file system; empty where unknown. Source: proc(5)."""
    real, best, found = Path(os.path.realpath(folder)), -1, ("", "", "")
    with suppress(OSError):
        for line in (root / "proc/self/mountinfo").read_text(encoding="utf-8", errors="replace").splitlines():
            before, _, after = line.partition(" - ")
            number, point = before.split()[2], Path(before.split()[4].replace("\\040", " "))
            if real.is_relative_to(point) and len(point.parts) >= best:
                kind, source = after.split()[:2]
                best, found = len(point.parts), (number, source, kind)
    return found


def _uptime_s(root: Path) -> float:
    return float((read_line(root / "proc/uptime").split() or ["0"])[0])


def _written_by_keeper(state: Path, root: Path) -> Written | None:
    """Give what the running keeper wrote, by /proc/PID/io; None where it may not be read."""
    with suppress(OSError, ValueError, IndexError, StopIteration):
        process = root / "proc" / str(int((state / LOCK_NAME).read_text(encoding="ascii")))
        lines = (process / "io").read_text(encoding="ascii").splitlines()
        count = next(int(each.split()[1]) for each in lines if each.startswith("write_bytes:"))
        # The name of the program, in brackets, may hold blanks: fields are counted from behind it.
        fields = (process / "stat").read_text(encoding="utf-8").rpartition(")")[2].split()
        started_s = int(fields[_STARTED - 2]) / os.sysconf("SC_CLK_TCK")
        return _written(count, _uptime_s(root) - started_s)
    return None


def _written_by_all(number: str, root: Path) -> Written | None:
    """Give what everything wrote since the disk was mounted; else since the start of the machine."""
    block = root / "sys/dev/block" / number
    if not number or not block.exists():
        return None
    with suppress(ValueError, IndexError):
        counted = read_line(root / "sys/fs/ext4" / block.resolve().name / "session_write_kbytes")
        if counted:
            return _written(int(counted) * 1024, _uptime_s(root))
        sectors = int(read_line(block / "stat").split()[_SECTORS_WRITTEN])
        return _written(sectors * _SECTOR_BYTES, _uptime_s(root))
    return None


def _written(count: int, within_s: float) -> Written | None:
    return Written(bytes_written=count, within_s=within_s) if within_s >= _LEAST_WITHIN_S else None
