"""What each zone did in a night that is over, and what it will do in one to come, as sentences."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from api.page.programs.overview import night_prose, special_prose
from api.page.sentences import edge_of, edge_words
from api.render.words import Words
from api.web.context import RequestContext
from controller.calendar.intervals import MS_PER_HOUR, Interval, overlap, total_ms, utc_of
from controller.calendar.night import Night, night_on, nights
from controller.calendar.periods import Period, stretch_of_nights
from controller.history.account import account_for_past, light_of_past
from controller.history.nights import bounds_of
from controller.history.site_history import SiteHistory
from controller.history.source import JournalSource
from controller.history.totals import HourSum
from controller.planning.plan import NightPlan
from controller.planning.planner import Planner
from controller.records.entries import Cause

_MS_PER_MIN = MS_PER_HOUR // 60
# A relay takes its turn, and a round comes within half a minute: less than this is not told.
_TOLD_MS = _MS_PER_MIN
_ONE_DAY = timedelta(days=1)
# So many zones are always named.
_FEW = 2


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneNight:
    """What a zone did in a night that is over.

    Attributes:
        lit: when it was lit.
        unknown: when there is no record of it.
        account: its hours, and what was missed and why.
    """

    zone: str
    lit: tuple[Interval, ...]
    unknown: tuple[Interval, ...]
    account: HourSum


@dataclass(frozen=True, kw_only=True, slots=True)
class NightFacts:
    """A night: what ran, where it is over, else what is planned."""

    night: Night
    ran: tuple[ZoneNight, ...]
    planned: tuple[NightPlan, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """What some zones did alike; ``why`` is why they are dark, though their program has light."""

    zones: str
    said: str
    why: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class NightView:
    """A night in sentences."""

    date: date
    name: str
    lines: tuple[Line, ...]


def show_nights(context: RequestContext, first: date, last: date, words: Words) -> list[NightView]:
    """Put some nights into sentences: what ran in those that are over, and what is planned for others."""
    gateway, now_utc = context.gateway, context.now().utc
    tonight = gateway.planner.night_at(now_utc).date

    def read(planner: Planner) -> list[NightFacts]:
        return list(_read(planner, gateway.journal, stretch_of_nights(first, last, planner.tz), now_utc))

    facts = context.years.keep(("nights", first, last, tonight), gateway.planner, read)
    names = {zone.id: zone.name for zone in gateway.site.zones}
    return [_view(each, tonight, names, words) for each in facts]


def _read(
    planner: Planner, journal: JournalSource, period: Period, now_utc: datetime
) -> Iterator[NightFacts]:
    tonight, over = planner.night_at(now_utc).date, []
    if period.first < tonight:
        last = min(period.last, tonight - _ONE_DAY)
        over = list(_read_past(planner, journal, list(nights(period.first, last, planner.tz)), now_utc))
    yield from over
    for night in nights(max(period.first, tonight), period.last, planner.tz):
        plans = tuple(planner.plan(zone.id, night) for zone in planner.site.zones)
        yield NightFacts(night=night, ran=(), planned=plans)


def _read_past(
    planner: Planner, journal: JournalSource, those: Sequence[Night], now_utc: datetime
) -> Iterator[NightFacts]:
    history = SiteHistory(planner, journal.site_records())
    bounds = bounds_of(history, journal, now_utc)
    light = light_of_past(history, journal, those[0].date, those[-1].date, bounds=bounds)
    periods = [stretch_of_nights(night.date, night.date, history.planner.tz) for night in those]
    rows = account_for_past(history, journal, periods, bounds=bounds)
    by_night: dict[date, dict[str, HourSum]] = {}
    for row in rows:
        assert row.period is not None, "a row belongs to a night"
        assert row.zone is not None, "a row belongs to a zone"
        by_night.setdefault(row.period.first, {})[row.zone] = row
    for night in those:
        inside = [night_on(night.date, history.planner.tz).interval]
        ran = (
            ZoneNight(
                zone=zone,
                lit=tuple(overlap(lit, inside)),
                unknown=tuple(overlap(light.unknown[zone], inside)),
                account=by_night[night.date].get(zone, HourSum()),
            )
            for zone, lit in light.lit.items()
        )
        yield NightFacts(night=night, ran=tuple(ran), planned=())


def _view(facts: NightFacts, tonight: date, names: dict[str, str], words: Words) -> NightView:
    night = facts.night.date
    day = words.day(night, year=True)
    name = words.gettext("Tonight, %(day)s") if night == tonight else words.gettext("The night of %(day)s")
    alike: dict[tuple[str, str], list[str]] = {}
    for each in facts.ran:
        alike.setdefault((_ran(each, facts.night, words), ""), []).append(names.get(each.zone, each.zone))
    for plan in facts.planned:
        why = night_prose(plan, words)[1]
        alike.setdefault((_planned(plan, words), why), []).append(names[plan.zone])
    known = {each.zone for each in facts.ran} | {plan.zone for plan in facts.planned}
    lines = [
        Line(zones=_zones(zones, len(known), words), said=said, why=why)
        for (said, why), zones in alike.items()
    ]
    return NightView(date=night, name=name % {"day": day}, lines=(*lines, *_missed(facts.ran, names, words)))


def _zones(zones: Sequence[str], total: int, words: Words) -> str:
    """Name zones; three and more that are all of them, together."""
    return words.gettext("All zones") if len(zones) == total > _FEW else words.listed(zones)


def _ran(each: ZoneNight, night: Night, words: Words) -> str:
    """Say of a zone when it was lit in a night that is over."""
    _, account = words.gettext, each.account
    if total_ms(each.unknown) >= total_ms([night.interval]) - _TOLD_MS:
        return _("no record.")
    lit = [_stretch(utc_of(on_ms), utc_of(off_ms), words) for on_ms, off_ms in each.lit]
    if lit:
        said = [_("lit %(stretches)s") % {"stretches": words.listed(lit)}]
    else:
        said = [_("dark") if account.missed_ms >= _TOLD_MS else _("dark, as planned")]
    if account.override_ms >= _TOLD_MS:
        asked = {"lasts": lasts(account.override_ms, words)}
        said.append(_("of this %(lasts)s because somebody asked") % asked)
    if account.daylight_ms >= _TOLD_MS:
        early = {"lasts": lasts(account.daylight_ms, words)}
        said.append(_("of this %(lasts)s before dusk or after dawn") % early)
    if total_ms(each.unknown) >= _TOLD_MS:
        said.append(_("no record of %(lasts)s") % {"lasts": lasts(total_ms(each.unknown), words)})
    return "; ".join(said) + "."


def _missed(ran: Sequence[ZoneNight], names: dict[str, str], words: Words) -> Iterator[Line]:
    """Say what was missed and why, of all zones for the same reason together."""
    _ = words.gettext
    by_reason: dict[Cause | None, dict[str, int]] = {}
    for each in ran:
        for part in each.account.missed:
            if part.lasts_ms >= _TOLD_MS:
                by_reason.setdefault(part.reason, {})[names.get(each.zone, each.zone)] = part.lasts_ms
    for reason, zones in by_reason.items():
        whole = len(zones) == len(ran) > 1
        values = {
            "lasts": lasts(sum(zones.values()), words),
            "zones": _("all zones") if whole else words.listed(list(zones)),
            "reason": reason_words(reason, words),
        }
        said = _("%(lasts)s in %(zones)s; %(reason)s.") if len(ran) > 1 else _("%(lasts)s; %(reason)s.")
        yield Line(zones=_("Missed"), said=said % values)


def _planned(plan: NightPlan, words: Words) -> str:
    """Say of a zone when it is to be lit."""
    _ = words.gettext
    special = special_prose(plan, words)
    if not plan.windows:
        return _("dark by its program.")
    stretches = []
    for window in plan.windows:
        on = edge_words(window.on_utc, edge_of(window, "on"), words)
        off = edge_words(window.off_utc, edge_of(window, "off"), words)
        stretches.append(_("from %(on)s to %(off)s") % {"on": on, "off": off})
    said = _("to be lit %(stretches)s") % {"stretches": words.listed(stretches)}
    return said + (_(" (%(nights)s)") % {"nights": special} if special else "") + "."


def _stretch(on_utc: datetime, off_utc: datetime, words: Words) -> str:
    edges = {"on": words.clock_or_midnight(on_utc), "off": words.clock_or_midnight(off_utc)}
    return words.gettext("from %(on)s to %(off)s") % edges


def lasts(lasts_ms: int, words: Words) -> str:
    """Write how long something lasted: 45 min, 3 h 20 min."""
    hours, minutes = divmod(round(lasts_ms / _MS_PER_MIN), 60)
    if not hours:
        return words.gettext("%(minutes)d min") % {"minutes": minutes}
    if not minutes:
        return words.gettext("%(hours)d h") % {"hours": hours}
    return words.gettext("%(hours)d h %(minutes)d min") % {"hours": hours, "minutes": minutes}


def reason_words(reason: Cause | None, words: Words) -> str:
    """Say why light was missed."""
    _ = words.gettext
    reasons = {
        Cause.OUT_OF_SERVICE: _("out of service"),
        Cause.POWER_LOST: _("the board had no power"),
        Cause.STOPPED: _("Leerie was stopped"),
        Cause.OVERRIDE: _("somebody wanted it dark"),
        Cause.CLOCK_NOT_TRUSTED: _("the time was not known"),
        Cause.RELAY_FAULT: _("the relay failed"),
        Cause.SITE_CHANGED: _("the site file was changed"),
    }
    return _("nobody knows why") if reason is None else reasons.get(reason, str(reason))
