"""What most tests of the journal begin with."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.journal.journal import Journal


@pytest.fixture
def state(tmp_path: Path) -> Path:
    return tmp_path / "state"


@pytest.fixture
def journal(tmp_path: Path):
    journal = Journal(tmp_path / "state")
    yield journal
    journal.close()
