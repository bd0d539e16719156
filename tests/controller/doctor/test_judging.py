"""What the doctor says, from facts that are made up: every case of every check."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from config.errors import Severity
from config.phrase import Phrase
from controller.clock.trust import NOT_SET, REMEDY
from controller.doctor.clock import ClockFacts, ZoneDataFacts, judge_clock, judge_zone_data
from controller.doctor.network import AccessFacts, NetworkFacts, judge_access, judge_network
from controller.doctor.relays import DeviceFacts, DriverFacts, PinFacts, RelayFacts, judge_driver, judge_pins
from controller.doctor.service import (
    SiteFileFacts,
    UnitFacts,
    VersionFacts,
    judge_site_file,
    judge_unit,
    judge_versions,
)
from controller.doctor.storage import (
    DiskFacts,
    JournalFacts,
    Written,
    judge_disk,
    judge_journal,
    judge_wear,
)

NOW = datetime(2027, 6, 22, 1, 30, tzinfo=UTC)
CLOCK = ClockFacts(
    now_utc=NOW, trusted=True, trust="set from the network", impossible=False, always=False, hardware=True
)
DEVICE = DeviceFacts(path="/dev/gpiochip0", group="gpio", mode=0o660, usable=True)
RELAYS = RelayFacts(simulated=False, user="leerie", devices=(DEVICE,), pins=(PinFacts(zone="jetty", pin=17),))
DRIVER = DriverFacts(simulated=False, name="gpiozero", revision="c03114")
JOURNAL = JournalFacts(
    path="/var/lib/leerie/journal.sqlite",
    owner="leerie",
    folder_owner="leerie",
    version=5,
    newest_version=5,
    size_bytes=1_200_000,
    first_utc=NOW - timedelta(days=100),
    last_utc=NOW,
    last_backup=date(2027, 6, 20),
    backup_every=3,
)
DISK = DiskFacts(
    path="/var/lib/leerie",
    device="/dev/mmcblk0p2",
    kind="ext4",
    free_bytes=12_000_000_000,
    total_bytes=29_000_000_000,
    free_files=1_000_000,
)
NETWORK = NetworkFacts(site="Saltmarsh Lodge", port=8010, answer="this site", now_utc=NOW)
HOME = replace(NETWORK, opens_home=True, home=("http://192.168.1.20:8010/", "http://leerie.local:8010/"))
UNIT = UnitFacts(present=True, load="loaded", file="enabled", active="active")


def described(checks):
    """Write each check as a line, after making sure that what is wrong, and only that, has a remedy."""
    lines = []
    for each in checks:
        assert each.remedy or each.level in (Severity.OK, Severity.NOTE), each
        assert each.level is not Severity.OK or not each.remedy
        lines.append(f"{each.level} {each.about}: {each.what}")
    return lines


def test_a_clock_that_is_trusted_is_in_order():
    """One line, with the reason."""
    assert described(judge_clock(CLOCK)) == ["ok clock: is trusted: set from the network"]


def test_a_clock_that_is_not_trusted_is_an_error_with_the_remedy_of_its_own():
    """What the clock says of itself is taken apart into what is wrong and what to do."""
    trust = Phrase("{what}. {remedy}", what=NOT_SET, remedy=REMEDY)
    (check,) = judge_clock(replace(CLOCK, trusted=False, trust=trust))
    assert check.level is Severity.ERROR
    assert check.what == "is not trusted, lights are held: the clock is not set"
    assert check.remedy == "connect the network, or confirm the time (leerie clock SITE.toml --confirm)"
    (check,) = judge_clock(replace(CLOCK, trusted=False, trust="the clock says 2027-06-19"))
    assert check.remedy.startswith("connect the network, or set the clock and confirm it: leerie clock")


@pytest.mark.parametrize(
    ("change", "line"),
    [
        (
            {"impossible": True, "now_utc": datetime(1970, 1, 1, tzinfo=UTC)},
            "error clock: says 1970-01-01, which",
        ),
        ({"always": True}, "note clock: is followed also where it is wrong: believe"),
        ({"hardware": False}, "note clock: no hardware clock sets it"),
    ],
)
def test_what_else_is_worth_saying_of_a_clock(change, line):
    """A time that cannot be, one that is followed whatever it says, and one that a power cut stops."""
    assert described(judge_clock(replace(CLOCK, **change)))[-1].startswith(line)


@pytest.mark.parametrize(
    ("edition", "now", "level"),
    [
        ("2027a", NOW, "ok"),
        ("2026f", NOW, "ok"),
        ("2025c", NOW, "warning"),
        ("2025c", None, "ok"),
        ("unknown edition", NOW, "note"),
    ],
)
def test_time_zone_data_are_old_once_a_whole_year_of_changes_is_missing(edition, now, level):
    """Judged by a clock that is trusted, and not otherwise."""
    (line,) = described(judge_zone_data(ZoneDataFacts(edition=edition, place="/usr/share/zoneinfo"), now))
    assert line.startswith(f"{level} time zone: ")
    assert "/usr/share/zoneinfo" in line


def test_pins_that_the_user_may_use_and_nobody_else_uses_are_in_order():
    """One line names them."""
    assert described(judge_pins(RELAYS)) == ["ok pins: BCM 17: “leerie” may use them"]


@pytest.mark.parametrize(
    ("change", "line", "remedy"),
    [
        ({"devices": ()}, "error pins: this machine has no /dev/gpiochip*", 'write board = "simulated"'),
        (
            {"devices": (replace(DEVICE, group="root", mode=0o600, usable=False),)},
            "error pins: “leerie” may not use /dev/gpiochip0 (group root, mode 0600)",
            "udev rule in systemd/README.md",
        ),
        (
            {"devices": (replace(DEVICE, usable=False),)},
            "error pins: “leerie” may not use /dev/gpiochip0 (group gpio, mode 0660)",
            "sudo usermod -aG gpio leerie",
        ),
        (
            {"pins": (PinFacts(zone="jetty", pin=17, used_by="fan"),)},
            "error pins: BCM 17 of zone “jetty” is used by “fan”",
            "end that program, or wire the relay to another pin",
        ),
        (
            {"pins": (PinFacts(zone="jetty", pin=10),), "buses": ("I2C", "SPI")},
            "warning pins: BCM 10 belong to SPI, which is switched on",
            "switch that off",
        ),
        (
            {"pins": (PinFacts(zone="jetty", pin=17, fault="pin 17 reads back dark"),)},
            "error pins: zone “jetty”: pin 17 reads back dark",
            "check the wiring",
        ),
        (
            {"lines_known": False},
            "note pins: whether another program uses a pin cannot be seen",
            "/dev/gpiochip0",
        ),
    ],
)
def test_what_keeps_a_relay_from_being_driven(change, line, remedy):
    """No device, no right to it, another program, a bus, a relay that fails: each with what to do."""
    checks = list(judge_pins(replace(RELAYS, **change)))
    assert described(checks)[0].startswith(line)
    assert remedy in checks[0].remedy


def test_simulated_relays_need_no_device_and_no_board():
    """A note that nothing is switched, and no driver."""
    facts = RelayFacts(simulated=True, user="leerie", pins=RELAYS.pins, buses=("SPI",))
    assert described(judge_pins(facts)) == ["note pins: simulated relays: nothing is switched"]
    assert not list(judge_driver(replace(DRIVER, simulated=True, revision="")))


def test_a_driver_needs_its_library_and_a_board_that_it_knows():
    """What is missing is named; a revision that cannot be read gets a remedy of our own."""
    assert described(judge_driver(DRIVER)) == ["ok driver: gpiozero is installed, board revision c03114"]
    (missing,) = judge_driver(replace(DRIVER, missing=("needs lgpio", "install it")))
    assert (missing.level, missing.what, missing.remedy) == (Severity.ERROR, "needs lgpio", "install it")
    (unknown,) = judge_driver(replace(DRIVER, revision=""))
    assert unknown.level is Severity.ERROR
    assert "revision cannot be read" in unknown.what
    assert "system image of the board's maker" in unknown.remedy
    assert 'driver = "gpiod"' in unknown.remedy


def test_a_driver_of_any_board_needs_no_revision():
    """Only that its library is there."""
    driver = DriverFacts(simulated=False, name="gpiod", knows_boards=False)
    assert described(judge_driver(driver)) == ["ok driver: gpiod is installed"]


def test_a_whole_journal_with_its_backup_is_in_order():
    """One line with its size, its beginning and its last backup."""
    assert described(judge_journal(JOURNAL)) == [
        "ok journal: whole, 1,200 kB since 14 March 2027, last backup 20 June 2027"
    ]
    young = replace(JOURNAL, first_utc=NOW - timedelta(days=1), last_backup=None)
    assert described(judge_journal(young)) == [
        "ok journal: whole, 1,200 kB since 21 June 2027, no backup due yet"
    ]


@pytest.mark.parametrize(
    ("change", "line", "remedy"),
    [
        ({"exists": False}, "note journal: there is none yet at /var/lib", "--state"),
        ({"exists": False, "kept_elsewhere": True}, "note journal: there is none at /var/lib", "--state"),
        ({"readable": False}, "warning journal: you may not look into the folder", "sudo -u leerie"),
        (
            {"owner": "root"},
            "error journal: /var/lib/leerie/journal.sqlite belongs to “root”",
            "sudo chown leerie:",
        ),
        (
            {"damage": "row 3 is bad"},
            "error journal: /var/lib/leerie/journal.sqlite is damaged: row 3",
            "restart Leerie",
        ),
        (
            {"unreadable": "the journal X: it is held; close it"},
            "error journal: the journal X: it is held",
            "close it",
        ),
        ({"version": 4}, "note journal: is of version 4, the newest is 5", "leerie run"),
        ({"set_aside": 2}, "warning journal: 2 damaged journals were set aside", "replace the card"),
        ({"set_aside": 1}, "warning journal: 1 damaged journal was set aside", "replace the card"),
        (
            {"last_backup": None},
            "warning journal: no backup was ever made, though entries go back to 14 March",
            "log",
        ),
        (
            {"last_backup": date(2027, 6, 15)},
            "warning journal: the last backup is of 15 June 2027",
            "leerie backup",
        ),
        (
            {"fault": "the disk is full", "waiting": 1},
            "error journal: cannot be written, 1 entry waits: the disk",
            "do",
        ),
        (
            {"fault": "it is full", "waiting": 7},
            "error journal: cannot be written, 7 entries wait: it is",
            "do",
        ),
        ({"waiting": 5000}, "warning journal: 5000 entries wait to be written", "replace the card"),
        (
            {"lost": 12},
            "warning journal: entries lost since the start because too many were waiting: 12",
            "log",
        ),
    ],
)
def test_what_is_wrong_with_a_journal(change, line, remedy):
    """Missing, another's, damaged, old, without backup, not written: each with what to do."""
    (check,) = [each for each in judge_journal(replace(JOURNAL, **change)) if each.level is not Severity.OK]
    assert described([check])[0].startswith(line)
    assert remedy in check.remedy


def test_a_backup_may_be_as_old_as_its_journal_is_large():
    """A small one is backed up every night, a larger one more seldom; three nights late is no fault."""
    late = replace(JOURNAL, last_backup=NOW.date() - timedelta(days=6))
    assert not [each for each in judge_journal(late) if each.level is not Severity.OK]
    late = replace(late, backup_every=2)
    assert [each.level for each in judge_journal(late)] == [Severity.WARNING]


@pytest.mark.parametrize(
    ("change", "line", "remedy"),
    [
        ({}, "ok disk: /var/lib/leerie has 12.0 of 29.0 GB free", ""),
        ({"free_bytes": 60_000_000}, "warning disk: /var/lib/leerie has 60 MB left", "/dev/mmcblk0p2"),
        ({"free_bytes": 2_000_000}, "error disk: /var/lib/leerie has 2.0 MB left", "make room"),
        ({"free_files": 3}, "error disk: /var/lib/leerie takes 3 more files", "make room"),
        ({"free_files": None}, "ok disk: ", ""),
        (
            {"read_only": True},
            "error disk: /var/lib/leerie can only be read",
            "sudo mount -o remount,rw /var/lib",
        ),
    ],
)
def test_a_disk_needs_room_and_must_be_written(change, line, remedy):
    """Little room is a warning, next to none and a read-only disk are errors."""
    (check,) = judge_disk(replace(DISK, **change))
    assert described([check])[0].startswith(line)
    assert remedy in check.remedy


def test_a_state_folder_in_memory_is_a_warning():
    """A power cut would take the journal along."""
    assert "warning disk: /var/lib/leerie is in memory (tmpfs)" in "".join(
        described(judge_disk(replace(DISK, kind="tmpfs")))
    )


def test_wear_is_said_with_how_it_was_computed():
    """The journal over its days, its backups over their nights, process and disk by their counters."""
    disk = replace(
        DISK,
        by_leerie=Written(bytes_written=500_000, within_s=43_200),
        by_all=Written(bytes_written=300_000_000, within_s=86_400),
    )
    assert described(judge_wear(disk, JOURNAL)) == [
        (
            "ok disk: journal grows 12 kB a day (its size over 100 days), backups write 400 kB a day "
            "(its size over 3 nights)"
        ),
        "ok disk: Leerie writes 1.0 MB a day (the kernel's count of its process over 12 h)",
        "ok disk: all programs write 0.3 GB a day to /dev/mmcblk0p2 (counted by the system over 24 h)",
    ]


def test_much_wear_is_a_warning_of_whoever_writes():
    """Leerie itself, or all programs together; a journal of hours says nothing yet."""
    much = Written(bytes_written=6_000_000_000, within_s=86_400)
    disk = replace(DISK, by_leerie=much, by_all=much)
    young = replace(JOURNAL, first_utc=NOW - timedelta(hours=5))
    assert [each.level for each in judge_wear(disk, young)] == [Severity.WARNING, Severity.WARNING]


@pytest.mark.parametrize(
    ("change", "line", "remedy"),
    [
        ({}, "ok network: the daemon answers on port 8010", ""),
        ({"answer": "nobody"}, "warning network: no daemon runs", "leerie run SITE.toml"),
        ({"answer": "nobody", "installed": True}, "warning network: no daemon runs", "sudo systemctl start"),
        (
            {"answer": "nobody", "kept": True},
            "error network: Leerie keeps the lights, but nothing answers",
            "--port",
        ),
        (
            {"answer": "another program"},
            "error network: port 8010 is used by another program",
            "another port",
        ),
        (
            {"answer": "another site", "answers_for": "Heron"},
            "error network: the daemon on port 8010 keeps “Heron”",
            "port",
        ),
        (
            {"answer": "another version"},
            "warning network: the daemon on port 8010 is of another version",
            "restart",
        ),
        (
            {"faults": ("port 80 is taken; choose another",)},
            "error network: port 80 is taken",
            "choose another",
        ),
        ({"opens_home": True}, "warning network: this machine has no address in a home network", "connect"),
        (
            {"opens_home": True, "missing": ("10.0.0.9",)},
            "warning network: this machine does not have the address 10.0",
            "home",
        ),
        (
            {"certificate_fault": "/c.pem: no such file; write"},
            "error network: /c.pem: no such file",
            "write",
        ),
        (
            {"certificate_ends_utc": NOW - timedelta(days=1)},
            "error network: the certificate ended on 21 June 2027",
            "new one",
        ),
        (
            {"certificate_ends_utc": NOW + timedelta(days=9)},
            "warning network: the certificate ends within 10 days",
            "new one",
        ),
        (
            {"certificate_ends_utc": NOW + timedelta(days=90)},
            "ok network: the certificate ends on 20 September 2027",
            "",
        ),
    ],
)
def test_who_answers_and_who_is_reached(change, line, remedy):
    """The port, the home network and the certificate: each with what to do."""
    check = list(judge_network(replace(NETWORK, **change)))[-1]
    assert described([check])[0].startswith(line)
    assert remedy in check.remedy


def test_the_home_network_and_its_name():
    """The addresses that are open, and the name by multicast DNS or that there is none yet."""
    named = replace(HOME, announces=True, announced=("http://leerie.local:8010/",))
    assert described(judge_network(named))[1:] == [
        "ok network: home network: http://192.168.1.20:8010/, http://leerie.local:8010/",
        "ok network: announced by multicast DNS as http://leerie.local:8010/",
    ]
    assert described(judge_network(replace(HOME, announces=True)))[-1].startswith("note network: no name is")
    faulty = replace(HOME, announces=True, faults=("no name: no address of IPv4; use an address",))
    assert not [line for line in described(judge_network(faulty)) if "no name is" in line]


def test_a_certificate_is_not_judged_by_a_clock_that_is_not_trusted():
    """Its end would be anywhere."""
    facts = replace(NETWORK, certificate_ends_utc=NOW - timedelta(days=1), now_utc=None)
    assert described(judge_network(facts)) == ["ok network: the daemon answers on port 8010"]


def test_who_is_let_in():
    """Counted; none at all in an open home network is a note, and so are wrong tries."""
    assert described(judge_access(AccessFacts(opens_home=True, devices=2))) == [
        "ok access: 2 devices are let in"
    ]
    assert described(judge_access(AccessFacts(opens_home=False, devices=0))) == [
        "ok access: 0 devices are let in"
    ]
    assert described(judge_access(AccessFacts(opens_home=True, devices=0, failed_tries=1, fault="a; b"))) == [
        "error access: a",
        "note access: 1 wrong code or token was tried since the start",
        "note access: the home network is open, but no device is let in",
    ]


@pytest.mark.parametrize(
    ("change", "line"),
    [
        ({}, "ok unit: installed, enabled, running, watched, never restarted"),
        ({"present": False}, "note unit: systemd does not run this machine"),
        ({"answered": False}, "note unit: systemd does not answer"),
        ({"load": "not-found"}, "note unit: is not installed"),
        ({"load": "masked"}, "error unit: cannot be used: systemd calls it masked"),
        ({"active": "failed", "result": "watchdog"}, "error unit: has failed: watchdog"),
        ({"active": "inactive"}, "error unit: is not running"),
        ({"active": "activating"}, "error unit: is not running yet: systemd calls it activating"),
        ({"file": "disabled"}, "warning unit: is not enabled"),
        ({"restarts": 1}, "warning unit: was restarted 1 time by itself"),
        ({"restarts": 3}, "warning unit: was restarted 3 times by itself"),
        ({"watchdog": False}, "warning unit: has no watchdog"),
        ({"changed": True}, "warning unit: its file has changed"),
    ],
)
def test_what_systemd_says_of_the_unit(change, line):
    """Absent systemd is no error; a unit that does not run is."""
    (found,) = described(judge_unit(replace(UNIT, **change)))
    assert found.startswith(line)


def test_versions_and_what_is_missing():
    """All in one line; what is not installed is an error."""
    facts = VersionFacts(installed=(("Leerie", "0.1.0"), ("SQLite", "3.40.1")), missing=("astral",))
    assert described(judge_versions(facts)) == [
        "error versions: not installed: astral",
        "ok versions: Leerie 0.1.0, SQLite 3.40.1",
    ]


def test_the_site_file_as_the_daemon_sees_it():
    """In use, refused, or changed and not read yet."""
    assert described(judge_site_file(SiteFileFacts())) == ["ok site file: is valid"]
    assert described(judge_site_file(SiteFileFacts(refused="line 3: no")))[0].startswith(
        "error site file: is refused"
    )
    assert described(judge_site_file(SiteFileFacts(changed=True)))[0].startswith(
        "note site file: was changed"
    )
