"""The demonstration in words: a line for each thing that happens, for a pipe, and the closing summary."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from datetime import datetime, timedelta

from api.demo.evening import Evening, Frame, Seen, sum_up
from api.demo.sky import sky_word
from api.render.tables import TableColumn, build_table, count, show, spell_duration
from controller.planning.planner import Planner
from controller.records.entries import Cause
from controller.sun.sun import SUNSET_ANGLE_DEG


class Lines:
    """Tells what happens, a line each, as it happens; nothing is told twice.

    Args:
        say: writes one line.
    """

    def __init__(self, say: Callable[[str], None]) -> None:
        """Nothing is told yet."""
        self._say = say
        self._told = 0
        self._begun: Evening | None = None
        self._moments: list[tuple[datetime, str]] = []

    def show(self, scene: Frame) -> None:
        """Tell what is new in a scene."""
        if self._begun is None:
            self._say(f"{scene.planner.site.name}, an evening {scene.pace:,.0f} times as fast as it is")
            self._say(scene.address)
        if scene.evening != self._begun:
            self._begun = scene.evening
            self._moments = sun_moments(scene.planner, scene.evening)
            words = f"the evening of {scene.evening.night.date:%a %d %b %Y}"
            self._tell(scene, scene.evening.starts_at_utc, words)
        news = [(at_utc, words) for at_utc, words in self._moments if at_utc <= scene.at_utc]
        self._moments = [moment for moment in self._moments if moment not in news]
        names = {zone.id: zone.name for zone in scene.planner.site.zones}
        for switching in scene.switchings[self._told :]:
            lit = "is lit" if switching.on else "goes dark"
            news.append((switching.at.utc, f"{names.get(switching.zone)} {lit}: {switching.words}"))
        self._told = len(scene.switchings)
        for at_utc, words in sorted(news, key=lambda each: each[0]):
            self._tell(scene, at_utc, words)

    def _tell(self, scene: Frame, at_utc: datetime, words: str) -> None:
        """Write one line with its local time."""
        self._say(f"{at_utc.astimezone(scene.planner.tz):%H:%M:%S}  {words}")


@contextlib.contextmanager
def tell_lines(say: Callable[[str], None]) -> Iterator[Lines]:
    """Open the display for a pipe."""
    yield Lines(say)


def sun_moments(planner: Planner, evening: Evening) -> list[tuple[datetime, str]]:
    """Give the sunset and the dusk that fall into an evening, in words."""
    night, dusk_angle_deg = evening.night, planner.site.dusk_angle_deg
    found = (
        (planner.sky.dusk(night, SUNSET_ANGLE_DEG), "sunset"),
        (planner.sky.dusk(night, dusk_angle_deg), f"dusk: the sun is {dusk_angle_deg:g}° below the horizon"),
    )
    return [
        (at_utc, words)
        for at_utc, words in found
        if at_utc is not None and evening.starts_at_utc < at_utc < evening.ends_at_utc
    ]


def print_summary(seen: Seen, say: Callable[[str], None], hints: Sequence[str]) -> None:
    """Print how long each zone was lit, and how to go on."""
    tz = seen.planner.tz
    starts, ends = (at_utc.astimezone(tz) for at_utc in (seen.started_at_utc, seen.ended_at_utc))
    passed = spell_duration(ends - starts)
    how = "The evening is over" if seen.whole else "Ended before the evening was over"
    height_deg = seen.planner.sky.elevation_deg(seen.ended_at_utc)
    say("")
    say(f"{how}: {passed} passed, from {starts:%H:%M} to {ends:%H:%M}, now {sky_word(height_deg)}. Lit were:")
    say("")
    sums = sum_up(seen.switchings, [zone.id for zone in seen.planner.site.zones], seen.ended_at_utc)
    rows = [
        [
            seen.planner.site.zone(each.zone).name,
            spell_duration(timedelta(seconds=each.lit_s)) if each.lit_s else "not at all",
            "" if each.energy_wh is None else f"{each.energy_wh:.0f} Wh",
            "was still lit" if each.ended_by is Cause.STOPPED else "",
        ]
        for each in sums
    ]
    columns = [
        TableColumn(heading="Zone"),
        TableColumn(heading="Lit for", right=True),
        TableColumn(heading="Lamps took", right=True),
        TableColumn(heading=""),
    ]
    show(build_table(columns, rows))
    say("")
    say(f"{count(len(seen.switchings), 'switching')}; no relay was really switched.")
    for hint in hints:
        say(hint)
