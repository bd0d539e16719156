"""The simulation finds nothing wrong, is the same every time, and finds every planted bug."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterable
from itertools import count
from pathlib import Path
from random import SystemRandom

import pytest

from tests.simulation.__main__ import failure, run_gardens
from tests.simulation.garden_year import run_garden
from tests.simulation.mutants import MUTANTS, ROOT, Mutant, hunt, plant

# Zone-nights in gardens that are the same every time, and in some that nobody has seen before: more in CI
# than where somebody waits.
SAME, FRESH = (98_000, 2_000) if os.environ.get("CI") else (9_000, 1_000)
# Each part is a test of its own, so that the test workers share them.
SAME_PARTS, FRESH_PARTS = 8, 2


def live(seeds: Iterable[int], zone_nights: int) -> None:
    """Live through the gardens of some seeds; a failure says how to replay it."""
    results = list(run_gardens(seeds, zone_nights=zone_nights))
    assert not results[-1].violation, failure(results[-1], calm=0.4)
    assert sum(result.zone_nights for result in results) >= zone_nights


@pytest.mark.parametrize("part", range(1, SAME_PARTS + 1))
def test_nothing_goes_wrong_in_many_nights(part: int) -> None:
    """Whatever happens in thousands of zone-nights, every light is right within a tick."""
    live(count(part, SAME_PARTS), SAME // SAME_PARTS)


@pytest.mark.parametrize("part", range(1, FRESH_PARTS + 1))
def test_nothing_goes_wrong_in_gardens_that_nobody_has_seen(part: int) -> None:
    """Nor does it in gardens that are drawn anew each time: a failure prints the line that replays it."""
    live(count(SystemRandom().randrange(10**6, 10**9)), FRESH // FRESH_PARTS)


def test_the_line_of_a_failure_replays_it(tmp_path: Path) -> None:
    """What a failure says to run fails in the same way, at the same instant."""
    plant(next(mutant for mutant in MUTANTS if mutant.name == "dusk is sunset"), tmp_path)
    command = [
        sys.executable,
        "-m",
        "tests.simulation",
        "--zone-nights",
        "2000",
        "--jobs",
        "2",
        "--calm",
        "0.2",
    ]
    first = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    failed, replay = first.stdout.splitlines()[:2]
    assert failed.startswith("FAILED Violation at "), first.stdout + first.stderr
    command = [sys.executable, *replay.removeprefix("  replay: python ").split(" ")]
    again = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert again.stdout.splitlines()[0] == failed


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
def test_a_planted_bug_fits_the_code(mutant: Mutant) -> None:
    """The text that it replaces stands there once, and what it leaves is still Python."""
    compile(mutant.planted(), mutant.file, "exec")


@pytest.mark.parametrize("mutant", MUTANTS, ids=str)
def test_a_planted_bug_is_found(mutant: Mutant, tmp_path: Path) -> None:
    """The judge of the simulation finds a bug that was planted into a copy of the program."""
    found = hunt(mutant, tmp_path)
    assert found is not None, f"nobody saw that {mutant.name}"
    assert found.startswith("FAILED Violation"), f"{mutant.name}: it cannot even run: {found}"
