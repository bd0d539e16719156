"""The command line, called from tests: in this process, or as the program that a person starts."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from click.testing import CliRunner, Result

from api.cli.commands import leerie

ROOT = Path(__file__).parents[2]
# What the shell of a tester happens to hold must not decide a test.
_OURS = (
    "NO_COLOR",
    "FORCE_COLOR",
    "COLUMNS",
    "LEERIE_TRACEBACK",
    "STATE_DIRECTORY",
    "XDG_STATE_HOME",
    # Python then forgets the rest of a line that a pipe took only in part.
    "PYTHONUNBUFFERED",
)


def call(*args: object) -> Result:
    """Call a command in this process."""
    return CliRunner().invoke(leerie, [str(arg) for arg in args])


def call_json(*args: object) -> Any:
    """Call a command with ``--json`` in this process; it must go well."""
    result = call(*args, "--json")
    assert result.exit_code == 0, result.output
    assert not result.stderr
    return json.loads(result.stdout)


def environment(**more: str) -> dict[str, str]:
    """Make an environment in which nothing of ours is set but what is named."""
    return {**{name: value for name, value in os.environ.items() if name not in _OURS}, **more}


def command(*args: object) -> list[str]:
    """Give the words that start the program."""
    return [sys.executable, "-m", "api.cli.main", *(str(arg) for arg in args)]


def start(*args: object, **more: str) -> subprocess.CompletedProcess[str]:
    """Start the program and wait for its end."""
    return subprocess.run(
        command(*args),
        cwd=ROOT,
        env=environment(**more),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def write_site(folder: Path, zones: str, *, top: str = "", name: str = "garden.toml") -> Path:
    """Write a site file; ``zones`` are its tables, ``top`` replaces the place."""
    place = top or 'latitude = 51.5\nlongitude = -0.2\ntime_zone = "Europe/London"'
    path = folder / name
    path.write_text(f'[site]\nname = "Tern Cottage"\n{place}\n\n{zones}', encoding="utf-8")
    return path


def zone_table(zone_id: str, *program: str, pin: int = 17, more: str = "") -> str:
    """Write the table of one zone."""
    spans = ", ".join(f'"{span}"' for span in program)
    return f'[[zones]]\nid = "{zone_id}"\npin = {pin}\nprogram = [{spans}]\n{more}\n'
