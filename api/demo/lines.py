"""The demonstration as text: a line for each thing that happens, for a pipe, and the closing summary."""

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

from api.demo.evening import DemoResult, Evening, Frame
from api.render.numbers import count, spell_duration
from api.render.tables import TableColumn, build_table, show
from controller.records.entries import Cause
from controller.sun.sun import SUNSET_ANGLE_DEG


class Lines:
    """Gives ``write`` a line for each event, once."""

    def __init__(self, write: Callable[[str], None]) -> None:
        self._write = write
        self._written = 0
        self._evening: Evening | None = None
        self._sun: list[tuple[datetime, str]] = []

    def show(self, frame: Frame) -> None:
        """Write what is new in a frame."""
        if self._evening is None:
            self._write(f"{frame.planner.site.name}, an evening at {frame.pace:,.0f} times normal speed")
            self._write(frame.address)
        news = []
        if frame.evening != self._evening:
            self._evening = frame.evening
            self._sun = sun_events(frame)
            words = f"the evening of {frame.evening.night.date:%a %d %b %Y}"
            news.append((frame.evening.starts_at_utc, words))
        news += [event for event in self._sun if event[0] <= frame.at_utc]
        self._sun = [event for event in self._sun if event[0] > frame.at_utc]
        for switching in frame.switchings[self._written :]:
            change = "lit" if switching.on else "dark"
            words = f"{frame.name_of(switching.zone)} {change}: {switching.words}"
            news.append((switching.at.utc, words))
        self._written = len(frame.switchings)
        for at_utc, words in sorted(news, key=lambda event: event[0]):
            self._write(f"{frame.local(at_utc):%H:%M:%S}  {words}")


def sun_events(frame: Frame) -> list[tuple[datetime, str]]:
    """Return the sunset and the dusk of an evening, where they fall into it."""
    night, sun, dusk_angle_deg = frame.evening.night, frame.planner.sun, frame.planner.site.dusk_angle_deg
    events = (
        (sun.dusk(night, SUNSET_ANGLE_DEG), "sunset"),
        (sun.dusk(night, dusk_angle_deg), f"dusk: the sun is {dusk_angle_deg:g}° below the horizon"),
    )
    starts_at_utc, ends_at_utc = frame.evening.starts_at_utc, frame.evening.ends_at_utc
    return [(at, words) for at, words in events if at is not None and starts_at_utc < at < ends_at_utc]


def zone_row(frame: Frame, zone_id: str) -> list[str]:
    """Return a row of the summary: how long a zone was lit, its energy, and whether it was lit to the end."""
    lit = sum((off - on for on, off in frame.lit_intervals(zone_id)), timedelta(0))
    last = next((each for each in reversed(frame.switchings) if each.zone == zone_id), None)
    load_w = None if last is None else last.load_w
    return [
        frame.name_of(zone_id),
        spell_duration(lit) if lit else "not at all",
        "" if load_w is None else f"{load_w * lit.total_seconds() / 3600:.0f} Wh",
        "was still lit" if last and not last.on and last.cause is Cause.STOPPED else "",
    ]


def print_summary(result: DemoResult, write: Callable[[str], None], hints: Sequence[str]) -> None:
    """Print how long each zone was lit, and what to do next."""
    first, last = result.first, result.last
    starts, ends = first.local(first.at_utc), last.local(last.at_utc)
    over = "The evening is over" if result.is_complete else "Ended before the evening was over"
    write("")
    write(f"{over}: {starts:%H:%M} to {ends:%H:%M}, {spell_duration(ends - starts)}.")
    write("")
    rows = [zone_row(last, zone.id) for zone in last.planner.site.zones]
    numbers = [TableColumn(heading=each, right=True) for each in ("Lit for", "Energy of the lamps")]
    columns = [TableColumn(heading="Zone"), *numbers, TableColumn(heading="")]
    show(build_table(columns, rows))
    write("")
    write(f"{count(len(last.switchings), 'switching')}; every relay was simulated.")
    for hint in hints:
        write(hint)
