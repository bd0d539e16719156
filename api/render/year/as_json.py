"""The year ahead as JSON: by month and zone, with other plans and a mechanical timer beside it."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from api.render.instants import instant_text
from api.render.limits import explain_lower_bounds
from api.render.numbers import currency_of, hours_of, kwh_of, money_of, rounded, unrounded
from controller.calendar.intervals import MS_PER_HOUR
from controller.forecast.forecast import Forecast, ForecastSum, MonthAhead, compare
from controller.forecast.mechanical_timer import TimerNight
from controller.forecast.year import YearForecast
from controller.lamps.life import Lamps


def year_as_json(year: YearForecast) -> dict[str, Any]:
    """Show what the nights to come will use, and what other plans would change."""
    writer = _Writer(year)
    period = year.present.period
    return {
        "site": year.planner.site.name,
        "time_zone": year.planner.site.time_zone,
        "currency": writer.currency,
        "from": period.first.isoformat(),
        "to": period.last.isoformat(),
        "nights": period.nights,
        "present": writer.plan(year.present),
        "others": [writer.other(other) for other in year.others],
        "old_timer": writer.timer(),
        "notes": list(explain_lower_bounds(year.planner.site, year.zones)),
    }


class _Writer:
    """Writes one year."""

    def __init__(self, year: YearForecast) -> None:
        self.year = year
        self.currency = currency_of(year.planner.site)

    def plan(self, forecast: Forecast) -> dict[str, Any]:
        zones = self.year.zones
        totals = {zone: forecast.total(zone) for zone in zones}
        lamps = [each for each in self.year.lamps if each.zone in zones]
        return {
            "name": forecast.name,
            "months": [self._month(row) for row in forecast.months if row.zone in zones],
            "totals": [self._zone_sum(zone, total) for zone, total in totals.items()],
            "total": self._sum(forecast.total(*zones), *zones),
            "lamps": [_lamps(each, totals[each.zone].lit_ms) for each in lamps],
        }

    def other(self, forecast: Forecast) -> dict[str, Any]:
        zones = self.year.zones
        return {
            **self.plan(forecast),
            "changes": [{"zone": zone, **self._change(forecast, zone)} for zone in zones],
            "change": self._change(forecast, *zones),
        }

    def timer(self) -> dict[str, Any] | None:
        forecast, timer, nights = self.year.by_timer, self.year.timer, self.year.timer_nights
        if forecast is None or timer is None:
            return None
        return {
            "pins": f"{timer.on:%H:%M}-{timer.off:%H:%M}",
            "set_on": timer.set_on.isoformat(),
            "moved_at_clock_changes": timer.moved_at_clock_changes,
            "drift_s_per_day": timer.drift_s_per_day,
            **_timer_hours(nights),
            **self.other(forecast),
            "nights": [_timer_night(night) for night in nights],
        }

    def _month(self, row: MonthAhead) -> dict[str, Any]:
        return {
            "month": row.month.name,
            "from": row.month.first.isoformat(),
            "to": row.month.last.isoformat(),
            **self._zone_sum(row.zone, row),
        }

    def _zone_sum(self, zone: str, total: ForecastSum) -> dict[str, Any]:
        used = rounded(self.year.life_used(zone, total.lit_ms), 6)
        return {"zone": zone, **self._sum(total, zone), "lamp_life_used": used}

    def _sum(self, total: ForecastSum, *zones: str) -> dict[str, Any]:
        energy = total.energy
        return {
            "lit_h": hours_of(total.lit_ms),
            "daylight_h": hours_of(total.daylight_ms),
            "starts": total.starts,
            "lamps_kwh": kwh_of(energy.lamps_j),
            "cables_kwh": kwh_of(energy.cable_j),
            "transformer_lit_kwh": kwh_of(energy.load_loss_j + energy.no_load_j),
            "transformer_dark_kwh": kwh_of(energy.idle_j),
            "meter_kwh": kwh_of(energy.meter_j),
            **self._money(energy.cost),
            "at_least": not self.year.lower_bounds.isdisjoint(zones),
        }

    def _change(self, other: Forecast, *zones: str) -> dict[str, Any]:
        change = compare(self.year.present, other, *zones)
        return {
            "lit_h": hours_of(change.lit_ms),
            "daylight_h": hours_of(change.daylight_ms),
            "meter_kwh": kwh_of(change.meter_j),
            **self._money(change.cost),
        }

    def _money(self, amount: Decimal | None) -> dict[str, Any]:
        """Write an amount, rounded to the currency's smallest unit and not."""
        return {"cost": money_of(amount, self.currency), "cost_unrounded": unrounded(amount)}


def _lamps(lamps: Lamps, lit_ms: int) -> dict[str, Any]:
    lit_h = lit_ms / MS_PER_HOUR
    return {
        "zone": lamps.zone,
        "fixture": lamps.number,
        "id": lamps.fixture.id,
        "name": lamps.name,
        "count": lamps.fixture.count,
        "life_h": rounded(lamps.life_h, 1),
        "lit_h": round(lit_h, 3),
        "used": None if lamps.life_h is None else round(lit_h / lamps.life_h, 6),
    }


def _timer_hours(nights: Sequence[TimerNight]) -> dict[str, Any]:
    keys = {"lit_h": "lit_ms", "daylight_h": "daylight_ms", "unlit_dark_h": "unlit_ms"}
    return {key: hours_of(sum(getattr(night, field) for night in nights)) for key, field in keys.items()}


def _timer_night(night: TimerNight) -> dict[str, Any]:
    return {
        "night": night.night.isoformat(),
        "windows": [
            {"on": instant_text(each.on_utc), "off": instant_text(each.off_utc)} for each in night.windows
        ],
        **_timer_hours([night]),
        "dial_ahead_s": round(night.ahead_s, 3),
    }
