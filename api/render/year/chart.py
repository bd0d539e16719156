"""The year's picture as plain numbers: nights across, noon to noon upwards, sky and lit hours in each.

Upwards runs the clock on the wall, in hours since noon: 12 is midnight, 24 the next noon. So a clock time is
a level line, and a clock change shows as a step in the dusk. Where an hour of the wall is missing nothing is
drawn; where one comes twice, what happened in either is drawn over it.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from api.render.words import Words
from controller.calendar.intervals import (
    MS_PER_HOUR,
    Interval,
    merge,
    ms_of,
    overlap,
    share_out,
    total_ms,
    utc_of,
    without,
)
from controller.calendar.night import Night, local

_MIDNIGHT_H = 12
_ONE_MS = timedelta(milliseconds=1)


class SkyLight(StrEnum):
    """How light the sky is."""

    DAY = "day"
    TWILIGHT = "twilight"
    DARK = "dark"


Stretch = tuple[float, float]
"""From one hour to another, counted from noon on the wall."""


@dataclass(frozen=True, kw_only=True, slots=True)
class NightColumn:
    """One night, by its place from the left: the light of the sky from noon upwards, and what is lit."""

    index: int
    night: date
    shades: Mapping[SkyLight, Sequence[Stretch]]
    bars: Mapping[str, Sequence[Stretch]]


@dataclass(frozen=True, kw_only=True, slots=True)
class ClockChange:
    """A clock change: in which night, at which hour of the wall, by how many hours; positive is forward."""

    index: int
    night: date
    at_h: float
    by_h: float

    @property
    def day(self) -> date:
        """Date of the clock change."""
        return self.night + timedelta(days=self.at_h >= _MIDNIGHT_H)


@dataclass(frozen=True, kw_only=True, slots=True)
class YearChart:
    """The whole picture; ``lit_h`` holds true lengths, also where an hour comes twice."""

    columns: tuple[NightColumn, ...]
    changes: tuple[ClockChange, ...]
    lit_h: Mapping[str, float]

    def nights_lit(self, zone: str) -> int:
        """Count the nights on which a zone was or will be lit."""
        return sum(bool(column.bars[zone]) for column in self.columns)


class WallClock:
    """The clock on the wall over one night: from instants to hours since its noon, across a clock change.

    Where an hour comes twice, both of its times are one stretch of the wall.

    Attributes:
        by_ms: by how much the clock is changed in this night, positive is forward.
        change_h: hour of the wall at which the clock is changed, as it shows before.
    """

    def __init__(self, night: Night, tz: ZoneInfo) -> None:
        self._tz = tz
        self._noon_ms, self._ends_ms = ms_of(night.starts_at_utc), ms_of(night.ends_at_utc)
        offset_ms = self._offset_ms(self._noon_ms)
        self.by_ms = self._offset_ms(self._ends_ms - 1) - offset_ms
        self._change_ms = self._ends_ms
        if self.by_ms:
            night_ms = range(self._noon_ms, self._ends_ms)
            changed = bisect_left(night_ms, 1, key=lambda at_ms: self._offset_ms(at_ms) != offset_ms)
            self._change_ms = night_ms[changed]
        self.change_h = (self._change_ms - self._noon_ms) / MS_PER_HOUR

    def hours(self, intervals: Sequence[Interval]) -> list[Stretch]:
        """Turn intervals of this night into stretches of the wall, joined where they overlap on it."""
        parts = merge(intervals)
        before = overlap(parts, [(self._noon_ms, self._change_ms)])
        after = overlap(parts, [(self._change_ms, self._ends_ms)])
        on_wall = merge([*before, *((starts + self.by_ms, ends + self.by_ms) for starts, ends in after)])
        return [((a - self._noon_ms) / MS_PER_HOUR, (b - self._noon_ms) / MS_PER_HOUR) for a, b in on_wall]

    def _offset_ms(self, at_ms: int) -> int:
        offset = local(utc_of(at_ms), self._tz).utcoffset()
        assert offset is not None, "a time zone has an offset at every instant"
        return offset // _ONE_MS


def draw_year(
    nights: Sequence[Night],
    lit: Mapping[str, Sequence[Interval]],
    *,
    below: Sequence[Interval],
    dark: Sequence[Interval],
    tz: ZoneInfo,
) -> YearChart:
    """Lay out a year, or any nights in a row.

    Args:
        nights: in order, each following the one before.
        lit: for each zone when it was or will be lit, in milliseconds since 1970; runs and windows alike.
        below: when the sun is below the horizon.
        dark: when it is dark.
        tz: time zone of the site.

    Held by tests/api/render/year/test_chart.py.
    """
    boxes = [(ms_of(night.starts_at_utc), ms_of(night.ends_at_utc)) for night in nights]
    shares = {zone: share_out(intervals, boxes) for zone, intervals in lit.items()}
    skies = zip(share_out(below, boxes), share_out(dark, boxes), strict=True)
    columns = []
    changes = []
    for index, (night, (below_then, dark_then)) in enumerate(zip(nights, skies, strict=True)):
        wall = WallClock(night, tz)
        bars = {zone: wall.hours(share[index]) for zone, share in shares.items()}
        shades = {
            SkyLight.DAY: wall.hours(without([boxes[index]], below_then)),
            SkyLight.TWILIGHT: wall.hours(without(below_then, dark_then)),
            SkyLight.DARK: wall.hours(dark_then),
        }
        columns.append(NightColumn(index=index, night=night.date, shades=shades, bars=bars))
        if wall.by_ms:
            by_h = wall.by_ms / MS_PER_HOUR
            changes.append(ClockChange(index=index, night=night.date, at_h=wall.change_h, by_h=by_h))
    return YearChart(
        columns=tuple(columns),
        changes=tuple(changes),
        lit_h={zone: sum(map(total_ms, share)) / MS_PER_HOUR for zone, share in shares.items()},
    )


def describe(picture: YearChart, words: Words, names: Mapping[str, str] | None = None) -> str:
    """Put the picture into words, for somebody who cannot see it; ``names`` are of the zones to describe."""
    _, ngettext = words.gettext, words.ngettext
    if not picture.columns:
        return _("No nights.")
    first, last, count = picture.columns[0].night, picture.columns[-1].night, len(picture.columns)
    dates = {"first": words.full_date(first), "last": words.full_date(last)}
    said = ngettext("%(num)d night, %(first)s to %(last)s.", "%(num)d nights, %(first)s to %(last)s.", count)
    sentences = [said % {"num": count, **dates}]
    known = [
        (dark[0][0], column.night) for column in picture.columns if (dark := column.shades[SkyLight.DARK])
    ]
    if known:
        (early_h, early), (late_h, late) = min(known), max(known)
        sentences.append(
            _(
                "It gets dark at %(early)s at the earliest, on %(early_day)s, and at %(late)s at the latest, "
                "on %(late_day)s."
            )
            % {
                "early": words.time_of_day(_wall(early_h)),
                "early_day": words.full_date(early),
                "late": words.time_of_day(_wall(late_h)),
                "late_day": words.full_date(late),
            }
        )
    if without_dark := count - len(known):
        said = ngettext(
            "On %(num)d night it does not get dark.", "On %(num)d nights it does not get dark.", without_dark
        )
        sentences.append(said % {"num": without_dark})
    for zone, name in (names or {zone: zone for zone in picture.lit_h}).items():
        lit, nights = words.written(f"{picture.lit_h[zone]:.0f}"), picture.nights_lit(zone)
        said = ngettext(
            "%(zone)s: lit %(hours)s hours on %(num)d night.",
            "%(zone)s: lit %(hours)s hours on %(num)d nights.",
            nights,
        )
        sentences.append(said % {"zone": name, "hours": lit, "num": nights})
    for change in picture.changes:
        forward = _("The clocks go forward in the night of %(day)s.")
        said = forward if change.by_h > 0 else _("The clocks go back in the night of %(day)s.")
        sentences.append(said % {"day": words.full_date(change.night)})
    return " ".join(sentences)


def _wall(hours: float) -> time:
    """Give the time of day at some hours since noon, to the minute."""
    minutes = round(hours * 60) + _MIDNIGHT_H * 60
    return time(minutes // 60 % 24, minutes % 60)
