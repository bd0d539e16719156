"""The simulation finds nothing wrong, is the same every time, and finds every planted bug."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.simulation.garden_year import live
from tests.simulation.mutants import MUTANTS, ROOT, Mutant, hunt

# All of it in CI, a tenth of it where somebody waits.
ZONE_NIGHTS = 100_000 if os.environ.get("CI") else 10_000


def test_nothing_goes_wrong_in_many_nights() -> None:
    """Whatever happens in a hundred thousand zone-nights, every light is right within a tick."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.simulation", "--zone-nights", str(ZONE_NIGHTS), "--seed", "1"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    print(done.stdout)


def test_a_story_is_told_the_same_way_twice() -> None:
    """A seed is all that a failure needs to come again: the same happenings, the same zone-nights."""
    first, second = live(7, 8), live(7, 8)
    assert first == second
    assert first.happened


@pytest.mark.parametrize("mutant", MUTANTS, ids=str)
def test_a_planted_bug_is_found(mutant: Mutant, tmp_path: Path) -> None:
    """The simulation finds a bug that was planted into a copy of the program."""
    assert hunt(mutant, tmp_path, jobs=2), f"nobody saw that {mutant.name}"
