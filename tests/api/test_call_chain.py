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
# A command has its own file, its options, and up to five of what it prints: the document's form, its rows,
# instants, numbers, and what limits these. Over the web there are the route, its parameters, and how it is
# sent in pieces.
MOST_OF_COMMAND, MOST_OF_ROUTE = 7, 8


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
    """Past what any request passes, one for hours enters eight files at most, route and renderer included."""
    house.get("/v1/hours")
    files = files_entered(lambda: house.get("/v1/hours?by=night&period=2027-06"))
    files -= files_entered(lambda: house.get("/health"))
    assert {"web/routes/hours.py", "render/hours_json.py"} <= files
    assert len(files) <= MOST_OF_ROUTE, sorted(files)


@pytest.mark.parametrize(
    ("args", "renderer"), [((), "hours_table"), (("--json",), "hours_json"), (("--csv",), "hours_csv")]
)
def test_hours_on_the_command_line_pass_through_few_files(house, args, renderer):
    """So does ``leerie hours``, in each form, past what any command passes."""
    words = ("hours", house.site_path, "--state", house.journal.directory, "--period", "2027-06", *args)
    call(*words)
    files = files_entered(lambda: call(*words)) - files_entered(lambda: call("--version"))
    assert {"cli/hours.py", f"render/{renderer}.py"} <= files
    assert len(files) <= MOST_OF_COMMAND, sorted(files)
