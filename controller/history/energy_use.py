"""The energy of past runs: each at the load of its time, through its transformer, at its price.

What a transformer uses while nothing is lit is shared out by the loads of its zones; these too are those of
the time, so that a load that is changed in June moves nothing in May.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from types import MappingProxyType
from zoneinfo import ZoneInfo

from config.models.site import Site
from controller.calendar.intervals import Interval, ms_of
from controller.calendar.periods import Period
from controller.energy.from_site import losses_of
from controller.energy.metering import measure
from controller.energy.tariff import price_steps
from controller.energy.values import Draw, Energy, Load, Losses, watts
from controller.history.run_hours import lit_interval
from controller.records.past import Run


@dataclass(frozen=True, kw_only=True, slots=True)
class EnergyUse:
    """What the energy of the past is worked out from.

    Attributes:
        site: the site as it is now: transformers, prices, and the loads of zones that were never lit.
        loads: at what load in watts each zone was last lit before the first of the runs.
        cable_w: watts lost in the cables of a zone while it is lit at its load of now, where known.
        began_utc: when the journal began; before, it is not known what a transformer used.
    """

    site: Site
    tz: ZoneInfo
    loads: Mapping[str, float | None]
    cable_w: Mapping[str, Decimal]
    began_utc: datetime
    now_utc: datetime

    def compute(
        self, zones: Sequence[str], runs: Iterable[Run], periods: Sequence[Period]
    ) -> list[dict[str, Energy]]:
        """Work out what zones used in some periods.

        ``zones`` are those of the site and those that are gone; ``runs`` reach over all the periods and more.

        Returns:
            For each period the energy of each zone.
        """
        runs = sorted(runs, key=lambda run: run.on_utc)
        rated_w = {zone.id: zone.rated_load.watts for zone in self.site.zones}
        draws = loads_drawn(runs, self.cable_w, as_of_utc=self.now_utc, rated_w=rated_w)
        # Before its first run a zone has the load at which it was lit last, else that of the site file.
        first = {zone: watts(self.loads.get(zone, rated_w.get(zone))) or Decimal(0) for zone in zones}
        history = _LoadHistory(first, runs)
        steps = None
        if self.site.tariff is not None:
            starts_at_utc, ends_at_utc = periods[0].starts_at_utc, periods[-1].ends_at_utc
            steps = price_steps(self.site.tariff, starts_at_utc, ends_at_utc, self.tz)
        feeds: dict[Losses, list[str]] = defaultdict(list)
        for zone in zones:
            feeds[self.losses_of(zone)].append(zone)
        bins = [self._known(period) for period in periods]
        energies: list[dict[str, Energy]] = []
        for (from_ms, to_ms), inside in zip(bins, _assign(draws, bins), strict=True):
            prices = None
            if steps is not None:
                prices = [step for step in steps if step.starts_ms < to_ms and step.ends_ms > from_ms]
            sums: dict[str, Energy] = {}
            for losses, group in feeds.items():
                here = [draw for draw in inside if draw.zone in group]
                for (starts_ms, ends_ms), loads in history.pieces((from_ms, to_ms)):
                    rated = {zone: loads[zone] for zone in group}
                    part = measure(losses, rated, here, starts_ms=starts_ms, ends_ms=ends_ms, steps=prices)
                    for zone, energy in part.items():
                        sums[zone] = sums[zone] + energy if zone in sums else energy
            energies.append(sums)
        return energies

    def losses_of(self, zone_id: str) -> Losses:
        """Give the losses of the transformer of a zone; the nameless one for a zone that is gone."""
        zone = next((zone for zone in self.site.zones if zone.id == zone_id), None)
        return losses_of(self.site, zone)

    def _known(self, period: Period) -> Interval:
        """Give the part of a period over which the transformers are accounted for."""
        starts_ms = max(period.interval[0], ms_of(self.began_utc))
        return starts_ms, max(starts_ms, min(period.interval[1], ms_of(self.now_utc)))


def _assign(draws: Iterable[Draw], bins: Sequence[Interval]) -> list[list[Draw]]:
    """Give for each interval, in their order, the draws that reach into it."""
    begins = [each[0] for each in bins]
    assigned: list[list[Draw]] = [[] for _ in bins]
    for draw in draws:
        number = max(bisect_right(begins, draw.starts_ms) - 1, 0)
        while number < len(bins) and bins[number][0] < draw.ends_ms:
            if draw.starts_ms < bins[number][1]:
                assigned[number].append(draw)
            number += 1
    return assigned


class _LoadHistory:
    """The loads of all zones at any instant: each as it was lit last."""

    def __init__(self, first: Mapping[str, Decimal], runs: Iterable[Run]) -> None:
        loads = self._first = dict(first)
        self._changes: list[tuple[int, dict[str, Decimal]]] = []
        last: dict[str, float | None] = {}
        for run in runs:
            if run.zone in last and last[run.zone] == run.load_w:
                continue
            last[run.zone] = run.load_w
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
    # Loads seldom change, and making a decimal of each run's would be half of the work.
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
