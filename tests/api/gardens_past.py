"""Gardens with a past, for tests of the account: a site file, and the journal that a keeper wrote for it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from config.file.loader import load_site
from tests.api.command import call, call_json, write_site
from tests.controller.board import Board

# Nothing happens between two changes of light in these journals, so a round every six hours will do.
SELDOM_S = 6 * 3600.0


@dataclass
class GardenPast:
    """A site file and its journal."""

    site_path: Path
    board: Board

    def hours(self, monkeypatch: pytest.MonkeyPatch, *args: object, now: datetime | None = None):
        """Ask ``leerie hours`` for JSON, at the board's time or another one."""
        self.be(monkeypatch, now)
        return call_json("hours", self.site_path, "--state", self.board.folder, *args)

    def csv(self, monkeypatch: pytest.MonkeyPatch, *args: object) -> str:
        """Ask ``leerie hours`` for CSV."""
        self.be(monkeypatch)
        result = call("hours", self.site_path, "--state", self.board.folder, "--csv", *args)
        assert result.exit_code == 0, result.output
        return result.stdout_bytes.decode()

    def words(self, monkeypatch: pytest.MonkeyPatch, *args: object) -> str:
        """Ask ``leerie hours`` for its tables."""
        self.be(monkeypatch)
        result = call("hours", self.site_path, "--state", self.board.folder, *args)
        assert result.exit_code == 0, result.output
        return result.stdout

    def be(self, monkeypatch: pytest.MonkeyPatch, now: datetime | None = None) -> None:
        """Have the command line believe that it is the board's time, or another one."""
        for module in ("api.cli.hours", "api.cli.replaced"):
            monkeypatch.setattr(f"{module}.now_utc", lambda: now or self.board.true_utc)


def live(
    folder: Path,
    zones: str,
    begins: datetime,
    nights: int,
    *,
    top: str = "",
    tick_s: float = SELDOM_S,
) -> GardenPast:
    """Have a garden live for some nights with nothing going wrong.

    Args:
        folder: an empty one.
        zones: tables of the site file after its [site] table.
        begins: when the keeper starts.
        nights: how many days it lives.
        top: place and time zone.
        tick_s: seconds between rounds.
    """
    site_path = write_site(folder, zones, top=top)
    board = Board(folder / "state", load_site(site_path).site, begins, tick_s=tick_s)
    board.run_until(begins + timedelta(days=nights))
    board.close()
    return GardenPast(site_path=site_path, board=board)
