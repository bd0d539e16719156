"""What a mechanical timer would do: two pins on a dial that turns once in 24 hours and knows no sun.

Set by hand on some day, the dial shows the local time of that day and goes on turning. When the clocks change
it does not, so from then on its pins trip an hour off by the clock on the wall. One that is moved at clock
changes is set right by the first noon after the change. A dial may also run fast or slow.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from math import floor
from zoneinfo import ZoneInfo

from config.phrase import Phrase
from controller.calendar.intervals import MS_PER_S, Interval, merge, ms_of, overlap, total_ms, utc_of, without
from controller.calendar.night import Night, local, night_on
from controller.planning.plan import Window

_CLOCK = r"((?:[01][0-9]|2[0-3]):[0-5][0-9])"
_PINS = re.compile(rf"\s*{_CLOCK}\s*(?:-|–|to)\s*{_CLOCK}\s*")
_DAY_S = 86_400
_DAY_MS = _DAY_S * MS_PER_S
_ONE_DAY = timedelta(days=1)
# A quarter of an hour a day: beyond that a dial is broken, or the number is in the wrong unit.
MOST_DRIFT_S_PER_DAY = 900.0


@dataclass(frozen=True, kw_only=True, slots=True)
class MechanicalTimer:
    """A mechanical timer with one pin for on and one for off.

    Attributes:
        on: what the dial shows when the pin switches on.
        off: what it shows when the pin switches off; before ``on`` it is that of the next day.
        set_on: the day on which the dial was set to the clock on the wall, before that day's noon.
        moved_at_clock_changes: whether somebody sets it again after every clock change.
        drift_s_per_day: seconds that it gains in a day, negative where it loses. 0, a perfect clock, is an
            assumption in its favour: no figure for real dials is at hand.
    """

    on: time
    off: time
    set_on: date
    moved_at_clock_changes: bool = False
    drift_s_per_day: float = 0.0

    def __post_init__(self) -> None:
        if self.on == self.off:
            raise ValueError(
                Phrase("the two pins of a dial cannot both stand at {at}", at=f"{self.on:%H:%M}")
            )
        if not abs(self.drift_s_per_day) <= MOST_DRIFT_S_PER_DAY:
            what = Phrase(
                "a dial drifts by at most {most:g} s a day, not {drift:g}",
                most=MOST_DRIFT_S_PER_DAY,
                drift=self.drift_s_per_day,
            )
            raise ValueError(what)


@dataclass(frozen=True, kw_only=True, slots=True)
class Pins:
    """What a dial shows when it switches on, and off."""

    on: time
    off: time


def parse_pins(text: str) -> Pins:
    """Read what a dial shows when it switches on, and off: ``21:15-23:45``.

    Raises:
        ValueError: another text; it is quoted.
    """
    match = _PINS.fullmatch(text)
    if match is None:
        what = Phrase("“{text}” names no two pins; write on and off such as 21:15-23:45", text=text)
        raise ValueError(what)
    return Pins(on=time.fromisoformat(match[1]), off=time.fromisoformat(match[2]))


@dataclass(frozen=True, kw_only=True, slots=True)
class TimerNight:
    """What the timer does in one night; times in milliseconds.

    Attributes:
        windows: when it is lit; none before the dial was set.
        daylight_ms: of ``lit_ms``, with the sun above the angle of dusk.
        unlit_ms: dark but not lit, until the off pin: what the dial's owner wanted lit and did not get.
        ahead_s: how far the dial is ahead of the clock on the wall at the night's beginning, in seconds;
            minus an hour after the clocks went forward.
    """

    night: date
    windows: tuple[Window, ...]
    lit_ms: int
    daylight_ms: int
    unlit_ms: int
    ahead_s: float


def timer_windows(timer: MechanicalTimer, night: Night, tz: ZoneInfo) -> tuple[Window, ...]:
    """Give when the timer is lit in a night, cut at the night's edges."""
    pins = f"{timer.on:%H:%M} to {timer.off:%H:%M}"
    return tuple(
        Window(on_utc=utc_of(on_ms), off_utc=utc_of(off_ms), span=pins)
        for on_ms, off_ms in _lit(timer, night, tz)
    )


def timer_nights(
    timer: MechanicalTimer, nights: Iterable[Night], *, dark: Sequence[Interval], tz: ZoneInfo
) -> tuple[TimerNight, ...]:
    """Compare the timer with the sun, night by night."""
    found = []
    for night in nights:
        starts_ms, lit = ms_of(night.starts_at_utc), _lit(timer, night, tz)
        wanted = overlap([(starts_ms, lit[-1][1])] if lit else [], dark)
        ahead_ms = _dial(timer, night, tz).reads(starts_ms) - starts_ms - _offset_ms(night, tz)
        found.append(
            TimerNight(
                night=night.date,
                windows=timer_windows(timer, night, tz),
                lit_ms=total_ms(lit),
                daylight_ms=total_ms(without(lit, dark)),
                unlit_ms=total_ms(without(wanted, lit)),
                ahead_s=ahead_ms / MS_PER_S,
            )
        )
    return tuple(found)


def _lit(timer: MechanicalTimer, night: Night, tz: ZoneInfo) -> list[Interval]:
    """Give when the timer is lit in a night, in milliseconds; nothing before it was set."""
    if night.date < timer.set_on:
        return []
    starts_ms, ends_ms = ms_of(night.starts_at_utc), ms_of(night.ends_at_utc)
    dial = _dial(timer, night, tz)
    on_ms = _pin_ms(timer.on)
    lasts_ms = (_pin_ms(timer.off) - on_ms) % _DAY_MS
    turn = floor((dial.reads(starts_ms) - on_ms) / _DAY_MS)
    # From the light that may have begun before noon to the one that may begin before the next.
    trips = [number * _DAY_MS + on_ms for number in range(turn - 1, turn + 3)]
    lit = merge((dial.instant(trip_ms), dial.instant(trip_ms + lasts_ms)) for trip_ms in trips)
    return overlap(lit, [(starts_ms, ends_ms)])


@dataclass(frozen=True, kw_only=True, slots=True)
class _Dial:
    """A disc that turns: set right at an instant, to an offset from UTC, gaining a part of the time since."""

    set_ms: int
    offset_ms: int
    gain: float

    def reads(self, at_ms: int) -> float:
        """Read it at an instant; milliseconds since 1970 by its own local time."""
        return at_ms + self.offset_ms + (at_ms - self.set_ms) * self.gain

    def instant(self, reading_ms: int) -> int:
        return self.set_ms + round((reading_ms - self.offset_ms - self.set_ms) / (1 + self.gain))


def _dial(timer: MechanicalTimer, night: Night, tz: ZoneInfo) -> _Dial:
    """Give the dial as it was last set before a night.

    One that is moved at clock changes was last set at the first noon with the present offset; without drift
    any noon of that offset gives the same, and no search is needed.
    """
    set_night = night if timer.moved_at_clock_changes else night_on(timer.set_on, tz)
    while timer.moved_at_clock_changes and timer.drift_s_per_day and set_night.date > timer.set_on:
        before = night_on(set_night.date - _ONE_DAY, tz)
        if _offset_ms(before, tz) != _offset_ms(night, tz):
            break
        set_night = before
    return _Dial(
        set_ms=ms_of(set_night.starts_at_utc),
        offset_ms=_offset_ms(set_night, tz),
        gain=timer.drift_s_per_day / _DAY_S,
    )


def _offset_ms(night: Night, tz: ZoneInfo) -> int:
    offset = local(night.starts_at_utc, tz).utcoffset()
    assert offset is not None, "a time zone has an offset at every instant"
    return offset // timedelta(milliseconds=1)


def _pin_ms(pin: time) -> int:
    """Give where a pin stands on the disc, in milliseconds after its midnight."""
    return (pin.hour * 60 + pin.minute) * 60 * MS_PER_S
