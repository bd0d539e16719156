"""Evidence for the clock: files of the kernel and the time daemons, in a folder of the test's own."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from controller.clock.evidence import HARDWARE_CLOCKS, TIMESYNC_FLAG, ClockEvidence, check_hardware_clock
from controller.clock.trust import Evidence

NOW_UTC = datetime(2027, 11, 3, 17, 0, tzinfo=UTC)


def lay_hardware_clock(root: Path, *, says: str | None, set_it: str = "1", name: str = "rtc0") -> None:
    """Lay out what Linux shows of a hardware clock, Documentation/ABI/testing/sysfs-class-rtc."""
    folder = root / HARDWARE_CLOCKS / name
    folder.mkdir(parents=True)
    (folder / "hctosys").write_text(f"{set_it}\n", encoding="ascii")
    if says is not None:
        (folder / "since_epoch").write_text(f"{says}\n", encoding="ascii")


def seconds_since_1970(instant: datetime) -> str:
    return str(int(instant.timestamp()))


def raise_flag(root: Path) -> None:
    flag = root / TIMESYNC_FLAG
    flag.parent.mkdir(parents=True)
    flag.touch()


@pytest.mark.parametrize("kernel", [True, False, None])
@pytest.mark.parametrize("flag", [True, False])
def test_who_says_synchronised(tmp_path, kernel, flag):
    """The kernel's own word counts where it can be had; else the daemon's flag."""
    if flag:
        raise_flag(tmp_path)
    expected = {
        (True, True): True,
        (True, False): True,
        (False, True): False,
        (False, False): False,
        (None, True): True,
        (None, False): False,
    }[kernel, flag]
    found = ClockEvidence(root=tmp_path, ask_kernel=lambda: kernel).collect(NOW_UTC, 60.0)
    assert found == Evidence(synchronised=expected)


def test_evidence_is_remembered_for_two_seconds(tmp_path):
    """Within two seconds the same is said again; after them, or once told to forget, it is collected anew."""
    answers = iter([False, True, False])
    evidence = ClockEvidence(root=tmp_path, ask_kernel=lambda: next(answers))
    assert [evidence.collect(NOW_UTC, boot_s).synchronised for boot_s in (60.0, 61.9, 62.0)] == [
        False,
        False,
        True,
    ]
    evidence.forget()
    assert not evidence.collect(NOW_UTC, 62.1).synchronised


@pytest.mark.parametrize("off_s", [-4, 0, 4])
def test_hardware_clock_that_set_the_clock(tmp_path, off_s):
    """It set the clock, has a plausible time, and still agrees within whole seconds: it counts."""
    lay_hardware_clock(tmp_path, says=seconds_since_1970(NOW_UTC + timedelta(seconds=off_s)))
    assert check_hardware_clock(tmp_path, NOW_UTC, 60.0) == (True, "")


def test_hardware_clock_may_drift_with_the_days(tmp_path):
    """Ten days after the start two crystals may be two minutes apart; one minute after it they may not."""
    lay_hardware_clock(tmp_path, says=seconds_since_1970(NOW_UTC + timedelta(seconds=120)))
    assert check_hardware_clock(tmp_path, NOW_UTC, 10 * 86_400.0) == (True, "")
    trusted, remark = check_hardware_clock(tmp_path, NOW_UTC, 60.0)
    assert not trusted
    assert remark == "the clock no longer agrees with the hardware clock"


@pytest.mark.parametrize("set_it", ["0", "", "yes"])
def test_hardware_clock_that_did_not_set_the_clock(tmp_path, set_it):
    """A hardware clock that agrees by chance, without having set the clock, proves nothing."""
    lay_hardware_clock(tmp_path, says=seconds_since_1970(NOW_UTC), set_it=set_it)
    assert check_hardware_clock(tmp_path, NOW_UTC, 60.0) == (False, "")


@pytest.mark.parametrize(
    ("says", "year"), [("27", "1970-01-01"), ("946684800", "2000-01-01"), ("4102444800", "2100-01-01")]
)
def test_hardware_clock_without_a_battery(tmp_path, says, year):
    """A clock that begins anew in 1970, in 2000 or far ahead is not believed, even where the two agree."""
    lay_hardware_clock(tmp_path, says=says)
    for now_utc in (NOW_UTC, datetime.fromtimestamp(int(says), UTC)):
        trusted, remark = check_hardware_clock(tmp_path, now_utc, 60.0)
        assert not trusted
        assert remark == f"the hardware clock says {year}; its battery may be empty"


@pytest.mark.parametrize("says", [None, "", "never", "9" * 30])
def test_hardware_clock_that_cannot_be_read(tmp_path, says):
    """Many a driver gives an error where the oscillator had stopped; that is said, not raised."""
    lay_hardware_clock(tmp_path, says=says)
    assert check_hardware_clock(tmp_path, NOW_UTC, 60.0) == (
        False,
        "the hardware clock has no time; its battery may be empty",
    )


def test_of_two_hardware_clocks_the_one_counts_that_set_the_clock(tmp_path):
    """A board's own clock without a battery beside a good one on the bus: the good one counts."""
    lay_hardware_clock(tmp_path, says="40", set_it="0", name="rtc0")
    lay_hardware_clock(tmp_path, says=seconds_since_1970(NOW_UTC), name="rtc1")
    assert check_hardware_clock(tmp_path, NOW_UTC, 60.0) == (True, "")


def test_no_hardware_clock(tmp_path):
    """A board without one has nothing to say."""
    assert check_hardware_clock(tmp_path, NOW_UTC, 60.0) == (False, "")


def test_files_that_may_not_be_read_raise_nothing(tmp_path):
    """A folder in the place of a file, and a file in the place of a folder, are no evidence."""
    (tmp_path / HARDWARE_CLOCKS / "rtc0" / "hctosys").mkdir(parents=True)
    (tmp_path / "run").touch()
    assert ClockEvidence(root=tmp_path, ask_kernel=lambda: None).collect(NOW_UTC, 60.0) == Evidence()
