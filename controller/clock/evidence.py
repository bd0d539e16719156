"""Looking for evidence that something has set the clock: the kernel, the time daemons, a hardware clock.

Three places can say that the clock is kept right, because each is shut in some surroundings:

- adjtimex(2): no privilege, any daemon; but a service under ProtectClock= may not call it.
- the flag file of systemd-timesyncd: one stat; but only that daemon makes it.
- systemd-timedated on the system bus: any daemon, from inside the sandbox; but it needs the bus.

A hardware clock counts where the kernel says that it set the clock, where it has a plausible time, and where
the two still agree. The last is not idle: a hardware clock without a battery starts in 1970, the system then
puts the clock forward to the last time that it had saved, and only the difference tells.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from controller.clock.kernel import kernel_synchronised
from controller.clock.timedated import TimeBus
from controller.clock.trust import RELEASED_UTC, Evidence

LOOK_EVERY_S = 2.0
"""Evidence is looked for at most this often, on the boot-time clock."""

FIRST_WAIT_S = 1.0
LATER_WAIT_S = 0.25
"""How long an answer of the bus is waited for. At the first look it decides whether the lights come on at
once. Later it is picked up at the next look where it takes longer: the service may have to be started."""

TIMESYNC_FLAG = "run/systemd/timesync/synchronized"
HARDWARE_CLOCKS = "sys/class/rtc"

AGREES_WITHIN_S = 5.0
DRIFT = 200e-6
"""Hardware clock and clock agree within whole seconds at start, and then part by the drift of two crystals;
20 to 100 parts in a million each is usual."""

PLAUSIBLE_UNTIL_UTC = RELEASED_UTC.replace(year=RELEASED_UTC.year + 30)
"""No hardware clock is believed beyond this: a broken one often starts decades ahead. Short of it, nothing
known bounds a hardware clock that runs ahead; it is believed as it is."""


class ClockEvidence:
    """Looks for evidence, and remembers it for a moment."""

    def __init__(
        self,
        *,
        root: Path = Path("/"),
        ask_kernel: Callable[[], bool | None] = kernel_synchronised,
    ) -> None:
        """Look at the files under ``root``, and ask the kernel through ``ask_kernel``."""
        self._root = root
        self._ask_kernel = ask_kernel
        self._bus = TimeBus(root)
        self._looked_at_s: float | None = None
        self._found = Evidence()

    def look(self, utc: datetime, boot_s: float, *, ask_bus: bool = True) -> Evidence:
        """Say what there is, no more than LOOK_EVERY_S old.

        Args:
            utc: what the clock says, aware; a hardware clock is compared with it.
            boot_s: the boot-time clock, in seconds.
            ask_bus: whether it is worth asking another process.
        """
        looked_at_s = self._looked_at_s
        if looked_at_s is None or not 0 <= boot_s - looked_at_s < LOOK_EVERY_S:
            self._found = self._look_now(utc, boot_s, ask_bus=ask_bus)
            self._looked_at_s = boot_s
        return self._found

    def forget(self) -> None:
        """Look anew the next time: what was found is of a clock that has been set since."""
        self._found = Evidence()
        self._looked_at_s = -LOOK_EVERY_S

    def close(self) -> None:
        """Hang up on the bus."""
        self._bus.close()

    def _look_now(self, utc: datetime, boot_s: float, *, ask_bus: bool) -> Evidence:
        hardware, remark = look_at_hardware(self._root, utc, boot_s)
        synchronised = self._synchronised(boot_s, ask_bus=ask_bus and not hardware)
        return Evidence(synchronised=synchronised, hardware=hardware, remark=remark)

    def _synchronised(self, boot_s: float, *, ask_bus: bool) -> bool:
        kernel = self._ask_kernel()
        if kernel is not None:
            return kernel
        if _exists(self._root / TIMESYNC_FLAG):
            return True
        if not ask_bus:
            return False
        wait_s = FIRST_WAIT_S if self._looked_at_s is None else LATER_WAIT_S
        return bool(self._bus.synchronised(boot_s, wait_s=wait_s))


def look_at_hardware(root: Path, utc: datetime, boot_s: float) -> tuple[bool, str]:
    """Find out whether a battery-backed hardware clock set the clock.

    Args:
        root: where sys/ lies.
        utc: what the clock says, aware.
        boot_s: seconds since boot.

    Returns:
        (whether it did and still agrees, what is the matter with it where it did not).

    Source: Linux Documentation/ABI/testing/sysfs-class-rtc (hctosys, since_epoch). Held by
    tests/controller/clock/test_evidence.py.
    """
    remark = ""
    for clock in sorted((root / HARDWARE_CLOCKS).glob("rtc*")):
        if _first_line(clock / "hctosys") != "1":
            continue
        try:
            says = datetime.fromtimestamp(int(_first_line(clock / "since_epoch")), UTC)
        except (ValueError, OverflowError, OSError):
            remark = "the hardware clock has no time; its battery may be empty"
            continue
        if not RELEASED_UTC <= says <= PLAUSIBLE_UNTIL_UTC:
            remark = f"the hardware clock says {says:%Y-%m-%d}; its battery may be empty"
        elif abs(says - utc) > timedelta(seconds=AGREES_WITHIN_S + DRIFT * boot_s):
            remark = "the clock no longer agrees with the hardware clock"
        else:
            return True, ""
    return False, remark


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:
        return False


def _first_line(path: Path) -> str:
    try:
        return path.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return ""
