"""What holds for every command: exit codes, one line for each error, no traceback, light imports."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pytest

from api.cli.commands import COMMANDS
from api.cli.main import default_state, parse_plain_run
from tests.api.command import ROOT, call, command, environment, start, write_site, zone_table

JETTY = zone_table("jetty", "dusk to midnight")
HEAVY = ("fastapi", "uvicorn", "rich", "tomlkit", "asyncio", "apscheduler", "sqlite3", "gpiozero", "click")


def lines(text: str) -> list[str]:
    """Split into lines, none of them empty."""
    return [line for line in text.splitlines() if line.strip()]


def test_alone_it_lists_its_commands() -> None:
    """Without a command it lists them on standard output, with exit code 0."""
    result = call()
    assert result.exit_code == 0
    assert not result.stderr
    for name in COMMANDS:
        assert f"\n  {name} " in result.stdout


@pytest.mark.parametrize("command_name", COMMANDS)
def test_every_command_has_help_that_needs_no_file(command_name: str) -> None:
    """Each command explains itself."""
    result = call(command_name, "--help")
    assert result.exit_code == 0
    assert f"leerie {command_name}" in result.stdout


def test_version_is_that_of_the_package() -> None:
    """The version is the installed package's own, with the edition of the time zone rules."""
    try:
        installed = version("leerie")
    except PackageNotFoundError:
        installed = "(not installed"
    assert f"leerie {installed}" in call("--version").stdout
    assert "time zone rules 20" in call("--version").stdout


@pytest.mark.parametrize(
    ("args", "expected"),
    [
        (["nigths"], "No such command 'nigths'"),
        (["nights"], "Missing argument 'SITE.toml'"),
        (["nights", "{site}", "--form", "2027-01-01"], "No such option"),
        (["nights", "{site}", "--from", "2027-02-30"], "“2027-02-30” does not exist"),
        (["nights", "{site}", "--from", "21.6.2027"], "“21.6.2027” is not a date"),
        (["nights", "{site}", "--from", "2027-06-02", "--to", "2027-06-01"], "--to 2027-06-01 is before"),
        (["nights", "{site}", "--from", "2020-01-01", "--to", "2190-01-01"], "ask for fewer"),
        (["nights", "{site}", "--zone", "jetti"], "no zone is called “jetti”; this site has jetty"),
        (["why", "{site}", "jetti"], "no zone is called “jetti”; this site has jetty"),
        (["why", "{site}", "jetty", "--at", "noon"], "“noon” is not a time"),
        (["why", "{site}", "jetty", "--at", "2027-02-30 21:00"], "does not exist"),
        (["why", "{site}", "jetty", "--at", "2027-06-21T21:00:00+25:00"], "does not exist"),
        (["run", "{site}", "--port", "0"], "0 is not in the range"),
        (["demo", "--pace", "0"], "0 is not in the range"),
        (["check", "{folder}/none.toml"], "there is no such file"),
        (["nights", "{folder}"], "is not a file"),
    ],
)
def test_a_wrong_request_is_one_line_on_standard_error(
    tmp_path: Path, args: list[str], expected: str
) -> None:
    """What was not understood is one line on standard error, with exit code 2."""
    site = write_site(tmp_path, JETTY)
    result = call(*(arg.format(site=site, folder=tmp_path) for arg in args))
    assert result.exit_code == 2
    assert not result.stdout
    assert len(lines(result.stderr)) == 1
    assert expected in result.stderr


@pytest.mark.parametrize("command_name", ["check", "nights", "why", "run", "demo", "hours", "year"])
def test_a_wrong_file_is_a_line_for_each_problem(tmp_path: Path, command_name: str) -> None:
    """Every command that reads a site file names every problem, each in one line with file and line."""
    zones = zone_table("jetty", "dusk til midnight", pin=99)
    site = write_site(tmp_path, zones, top="latitude = 91\nlongitude = 0")
    state = ["--state", str(tmp_path)] if command_name == "run" else []
    result = start(command_name, site, *(["jetty"] if command_name == "why" else []), *state)
    assert result.returncode == 2
    assert not result.stdout
    assert all(line.startswith(f"{site}:") for line in lines(result.stderr)), result.stderr
    for key in ("latitude", "time_zone", "program", "pin"):
        assert any(key in line for line in lines(result.stderr)), key


def test_an_internal_error_is_one_line_too(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """What nobody thought of ends without a traceback, with a code that no script takes for an answer."""

    def fail(_path: Path) -> None:
        raise ZeroDivisionError("never thought of")

    monkeypatch.delenv("LEERIE_TRACEBACK", raising=False)
    monkeypatch.setattr("api.cli.nights.load", fail)
    result = call("nights", write_site(tmp_path, JETTY))
    assert result.exit_code == 70
    assert len(lines(result.stderr)) == 1
    assert "ZeroDivisionError: never thought of" in result.stderr


def test_a_reader_that_goes_away_is_no_error(tmp_path: Path) -> None:
    """``leerie nights | head`` says nothing on standard error, and ends as a shell expects: 128 + SIGPIPE."""
    site = write_site(tmp_path, JETTY)
    writing = subprocess.Popen(
        command("nights", site, "--from", "2027-01-01", "--to", "2030-12-31", "--json"),
        cwd=ROOT,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert writing.stdout is not None
    assert writing.stderr is not None
    with writing.stdout, writing.stderr:
        writing.stdout.readline()
        writing.stdout.close()
        assert writing.stderr.read() == b""
    assert writing.wait(60) == 128 + signal.SIGPIPE


def test_ctrl_c_ends_it_without_a_word(tmp_path: Path) -> None:
    """An interrupted command ends as a shell expects, 128 + SIGINT, and writes no traceback."""
    script = (
        "import os, signal, sys\n"
        "import api.cli.nights as nights\n"
        "def wait(path):\n"
        "    os.kill(os.getpid(), signal.SIGINT)\n"
        "    signal.pause()\n"
        "nights.load = wait\n"
        "from api.cli.main import main\n"
        "sys.argv = ['leerie', 'nights', sys.argv[1]]\n"
        "main()\n"
    )
    result = subprocess.run(
        [sys.executable, "-c", script, str(write_site(tmp_path, JETTY))],
        cwd=ROOT,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert result.returncode == 128 + signal.SIGINT
    assert result.stdout == result.stderr == ""


def loaded_after(script: str, *args: object) -> set[str]:
    """Run a script that ends with a call of the command line; say which heavy packages it had imported."""
    tail = f"\nprint('loaded:', *[name for name in {HEAVY!r} if name in sys.modules])\n"
    result = subprocess.run(
        [sys.executable, "-c", "import sys\n" + script + tail, *(str(arg) for arg in args)],
        cwd=ROOT,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    return set(result.stdout.rpartition("loaded:")[2].split())


def test_run_reaches_the_daemon_without_anything_heavy(tmp_path: Path) -> None:
    """From the program's start to the daemon's own first line nothing is imported that lights wait for."""
    script = (
        "import types\n"
        "daemon = types.ModuleType('api.daemon.main')\n"
        "daemon.run_daemon = lambda path, *, state, port, relays_off: 0\n"
        "sys.modules['api.daemon.main'] = daemon\n"
        "from api.cli import main\n"
        "main.parse_plain_run(sys.argv[1:])()\n"
    )
    assert loaded_after(script, "run", write_site(tmp_path, JETTY), "--state", tmp_path) == set()


def test_the_lights_are_right_before_the_rest_is_imported(tmp_path: Path) -> None:
    """When ``leerie run`` makes its first round, neither event loop, scheduler nor web stack is there yet."""
    script = (
        "from controller.keeper.keeper import Keeper\n"
        "def first_round(keeper):\n"
        "    raise KeyboardInterrupt\n"
        "Keeper.reconcile = first_round\n"
        "from api.cli.main import main\n"
        "try:\n"
        "    main()\n"
        "except SystemExit as end:\n"
        "    assert end.code == 130\n"
    )
    loaded = loaded_after(script, "run", write_site(tmp_path, JETTY), "--state", tmp_path / "state")
    assert loaded & {"fastapi", "uvicorn", "rich", "tomlkit", "asyncio", "apscheduler", "click"} == set()
    assert "sqlite3" in loaded


@pytest.mark.parametrize(
    ("args", "allowed"),
    [
        (["check", "{site}"], {"click"}),
        (["nights", "{site}", "--json"], {"click"}),
        (["why", "{site}", "jetty", "--json"], {"click"}),
        (["year", "{site}", "--json"], {"click"}),
        (["nights", "{site}"], {"click", "rich"}),
    ],
)
def test_a_command_imports_only_what_it_needs(tmp_path: Path, args: list[str], allowed: set[str]) -> None:
    """No command that only reads a site file imports pins, the database, the scheduler or the web."""
    site = write_site(tmp_path, JETTY)
    script = "from api.cli.commands import leerie\nleerie(sys.argv[1:], standalone_mode=False)\n"
    assert loaded_after(script, *(arg.format(site=site) for arg in args)) <= allowed


def test_run_hands_over_what_it_was_asked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The command gives file, folder, port and option to the daemon, and leaves with its exit code."""
    asked: list[object] = []

    def run_daemon(site_path: Path, *, state: Path, port: int, relays_off: bool = False) -> int:
        asked.extend([site_path, state, port, relays_off])
        return 1

    monkeypatch.setattr("api.daemon.main.run_daemon", run_daemon)
    site = write_site(tmp_path, JETTY)
    assert call("run", site, "--state", tmp_path / "state", "--port", 8123, "--relays-off").exit_code == 1
    assert asked == [site, tmp_path / "state", 8123, True]


@pytest.mark.parametrize(
    "options",
    [
        [],
        ["--state", "{folder}"],
        ["--port", "8123", "--relays-off"],
        ["--state", "{folder}", "--port", "65535"],
        ["--relays-off", "--relays-off"],
        ["--state", "{folder}/one", "--state", "{folder}/two"],
    ],
)
def test_a_plain_run_is_read_as_click_reads_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, options: list[str]
) -> None:
    """The short way to the lights hands over what the long way does."""
    asked: list[tuple[object, ...]] = []

    def run_daemon(site_path: Path, *, state: Path, port: int, relays_off: bool) -> int:
        asked.append((site_path, state, port, relays_off))
        return 0

    monkeypatch.setattr("api.daemon.main.run_daemon", run_daemon)
    words = ["run", str(write_site(tmp_path, JETTY)), *(each.format(folder=tmp_path) for each in options)]
    request = parse_plain_run(words)
    assert request is not None
    request()
    assert call(*words).exit_code == 0
    assert asked[0] == asked[1]


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["nights", "site.toml"],
        ["run"],
        ["run", "--help"],
        ["run", "site.toml", "--help"],
        ["run", "site.toml", "another.toml"],
        ["run", "site.toml", "--state"],
        ["run", "site.toml", "--state", "--relays-off"],
        ["run", "site.toml", "--state", __file__],
        ["run", "site.toml", "--state=state"],
        ["run", "site.toml", "--port", "0"],
        ["run", "site.toml", "--port", "65536"],
        ["run", "site.toml", "--port", "http"],
        ["--version"],
    ],
)
def test_everything_else_is_left_to_click(words: list[str]) -> None:
    """Help, other spellings and mistakes are read, or refused, in one place."""
    assert parse_plain_run(words) is None


def test_the_journal_lives_where_the_service_manager_says(monkeypatch: pytest.MonkeyPatch) -> None:
    """STATE_DIRECTORY of systemd.exec(5) goes before XDG_STATE_HOME, and that before the home folder."""
    monkeypatch.setenv("STATE_DIRECTORY", "/var/lib/leerie:/var/lib/other")
    monkeypatch.setenv("XDG_STATE_HOME", "/home/ada/state")
    assert default_state() == Path("/var/lib/leerie")
    monkeypatch.delenv("STATE_DIRECTORY")
    assert default_state() == Path("/home/ada/state/leerie")
    monkeypatch.setenv("XDG_STATE_HOME", "not/absolute")
    monkeypatch.setenv("HOME", "/home/ada")
    assert default_state() == Path("/home/ada/.local/state/leerie")


def test_a_terminal_without_the_letters_gets_question_marks(tmp_path: Path) -> None:
    """A terminal that knows only ASCII sees the answer all the same, and its JSON is still JSON."""
    site = write_site(tmp_path, JETTY + 'name = "Steg übers Wasser"\n')
    site.write_text(site.read_text("utf-8").replace("Tern", "Ærø"), "utf-8")
    ascii_only = {"PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0", "LC_ALL": "C"}
    for args in (["why", site, "jetty"], ["check", site], ["nights", site]):
        result = start(*args, **ascii_only)
        assert result.returncode == 0, result.stderr
    assert json.loads(start("check", site, "--json", **ascii_only).stdout)["site"] == "Ærø Cottage"
