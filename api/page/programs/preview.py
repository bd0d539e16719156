"""What a program would do: in three nights, and in a year beside the present one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from api.page.night_band import Bar
from api.page.programs.last_change import Program, program_of
from api.page.programs.overview import night_prose, special_prose
from api.page.sky import Colour, sky_stops
from api.page.tonight import night_shown
from api.render.words import Words
from config.models.site import Zone
from controller.calendar.intervals import MS_PER_HOUR
from controller.calendar.night import Night, local, nights
from controller.energy.tariff import round_money
from controller.energy.values import J_PER_KWH
from controller.forecast.forecast import NIGHTS_AHEAD, compare, forecast_input, look_ahead
from controller.planning.plan import NightPlan, plan_night
from controller.planning.planner import Planner
from controller.planning.program_record import ZoneProgram
from controller.sun.sun import SUNSET_ANGLE_DEG

_HOUR = timedelta(hours=1)
_LONG_H = 14


@dataclass(frozen=True, kw_only=True, slots=True)
class Strip:
    """The picture of one night; places are percent of its width, which all strips share by the hour.

    Attributes:
        bars: what the new program lights; ``now`` what the present one does.
    """

    stops: tuple[tuple[float, Colour], ...]
    bars: tuple[Bar, ...]
    now: tuple[Bar, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class NightPreview:
    """One night.

    Attributes:
        name: such as “the shortest night, Monday 21 June”.
        said: when it is lit, or that it is dark; ``why`` says why then.
        special: the special night that decides, in words; empty where none does.
        before: what the present program does, where that is something else.
    """

    name: str
    said: str
    why: str
    special: str
    before: str
    strip: Strip


@dataclass(frozen=True, kw_only=True, slots=True)
class Preview:
    """What a program would do; ``hours`` are those under the strips, with their places in percent."""

    nights: tuple[NightPreview, ...]
    hours: tuple[tuple[float, datetime], ...]
    year: str
    cost: str
    is_same: bool


def preview(planner: Planner, zone_id: str, program: Program, now_utc: datetime, words: Words) -> Preview:
    """Work out what a program would do in the place of a zone's present one."""
    _ = words.gettext
    zone, place = planner.site.zone(zone_id), planner.place
    spans, special_nights = program
    other = ZoneProgram(id=zone_id, program=spans, special_nights=special_nights)
    tonight = night_shown(planner, now_utc)
    shortest, longest = _extremes(planner, tonight.date)
    shown = [
        (_("Tonight, %(day)s"), tonight),
        (_("The shortest night, %(day)s"), shortest),
        (_("The longest night, %(day)s"), longest),
    ]
    plans = [(plan_night(other, night, place), planner.plan(zone_id, night)) for _, night in shown]
    first_h, last_h = _edges(planner, [plan for pair in plans for plan in pair])
    found = []
    for (name, night), (then, now) in zip(shown, plans, strict=True):
        said, why = night_prose(then, words)
        before = night_prose(now, words)[0]
        found.append(
            NightPreview(
                name=name % {"day": words.day(night.date)},
                said=said,
                why=why,
                special=special_prose(then, words),
                before="" if before == said else before,
                strip=_strip(planner, then, now, first_h, last_h),
            )
        )
    year, cost = _year(planner, zone, other, tonight.date, words)
    return Preview(
        nights=tuple(found),
        hours=tuple(_hours(tonight, first_h, last_h, planner)),
        year=year,
        cost=cost,
        is_same=program == program_of(planner.site, zone_id),
    )


def _extremes(planner: Planner, first: date) -> tuple[Night, Night]:
    """Find the nights of the coming year that are dark for the shortest and for the longest time."""
    angles = (planner.site.dusk_angle_deg, SUNSET_ANGLE_DEG)

    def dark_s(night: Night) -> tuple[float, ...]:
        # Where no night is dark, or all are through and through, the sun below the horizon tells them apart.
        return tuple(
            sum(
                (each.ends_at_utc - each.starts_at_utc).total_seconds()
                for each in planner.sun.dark_intervals(night, angle)
            )
            for angle in angles
        )

    ahead = list(nights(first, first + timedelta(days=NIGHTS_AHEAD - 1), planner.tz))
    whole = [night for night in ahead if night.ends_at_utc > night.starts_at_utc]
    return min(whole, key=dark_s), max(whole, key=dark_s)


def _year(planner: Planner, zone: Zone, other: ZoneProgram, first: date, words: Words) -> tuple[str, str]:
    """Say how long the zone would be lit in the coming year, and what that changes.

    The zone is taken alone, so that this is quick: what its transformer loses beside that of others is shared
    in another way there, so the money is said to be about so much.
    """
    _ = words.gettext
    inputs = forecast_input(planner)
    inputs = replace(inputs, zones=tuple(each for each in inputs.zones if each.zone == zone.id))
    present = look_ahead(inputs, first, lambda zone_id, night: planner.plan(zone_id, night).windows)
    then = look_ahead(inputs, first, lambda _zone, night: plan_night(other, night, planner.place).windows)
    change = compare(present, then)
    lit_h, more_h = then.total().lit_ms / MS_PER_HOUR, change.lit_ms / MS_PER_HOUR
    hours = words.ngettext("%(hours)s hour", "%(hours)s hours", round(lit_h)) % {"hours": words.number(lit_h)}
    if not round(more_h):
        return _("In a year it would be lit for %(hours)s, as long as now.") % {"hours": hours}, ""
    values = {"hours": hours, "change": words.number(abs(more_h))}
    if more_h > 0:
        year = _("In a year it would be lit for %(hours)s, %(change)s h more than now.") % values
    else:
        year = _("In a year it would be lit for %(hours)s, %(change)s h less than now.") % values
    if zone.rated_load.watts is None:
        return year, _("What that costs is not known: the site file does not say how many watts it takes.")
    kwh = words.number(abs(change.meter_j) / J_PER_KWH, 1)
    if change.cost is None or planner.site.tariff is None:
        said = _("That is about %(kwh)s kWh more.") if more_h > 0 else _("That is about %(kwh)s kWh less.")
        return year, said % {"kwh": kwh}
    currency = planner.site.tariff.currency
    amount = round_money(abs(change.cost), currency)
    digits = -int(amount.as_tuple().exponent)
    money = {"kwh": kwh, "money": f"{words.number(amount, digits)}\N{NO-BREAK SPACE}{currency}"}
    if change.cost > 0:
        return year, _("It would cost about %(money)s more, for %(kwh)s kWh.") % money
    return year, _("It would save about %(money)s, for %(kwh)s kWh.") % money


def _edges(planner: Planner, plans: Sequence[NightPlan]) -> tuple[int, int]:
    """Give the first and the last hour after noon that the strips show: an hour around sun and light."""
    first, last = 24, 0
    for plan in plans:
        night, sun = plan.night, planner.sun
        sunset, sunrise = sun.dusk(night, SUNSET_ANGLE_DEG), sun.dawn(night, SUNSET_ANGLE_DEG)
        starts = [*(each.on_utc for each in plan.windows), sunset or night.starts_at_utc]
        ends = [*(each.off_utc for each in plan.windows), sunrise or night.ends_at_utc]
        first = min(first, int((min(starts) - night.starts_at_utc) / _HOUR - 0.5))
        last = max(last, int((max(ends) - night.starts_at_utc) / _HOUR + 1.5))
    return max(first, 0), min(last, 24)


def _strip(planner: Planner, then: NightPlan, now: NightPlan, first_h: int, last_h: int) -> Strip:
    from_utc = then.night.starts_at_utc + first_h * _HOUR
    whole = (last_h - first_h) * _HOUR

    def bars(plan: NightPlan, kind: str) -> tuple[Bar, ...]:
        places = [
            ((each.on_utc - from_utc) / whole, (each.off_utc - from_utc) / whole) for each in plan.windows
        ]
        cut = [(max(left, 0.0), min(right, 1.0)) for left, right in places]
        return tuple(
            Bar(kind=kind, left=round(left * 100, 2), width=round((right - left) * 100, 2))
            for left, right in cut
            if right > left
        )

    return Strip(
        stops=tuple(sky_stops(planner.sun.elevation_deg, from_utc, from_utc + whole)),
        bars=bars(then, "to-come"),
        now=bars(now, "held") if now.windows != then.windows else (),
    )


def _hours(night: Night, first_h: int, last_h: int, planner: Planner) -> list[tuple[float, datetime]]:
    """Give every second or third full hour under the strips, by the clock of tonight."""
    every = 2 if last_h - first_h < _LONG_H else 3
    found = []
    for hour in range(first_h + 1, last_h):
        at_utc = night.starts_at_utc + hour * _HOUR
        if local(at_utc, planner.tz).hour % every == 0:
            found.append((round((hour - first_h) / (last_h - first_h) * 100, 2), at_utc))
    return found
