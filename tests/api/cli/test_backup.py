"""``leerie backup``: a copy while the board goes on, and the way back."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from config.file.loader import load_site
from controller.journal.reader import JournalReader
from tests.api.command import call, write_site, zone_table
from tests.controller.board import Board

START = datetime(2027, 6, 21, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def board(tmp_path):
    """A board in the middle of a night, its jetty lit."""
    site_path = write_site(tmp_path, zone_table("jetty", "20:00 to midnight"))
    board = Board(tmp_path / "state", load_site(site_path).site, START)
    board.site_path = site_path
    board.run_until(START + 9 * HOUR)
    yield board
    board.close()


def switchings(place: Path) -> list[tuple[datetime, bool]]:
    """All that was switched."""
    return [(each.at.utc, each.on) for each in JournalReader(place).switchings()]


def test_a_copy_made_while_the_board_runs_is_whole(board, tmp_path):
    """The copy holds all that was written, is one file, and goes on being right while the board goes on."""
    copy = tmp_path / "copy.sqlite"
    result = call("backup", board.site_path, copy, "--state", board.folder)
    assert result.exit_code == 0, result.output
    assert result.stdout == f"{copy}: the journal of Tern Cottage\n"
    before = switchings(board.folder)
    board.run_until(START + 48 * HOUR)
    assert switchings(copy) == before
    assert len(switchings(board.folder)) > len(before)
    with sqlite3.connect(f"file:{copy}?mode=ro", uri=True) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()
    assert not list(tmp_path.glob("copy.sqlite-*"))


def test_a_folder_takes_journal_and_site_file(board, tmp_path, monkeypatch):
    """Into a folder go both, under names with the day."""
    monkeypatch.setattr("api.cli.backup.now_utc", lambda: START)
    folder = tmp_path / "copies"
    folder.mkdir()
    assert call("backup", board.site_path, folder, "--state", board.folder).exit_code == 0
    assert sorted(path.name for path in folder.iterdir()) == [
        "journal-2027-06-21.sqlite",
        "site-2027-06-21.toml",
    ]
    assert (folder / "site-2027-06-21.toml").read_bytes() == board.site_path.read_bytes()
    again = call("backup", board.site_path, folder, "--state", board.folder)
    assert again.exit_code == 2
    assert "exists already; choose another file" in again.stderr


def test_the_way_back(board, tmp_path):
    """A copy put back is what the next keeper goes on from; what was there is set aside, not lost."""
    copy = tmp_path / "copy.sqlite"
    call("backup", board.site_path, copy, "--state", board.folder)
    then = switchings(copy)
    board.run_until(START + 48 * HOUR)
    later = switchings(board.folder)
    board.keeper.stop()
    board.close()
    result = call("backup", board.site_path, copy, "--restore", "--state", board.folder)
    assert result.exit_code == 0, result.output
    assert switchings(board.folder) == then
    (aside,) = board.folder.glob("set-aside-*.sqlite")
    assert str(aside) in result.stdout
    assert switchings(aside)[: len(later)] == later
    board.start()
    board.run_until(START + 60 * HOUR)
    assert switchings(board.folder)[: len(then)] == then
    assert len(switchings(board.folder)) > len(then)


def test_nothing_is_put_back_under_a_running_keeper(board, tmp_path):
    """A keeper holds its journal: restoring is refused, and nothing was touched."""
    copy = tmp_path / "copy.sqlite"
    call("backup", board.site_path, copy, "--state", board.folder)
    before = switchings(board.folder)
    result = call("backup", board.site_path, copy, "--restore", "--state", board.folder)
    assert result.exit_code == 2
    assert "already runs with the state folder" in result.stderr
    assert switchings(board.folder) == before
    assert not list(board.folder.glob("set-aside-*"))


def test_a_damaged_copy_is_not_put_back(board, tmp_path):
    """What is no whole journal is refused, and the old one stays."""
    board.keeper.stop()
    board.close()
    copy = tmp_path / "copy.sqlite"
    copy.write_bytes(b"this is no journal at all, and longer than a header of SQLite's " * 40)
    before = switchings(board.folder)
    result = call("backup", board.site_path, copy, "--restore", "--state", board.folder)
    assert result.exit_code == 2
    assert "is damaged" in result.stderr
    assert switchings(board.folder) == before


def test_a_folder_is_not_put_back_but_the_copy_in_it_named(board, tmp_path):
    """The folder that `backup` filled is answered with the file in it that would do; nothing is touched."""
    folder = tmp_path / "copies"
    folder.mkdir()
    call("backup", board.site_path, folder, "--state", board.folder)
    (copy,) = folder.glob("journal-*.sqlite")
    board.keeper.stop()
    board.close()
    before = switchings(board.folder)
    result = call("backup", board.site_path, folder, "--restore", "--state", board.folder)
    assert result.exit_code == 2
    assert result.stderr == f"leerie: {folder} is a folder; give the backup in it, such as {copy}\n"
    missing = tmp_path / "missing.sqlite"
    result = call("backup", board.site_path, missing, "--restore", "--state", board.folder)
    assert result.exit_code == 2
    assert result.stderr == f"leerie: {missing} is no file; give the file of a backup\n"
    assert switchings(board.folder) == before
    assert not list(board.folder.glob("set-aside-*"))


def test_no_journal_is_told(board, tmp_path):
    """Where nothing ever ran there is nothing to copy."""
    result = call("backup", board.site_path, tmp_path / "copy.sqlite", "--state", tmp_path / "none")
    assert result.exit_code == 2
    assert "it begins with the first `leerie run`" in result.stderr
    assert not (tmp_path / "copy.sqlite").exists()
