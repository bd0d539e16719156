"""When something really happened that was recorded before the clock could be trusted.

Every entry of the journal carries the boot-time clock too, which nobody sets. So one trusted entry of a boot
gives the true instant of all others of that boot.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta

from controller.records.reading import Reading


class ClockCorrection:
    """Corrects readings of clocks that were not trusted, by the trusted ones among all that are known."""

    def __init__(self, readings: Iterable[Reading]) -> None:
        by_boot: dict[str, list[tuple[float, datetime]]] = defaultdict(list)
        for reading in readings:
            if reading.trusted:
                by_boot[reading.boot_id].append((reading.boot_s, reading.utc))
        self._anchors = {boot: sorted(anchors) for boot, anchors in by_boot.items()}

    def utc_of(self, reading: Reading) -> datetime | None:
        """Give the true instant of a reading; None where no clock of that boot was ever trusted.

        Measured from the next trusted reading of the same boot, else from the last.
        """
        if reading.trusted:
            return reading.utc
        anchors = self._anchors.get(reading.boot_id)
        if not anchors:
            return None
        place = bisect_left(anchors, reading.boot_s, key=lambda anchor: anchor[0])
        boot_s, utc = anchors[min(place, len(anchors) - 1)]
        return utc - timedelta(seconds=boot_s - reading.boot_s)
