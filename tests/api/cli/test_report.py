"""``leerie report``: a season's report in a file, and no file overwritten by accident."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.api.command import call, call_json, zone_table
from tests.api.gardens_past import live
from tests.api.markup import Page

START = datetime(2027, 6, 1, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def garden(tmp_path_factory):
    """Ten nights of June."""
    return live(tmp_path_factory.mktemp("garden"), zone_table("jetty", "22:00 to 23:00"), START, 10)


@pytest.fixture(autouse=True)
def _here(garden, monkeypatch, tmp_path):
    """Be in an empty folder, at the time of the board."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("api.cli.report.now_utc", lambda: garden.board.true_utc)


def report(garden, *args):
    return call("report", garden.site_path, "2027-summer", "--state", garden.board.folder, *args)


def test_the_report_is_a_page_in_a_file(garden):
    """It is named after the site file and the season, and its name is printed."""
    result = report(garden)
    assert result.exit_code == 0, result.output
    path = Path(f"{garden.site_path.stem}-2027-summer.html")
    assert result.stdout == f"{path}: the report of 2027-summer, to print\n"
    assert "Summer 2027" in Page(path.read_text(encoding="utf-8")).text


def test_a_file_of_that_name_is_kept(garden, tmp_path):
    """A second report is refused with exit code 2 and leaves the first as it is; --overwrite replaces it."""
    path = tmp_path / "mine.html"
    path.write_text("my own notes")
    result = report(garden, "--out", path)
    assert (result.exit_code, path.read_text()) == (2, "my own notes")
    assert f"{path} exists; name another file with --out, or overwrite it with --overwrite" in result.stderr
    assert report(garden, "--out", path, "--overwrite").exit_code == 0
    assert "Summer 2027" in path.read_text(encoding="utf-8")


def test_json_names_the_file(garden, tmp_path):
    """For programs the answer is the site, the period and the file."""
    answer = call_json(
        "report",
        garden.site_path,
        "2027-06",
        "--state",
        garden.board.folder,
        "--out",
        tmp_path / "june.html",
        "--json",
    )
    assert answer == {"site": "Tern Cottage", "period": "2027-06", "file": str(tmp_path / "june.html")}
    assert (tmp_path / "june.html").exists()


@pytest.mark.parametrize("season", ["2027-sommer", "summer", "2027-13", "1066-summer"])
def test_a_season_that_there_is_not_is_refused(garden, season, tmp_path):
    """What is no period is quoted with what to write, exit code 2, and no file is left."""
    result = call("report", garden.site_path, season, "--state", garden.board.folder)
    assert result.exit_code == 2
    assert f"“{season}”" in result.stderr
    assert list(tmp_path.iterdir()) == []
