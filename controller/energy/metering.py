"""From what was lit when to the energy at the meter, transformer by transformer.

Several zones share one transformer, and its losses depend on what is lit *together*. So time is swept once
per transformer; for each set of zones lit at the same time the meter's power is worked out for their summed
load. What the transformer loses while something is lit is shared out in proportion to the load of the zones
that are lit; what it loses while nothing is lit, in proportion to the rated loads of all its zones. Where no
load is known the shares are equal. Shares by what is lit at the moment, not by totals, keep a month's bill
the same whether it is asked for alone or as part of a year.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from controller.calendar.intervals import MS_PER_S, Interval
from controller.energy.tariff import PriceStep
from controller.energy.values import J_PER_KWH, Draw, Energy, Load, Losses, bands_of

_NOTHING = Decimal(0)

_Together = tuple[tuple[str, Load], ...]


def measure(
    losses: Losses,
    rated: Mapping[str, Decimal],
    draws: Iterable[Draw],
    *,
    starts_ms: int,
    ends_ms: int,
    steps: Sequence[PriceStep] | None = None,
) -> dict[str, Energy]:
    """Work out the energy of the zones of one transformer over a stretch of time.

    ``rated`` is the rated load in watts of each zone, zero where not known; it shares out the idle loss.
    Draws are clipped to the stretch, in milliseconds since 1970; those of one zone that overlap, as after a
    clock was put back, each count. ``steps`` are the prices over the stretch; None for no money.

    Returns:
        The energy of each zone of ``rated``. Cutting the stretch anywhere and adding the parts gives the
        same, to 1e-20 of it. Held by tests/controller/energy/test_metering.py.

    Raises:
        ValueError: a draw of a zone that is not on this transformer, or prices that do not cover the stretch.
    """
    sums = {zone: _Accumulator() for zone in rated}
    draws = tuple(draws)
    for stray in {draw.zone for draw in draws} - rated.keys():
        raise ValueError(f"zone “{stray}” is not on transformer “{losses.transformer}”")
    by_price = _price(_sweep(draws, starts_ms, ends_ms), steps)
    for (together, per_kwh, name), lasts_ms in by_price.items():
        _share(losses, rated, sums, together, lasts_ms=lasts_ms, price=(name, per_kwh))
    return {zone: each.close(priced=steps is not None) for zone, each in sums.items()}


def measure_zones(
    losses: Mapping[str, Losses],
    rated: Mapping[str, Decimal],
    draws: Sequence[Draw],
    stretch: Interval,
    steps: Sequence[PriceStep] | None,
) -> dict[str, Energy]:
    """Do the same for zones on several transformers; ``losses`` names that of each zone."""
    starts_ms, ends_ms = stretch
    if steps is not None:
        steps = [step for step in steps if step.starts_ms < ends_ms and step.ends_ms > starts_ms]
    energies: dict[str, Energy] = {}
    for transformer in dict.fromkeys(losses.values()):
        of_zones = {zone: rated[zone] for zone in losses if losses[zone] == transformer}
        here = [draw for draw in draws if draw.zone in of_zones]
        energies |= measure(transformer, of_zones, here, starts_ms=starts_ms, ends_ms=ends_ms, steps=steps)
    return energies


def _sweep(draws: Sequence[Draw], starts_ms: int, ends_ms: int) -> list[tuple[int, int, _Together]]:
    """Walk through time and give each stretch over which the same zones are lit, the dark ones too."""
    turns: list[tuple[int, bool, str, Load]] = []
    for draw in draws:
        from_ms, until_ms = max(draw.starts_ms, starts_ms), min(draw.ends_ms, ends_ms)
        if from_ms < until_ms:
            turns.append((from_ms, True, draw.zone, draw.load))
            turns.append((until_ms, False, draw.zone, draw.load))
    turns.sort(key=lambda turn: turn[0])
    lit: list[tuple[str, Load]] = []
    stretches: list[tuple[int, int, _Together]] = []
    since_ms = starts_ms
    for at_ms, on, zone, load in turns:
        if at_ms > since_ms:
            stretches.append((since_ms, at_ms, tuple(lit)))
            since_ms = at_ms
        if on:
            lit.append((zone, load))
        else:
            lit.remove((zone, load))
    if ends_ms > since_ms:
        stretches.append((since_ms, ends_ms, ()))
    return stretches


def _price(
    stretches: Iterable[tuple[int, int, _Together]], steps: Sequence[PriceStep] | None
) -> dict[tuple[_Together, Decimal, str], int]:
    """Cut stretches where the price changes, and add up the milliseconds of each load at each price."""
    lasting: dict[tuple[_Together, Decimal, str], int] = defaultdict(int)
    index = 0
    for starts_ms, ends_ms, together in stretches:
        if steps is None:
            lasting[together, _NOTHING, ""] += ends_ms - starts_ms
            continue
        since_ms = starts_ms
        while since_ms < ends_ms:
            while index < len(steps) and steps[index].ends_ms <= since_ms:
                index += 1
            if index == len(steps) or steps[index].starts_ms > since_ms:
                raise ValueError("the prices do not cover the whole stretch")
            until_ms = min(ends_ms, steps[index].ends_ms)
            lasting[together, steps[index].per_kwh, steps[index].name] += until_ms - since_ms
            since_ms = until_ms
    return lasting


@dataclass(slots=True)
class _Accumulator:
    """Joules of one zone while they are being added up."""

    lamps_j: Decimal = _NOTHING
    cable_j: Decimal = _NOTHING
    load_loss_j: Decimal = _NOTHING
    no_load_j: Decimal = _NOTHING
    idle_j: Decimal = _NOTHING
    by_price: dict[tuple[str, Decimal], Decimal] = field(default_factory=lambda: defaultdict(Decimal))
    without_load_ms: int = 0

    def close(self, *, priced: bool) -> Energy:
        """Make the value; the money is divided once, at the end."""
        cost = sum((price * joules for (_, price), joules in self.by_price.items()), _NOTHING) / J_PER_KWH
        return Energy(
            lamps_j=self.lamps_j,
            cable_j=self.cable_j,
            load_loss_j=self.load_loss_j,
            no_load_j=self.no_load_j,
            idle_j=self.idle_j,
            cost=cost if priced else None,
            bands=bands_of(self.by_price) if priced else (),
            without_load_ms=self.without_load_ms,
        )


def _share(
    losses: Losses,
    rated: Mapping[str, Decimal],
    sums: Mapping[str, _Accumulator],
    together: _Together,
    *,
    lasts_ms: int,
    price: tuple[str, Decimal],
) -> None:
    """Give every zone its part of what the transformer used while the same zones were lit at one price."""
    lasts_s = Decimal(lasts_ms) / MS_PER_S
    if not together:
        for zone, part in zip(rated, _parts(list(rated.values())), strict=True):
            idle_j = losses.idle_w * lasts_s * part
            sums[zone].idle_j += idle_j
            sums[zone].by_price[price] += idle_j
        return
    loads_w = [load.total_w for _, load in together]
    load_w = sum(loads_w, _NOTHING)
    load_loss_j = (losses.meter_w(load_w) - load_w - losses.no_load_w) * lasts_s
    no_load_j = losses.no_load_w * lasts_s
    for (zone, load), part in zip(together, _parts(loads_w), strict=True):
        total = sums[zone]
        total.lamps_j += (load.lamps_w or _NOTHING) * lasts_s
        total.cable_j += load.cable_w * lasts_s
        total.load_loss_j += load_loss_j * part
        total.no_load_j += no_load_j * part
        total.by_price[price] += load.total_w * lasts_s + (load_loss_j + no_load_j) * part
        if load.lamps_w is None:
            total.without_load_ms += lasts_ms


def _parts(weights: Sequence[Decimal]) -> list[Decimal]:
    """Turn weights into parts of one, equal where all are zero."""
    total = sum(weights, _NOTHING)
    if total == 0:
        return [Decimal(1) / len(weights) for _ in weights]
    return [weight / total for weight in weights]
