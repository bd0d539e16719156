"""The journal, and the disk that it is on: room, and what is written to it in a day."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from config.errors import Severity
from config.phrase import Phrase, count_phrase
from controller.doctor.check import Check, error, note, split, warning, well

MB, GB = 1e6, 1e9
# Our own choices, each far from what Leerie itself needs.
_LEAST_FREE_BYTES, _LITTLE_FREE_BYTES = 10 * MB, 100 * MB
_MUCH_BY_LEERIE_BYTES = 5 * MB
_MUCH_BY_ALL_BYTES = 5 * GB
_MANY_WAITING = 100
_LEAST_FREE_FILES = 100
# A night or two without a backup is nothing: the board may have been off at noon.
_NIGHTS_LATE = 3
_IN_MEMORY = ("tmpfs", "ramfs")


@dataclass(frozen=True, kw_only=True, slots=True)
class JournalFacts:
    """What was found of the journal.

    Attributes:
        readable: whether whoever asks may look into the folder.
        unreadable: why it cannot be read, and what to do; empty where it can.
        damage: what is wrong with it; empty where it is whole.
        first_utc, last_utc: its first and last instants of a trusted clock.
        backup_every: after how many nights one of this size is backed up.
        waiting, lost, fault: what the running keeper says.
        kept_elsewhere: whether the site's daemon answers and has not locked this folder.
        set_aside: how many damaged ones are kept beside it.
    """

    path: str
    readable: bool = True
    exists: bool = True
    unreadable: str = ""
    damage: str = ""
    owner: str
    folder_owner: str
    version: int
    newest_version: int
    size_bytes: int = 0
    first_utc: datetime | None = None
    last_utc: datetime | None = None
    last_backup: date | None = None
    backup_every: int = 1
    waiting: int = 0
    lost: int = 0
    fault: str = ""
    kept_elsewhere: bool = False
    set_aside: int = 0


@dataclass(frozen=True, kw_only=True, slots=True)
class Written:
    """Bytes that a counter counted within some seconds."""

    bytes_written: int
    within_s: float

    @property
    def per_day_bytes(self) -> float:
        """As many in a day."""
        return self.bytes_written * 86_400 / self.within_s


@dataclass(frozen=True, kw_only=True, slots=True)
class DiskFacts:
    """What was found of the disk of the state folder.

    Attributes:
        free_files: how many more files it takes; None where it has no such limit.
        by_leerie: what the running Leerie wrote, by the kernel's count.
        by_all: what everything wrote since the disk was mounted, by the file system's count.
    """

    path: str
    device: str
    kind: str
    free_bytes: int
    total_bytes: int
    free_files: int | None = None
    read_only: bool = False
    by_leerie: Written | None = None
    by_all: Written | None = None


def judge_journal(facts: JournalFacts) -> Iterator[Check]:
    """Say whether the journal is there, whole, current, writable and backed up."""
    found = [*_told(facts), *_file(facts)]
    yield from found
    if not facts.exists or not facts.readable or any(each.level is not Severity.NOTE for each in found):
        return
    since = None if facts.first_utc is None else facts.first_utc.date()
    size_kb = facts.size_bytes / 1e3
    if since is None:
        yield well("journal", Phrase("whole, {size:,.0f} kB, {path}", size=size_kb, path=facts.path))
    elif facts.last_backup is None:
        what = Phrase("whole, {size:,.0f} kB since {since}, no backup due yet", size=size_kb, since=since)
        yield well("journal", what)
    else:
        backup = facts.last_backup
        what = Phrase(
            "whole, {size:,.0f} kB since {since}, last backup {backup}",
            size=size_kb,
            since=since,
            backup=backup,
        )
        yield well("journal", what)


def _told(facts: JournalFacts) -> Iterator[Check]:
    """What the running keeper says."""
    if facts.fault:
        what = count_phrase(
            "cannot be written, {n} entry waits: {fault}",
            "cannot be written, {n} entries wait: {fault}",
            facts.waiting,
            fault=facts.fault,
        )
        yield error("journal", what, Phrase("do what it says; the lights go on meanwhile"))
    elif facts.waiting > _MANY_WAITING:
        what = Phrase("{n} entries wait to be written: the disk is slow", n=facts.waiting)
        yield warning(
            "journal", what, Phrase("run this again in a minute; if they still wait, replace the card")
        )
    if facts.lost:
        what = Phrase("entries lost since the start because too many were waiting: {n}", n=facts.lost)
        yield warning("journal", what, Phrase("read the log: it says since when the disk takes nothing"))


def _file(facts: JournalFacts) -> Iterator[Check]:
    """What its file looks like."""
    if not facts.readable:
        what = Phrase("you may not look into the folder of {path}", path=facts.path)
        command = f"sudo -u {facts.folder_owner} leerie doctor …"
        yield warning("journal", what, Phrase("run this as its owner: {command}", command=command))
        return
    if not facts.exists and facts.kept_elsewhere:
        what = Phrase("there is none at {path}, though the daemon runs", path=facts.path)
        yield note("journal", what, Phrase("name the folder of its journal with --state"))
        return
    if not facts.exists:
        what = Phrase("there is none yet at {path}", path=facts.path)
        yield note(
            "journal", what, Phrase("it begins with the first `leerie run`; or name its folder with --state")
        )
        return
    if facts.owner != facts.folder_owner:
        command = f"sudo chown {facts.folder_owner}: {facts.path}*"
        what = Phrase(
            "{path} belongs to “{owner}”, its folder to “{folder_owner}”, who may not write to it",
            path=facts.path,
            owner=facts.owner,
            folder_owner=facts.folder_owner,
        )
        yield error("journal", what, Phrase("give it back: {command}", command=command))
    if facts.unreadable:
        yield error("journal", *split(facts.unreadable, Phrase("read the log of Leerie")))
        return
    if facts.damage:
        yield error(
            "journal",
            Phrase("{path} is damaged: {damage}", path=facts.path, damage=facts.damage),
            Phrase("restart Leerie: it sets the file aside and goes on from the newest good backup"),
        )
        return
    if facts.version < facts.newest_version:
        what = Phrase(
            "is of version {version}, the newest is {newest}",
            version=facts.version,
            newest=facts.newest_version,
        )
        yield note("journal", what, Phrase("`leerie run` brings it up to date"))
    yield from _copies(facts)


def _copies(facts: JournalFacts) -> Iterator[Check]:
    if facts.set_aside:
        what = count_phrase(
            "{n} damaged journal was set aside in its folder",
            "{n} damaged journals were set aside in its folder",
            facts.set_aside,
        )
        yield warning(
            "journal", what, Phrase("replace the card if there are more; then remove the files set-aside-*")
        )
    if facts.first_utc is None or facts.last_utc is None:
        return
    last = facts.last_backup or facts.first_utc.date()
    if facts.last_utc.date() - last > timedelta(days=facts.backup_every + _NIGHTS_LATE):
        what = Phrase("no backup was ever made, though entries go back to {day}", day=last)
        if facts.last_backup is not None:
            what = Phrase("the last backup is of {day}; one was due since", day=last)
        command = "leerie backup SITE.toml FILE"
        remedy = Phrase("read the log for the reason; make one now: {command}", command=command)
        yield warning("journal", what, remedy)


def judge_disk(facts: DiskFacts) -> Iterator[Check]:
    """Say whether the disk can be written, and how much room it has."""
    path, free_mb = facts.path, facts.free_bytes / MB
    room = Phrase("make room: remove what is not needed from {device}", device=facts.device)
    if facts.read_only:
        command = f"sudo mount -o remount,rw {path}"
        remedy = Phrase("look for errors of the disk with dmesg; then {command}", command=command)
        yield error("disk", Phrase("{path} can only be read", path=path), remedy)
    elif facts.free_bytes < _LEAST_FREE_BYTES:
        yield error("disk", Phrase("{path} has {free:.1f} MB left", path=path, free=free_mb), room)
    elif facts.free_files is not None and facts.free_files < _LEAST_FREE_FILES:
        yield error("disk", Phrase("{path} takes {n} more files", path=path, n=facts.free_files), room)
    elif facts.free_bytes < _LITTLE_FREE_BYTES:
        yield warning("disk", Phrase("{path} has {free:.0f} MB left", path=path, free=free_mb), room)
    else:
        what = Phrase(
            "{path} has {free:,.1f} of {total:,.1f} GB free",
            path=path,
            free=facts.free_bytes / GB,
            total=facts.total_bytes / GB,
        )
        yield well("disk", what)
    if facts.kind in _IN_MEMORY:
        what = Phrase(
            "{path} is in memory ({kind}): the journal is gone after a power cut", path=path, kind=facts.kind
        )
        yield warning("disk", what, Phrase("name a folder on a disk with --state"))


def judge_wear(disk: DiskFacts, journal: JournalFacts) -> Iterator[Check]:
    """Say how much is written to the disk in a day, by whom, and how that was computed."""
    first, last = journal.first_utc, journal.last_utc
    if first is not None and last is not None and (days := (last - first) / timedelta(days=1)) >= 1:
        what = Phrase(
            "journal grows {grows:,.0f} kB a day (its size over {days:,.0f} days), backups write "
            "{copies:,.0f} kB a day (its size over {nights} nights)",
            grows=journal.size_bytes / 1e3 / days,
            days=days,
            copies=journal.size_bytes / 1e3 / journal.backup_every,
            nights=journal.backup_every,
        )
        yield well("disk", what)
    if disk.by_leerie is not None:
        per_day = disk.by_leerie.per_day_bytes
        what = Phrase(
            "Leerie writes {mb:,.1f} MB a day (the kernel's count of its process over {hours:,.0f} h)",
            mb=per_day / MB,
            hours=disk.by_leerie.within_s / 3600,
        )
        remedy = Phrase("read the log for what is written so often; less wears the card less")
        yield warning("disk", what, remedy) if per_day > _MUCH_BY_LEERIE_BYTES else well("disk", what)
    if disk.by_all is not None:
        per_day = disk.by_all.per_day_bytes
        what = Phrase(
            "all programs write {gb:,.1f} GB a day to {device} (counted by the system over {hours:,.0f} h)",
            gb=per_day / GB,
            device=disk.device,
            hours=disk.by_all.within_s / 3600,
        )
        remedy = Phrase(
            "find the program that writes so much; have it log to memory, or fit a card made for it"
        )
        yield warning("disk", what, remedy) if per_day > _MUCH_BY_ALL_BYTES else well("disk", what)
