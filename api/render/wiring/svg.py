"""The cables behind one tap as a drawing: a row for each node, cables down the left, volts to the right.

A node with one cable onward continues it in its own lane; where cables part, each begins a lane to the right.
A cable that closes a ring is a row too, which says to which node it leads.
The volts stand as a dot on the band that the lamp is allowed, and in figures; what is outside has an arrow
and words too, so that nothing depends on its colour. Long trees are cut into pieces that fit a page; their
scale stands apart, to be repeated on each.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

from api.render.jinja import render
from api.render.wiring.text import fixture_words, length_text, volts_text, watts_words
from api.render.words import Words
from config.phrase import Phrase, count_phrase
from controller.inspection.report import LightResult, Standing, WiringReport
from controller.inspection.states import SolvedStates
from controller.wiring.network import CableSegment
from controller.wiring.solver import NoSolution, Solution

WIDTH_PX = 760
ROW_PX = 25
_SCALE_PX = 30
_LANE_PX, _LEFT_PX = 20, 14
_MOST_LANES_PX = 160
_CABLE_RIGHT_PX = 478
_SCALE_LEFT_PX, _SCALE_RIGHT_PX = 496, 668
# A piece is never cut by the end of a page; short ones leave little of it empty.
ROWS_A_PIECE = 5
# Width of a letter at the sizes used, a little more than the fonts' mean.
_NAME_PX, _WHAT_PX = 7.6, 6.3
_LEAST_LETTERS = 6
# Ranges that reach farther off than this part of the tap's volts end at the edge of the scale.
_NEAR_PART = 0.25
_LEAST_MM2, _MOST_MM2 = 0.75, 13.3
MARKS: Final = {
    Standing.INSIDE: "",
    Standing.LOW: Phrase("▼ too low"),
    Standing.HIGH: Phrase("▲ too high"),
    Standing.BOTH: Phrase("▼▲ too low and high"),
    Standing.OUT: Phrase("▼ drops out"),
    Standing.NONE: Phrase("? no solution"),
    Standing.READ_LOW: Phrase("▼ measured too low"),
    Standing.READ_HIGH: Phrase("▲ measured too high"),
}


class Drawing(NamedTuple):
    """A drawing in pieces of SVG that fit a page, one below the other, and the scale over them."""

    scale: str
    pieces: list[str]


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One line of the drawing: the feed, a node, or a further light at the node above it.

    Attributes:
        y_px: middle of the row.
        x_px: middle of its lane.
        glyph: “feed”, “light”, “joint”, “ring” for a cable that closes one, or empty for a further light.
        band: the volts that it is allowed, as left and right on the scale; None without a light.
        dot: the volts with everything lit, on the scale.
        most: the volts with its zone alone.
    """

    y_px: float
    x_px: float
    glyph: str
    name: str
    what: str = ""
    cable: str = ""
    volts: str = ""
    mark: str = ""
    band: tuple[float, float] | None = None
    dot: float | None = None
    most: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One cable as a path, and the rows that it spans."""

    path: str
    width_px: float
    top_px: float
    bottom_px: float


def draw_tree(report: WiringReport, place: int, *, words: Words, key: str) -> Drawing:
    """Draw what hangs on the tap at this place.

    ``key`` makes this drawing's ids unique in the page.
    """
    layout, _ = _Layout(report, place, words), words.gettext
    starts = range(0, len(layout.rows), ROWS_A_PIECE)
    scale = render(
        "tree_scale.svg",
        words,
        width_px=WIDTH_PX,
        height_px=_SCALE_PX,
        text_px=layout.text_px,
        cable_px=_CABLE_RIGHT_PX,
        middle_px=(_SCALE_LEFT_PX + _SCALE_RIGHT_PX) / 2,
        ticks=layout.ticks,
    )
    pieces = [
        render(
            "tree.svg",
            words,
            key=f"{key}-{number}",
            title=_("%(title)s, part %(number)d of %(parts)d")
            % {"title": layout.title, "number": number, "parts": len(starts)}
            if len(starts) > 1
            else layout.title,
            description=_("Continues part %(number)d.") % {"number": number - 1}
            if start
            else layout.description,
            width_px=WIDTH_PX,
            row_px=ROW_PX,
            start_px=start * ROW_PX,
            height_px=len(layout.rows[start : start + ROWS_A_PIECE]) * ROW_PX,
            rows=layout.rows[start : start + ROWS_A_PIECE],
            lines=layout.lines,
            text_px=layout.text_px,
            cable_px=_CABLE_RIGHT_PX,
            left_px=_SCALE_LEFT_PX,
            right_px=_SCALE_RIGHT_PX,
            ticks=layout.ticks,
        )
        for number, start in enumerate(starts, start=1)
    ]
    return Drawing(scale, pieces)


class _Step(NamedTuple):
    """One row to come: a node, the cable to it, and whether that only closes a ring to it."""

    cable: CableSegment | None
    node: str
    lane: int
    closes: bool = False


class _Layout:
    """Where everything of one drawing stands."""

    def __init__(self, report: WiringReport, place: int, words: Words) -> None:
        self._words = words
        self._one = report.inspection.solved[place]
        self._network = self._one.lit.network
        self._lights: dict[str, list[LightResult]] = {}
        lights = [each for each in report.lights(place) if each.light.placed]
        for light in lights:
            self._lights.setdefault(light.fixture.node, []).append(light)
        self._onward = self._network.outward()
        feed = self._network.feed
        self._low_v, self._high_v = _ends_of_scale(lights, feed.source_v)
        step = max(1, math.ceil((self._high_v - self._low_v) / 7))
        self.ticks = [(self._at(volts), str(volts)) for volts in range(self._low_v, self._high_v + 1, step)]
        steps = list(self._walk())
        lanes = max(step.lane for step in steps) + 1
        self._lane_px = min(_LANE_PX, _MOST_LANES_PX / lanes)
        self.text_px = _LEFT_PX + (lanes - 1) * self._lane_px + 16
        self.rows: list[Row] = []
        self.lines: list[Line] = []
        self._draw(steps)
        cables = len(self._network.segments)
        self.title = words.say(
            count_phrase(
                "{node}: {volts:g} V, {n} cable",
                "{node}: {volts:g} V, {n} cables",
                cables,
                node=feed.node,
                volts=feed.source_v,
            )
        )
        self.description = " ".join(words.say(each) for each in _describe(lights, self._one))

    def _walk(self) -> Iterator[_Step]:
        """Yield each node with the cable to it and its lane, a branch to its end before the next."""
        waiting = [_Step(None, self._network.feed.node, 0)]
        while waiting:
            step = waiting.pop()
            yield step
            onward = [] if step.closes else self._onward.get(step.node, [])
            lane = step.lane + 1 if len(onward) > 1 else step.lane
            waiting += [_Step(each, each.to_node, lane, not leads) for each, leads in reversed(onward)]

    def _draw(self, steps: Sequence[_Step]) -> None:
        lit = self._one.lit
        carried = lit.carried if isinstance(lit, Solution) else {}
        at: dict[str, tuple[float, float]] = {}
        for cable, node, lane, closes in steps:
            x_px, y_px = _LEFT_PX + lane * self._lane_px, (len(self.rows) + 0.5) * ROW_PX
            words = ""
            if cable is not None:
                self.lines.append(_line(cable, at[cable.from_node], (x_px, y_px)))
                flow = [f"{carried[cable].amperes:.2f} A"] if cable in carried else []
                parts = [str(cable.gauge), length_text(cable.length_m, cable.gauge), *flow]
                words = ", ".join(self._words.written(each) for each in parts)
            if closes:
                row = self._row(x_px, y_px, node, words, None)
                name = self._words.gettext("to %(node)s") % {"node": node}
                self.rows.append(replace(row, glyph="ring", name=self._shorten(name, words)))
                continue
            at[node] = (x_px, y_px)
            lights = self._lights.get(node, [])
            # At the transformer itself stands the transformer; a light there comes below it.
            own = lights[:1] if cable is not None else []
            self.rows.append(self._row(x_px, y_px, node, words, own[0] if own else None))
            for light in lights[len(own) :]:
                self.rows.append(self._row(x_px, (len(self.rows) + 0.5) * ROW_PX, "", "", light))

    def _row(self, x_px: float, y_px: float, node: str, cable: str, light: LightResult | None) -> Row:
        """Make the row of a node, with or without a light, or of a further light at the node above."""
        row = Row(y_px=y_px, x_px=x_px, glyph="joint", name=self._shorten(node, cable), cable=cable)
        feed, lit = self._network.feed, self._one.lit
        if light is not None:
            low_v, high_v = light.fixture.range_v
            return replace(
                row,
                glyph="light" if node else "",
                what=_fit(light, self._room_px(node, cable), self._words),
                volts=self._volts(light.volts),
                mark=self._words.say(MARKS[light.standing]),
                band=(self._at(low_v), self._at(high_v)),
                dot=None if light.volts is None else self._at(light.volts),
                most=None if light.most_v is None else self._at(light.most_v),
            )
        if node == feed.node:
            source_v = lit.feed_v if isinstance(lit, Solution) else feed.full_load_v
            what = self._words.gettext("transformer")
            return replace(row, glyph="feed", what=what, volts=self._volts(source_v))
        return replace(row, volts=self._volts(lit.volts.get(node) if isinstance(lit, Solution) else None))

    def _volts(self, volts: float | None) -> str:
        return self._words.written(volts_text(volts))

    def _shorten(self, name: str, cable: str) -> str:
        """Shorten the name of a node that would run into its cable; the table of readings has it in full."""
        letters = int((self._room_px("", cable) + 12) / _NAME_PX)
        return name if len(name) <= letters else f"{name[: letters - 1].rstrip()}…"

    def _room_px(self, name: str, cable: str) -> float:
        """Say how wide the words for a light may be between its node's name and its cable."""
        return _CABLE_RIGHT_PX - self.text_px - len(name) * _NAME_PX - len(cable) * _WHAT_PX - 24

    def _at(self, volts: float) -> float:
        part = (volts - self._low_v) / (self._high_v - self._low_v)
        return round(_SCALE_LEFT_PX + min(1.0, max(0.0, part)) * (_SCALE_RIGHT_PX - _SCALE_LEFT_PX), 2)


def _fit(light: LightResult, room_px: float, said: Words) -> str:
    """Shorten the name of a fixture, not what it takes, where there is no room for both."""
    letters = int(room_px / _WHAT_PX)
    words, watts = said.say(fixture_words(light)), said.say(watts_words(light))
    if len(words) <= letters:
        return words
    kept = letters - len(watts) - 3
    if kept < _LEAST_LETTERS:
        return watts if len(watts) <= letters else ""
    head = words.removesuffix(f", {watts}")
    return f"{head[:kept].rstrip()}…, {watts}"


def _line(cable: CableSegment, start: tuple[float, float], end: tuple[float, float]) -> Line:
    """Draw a cable down its lane, or down and to the right into the lane of its own."""
    (x0, y0), (x1, y1) = start, end
    path = f"M{x0:g} {y0:g}V{y1:g}"
    if x0 != x1:
        path = f"M{x0:g} {y0:g}V{y1 - 7:g}Q{x0:g} {y1:g} {x0 + 7:g} {y1:g}H{x1:g}"
    part = math.sqrt((cable.gauge.area_mm2 - _LEAST_MM2) / (_MOST_MM2 - _LEAST_MM2))
    return Line(path=path, width_px=round(1.2 + 4.0 * part, 2), top_px=y0, bottom_px=y1)


def _ends_of_scale(lights: Sequence[LightResult], source_v: float) -> tuple[int, int]:
    """Choose whole volts around what is shown; a range from 9 to 24 V does not squeeze the rest."""
    shown = [source_v, *(v for light in lights for v in (light.volts, light.most_v) if v is not None)]
    allowed = [volts for light in lights for volts in light.fixture.range_v]
    near = [volts for volts in allowed if abs(volts - source_v) <= _NEAR_PART * source_v]
    low_v, high_v = math.floor(min([*shown, *near])), math.ceil(max([*shown, *near]))
    return low_v, max(high_v, low_v + 1)


def _describe(lights: Sequence[LightResult], one: SolvedStates) -> Iterator[str]:
    """Describe in a few sentences what the drawing shows."""
    if isinstance(one.lit, NoSolution):
        yield one.lit.words
        return
    count = sum(each.fixture.count for each in lights)
    known = [(each.volts, each.fixture.node, each.standing) for each in lights if each.volts is not None]
    if not known:
        yield count_phrase("{n} light.", "{n} lights.", count)
        return
    (least_v, least_at, _), (most_v, most_at, _) = min(known), max(known)
    yield count_phrase(
        "{n} light, with everything lit: fewest volts {least:.2f} V at {least_at}, most {most:.2f} V at"
        " {most_at}.",
        "{n} lights, with everything lit: fewest volts {least:.2f} V at {least_at}, most {most:.2f} V at"
        " {most_at}.",
        count,
        least=least_v,
        least_at=least_at,
        most=most_v,
        most_at=most_at,
    )
    outside = [node for _, node, standing in known if standing is not Standing.INSIDE]
    if outside:
        yield Phrase("Out of their range: {nodes}.", nodes=", ".join(outside))
    else:
        yield Phrase("All are in range.")
    yield Phrase("The table of readings has every light.")
