"""How bright: the lux to aim at beside what surrounds it, and the lamp that gives them."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from config.errors import WiringError
from controller.design.photometry import lumens_of

# All common practice, no source, but where one is named.
SURROUNDINGS_LX: Final = 3.0
PATH_LX: Final = 3.0
"""Mean on a garden path; EN 13201-2 (from memory) has as much in its class P5, for people on foot."""

ACCENT_TIMES: Final = 5.0
WASH_TIMES: Final = 3.0
FAINT_TIMES: Final = 2.0
TOO_BRIGHT_TIMES: Final = 10.0
"""An accent is a few times brighter than its surroundings; beside more than ten times they look black."""

LED_LM_PER_W: Final = 80.0
HALOGEN_LM_PER_W: Final = 15.0
LED_SIZES_W: Final = (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0, 9.0, 12.0, 15.0, 20.0, 30.0)
HALOGEN_SIZES_W: Final = (5.0, 10.0, 20.0, 35.0, 50.0, 75.0)

# Ten times the lux of the sun at noon, and the candela of a lighthouse.
_MOST_LIGHT: Final = 1_000_000.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Wanted:
    """How bright a person wants it; whatever is None is common practice.

    Attributes:
        lux: where the lights are aimed, or the mean on a path; not together with ``candela``.
        candela: of one light in the middle of its beam, where it is known already.
        surroundings_lx: what is around it.

    Raises:
        WiringError: a figure cannot be, or lux and candela are both given.
    """

    lux: float | None = None
    candela: float | None = None
    surroundings_lx: float = SURROUNDINGS_LX

    def __post_init__(self) -> None:
        if self.lux is not None and self.candela is not None:
            raise WiringError("lux and candela are both given; give one, the other is computed from it")
        for name in ("lux", "candela", "surroundings_lx"):
            require_between(name, getattr(self, name), _MOST_LIGHT)


@dataclass(frozen=True, kw_only=True, slots=True)
class Brightness:
    """What is aimed at, and the lamp for it.

    Attributes:
        lux: where the lights are aimed, on an upright face turned to them; for a path the mean on the ground.
        candela: of one light in the middle of its beam; of a path light, all around below its hat.
        lumens: of one light.
        led_w: the smallest usual LED lamp with at least so many lumens; None where none has.
        halogen_w: the smallest usual halogen lamp with at least so many; None where none has.
        practice: what of this is common practice.
        warnings: what of it will not look right, and what to do.
    """

    lux: float
    surroundings_lx: float
    candela: float
    lumens: float
    led_w: float | None
    halogen_w: float | None
    practice: tuple[str, ...]
    warnings: tuple[str, ...]


def require_between(name: str, value: float | None, most: float) -> None:
    """Refuse a figure that is not above zero, or larger than anything here.

    Raises:
        WiringError: it is.
    """
    if value is not None and not 0.0 < value <= most:
        raise WiringError(f"{name} = {value:g}; it must be a number above zero, up to {most:.0f}")


def choose_lamp(lux_per_candela: float, beam_deg: float, times: float | None, wanted: Wanted) -> Brightness:
    """Choose the lamp that gives the lux that are wanted, or say what the lux of a known one are.

    Args:
        lux_per_candela: where the lights are aimed, for one candela of each.
        beam_deg: of each light.
        times: how many times brighter than its surroundings it is by common practice; None for a path.
        wanted: what a person asks for.
    """
    around_lx = wanted.surroundings_lx
    practice: list[str] = []
    if wanted.candela is not None:
        lux = wanted.candela * lux_per_candela
    elif wanted.lux is not None:
        lux = wanted.lux
    elif times is None:
        lux = PATH_LX
        practice.append(f"{PATH_LX:g} lx in the mean on a path")
    else:
        lux = times * around_lx
        practice.append(
            f"{times:g} times as bright as its surroundings, taken as {around_lx:g} lx: {lux:g} lx"
        )
    candela = lux / lux_per_candela
    lumens = lumens_of(candela, beam_deg)
    practice.append(f"{LED_LM_PER_W:g} lm from a watt of LED, {HALOGEN_LM_PER_W:g} lm from a watt of halogen")
    return Brightness(
        lux=lux,
        surroundings_lx=around_lx,
        candela=candela,
        lumens=lumens,
        led_w=_usual_size(lumens / LED_LM_PER_W, LED_SIZES_W),
        halogen_w=_usual_size(lumens / HALOGEN_LM_PER_W, HALOGEN_SIZES_W),
        practice=tuple(practice),
        warnings=(*_warn_of_lumens(lumens), *(() if times is None else _compare(lux, around_lx))),
    )


def _compare(lux: float, around_lx: float) -> Iterator[str]:
    """Warn of what makes its surroundings look black, or hardly stands out of them."""
    what = f"{lux:.3g} lx beside surroundings of {around_lx:g} lx"
    if lux > TOO_BRIGHT_TIMES * around_lx:
        yield (
            f"{what}: so bright that everything around it looks black; aim at"
            f" {TOO_BRIGHT_TIMES * around_lx:g} lx at most, or light what is around it too"
        )
    elif lux < FAINT_TIMES * around_lx:
        yield f"{what}: it hardly stands out; aim at {FAINT_TIMES * around_lx:g} lx or more"


def _warn_of_lumens(lumens: float) -> Iterator[str]:
    """Warn of more than the largest usual lamp gives."""
    most_lm = LED_LM_PER_W * LED_SIZES_W[-1]
    if lumens > most_lm:
        times = math.ceil(lumens / most_lm)
        yield (
            f"{lumens:.0f} lm are more than one usual lamp gives ({most_lm:.0f} lm): place {times} lights for"
            " each one named here, or aim at fewer lux"
        )


def _usual_size(watts: float, sizes_w: tuple[float, ...]) -> float | None:
    return next((each for each in sizes_w if each >= watts - 1e-9), None)
