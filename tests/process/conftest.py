"""What the tests of a real process need of the machine."""

from __future__ import annotations

import os

import pytest

from tests.process.faketime import MISSING, find_libfaketime


@pytest.fixture(scope="session")
def libfaketime() -> None:
    """Go on only where time can be faked; a machine that runs all tests, CI, must have what they need."""
    if find_libfaketime() is None:
        if os.environ.get("CI"):
            pytest.fail(MISSING)
        pytest.skip(MISSING)
