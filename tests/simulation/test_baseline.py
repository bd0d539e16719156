"""The script that people begin with, beside Leerie."""

from __future__ import annotations

import re

import pytest

from tests.simulation.baseline import main


def test_the_table_shows_what_a_kill_does_to_either(capsys: pytest.CaptureFixture[str]) -> None:
    """Where nothing happens neither goes wrong; a kill costs the script its night, and Leerie none."""
    assert main(["nothing", "kill"], gardens=3, nights=2) == 0
    rows = [re.findall(r"(\d+) of 6 ", line) for line in capsys.readouterr().out.splitlines()[2:]]
    (script, leerie), (script_killed, leerie_killed) = (map(int, row) for row in rows)
    assert (script, leerie, leerie_killed) == (0, 0, 0)
    assert script_killed > 2
