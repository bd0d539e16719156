"""How the tests are shared out among the workers of pytest-xdist."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from xdist.scheduler import LoadScopeScheduling

# Their tests take seconds each and share no fixture.
ONE_BY_ONE = ("tests/simulation/", "tests/test_project.py")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log) -> LoadScopeScheduling:  # type: ignore[no-untyped-def]
    """Keep the tests of a file on one worker, so that what its fixtures start is started once."""
    from xdist.scheduler import LoadScopeScheduling

    class ByFile(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return nodeid if nodeid.startswith(ONE_BY_ONE) else nodeid.split("::", 1)[0]

    return ByFile(config, log)
