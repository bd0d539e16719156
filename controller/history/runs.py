"""From the runs of the journal to intervals of light, and to what they drew.

How a run becomes an interval: its length is ``lit_s``, measured on the boot-time clock, which no step of the
wall clock touches; its end is ``off_utc``. Where the clock was stepped while the zone was lit, the two
wall-clock instants lie farther apart than that, or nearer. The later reading is then the better one, since a
step is how a wrong clock is put right, so the interval ends there and reaches back by the measured length. A
board that woke up in 1970 and learned the time while lit thus accounts its hour to the right evening, and to
one only.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal

from controller.calendar.intervals import MS_PER_S, Interval, ms_of
from controller.energy.values import Draw, Load, watts
from controller.records.past import Run

_NOTHING_RATED: Mapping[str, float | None] = {}


def lit_interval(run: Run, as_of_utc: datetime) -> Interval:
    """Give when a run was lit, in milliseconds since 1970; one that is still lit reaches up to now."""
    if run.off_utc is None:
        on_ms = ms_of(run.on_utc)
        return on_ms, max(on_ms, ms_of(as_of_utc))
    off_ms = ms_of(run.off_utc)
    lit_s = run.lit_s if run.lit_s is not None else (run.off_utc - run.on_utc).total_seconds()
    return off_ms - max(round(lit_s * MS_PER_S), 0), off_ms


def loads_drawn(
    runs: Iterable[Run],
    cable_w: Mapping[str, Decimal],
    *,
    as_of_utc: datetime,
    rated_w: Mapping[str, float | None] = _NOTHING_RATED,
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
