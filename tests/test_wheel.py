"""The wheel carries everything that the program needs, and works where there is no checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
LAYERS = ("api", "config", "controller")


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel of the tree as it is, unpacked far from it."""
    place = tmp_path_factory.mktemp("wheel")
    source = place / "source"
    source.mkdir()
    tracked = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    for name in tracked.stdout.splitlines():
        target = source / name
        target.parent.mkdir(parents=True, exist_ok=True)
        if (ROOT / name).is_file():
            target.write_bytes((ROOT / name).read_bytes())
    command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", str(place)]
    subprocess.run([*command, str(source)], check=True, capture_output=True)
    (wheel,) = place.glob("leerie-*.whl")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(place / "unpacked")
    return place / "unpacked"


def test_every_file_of_the_packages_is_in_the_wheel(unpacked: Path) -> None:
    """Code, examples, templates and pages are all there, and nothing but the three layers."""
    for layer in LAYERS:
        for path in (ROOT / layer).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts:
                assert (unpacked / path.relative_to(ROOT)).is_file(), path
    folders = {path.name for path in unpacked.iterdir() if path.is_dir()}
    assert {name for name in folders if not name.endswith(".dist-info")} == set(LAYERS)


@pytest.mark.parametrize(
    "arguments",
    [
        ["demo", "--pace", "40000"],
        ["wiring", "config/examples/full-property.toml", "--sheet", "sheet.html"],
        ["year", "config/examples/polar.toml", "--from", "2027-01-01", "--svg", "year.svg"],
    ],
    ids=lambda arguments: arguments[0],
)
def test_the_wheel_works_without_a_checkout(unpacked: Path, tmp_path: Path, arguments: list[str]) -> None:
    """The commands that need data of their own find it in what was installed."""
    words = [str(unpacked / word) if word.startswith("config/") else word for word in arguments]
    code = "import api, sys; from api.cli.main import main; sys.argv[0] = 'leerie'; main()"
    environment = os.environ | {"PYTHONPATH": str(unpacked), "HOME": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-c", code, *words],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert str(ROOT) not in done.stdout
