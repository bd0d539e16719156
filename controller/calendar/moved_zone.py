"""The local time of a site whose time zone was changed: to its nights, that is one more clock change."""

from bisect import bisect_right
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo


class MovedZone(ZoneInfo):
    """One time zone up to an instant, another from then on, and so forth; its key is that of the last.

    Local times are read as RFC 5545, section 3.3.5, reads them at any clock change: one that occurs twice
    means its first occurrence, one that does not occur is read with the UTC offset from before the gap.

    Held by tests/controller/calendar/test_moved_zone.py.
    """

    _zones: tuple[ZoneInfo, ...]
    _since_utc: tuple[datetime, ...]

    @classmethod
    def of(cls, moves: Sequence[tuple[datetime, ZoneInfo]]) -> ZoneInfo:
        """Join time zones, each from an instant on, in order; the first holds at all times before, too."""
        moves = [
            each for number, each in enumerate(moves) if not number or each[1] is not moves[number - 1][1]
        ]
        if len(moves) == 1:
            return moves[0][1]
        moved = cls.no_cache(moves[-1][1].key)
        # Ours, but made by a class method of ZoneInfo that takes no more arguments.
        moved._zones = tuple(zone for _, zone in moves)  # noqa: SLF001
        moved._since_utc = tuple(since_utc for since_utc, _ in moves[1:])  # noqa: SLF001
        return moved

    def fromutc(self, dt: datetime, /) -> datetime:
        """Give the local time of an instant; see ``datetime.tzinfo``."""
        at_utc = dt.replace(tzinfo=UTC)
        zone = self._zones[bisect_right(self._since_utc, at_utc)]
        found = at_utc.astimezone(zone).replace(tzinfo=self, fold=0)
        return found if found.astimezone(UTC) == at_utc else found.replace(fold=1)

    def utcoffset(self, dt: datetime | None, /) -> timedelta | None:
        """Give the offset of a local time from UTC; see ``datetime.tzinfo``."""
        return None if dt is None else self._in_zone(dt).utcoffset()

    def dst(self, dt: datetime | None, /) -> timedelta | None:
        """Give the part of the offset that is summer time; see ``datetime.tzinfo``."""
        return None if dt is None else self._in_zone(dt).dst()

    def tzname(self, dt: datetime | None, /) -> str | None:
        """Give the abbreviation of the time zone at a local time; see ``datetime.tzinfo``."""
        return None if dt is None else self._in_zone(dt).tzname()

    def _in_zone(self, dt: datetime) -> datetime:
        """Give a local time in the one of the zones that it is read in."""
        readings = [dt.replace(tzinfo=zone, fold=fold) for zone in self._zones for fold in (0, 1)]
        occurs = [reading for number, reading in enumerate(readings) if self._shows(number // 2, reading)]
        if occurs:
            return occurs[-1 if dt.fold else 0]
        # Skipped: by a move, where the zone before it has passed this time at the move, else within a zone.
        wall, before = dt.replace(tzinfo=None), 0
        for number, since_utc in enumerate(self._since_utc, start=1):
            if wall >= since_utc.astimezone(self._zones[number]).replace(tzinfo=None):
                before = number
        if dt.fold and before + 1 < len(self._zones):
            ends = self._since_utc[before].astimezone(self._zones[before]).replace(tzinfo=None)
            before += wall >= ends
        return dt.replace(tzinfo=self._zones[before])

    def _shows(self, number: int, reading: datetime) -> bool:
        """Whether the clock shows that reading of one of the zones while the zone is in force."""
        at_utc, zone = reading.astimezone(UTC), self._zones[number]
        wall = at_utc.astimezone(zone).replace(tzinfo=None)
        return wall == reading.replace(tzinfo=None) and bisect_right(self._since_utc, at_utc) == number
