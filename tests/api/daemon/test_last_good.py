"""The last good copy of the site file, through a power cut and a disk that fails."""

from __future__ import annotations

import os
import stat
from dataclasses import replace
from pathlib import Path

import pytest

from api.daemon.last_good import LAST_GOOD, remember
from config.file.loader import load_site, parse_site
from tests.api.command import write_site, zone_table
from tests.config.site_texts import GOOD

NEW = replace(parse_site(GOOD, "garden.toml"), text="new")


@pytest.fixture
def state(tmp_path: Path) -> Path:
    folder = tmp_path / "state"
    folder.mkdir()
    (folder / LAST_GOOD).write_text("old", encoding="utf-8")
    return folder


def test_the_copy_is_on_the_disk_before_it_takes_its_name(
    state: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The new content is forced to the disk while the old copy stands, then the folder with the new name."""
    forced: list[tuple[bool, str]] = []
    fsync = os.fsync

    def note_and_fsync(descriptor: int) -> None:
        is_folder = stat.S_ISDIR(os.fstat(descriptor).st_mode)
        forced.append((is_folder, (state / LAST_GOOD).read_text(encoding="utf-8")))
        fsync(descriptor)

    monkeypatch.setattr(os, "fsync", note_and_fsync)
    remember(NEW, state)
    assert forced == [(False, "old"), (True, "new")]


def test_a_disk_that_takes_nothing_leaves_the_old_copy(
    state: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """The daemon goes on and says so in the log; nothing is left beside the old copy."""

    def fail(_descriptor: int) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "fsync", fail)
    remember(NEW, state)
    assert {path.name: path.read_text(encoding="utf-8") for path in state.iterdir()} == {LAST_GOOD: "old"}
    assert "Input/output error" in caplog.text


def test_a_copy_that_is_the_same_is_not_written_again(state: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A start with the same file costs the memory card no write."""
    remember(NEW, state)
    monkeypatch.setattr(os, "fsync", lambda _descriptor: pytest.fail("the same copy was written again"))
    remember(NEW, state)


def test_a_zone_that_was_renamed_without_saying_so_is_logged(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """At a start or after an edit: what would lose its history is named, with what to write; once."""
    site_path = write_site(tmp_path, zone_table("front-path", "dusk to midnight"))
    remember(load_site(site_path), tmp_path / "state")
    write_site(tmp_path, zone_table("path", "dusk to midnight"))
    remember(load_site(site_path), tmp_path / "state")
    remember(load_site(site_path), tmp_path / "state")
    (told,) = caplog.messages
    assert told.endswith('write formerly = ["front-path"] in it to keep its history')
