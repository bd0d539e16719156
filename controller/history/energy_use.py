"""The energy of past runs: each at the load of its time, through its transformer, at its price.

What a transformer uses while nothing is lit is shared out by the loads of its zones; these too are those of
the time, so that a load that is changed in June moves nothing in May.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from types import MappingProxyType

from controller.calendar.intervals import Interval, ms_of, sort_into
from controller.calendar.periods import Period
from controller.energy.metering import measure_zones
from controller.energy.tariff import price_steps
from controller.energy.values import Draw, Energy, Load, Losses, watts
from controller.history.nights import Bounds, PastNights
from controller.history.run_hours import lit_interval
from controller.planning.planner import Planner
from controller.records.past import Run
from controller.wiring.losses import cable_losses


def energy_used(
    planner: Planner,
    found: PastNights,
    periods: Sequence[Period],
    *,
    losses: Mapping[str, Losses],
    loads: Mapping[str, float | None],
    bounds: Bounds,
) -> list[dict[str, Energy]]:
    """Work out what zones used in some periods.

    ``found`` are the nights of all the periods and more; ``losses`` is the transformer of every zone, also of
    those that are gone; ``loads`` is at what load in watts each was last lit before the first of the runs.

    Returns:
        For each period the energy of each zone; before the journal began, none.
    """
    site = planner.site
    runs = sorted((run for of_zone in found.runs.values() for run in of_zone), key=lambda run: run.on_utc)
    rated_w = {zone.id: zone.rated_load.watts for zone in site.zones}
    draws = loads_drawn(runs, cable_losses(site).cable_w, as_of_utc=bounds.now_utc, rated_w=rated_w)
    # Before its first run a zone has the load at which it was lit last, else that of the site file.
    first = {zone: watts(loads.get(zone, rated_w.get(zone))) or Decimal(0) for zone in losses}
    history = _LoadHistory(first, runs)
    steps = None
    if site.tariff is not None:
        steps = price_steps(site.tariff, periods[0].starts_at_utc, periods[-1].ends_at_utc, planner.tz)
    bins = [_known(period, bounds) for period in periods]
    energies: list[dict[str, Energy]] = []
    drawn = sort_into((((draw.starts_ms, draw.ends_ms), draw) for draw in draws), bins)
    for known, inside in zip(bins, drawn, strict=True):
        sums: dict[str, Energy] = {}
        for piece, loads_w in history.pieces(known):
            for zone, energy in measure_zones(losses, loads_w, inside, piece, steps).items():
                sums[zone] = sums[zone] + energy if zone in sums else energy
        energies.append(sums)
    return energies


def _known(period: Period, bounds: Bounds) -> Interval:
    """Give the part of a period over which the transformers are accounted for."""
    starts_ms = max(period.interval[0], ms_of(bounds.began_utc))
    return starts_ms, max(starts_ms, min(period.interval[1], ms_of(bounds.now_utc)))


class _LoadHistory:
    """The loads of all zones at any instant: each as it was lit last."""

    def __init__(self, first: Mapping[str, Decimal], runs: Iterable[Run]) -> None:
        loads = self._first = dict(first)
        self._changes: list[tuple[int, dict[str, Decimal]]] = []
        for run in runs:
            load_w = watts(run.load_w) or Decimal(0)
            if loads[run.zone] != load_w:
                loads = {**loads, run.zone: load_w}
                self._changes.append((ms_of(run.on_utc), loads))

    def pieces(self, whole: Interval) -> list[tuple[Interval, dict[str, Decimal]]]:
        """Cut an interval wherever a load changes; at least one piece, also where the interval is empty."""
        loads, since_ms = self._first, whole[0]
        pieces = []
        for at_ms, then in self._changes:
            if since_ms < at_ms < whole[1]:
                pieces.append(((since_ms, at_ms), loads))
                since_ms = at_ms
            if at_ms < whole[1]:
                loads = then
        return [*pieces, ((since_ms, whole[1]), loads)]


def loads_drawn(
    runs: Iterable[Run],
    cable_w: Mapping[str, Decimal],
    *,
    as_of_utc: datetime,
    rated_w: Mapping[str, float | None] = MappingProxyType({}),
) -> list[Draw]:
    """Turn runs into what they drew: each with the load that its zone had at that time.

    At another load than ``rated_w``, the one that ``cable_w`` is for, a loss goes with the square of the
    current; without a load there it is taken as it is. ``as_of_utc`` ends runs that are still lit.
    """
    draws = []
    # Loads seldom change.
    loads: dict[tuple[str, float | None], Load] = {}
    for run in runs:
        starts_ms, ends_ms = lit_interval(run, as_of_utc)
        load = loads.get((run.zone, run.load_w))
        if load is None:
            lost_w = cable_w.get(run.zone, Decimal(0)) * _share(run.load_w, rated_w.get(run.zone))
            load = Load(lamps_w=watts(run.load_w), cable_w=lost_w)
            loads[run.zone, run.load_w] = load
        draws.append(Draw(zone=run.zone, starts_ms=starts_ms, ends_ms=ends_ms, load=load))
    return draws


def _share(load_w: float | None, rated_w: float | None) -> Decimal:
    """Say what part of a cable's loss at the rated load there is at another one."""
    then_w, now_w = watts(load_w), watts(rated_w)
    return (then_w / now_w) ** 2 if then_w is not None and now_w else Decimal(1)
