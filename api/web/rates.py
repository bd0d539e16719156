"""How often each address of the home network may ask, and for how many of them that is remembered."""

from collections import deque
from collections.abc import Callable, Mapping
from typing import Generic, TypeVar

# More addresses than a home network has machines. One that is forgotten may begin anew.
MOST_ADDRESSES = 1024
# What adding up many tenths may come to (IEEE 754).
_ROUNDING_S = 1e-9
Kept = TypeVar("Kept")


class _Table(Generic[Kept]):
    """What is known of the addresses that came last; the longest unused is forgotten first."""

    def __init__(self, make: Callable[[], Kept], most: int) -> None:
        self._make = make
        self._most = most
        self._known: dict[str, Kept] = {}

    def __len__(self) -> int:
        return len(self._known)

    def read(self, key: str) -> Kept:
        """Give what is known of an address, or of a new one."""
        return self._known.get(key) or self._make()

    def keep(self, key: str, value: Kept) -> None:
        """Remember it as the one used last."""
        self._known.pop(key, None)
        if len(self._known) >= self._most:
            del self._known[next(iter(self._known))]
        self._known[key] = value


class SteadyRate:
    """So many a second, after a burst: the generic cell rate algorithm (ITU-T I.371, annex A).

    One number an address: when it would be due if it kept to the rate.
    """

    def __init__(self, *, per_s: float, burst: int, most_addresses: int = MOST_ADDRESSES) -> None:
        self._per_s = per_s
        self._burst = burst
        self._due_s = _Table[float](float, most_addresses)

    def take(self, counted: Mapping[str, int], now_s: float) -> float:
        """Count one more where it may be, and give how many seconds it is too early; 0 where it is not."""
        early_s, due_s = 0.0, {}
        for key, times in counted.items():
            step_s = 1 / (self._per_s * times)
            due_s[key] = max(self._due_s.read(key), now_s)
            early_s = max(early_s, due_s[key] - (self._burst * times - 1) * step_s - now_s)
        if early_s <= _ROUNDING_S:
            early_s = 0.0
            for key, times in counted.items():
                self._due_s.keep(key, due_s[key] + 1 / (self._per_s * times))
        return early_s


class MostWithin:
    """So many within any stretch of time, and not one more."""

    def __init__(self, *, most: int, within_s: float, most_addresses: int = MOST_ADDRESSES) -> None:
        self._most = most
        self._within_s = within_s
        self._taken_s = _Table[deque[float]](deque, most_addresses)

    def take(self, counted: Mapping[str, int], now_s: float) -> float:
        """Count one more where it may be, and give how many seconds it is too early; 0 where it is not."""
        early_s, taken_s = 0.0, {}
        for key, times in counted.items():
            taken_s[key] = taken = self._taken_s.read(key)
            while taken and taken[0] <= now_s - self._within_s:
                taken.popleft()
            if len(taken) >= self._most * times:
                early_s = max(early_s, taken[0] + self._within_s - now_s)
        if early_s <= 0:
            for key, taken in taken_s.items():
                taken.append(now_s)
                self._taken_s.keep(key, taken)
        return early_s
