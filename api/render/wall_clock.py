"""The clock on the wall over one night: from instants to hours since its noon, across a clock change.

On the night on which the clocks go forward an hour of the wall is missing; on the night on which they go back
an hour comes twice, and both of its times are one stretch of the wall.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from zoneinfo import ZoneInfo

from controller.calendar.intervals import MS_PER_HOUR, Interval, merge, ms_of, overlap, utc_of
from controller.calendar.night import Night, local

_ONE_MS = timedelta(milliseconds=1)


class WallClock:
    """The clock on the wall over one night.

    Attributes:
        by_ms: by how much it is changed in this night, positive is forward; 0 on nearly every night.
    """

    def __init__(self, night: Night, tz: ZoneInfo) -> None:
        """Find the clock change of the night, if there is one."""
        self._tz = tz
        self._noon_ms, self._ends_ms = ms_of(night.starts_at_utc), ms_of(night.ends_at_utc)
        self._change_ms = self._ends_ms
        self.by_ms = 0
        before_ms, after_ms = self._noon_ms, max(self._ends_ms - 1, self._noon_ms)
        offset_ms = self._offset_ms(before_ms)
        if self._offset_ms(after_ms) != offset_ms:
            while after_ms - before_ms > 1:
                middle_ms = (before_ms + after_ms) // 2
                if self._offset_ms(middle_ms) == offset_ms:
                    before_ms = middle_ms
                else:
                    after_ms = middle_ms
            self._change_ms = after_ms
            self.by_ms = self._offset_ms(after_ms) - offset_ms

    @property
    def change_h(self) -> float:
        """Hour of the wall at which the clock is changed, as it shows before."""
        return (self._change_ms - self._noon_ms) / MS_PER_HOUR

    def hours(self, intervals: Sequence[Interval]) -> list[tuple[float, float]]:
        """Turn intervals of this night into stretches of the wall, joined where they overlap on it."""
        parts = merge(intervals)
        before = overlap(parts, [(self._noon_ms, self._change_ms)])
        after = overlap(parts, [(self._change_ms, self._ends_ms)])
        on_wall = merge([*before, *((starts + self.by_ms, ends + self.by_ms) for starts, ends in after)])
        return [((a - self._noon_ms) / MS_PER_HOUR, (b - self._noon_ms) / MS_PER_HOUR) for a, b in on_wall]

    def _offset_ms(self, at_ms: int) -> int:
        """How far the wall is ahead of UTC at an instant."""
        offset = local(utc_of(at_ms), self._tz).utcoffset()
        assert offset is not None, "a time zone has an offset at every instant"
        return offset // _ONE_MS
