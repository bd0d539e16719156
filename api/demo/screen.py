"""The demonstration's picture for a terminal: the sky over the evening, and each zone's light under it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from math import ceil

from rich.console import Console, ConsoleOptions, Group, RenderResult
from rich.style import Style
from rich.table import Table
from rich.text import Text

from api.demo.evening import Evening, Frame, lit_stretches
from api.demo.sky import sky_colour, sky_letter, sky_word
from api.render.tables import DARK, LIT, QUIET, STRONG
from controller.keeper.state import ZoneStatus

LAMP_LIT, LAMP_DARK = "●", "○"
BAR_LIT, BAR_PLANNED, BAR_DARK = "━", "─", "·"
LAST_SWITCHINGS = 6

# A terminal narrower than the first shows no bars; one wider than the second has room for the reasons.
_ROOM_FOR_BARS = 66
_ROOM_FOR_WORDS = 118
_WORDS_COLUMNS = 46
_STATE_COLUMNS = 20
# Lines that are not the list of the last switchings: two above, two empty, the complaint, the prompt below.
_OTHER_LINES = 6
_LINES_OF_SKY = 3
_NAME_COLUMNS = 18
_HOUR_COLUMNS = 6
# How far off a clock time alone is clear, and with its weekday.
_SAME_NIGHT = timedelta(hours=12)
_SAME_WEEK = timedelta(days=6)


class DemoFrame:
    """One moment, drawn for the width that the terminal has."""

    def __init__(self, scene: Frame) -> None:
        """Take what is to be drawn."""
        self._scene = scene

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it, by rich's contract."""
        scene, width = self._scene, options.max_width
        words = width >= _ROOM_FOR_WORDS
        bar = width - _NAME_COLUMNS - _STATE_COLUMNS - 6 - (_WORDS_COLUMNS if words else 0)
        bar = bar if width >= _ROOM_FOR_BARS else 0
        coloured = console.color_system is not None and not console.no_color
        used = _OTHER_LINES + len(scene.status.zones) + (_LINES_OF_SKY if bar else 0)
        listed = min(max(console.size.height - used, 0), LAST_SWITCHINGS)
        grid = _grid(scene, bar, words=words, coloured=coloured)
        yield Group(*_head(scene), Text(""), grid, Text(""), *_tail(scene, listed))


def _head(scene: Frame) -> Iterator[Text]:
    """Say where and when it is, and how the sun stands."""
    site = scene.planner.site
    at = scene.at_utc.astimezone(scene.planner.tz)
    yield Text.assemble(
        (site.name, STRONG),
        f", an evening {scene.pace:,.0f} times as fast as it is   ",
        (scene.address, QUIET),
        no_wrap=True,
        overflow="ellipsis",
    )
    height_deg = scene.planner.sky.elevation_deg(scene.at_utc)
    side = "above" if height_deg >= 0 else "below"
    yield Text.assemble(
        (f"{at:%H:%M}", STRONG),
        f"  {at:%a %d %b %Y}, {at:%Z}; the sun stands {abs(height_deg):.1f}° {side} the horizon: ",
        (sky_word(height_deg), STRONG),
        no_wrap=True,
        overflow="ellipsis",
    )


def _grid(scene: Frame, bar: int, *, words: bool, coloured: bool) -> Table:
    """Draw the sky and the zones in the same columns."""
    grid = Table.grid(padding=(0, 1))
    grid.add_column(no_wrap=True, width=2)
    grid.add_column(no_wrap=True, width=_NAME_COLUMNS, overflow="ellipsis")
    if bar:
        grid.add_column(no_wrap=True, width=bar, overflow="crop")
    grid.add_column(no_wrap=True, width=_STATE_COLUMNS)
    if words:
        grid.add_column(no_wrap=True, overflow="ellipsis")
    if bar:
        more = [""] * (1 + words)
        grid.add_row("", "", _hours(scene, bar), *more)
        grid.add_row("", Text("sky", style=QUIET), _sky(scene, bar, coloured=coloured), *more)
        grid.add_row("", "", _now(scene, bar), *more)
    for zone in scene.status.zones:
        style = LIT if zone.lit else DARK
        cells = [Text(LAMP_LIT if zone.lit else LAMP_DARK, style=style), Text(zone.name, style=STRONG)]
        if bar:
            cells.append(_bar(scene, zone, bar))
        cells.append(Text(_state(scene, zone), style=style))
        if words:
            cells.append(Text(zone.fault.words if zone.fault else zone.decision.words, style=QUIET))
        grid.add_row(*cells)
    return grid


def _state(scene: Frame, zone: ZoneStatus) -> str:
    """Say in a few words how a zone is, and until when."""
    state = "lit" if zone.lit else "dark"
    until_utc = zone.decision.until_utc
    if until_utc is None:
        return state
    until = until_utc.astimezone(scene.planner.tz)
    away = until_utc - scene.at_utc
    if away < _SAME_NIGHT:
        return f"{state} until {until:%H:%M}"
    return f"{state} until {until:%a %H:%M}" if away < _SAME_WEEK else f"{state} until {until:%d %b}"


def _instants(evening: Evening, columns: int) -> list[datetime]:
    """Give the instant in the middle of each column."""
    step_s = evening.lasts_s / columns
    return [evening.starts_at_utc + timedelta(seconds=(number + 0.5) * step_s) for number in range(columns)]


def _hours(scene: Frame, columns: int) -> Text:
    """Write the local hours where they fall, every hour or as many of them as have room."""
    evening, tz = scene.evening, scene.planner.tz
    every = ceil(_HOUR_COLUMNS * evening.lasts_s / 3600 / columns)
    line = [" "] * columns
    first = evening.starts_at_utc.astimezone(tz).replace(minute=0, second=0, microsecond=0)
    for number in range(1, ceil(evening.lasts_s / 3600) + 1):
        at_utc = first.astimezone(UTC) + timedelta(hours=number)
        at = at_utc.astimezone(tz)
        place = int(evening.share(at_utc) * columns)
        if at.hour % every == 0 and place + _HOUR_COLUMNS <= columns:
            line[place : place + 5] = f"{at:%H:%M}"
    return Text("".join(line), style=QUIET)


def _sky(scene: Frame, columns: int, *, coloured: bool) -> Text:
    """Paint the sky over the evening."""
    sky = Text()
    for at_utc in _instants(scene.evening, columns):
        height_deg = scene.planner.sky.elevation_deg(at_utc)
        if coloured:
            sky.append(" ", Style(bgcolor=sky_colour(height_deg)))
        else:
            sky.append(sky_letter(height_deg))
    return sky


def _now(scene: Frame, columns: int) -> Text:
    """Point to the present."""
    place = min(int(scene.evening.share(scene.at_utc) * columns), columns - 1)
    return Text(" " * place + "▲", style=STRONG)


def _bar(scene: Frame, zone: ZoneStatus, columns: int) -> Text:
    """Draw when a zone was lit, up to now, and when it will be, by the plan."""
    was = lit_stretches(scene.switchings, zone.zone, scene.at_utc)
    plan = scene.planner.plan(zone.zone, scene.evening.night)
    will = [(window.on_utc, window.off_utc) for window in plan.windows]
    line = Text()
    for at_utc in _instants(scene.evening, columns):
        over = at_utc <= scene.at_utc
        if any(on <= at_utc < off for on, off in (was if over else will)):
            line.append(BAR_LIT if over else BAR_PLANNED, LIT if over else QUIET)
        else:
            line.append(BAR_DARK if over else " ", QUIET)
    return line


def _tail(scene: Frame, listed: int) -> Iterator[Text]:
    """Tell the last switchings, and what the log complained of."""
    names = {zone.id: zone.name for zone in scene.planner.site.zones}
    last = list(scene.switchings[-listed:]) if listed else []
    for switching in reversed(last):
        at = switching.at.utc.astimezone(scene.planner.tz)
        lit = "lit " if switching.on else "dark"
        yield Text.assemble(
            (f"{at:%H:%M}  ", QUIET),
            (f"{LAMP_LIT if switching.on else LAMP_DARK} {lit}", LIT if switching.on else DARK),
            f"  {names.get(switching.zone, switching.zone)}: {switching.words}",
            no_wrap=True,
            overflow="ellipsis",
        )
    for _ in range(listed - len(last)):
        yield Text("")
    yield Text(scene.trouble or "Ctrl-C ends it.", style=QUIET, no_wrap=True, overflow="ellipsis")
