"""Looks at the unit of the service manager, and at what is installed."""

from __future__ import annotations

import platform
import re
import sqlite3
import subprocess
from collections.abc import Callable, Sequence
from importlib import metadata
from pathlib import Path

from controller.doctor.service import UnitFacts, VersionFacts

_PROPERTIES = (
    *("LoadState", "UnitFileState", "ActiveState", "Result", "NRestarts", "WatchdogUSec", "NeedDaemonReload"),
    *("User", "SupplementaryGroups", "StateDirectory"),
)
_QUESTION = ("systemctl", "show", "leerie.service", "--no-pager", f"--property={','.join(_PROPERTIES)}")
_TIMEOUT_S = 5.0
_NAME = re.compile(r"[A-Za-z0-9._-]+")

Run = Callable[[Sequence[str]], str]


def run(words: Sequence[str]) -> str:
    """Run a program that only answers; empty where it cannot."""
    try:
        done = subprocess.run(  # noqa: S603 - our own words
            words, capture_output=True, text=True, timeout=_TIMEOUT_S, check=False
        )
    except (OSError, subprocess.SubprocessError):
        return ""
    return done.stdout if done.returncode == 0 else ""


def ask_systemd(*, root: Path, run: Run = run) -> dict[str, str] | None:
    """Ask systemd for the properties of the unit; None where it does not run this machine."""
    # As sd_booted(3) finds out.
    if not (root / "run/systemd/system").is_dir():
        return None
    lines = run(_QUESTION).splitlines()
    return dict(line.split("=", 1) for line in lines if "=" in line)


def unit_facts(properties: dict[str, str] | None) -> UnitFacts:
    """Read what systemd said of the unit."""
    if not properties:
        return UnitFacts(present=properties is not None, answered=False)
    restarts = properties.get("NRestarts", "0")
    return UnitFacts(
        present=True,
        load=properties.get("LoadState", ""),
        file=properties.get("UnitFileState", ""),
        active=properties.get("ActiveState", ""),
        result=properties.get("Result", ""),
        restarts=int(restarts) if restarts.isdigit() else 0,
        watchdog=properties.get("WatchdogUSec", "") not in ("", "0", "infinity"),
        changed=properties.get("NeedDaemonReload") == "yes",
    )


def find_versions() -> VersionFacts:
    """Find out what is installed of what Leerie requires."""
    installed = [("Python", platform.python_version()), ("SQLite", sqlite3.sqlite_version)]
    missing = []
    try:
        installed.insert(0, ("Leerie", metadata.version("leerie")))
        required = [each for each in metadata.requires("leerie") or () if "extra ==" not in each]
    except metadata.PackageNotFoundError:
        required = []
    for name in (found.group() for each in required if (found := _NAME.match(each))):
        try:
            installed.append((name, metadata.version(name)))
        except metadata.PackageNotFoundError:
            missing.append(name)
    return VersionFacts(installed=tuple(installed), missing=tuple(missing))
