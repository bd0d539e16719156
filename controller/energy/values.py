"""Energy as values: a transformer's losses, a zone's load, what it drew, and what the meter counts.

Everything is exact: powers and prices are decimals as a person wrote them, and energy is kept in joules
(watt-seconds), so that months sum to the year to the last digit that is shown.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from config.models.site import Site, Zone

J_PER_KWH = 3_600_000
# The transformer of zones that have none.
NAMELESS = ""
# Where losses come from that nobody knows; an energy without them is a lower bound.
LOSSES_NOT_KNOWN = "losses not known"
_NOTHING = Decimal(0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Losses:
    """What one transformer draws from the mains beyond what it gives to its cables.

    Attributes:
        mains_side: whether the relays switch the mains, so that it is energised only while something is lit;
            else it is energised all day.
        efficiency: output over input while lit, more than 0, at most 1, no-load loss included; None where it
            is not known or follows from the two losses.
        no_load_w: power drawn with nothing lit (iron loss), zero or more.
        copper_w: loss in the windings at the rated load, zero or more; with ``rated_va``, the two-loss model.

    Source: input = P + Pfe + Pcu (P/Pr)², the textbook form of a transformer with an iron and a copper loss.
    Held against energy.json E2, E3 and E10 by tests/controller/energy/test_metering.py.
    """

    transformer: str
    mains_side: bool = False
    efficiency: Decimal | None = None
    no_load_w: Decimal = _NOTHING
    copper_w: Decimal | None = None
    rated_va: Decimal | None = None

    def __post_init__(self) -> None:
        if self.efficiency is not None and not 0 < self.efficiency <= 1:
            raise ValueError(f"an efficiency is more than 0 and at most 1, not {self.efficiency}")
        if self.efficiency is not None and self.copper_w is not None:
            raise ValueError("give an efficiency or a copper loss, not both")
        if self.copper_w is not None and (self.rated_va is None or self.rated_va <= 0):
            raise ValueError(f"a copper loss belongs to a rating in VA, more than zero, not {self.rated_va}")
        for watts in (self.no_load_w, self.copper_w):
            if watts is not None and not (watts.is_finite() and watts >= 0):
                raise ValueError(f"a loss is zero watts or more, not {watts}")

    @property
    def origin(self) -> str:
        """Where the losses come from, in words; an energy without losses is a lower bound and says so."""
        if self.efficiency is not None:
            return "given efficiency"
        if self.copper_w is not None:
            return "no-load and copper loss"
        return "no-load loss only" if self.no_load_w else LOSSES_NOT_KNOWN

    def meter_w(self, load_w: Decimal) -> Decimal:
        """Give the mains power while ``load_w`` is drawn; never less than the load and the no-load loss."""
        least_w = load_w + self.no_load_w
        if self.efficiency is not None:
            return max(load_w / self.efficiency, least_w)
        if self.copper_w is not None and self.rated_va is not None:
            return least_w + self.copper_w * (load_w / self.rated_va) ** 2
        return least_w

    @property
    def idle_w(self) -> Decimal:
        """Mains power while nothing is lit."""
        return _NOTHING if self.mains_side else self.no_load_w


def losses_of(site: Site, zone: Zone | None) -> Losses:
    """Give the losses of the transformer that feeds a zone.

    A zone without one, or that is gone, belongs to a ``NAMELESS`` one whose losses are not known, so that its
    hours and watts are still counted; the account then says "at least".
    """
    transformer = None if zone is None else site.transformer_of(zone)
    if transformer is None:
        return Losses(transformer=NAMELESS)
    return Losses(
        transformer=transformer.id,
        mains_side=transformer.relay_side == "mains",
        efficiency=watts(transformer.efficiency),
        no_load_w=watts(transformer.no_load_w) or _NOTHING,
        copper_w=watts(transformer.copper_w),
        rated_va=watts(transformer.rated_va),
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Load:
    """What a zone draws while it is lit: at the lamps, None where not known, and in its cables on top."""

    lamps_w: Decimal | None
    cable_w: Decimal = _NOTHING

    def __post_init__(self) -> None:
        for watts in (self.lamps_w, self.cable_w):
            if watts is not None and not (watts.is_finite() and watts >= 0):
                raise ValueError(f"a load is zero watts or more, not {watts}")

    @property
    def total_w(self) -> Decimal:
        """Watts drawn from the transformer; a load that is not known counts as none."""
        return (self.lamps_w or _NOTHING) + self.cable_w


@dataclass(frozen=True, kw_only=True, slots=True)
class Draw:
    """One zone drawing its load over an interval, in milliseconds since 1970, half-open."""

    zone: str
    starts_ms: int
    ends_ms: int
    load: Load


@dataclass(frozen=True, kw_only=True, slots=True)
class BandEnergy:
    """Energy at the meter at one price."""

    name: str
    per_kwh: Decimal
    meter_j: Decimal

    @property
    def cost(self) -> Decimal:
        """What it costs, not rounded."""
        return self.meter_j * self.per_kwh / J_PER_KWH


@dataclass(frozen=True, kw_only=True, slots=True)
class Energy:
    """The energy of a zone over some time, in joules; add two with ``+``.

    Attributes:
        load_loss_j: its share of what the transformer lost because of the load.
        no_load_j: its share of the no-load loss while lit.
        idle_j: its share of the no-load loss while nothing was lit.
        cost: price of the meter's energy, not rounded; None without a tariff.
        bands: the meter's energy by price.
        without_load_ms: milliseconds lit with a load that is not known, and so counted as nothing.
    """

    lamps_j: Decimal = _NOTHING
    cable_j: Decimal = _NOTHING
    load_loss_j: Decimal = _NOTHING
    no_load_j: Decimal = _NOTHING
    idle_j: Decimal = _NOTHING
    cost: Decimal | None = None
    bands: tuple[BandEnergy, ...] = ()
    without_load_ms: int = 0

    @property
    def meter_j(self) -> Decimal:
        """Energy at the meter."""
        return self.lamps_j + self.cable_j + self.load_loss_j + self.no_load_j + self.idle_j

    @property
    def transformer_lit_j(self) -> Decimal:
        """Lost in the transformer while lit."""
        return self.load_loss_j + self.no_load_j

    def __add__(self, other: Energy) -> Energy:
        """Sum two energies; the cost is known where either is."""
        costs = [each.cost for each in (self, other) if each.cost is not None]
        by_band: dict[tuple[str, Decimal], Decimal] = defaultdict(Decimal)
        for band in self.bands + other.bands:
            by_band[band.name, band.per_kwh] += band.meter_j
        return Energy(
            lamps_j=self.lamps_j + other.lamps_j,
            cable_j=self.cable_j + other.cable_j,
            load_loss_j=self.load_loss_j + other.load_loss_j,
            no_load_j=self.no_load_j + other.no_load_j,
            idle_j=self.idle_j + other.idle_j,
            cost=sum(costs, _NOTHING) if costs else None,
            bands=bands_of(by_band),
            without_load_ms=self.without_load_ms + other.without_load_ms,
        )


# The same few loads come with every run of the journal, and making decimals of them takes long.
@lru_cache(maxsize=1024, typed=True)
def watts(value: float | None) -> Decimal | None:
    """Turn watts into the decimal that a person wrote: 4.5 is 4.5, not its nearest binary fraction."""
    return None if value is None else Decimal(repr(value))


def bands_of(joules: Mapping[tuple[str, Decimal], Decimal]) -> tuple[BandEnergy, ...]:
    """List energy by price, the dearest first; the key is the name of the band and its price."""
    ordered = sorted(joules.items(), key=lambda item: (-item[0][1], item[0][0]))
    return tuple(BandEnergy(name=name, per_kwh=price, meter_j=each) for (name, price), each in ordered)
