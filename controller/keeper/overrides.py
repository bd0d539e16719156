"""Overrides in force: each is recorded in the journal when it is placed and when it ends."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from controller.keeper.recorder import JournalLike
from controller.planning.decision import seconds_left
from controller.records.entries import Override, OverrideEnded
from controller.records.reading import Reading

ZONE_REMOVED = "the zone was removed"
OVER = "its time was over"


class ActiveOverrides:
    """Keeps at most one override for each zone."""

    def __init__(self, journal: JournalLike) -> None:
        self._journal = journal
        self._by_zone: dict[str, Override] = {}

    @property
    def by_zone(self) -> Mapping[str, Override]:
        """Those that were placed and have not ended yet."""
        return self._by_zone

    def of(self, zone_id: str) -> Override | None:
        """Give the zone's override, if it has one."""
        return self._by_zone.get(zone_id)

    def place(self, override: Override) -> None:
        """Place one, in place of an older one of its zone."""
        self._by_zone[override.zone] = override
        self._journal.append(override)

    def lift(self, zone_id: str, at: Reading, *, by: str) -> bool:
        """End one before its time; False where there was none."""
        if self._by_zone.pop(zone_id, None) is None:
            return False
        self._record_end(zone_id, at, f"lifted by {by}")
        return True

    def end_if_over(self, zone_id: str, now: Reading) -> None:
        """End the zone's override once its time is over."""
        override = self._by_zone.get(zone_id)
        left_s = None if override is None else seconds_left(override, now)
        if left_s is not None and left_s <= 0:
            del self._by_zone[zone_id]
            self._record_end(zone_id, now, OVER)

    def restore(self, earlier: Iterable[Override], zones: Collection[str], at: Reading) -> None:
        """Restore those of the previous run, which the journal has already; newer ones stay."""
        for override in earlier:
            if override.zone in zones:
                self._by_zone.setdefault(override.zone, override)
            else:
                self._record_end(override.zone, at, ZONE_REMOVED)

    def keep_only(self, zones: Collection[str], at: Reading) -> None:
        """End those of zones that were removed."""
        for zone_id in [each for each in self._by_zone if each not in zones]:
            del self._by_zone[zone_id]
            self._record_end(zone_id, at, ZONE_REMOVED)

    def _record_end(self, zone_id: str, at: Reading, words: str) -> None:
        self._journal.append(OverrideEnded(zone=zone_id, at=at, words=words))
