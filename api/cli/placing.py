"""``leerie wiring --placing``: how many lights for an object, where, aimed how and how bright."""

from __future__ import annotations

from typing import Literal, TypedDict

import click

from api.cli.options import Command, print_json


class PlacingOptions(TypedDict):
    """What goes with ``--placing``; None where it was not given."""

    lux: float | None
    candela: float | None
    surroundings: float | None
    out: str | None
    spacing: str | None
    side: Literal["alternating", "one"] | None


_OPTIONS = (
    click.option("--lux", type=float, metavar="LX", help="With --placing: lux to aim at."),
    click.option(
        "--candela", type=float, metavar="CD", help="With --placing: of one light, to compute its lux."
    ),
    click.option(
        "--surroundings",
        type=float,
        metavar="LX",
        help="With --placing: lux of what is around the object; taken as 3 where it is not given.",
    ),
    click.option(
        "--out", metavar="LENGTH", help="With --placing: how far out there is room, where that is not free."
    ),
    click.option(
        "--spacing", metavar="LENGTH", help="With --placing and a path: from light to light, such as “6 ft”."
    ),
    click.option(
        "--side",
        type=click.Choice(["alternating", "one"]),
        help="With --placing and a path: lights on alternating sides, or on one.",
    ),
)


def placing_options(command: Command) -> Command:
    """Add the options that go with ``--placing``."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


def place_lights(text: str, asked: PlacingOptions, *, as_json: bool) -> int:
    """Say how many lights an object takes, where, aimed how and how bright."""
    from controller.design.brightness import SURROUNDINGS_LX, Wanted
    from controller.design.path_lights import PathSide
    from controller.design.placement import parse_placement

    surroundings_lx, side = asked["surroundings"], asked["side"]
    placement = parse_placement(
        text,
        Wanted(
            lux=asked["lux"],
            candela=asked["candela"],
            surroundings_lx=SURROUNDINGS_LX if surroundings_lx is None else surroundings_lx,
        ),
        out=asked["out"],
        spacing=asked["spacing"],
        side=None if side is None else PathSide(side),
    )
    if as_json:
        from api.render.wiring.as_json import placement_response

        print_json(placement_response(placement))
    else:
        from api.render.wiring.placing import print_placement

        print_placement(text, placement)
    return 0
