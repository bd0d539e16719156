"""The energy of past runs: each at the load of its time, through the transformer of its time, at its price.

What a transformer uses while nothing is lit is shared out by the loads of its zones; these too are those of
the time, so that a load that is changed in June moves nothing in May. While the board had no power, the
transformers are taken to have had none either.
"""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from controller.calendar.intervals import Interval, ms_of, overlap, sort_into, without
from controller.calendar.periods import Period
from controller.energy.metering import measure_zones
from controller.energy.tariff import price_steps
from controller.energy.values import LOSSES_NOT_KNOWN, NAMELESS, Draw, Energy, Load, Losses, watts
from controller.history.nights import Bounds, PastNights
from controller.history.run_hours import lit_interval, time_of
from controller.history.site_facts import Supply
from controller.history.site_history import SiteHistory, SitePeriod
from controller.records.entries import Cause
from controller.records.past import Run

_NOTHING = Decimal(0)
# Of a zone that the journal was not told of: its hours and watts count, and its energy is a lower bound.
_UNKNOWN = Supply(losses=Losses(transformer=NAMELESS))


@dataclass(frozen=True, kw_only=True, slots=True)
class EnergyUse:
    """The energy of one zone in one period.

    Attributes:
        losses: where the losses of its transformers come from.
        assumed: whether its transformer or cables are assumed, because the journal was not told of them.
    """

    energy: Energy
    losses: tuple[str, ...] = ()
    assumed: bool = False

    def plus(self, energy: Energy, origin: str, assumed: bool) -> "EnergyUse":  # noqa: FBT001 - see above
        """Add the energy of another stretch, with where its losses come from."""
        losses = self.losses if origin in self.losses else (*self.losses, origin)
        return EnergyUse(energy=self.energy + energy, losses=losses, assumed=self.assumed or assumed)

    @property
    def at_least(self) -> bool:
        """Whether it is a lower bound."""
        return self.energy.without_load_ms > 0 or LOSSES_NOT_KNOWN in self.losses


def energy_used(
    history: SiteHistory,
    found: PastNights,
    periods: Sequence[Period],
    *,
    loads: Mapping[str, float | None],
    bounds: Bounds,
) -> list[dict[str, EnergyUse]]:
    """Work out what zones used in some periods.

    ``found`` are the nights of all the periods and more; ``loads`` is at what load in watts each zone was
    last lit before the first of the runs.

    Returns:
        For each period the energy of each of the zones found; before the journal began, none.
    """
    runs = sorted((run for of_zone in found.runs.values() for run in of_zone), key=lambda run: run.on_utc)
    draws = loads_drawn(runs, found.sites, as_of_utc=bounds.now_utc)
    pieces = [piece for site in found.sites for piece in _cut_at_loads(site, runs, loads)]
    power_cuts = [each for each in found.gaps if each.reason is Cause.POWER_LOST]
    unpowered = time_of(power_cuts, "", bounds.now_utc)
    planner, steps, none_used = history.planner, None, Energy()
    if planner.site.tariff is not None:
        whole = periods[0].starts_at_utc, periods[-1].ends_at_utc
        steps, none_used = price_steps(planner.site.tariff, *whole, planner.tz), Energy(cost=_NOTHING)
    bins = [_known(period, bounds) for period in periods]
    uses: list[dict[str, EnergyUse]] = []
    drawn = sort_into((((draw.starts_ms, draw.ends_ms), draw) for draw in draws), bins)
    for known, inside in zip(bins, drawn, strict=True):
        of_period = dict.fromkeys(found.zones, EnergyUse(energy=none_used))
        for piece in pieces:
            for powered in without(overlap([known], [piece.interval]), unpowered):
                losses = piece.losses_of(inside, powered)
                rated_w = {zone: piece.rated_w.get(zone, _NOTHING) for zone in losses}
                energies = measure_zones(losses, rated_w, inside, powered, steps)
                for zone, energy in energies.items():
                    of_period[zone] = of_period[zone].plus(energy, losses[zone].origin, piece.assumed)
        uses.append(of_period)
    return uses


def _known(period: Period, bounds: Bounds) -> Interval:
    """Give the part of a period over which the transformers are accounted for."""
    starts_ms = max(period.interval[0], ms_of(bounds.began_utc))
    return starts_ms, max(starts_ms, min(period.interval[1], ms_of(bounds.now_utc)))


@dataclass(frozen=True, kw_only=True, slots=True)
class _Piece:
    """A stretch over which nothing about the supply of any zone changes, with the rated load of each zone."""

    interval: Interval
    supplies: Mapping[str, Supply]
    rated_w: Mapping[str, Decimal]
    assumed: bool

    def losses_of(self, draws: Iterable[Draw], within: Interval) -> dict[str, Losses]:
        """Give the losses for each zone, also for one that draws and was not in the site any more."""
        strays = {
            draw.zone
            for draw in draws
            if draw.zone not in self.supplies and draw.starts_ms < within[1] and draw.ends_ms > within[0]
        }
        found = {zone: supply.losses for zone, supply in self.supplies.items()}
        return found | dict.fromkeys(sorted(strays), _UNKNOWN.losses)


def _cut_at_loads(
    site: SitePeriod, runs: Sequence[Run], loads: Mapping[str, float | None]
) -> Iterator[_Piece]:
    """Give the pieces of a time over which the site was the same.

    Where that is assumed, the loads are known all the same: each is that at which the zone was lit last.
    """
    supplies, since_ms = site.facts.supplies, site.starts_ms
    rated_w = {zone: watts(supply.load_w) or _NOTHING for zone, supply in supplies.items()}
    if site.assumed:
        rated_w |= {zone: watts(load_w) or _NOTHING for zone, load_w in loads.items()}
        for run in runs:
            at_ms, load_w = ms_of(run.on_utc), watts(run.load_w) or _NOTHING
            if at_ms >= site.ends_ms or rated_w.get(run.zone) == load_w:
                continue
            if at_ms > since_ms:
                yield _Piece(interval=(since_ms, at_ms), supplies=supplies, rated_w=rated_w, assumed=True)
                since_ms = at_ms
            rated_w = {**rated_w, run.zone: load_w}
    ends = since_ms, site.ends_ms
    yield _Piece(interval=ends, supplies=supplies, rated_w=rated_w, assumed=site.assumed)


def loads_drawn(runs: Iterable[Run], sites: Sequence[SitePeriod], *, as_of_utc: datetime) -> list[Draw]:
    """Turn runs into what they drew: each with the load, and the cables, that its zone had when it began.

    At another load than the one that a loss is for, it goes with the square of the current; without a load
    there it is taken as it is. ``as_of_utc`` ends runs that are still lit.
    """
    ends_ms = [site.ends_ms for site in sites[:-1]]
    # Loads seldom change.
    loads: dict[tuple[int, str, float | None], Load] = {}
    draws = []
    for run in runs:
        starts_ms, until_ms = lit_interval(run, as_of_utc)
        number = bisect_right(ends_ms, starts_ms)
        load = loads.get((number, run.zone, run.load_w))
        if load is None:
            supply = sites[number].facts.supplies.get(run.zone, _UNKNOWN)
            load = Load(lamps_w=watts(run.load_w), cable_w=supply.cable_w * _share(run.load_w, supply.load_w))
            loads[number, run.zone, run.load_w] = load
        draws.append(Draw(zone=run.zone, starts_ms=starts_ms, ends_ms=until_ms, load=load))
    return draws


def _share(load_w: float | None, rated_w: float | None) -> Decimal:
    """Say what part of a cable's loss at the rated load there is at another one."""
    then_w, now_w = watts(load_w), watts(rated_w)
    return (then_w / now_w) ** 2 if then_w is not None and now_w else Decimal(1)
