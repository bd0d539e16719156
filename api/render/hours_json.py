"""What the account of the past looks like in JSON; the command line and the web server never differ in it.

Hours are rounded to the millionth, which is 4 ms; energy to the thousandth of a watt-hour; money, worked out
in exact decimals, to the coin, each figure by itself: rounded rows need not add up to a rounded total. Who
adds up takes ``cost_unrounded``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from api.render.instants import instant_text
from api.render.numbers import currency_of, hours_of, kwh_of, money_of
from api.render.wear_json import wear_as_json
from config.models.site import Site
from controller.calendar.periods import Period
from controller.energy.values import J_PER_KWH
from controller.history.account import ZoneAccount
from controller.history.lamp_wear import Wear
from controller.history.nights import Bounds
from controller.history.query import HoursQuery
from controller.history.totals import HourSum, add_up
from controller.records.totals import ZoneSum

_MS_PER_S = 1000
_WHOLE_LIFE = (
    "the sums of the whole life hold hours, starts and energy at the lamps of runs that have ended; "
    "name dates for the rest"
)
_AT_LEAST = "at least: a load or a transformer's losses are not known, so energy and cost are lower bounds"


def hours_as_json(
    site: Site,
    ask: HoursQuery,
    periods: Sequence[Period],
    accounts: Iterable[ZoneAccount],
    *,
    bounds: Bounds,
    wear: Wear | None = None,
) -> dict[str, Any]:
    """Say what zones did, period by period.

    Args:
        site: the site as it is now.
        ask: what was asked.
        periods: the periods that were meant.
        accounts: the account of each period and zone.
        bounds: of what the journal knows.
        wear: lamps and relays; left out where None.
    """
    currency = currency_of(site)
    rows = list(accounts)
    zones = dict.fromkeys(row.hours.zone for row in rows)
    total = add_up(rows)
    return {
        **_head(site, ask, periods, bounds),
        "hours": [row_as_json(row, currency) for row in rows],
        "totals": [
            {"zone": zone, **sum_as_json(add_up(row for row in rows if row.hours.zone == zone), currency)}
            for zone in zones
        ],
        "total": sum_as_json(total, currency),
        **wear_as_json(wear),
        "notes": [_AT_LEAST] if total.at_least else [],
    }


def life_as_json(
    site: Site,
    ask: HoursQuery,
    period: Period,
    sums: Iterable[ZoneSum],
    *,
    bounds: Bounds,
    wear: Wear | None = None,
) -> dict[str, Any]:
    """Say what zones did in the journal's whole life, from the sums that are kept with every switching."""
    wanted = [each for each in sums if not ask.zones or each.zone in ask.zones]
    order = {zone.id: number for number, zone in enumerate(site.zones)}
    wanted.sort(key=lambda each: (order.get(each.zone, len(order)), each.zone))
    rows = [{"zone": each.zone, **_life_of([each])} for each in wanted]
    return {
        **_head(site, ask, [period], bounds),
        "hours": [{**_period(period), **row} for row in rows],
        "totals": rows,
        "total": _life_of(wanted),
        **wear_as_json(wear),
        "notes": [_WHOLE_LIFE],
    }


def row_as_json(account: ZoneAccount, currency: str | None) -> dict[str, Any]:
    """Say what one zone did in one period."""
    hours = account.hours
    return {**_period(hours.period), "zone": hours.zone, **sum_as_json(add_up([account]), currency)}


def sum_as_json(hours: HourSum, currency: str | None) -> dict[str, Any]:
    """Say what was lit, missed and taken."""
    gap = hours.longest_gap
    return {
        "lit_h": hours_of(hours.lit_ms),
        "by_program_h": hours_of(hours.program_ms),
        "by_override_h": hours_of(hours.override_ms),
        "unknown_h": hours_of(hours.unknown_ms),
        "clock_not_trusted_h": hours_of(hours.untrusted_ms),
        "daylight_h": hours_of(hours.daylight_ms),
        "starts": hours.starts,
        "planned_h": hours_of(hours.planned_ms),
        "missed_h": hours_of(sum(hours.missed_ms.values())),
        "missed": [{"why": _why(why), "hours": hours_of(lasts_ms)} for why, lasts_ms in hours.missed],
        "longest_dark_gap": None
        if gap is None
        else {"from": instant_text(gap.starts_at_utc), "hours": hours_of(gap.lasts_ms), "why": _why(gap.why)},
        **_energy(hours, currency),
    }


def _energy(hours: HourSum, currency: str | None) -> dict[str, Any]:
    """Say what was taken and what it cost."""
    energy = hours.energy
    return {
        "lamps_kwh": kwh_of(energy.lamps_j),
        "cables_kwh": kwh_of(energy.cable_j),
        "transformer_lit_kwh": kwh_of(energy.load_loss_j + energy.no_load_j),
        "transformer_dark_kwh": kwh_of(energy.idle_j),
        "meter_kwh": kwh_of(energy.meter_j),
        "cost": money_of(energy.cost, currency),
        "cost_unrounded": None if energy.cost is None else round(float(energy.cost), 9),
        "prices": [
            {
                "name": band.name,
                "per_kwh": float(band.per_kwh),
                "meter_kwh": kwh_of(band.meter_j),
                "cost": money_of(band.meter_j * band.per_kwh / J_PER_KWH, currency),
            }
            for band in energy.bands
            if band.meter_j
        ],
        "loads": [{"watts": watts, "origin": origin or None} for watts, origin in hours.loads],
        "without_load_h": hours_of(energy.without_load_ms),
        "losses": list(hours.losses),
        "at_least": hours.at_least,
    }


def _head(site: Site, ask: HoursQuery, periods: Sequence[Period], bounds: Bounds) -> dict[str, Any]:
    """Say what the answer is about."""
    return {
        "site": site.name,
        "time_zone": site.time_zone,
        "currency": currency_of(site),
        "by": str(ask.by),
        "from": periods[0].first.isoformat(),
        "to": periods[-1].last.isoformat(),
        "journal_since": None if bounds.is_empty else instant_text(bounds.began_utc),
        "as_of": instant_text(bounds.now_utc),
    }


def _period(period: Period) -> dict[str, str]:
    """Name a period and its nights."""
    return {"period": period.name, "from": period.first.isoformat(), "to": period.last.isoformat()}


def _life_of(zones: Sequence[ZoneSum]) -> dict[str, Any]:
    """Say what the sums of some zones hold; what they do not hold is null."""
    parts = [part for zone in zones for part in zone.by_load]
    energy = HourSum()
    lamps_j = sum((Decimal(repr(each.load_w or 0)) * Decimal(repr(each.lit_s)) for each in parts), Decimal(0))
    unknown_ms = round(sum(each.lit_s for each in parts if each.load_w is None) * _MS_PER_S)
    energy.loads = tuple(dict.fromkeys((each.load_w, each.load_from) for each in parts))
    empty = dict.fromkeys(sum_as_json(energy, None))
    return {
        **empty,
        "lit_h": hours_of(round(sum(each.lit_s for each in parts) * _MS_PER_S)),
        "starts": sum(each.starts for each in parts),
        "missed": [],
        "lamps_kwh": kwh_of(lamps_j),
        "prices": [],
        "loads": [{"watts": watts, "origin": origin or None} for watts, origin in energy.loads],
        "without_load_h": hours_of(unknown_ms),
        "losses": [],
        "at_least": unknown_ms > 0,
    }


def _why(why: object) -> str | None:
    """Name a reason; None where nothing explains it."""
    return None if why is None else str(why)
