"""``leerie doctor``: as a person calls it, with and without a daemon, on a machine that is partly made up."""

from __future__ import annotations

import fcntl
import json
import os
import re
import shutil
import socket
import struct
import subprocess
import sys
import termios
import threading
from datetime import UTC, datetime

import pytest
from freezegun import freeze_time

from api.cli.doctor import command as doctor_command
from config.errors import RelayError
from config.file.loader import load_site
from controller.clock.evidence import ClockEvidence
from controller.clock.trust import Evidence
from controller.journal.journal import Journal
from tests.api.command import call, environment, start
from tests.api.lines import serving
from tests.api.stand_in import SITE, House

EVENING = datetime(2027, 6, 22, 1, 30, tzinfo=UTC)


def ask(house, *args, port=1):
    """Call ``leerie doctor`` of a house; nobody answers on port 1."""
    return call("doctor", house.site_path, "--state", house.journal.directory, "--port", port, *args)


def checks(result):
    """Give what a document says, by what it is about."""
    found = {}
    for each in json.loads(result.stdout)["checks"]:
        found.setdefault(each["about"], []).append((each["level"], each["what"]))
    return found


@pytest.fixture
def alone(house, monkeypatch):
    """A house whose daemon does not run, on a machine whose clock the network has set."""
    house.journal.flush()
    house.journal.close()
    monkeypatch.setattr(ClockEvidence, "collect", lambda *_: Evidence(synchronised=True))
    with freeze_time(EVENING):
        yield house


def contents(folder):
    """Give every file of a folder with what is in it and when it was changed."""
    return {
        path.relative_to(folder): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_the_running_daemon_is_asked(house):
    """Trust, journal and devices are the keeper's own word; exit code 0 while nothing is an error."""
    house.pass_time(60)
    with serving(house.make_app) as server:
        result = ask(house, "--json", port=server.port)
    assert result.exit_code == 0, result.stdout
    document = json.loads(result.stdout)
    assert (document["site"], document["basis"]) == ("Saltmarsh Lodge", "keeper")
    found = checks(result)
    assert ("ok", "is trusted: stepped clock") in found["clock"]
    assert found["network"] == [("ok", f"the daemon answers on port {server.port}")]
    assert found["access"] == [("ok", "0 devices are let in")]
    (journal,) = found["journal"]
    assert journal[0] == "ok"
    assert journal[1].startswith("whole, ")
    levels = ["ok", "note", "warning", "error"]
    assert document["worst"] == max((each["level"] for each in document["checks"]), key=levels.index)


def test_what_the_keeper_knows_of_faults_is_an_error(tmp_path):
    """A clock that it does not trust makes exit code 1, and the remedy names the site file."""
    house = House(tmp_path, trusted=False, trust="the clock is not set. Connect the network")
    with serving(house.make_app) as server:
        result = ask(house, port=server.port)
    house.close()
    assert result.exit_code == 1
    first = result.stdout.splitlines()[1]
    assert first.split()[:2] == ["error", "clock"]
    assert "lights are held: the clock is not set; connect the network" in first


def test_a_relay_that_fails_is_an_error(house, monkeypatch):
    """The keeper's own words of it, with the zone and what to do."""

    def fail(_wire):
        raise RelayError("pin 17 does not answer")

    monkeypatch.setattr(house.relays, "read", fail)
    house.pass_time(60)
    with serving(house.make_app) as server:
        result = ask(house, "--json", port=server.port)
    assert result.exit_code == 1
    pins = [each for each in json.loads(result.stdout)["checks"] if each["about"] == "pins"]
    assert (pins[0]["level"], pins[0]["what"]) == ("error", "zone “jetty”: pin 17 does not answer")
    assert pins[0]["remedy"].startswith("check the wiring")


def test_what_is_in_order_is_counted_and_listed_only_when_asked_for(alone):
    """Without --all a number at the end; with it each has a line; the sum is the same."""
    short, whole = ask(alone), ask(alone, "--all")
    assert not [line for line in short.stdout.splitlines() if line.startswith("ok ")]
    listed = [line for line in whole.stdout.splitlines() if line.startswith("ok ")]
    assert f"{len(listed)} in order; --all lists them" in short.stdout.splitlines()[-1]
    assert whole.stdout.splitlines()[-1].endswith(f"{len(listed)} in order")


def test_without_a_daemon_the_state_folder_is_looked_at_and_left_as_it_is(alone):
    """No file appears, changes or is touched; the journal's own last instant judges the clock."""
    before = contents(alone.journal.directory)
    result = ask(alone, "--json")
    assert contents(alone.journal.directory) == before
    assert json.loads(result.stdout)["basis"] == "this machine"
    found = checks(result)
    assert found["clock"][0] == ("ok", "is trusted: set from the network")
    assert [level for level, _ in found["journal"]] == ["ok"]
    assert found["network"][0][0] == "warning"
    assert "no daemon runs" in found["network"][0][1]


def test_the_journal_of_a_keeper_that_was_killed_keeps_its_log(house, tmp_path):
    """What it wrote last is read from the log beside the file; no file appears, goes or loses a byte."""
    house.pass_time(60)
    killed = tmp_path / "killed"
    shutil.copytree(house.journal.directory, killed)
    assert (killed / "journal.sqlite-wal").stat().st_size
    before = {name: what for name, (what, _) in contents(killed).items() if name.suffix != ".sqlite-shm"}
    result = call("doctor", house.site_path, "--state", killed, "--port", 1, "--json")
    after = {name: what for name, (what, _) in contents(killed).items() if name.suffix != ".sqlite-shm"}
    assert after == before
    assert [level for level, _ in checks(result)["journal"]] == ["ok"]


def test_a_keeper_that_runs_and_does_not_answer_is_an_error_and_keeps_its_lock(house):
    """Seen in the kernel's list of names: nothing is locked, and the keeper's lock stays as it was."""
    result = ask(house, "--json")
    assert result.exit_code == 1
    assert ("error", "Leerie keeps the lights, but nothing answers on port 1") in checks(result)["network"]
    with pytest.raises(Exception, match="already runs"):
        Journal(house.journal.directory).open()
    house.pass_time(60)
    assert house.journal.fault is None


def test_a_damaged_journal_is_an_error(alone):
    """The file is named with what to do."""
    path = alone.journal.path
    content = bytearray(path.read_bytes())
    content[2000:4000] = b"\xff" * 2000
    path.write_bytes(content)
    result = ask(alone, "--json")
    assert result.exit_code == 1
    ((level, what),) = checks(result)["journal"]
    assert level == "error"
    assert what.startswith(f"{path} is damaged: ")


def test_a_port_that_another_program_has_is_an_error(alone):
    """It answers, but not as Leerie does."""
    with socket.create_server(("127.0.0.1", 0)) as other:

        def answer():
            line, _ = other.accept()
            with line:
                line.recv(4096)
                line.sendall(b"HTTP/1.1 200 OK\r\ncontent-length: 2\r\n\r\n{}")

        thread = threading.Thread(target=answer)
        thread.start()
        port = other.getsockname()[1]
        result = ask(alone, "--json", port=port)
        thread.join()
    assert ("error", f"port {port} is used by another program") in checks(result)["network"]


def test_the_daemon_of_another_site_is_not_believed(house, tmp_path):
    """Its port is in the way; clock and journal are looked at here."""
    (tmp_path / "other").mkdir()
    other = House(tmp_path / "other", site=SITE.replace("Saltmarsh", "Heron"))
    with serving(other.make_app) as server:
        result = ask(house, "--json", port=server.port)
    other.close()
    assert json.loads(result.stdout)["basis"] == "this machine"
    words = f"the daemon on port {server.port} keeps “Heron Lodge”, not “Saltmarsh Lodge”"
    assert ("error", words) in checks(result)["network"]


def test_pins_that_the_site_file_warns_of_are_warnings_here_too(alone):
    """A pin that is pulled up while the board starts closes a relay that closes on high."""
    text = SITE.replace("pin = 27", "pin = 5\nactive_high = true").replace("pin = 17", "pin = 14")
    alone.site_path.write_text(text)
    found = [what for level, what in checks(ask(alone, "--json"))["pins"] if level == "warning"]
    assert len(found) == 2
    assert "is the serial console's pin" in found[0]
    assert "BCM 5 is pulled up until Leerie sets it" in found[1]


def test_real_pins_need_a_board(alone, tmp_path):
    """On a machine without any, three things are said: no device, no library or board, and what to do."""
    alone.site_path.write_text(SITE.replace('board = "simulated"', 'board = "gpio"\ndriver = "gpiozero"'))
    (tmp_path / "root").mkdir()
    _, found = doctor_command.look(
        load_site(alone.site_path), alone.journal.directory, 1, root=tmp_path / "root"
    )
    errors = [(each.about, each.what) for each in found if each.level == "error"]
    assert ("pins", "this machine has no /dev/gpiochip*, and so no pins") in errors
    assert ("driver", "the board's revision cannot be read, so the driver does not know its pins") in errors


def test_a_wrong_file_is_a_bad_request(tmp_path):
    """Exit code 2, every problem on standard error, nothing on standard output."""
    path = tmp_path / "site.toml"
    path.write_text(SITE.replace("pin = 17", "pin = 99"))
    result = start("doctor", path, "--json")
    assert (result.returncode, result.stdout) == (2, "")
    assert result.stderr.startswith(f"{path}:")


@pytest.mark.parametrize("columns", [60, 100])
def test_it_fits_the_terminal(alone, columns):
    """On a terminal no line is longer than it is wide."""
    leader, follower = os.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 50, columns, 0, 0))
    words = [sys.executable, "-m", "api.cli.main", "doctor", str(alone.site_path), "--all"]
    words += ["--state", str(alone.journal.directory), "--port", "1"]
    pieces = []

    def read():
        while True:
            try:
                piece = os.read(leader, 4096)
            except OSError:
                return
            if not piece:
                return
            pieces.append(piece)

    thread = threading.Thread(target=read)
    thread.start()
    subprocess.run(words, stdout=follower, env=environment(NO_COLOR="1", TERM="xterm"), check=False)
    os.close(follower)
    thread.join(10)
    os.close(leader)
    lines = re.sub(r"\x1b\[[0-9;]*m|\r", "", b"".join(pieces).decode()).splitlines()
    assert len(lines) > 5
    assert not [line for line in lines if len(line.rstrip()) > columns]
