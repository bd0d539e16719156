"""The unit, checked by systemd itself, and against the user file, the page and the command line."""

import os
import re
import shutil
import subprocess
from pathlib import Path

import click
import pytest

from config.models.network import HOME_NETWORKS
from tests.systemd.unit_file import README, SYSUSERS, UNIT, read_sysusers, read_unit

MOST_EXPOSURE_TENTHS = 16
"""A usual thorough sandbox measures 1.5 on systemd's scale from 0 to 10. Reading the clock's state costs a
little more, because the scale counts adjtimex as a way to set the clock, whatever the capabilities are."""

needs_analyze = pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd-analyze here")
needs_sysusers = pytest.mark.skipif(
    shutil.which("systemd-sysusers") is None, reason="no systemd-sysusers here"
)
SYSTEM_UNITS = Path("/lib/systemd/system")


@pytest.fixture
def root(tmp_path):
    """A system with systemd's own targets, our unit, and programs where the unit wants them."""
    units = tmp_path / "usr/lib/systemd/system"
    units.mkdir(parents=True)
    for kind in ("*.target", "*.slice", "*.mount"):
        for file in SYSTEM_UNITS.glob(kind):
            shutil.copyfile(file, units / file.name)
    for command in ("opt/leerie/bin/leerie", "bin/kill"):
        program = tmp_path / command
        program.parent.mkdir(parents=True)
        program.write_text("#!/bin/sh\n", encoding="ascii")
        program.chmod(0o755)
    (tmp_path / "etc/systemd/system").mkdir(parents=True)
    shutil.copyfile(UNIT, tmp_path / "etc/systemd/system/leerie.service")
    return tmp_path


def verify(root: Path) -> subprocess.CompletedProcess[str]:
    options = ["--man=no", f"--root={root}", "/etc/systemd/system/leerie.service"]
    command = ["systemd-analyze", "verify", *options]
    return subprocess.run(command, check=False, capture_output=True, text=True, timeout=60)


@needs_analyze
def test_systemd_finds_nothing_to_say(root):
    """Systemd reads the unit without a word: every key known, every value valid, every program there."""
    done = verify(root)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@needs_analyze
def test_systemd_would_have_something_to_say(root):
    """The same check does find a misspelt key and a program that is missing."""
    unit = root / "etc/systemd/system/leerie.service"
    text = unit.read_text(encoding="utf-8").replace("WatchdogSec=", "WatchdogSecs=")
    unit.write_text(text, encoding="utf-8")
    (root / "opt/leerie/bin/leerie").unlink()
    said = verify(root).stderr
    assert "'WatchdogSecs'" in said
    assert "/opt/leerie/bin/leerie is not executable" in said


@needs_analyze
def test_the_sandbox_is_tight():
    """Systemd's own measure of what the service could reach is at most 1.6 of 10."""
    options = ["--offline=yes", f"--threshold={MOST_EXPOSURE_TENTHS}", str(UNIT)]
    command = ["systemd-analyze", "security", *options]
    done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stdout[-400:]
    assert re.search(r"Overall exposure level for leerie.service: \d\.\d OK", done.stdout)


def test_it_starts_without_network_and_time():
    """Lights come first: the unit waits for neither, and is restarted for ever."""
    unit = read_unit()
    ordering = unit.get("After", []) + unit.get("Wants", []) + unit.get("Requires", [])
    assert not [name for name in ordering if "network" in name or "time" in name]
    assert (unit["Restart"], unit["StartLimitIntervalSec"]) == (["always"], ["0"])
    assert float(unit["RestartSec"][0]) <= 5


def test_the_watchdog_leaves_room_for_ticks():
    """The keeper gives a sign of life at least every 30 s; a single late one must not restart it."""
    assert read_unit()["Type"] == ["notify"]
    assert int(read_unit()["WatchdogSec"][0]) >= 2 * 30


def test_the_lines_of_the_header_are_allowed_and_nothing_else():
    """The device list is closed but for GPIO; a private /dev would hide the lines."""
    unit = read_unit()
    assert unit["DevicePolicy"] == ["closed"]
    assert unit["DeviceAllow"] == ["char-gpiochip rw"]
    assert unit.get("PrivateDevices", ["no"]) == ["no"]


def test_the_networks_that_are_let_through_are_those_that_the_site_file_can_open():
    """The board itself, every home network and multicast pass; no other address, and no netlink."""
    unit = read_unit()
    assert unit["IPAddressDeny"] == ["any"]
    allowed = {word for line in unit["IPAddressAllow"] for word in line.split()}
    assert allowed == {"localhost", "multicast", *HOME_NETWORKS}
    assert unit["RestrictAddressFamilies"] == ["AF_UNIX AF_INET AF_INET6"]


def test_what_the_clock_needs_stays_in_reach():
    """Boot id and hardware clock are files of /proc and /sys; systemd is notified by a local socket."""
    unit = read_unit()
    assert unit.get("ProcSubset", ["all"]) == ["all"]
    assert "AF_UNIX" in unit["RestrictAddressFamilies"][0].split()
    assert unit.get("ProtectClock", ["no"]) == ["no"], "it would refuse adjtimex also to those who only read"


def test_the_pipe_of_lgpio_goes_where_it_may_be_made():
    """Working folder and LG_WD are the runtime folder, which systemd makes for the service."""
    unit = read_unit()
    folder = f"/run/{unit['RuntimeDirectory'][0]}"
    assert unit["WorkingDirectory"] == [folder]
    assert f"LG_WD={folder}" in unit["Environment"]


def test_folders_and_paths_agree():
    """What the command line is given lies in the folders that the unit opens, and no other is open."""
    unit = read_unit()
    start = unit["ExecStart"][0].split()
    site, state = start[2], start[start.index("--state") + 1]
    assert unit["ProtectSystem"] == ["strict"]
    assert unit["ReadWritePaths"] == [f"-{Path(site).parent}"]
    assert state == f"/var/lib/{unit['StateDirectory'][0]}"


def test_user_and_group_are_made_by_the_user_file():
    """The user, its home and the group of the header are what sysusers makes."""
    unit = read_unit()
    lines = read_sysusers()
    (user,) = [line for line in lines if line[0] == "u"]
    assert [user[1]] == unit["User"] == unit["Group"]
    assert user[-1] == f"/var/lib/{unit['StateDirectory'][0]}"
    for group in unit["SupplementaryGroups"]:
        assert ["g", group] in [line[:2] for line in lines]
        assert ["m", user[1], group] in [line[:3] for line in lines]


@needs_sysusers
@pytest.mark.skipif(os.geteuid() != 0, reason="only root may hand files to root")
def test_systemd_makes_the_user(tmp_path):
    """The tool systemd-sysusers makes user and group from the file, without a shell."""
    (tmp_path / "etc").mkdir()
    command = ["systemd-sysusers", f"--root={tmp_path}", str(SYSUSERS)]
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    passwd = (tmp_path / "etc/passwd").read_text(encoding="utf-8")
    group = (tmp_path / "etc/group").read_text(encoding="utf-8")
    assert re.search(r"^leerie:x:\d+:\d+:[^:]+:/var/lib/leerie:/usr/sbin/nologin$", passwd, re.MULTILINE)
    assert re.search(r"^gpio:x:\d+:leerie$", group, re.MULTILINE)


@pytest.mark.parametrize("key", ["ExecStart", "ExecStopPost"])
def test_the_command_line_takes_what_the_unit_gives(key):
    """Command and options in the unit exist in the command line."""
    from api.cli.commands import leerie  # noqa: PLC0415

    words = read_unit()[key][0].split()
    assert words[0] == "/opt/leerie/bin/leerie"
    context = click.Context(leerie)
    command = leerie.get_command(context, words[1])
    assert command is not None
    options = {name for parameter in command.params for name in parameter.opts}
    assert {word for word in words if word.startswith("--")} <= options


def test_relays_are_put_off_after_the_end_also_of_a_crash():
    """The command after the end puts the relays off, with the same site file and state folder."""
    unit = read_unit()
    start, stop = unit["ExecStart"][0], unit["ExecStopPost"][0]
    assert stop == f"{start} --relays-off"
    assert not stop.startswith("-")


def test_the_page_names_every_path_and_name():
    """Whoever installs, updates or removes by the page meets every path, user and group of the unit."""
    unit, page = read_unit(), README.read_text(encoding="utf-8")
    names = {word for line in unit["ExecStart"] for word in line.split() if word.startswith("/")}
    names |= {"/opt/leerie", "/etc/leerie", "leerie.service", "leerie.sysusers"}
    names |= {f"/run/{unit['RuntimeDirectory'][0]}", *unit["User"], *unit["SupplementaryGroups"]}
    assert {name for name in names if name not in page} == set()


def test_the_page_installs_what_is_in_the_folder():
    """Each file beside the page that is not there to be read is installed and removed by it."""
    page = README.read_text(encoding="utf-8")
    install, _, remove = page.partition("## Remove")
    for file in UNIT.parent.iterdir():
        if file.suffix not in (".md", ".svg"):
            assert file.name in install
    for place in ("/etc/systemd/system/leerie.service", "/etc/sysusers.d/leerie.conf", "/opt/leerie"):
        assert place in install
        assert place in remove
