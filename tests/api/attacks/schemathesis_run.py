"""Have schemathesis ask the real daemon, as the board, whatever its OpenAPI document allows or forbids.

The long form, with 6,000 cases and more: ``python -m tests.api.attacks.schemathesis_run [--seed N]``.
"""

from __future__ import annotations

import argparse
import random
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.api.stand_in import SITE
from tests.process.daemon import running

PROGRAM = Path(sys.executable).with_name("schemathesis")
RULES = Path(__file__).with_name("schemathesis.toml")
# Of each operation and phase that draws its cases; others come from the description alone.
MANY = 200


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of a run.

    Attributes:
        code: exit code; 0 where no check failed.
        cases: how many requests were drawn and checked.
        log: what the daemon wrote.
        daemon_code: its exit code, as it was asked to end.
    """

    code: int
    report: str
    cases: int
    log: str
    daemon_code: int


def run(folder: Path, *, seed: int, examples: int) -> Outcome:
    """Start the daemon with a site whose ids are those of the examples, and check it."""
    site = folder / "site.toml"
    # The clock of a machine that runs tests is nobody's concern here.
    site.write_text(f'{SITE}\n[clock]\nbelieve = "always"\n', encoding="utf-8")
    with running(site, folder / "state") as daemon:
        daemon.wait_for_api()
        url = f"http://127.0.0.1:{daemon.port}/openapi.json"
        # All that there is; where nothing is named, the address of the description itself is left out.
        words = ["run", url, "--include-path-regex", "^/", "--continue-on-failure"]
        drawn = ["--seed", str(seed), "--max-examples", str(examples)]
        done = subprocess.run(
            [str(PROGRAM), "--no-color", "--config-file", str(RULES), *words, *drawn],
            cwd=folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
        )
        code = daemon.stop()
    found = re.search(r"^  ([0-9]+) generated", done.stdout, re.MULTILINE)
    return Outcome(
        code=done.returncode,
        report=done.stdout,
        cases=int(found[1]) if found else 0,
        log=daemon.log,
        daemon_code=code,
    )


def main() -> int:
    """Run the long form, and print the report."""
    parser = argparse.ArgumentParser(prog="python -m tests.api.attacks.schemathesis_run")
    parser.add_argument("--seed", type=int, default=random.randrange(2**32), help="for the same run again")
    parser.add_argument("--examples", type=int, default=MANY, help=f"of each operation; usually {MANY}")
    options = parser.parse_args()
    with TemporaryDirectory() as folder:
        outcome = run(Path(folder), seed=options.seed, examples=options.examples)
    sys.stdout.write(outcome.report)
    if "Traceback" in outcome.log:
        sys.stdout.write(outcome.log)
    return outcome.code or outcome.daemon_code or int("Traceback" in outcome.log)


if __name__ == "__main__":
    sys.exit(main())
