"""The year ahead in JSON: by month and zone, with other plans and an old timer beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from api.render.instants import instant_text
from api.render.numbers import currency_of, hours_of, kwh_of, money_of
from controller.calendar.intervals import MS_PER_HOUR
from controller.energy.values import Energy
from controller.forecast.forecast import Forecast, ForecastDifference, MonthAhead, compare
from controller.forecast.mechanical_timer import TimerNight
from controller.forecast.year import NamedForecast, YearForecast
from controller.lamps.life import Lamps

_AT_LEAST = "at least: a load or a transformer's losses are not known, so energy and cost are lower bounds"


def year_as_json(year: YearForecast) -> dict[str, Any]:
    """Say what the nights to come will take, and what other plans would change."""
    writer = _Writer(year)
    period = year.present.forecast.period
    return {
        "site": year.planner.site.name,
        "time_zone": year.planner.site.time_zone,
        "currency": writer.currency,
        "from": period.first.isoformat(),
        "to": period.last.isoformat(),
        "nights": period.nights,
        "present": writer.plan(year.present),
        "others": [writer.other(other) for other in year.others],
        "old_timer": writer.old_timer(),
        "notes": [_AT_LEAST] if year.lower_bounds else [],
    }


class _Writer:
    """Writes one year.

    Args:
        year: what was worked out.
    """

    def __init__(self, year: YearForecast) -> None:
        """Take the year."""
        self.year = year
        self.currency = currency_of(year.planner.site)

    def plan(self, told: NamedForecast) -> dict[str, Any]:
        """Write what one plan takes."""
        forecast = told.forecast
        rows = [row for row in forecast.months if row.zone in self.year.zones]
        return {
            "name": told.name,
            "months": [self._month(row) for row in rows],
            "totals": [
                {
                    "zone": zone,
                    **self._sum([row for row in rows if row.zone == zone]),
                    "lamp_life_used": self._life_used(zone, forecast.lit_ms(zone)),
                }
                for zone in self.year.zones
            ],
            "total": self._sum(rows),
            "lamps": [
                self._lamps(name, count, lamps, forecast)
                for name, count, lamps in self.year.lamps
                if lamps.zone in self.year.zones
            ],
        }

    def other(self, told: NamedForecast) -> dict[str, Any]:
        """Write what another plan takes, and what it changes: other minus present, negative saves."""
        changes = [
            each
            for each in compare(self.year.present.forecast, told.forecast)
            if each.zone in self.year.zones
        ]
        return {
            **self.plan(told),
            "changes": [{"zone": each.zone, **self._change([each])} for each in changes],
            "change": self._change(changes),
        }

    def old_timer(self) -> dict[str, Any] | None:
        """Write what the old timer would do."""
        told, timer = self.year.by_timer, self.year.timer
        if told is None or timer is None:
            return None
        nights = [_timer_night(night) for night in self.year.timer_nights]
        return {
            "pins": f"{timer.on:%H:%M}-{timer.off:%H:%M}",
            "set_on": timer.set_on.isoformat(),
            "moved_at_clock_changes": timer.moved_at_clock_changes,
            "drift_s_per_day": timer.drift_s_per_day,
            "lit_h": hours_of(sum(night.lit_ms for night in self.year.timer_nights)),
            "daylight_h": hours_of(sum(night.daylight_ms for night in self.year.timer_nights)),
            "unlit_dark_h": hours_of(sum(night.unlit_ms for night in self.year.timer_nights)),
            **self.other(told),
            "nights": nights,
        }

    def _month(self, row: MonthAhead) -> dict[str, Any]:
        """Write what one zone does in one month."""
        return {
            "month": row.month.name,
            "from": row.month.first.isoformat(),
            "to": row.month.last.isoformat(),
            "zone": row.zone,
            **self._sum([row]),
            "lamp_life_used": self._life_used(row.zone, row.lit_ms),
        }

    def _sum(self, rows: Sequence[MonthAhead]) -> dict[str, Any]:
        """Add up months."""
        energy = sum((row.energy for row in rows), Energy())
        return {
            "lit_h": hours_of(sum(row.lit_ms for row in rows)),
            "daylight_h": hours_of(sum(row.daylight_ms for row in rows)),
            "starts": sum(row.starts for row in rows),
            "lamps_kwh": kwh_of(energy.lamps_j),
            "cables_kwh": kwh_of(energy.cable_j),
            "transformer_lit_kwh": kwh_of(energy.load_loss_j + energy.no_load_j),
            "transformer_dark_kwh": kwh_of(energy.idle_j),
            "meter_kwh": kwh_of(energy.meter_j),
            **self._money(energy.cost),
            "at_least": any(row.zone in self.year.lower_bounds for row in rows),
        }

    def _change(self, changes: Sequence[ForecastDifference]) -> dict[str, Any]:
        """Add up differences."""
        costs = [each.cost for each in changes if each.cost is not None]
        return {
            "lit_h": hours_of(sum(each.lit_ms for each in changes)),
            "daylight_h": hours_of(sum(each.daylight_ms for each in changes)),
            "meter_kwh": round(float(sum((each.meter_kwh for each in changes), Decimal(0))), 6),
            **self._money(sum(costs, Decimal(0)) if costs else None),
        }

    def _money(self, amount: Decimal | None) -> dict[str, Any]:
        """Write an amount, rounded to the coin and not."""
        return {
            "cost": money_of(amount, self.currency),
            "cost_unrounded": None if amount is None else round(float(amount), 9),
        }

    def _life_used(self, zone: str, lit_ms: int) -> float | None:
        """Say what part of a life some light uses, of those lamps of a zone that it uses up fastest."""
        lives = [lamps.life_h for _, _, lamps in self.year.lamps if lamps.zone == zone and lamps.life_h]
        return round(lit_ms / MS_PER_HOUR / min(life_h for life_h in lives if life_h), 6) if lives else None

    def _lamps(self, name: str, count: int, lamps: Lamps, forecast: Forecast) -> dict[str, Any]:
        """Say what part of their life the lamps of one fixture use up in these nights."""
        lit_h = forecast.lit_ms(lamps.zone) / MS_PER_HOUR
        return {
            "zone": lamps.zone,
            "fixture": lamps.fixture,
            "name": name,
            "count": count,
            "life_h": None if lamps.life_h is None else round(lamps.life_h, 1),
            "lit_h": round(lit_h, 3),
            "used": None if lamps.life_h is None else round(lit_h / lamps.life_h, 6),
        }


def _timer_night(night: TimerNight) -> Mapping[str, Any]:
    """Write what the old timer does in one night."""
    return {
        "night": night.night.isoformat(),
        "windows": [
            {"on": instant_text(window.on_utc), "off": instant_text(window.off_utc)}
            for window in night.windows
        ],
        "lit_h": hours_of(night.lit_ms),
        "daylight_h": hours_of(night.daylight_ms),
        "unlit_dark_h": hours_of(night.unlit_ms),
        "dial_ahead_s": round(night.ahead_s, 3),
    }
