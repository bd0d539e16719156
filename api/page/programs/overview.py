"""What the programs' first screen shows: every zone's program in words, and what it means tonight."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from api.page.programs.last_change import Program, ProgramChange
from api.page.sentences import reason_of, who_words
from api.page.span_prose import capital, listed, nights_prose, program_prose, sentence
from api.page.tonight import night_shown
from api.render.words import Words
from api.web.context import RequestContext
from api.web.schemas.zones import by_present_clock
from config.models.site import Site, SpecialNight, Zone
from config.program.spans import Span, SunEvent
from config.program.special_nights import parse_nights
from controller.planning.plan import NightPlan, NoLight
from controller.records.entries import Cause
from controller.records.reading import Reading


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneProgramView:
    """One zone's program in words.

    Attributes:
        every_night: a sentence.
        special_nights: one sentence each, in the order of the site file.
        tonight: a sentence; ``why`` says why it is dark though its program has light, if it is.
        out_of_service: why it is never lit; empty where it is in service.
    """

    id: str
    name: str
    every_night: str
    special_nights: tuple[str, ...]
    tonight: str
    why: str
    out_of_service: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ChangeView:
    """The last change in words, and what names it."""

    id: str
    said: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Overview:
    """The whole screen."""

    sentence: str
    rest: str
    zones: tuple[ZoneProgramView, ...]


def show_overview(context: RequestContext, words: Words) -> Overview:
    """Gather what the screen of all programs shows."""
    site, now_utc = context.gateway.site, context.now().utc
    with context.planner_lock:
        planner = context.gateway.planner
        night = night_shown(planner, now_utc)
        plans = {zone.id: planner.plan(zone.id, night) for zone in site.zones}
    lit = [plans[zone.id] for zone in site.zones if zone.out_of_service is None and plans[zone.id].windows]
    first, rest = _of_the_garden(lit, site, words)
    return Overview(
        sentence=first,
        rest=rest,
        zones=tuple(view_of(zone, plans[zone.id], words) for zone in site.zones),
    )


def view_of(zone: Zone, plan: NightPlan, words: Words) -> ZoneProgramView:
    """Put one zone's program into words."""
    tonight, why = night_prose(plan, words)
    special = special_prose(plan, words)
    return ZoneProgramView(
        id=zone.id,
        name=zone.name,
        every_night=every_night_prose(zone.program, words),
        special_nights=special_nights_prose(zone.special_nights, words),
        tonight=words.gettext("Tonight: %(what)s.")
        % {"what": f"{tonight} ({special})" if special else tonight},
        why=why,
        out_of_service=reason_of(zone, words),
    )


def every_night_prose(program: Sequence[Span], words: Words) -> str:
    """Say what is done every night, as a sentence."""
    _ = words.gettext
    if not program:
        return _("Dark every night.")
    return _("Every night %(what)s.") % {"what": program_prose(program, words)}


def special_nights_prose(special_nights: Iterable[SpecialNight], words: Words) -> tuple[str, ...]:
    """Say what is done on special nights, a sentence for each."""
    return tuple(
        sentence(f"{nights_prose(each.nights, words)}: {program_prose(each.program, words)}")
        for each in special_nights
    )


def program_sentences(program: Program, words: Words) -> tuple[str, ...]:
    """Say a whole program, a sentence for every night and one for each special night."""
    spans, special_nights = program
    return every_night_prose(spans, words), *special_nights_prose(special_nights, words)


def night_prose(plan: NightPlan, words: Words) -> tuple[str, str]:
    """Say when a zone is lit in a night; where it is dark, that, and why."""
    _ = words.gettext
    starts_utc = plan.night.starts_at_utc
    if not plan.windows:
        reasons = (_why_dark(each, plan, words) for each in plan.no_light)
        return _("dark"), "; ".join(dict.fromkeys(reasons))
    windows = [
        _("%(on)s to %(off)s")
        % {"on": words.moment(each.on_utc, starts_utc), "off": words.moment(each.off_utc, starts_utc)}
        for each in plan.windows
    ]
    return listed(windows, words), ""


def special_prose(plan: NightPlan, words: Words) -> str:
    """Name the special night that decides; nothing where none does."""
    if plan.cause is not Cause.SPECIAL_NIGHT:
        return ""
    return nights_prose(parse_nights(plan.nights.removeprefix("special night ")), words)


def _why_dark(reason: NoLight, plan: NightPlan, words: Words) -> str:
    """Say why a span gives no light in a night."""
    _ = words.gettext
    night = plan.night
    if reason.event in (SunEvent.DUSK, SunEvent.DAWN):
        return _("the sun does not sink deep enough for dusk and dawn")
    if reason.begins_utc is None or reason.ends_utc is None:
        return _("the sun does not set")
    times = {
        "begins": words.moment(reason.begins_utc, night.starts_at_utc),
        "ends": words.moment(reason.ends_utc, night.starts_at_utc),
    }
    if reason.ends_utc <= reason.begins_utc:
        return _("it would begin at %(begins)s, but end at %(ends)s already") % times
    if reason.begins_utc < night.ends_at_utc and reason.ends_utc > night.starts_at_utc:
        return _("it is never dark from %(begins)s to %(ends)s") % times
    return _("from %(begins)s to %(ends)s is not in this night") % times


def change_prose(change: ProgramChange, site: Site, now: Reading, words: Words) -> ChangeView:
    """Say whose the last change is, and what it was before."""
    _ = words.gettext
    names = [site.zone(zone).name for zone in change.before]
    values = {
        "who": who_words(change.by, words),
        "zones": listed(names, words) if len(names) < len(site.zones) or len(names) == 1 else _("every zone"),
        "moment": words.moment(by_present_clock(change.at, now), now.utc),
    }
    if change.by:
        said = _("%(who)s changed the program of %(zones)s at %(moment)s.") % values
    else:
        said = _("The program of %(zones)s was changed in the site file at %(moment)s.") % values
    befores = list(dict.fromkeys(change.before.values()))
    if len(befores) == 1:
        before = " ".join(program_sentences(befores[0], words))
        said += " " + _("Before: %(before)s") % {"before": before}
    else:
        said += " " + _("Before, each had its own.")
    return ChangeView(id=change.id, said=capital(said))


def _of_the_garden(lit: Sequence[NightPlan], site: Site, words: Words) -> tuple[str, str]:
    """Say of all zones together what their programs mean tonight."""
    _ = words.gettext
    if not lit:
        return _("Tonight the garden stays dark."), _("No program lights anything.")
    starts_utc = lit[0].night.starts_at_utc
    on_utc = min(plan.windows[0].on_utc for plan in lit)
    off_utc = max(plan.windows[-1].off_utc for plan in lit)
    values = {"on": words.moment(on_utc, starts_utc), "off": words.moment(off_utc, starts_utc)}
    whole = {"lit": len(lit), "all": len(site.zones)}
    said = _("Tonight the garden is lit from %(on)s to %(off)s.") % values
    if len(lit) < len(site.zones):
        return said, _("%(lit)d of %(all)d zones have light in their programs.") % whole
    return said, ""
