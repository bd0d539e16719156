"""The daemon as a process of its own: lights first, ended by a signal, and nothing around it that stops it.

How soon it ends is measured by a bench (tests/bench/bench_daemon.py): a busy machine must not fail a test.
"""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
from contextlib import closing
from importlib.util import find_spec
from pathlib import Path

import pytest

from controller.journal.reader import JournalReader
from controller.records.entries import Cause, EventKind
from controller.records.past import Run
from tests.api.command import ROOT, environment
from tests.api.event_stream import Client
from tests.process.daemon import PATIENCE_S, Daemon, free_port, running

# Lit at any time of any day, whatever the machine's clock says: nothing is asserted of the time itself.
SITE = """\
[site]
name = "Tern Cottage"
latitude = 51.5
longitude = -0.2
time_zone = "Etc/UTC"

[relays]
board = "simulated"
rest_s = 0
stagger_s = 0

[clock]
believe = "always"

[[zones]]
id = "jetty"
pin = 17
program = ["12:00 for 24h"]

[[zones]]
id = "orchard"
pin = 27
program = ["12:00 for 24h"]
"""
LATE = ("asyncio", "apscheduler", "fastapi", "starlette", "uvicorn", "tomlkit", "rich", "jinja2")
LATE += ("config.validation.warnings", "config.validation.place", "api.access", "api.web")


@pytest.fixture
def site(tmp_path: Path) -> Path:
    path = tmp_path / "garden.toml"
    path.write_text(SITE, encoding="utf-8")
    return path


@pytest.fixture
def state(tmp_path: Path) -> Path:
    return tmp_path / "state"


def runs_of(state: Path) -> list[Run]:
    """Read the runs of a journal."""
    return list(JournalReader(state).runs())


def is_lit(daemon: Daemon, *names: str) -> bool:
    """Whether these zones, and no others, are lit by the status line that the service manager gets."""
    return daemon.status_line.startswith(f"lit: {', '.join(names)}")


def start(*args: object, script: str = "") -> subprocess.CompletedProcess[str]:
    """Run the program to its end, with something of ours before it."""
    program = "from api.cli.main import main\nmain()\n"
    return subprocess.run(
        [sys.executable, "-c", script + program, *(str(arg) for arg in args)],
        cwd=ROOT,
        env=environment(),
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )


# Ends the program after its first round, and prints what it had imported and the levels of its pins.
AFTER_THE_FIRST_ROUND = """
import json, os, sys
from controller import relays
from controller.keeper import keeper

boards = []
make = relays.simulated_board
relays.simulated_board = lambda: boards.append(make()) or boards[-1]
really_reconcile = keeper.Keeper.reconcile

def reconcile(self):
    really_reconcile(self)
    levels = {pin: [state.state for state in boards[0].pin(pin).states] for pin in (17, 27)}
    print(json.dumps({"modules": sorted(sys.modules), "levels": levels}), flush=True)
    os._exit(0)

keeper.Keeper.reconcile = reconcile
"""


def test_the_lights_are_right_before_the_web_stack_is_imported(site: Path, state: Path) -> None:
    """After the first round every relay is closed, and no module of web, scheduler or event loop is there."""
    done = start("run", site, "--state", state, "--port", free_port(), script=AFTER_THE_FIRST_ROUND)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["levels"] == {"17": [False], "27": [False]}  # low closes them, and they never were high
    assert [name for name in LATE if name in found["modules"]] == []


@pytest.mark.parametrize("name", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_puts_out_the_lights_and_ends_well(site: Path, state: Path, name: signal.Signals) -> None:
    """Exit code 0, every run closed as stopped, the web server answering until then."""
    with running(site, state) as daemon:
        daemon.wait_for_api()
        assert daemon.lit() == {"jetty", "orchard"}
        daemon.process.send_signal(name)
        assert daemon.process.wait(PATIENCE_S) == 0
        assert "Traceback" not in daemon.log
    runs = runs_of(state)
    assert [run.zone for run in runs] == ["jetty", "orchard"]
    assert {run.ended_by for run in runs} == {Cause.STOPPED}
    assert [event.kind for event in JournalReader(state).events()][-1] is EventKind.STOPPED


def test_a_signal_ends_the_event_streams_and_the_next_start_tells_the_rest(site: Path, state: Path) -> None:
    """An open stream does not delay the end; its client is told by the next daemon what it missed."""
    with running(site, state) as daemon:
        daemon.wait_for_api()
        with Client(daemon).begin() as client:
            last_id = client.next().last_id
            daemon.process.send_signal(signal.SIGTERM)
            assert client.rest() == []
            assert daemon.process.wait(PATIENCE_S) == 0
        assert "Traceback" not in daemon.log
    with running(site, state) as daemon:
        daemon.wait_for_api()
        with Client(daemon, last_id=last_id).begin() as client:
            told = [each for each in client.until("status") if each.event in ("event", "switching")]
            found = [each.data.get("kind") or each.data["on"] for each in told]
            # All that ended ended in one millisecond, of which the journal knows no order.
            assert sorted(map(str, found[:3])) == ["False", "False", "stopped"]
            assert found[3:] == ["started", True, True]


def test_a_signal_in_the_first_moment_ends_well_too(site: Path, state: Path) -> None:
    """Sent as soon as the lights are right, while the rest is still being imported: followed, not died of."""
    script = AFTER_THE_FIRST_ROUND.replace("os._exit(0)", "os.kill(os.getpid(), 15); os.kill(os.getpid(), 1)")
    done = start("run", site, "--state", state, "--port", free_port(), script=script)
    assert done.returncode == 0, done.stderr
    assert [run.ended_by for run in runs_of(state)] == [Cause.STOPPED, Cause.STOPPED]


def test_signals_on_the_way_out_change_nothing(site: Path, state: Path) -> None:
    """Somebody is impatient: the second signal, and the third, find a program that ends well all the same."""
    with running(site, state) as daemon:
        daemon.wait_for_api()
        for name in (signal.SIGTERM, signal.SIGHUP, signal.SIGTERM, signal.SIGINT):
            daemon.process.send_signal(name)
        assert daemon.process.wait(PATIENCE_S) == 0
        assert "Traceback" not in daemon.log
    assert [run.ended_by for run in runs_of(state)] == [Cause.STOPPED, Cause.STOPPED]


# A disk on which nothing that is to be written ever gets there.
HANGING_DISK = """
import os, threading
from controller.journal import writer

def hang(*_args, **_more):
    print("hanging", flush=True)
    threading.Event().wait()

writer.Transactions.commit = hang
"""


def test_a_disk_that_hangs_does_not_keep_it_from_ending(site: Path, state: Path) -> None:
    """The lights are out and the program is gone; the write that hangs goes with it."""
    program = "from api.cli.main import main\nmain()\n"
    command = [sys.executable, "-c", HANGING_DISK + program, "run", str(site), "--state", str(state)]
    process = subprocess.Popen(
        [*command, "--port", str(free_port())],
        cwd=ROOT,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == "hanging\n"
        process.send_signal(signal.SIGTERM)
        assert process.wait(PATIENCE_S) == 0
    finally:
        process.kill()
        _, log = process.communicate()
    assert "could not be written in time" in log


def test_a_port_in_use_is_logged_and_taken_when_it_is_free(site: Path, state: Path) -> None:
    """Lit without the web; the log says what to do; nobody has to restart anything."""
    port = free_port()
    with closing(socket.socket()) as other:
        other.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        other.bind(("127.0.0.1", port))
        other.listen()
        with running(site, state, port=port) as daemon:
            daemon.wait_until("lit", lambda: is_lit(daemon, "jetty", "orchard"))
            daemon.wait_until("logged", lambda: f"port {port} on 127.0.0.1 is in use" in daemon.log)
            other.close()
            daemon.wait_for_api()
            assert daemon.lit() == {"jetty", "orchard"}
            assert daemon.stop() == 0


def test_a_state_folder_that_cannot_be_used_leaves_the_lights_on(site: Path, state: Path) -> None:
    """A folder is in the way of the journal: lit, the fault is shown, and all is written once it is gone."""
    in_the_way = state / "journal.sqlite"
    in_the_way.mkdir(parents=True)
    with running(site, state) as daemon:
        daemon.wait_until("lit", lambda: is_lit(daemon, "jetty", "orchard"))
        daemon.wait_for_api()
        assert daemon.lit() == {"jetty", "orchard"}
        assert daemon.ask("GET", "/v1/status")["journal"]["fault"]
        in_the_way.rmdir()
        daemon.ask("PUT", "/v1/zones/jetty/override", {"light": "off", "for": "1h"})
        daemon.wait_until("written", lambda: bool(daemon.started))
        assert daemon.stop() == 0
    runs = runs_of(state)
    assert {run.zone for run in runs} == {"jetty", "orchard"}
    assert all(run.off_utc for run in runs)


def test_a_state_folder_that_goes_away_while_it_runs_leaves_the_lights_on(site: Path, state: Path) -> None:
    """Somebody moved it: lights go on and off as asked, and a fresh journal is begun with what is lit."""
    with running(site, state) as daemon:
        daemon.wait_for_api()
        state.rename(state.with_name("moved"))
        daemon.ask("PUT", "/v1/zones/jetty/override", {"light": "off", "for": "1h"})
        daemon.wait_until("dark", lambda: is_lit(daemon, "orchard"))
        # At the end a slow disk is not waited for, and to begin a journal takes it longest.
        daemon.wait_until("begun", lambda: bool(daemon.switchings))
        assert daemon.stop() == 0
        assert "Traceback" not in daemon.log
    switched = [(each.zone, each.on) for each in JournalReader(state).switchings()]
    assert ("jetty", False) in switched
    assert ("orchard", False) in switched


def test_a_second_daemon_on_the_same_state_is_refused(site: Path, state: Path, tmp_path: Path) -> None:
    """Exit code 2 and one line that names the first; what the first remembers is not touched."""
    with running(site, state) as daemon:
        daemon.wait_for_api()
        other = tmp_path / "other.toml"
        other.write_text(SITE.replace("Tern Cottage", "Another Cottage"), encoding="utf-8")
        done = start("run", other, "--state", state, "--port", free_port())
        assert (done.returncode, done.stdout) == (2, "")
        (line,) = done.stderr.splitlines()
        assert f"process {daemon.process.pid}" in line
        assert daemon.lit() == {"jetty", "orchard"}
        assert "Another" not in (state / "site.last-good.toml").read_text(encoding="utf-8")


def test_a_storm_of_reloads_ends_in_the_last_file(site: Path, state: Path) -> None:
    """Hundreds of signals while the file changes: no light goes out meanwhile, the last file is in force."""
    with running(site, state) as daemon:
        daemon.wait_for_api()
        for number in range(300):
            site.write_text(SITE.replace("Tern Cottage", f"Cottage {number}"), encoding="utf-8")
            daemon.process.send_signal(signal.SIGHUP)
        daemon.wait_until("in force", lambda: daemon.ask("GET", "/v1/status")["site"] == "Cottage 299")
        assert daemon.lit() == {"jetty", "orchard"}
        assert daemon.stop() == 0
    assert len(runs_of(state)) == 2


def test_a_file_that_is_spoilt_is_refused_and_the_old_one_kept(site: Path, state: Path) -> None:
    """After the signal everything goes on as it was; the status says why; the next good file is taken."""
    with running(site, state) as daemon:
        daemon.wait_for_api()
        site.write_text(SITE.replace("pin = 27", "pin = 99"), encoding="utf-8")
        daemon.process.send_signal(signal.SIGHUP)
        daemon.wait_until("refused", lambda: bool(refused(daemon)))
        assert "pin = 99" in str(refused(daemon))
        assert daemon.lit() == {"jetty", "orchard"}
        site.write_text(SITE.replace('id = "orchard"', 'id = "meadow"'), encoding="utf-8")
        daemon.process.send_signal(signal.SIGHUP)
        daemon.wait_until("taken", lambda: refused(daemon) is None)
        assert daemon.lit() == {"jetty", "meadow"}
        assert daemon.stop() == 0
        kinds = [event.kind for event in daemon.events]
        assert (kinds.count(EventKind.SITE_REFUSED), kinds.count(EventKind.SITE_CHANGED)) == (1, 1)


def test_what_is_probably_a_mistake_is_in_the_log_after_the_lights(site: Path, state: Path) -> None:
    """Warnings of the site file are logged at the start and after each reading, never before the lights."""
    pin_is_pulled_up = SITE.replace("pin = 27", "pin = 3")
    site.write_text(pin_is_pulled_up, encoding="utf-8")
    with running(site, state) as daemon:
        daemon.wait_until("warned", lambda: "pin = 3: " in daemon.log)
        assert daemon.log.index("Tern Cottage: lit") < daemon.log.index("pin = 3: ")
        daemon.wait_for_api()
        site.write_text(pin_is_pulled_up.replace("pin = 3", "pin = 2"), encoding="utf-8")
        daemon.process.send_signal(signal.SIGHUP)
        daemon.wait_until("warned again", lambda: "pin = 2: " in daemon.log)
        assert daemon.stop() == 0


def refused(daemon: Daemon) -> object:
    """What the status says of a site file that was not taken."""
    return daemon.ask("GET", "/v1/status")["site_file"]["refused"]


@pytest.mark.skipif(find_spec("lgpio") is not None, reason="the library for the pins is installed")
def test_a_board_without_its_library_is_not_taken(site: Path, state: Path) -> None:
    """Refused with what would do, also beside a program that is written over the API; the lights stay on."""
    with running(site, state) as daemon:
        daemon.wait_for_api()
        board = '"gpio"\ndriver = "gpiozero"'
        site.write_text(SITE.replace('"simulated"', board), encoding="utf-8")
        daemon.process.send_signal(signal.SIGHUP)
        daemon.wait_until("refused", lambda: "needs lgpio" in str(refused(daemon)))
        assert daemon.lit() == {"jetty", "orchard"}
        daemon.ask("PUT", "/v1/zones/jetty/program", {"program": ["12:00 for 24h"]})
        daemon.process.send_signal(signal.SIGHUP)
        daemon.wait_until("refused again", lambda: "needs lgpio" in str(refused(daemon)))


def test_a_start_with_a_spoilt_file_goes_on_with_the_last_good_one(site: Path, state: Path) -> None:
    """Half a file after a power cut: lit by the copy, and the status names the file's first problem."""
    with running(site, state) as daemon:
        daemon.wait_for_api()
        assert daemon.stop() == 0
    site.write_text(SITE[: len(SITE) // 2], encoding="utf-8")
    with running(site, state) as daemon:
        daemon.wait_for_api()
        assert daemon.lit() == {"jetty", "orchard"}
        assert "garden.toml" in str(refused(daemon))
        assert daemon.stop() == 0
    site.write_text(SITE, encoding="utf-8")
    with running(site, state) as daemon:
        daemon.wait_for_api()
        assert refused(daemon) is None


def test_a_program_written_over_the_api_is_in_the_last_good_copy(site: Path, state: Path) -> None:
    """What a person changed from the phone outlives a file that is spoilt later."""
    with running(site, state) as daemon:
        daemon.wait_for_api()
        daemon.ask("PUT", "/v1/zones/jetty/program", {"program": []})
        daemon.wait_until("dark", lambda: daemon.lit() == {"orchard"})
        assert daemon.stop() == 0
    site.unlink()
    with running(site, state) as daemon:
        daemon.wait_for_api()
        assert daemon.lit() == {"orchard"}


def test_a_start_with_a_spoilt_file_and_no_copy_says_what_is_wrong(site: Path, state: Path) -> None:
    """Exit code 2, every problem on a line of its own, no traceback."""
    site.write_text(SITE.replace("pin = 27", "pin = 99").replace("longitude = -0.2", ""), encoding="utf-8")
    done = start("run", site, "--state", state)
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 2
    assert "Traceback" not in done.stderr


NO_LIBRARY = "import sys\nsys.modules['lgpio'] = sys.modules['gpiod'] = None\n"


@pytest.mark.parametrize("option", [(), ("--relays-off",)])
def test_real_pins_without_their_library_are_refused_with_the_remedy(
    site: Path, state: Path, option: tuple[str, ...]
) -> None:
    """Exit code 2, one line, and it names the extra to install."""
    site.write_text(SITE.replace('"simulated"', '"gpio"'), encoding="utf-8")
    done = start("run", site, "--state", state, *option, script=NO_LIBRARY)
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    needs = 'leerie: board = "gpio" needs lgpio, which is not installed; '
    assert line.startswith(needs + "in Leerie's folder, pip install '.[gpio]' adds it; where it cannot be")


PINS_AT_THE_END = """
import atexit, json
from controller import relays

boards = []
make = relays.simulated_board

def simulated_board():
    board = make()
    boards.append({pin: board.pin(pin) for pin in (17, 27)})
    return board

relays.simulated_board = simulated_board
atexit.register(lambda: print(json.dumps(
    {pin: [each.function, [state.state for state in each.states]] for pin, each in boards[0].items()}
)))
"""


def test_relays_off_only_puts_the_relays_to_their_off_level(site: Path, state: Path) -> None:
    """For after a crash: every pin is driven high, its off level, and let go; no journal, exit code 0."""
    done = start("run", site, "--state", state, "--relays-off", script=PINS_AT_THE_END)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == {"17": ["input", [False, True]], "27": ["input", [False, True]]}
    assert not (state / "journal.sqlite").exists()


def test_relays_off_with_a_relay_that_does_not_answer_puts_out_the_others(site: Path, state: Path) -> None:
    """Exit code 1, and the line names the pin."""
    script = (
        PINS_AT_THE_END
        + """
really_open = relays.Relays._open
def open_or_fail(self, wire, *, on):
    if wire.pin == 17:
        raise OSError("it does not answer")
    return really_open(self, wire, on=on)
relays.Relays._open = open_or_fail
"""
    )
    done = start("run", site, "--state", state, "--relays-off", script=script)
    assert done.returncode == 1
    assert "pin 17 cannot be switched: it does not answer" in done.stderr
    assert json.loads(done.stdout)["27"] == ["input", [False, True]]


def test_a_killed_daemon_leaves_nothing_that_keeps_the_next_from_starting(site: Path, state: Path) -> None:
    """SIGKILL at any moment: the next one holds the folder, closes the runs and is lit at once."""
    with running(site, state) as daemon:
        daemon.wait_for_api()
        daemon.wait_until("written", lambda: len(runs_of(state)) == 2)
        daemon.kill()
    with running(site, state) as daemon:
        daemon.wait_for_api()
        assert daemon.lit() == {"jetty", "orchard"}
        daemon.wait_until("logged", lambda: EventKind.DIED in [event.kind for event in daemon.events])
        assert daemon.stop() == 0
    assert [run.ended_by for run in runs_of(state)] == 4 * [Cause.STOPPED]
