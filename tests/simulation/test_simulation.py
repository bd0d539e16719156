"""The simulation finds nothing wrong, is the same every time, and finds every planted bug."""

from __future__ import annotations

import os
import subprocess
import sys
from itertools import count
from pathlib import Path

import pytest

from tests.simulation.__main__ import failure, run_gardens
from tests.simulation.garden_year import run_garden
from tests.simulation.mutants import MUTANTS, ROOT, Mutant, hunt

# More of it in CI than where somebody waits.
ZONE_NIGHTS = 20_000 if os.environ.get("CI") else 10_000
# Each part is a test of its own, so that the test workers share them.
PARTS = 8


@pytest.mark.parametrize("part", range(1, PARTS + 1))
def test_nothing_goes_wrong_in_many_nights(part: int) -> None:
    """Whatever happens in thousands of zone-nights, every light is right within a tick."""
    results = list(run_gardens(count(part, PARTS), zone_nights=ZONE_NIGHTS // PARTS))
    assert not results[-1].violation, failure(results[-1], calm=0.4)
    assert sum(result.zone_nights for result in results) >= ZONE_NIGHTS // PARTS


def test_the_command_runs_gardens_in_several_processes() -> None:
    """The command gives the same nights with two processes as with one, and exit code 0 where all is well."""
    command = [
        sys.executable,
        "-m",
        "tests.simulation",
        "--zone-nights",
        "60",
        "--nights",
        "4",
        "--seed",
        "3",
    ]
    outputs = []
    for jobs in ("1", "2"):
        done = subprocess.run(
            [*command, "--jobs", jobs], cwd=ROOT, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stdout + done.stderr
        gardens, happened = done.stdout.splitlines()
        outputs.append((gardens.split(" in ")[0], happened))
    assert outputs[0] == outputs[1]


def test_a_story_is_told_the_same_way_twice() -> None:
    """A seed is all that a failure needs to come again: the same happenings, the same zone-nights."""
    first, second = run_garden(7, 8), run_garden(7, 8)
    assert first == second
    assert first.happened


@pytest.mark.parametrize("mutant", MUTANTS, ids=str)
def test_a_planted_bug_is_found(mutant: Mutant, tmp_path: Path) -> None:
    """The simulation finds a bug that was planted into a copy of the program."""
    assert hunt(mutant, tmp_path), f"nobody saw that {mutant.name}"
