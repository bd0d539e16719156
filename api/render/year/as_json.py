"""The year ahead as JSON: by month and zone, with other plans and a mechanical timer beside it."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Annotated

from pydantic import Field

from api.render.instants import instant_text
from api.render.limits import explain_lower_bounds
from api.render.model import (
    AS_COST,
    Currency,
    FixturePlace,
    Instant,
    NightDate,
    Notes,
    ResponseModel,
    SiteName,
    TimeZoneName,
    ZoneId,
)
from api.render.numbers import currency_of, hours_of, kwh_of, money_of, rounded, unrounded
from controller.calendar.intervals import MS_PER_HOUR
from controller.forecast.forecast import Forecast, ForecastSum, MonthAhead, compare
from controller.forecast.mechanical_timer import MechanicalTimer, TimerNight
from controller.forecast.year import YearForecast
from controller.lamps.life import Lamps

FirstNight = Annotated[NightDate, Field(serialization_alias="from", description="the first night")]
LastNight = Annotated[NightDate, Field(serialization_alias="to", description="the last night")]


class _ZoneKey(ResponseModel):
    zone: ZoneId


class _MonthKey(ResponseModel):
    month: str = Field(description="the month, whole or as far as it is ahead", examples=["2027-06"])
    first: FirstNight
    last: LastNight


class AheadSumResponse(ResponseModel):
    """What will be lit and used."""

    lit_h: float = Field(description="lit, in hours, to the millionth", examples=[1737.07])
    daylight_h: float = Field(description="of these, before dusk or after dawn, in hours", examples=[0.0])
    starts: int = Field(description="how often it is switched on", examples=[365])
    lamps_kwh: float = Field(description="energy at the lamps, in kWh", examples=[46.90089])
    cables_kwh: float = Field(
        description="lost in the cables, where these are known, in kWh", examples=[1.2134]
    )
    transformer_lit_kwh: float = Field(
        description="lost in the transformer while lit, in kWh", examples=[13.9]
    )
    transformer_dark_kwh: float = Field(
        description="lost in the transformer with nothing lit, in kWh", examples=[56.18]
    )
    meter_kwh: float = Field(
        description="energy at the meter, in kWh: the sum of the last four", examples=[118.19]
    )
    cost: int | float | None = Field(description=f"what that costs, {AS_COST}", examples=[34.28])
    cost_unrounded: float | None = Field(description="the same, to add up", examples=[34.2751])
    at_least: bool = Field(description="whether energy and cost are lower bounds", examples=[False])


# The keys stand before the sums: pydantic takes the fields of the last base first.
class ZoneAheadResponse(AheadSumResponse, _ZoneKey):
    """What one zone will do."""

    lamp_life_used: float | None = Field(
        description="part of a life that this uses of the lamps that wear out first; null where no rated "
        "life is known",
        examples=[0.069483],
    )


class MonthAheadResponse(ZoneAheadResponse, _MonthKey):
    """What one zone will do in one month."""


class LampsAheadResponse(ResponseModel):
    """What the nights ahead use of the lamps of one fixture."""

    zone: ZoneId
    fixture: FixturePlace
    id: str | None = Field(description="its id in the site file; null where it has none", examples=["steps"])
    name: str = Field(description="its name, or its kind", examples=["path"])
    count: int = Field(description="how many lamps", examples=[6])
    life_h: float | None = Field(
        description="hours that they live at the volts that they get; null where no rated life is known",
        examples=[25000.0],
    )
    lit_h: float = Field(description="lit in these nights, in hours", examples=[1737.07])
    used: float | None = Field(
        description="part of their life that this is; null where that is not known", examples=[0.069483]
    )


class PlanResponse(ResponseModel):
    """What the nights ahead come to by one plan."""

    name: str = Field(description="the plan in words", examples=["as the site file has it"])
    months: list[MonthAheadResponse] = Field(description="month by month, and in each zone by zone")
    totals: list[ZoneAheadResponse] = Field(description="zone by zone over all nights")
    total: AheadSumResponse = Field(description="all zones over all nights")
    lamps: list[LampsAheadResponse] = Field(description="the lamps of each fixture")


class ChangeResponse(ResponseModel):
    """What another plan changes: it minus the present one, so that a minus saves."""

    lit_h: float = Field(description="more hours lit", examples=[-365.0])
    daylight_h: float = Field(description="more hours lit before dusk or after dawn", examples=[0.0])
    meter_kwh: float = Field(description="more energy at the meter, in kWh", examples=[-9.85])
    cost: int | float | None = Field(description=f"more cost, {AS_COST}", examples=[-2.86])
    cost_unrounded: float | None = Field(description="the same, to add up", examples=[-2.8565])


class ZoneChangeResponse(ChangeResponse, _ZoneKey):
    """What another plan changes in one zone."""


class OtherPlanResponse(PlanResponse):
    """What the nights ahead come to by another plan, beside the present one."""

    changes: list[ZoneChangeResponse] = Field(description="what that changes, zone by zone")
    change: ChangeResponse = Field(description="what that changes in all zones")


class _TimerHoursResponse(ResponseModel):
    lit_h: float = Field(description="lit by the timer, in hours", examples=[912.5])
    daylight_h: float = Field(description="of these, before dusk or after dawn, in hours", examples=[41.2])
    unlit_dark_h: float = Field(
        description="dark but not lit, until the off pin trips, in hours", examples=[603.4]
    )


class TimerWindowResponse(ResponseModel):
    """A time when the timer is on: from ``on`` up to, not including, ``off``."""

    on: Instant = Field(description="when its on pin trips")
    off: Instant = Field(description="when its off pin trips")


class _TimerNightKey(ResponseModel):
    night: NightDate = Field(description="the date on which the night begins, at noon")
    windows: list[TimerWindowResponse] = Field(description="when it is on")


class TimerNightResponse(_TimerHoursResponse, _TimerNightKey):
    """What the mechanical timer does in one night."""

    dial_ahead_s: float = Field(
        description="how far its dial is ahead of the clock on the wall at the night's beginning, in seconds",
        examples=[3600.0],
    )


class _TimerResponse(ResponseModel):
    pins: str = Field(
        description="what the dial shows when it switches on, and off", examples=["21:15-23:45"]
    )
    set_on: NightDate = Field(description="the day on which the dial was set to the clock on the wall")
    moved_at_clock_changes: bool = Field(
        description="whether it is set again after each clock change", examples=[False]
    )
    drift_s_per_day: float = Field(description="seconds that it gains in a day", examples=[0.0])


class OldTimerResponse(OtherPlanResponse, _TimerHoursResponse, _TimerResponse):
    """What the nights ahead come to behind a mechanical timer, on the mains side of all transformers."""

    nights: list[TimerNightResponse] = Field(description="what it does, night by night")


class YearResponse(ResponseModel):
    """The year ahead."""

    site: SiteName
    time_zone: TimeZoneName
    currency: Currency
    first: FirstNight
    last: LastNight
    nights: int = Field(description="how many nights", examples=[365])
    present: PlanResponse = Field(description="by the programs of the site file")
    others: list[OtherPlanResponse] = Field(description="by each other plan that was asked for")
    old_timer: OldTimerResponse | None = Field(
        description="behind a mechanical timer; null where none was asked for"
    )
    notes: Notes


def year_response(year: YearForecast) -> YearResponse:
    """Show what the nights to come will use, and what other plans would change."""
    writer = _Writer(year)
    period = year.present.period
    return YearResponse(
        site=year.planner.site.name,
        time_zone=year.planner.site.time_zone,
        currency=writer.currency,
        first=period.first.isoformat(),
        last=period.last.isoformat(),
        nights=period.nights,
        present=writer.plan(year.present),
        others=[writer.other(other) for other in year.others],
        old_timer=writer.timer(),
        notes=list(explain_lower_bounds(year.planner.site, year.zones)),
    )


class _Writer:
    """Writes one year."""

    def __init__(self, year: YearForecast) -> None:
        self.year = year
        self.currency = currency_of(year.planner.site)

    def plan(self, forecast: Forecast) -> PlanResponse:
        zones = self.year.zones
        totals = {zone: forecast.total(zone) for zone in zones}
        lamps = [each for each in self.year.lamps if each.zone in zones]
        return PlanResponse(
            name=forecast.name,
            months=[self._month(row) for row in forecast.months if row.zone in zones],
            totals=[self._zone_sum(zone, total) for zone, total in totals.items()],
            total=self._sum(forecast.total(*zones), *zones),
            lamps=[_lamps(each, totals[each.zone].lit_ms) for each in lamps],
        )

    def other(self, forecast: Forecast) -> OtherPlanResponse:
        zones = self.year.zones
        return OtherPlanResponse(
            **dict(self.plan(forecast)),
            changes=[ZoneChangeResponse(zone=zone, **dict(self._change(forecast, zone))) for zone in zones],
            change=self._change(forecast, *zones),
        )

    def timer(self) -> OldTimerResponse | None:
        forecast, timer, nights = self.year.by_timer, self.year.timer, self.year.timer_nights
        if forecast is None or timer is None:
            return None
        return OldTimerResponse(
            **dict(_timer(timer)),
            **dict(_timer_hours(nights)),
            **dict(self.other(forecast)),
            nights=[_timer_night(night) for night in nights],
        )

    def _month(self, row: MonthAhead) -> MonthAheadResponse:
        return MonthAheadResponse(
            month=row.month.name,
            first=row.month.first.isoformat(),
            last=row.month.last.isoformat(),
            **dict(self._zone_sum(row.zone, row)),
        )

    def _zone_sum(self, zone: str, total: ForecastSum) -> ZoneAheadResponse:
        used = rounded(self.year.life_used(zone, total.lit_ms), 6)
        return ZoneAheadResponse(zone=zone, **dict(self._sum(total, zone)), lamp_life_used=used)

    def _sum(self, total: ForecastSum, *zones: str) -> AheadSumResponse:
        energy = total.energy
        return AheadSumResponse(
            lit_h=hours_of(total.lit_ms),
            daylight_h=hours_of(total.daylight_ms),
            starts=total.starts,
            lamps_kwh=kwh_of(energy.lamps_j),
            cables_kwh=kwh_of(energy.cable_j),
            transformer_lit_kwh=kwh_of(energy.load_loss_j + energy.no_load_j),
            transformer_dark_kwh=kwh_of(energy.idle_j),
            meter_kwh=kwh_of(energy.meter_j),
            **self._money(energy.cost),
            at_least=not self.year.lower_bounds.isdisjoint(zones),
        )

    def _change(self, other: Forecast, *zones: str) -> ChangeResponse:
        change = compare(self.year.present, other, *zones)
        return ChangeResponse(
            lit_h=hours_of(change.lit_ms),
            daylight_h=hours_of(change.daylight_ms),
            meter_kwh=kwh_of(change.meter_j),
            **self._money(change.cost),
        )

    def _money(self, amount: Decimal | None) -> dict[str, float | None]:
        """Write an amount, rounded to the currency's smallest unit and not."""
        return {"cost": money_of(amount, self.currency), "cost_unrounded": unrounded(amount)}


def _lamps(lamps: Lamps, lit_ms: int) -> LampsAheadResponse:
    lit_h = lit_ms / MS_PER_HOUR
    return LampsAheadResponse(
        zone=lamps.zone,
        fixture=lamps.number,
        id=lamps.fixture.id,
        name=lamps.name,
        count=lamps.fixture.count,
        life_h=rounded(lamps.life_h, 1),
        lit_h=round(lit_h, 3),
        used=None if lamps.life_h is None else round(lit_h / lamps.life_h, 6),
    )


def _timer(timer: MechanicalTimer) -> _TimerResponse:
    return _TimerResponse(
        pins=f"{timer.on:%H:%M}-{timer.off:%H:%M}",
        set_on=timer.set_on.isoformat(),
        moved_at_clock_changes=timer.moved_at_clock_changes,
        drift_s_per_day=timer.drift_s_per_day,
    )


def _timer_hours(nights: Sequence[TimerNight]) -> _TimerHoursResponse:
    return _TimerHoursResponse(
        lit_h=hours_of(sum(night.lit_ms for night in nights)),
        daylight_h=hours_of(sum(night.daylight_ms for night in nights)),
        unlit_dark_h=hours_of(sum(night.unlit_ms for night in nights)),
    )


def _timer_night(night: TimerNight) -> TimerNightResponse:
    return TimerNightResponse(
        night=night.night.isoformat(),
        windows=[
            TimerWindowResponse(on=instant_text(each.on_utc), off=instant_text(each.off_utc))
            for each in night.windows
        ],
        **dict(_timer_hours([night])),
        dial_ahead_s=round(night.ahead_s, 3),
    )
