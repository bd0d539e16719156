"""What the documents show and name is so."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def test_the_readme_shows_what_the_program_prints() -> None:
    """Each console block of the README is a command and exactly what it prints."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```console\n\$ leerie (.+?)\n(.*?)```", readme, re.MULTILINE | re.DOTALL)
    assert blocks
    for command, shown in blocks:
        done = subprocess.run(
            [sys.executable, "-m", "api.cli.main", *shlex.split(command)],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        )
        assert [line.rstrip() for line in done.stdout.splitlines()] == shown.splitlines(), command


def test_the_contributors_guide_names_files_that_exist() -> None:
    """Every test and every source file that DEVELOPERS.md names is there."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    tests = [path.relative_to(ROOT).as_posix() for path in (ROOT / "tests").rglob("test_*.py")]
    named = re.findall(r"`([a-z_0-9/]*test_[a-z_0-9]+\.py)`", text)
    assert named
    assert not [name for name in named if not any(f"/{path}".endswith(f"/{name}") for path in tests)]
    sources = re.findall(r"`((?:api|config|controller|tests)/[a-z_0-9/]+(?:\.[a-z]+|/))`", text)
    assert sources
    assert not [name for name in sources if not (ROOT / name).exists()]


@pytest.mark.parametrize("layer", ["api", "config", "controller"])
def test_the_readme_of_a_layer_names_files_that_exist(layer: str) -> None:
    """Every file and folder that it names stands in the layer, or in the project."""
    text = (ROOT / layer / "README.md").read_text(encoding="utf-8")
    names = re.findall(r"`([a-z_0-9/]+(?:\.py|\.html|/))`", text)
    assert names
    files = [path.relative_to(ROOT).as_posix() for path in ROOT.glob("*/**/*")]
    assert not [n for n in names if not any(f"/{file}/".endswith(f"/{n.rstrip('/')}/") for file in files)]
