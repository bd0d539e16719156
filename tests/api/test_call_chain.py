"""How many files of ``api/`` a reader has to open to follow one request: counted by a profile hook."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from tests.api.command import call
from tests.api.stand_in import House

API = Path(__file__).parents[2] / "api"
MOST_FILES = 10
# What every request passes alike, whatever it asks: who asks, whether and how often they may, how it is read.
GUARDS = (
    *("web/middleware.py", "web/permission.py", "web/strict.py", "web/limits.py", "web/slots.py"),
    *("access/", "network/"),
)


def files_entered(work: Callable[[], Any]) -> set[str]:
    """Run something and name the files of ``api/`` in which a function was called; imports do not count."""
    entered = set()

    def look(frame: FrameType, event: str, _arg: object) -> None:
        code = frame.f_code
        if event == "call" and code.co_name != "<module>" and code.co_filename.startswith(f"{API}/"):
            entered.add(Path(code.co_filename).relative_to(API).as_posix())

    threading.setprofile(look)
    sys.setprofile(look)
    try:
        work()
    finally:
        sys.setprofile(None)
        threading.setprofile(None)
    return entered


@pytest.fixture
def house(tmp_path):
    """A house after one evening."""
    house = House(tmp_path)
    house.pass_time(4 * 3600)
    yield house
    house.close()


def test_hours_over_the_web_pass_through_few_files(house):
    """Past the guards, a request for hours enters at most ten files, route and renderer among them."""
    house.get("/v1/hours")
    files = files_entered(lambda: house.get("/v1/hours?by=night&period=2027-06"))
    files = {each for each in files if not each.startswith(GUARDS)}
    assert {"web/routes/hours.py", "render/hours_json.py"} <= files
    assert len(files) <= MOST_FILES, sorted(files)


@pytest.mark.parametrize(
    ("args", "renderer"), [((), "hours_table"), (("--json",), "hours_json"), (("--csv",), "hours_csv")]
)
def test_hours_on_the_command_line_pass_through_few_files(house, args, renderer):
    """So does ``leerie hours``, in each form."""
    words = ("hours", house.site_path, "--state", house.journal.directory, "--period", "2027-06", *args)
    call(*words)
    files = files_entered(lambda: call(*words))
    assert {"cli/hours.py", f"render/{renderer}.py"} <= files
    assert len(files) <= MOST_FILES, sorted(files)
