"""Evidence that something has set the clock: the kernel's own word, a time daemon's flag, a hardware clock.

Two sources can say that the clock is synchronised, because either may be shut off:

- adjtimex(2): needs no privilege and knows any time daemon; but a stricter sandbox may refuse the call.
- the flag file of systemd-timesyncd: one stat(2); but only that daemon makes it.

A hardware clock counts where the kernel says that it set the clock, where its time is plausible, and where
the two still agree. The last matters: a hardware clock without a battery starts in 1970, the system then
moves the clock forward to the last time that it had saved, and only the difference shows it.
"""

import os
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from config.phrase import Phrase
from controller.clock.kernel import kernel_synchronised, read_line
from controller.clock.trust import RELEASED_UTC, Evidence

COLLECT_EVERY_S = 2.0
"""Evidence is collected at most this often, by the boot-time clock."""

TIMESYNC_FLAG = "run/systemd/timesync/synchronized"
HARDWARE_CLOCKS = "sys/class/rtc"

AGREES_WITHIN_S = 5.0
DRIFT = 200e-6
"""Hardware clock and clock agree within whole seconds at start, and then part by the drift of two crystals;
20 to 100 parts in a million each is usual."""

PLAUSIBLE_UNTIL_UTC = RELEASED_UTC.replace(year=RELEASED_UTC.year + 30)
"""No hardware clock is believed beyond this: a broken one often starts decades ahead. A hardware clock that
runs ahead by less cannot be told from a right one; it is believed."""


class ClockEvidence:
    """Collects the evidence, and remembers it for a moment; ``root`` is where run/ and sys/ are."""

    def __init__(
        self, *, root: Path = Path("/"), ask_kernel: Callable[[], bool | None] = kernel_synchronised
    ) -> None:
        self._root = root
        self._ask_kernel = ask_kernel
        self._collected_at_s: float | None = None
        self._latest = Evidence()

    def collect(self, utc: datetime, boot_s: float) -> Evidence:
        """Give the evidence, at most COLLECT_EVERY_S old; a hardware clock is compared with ``utc``."""
        at_s = self._collected_at_s
        if at_s is None or not 0 <= boot_s - at_s < COLLECT_EVERY_S:
            synchronised = self._ask_kernel()
            if synchronised is None:
                synchronised = os.path.exists(self._root / TIMESYNC_FLAG)  # noqa: PTH110 - raises nothing
            hardware, remark = check_hardware_clock(self._root, utc, boot_s)
            self._latest = Evidence(synchronised=synchronised, hardware=hardware, remark=remark)
            self._collected_at_s = boot_s
        return self._latest

    def forget(self) -> None:
        """Collect anew the next time: the clock was set since."""
        self._collected_at_s = None


def check_hardware_clock(root: Path, utc: datetime, boot_s: float) -> tuple[bool, str]:
    """Find out whether a battery-backed hardware clock set the clock.

    Returns:
        Whether it did and still agrees; what is wrong with it where it does not.

    Source: Linux Documentation/ABI/testing/sysfs-class-rtc (hctosys, since_epoch). Held by
    tests/controller/clock/test_evidence.py.
    """
    remark = ""
    for clock in sorted((root / HARDWARE_CLOCKS).glob("rtc*")):
        if read_line(clock / "hctosys") != "1":
            continue
        try:
            hardware_utc = datetime.fromtimestamp(int(read_line(clock / "since_epoch")), UTC)
        except (ValueError, OverflowError, OSError):
            remark = Phrase("the hardware clock has no time; its battery may be empty")
            continue
        if not RELEASED_UTC <= hardware_utc <= PLAUSIBLE_UNTIL_UTC:
            says = f"{hardware_utc:%Y-%m-%d}"
            remark = Phrase("the hardware clock says {says}; its battery may be empty", says=says)
        elif abs(hardware_utc - utc) > timedelta(seconds=AGREES_WITHIN_S + DRIFT * boot_s):
            remark = Phrase("the clock no longer agrees with the hardware clock")
        else:
            return True, ""
    return False, remark
