"""One thing that was looked at, and what there is to say about it."""

from dataclasses import dataclass
from typing import Literal

from config.errors import Severity

Subject = Literal[
    "clock",
    "time zone",
    "site file",
    "pins",
    "driver",
    "journal",
    "disk",
    "network",
    "access",
    "unit",
    "versions",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Check:
    """What was found: about what, how much it matters, in one clause, and what to do about it."""

    about: Subject
    level: Severity
    what: str
    remedy: str = ""


def split(text: str, otherwise: str) -> tuple[str, str]:
    """Split a sentence of another part into what is wrong and what to do, which follows a semicolon."""
    what, _, remedy = text.partition("; ")
    return what, remedy or otherwise


def well(about: Subject, what: str) -> Check:
    """Say that something is in order."""
    return Check(about=about, level=Severity.OK, what=what)


def note(about: Subject, what: str, remedy: str = "") -> Check:
    """Say what is worth knowing."""
    return Check(about=about, level=Severity.NOTE, what=what, remedy=remedy)


def warning(about: Subject, what: str, remedy: str) -> Check:
    """Say what will probably go wrong, and what to do."""
    return Check(about=about, level=Severity.WARNING, what=what, remedy=remedy)


def error(about: Subject, what: str, remedy: str) -> Check:
    """Say what is wrong, and what to do."""
    return Check(about=about, level=Severity.ERROR, what=what, remedy=remedy)
