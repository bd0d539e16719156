"""The year's picture as SVG: a strip for each zone, nights across, noon to noon upwards.

Every strip shows the same sky (day, twilight, dark) and on it the hours in which its zone was or will be lit.
Light before dusk or after dawn is hatched, missed light is dotted, time of which there is no record is ruled,
and each strip has its name beside it, so that nothing is shown by its colour alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from types import MappingProxyType
from typing import TYPE_CHECKING

from api.render.jinja import render
from api.render.words import N_, Words, english
from api.render.year.chart import SkyLight, Stretch, YearChart, describe, draw_year
from controller.calendar.intervals import Interval, merge, ms_of, overlap, without
from controller.calendar.night import Night, nights
from controller.history.site_history import dark_over
from controller.planning.planner import Planner
from controller.sun.sun import SUNSET_ANGLE_DEG, dark_intervals

if TYPE_CHECKING:
    from controller.forecast.year import YearForecast
    from controller.history.account import PastLight

NARROWEST_PX, WIDEST_PX, USUAL_PX = 320, 2400, 1000
_DAY_H = 24
# No zone has an id with a blank in it.
_EARLY, _MISSED, _UNKNOWN, _TO_COME = " early", " missed", " unknown", " to come"
# Below this width months have one letter and the legend more lines.
_NARROW_PX = 620
# Up to so many zones, strips of this height.
_STRIPS_PX = ((3, 132), (5, 104), (10_000, 84))
# On paper lines are finer, and twelve zones still go on one page.
_COMPACT_PX = 60


@dataclass(frozen=True, kw_only=True, slots=True)
class Strip:
    """What stands in the strip of one zone: paths as ``_path`` draws them, and how many hours and nights."""

    zone: str
    name: str
    lit: str
    early: str
    missed: str
    unknown: str
    to_come: str
    lit_h: float
    missed_h: float
    to_come_h: float
    nights_lit: int


@dataclass(frozen=True, kw_only=True, slots=True)
class YearPicture:
    """A year laid out, to be drawn in any width.

    Attributes:
        title: for the catalogue.
        sky: the light of the sky, which stands in every strip, as paths by its name.
        strips: of each zone, in order.
        picture: sky and bars; light outside of the dark, missed light, and time of which there is no record,
            under names of their own.
        tonight: place of tonight from the left, where it is among the nights and they are not all to come.
    """

    title: str
    site: str
    sky: Mapping[str, str]
    strips: tuple[Strip, ...]
    picture: YearChart
    tonight: int | None


def draw_future(year: YearForecast, *, width_px: int = USUAL_PX, key: str = "year") -> str:
    """Draw the nights to come by the present program; see ``write_svg``."""
    forecast, period = year.present, year.present.period
    lit = {zone: [each for night in forecast.lit[zone] for each in night] for zone in year.zones}
    planner = year.planner
    ahead = list(nights(period.first, period.last, planner.tz))
    below, dark = (
        dark_intervals(planner.sun, ahead, angle) for angle in (SUNSET_ANGLE_DEG, planner.site.dusk_angle_deg)
    )
    laid_out = _lay_out(N_("What will be lit"), planner, ahead, below, dark, lit=lit)
    return write_svg(laid_out, english(planner.tz), width_px=width_px, key=key)


def lay_out_past(
    light: PastLight,
    *,
    now_utc: datetime,
    to_come: Mapping[str, Sequence[Interval]] = MappingProxyType({}),
) -> YearPicture:
    """Lay out what ran and what was missed; later nights show what is ``to_come``."""
    planner = light.planner
    those = list(nights(light.first, light.last, planner.tz))
    today = planner.night_at(now_utc).date
    return _lay_out(
        N_("What was lit"),
        planner,
        those,
        dark_over(light.sites, those, SUNSET_ANGLE_DEG),
        dark_over(light.sites, those),
        lit=light.lit,
        missed=light.missed,
        unknown=light.unknown,
        to_come=to_come,
        today=today,
    )


def write_svg(
    laid_out: YearPicture,
    words: Words,
    *,
    width_px: int = USUAL_PX,
    key: str = "year",
    compact: bool = False,
    like: str | None = None,
) -> str:
    """Draw a year that was laid out.

    Args:
        laid_out: what to draw.
        words: in which language.
        width_px: between ``NARROWEST_PX`` and ``WIDEST_PX``.
        key: the prefix of the ids in it, so that a page may hold two pictures.
        compact: fits twelve zones on one sheet of paper.
        like: the key of another picture of the same year in the page, whose shapes are drawn again.
    """
    picture, columns, strips = laid_out.picture, laid_out.picture.columns, laid_out.strips
    names = {each.zone: each.name for each in strips}
    height_px = next(height_px for most, height_px in _STRIPS_PX if len(strips) <= most)
    if compact and height_px == _STRIPS_PX[-1][1]:
        height_px = _COMPACT_PX
    dates = {"first": words.full_date(columns[0].night), "last": words.full_date(columns[-1].night)}
    return render(
        "year.svg",
        words,
        key=key,
        like=like,
        heading=words.gettext(laid_out.title),
        site=laid_out.site,
        dates=words.gettext("%(first)s to %(last)s") % dates,
        description=" ".join([describe(picture, words, names), *_unknown_words(picture, words, names)]),
        width_px=width_px,
        narrow=width_px < _NARROW_PX,
        strip_px=height_px,
        sky=laid_out.sky,
        strips=[{"words": _strip_words(each, words), "strip": each} for each in strips],
        columns=columns,
        changes=picture.changes,
        today=laid_out.tonight,
    )


def _strip(picture: YearChart, zone: str, name: str) -> Strip:
    columns = picture.columns
    return Strip(
        zone=zone,
        name=name,
        lit=_path(each.bars[zone] for each in columns),
        early=_path(each.bars[zone + _EARLY] for each in columns),
        missed=_path(each.bars[zone + _MISSED] for each in columns),
        unknown=_path(_unknown_stretches(picture, zone)),
        to_come=_path(each.bars[zone + _TO_COME] for each in columns),
        lit_h=picture.lit_h[zone],
        missed_h=picture.lit_h[zone + _MISSED],
        to_come_h=picture.lit_h[zone + _TO_COME],
        nights_lit=picture.nights_lit(zone),
    )


def _lay_out(
    title: str,
    planner: Planner,
    those: Sequence[Night],
    below: Sequence[Interval],
    dark: Sequence[Interval],
    *,
    lit: Mapping[str, Sequence[Interval]],
    missed: Mapping[str, Sequence[Interval]] = MappingProxyType({}),
    unknown: Mapping[str, Sequence[Interval]] = MappingProxyType({}),
    to_come: Mapping[str, Sequence[Interval]] = MappingProxyType({}),
    today: date | None = None,
) -> YearPicture:
    """Lay out some nights: lit, of that what was not in the dark, missed, and what nobody recorded."""
    site = planner.site
    names = {zone.id: zone.name for zone in site.zones}
    first, last = those[0].date, those[-1].date
    inside = [(ms_of(those[0].starts_at_utc), ms_of(those[-1].ends_at_utc))]
    hours: dict[str, Sequence[Interval]] = {}
    for zone in lit:
        hours[zone] = overlap(lit[zone], inside)
        hours[zone + _TO_COME] = to_come.get(zone, ())
        hours[zone + _EARLY] = without(merge([*hours[zone], *hours[zone + _TO_COME]]), dark)
        hours[zone + _MISSED] = missed.get(zone, ())
        hours[zone + _UNKNOWN] = unknown.get(zone, ())
    picture = draw_year(those, hours, below=below, dark=dark, tz=planner.tz)
    return YearPicture(
        title=title,
        site=site.name,
        sky={str(light): _path(each.shades[light] for each in picture.columns) for light in SkyLight},
        strips=tuple(_strip(picture, zone, names.get(zone, zone)) for zone in lit),
        picture=picture,
        tonight=(today - first).days if today is not None and first <= today < last else None,
    )


def _path(nights: Iterable[Sequence[Stretch]]) -> str:
    """Draw the stretches of all nights as one path; neighbours alike become one box.

    Across counts nights from the left, upwards counts hours from noon; the template scales both.
    """
    wide: dict[tuple[str, str], tuple[int, int]] = {}
    pieces = []
    for index, (from_h, to_h) in ((index, each) for index, some in enumerate(nights) for each in some):
        low, high = _hour(from_h), _hour(to_h)
        since, until = wide.get((low, high), (index, index))
        if until < index:
            pieces.append((since, until, low, high))
            since = index
        wide[low, high] = (since, index + 1)
    pieces += [(since, until, low, high) for (low, high), (since, until) in wide.items()]
    return "".join(f"M{since} {low}H{until}V{high}H{since}z" for since, until, low, high in pieces)


def _hour(hours: float) -> str:
    """Write hours since noon as a height: the template's origin is at the top, midnight next noon."""
    return f"{_DAY_H - hours:.2f}".rstrip("0").rstrip(".")


def _unknown_stretches(picture: YearChart, zone: str) -> Iterator[Sequence[Stretch]]:
    """Give night by night of what there is no record, over the hour that the clock skips as well."""
    skipped = {each.index: (each.at_h, each.at_h + each.by_h) for each in picture.changes if each.by_h > 0}
    for column in picture.columns:
        bars = column.bars[zone + _UNKNOWN]
        if (hour := skipped.get(column.index)) and hour[0] in (ends for _, ends in bars):
            bars = [*bars, hour]
        yield bars


def _unknown_words(picture: YearChart, words: Words, names: Mapping[str, str]) -> Iterator[str]:
    """Say of which zones there is no record for a while, and for how long."""
    for zone, name in names.items():
        if unknown_h := picture.lit_h[zone + _UNKNOWN]:
            said = words.gettext("%(zone)s: no record of %(hours)s hours, by day and by night.")
            yield said % {"zone": name, "hours": words.number(unknown_h)}


def _strip_words(strip: Strip, words: Words) -> str:
    """Say beside a strip how long its zone was lit, and what was missed."""
    nights = strip.nights_lit
    said = words.ngettext("%(hours)s h in %(num)d night", "%(hours)s h in %(num)d nights", nights)
    lit = said % {"hours": words.number(strip.lit_h), "num": nights}
    if strip.missed_h < 0.05:  # noqa: PLR2004 - shows as 0.1
        return lit
    missed = words.gettext("%(hours)s h missed") % {"hours": words.number(strip.missed_h, 1)}
    return f"{lit}, {missed}"
