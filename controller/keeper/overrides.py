"""Overrides in force: each is recorded in the journal when it is placed and when it ends."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from controller.keeper.recorder import JournalLike
from controller.planning.decision import seconds_left
from controller.records.entries import Override, OverrideEnded
from controller.records.reading import Reading

GONE = "the zone is gone"
OVER = "its time was over"


class ActiveOverrides:
    """Keeps at most one override a zone.

    Args:
        journal: is told of each.
    """

    def __init__(self, journal: JournalLike) -> None:
        """Begin without any."""
        self._journal = journal
        self._by_zone: dict[str, Override] = {}

    @property
    def by_zone(self) -> Mapping[str, Override]:
        """Those that were placed and not ended yet, by zone."""
        return self._by_zone

    def of(self, zone_id: str) -> Override | None:
        """Give a zone's, if there is one."""
        return self._by_zone.get(zone_id)

    def place(self, wish: Override) -> None:
        """Take one; it takes the place of an older one of its zone."""
        self._by_zone[wish.zone] = wish
        self._journal.append(wish)

    def lift(self, zone_id: str, at: Reading, *, by: str) -> bool:
        """End a zone's before its time; False where there was none."""
        if self._by_zone.pop(zone_id, None) is None:
            return False
        self._tell_end(zone_id, at, f"lifted by {by}")
        return True

    def end_if_over(self, zone_id: str, now: Reading) -> None:
        """Let go of a zone's whose time is over."""
        wish = self._by_zone.get(zone_id)
        left_s = None if wish is None else seconds_left(wish, now)
        if left_s is not None and left_s <= 0:
            del self._by_zone[zone_id]
            self._tell_end(zone_id, now, OVER)

    def restore(self, earlier: Iterable[Override], zones: Collection[str], at: Reading) -> None:
        """Take those of an earlier keeper, which the journal knows already; newer ones stand."""
        for wish in earlier:
            if wish.zone in zones:
                self._by_zone.setdefault(wish.zone, wish)
            else:
                self._tell_end(wish.zone, at, GONE)

    def keep_only(self, zones: Collection[str], at: Reading) -> None:
        """End those of zones that are no more."""
        for zone_id in [each for each in self._by_zone if each not in zones]:
            del self._by_zone[zone_id]
            self._tell_end(zone_id, at, GONE)

    def _tell_end(self, zone_id: str, at: Reading, words: str) -> None:
        """Close the account of one."""
        self._journal.append(OverrideEnded(zone=zone_id, at=at, words=words))
