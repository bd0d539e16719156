"""What a program is made of: spans, their edges and their durations, as values.

Text becomes these values in ``parser``; ``str()`` of a value gives its canonical text back. Nothing
here knows where the sun is or what time it is: a span is only what was written.
"""

from dataclasses import dataclass
from enum import StrEnum

# A night runs from noon to noon (the program's own rule), so a clock time before this hour belongs to the
# night's second date.
NOON_HOUR = 12
LONGEST_MINUTES = 24 * 60


class SunEvent(StrEnum):
    """The four moments of the sun that an edge can name."""

    SUNSET = "sunset"
    DUSK = "dusk"
    DAWN = "dawn"
    SUNRISE = "sunrise"


@dataclass(frozen=True, kw_only=True, slots=True)
class Duration:
    """A length of time as written, so that ``90m`` and ``1h30m`` differ; over nothing, at most 24 hours."""

    hours: int = 0
    minutes: int = 0

    def __post_init__(self) -> None:
        written = f"{self.hours}h{self.minutes}m"
        if self.hours < 0 or self.minutes < 0 or not 0 < self.hours * 60 + self.minutes <= LONGEST_MINUTES:
            raise ValueError(f"a duration is longer than nothing and at most 24h, got {written}")
        if self.hours and self.minutes >= 60:  # noqa: PLR2004 (minutes in an hour)
            raise ValueError(f"beside hours there are at most 59 minutes, got {written}")

    @property
    def seconds(self) -> int:
        """The same length in seconds."""
        return (self.hours * 60 + self.minutes) * 60

    def __str__(self) -> str:
        return (f"{self.hours}h" if self.hours else "") + (f"{self.minutes}m" if self.minutes else "")


@dataclass(frozen=True, kw_only=True, slots=True)
class ClockEdge:
    """A clock time in the site's time zone; ``midnight`` is 00:00, written as a word."""

    hour: int
    minute: int
    written_midnight: bool = False

    def __post_init__(self) -> None:
        if not (0 <= self.hour < 24 and 0 <= self.minute < 60):  # noqa: PLR2004 (the clock's own numbers)
            raise ValueError(f"a clock time is 00:00 to 23:59, got {self.hour}:{self.minute}")
        if self.written_midnight and (self.hour or self.minute):
            raise ValueError(f"midnight is 00:00, got {self.hour}:{self.minute}")

    @property
    def minutes_after_noon(self) -> int:
        """Place in the night, which runs from noon (0) to noon (1440)."""
        return ((self.hour - NOON_HOUR) % 24) * 60 + self.minute

    def __str__(self) -> str:
        return "midnight" if self.written_midnight else f"{self.hour:02}:{self.minute:02}"


@dataclass(frozen=True, kw_only=True, slots=True)
class SunEdge:
    """A moment of the sun, with or without an offset: ``dusk``, ``sunset+20m``, ``dawn-1h`` (``before``)."""

    event: SunEvent
    offset: Duration | None = None
    before: bool = False

    def __post_init__(self) -> None:
        if self.before and self.offset is None:
            raise ValueError(f"“before” needs an offset: {self.event}")

    @property
    def offset_s(self) -> int:
        """Signed offset in seconds, negative before the event."""
        seconds = self.offset.seconds if self.offset else 0
        return -seconds if self.before else seconds

    def __str__(self) -> str:
        return f"{self.event}{'-' if self.before else '+'}{self.offset}" if self.offset else str(self.event)


Edge = ClockEdge | SunEdge


@dataclass(frozen=True, kw_only=True, slots=True)
class Span:
    """One stretch of light as written: ``dusk to midnight``, ``dusk for 4h, while dark``.

    Either ``ends`` (after ``to``) or ``lasts`` (after ``for``) is given; ``at_most`` only beside ``ends``.
    """

    begins: Edge
    ends: Edge | None = None
    lasts: Duration | None = None
    at_most: Duration | None = None
    while_dark: bool = False

    def __post_init__(self) -> None:
        if (self.ends is None) == (self.lasts is None):
            raise ValueError("a span has either an end or a length")
        if self.lasts is not None and self.at_most is not None:
            raise ValueError("a span that lasts a given time needs no longest time")

    @property
    def never_lights(self) -> bool:
        """Whether the clock alone shows that this span cannot give light on an ordinary night.

        True where both edges are clock times and the end comes at or before the beginning in the order of a
        night (12:00 to 23:59, then 00:00 to 11:59), and where the end is 12:00, the night's first instant.
        The one night of a clock change is left aside.
        """
        if not isinstance(self.ends, ClockEdge):
            return False
        earliest = self.begins.minutes_after_noon if isinstance(self.begins, ClockEdge) else 0
        return self.ends.minutes_after_noon <= earliest

    def __str__(self) -> str:
        text = f"{self.begins} for {self.lasts}" if self.ends is None else f"{self.begins} to {self.ends}"
        if self.at_most is not None:
            text += f", at most {self.at_most}"
        return text + (", while dark" if self.while_dark else "")
