"""Looking for evidence that something has set the clock: the kernel, the time daemon, a hardware clock."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from controller.clock_trust import Evidence
from controller.kernel_clock import kernel_synchronised

LOOK_EVERY_S = 2.0
"""Evidence is looked for at most this often, on the boot-time clock."""

TIMESYNC_FLAG = "run/systemd/timesync/synchronized"


class Witness:
    """Looks for evidence, and remembers it for a moment."""

    def __init__(
        self,
        *,
        root: Path = Path("/"),
        ask_kernel: Callable[[], bool | None] = kernel_synchronised,
    ) -> None:
        """Look under ``root``, and ask the kernel through ``ask_kernel``."""
        self._root = root
        self._ask_kernel = ask_kernel
        self._looked_at_s: float | None = None
        self._found = Evidence()

    def look(self, utc: datetime, boot_s: float) -> Evidence:
        """Say what there is, no more than LOOK_EVERY_S old."""
        if self._looked_at_s is None or not 0 <= boot_s - self._looked_at_s < LOOK_EVERY_S:
            self._looked_at_s = boot_s
            synchronised = bool(self._ask_kernel()) or (self._root / TIMESYNC_FLAG).exists()
            self._found = Evidence(synchronised=synchronised)
        return self._found
