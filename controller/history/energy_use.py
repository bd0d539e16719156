"""What the runs of the past took: each at the load of its time, through its transformer, at its price.

What a transformer takes while nothing is lit is shared out by the loads of its zones; these too are those of
the time, so that a load that is changed in June moves nothing in May.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from config.errors import UnknownZoneError
from config.models.site import Site
from controller.calendar.intervals import Interval, ms_of
from controller.calendar.periods import Period
from controller.energy.from_site import feed_of, losses_of
from controller.energy.metering import measure
from controller.energy.tariff import PriceStep, price_steps
from controller.energy.values import Draw, Energy, Losses, watts
from controller.history.runs import loads_drawn
from controller.records.entries import Run

_NOTHING = Decimal(0)


@dataclass(frozen=True, kw_only=True, slots=True)
class EnergyUse:
    """What the energy of the past is worked out from.

    Attributes:
        site: the site as it is now: transformers, prices, and the loads of zones that were never lit.
        tz: its time zone.
        loads: at what load each zone was last lit before the first of the runs; see
            ``JournalSource.loads_at``.
        cable_w: watts lost in the cables of a zone while it is lit at its load of now, where known.
        began_utc: when the journal began; before, nobody knows what a transformer took.
        now_utc: now.
    """

    site: Site
    tz: ZoneInfo
    loads: Mapping[str, float | None]
    cable_w: Mapping[str, Decimal]
    began_utc: datetime
    now_utc: datetime

    def read(
        self, zones: Sequence[str], runs: Iterable[Run], periods: Sequence[Period]
    ) -> list[dict[str, Energy]]:
        """Work out what zones took in some periods.

        Args:
            zones: ids of all zones of the site, and of those that are gone.
            runs: their runs, over all the periods and more.
            periods: in order.

        Returns:
            For each period the energy of each zone.
        """
        runs = sorted(runs, key=lambda run: run.on_utc)
        rated_w = {zone.id: zone.rated_load.watts for zone in self.site.zones}
        draws = loads_drawn(runs, self.cable_w, as_of_utc=self.now_utc, rated_w=rated_w)
        steps = self._steps(periods)
        feeds: dict[str, list[str]] = defaultdict(list)
        for zone in zones:
            feeds[self._feed(zone)].append(zone)
        rated = _LoadHistory(self._first_loads(zones), runs)
        boxes = [self._known(period) for period in periods]
        dealt = _assign(draws, boxes)
        return [
            self._read_box(box, feeds, here, rated, steps) for box, here in zip(boxes, dealt, strict=True)
        ]

    def _read_box(
        self,
        box: Interval,
        feeds: Mapping[str, Sequence[str]],
        draws: Sequence[Draw],
        rated: _LoadHistory,
        steps: Sequence[PriceStep] | None,
    ) -> dict[str, Energy]:
        """Read one period, transformer by transformer, cut wherever a load was changed."""
        losses = losses_of(self.site)
        energies: dict[str, Energy] = {}
        pieces = rated.pieces(box)
        inside = None
        if steps is not None:
            inside = [step for step in steps if step.starts_ms < box[1] and step.ends_ms > box[0]]
        for feed, zones in feeds.items():
            here = [draw for draw in draws if draw.zone in zones]
            for (starts_ms, ends_ms), loads in pieces:
                part = measure(
                    losses[feed],
                    {zone: loads[zone] for zone in zones},
                    here,
                    starts_ms=starts_ms,
                    ends_ms=ends_ms,
                    steps=inside,
                )
                for zone, energy in part.items():
                    energies[zone] = energies[zone] + energy if zone in energies else energy
        return energies

    def losses_of(self, zone_id: str) -> Losses:
        """Give the losses of the transformer that feeds a zone."""
        return losses_of(self.site)[self._feed(zone_id)]

    def _feed(self, zone_id: str) -> str:
        """Give the transformer of a zone; the nameless one for a zone that is gone."""
        try:
            return feed_of(self.site, self.site.zone(zone_id))
        except UnknownZoneError:
            return feed_of(self.site, None)

    def _first_loads(self, zones: Iterable[str]) -> dict[str, Decimal]:
        """Give each zone's load before its first run: as it was lit last, else as the site file has it."""
        by_file = {zone.id: zone.rated_load.watts for zone in self.site.zones}
        return {zone: watts(self.loads.get(zone, by_file.get(zone))) or _NOTHING for zone in zones}

    def _steps(self, periods: Sequence[Period]) -> list[PriceStep] | None:
        """Give the prices over some periods; None where the site file names none."""
        tariff = self.site.tariff
        if tariff is None:
            return None
        return price_steps(tariff, periods[0].starts_at_utc, periods[-1].ends_at_utc, self.tz)

    def _known(self, period: Period) -> Interval:
        """Give the part of a period over which the transformers are accounted for."""
        starts_ms = max(period.interval[0], ms_of(self.began_utc))
        return starts_ms, max(starts_ms, min(period.interval[1], ms_of(self.now_utc)))


def _assign(draws: Iterable[Draw], boxes: Sequence[Interval]) -> list[list[Draw]]:
    """Give for each interval, in their order, the draws that reach into it."""
    begins = [box[0] for box in boxes]
    dealt: list[list[Draw]] = [[] for _ in boxes]
    for draw in draws:
        number = max(bisect_right(begins, draw.starts_ms) - 1, 0)
        while number < len(boxes) and boxes[number][0] < draw.ends_ms:
            if draw.starts_ms < boxes[number][1]:
                dealt[number].append(draw)
            number += 1
    return dealt


class _LoadHistory:
    """The loads of all zones at any instant: each as it was lit last."""

    def __init__(self, first: Mapping[str, Decimal], runs: Iterable[Run]) -> None:
        """Walk along the runs, in the order of their beginnings, and note where a load changes."""
        loads = dict(first)
        self._first = dict(first)
        self._changes: list[tuple[int, dict[str, Decimal]]] = []
        last: dict[str, float | None] = {}
        for run in runs:
            if run.zone in last and last[run.zone] == run.load_w:
                continue
            last[run.zone] = run.load_w
            load_w = watts(run.load_w) or _NOTHING
            if loads[run.zone] != load_w:
                loads[run.zone] = load_w
                self._changes.append((ms_of(run.on_utc), dict(loads)))

    def pieces(self, box: Interval) -> list[tuple[Interval, dict[str, Decimal]]]:
        """Cut an interval wherever a load changes; at least one piece, also where the interval is empty."""
        loads, since_ms = self._first, box[0]
        pieces = []
        for at_ms, then in self._changes:
            if since_ms < at_ms < box[1]:
                pieces.append(((since_ms, at_ms), loads))
                since_ms = at_ms
            if at_ms < box[1]:
                loads = then
        return [*pieces, ((since_ms, box[1]), loads)]
