"""What the tests of a real process need of the machine."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.process.cottage import SITE
from tests.process.faketime import MISSING, find_libfaketime


@pytest.fixture(scope="session")
def libfaketime() -> None:
    """Go on only where time can be faked; a machine that runs all tests, CI, must have what they need."""
    if find_libfaketime() is None:
        if os.environ.get("CI"):
            pytest.fail(MISSING)
        pytest.skip(MISSING)


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """The site file, on a disk that is well."""
    path = tmp_path / "site.toml"
    path.write_text(SITE, encoding="utf-8")
    return path
