"""What is read of a machine: against folders in place of /dev, /proc and /sys, and against this machine."""

from __future__ import annotations

import grp
import os
import pwd
import struct
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
import trustme

from api.cli.doctor import network, storage
from api.cli.doctor.board import find_driver, find_relays, read_revision
from api.cli.doctor.network import Asked, find_access, find_network
from api.cli.doctor.service import ask_systemd, find_versions, run, unit_facts
from api.cli.doctor.storage import find_disk, is_kept
from config.file.loader import load_site
from controller.doctor.relays import judge_driver
from controller.doctor.service import UnitFacts
from controller.journal.lock import LOCK_NAME, StateLock
from tests.api.stand_in import SITE

ME = pwd.getpwuid(os.geteuid()).pw_name


@pytest.fixture
def root(tmp_path):
    """A folder in place of the root of a board's files."""
    for name in ("dev", "proc/self", "proc/net", "sys"):
        (tmp_path / "root" / name).mkdir(parents=True)
    return tmp_path / "root"


@pytest.fixture
def site(tmp_path):
    """A site whose zones are on the pins 17 and 27."""
    path = tmp_path / "site.toml"
    path.write_text(SITE.replace('board = "simulated"', 'board = "gpio"'))
    return load_site(path).site


def write(path, text):
    """Write a file and the folders above it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)


def lines_in_use(users, label=b"pinctrl-bcm2711"):
    """Stand in for the kernel: which lines are in use, as struct gpio_v2_line_info has it."""

    def ask(_fd, request, question):
        if request & 0xFF == 0x01:
            return struct.pack("32s32sI", b"gpiochip0", label, 58)
        assert (request >> 16 & 0x3FFF, request >> 8 & 0xFF, request & 0xFF) == (len(question), 0xB4, 0x05)
        (offset,) = struct.unpack_from("I", question, 64)
        used = offset in users
        return struct.pack("32s32sIIQ160s16s", b"", users.get(offset, b""), offset, 0, used, b"", b"")

    return ask


def look(site, root, **more):
    """Look at the pins of a site."""
    return find_relays(site, **{"root": root, "user": ME, "kept": False, "faults": {}, **more})


def test_a_line_that_another_program_holds_is_seen(site, root):
    """Its name is the kernel's; the keeper's own lines are not another program's while it runs."""
    write(root / "dev/gpiochip0", "")
    users = {17: b"fan", 27: b"lg", 4: b"other"}
    facts = look(site, root, ask=lines_in_use(users))
    assert {each.pin: each.used_by for each in facts.pins} == {17: "fan", 27: "lg"}
    facts = look(site, root, ask=lines_in_use(users), kept=True)
    assert {each.pin: each.used_by for each in facts.pins} == {17: "fan", 27: ""}
    assert facts.lines_known


def test_lines_of_other_chips_say_nothing(site, root):
    """A chip that drives other parts of the board has lines of the same numbers."""
    write(root / "dev/gpiochip1", "")
    facts = look(site, root, ask=lines_in_use({17: b"led"}, label=b"brcmvirt-gpio"))
    assert [each.used_by for each in facts.pins] == ["", ""]
    assert not facts.lines_known


def test_the_lines_of_a_chip_that_the_site_file_names_are_looked_at(tmp_path, root):
    """Whatever its label is, and no other chip."""
    path = tmp_path / "other.toml"
    path.write_text(SITE.replace('board = "simulated"', 'board = "gpio"\nchip = "/dev/gpiochip3"'))
    site = load_site(path).site
    write(root / "dev/gpiochip0", "")
    assert not look(site, root, ask=lines_in_use({17: b"fan"})).lines_known
    write(root / "dev/gpiochip3", "")
    facts = look(site, root, ask=lines_in_use({17: b"led"}, label=b"bank3"))
    assert {each.pin: each.used_by for each in facts.pins} == {17: "led", 27: ""}


@pytest.mark.parametrize("driver", ["gpiozero", "gpiod"])
def test_the_driver_is_the_one_that_the_daemon_would_use(tmp_path, root, driver):
    """As the site file says; gpiod needs no revision of the board."""
    path = tmp_path / "other.toml"
    path.write_text(SITE.replace('board = "simulated"', f'board = "gpio"\ndriver = "{driver}"'))
    facts = find_driver(load_site(path).site, root=root)
    assert (facts.name, facts.knows_boards) == (driver, driver == "gpiozero")


def test_a_file_that_is_no_device_says_nothing(site, root):
    """The kernel refuses the question, and nothing raises."""
    write(root / "dev/gpiochip0", "")
    assert not look(site, root).lines_known


def test_who_may_use_a_device(site, root):
    """By the mode of the device, the user's groups, and those that the service manager adds."""
    device = root / "dev/gpiochip0"
    write(device, "")
    device.chmod(0o060)
    (found,) = look(site, root, user="nobody").devices
    assert (found.path, found.mode, found.usable) == ("/dev/gpiochip0", 0o060, False)
    group = grp.getgrgid(device.stat().st_gid).gr_name
    assert found.group == group
    (found,) = look(site, root, user="nobody", more_groups=[group, "no-such-group"]).devices
    assert found.usable
    device.chmod(0o600)
    (found,) = look(site, root, user=ME).devices
    assert found.usable


def test_buses_that_are_switched_on_are_seen(site, root):
    """By the devices that the kernel then makes, and the console by its command line."""
    assert look(site, root).buses == ()
    write(root / "dev/i2c-1", "")
    write(root / "dev/spidev0.0", "")
    write(root / "proc/cmdline", "console=serial0,115200 console=tty1 root=/dev/mmcblk0p2")
    write(root / "sys/bus/w1/devices/w1_bus_master1/name", "")
    assert look(site, root).buses == ("I2C", "1-Wire", "SPI", "the serial console")


def test_the_revision_of_a_board(site, root):
    """From the device tree, else from cpuinfo; empty where neither has one, as on this machine."""
    assert read_revision(root) == ""
    write(root / "proc/cpuinfo", "processor\t: 0\nHardware\t: X\nRevision\t: C03114\n")
    assert read_revision(root) == "c03114"
    (root / "proc/device-tree/system").mkdir(parents=True)
    (root / "proc/device-tree/system/linux,revision").write_bytes(bytes.fromhex("00b03115"))
    assert read_revision(root) == "b03115"
    assert find_driver(site, root=root).revision == "b03115"


def test_a_board_driven_through_gpiod_needs_no_revision(tmp_path, root):
    """The driver is that of the site file; gpiod asks the kernel, which knows any board."""
    path = tmp_path / "gpiod.toml"
    path.write_text(SITE.replace('board = "simulated"', 'board = "gpio"\ndriver = "gpiod"'))
    facts = find_driver(load_site(path).site, root=root)
    assert (facts.name, facts.knows_boards, facts.revision) == ("gpiod", False, "")
    assert "driver" not in [each.about for each in judge_driver(replace(facts, missing=None)) if each.remedy]


def test_a_lock_is_seen_without_being_tried(tmp_path):
    """In this machine's own list of names, while a keeper holds it and not afterwards."""
    state = tmp_path / "state"
    assert not is_kept(state, root=Path("/"))
    with StateLock(state):
        assert is_kept(state, root=Path("/"))
        assert not is_kept(tmp_path / "other", root=Path("/"))
    assert not is_kept(state, root=Path("/"))


def test_the_room_of_this_machine_s_disk(tmp_path):
    """As the system says, for the nearest folder that there is."""
    room = os.statvfs(tmp_path)
    disk = find_disk(tmp_path / "not" / "there", root=Path("/"), kept=False)
    assert disk.path == str(tmp_path)
    assert disk.total_bytes == room.f_blocks * room.f_frsize
    assert 0 <= disk.free_bytes <= disk.total_bytes
    assert not disk.read_only
    assert disk.kind
    assert list(tmp_path.iterdir()) == []


def test_wear_by_the_counters_of_process_and_disk(root, tmp_path):
    """A day's uptime: 2 MB by the keeper in 10 h, 3 GiB by all, at the file system's or the disk's count."""
    state = tmp_path / "state"
    write(state / LOCK_NAME, "321\n")
    write(root / "proc/uptime", "86400.00 100.00\n")
    write(root / "proc/self/mountinfo", f"22 1 179:2 / {tmp_path} rw - ext4 /dev/root rw\n")
    write(root / "proc/321/io", "rchar: 1\nwrite_bytes: 2000000\ncancelled_write_bytes: 0\n")
    ticks = int((86_400 - 36_000) * os.sysconf("SC_CLK_TCK"))
    fields = ["S", *["0"] * 18, str(ticks), "0", "0"]
    write(root / "proc/321/stat", f"321 (leerie (a) b) {' '.join(fields)}\n")
    block = root / "sys/devices/mmcblk0p2"
    write(block / "stat", f"0 0 0 0 0 0 {3 * 2**30 // 512} 0 0 0 0\n")
    (root / "sys/dev/block").mkdir(parents=True)
    (root / "sys/dev/block/179:2").symlink_to(block)
    disk = find_disk(state, root=root, kept=True)
    assert (disk.device, disk.kind) == ("/dev/root", "ext4")
    assert disk.by_leerie is not None
    assert disk.by_leerie.per_day_bytes == pytest.approx(4_800_000)
    assert disk.by_all is not None
    assert disk.by_all.per_day_bytes == 3 * 2**30
    write(root / "sys/fs/ext4/mmcblk0p2/session_write_kbytes", "5000\n")
    assert find_disk(state, root=root, kept=False).by_all.bytes_written == 5_120_000
    assert find_disk(state, root=root, kept=False).by_leerie is None


def test_an_hour_after_the_start_is_too_early_for_a_day_s_bytes(root, tmp_path):
    """Nothing is said of wear then, nor where the counters cannot be read."""
    write(root / "proc/uptime", "1200.00 100.00\n")
    write(root / "proc/self/mountinfo", f"22 1 179:2 / {tmp_path} rw - ext4 /dev/root rw\n")
    write(root / "sys/dev/block/179:2/stat", "0 0 0 0 0 0 9 0 0 0 0\n")
    disk = find_disk(tmp_path, root=root, kept=True)
    assert (disk.by_all, disk.by_leerie) == (None, None)


def test_this_process_is_counted_as_the_kernel_counts_it(tmp_path, monkeypatch):
    """The time since a process started, read as the keeper's would be, is that of this test run."""
    write(tmp_path / LOCK_NAME, f"{os.getpid()}\n")
    monkeypatch.setattr(storage, "_LEAST_WITHIN_S", 0.0)
    written = find_disk(tmp_path, root=Path("/"), kept=True).by_leerie
    assert written is not None
    assert 0 < written.within_s < time.clock_gettime(time.CLOCK_BOOTTIME)


@pytest.fixture
def pem(tmp_path):
    """A certificate that ends on 1 September 2027, with its key, in one file."""
    made = trustme.CA().issue_cert("leerie.local", not_after=datetime(2027, 9, 1, tzinfo=UTC))
    path = tmp_path / "both.pem"
    made.private_key_and_cert_chain_pem.write_to_path(path)
    return path


def served_home(tmp_path, *, listen, certificate):
    """Give a site that is open to the home network, by https."""
    table = f'[network]\nlisten = {listen}\ncertificate = "{certificate}"\nkey = "{certificate}"\n\n[relays]'
    path = tmp_path / "served.toml"
    path.write_text(SITE.replace("[relays]", table))
    return load_site(path).site


def test_the_network_as_the_site_file_asks_for_it(tmp_path, pem):
    """Without a daemon: which addresses are not this machine's, and when the certificate ends."""
    site = served_home(tmp_path, listen='["10.99.98.97", "127.0.0.2"]', certificate=pem)
    facts = find_network(site, 1, Asked(answer="nobody"), kept=False, installed=False, now_utc=None)
    assert facts.missing == ("10.99.98.97",)
    assert facts.certificate_ends_utc == datetime(2027, 9, 1, tzinfo=UTC)
    assert (facts.certificate_fault, facts.opens_home) == ("", True)
    assert facts.home[-1] == "https://127.0.0.2:1/"


def test_a_certificate_that_cannot_be_read_is_a_fault(tmp_path):
    """It names the file and what to do."""
    site = served_home(tmp_path, listen='"home"', certificate=tmp_path / "none.pem")
    facts = find_network(site, 1, Asked(answer="nobody"), kept=False, installed=False, now_utc=None)
    assert facts.certificate_fault.startswith(f"{tmp_path / 'none.pem'}: ")
    assert facts.certificate_ends_utc is None


def test_who_is_let_in_is_read_from_the_file_without_touching_it(tmp_path, site):
    """Also a damaged one stays where it is, and then nobody knows."""
    path = tmp_path / "access.json"
    assert find_access(site, tmp_path, Asked(answer="nobody")).devices is None
    path.write_text('{"credentials": [{}, {}]}')
    path.chmod(0o640)
    assert find_access(site, tmp_path, Asked(answer="nobody")).devices == 2
    path.write_text("{")
    assert find_access(site, tmp_path, Asked(answer="nobody")).devices is None
    assert (path.read_text(), path.stat().st_mode & 0o777) == ("{", 0o640)


def test_a_daemon_of_another_version_is_told_from_another_program(site, monkeypatch):
    """It has a site and a keeper, but what it says has other members than this version's."""
    answer = b'{"site": "Saltmarsh Lodge", "keeper": {}, "dimmer": 1}'
    monkeypatch.setattr(network, "ask_daemon", lambda *_: answer)
    assert network.ask(site, 1, kept=True).answer == "another version"
    answer = b'{"site": "Saltmarsh Lodge"}'
    assert network.ask(site, 1, kept=True).answer == "another program"


def test_what_systemd_answers(root):
    """Read as its properties; without systemd nobody is asked."""

    def never(_words):
        raise AssertionError

    assert ask_systemd(root=root, run=never) is None
    (root / "run/systemd/system").mkdir(parents=True)
    answer = "LoadState=loaded\nUnitFileState=disabled\nActiveState=active\nResult=success\nNRestarts=3\n"
    answer += "WatchdogUSec=1min 30s\nNeedDaemonReload=yes\nUser=leerie\nSupplementaryGroups=gpio\n"
    properties = ask_systemd(root=root, run=lambda _: answer)
    assert properties is not None
    assert properties["User"] == "leerie"
    assert unit_facts(properties) == UnitFacts(
        present=True,
        load="loaded",
        file="disabled",
        active="active",
        result="success",
        restarts=3,
        watchdog=True,
        changed=True,
    )
    assert unit_facts(ask_systemd(root=root, run=lambda _: "")) == UnitFacts(present=True, answered=False)
    assert unit_facts(None) == UnitFacts(present=False, answered=False)
    assert not unit_facts({"LoadState": "loaded", "WatchdogUSec": "0"}).watchdog


def test_a_program_that_is_not_there_answers_nothing():
    """Neither does one that fails."""
    assert run(["/no/such/program"]) == ""
    assert run(["false"]) == ""
    assert run(["echo", "yes"]) == "yes\n"


def test_what_leerie_requires_is_installed_here():
    """Every library of its metadata, beside Python and SQLite."""
    facts = find_versions()
    assert facts.missing == ()
    names = [name for name, _ in facts.installed]
    assert names[:3] == ["Leerie", "Python", "SQLite"]
    assert {"pydantic", "gpiozero", "uvicorn"} <= set(names)
    assert "pytest" not in names
