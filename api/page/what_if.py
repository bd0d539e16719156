"""What another program, or a mechanical timer, would come to in a year, against the programs of now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from typing import Annotated

from pydantic import Field

from api.render.limits import explain_lower_bounds
from api.render.numbers import NONE, currency_of, hours_of, kwh_of
from api.render.words import Words
from api.web.context import RequestContext
from api.web.schemas.fields import RequestModel
from config.errors import ProgramError
from config.phrase import Phrase
from controller.energy.tariff import round_money
from controller.forecast.forecast import Forecast, compare
from controller.forecast.mechanical_timer import MechanicalTimer
from controller.forecast.year import YearForecast, YearQuery, forecast_year, parse_off, parse_other_program
from controller.planning.planner import Planner

_Text = Annotated[str, Field(max_length=400)]


class Question(RequestModel):
    """What was filled in, as it was written; empty where it was not."""

    off: _Text = ""
    program: _Text = ""
    pin_on: _Text = ""
    pin_off: _Text = ""
    set_on: _Text = ""
    moved: _Text = ""
    drift: _Text = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Plan:
    """What a plan comes to in a year; ``change`` says in a sentence what is another way than now.

    ``differs`` are its hours, energy and cost less those of now; None for the present programs.
    """

    name: str
    figures: tuple[str, str, str]
    differs: tuple[str, str, str] | None = None
    change: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class WhatIf:
    """The answer: the plan of now first, then the others; ``notes`` limit the figures."""

    sentence: str
    currency: str | None
    plans: tuple[Plan, ...]
    notes: tuple[str, ...]


class MistakeError(ValueError):
    """A field that cannot be read: which one, and why."""

    def __init__(self, field: str, words: str) -> None:
        super().__init__(words)
        self.field = field
        self.words = words


def read_question(asked: Question, tonight: date) -> YearQuery:
    """Read what was filled in.

    Raises:
        MistakeError: one of the fields.
    """
    try:
        off = (parse_off(asked.off),) if asked.off.strip() else ()
    except ProgramError as error:
        raise MistakeError("off", str(error)) from error
    try:
        programs = (parse_other_program(asked.program),) if asked.program.strip() else ()
    except ProgramError as error:
        raise MistakeError("program", str(error)) from error
    return YearQuery(first=tonight, off=off, programs=programs, timer=_timer(asked, tonight))


def _timer(asked: Question, tonight: date) -> MechanicalTimer | None:
    if not asked.pin_on and not asked.pin_off:
        return None
    try:
        drift_s = float(asked.drift.replace(",", ".") or "0")
    except ValueError as error:
        raise MistakeError(
            "drift", Phrase("“{text}” is not a number of seconds", text=asked.drift[:20])
        ) from error
    try:
        set_on = date.fromisoformat(asked.set_on) if asked.set_on else tonight
        on, off = time.fromisoformat(asked.pin_on), time.fromisoformat(asked.pin_off)
        timer = MechanicalTimer(
            on=on, off=off, set_on=set_on, moved_at_clock_changes=bool(asked.moved), drift_s_per_day=drift_s
        )
    except ValueError as error:
        why = str(error)
        if not isinstance(why, Phrase):  # what Python says of a time
            why = Phrase("this is not a time")
        raise MistakeError("pin_on", Phrase("{why}; write both pins as 21:15 and 23:45", why=why)) from error
    if set_on > tonight:
        words = Phrase("{day} is still to come; name the day on which it was set", day=set_on)
        raise MistakeError("set_on", words)
    return timer


def show_what_if(context: RequestContext, query: YearQuery, words: Words) -> WhatIf:
    """Work the plans out over the year that begins tonight."""

    def work(planner: Planner) -> YearForecast:
        return forecast_year(planner, query)

    year = context.years.keep(("what if", query), context.gateway.planner, work)
    writer = _Writer(year, words)
    others = [writer.other(each, f"“{each.name}”") for each in year.others[len(query.off) :]]
    off = [writer.other(each, writer.off_name(query)) for each in year.others[: len(query.off)]]
    timer = [writer.timer(year.by_timer)] if year.by_timer is not None else []
    plans = [writer.present(), *off, *others, *timer]
    return WhatIf(
        sentence=plans[1].change if len(plans) > 1 else writer.now_sentence(),
        currency=writer.currency,
        plans=tuple(plans),
        notes=tuple(explain_lower_bounds(year.planner.site)),
    )


class _Writer:
    """Writes the plans of one year."""

    def __init__(self, year: YearForecast, words: Words) -> None:
        self.year, self.words = year, words
        self.currency = currency_of(year.planner.site)
        self.at_least = bool(year.lower_bounds)

    def present(self) -> Plan:
        return Plan(name=self.words.gettext("as it is now"), figures=self._figures(self.year.present))

    def now_sentence(self) -> str:
        hours, kwh, cost = self._figures(self.year.present)
        values = {"hours": hours, "kwh": kwh, "cost": cost, "currency": self.currency}
        if self.currency is None:
            return self.words.gettext("A year as it is now: %(hours)s h of light and %(kwh)s kWh.") % values
        said = self.words.gettext(
            "A year as it is now: %(hours)s h of light, %(kwh)s kWh and %(cost)s %(currency)s."
        )
        return said % values

    def off_name(self, query: YearQuery) -> str:
        at = time(query.off[0].hour, query.off[0].minute)
        return self.words.gettext("off at %(clock)s every night") % {"clock": self.words.time_of_day(at)}

    def other(self, forecast: Forecast, name: str) -> Plan:
        _, change = self.words.gettext, compare(self.year.present, forecast, *self.year.zones)
        hours = round(hours_of(change.lit_ms), 1) + 0.0
        kwh, cost = round(kwh_of(change.meter_j), 2) + 0.0, self._round(change.cost)
        money = cost if cost is not None else Decimal(str(kwh))
        unit = self.currency if cost is not None else "kWh"
        values = {
            "plan": name[0].upper() + name[1:],
            "hours": self.words.number(abs(hours)),
            "money": f"{self._write(abs(money))} {unit}",
        }
        said = {
            (True, True): _("%(plan)s: %(hours)s h less light and %(money)s less a year."),
            (True, False): _("%(plan)s: %(hours)s h less light, but %(money)s more a year."),
            (False, True): _("%(plan)s: %(hours)s h more light, but %(money)s less a year."),
            (False, False): _("%(plan)s: %(hours)s h more light and %(money)s more a year."),
        }[hours < 0, money < 0]
        if not hours and not money:
            said = _("%(plan)s: nothing changes.")
        signed = (_signed(self.words.number(hours, 1), hours), _signed(self.words.number(kwh, 2), kwh))
        shown = NONE if cost is None else _signed(self._write(cost), cost)
        return Plan(
            name=name, figures=self._figures(forecast), differs=(*signed, shown), change=said % values
        )

    def timer(self, forecast: Forecast) -> Plan:
        _, timer, nights = self.words.gettext, self.year.timer, self.year.timer_nights
        assert timer is not None, "it was worked out"
        pins = {"on": self.words.time_of_day(timer.on), "off": self.words.time_of_day(timer.off)}
        plan = self.other(forecast, _("a mechanical timer, on at %(on)s and off at %(off)s") % pins)
        hours = {
            "early": self.words.number(sum(each.daylight_ms for each in nights) / 3_600_000),
            "late": self.words.number(sum(each.unlit_ms for each in nights) / 3_600_000),
        }
        said = _(
            "It burns for %(early)s h before dusk or after dawn, and leaves %(late)s h of the dark unlit."
        )
        return Plan(
            name=plan.name,
            figures=plan.figures,
            differs=plan.differs,
            change=f"{plan.change} {said % hours}",
        )

    def _figures(self, forecast: Forecast) -> tuple[str, str, str]:
        total, least = forecast.total(*self.year.zones), "≥\N{NO-BREAK SPACE}" if self.at_least else ""
        cost = self._round(total.energy.cost)
        return (
            self.words.number(hours_of(total.lit_ms)),
            least + self.words.number(kwh_of(total.energy.meter_j), 2),
            NONE if cost is None else least + self._write(cost),
        )

    def _round(self, amount: Decimal | None) -> Decimal | None:
        return None if amount is None or self.currency is None else round_money(amount, self.currency)

    def _write(self, value: Decimal) -> str:
        return self.words.number(value, max(0, -int(value.as_tuple().exponent)))


def _signed(text: str, value: float | Decimal) -> str:
    return f"+{text}" if value > 0 else text.replace("-", "\N{MINUS SIGN}")
