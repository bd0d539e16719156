"""Check values from outside Leerie, and the few lines that read them. README.md says where each is from."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources
from pathlib import Path
from zoneinfo import ZoneInfo

CIVIL_ANGLE_DEG = 6.0
"""Degrees below the horizon at civil dusk and dawn.

Source: US Naval Observatory, "Rise, Set, and Twilight Definitions".
"""

FOLDER = Path(__file__).parent


def rows(file_name: str) -> list[dict[str, str]]:
    """Read a table of this folder, one dictionary a row."""
    with (FOLDER / file_name).open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


@cache
def zone(name: str) -> ZoneInfo:
    """Give a time zone by the rules of the package tzdata, whatever older rules the system may have.

    The tables were made with edition 2026f; on the system's rules some of their instants would differ.
    """
    path = resources.files("tzdata").joinpath("zoneinfo", *name.split("/"))
    with path.open("rb") as rules:
        return ZoneInfo.from_file(rules, key=name)
