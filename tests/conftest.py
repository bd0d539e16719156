"""How the tests are shared out among the workers of pytest-xdist, and which of them are slow."""

from __future__ import annotations

import os
import signal
import sys

import pytest
from xdist.scheduler import LoadScopeScheduling

# Tests that take seconds each and share no fixture go to the workers one by one.
ONE_BY_ONE = ("tests/simulation/", "tests/test_project.py")
# Left out by -m "not slow": real processes, browsers, the whole project, the longest searches for examples.
SLOW = (
    "tests/api/attacks/test_boundary.py",
    "tests/api/attacks/test_schemathesis.py",
    "tests/api/cli/test_contract.py",
    "tests/api/cli/test_hours_reference.py",
    "tests/api/daemon/test_main.py",
    "tests/api/demo/test_demo.py",
    "tests/api/network/test_discovery.py",
    "tests/api/render/test_report_on_paper.py",
    "tests/api/web/routes/test_docs.py",
    "tests/api/web/test_in_a_browser.py",
    "tests/api/web/test_server.py",
    "tests/config/file/test_loader.py",
    "tests/config/file/test_toml_positions.py",
    "tests/controller/history/test_by_minutes.py",
    "tests/controller/inspection/test_changes.py",
    "tests/controller/journal/test_power.py",
    "tests/controller/journal/test_runs.py",
    "tests/controller/planning/test_planner.py",
    "tests/controller/sun/test_against_de421.py",
    "tests/controller/sun/test_properties.py",
    "tests/controller/wiring/test_power_flow.py",
    "tests/controller/wiring/test_random_networks.py",
    "tests/controller/wiring/test_solver.py",
    "tests/process/",
    "tests/simulation/",
    "tests/test_project.py",
    "tests/test_wheel.py",
)


class ByFile(LoadScopeScheduling):
    """Keeps the tests of a file on one worker, so that what its fixtures start is started once."""

    def _split_scope(self, nodeid: str) -> str:
        return nodeid if nodeid.startswith(ONE_BY_ONE) else nodeid.split("::", 1)[0]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Share out by file."""
    return ByFile(config, log)


# Some shells forbid it. Hundreds of tests start the program, which would then be compiled afresh each time.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def pytest_configure():
    """Let SIGINT end the programs that tests start, also where the shell runs pytest in the background."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Mark what is slow."""
    for item in items:
        if item.nodeid.startswith(SLOW):
            item.add_marker(pytest.mark.slow)
