"""Lights for one object on the terminal: what to do, then what of it is practice and what is computed."""

from collections.abc import Iterator

from rich.text import Text

from api.render.numbers import count
from api.render.tables import STRONG, TableColumn, build_table, show
from controller.design.path_lights import PathSide
from controller.design.placement import Placement, Target, feet_and_metres

_OUT_FROM = {
    Target.TREE: "the crown's edge",
    Target.SHRUB: "the front of the leaves",
    Target.TALL: "its face",
    Target.WALL: "its face",
    Target.PATH: "the edge of the path",
}
_AROUND = {
    1: "one, on the side that it is looked at from",
    2: "two, 60° to the left and to the right of where it is looked at from",
    3: "three around it, a third of the circle apart, one of them where it is looked at from",
}
_SIDES = {
    PathSide.ALTERNATING: "left and right of the path in turn",
    PathSide.ONE: "all on one side of the path",
}


def print_placement(asked: str, placement: Placement) -> None:
    """Print how many lights an object takes, where, aimed how and how bright, and where that comes from."""
    lights = count(placement.lights, f"{placement.kind} light")
    columns = [TableColumn(heading="Why", folds=True), TableColumn(heading="Source")]
    reasons = [(words, "common practice, no source") for words in placement.practice]
    reasons += [(words, "geometry") for words in placement.geometry]
    show(
        Text(f"{asked.strip()}: {lights}", style=STRONG),
        build_table([TableColumn(heading=""), TableColumn(heading="", folds=True)], list(_to_do(placement))),
        Text(""),
        build_table(columns, reasons),
    )


def _to_do(placement: Placement) -> Iterator[tuple[str | Text, str]]:
    bright, spread = placement.brightness, placement.spread
    yield "Where", _say_where(placement)
    if placement.beam_deg:
        yield "Aim", f"{placement.tilt_deg:.0f}° above the level, with a beam of {placement.beam_deg:g}°"
    where = "where they are aimed" if placement.beam_deg else "in the mean on the path"
    if len(placement.around_deg) > 1:
        where = "where each is aimed, by that one alone"
    range_lx = f"{_two_digits(spread.least * bright.lux)} to {_two_digits(spread.most * bright.lux)} lx"
    yield "Light", f"{bright.lux:.3g} lx {where}, {range_lx} from place to place"
    lamps = _say_lamps(bright.led_w, bright.halogen_w)
    yield "Lamp", f"about {bright.lumens:.0f} lm or {bright.candela:.0f} cd each: {lamps}"
    for words in placement.warnings:
        yield Text("warning", style=STRONG), words


def _say_where(placement: Placement) -> str:
    out = f"{feet_and_metres(placement.out_m)} from {_OUT_FROM[placement.what]}"
    if placement.from_middle_m is not None:
        middle = "the trunk" if placement.what is Target.TREE else "its middle"
        return f"{_AROUND[placement.lights]}; {out}, {feet_and_metres(placement.from_middle_m)} from {middle}"
    first_m = placement.along_m[0]
    along = f"the first {feet_and_metres(first_m)} from one end"
    if placement.lights > 1:
        along += f", then one every {feet_and_metres(2.0 * first_m)}"
    side = f"{_SIDES[placement.side]}; " if placement.side and placement.lights > 1 else ""
    return f"{side}{along}; {out}"


def _two_digits(value: float) -> str:
    return f"{float(f'{value:.2g}'):g}"


def _say_lamps(led_w: float | None, halogen_w: float | None) -> str:
    lamps = [f"{watts:g} W {kind}" for watts, kind in ((led_w, "LED"), (halogen_w, "halogen")) if watts]
    return " or ".join(lamps) or "more than one usual lamp gives"
