"""Failed tries to get in: how many a minute are listened to, and which of them are recorded."""

from __future__ import annotations

from collections import deque

# Wrong codes of all clients together that are listened to in a minute.
MOST_A_MINUTE = 5
MINUTE_S = 60.0
# A phone whose token was revoked may ask every few seconds for months: of each kind and address one try an
# hour is recorded, and of all together so many.
AGAIN_AFTER_S = 3600.0
MOST_RECORDED = 12


class FailedTries:
    """Counts failed tries by the boot-time clock.

    Attributes:
        count: all since the start.
    """

    def __init__(self) -> None:
        self.count = 0
        self._wrong_codes: deque[float] = deque(maxlen=MOST_A_MINUTE)
        self._recorded: dict[tuple[str, str], float] = {}

    def wait_s(self, boot_s: float) -> float:
        """Say how long no code is listened to; 0 where one is."""
        if len(self._wrong_codes) < MOST_A_MINUTE:
            return 0.0
        return max(0.0, self._wrong_codes[0] + MINUTE_S - boot_s)

    def add_wrong_code(self, boot_s: float) -> None:
        """Count a wrong code against the limit."""
        self._wrong_codes.append(boot_s)

    def add(self, what: str, address: str, boot_s: float) -> bool:
        """Count a failed try of some kind; whether it is to be recorded."""
        self.count += 1
        self._recorded = {key: at_s for key, at_s in self._recorded.items() if boot_s - at_s < AGAIN_AFTER_S}
        if (what, address) in self._recorded or len(self._recorded) >= MOST_RECORDED:
            return False
        self._recorded[what, address] = boot_s
        return True
