"""Which edition of the time zone rules is in force, and whether it has changed.

zoneinfo takes the system's files before those of the package tzdata, and either may be the older one.
"""

import functools
import zoneinfo
from importlib import resources
from pathlib import Path
from zoneinfo import ZoneInfo

ZoneDataStamp = tuple[tuple[str, int, int, int], ...]
"""Path, inode, size and time of change in nanoseconds of each file that decides what a zone is."""

_SYSTEM_PATH = zoneinfo.TZPATH


def use_newest_zone_data() -> str:
    """Have zoneinfo read the newer of the system's files and the package's; the system's where equal.

    Zones built before keep their old rules; build them anew with ``reload_zone``.

    Returns:
        The edition now in force, as ``tz_data_version`` gives it.
    """
    zoneinfo.reset_tzpath(_SYSTEM_PATH)
    if _edition(_package_folder()) > _edition(_system_place("UTC")):
        zoneinfo.reset_tzpath(())
    return tz_data_version()


def tz_data_version(name: str = "UTC") -> str:
    """Name the edition of a zone's rules, such as ``2025b, from /usr/share/zoneinfo``."""
    place = _system_place(name)
    edition = _edition(place or _package_folder()) or "unknown edition"
    return f"{edition}, from {place or 'the package tzdata'}"


def tz_data_stamp(name: str) -> ZoneDataStamp:
    """Take a stamp of the files that decide what a zone is; a stamp that differs means: reload."""
    key = Path(*_parts(name))
    stamps = []
    for folder in filter(None, (*map(Path, _SYSTEM_PATH), _package_folder())):
        for file in (folder / key, folder / "tzdata.zi"):
            try:
                found = file.stat()
            except OSError:
                continue
            stamps.append((str(file), found.st_ino, found.st_size, found.st_mtime_ns))
    return tuple(stamps)


def reload_zone(name: str) -> ZoneInfo:
    """Build a zone from the files as they are now, also where it was built before.

    Raises:
        zoneinfo.ZoneInfoNotFoundError: there is no such zone any more.
        ValueError: the name is no zone's, or its file is damaged; keep the zone that was.
    """
    fresh = ZoneInfo.no_cache(name)
    ZoneInfo.clear_cache(only_keys=[name])
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, zoneinfo.ZoneInfoNotFoundError):
        return fresh


def _parts(name: str) -> tuple[str, ...]:
    parts = Path(name).parts
    if not parts or Path(name).is_absolute() or ".." in parts:
        raise ValueError(f"“{name}” is not the name of a time zone")
    return parts


def _system_place(name: str) -> Path | None:
    """The first folder of zoneinfo's present path that has the zone."""
    for folder in zoneinfo.TZPATH:
        if Path(folder, *_parts(name)).is_file():
            return Path(folder)
    return None


def _edition(place: Path | None) -> str:
    """Such as ``2025b``, from the files that the tz database installs; empty where none of them is there."""
    if place is None:
        return ""
    for file, head in (("+VERSION", ""), ("version", ""), ("tzdata.zi", "# version ")):
        try:
            with (place / file).open(encoding="ascii") as lines:
                line = lines.readline(100).strip()
        except (OSError, UnicodeDecodeError):
            continue
        if line.startswith(head) and len(line) > len(head):
            return line.removeprefix(head)
    return ""


@functools.cache
def _package_folder() -> Path | None:
    try:
        return Path(str(resources.files("tzdata"))) / "zoneinfo"
    except ModuleNotFoundError:
        return None
