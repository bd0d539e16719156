"""The demonstration on a terminal: the sky over the evening, and each zone's light under it."""

from bisect import bisect_right
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from math import ceil

from rich.console import Console, Group
from rich.live import Live
from rich.style import Style
from rich.table import Table
from rich.text import Text

from api.demo.evening import Frame
from api.render.tables import DARK, LIT, QUIET, STRONG, open_console
from controller.keeper.state import ZoneStatus

LAMP_LIT, LAMP_DARK = "●", "○"
BAR_LIT, BAR_PLANNED, BAR_DARK = "━", "─", "·"
LAST_SWITCHINGS = 6

# A terminal narrower than the first shows no bars; one wider than the second has room for the reasons.
_COLUMNS_FOR_BARS = 66
_COLUMNS_FOR_REASONS = 118
_REASON_COLUMNS = 46
_STATE_COLUMNS = 20
_NAME_COLUMNS = 18
_HOUR_COLUMNS = 6
# Lines that are not the list of the last switchings: two above, two empty, the warning, the prompt below.
_OTHER_LINES = 6
_SKY_LINES = 3
# Up to when a clock time alone is clear, and with its weekday.
_SAME_NIGHT = timedelta(hours=12)
_SAME_WEEK = timedelta(days=6)

# The sun's elevation in degrees, and the colour of a clear sky above the sunset: invented by eye.
_COLOURS: tuple[tuple[float, tuple[int, int, int]], ...] = (
    (-90.0, (9, 12, 32)),
    (-18.0, (9, 12, 32)),
    (-12.0, (20, 28, 66)),
    (-8.0, (46, 50, 110)),
    (-6.0, (84, 68, 136)),
    (-4.0, (150, 92, 130)),
    (-1.0, (226, 128, 84)),
    (2.0, (246, 188, 96)),
    (6.0, (196, 214, 222)),
    (12.0, (130, 184, 226)),
    (90.0, (130, 184, 226)),
)

# From below: US Naval Observatory, "Rise, Set, and Twilight Definitions".
_LIGHTS: tuple[tuple[float, str, str], ...] = (
    (-90.0, " ", "night"),
    (-18.0, "░", "astronomical twilight"),
    (-12.0, "▒", "nautical twilight"),
    (-6.0, "▓", "civil twilight"),
    (-50 / 60, "█", "daylight"),
)


class Screen(Live):
    """Draws each frame over the one before, and leaves the last one on the terminal."""

    def __init__(self) -> None:
        super().__init__(console=open_console(), auto_refresh=False, vertical_overflow="crop")

    def show(self, frame: Frame) -> None:
        """Draw one moment."""
        self.update(draw(frame, self.console), refresh=True)


def draw(frame: Frame, console: Console) -> Group:
    """Draw one moment for the size and the colours that a terminal has."""
    width, height = console.size
    reasons = width >= _COLUMNS_FOR_REASONS
    bar = width - _NAME_COLUMNS - _STATE_COLUMNS - 6 - (_REASON_COLUMNS if reasons else 0)
    bar = bar if width >= _COLUMNS_FOR_BARS else 0
    coloured = console.color_system is not None and not console.no_color
    used = _OTHER_LINES + len(frame.status.zones) + (_SKY_LINES if bar else 0)
    listed = min(max(height - used, 0), LAST_SWITCHINGS)
    grid = _grid(frame, bar, reasons=reasons, coloured=coloured)
    return Group(*_head(frame), Text(""), grid, Text(""), *_tail(frame, listed))


def _line(*parts: str | tuple[str, str]) -> Text:
    return Text.assemble(*parts, no_wrap=True, overflow="ellipsis")


def _head(frame: Frame) -> Iterator[Text]:
    speed = f" at {frame.pace:,.0f} times normal speed   "
    yield _line((frame.planner.site.name, STRONG), speed, (frame.address, QUIET))
    at = frame.local(frame.at_utc)
    elevation_deg = frame.planner.sun.elevation_deg(frame.at_utc)
    side = "above" if elevation_deg >= 0 else "below"
    sun = f": the sun is {abs(elevation_deg):.1f}° {side} the horizon"
    date = f"  {at:%a %d %b %Y}, {at:%Z}  "
    yield _line((f"{at:%H:%M}", STRONG), date, (sky_light(elevation_deg)[1], STRONG), sun)


def _grid(frame: Frame, bar: int, *, reasons: bool, coloured: bool) -> Table:
    grid = Table.grid(padding=(0, 1))
    grid.add_column(no_wrap=True, width=2)
    grid.add_column(no_wrap=True, width=_NAME_COLUMNS, overflow="ellipsis")
    if bar:
        grid.add_column(no_wrap=True, width=bar, overflow="crop")
    grid.add_column(no_wrap=True, width=_STATE_COLUMNS)
    if reasons:
        grid.add_column(no_wrap=True, overflow="ellipsis")
    if bar:
        grid.add_row("", "", _hours(frame, bar))
        grid.add_row("", Text("sky", style=QUIET), _sky(frame, bar, coloured=coloured))
        now = min(int(frame.evening.share(frame.at_utc) * bar), bar - 1)
        grid.add_row("", "", Text(" " * now + "▲", style=STRONG))
    for zone in frame.status.zones:
        style = LIT if zone.lit else DARK
        cells = [Text(LAMP_LIT if zone.lit else LAMP_DARK, style=style), Text(zone.name, style=STRONG)]
        if bar:
            cells.append(_bar(frame, zone, bar))
        cells.append(Text(_state(frame, zone), style=style))
        if reasons:
            cells.append(Text(zone.fault.words if zone.fault else zone.decision.words, style=QUIET))
        grid.add_row(*cells)
    return grid


def _state(frame: Frame, zone: ZoneStatus) -> str:
    state = "lit" if zone.lit else "dark"
    until_utc = zone.decision.until_utc
    if until_utc is None:
        return state
    away = until_utc - frame.at_utc
    form = "%H:%M" if away < _SAME_NIGHT else "%a %H:%M" if away < _SAME_WEEK else "%d %b"
    return f"{state} until {frame.local(until_utc):{form}}"


def _instants(frame: Frame, columns: int) -> list[datetime]:
    step_s = frame.evening.lasts_s / columns
    return [
        frame.evening.starts_at_utc + timedelta(seconds=(number + 0.5) * step_s) for number in range(columns)
    ]


def _hours(frame: Frame, columns: int) -> Text:
    evening = frame.evening
    every = ceil(_HOUR_COLUMNS * evening.lasts_s / 3600 / columns)
    line = [" "] * columns
    first = frame.local(evening.starts_at_utc).replace(minute=0, second=0, microsecond=0)
    for number in range(1, ceil(evening.lasts_s / 3600) + 1):
        at_utc = first.astimezone(UTC) + timedelta(hours=number)
        at, column = frame.local(at_utc), int(evening.share(at_utc) * columns)
        if at.hour % every == 0 and column + _HOUR_COLUMNS <= columns:
            line[column : column + 5] = f"{at:%H:%M}"
    return Text("".join(line), style=QUIET)


def _sky(frame: Frame, columns: int, *, coloured: bool) -> Text:
    sky = Text()
    for at_utc in _instants(frame, columns):
        elevation_deg = frame.planner.sun.elevation_deg(at_utc)
        if coloured:
            sky.append(" ", Style(bgcolor=sky_colour(elevation_deg)))
        else:
            sky.append(sky_light(elevation_deg)[0])
    return sky


def sky_colour(elevation_deg: float) -> str:
    """Return the colour of the sky as ``#rrggbb``, by the elevation of the sun's centre, -90 to 90."""
    above = bisect_right([low_deg for low_deg, _ in _COLOURS[1:-1]], elevation_deg) + 1
    (low_deg, low), (high_deg, high) = _COLOURS[above - 1 : above + 1]
    share = (elevation_deg - low_deg) / (high_deg - low_deg)
    parts = (round(one + (other - one) * share) for one, other in zip(low, high, strict=True))
    return "#" + "".join(f"{part:02x}" for part in parts)


def sky_light(elevation_deg: float) -> tuple[str, str]:
    """Return a character that is the fuller, the lighter the sky, and the name of the light."""
    _, character, name = _LIGHTS[max(bisect_right([low for low, _, _ in _LIGHTS], elevation_deg) - 1, 0)]
    return character, name


def _bar(frame: Frame, zone: ZoneStatus, columns: int) -> Text:
    was_lit = frame.lit_intervals(zone.zone)
    plan = frame.planner.plan(zone.zone, frame.evening.night)
    planned = [(window.on_utc, window.off_utc) for window in plan.windows]
    line = Text()
    for at_utc in _instants(frame, columns):
        past = at_utc <= frame.at_utc
        if any(on <= at_utc < off for on, off in (was_lit if past else planned)):
            line.append(BAR_LIT if past else BAR_PLANNED, LIT if past else QUIET)
        else:
            line.append(BAR_DARK if past else " ", QUIET)
    return line


def _tail(frame: Frame, listed: int) -> Iterator[Text]:
    last = list(frame.switchings[-listed:]) if listed else []
    for switching in reversed(last):
        lamp, style = (f"{LAMP_LIT} lit ", LIT) if switching.on else (f"{LAMP_DARK} dark", DARK)
        words = f"  {frame.name_of(switching.zone)}: {switching.words}"
        yield _line((f"{frame.local(switching.at.utc):%H:%M}  ", QUIET), (lamp, style), words)
    yield from [Text("")] * (listed - len(last))
    yield _line((frame.warning or "Press Ctrl-C to end.", QUIET))
