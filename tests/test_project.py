"""The project rules that a machine can check: layers, style, types, sizes, the commands of the README."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections import Counter
from pathlib import Path

import pytest

from tests.conftest import ONE_BY_ONE, SLOW

ROOT = Path(__file__).resolve().parents[1]
BIN = Path(sys.executable).parent
LAYERS = ("api", "config", "controller")
# A file that grows beyond this has a second purpose in it.
MOST_LINES = 500
MOST_FILES = 20


@pytest.mark.parametrize(
    "command",
    [
        pytest.param([str(BIN / "lint-imports"), "--no-cache"], id="imports only go down"),
        pytest.param([str(BIN / "ruff"), "check", "--no-cache", "."], id="style"),
        pytest.param([str(BIN / "ruff"), "format", "--check", "--no-cache", "."], id="format"),
        pytest.param([str(BIN / "mypy"), "--strict", *(f"-p{layer}" for layer in LAYERS)], id="types"),
    ],
)
def test_the_project_rules_are_kept(command: list[str]) -> None:
    """The import contract, the linter and the type checker find nothing."""
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_files_and_folders_are_small() -> None:
    """No file has more than 500 lines, and no folder more than 20 files."""
    files = [path for layer in LAYERS for path in (ROOT / layer).rglob("*.py")]
    long = {
        str(path.relative_to(ROOT)): lines
        for path in files
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > MOST_LINES
    }
    assert not long
    folders = Counter(path.parent.relative_to(ROOT) for path in files)
    assert not {str(folder): count for folder, count in folders.items() if count > MOST_FILES}


def test_every_package_says_what_it_is_for() -> None:
    """The first sentence of each ``__init__.py`` is the purpose of its folder."""
    for layer in LAYERS:
        for path in (ROOT / layer).rglob("__init__.py"):
            assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))), path


def test_every_folder_says_what_belongs_in_it() -> None:
    """Each folder of the top level has a README, and so have those of the tests that mirror no folder."""
    apart = [f"tests/{name}" for name in ("reference", "simulation", "process", "bench", "api/attacks")]
    folders = [*LAYERS, "systemd", "tests", *apart]
    missing = [folder for folder in folders if not (ROOT / folder / "README.md").is_file()]
    assert not missing


def test_the_readme_and_ci_give_one_test_command() -> None:
    """The README's test command is the one that CI runs, to the letter."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = re.findall(r"^```sh\n(.+?)\n```", readme, re.MULTILINE | re.DOTALL)
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert commands[1] in ci


def test_the_packages_carry_what_they_need() -> None:
    """Examples and templates are named as data of their packages, so that a wheel has them."""
    data = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["package-data"]
    for layer in LAYERS:
        patterns = data.get(layer, [])
        covered = {path for pattern in patterns for path in (ROOT / layer).glob(pattern)}
        files = {
            path
            for path in (ROOT / layer).rglob("*")
            if path.is_file() and path.suffix not in (".py", ".pyc") and "__pycache__" not in path.parts
        }
        assert files <= covered, sorted(str(path) for path in files - covered)


def test_the_slow_tests_are_where_they_are_said_to_be() -> None:
    """A file that moves takes its entry in tests/conftest.py along."""
    assert not [path for path in {*ONE_BY_ONE, *SLOW} if not (ROOT / path).exists()]


def test_only_the_clock_folder_reads_the_wall_clock() -> None:
    """No other product module asks for the date or the time of day; monotonic clocks may time a wait."""
    calls = {"now", "utcnow", "today", "time", "time_ns", "localtime", "gmtime", "ctime", "CLOCK_REALTIME"}
    for path in (path for layer in ("api", "config", "controller") for path in (ROOT / layer).rglob("*.py")):
        if path.parent == ROOT / "controller/clock":
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                reads = node.value.id in {"datetime", "date", "time"} and node.attr in calls
                assert not reads, f"{path}:{node.lineno} reads the clock: take a Reading"
            if isinstance(node, ast.ImportFrom) and node.module == "time":
                assert not {name.name for name in node.names} & calls, f"{path}:{node.lineno}"
