"""How the tests are shared out among the workers of pytest-xdist."""

from __future__ import annotations

import pytest
from xdist.scheduler import LoadScopeScheduling

# Tests that take seconds each and share no fixture.
ONE_BY_ONE = ("tests/simulation/", "tests/test_project.py")


class ByFile(LoadScopeScheduling):
    """Keeps the tests of a file on one worker, so that what its fixtures start is started once."""

    def _split_scope(self, nodeid: str) -> str:
        return nodeid if nodeid.startswith(ONE_BY_ONE) else nodeid.split("::", 1)[0]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Share out by file."""
    return ByFile(config, log)
