"""The night, from one local noon to the next, and local time to UTC and back.

Every clock time falls into a night exactly once, so nothing named by its night is lost or counted twice.
"""

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from controller.calendar.intervals import Interval, ms_of

NOON = time(12)
"""Clock time at which a night begins: the one farthest from anything that a garden light does."""

_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, kw_only=True, slots=True)
class Night:
    """One night of one time zone, named by the local date on which it begins.

    Attributes:
        ends_at_utc: the next noon, not included; equal to the beginning where the time zone skipped the whole
            date, by crossing the date line.
    """

    date: date
    starts_at_utc: datetime
    ends_at_utc: datetime

    def __post_init__(self) -> None:
        if self.starts_at_utc.tzinfo is not UTC or self.ends_at_utc.tzinfo is not UTC:
            edges = f"{self.starts_at_utc!r} and {self.ends_at_utc!r}"
            raise ValueError(f"a night begins and ends in UTC, got {edges}")
        if self.ends_at_utc < self.starts_at_utc:
            raise ValueError(f"the night of {self.date} would end before it begins")

    def __hash__(self) -> int:
        """Hash the date alone, which is cheap: equal nights share it, and others seldom do."""
        return hash(self.date)

    @property
    def interval(self) -> Interval:
        """The same in milliseconds since 1970."""
        return ms_of(self.starts_at_utc), ms_of(self.ends_at_utc)

    def holds(self, at_utc: datetime) -> bool:
        """Whether the instant lies in this night; its beginning does, its end does not."""
        return self.starts_at_utc <= at_utc < self.ends_at_utc


def zone_info(name: str) -> ZoneInfo:
    """Find a time zone by its name in the tz database.

    Raises:
        ValueError: there is no such zone.
    """
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as fault:  # unknown; not a name; the name of a folder
        raise ValueError(f"“{name}” is not a time zone; write a name such as Europe/London") from fault


def utc_of_local(naive_local: datetime, tz: ZoneInfo) -> datetime:
    """Turn a wall-clock time into the instant that it means.

    A time that occurs twice means its first occurrence; one that does not occur is read with the UTC
    offset from before the gap.

    Raises:
        ValueError: a time that already has a zone, or one at the very edge of the calendar.

    Source: RFC 5545, section 3.3.5, form 3; held by ``test_night.py`` on real clock changes.
    """
    if naive_local.tzinfo is not None:
        raise ValueError(f"a wall-clock time carries no zone, got {naive_local!r}")
    try:
        # fold=0 asks for exactly what the RFC says, in a gap as in a repeated hour (PEP 495).
        return naive_local.replace(tzinfo=tz, fold=0).astimezone(UTC)
    except OverflowError as fault:
        raise ValueError(f"{naive_local} in {tz.key} lies outside the calendar") from fault


def local(at_utc: datetime, tz: ZoneInfo) -> datetime:
    """Turn an instant into the local time of a zone.

    Raises:
        ValueError: a naive time, which names no instant, or one at the very edge of the calendar.
    """
    if at_utc.tzinfo is None:
        raise ValueError(f"an instant needs a zone, got the naive {at_utc!r}")
    try:
        return at_utc.astimezone(tz)
    except OverflowError as fault:
        raise ValueError(f"{at_utc} lies outside the calendar of {tz.key}") from fault


def night_on(on_date: date, tz: ZoneInfo) -> Night:
    """Give the night that begins at noon of a local date.

    Raises:
        TypeError: a ``datetime`` instead of a date, because its time would be lost.
        ValueError: the last date of the calendar.
    """
    if isinstance(on_date, datetime):
        raise TypeError(f"a night is named by a date, got {on_date!r}")
    noon = datetime.combine(on_date, NOON)
    try:
        next_noon = noon + _ONE_DAY
    except OverflowError as fault:
        raise ValueError(f"the night of {on_date} lies outside the calendar") from fault
    return Night(date=on_date, starts_at_utc=utc_of_local(noon, tz), ends_at_utc=utc_of_local(next_noon, tz))


def night_at(at_utc: datetime, tz: ZoneInfo) -> Night:
    """Give the night that an instant falls into.

    Raises:
        ValueError: a naive time, or one at the very edge of the calendar.
    """
    night = night_on(local(at_utc, tz).date(), tz)
    # The clock face alone does not tell: around a skipped or a repeated date the night before or after
    # may be empty, or longer than a day. The nights tile time, so walking along them always arrives.
    while at_utc < night.starts_at_utc:
        if night.date == date.min:
            raise ValueError(f"the night of {at_utc} lies outside the calendar")
        night = night_on(night.date - _ONE_DAY, tz)
    while at_utc >= night.ends_at_utc:
        night = night_on(night.date + _ONE_DAY, tz)
    return night


def nights(first: date, last: date, tz: ZoneInfo) -> Iterator[Night]:
    """Give the nights from one date to another, both included; none where the last is before the first."""
    if first > last:
        return
    night = night_on(first, tz)
    yield night
    while night.date < last:
        on_date = night.date + _ONE_DAY
        next_noon_utc = utc_of_local(datetime.combine(on_date, NOON) + _ONE_DAY, tz)
        night = Night(date=on_date, starts_at_utc=night.ends_at_utc, ends_at_utc=next_noon_utc)
        yield night


def clock_in_night(night: Night, hour: int, minute: int, tz: ZoneInfo) -> datetime:
    """Give the instant of a clock time in a night.

    From 12:00 on it is on the night's own date, before that on the next.

    Returns:
        An instant inside the night or at its end, never outside. 00:00 is the first instant of the next
        local date, also where that date has no 00:00 or has it twice.

    Raises:
        ValueError: an hour or minute that no clock shows.

    Source: RFC 5545, section 3.3.5; held by tests/controller/calendar/test_night_clock.py.
    """
    on_date = night.date if hour >= NOON.hour else night.date + _ONE_DAY
    at_utc = utc_of_local(datetime.combine(on_date, time(hour, minute)), tz)
    if hour == 0 and minute == 0:
        at_utc = _first_instant(at_utc, on_date, tz)
    # A clock change across noon, or a skipped date, may push a clock time over the edge of its night.
    return min(max(at_utc, night.starts_at_utc), night.ends_at_utc)


def _first_instant(midnight_utc: datetime, on_date: date, tz: ZoneInfo) -> datetime:
    """Give the first instant of a local date, from what RFC 5545 makes of its 00:00.

    The two differ only where a gap begins before midnight and ends after it, as 23:30 to 00:30 did in
    Toronto in 1919: the RFC counts on from before the gap, but the new date begins with the change itself.
    """

    def is_date_before(seconds_before: int) -> bool:
        return local(midnight_utc - timedelta(seconds=seconds_before), tz).date() < on_date

    if is_date_before(1):
        return midnight_utc
    first_s = bisect_left(range(86_400), x=True, key=is_date_before) - 1  # searches a day back
    return midnight_utc - timedelta(seconds=first_s)
