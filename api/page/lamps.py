"""What wants attention now, how far along lamps and relays are, and what was replaced."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from api.render.words import Words
from api.web.context import RequestContext
from api.web.routes.replacements import known_replacements
from config.models.base import RELAY
from config.models.site import Site
from config.phrase import Phrase
from controller.calendar.night import local
from controller.calendar.periods import Each
from controller.history.query import HoursQuery
from controller.history.report import HoursHead, stream_hours
from controller.lamps.life import HORIZON_YEARS, LampLife, RelayLife
from controller.planning.planner import Planner


@dataclass(frozen=True, kw_only=True, slots=True)
class Attention:
    """One thing that wants attention: in which zone, what to do, by when, about which part."""

    zone: str
    zone_id: str
    what: Phrase
    by: str
    part: str | None


@dataclass(frozen=True, kw_only=True, slots=True)
class PartView:
    """Lamps or a relay: what it is called, how far along it is; ``key`` names it in the page."""

    zone_id: str
    part: str
    key: str
    name: str
    said: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Recorded:
    """A replacement that is recorded."""

    id: str
    day: str
    what: str
    note: str


@dataclass(frozen=True, kw_only=True, slots=True)
class LampsView:
    """The whole screen; ``zones`` have a name and parts each."""

    sentence: str
    attention: tuple[Attention, ...]
    zones: tuple[tuple[str, tuple[PartView, ...]], ...]
    recorded: tuple[Recorded, ...]
    today: date


def show_lamps(context: RequestContext, words: Words) -> LampsView:
    """Look at lamps and relays as they are now.

    Raises:
        JournalError: the journal cannot be read.
    """
    gateway, now = context.gateway, context.now()
    known = known_replacements(gateway)
    tonight = gateway.planner.night_at(now.utc).date

    def work(planner: Planner) -> HoursHead:
        query = HoursQuery(by=Each.NIGHT, first=tonight, last=tonight)
        year = context.years.year_ahead(planner, now)
        return stream_hours(planner, gateway.journal, query, now_utc=now.utc, year=year).head

    waiting = sum(1 for _ in gateway.unwritten())
    key = ("lamps", tonight, tuple(sorted(known)), waiting, gateway.recent.last, gateway.recent.forgotten)
    head = context.years.keep(key, gateway.planner, work)
    site = gateway.site
    names = {zone.id: zone.name for zone in site.zones}
    attention = tuple(
        Attention(
            zone=names.get(task.zone or "", task.zone or words.gettext("The garden")),
            zone_id=task.zone or "",
            what=task.words,
            by=words.gettext("now") if task.by is None else f"{words.month(task.by)} {task.by.year}",
            part=task.part,
        )
        for task in head.attention
    )
    recorded = sorted(known.values(), key=lambda each: each.on_date, reverse=True)
    return LampsView(
        sentence=_sentence(len(attention), words),
        attention=attention,
        zones=tuple((zone.name, tuple(_parts(head, zone.id, words))) for zone in site.zones),
        recorded=tuple(
            Recorded(
                id=each.id,
                day=words.day(each.on_date, year=True),
                what=f"{names.get(each.zone, each.zone)}: {_part_name(site, each.zone, each.part, words)}",
                note=each.note,
            )
            for each in recorded
        ),
        today=local(now.utc, words.tz).date(),
    )


def _sentence(count: int, words: Words) -> str:
    if not count:
        return words.gettext("Nothing wants attention.")
    return words.ngettext("%(count)d thing wants attention.", "%(count)d things want attention.", count) % {
        "count": count
    }


def _parts(head: HoursHead, zone_id: str, words: Words) -> list[PartView]:
    assert head.wear is not None, "it was asked for"
    found = [
        PartView(
            zone_id=zone_id,
            part=life.lamps.part,
            key=f"{zone_id}-{life.lamps.number}",
            name=f"{life.lamps.fixture.count} × {words.say(life.lamps.name)}",
            said=_lamps(life, words),
        )
        for life in head.wear.lamps
        if life.lamps.zone == zone_id
    ]
    found += [
        PartView(
            zone_id=zone_id,
            part=RELAY,
            key=f"{zone_id}-{RELAY}",
            name=words.gettext("Relay"),
            said=_relay(life, words),
        )
        for life in head.wear.relays
        if life.zone == zone_id
    ]
    return found


def _lamps(life: LampLife, words: Words) -> str:
    """Say how long lamps were lit, how much of their life that is, and when it ends."""
    _ = words.gettext
    hours = {"hours": words.number(life.lit_h)}
    if life.since is None:
        said = [_("lit %(hours)s h since the journal began") % hours]
    else:
        said = [
            _("lit %(hours)s h since %(day)s")
            % {**hours, "day": f"{words.date(life.since)} {life.since.year}"}
        ]
    if round(life.estimated_h) == round(life.lit_h) > 0:
        said.append(_("all of it estimated"))
    elif life.estimated_h:
        said.append(_("of which %(hours)s h are estimated") % {"hours": words.number(life.estimated_h)})
    if life.used is None or life.lamps.life_h is None:
        said.append(_("no rated life is known"))
        return "; ".join(said) + "."
    share = {"share": words.number(life.used * 100), "life": words.number(life.lamps.life_h)}
    said.append(_("%(share)s %% of a rated life of %(life)s h") % share)
    if life.used >= 1:
        said.append(_("past it: replace"))
    elif life.replace_about is None:
        said.append(_("lasts more than %(years)d years at this rate") % {"years": HORIZON_YEARS})
    else:
        about = f"{words.month(life.replace_about)} {life.replace_about.year}"
        said.append(_("replace about %(month)s") % {"month": about})
    return "; ".join(said) + "."


def _relay(life: RelayLife, words: Words) -> str:
    _ = words.gettext
    cycles = {
        "cycles": words.number(life.cycles),
        "all": words.number(life.endurance_cycles),
        "years": HORIZON_YEARS,
    }
    if life.wears_out_about is None:
        return _("%(cycles)s of %(all)s cycles; lasts more than %(years)d years at this rate.") % cycles
    about = f"{words.month(life.wears_out_about)} {life.wears_out_about.year}"
    return _("%(cycles)s of %(all)s cycles; worn out about %(month)s.") % {**cycles, "month": about}


def _part_name(site: Site, zone_id: str, part: str, words: Words) -> str:
    """Name a part as a person knows it."""
    if part == RELAY:
        return words.gettext("Relay")
    fixtures = [each for zone in site.zones if zone.id == zone_id for each in zone.fixtures]
    return next(
        (f"{each.count} × {each.name or words.gettext(each.kind)}" for each in fixtures if each.id == part),
        part,
    )
