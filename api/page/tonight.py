"""What the first screen shows: the night in a picture, every zone in a sentence, and what is wrong."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from api.page.night_band import NightBand, Stretch, ZoneLight, lay_out
from api.page.sentences import ZoneNow, edge_names, garden_sentence, why
from api.render.words import Words
from api.web.context import RequestContext
from api.web.schemas.zones import by_present_clock, standing_override
from config.errors import JournalError
from config.models.site import CONTINUOUS_SHARE, Site, Zone
from controller.calendar.intervals import merge, ms_of, overlap, utc_of, without
from controller.calendar.night import Night, local, night_on
from controller.keeper.state import KeeperStatus, ZoneStatus
from controller.planning.planner import Planner
from controller.records.reading import Reading
from controller.sun.sun import SUNSET_ANGLE_DEG


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneView:
    """One zone on the screen.

    Attributes:
        mark: "lit", "dark" or "fault".
        because: a sentence: what is so, since when, why and until when.
        overridden: whether somebody's "on" or "off" is in force, which can be undone.
        can_switch: whether it can be switched at all; not where it is out of service.
    """

    id: str
    name: str
    mark: str
    lit: bool
    because: str
    overridden: bool
    can_switch: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Notice:
    """Something that is wrong, and what to do; ``action`` names a button that does it.

    What is only to be known is no warning. ``detail`` is what the deeper layers say of it.
    """

    what: str
    warns: bool = True
    remedy: str = ""
    detail: str = ""
    action: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Tonight:
    """The whole screen."""

    sentence: str
    rest: str
    band: NightBand
    caption: str
    notices: tuple[Notice, ...]
    zones: tuple[ZoneView, ...]


def show_tonight(context: RequestContext, words: Words) -> Tonight:
    """Gather what the first screen shows."""
    gateway, now = context.gateway, context.now()
    status, site = gateway.status, gateway.site
    known = {each.zone: each for each in status.zones}
    is_demo = gateway.site_path is None
    notices = list(_notices(site, status, now, words, is_demo=is_demo))
    with context.planner_lock:
        planner = gateway.planner
        night = night_shown(planner, now.utc)
        states = {zone.id: planner.program_state(zone.id, now.utc) for zone in site.zones}
        plans = {zone.id: planner.plan(zone.id, night) for zone in site.zones}
        try:
            ran = _ran(context, night, now)
            asked = _asked(context, night, now)
        except JournalError as error:
            ran, asked = {}, {}
            what = words.gettext("The journal cannot be read: the picture shows nothing of the past.")
            notices.append(Notice(what=what, detail=str(error)))
        lights = []
        for zone in site.zones:
            planned = [(each.on_utc, each.off_utc) for each in plans[zone.id].windows]
            lights.append(
                _light(
                    zone,
                    known.get(zone.id),
                    planned,
                    now=now,
                    ran=ran.get(zone.id, []),
                    asked=asked.get(zone.id, []),
                )
            )
        band = lay_out(planner, night, lights, now.utc)
        caption = _caption(planner, night, words)
    seen = [ZoneNow(zone=each, status=known.get(each.id), program=states[each.id]) for each in site.zones]
    sentence, rest = garden_sentence(seen, now, words)
    return Tonight(
        sentence=sentence,
        rest=rest,
        band=band,
        caption=caption,
        notices=tuple(notices),
        zones=tuple(_view(each, now, words) for each in seen),
    )


def _view(seen: ZoneNow, now: Reading, words: Words) -> ZoneView:
    zone, status = seen.zone, seen.status
    lit = status is not None and status.lit
    fault = status is not None and status.fault is not None
    return ZoneView(
        id=zone.id,
        name=zone.name,
        mark="fault" if fault else "lit" if lit else "dark",
        lit=lit,
        because=why(seen, now, words),
        overridden=status is not None and standing_override(status.override, now) is not None,
        can_switch=zone.out_of_service is None,
    )


def night_shown(planner: Planner, now_utc: datetime) -> Night:
    """Give the night that is on; the coming one from sunrise on, once all its light is over."""
    night = planner.night_at(now_utc)
    sunrise = planner.sun.dawn(night, SUNSET_ANGLE_DEG)
    windows = [each for zone in planner.site.zones for each in planner.plan(zone.id, night).windows]
    over_utc = max([sunrise or night.ends_at_utc, *(each.off_utc for each in windows)])
    return night if now_utc < over_utc else night_on(night.date + timedelta(days=1), planner.tz)


def _ran(context: RequestContext, night: Night, now: Reading) -> dict[str, list[Stretch]]:
    """Give when each zone was lit in a night, up to now, by the journal."""
    found: dict[str, list[Stretch]] = {}
    for run in context.gateway.journal.runs(night.starts_at_utc, night.ends_at_utc):
        begins, ends = max(run.on_utc, night.starts_at_utc), min(run.off_utc or now.utc, now.utc)
        if ends > begins:
            found.setdefault(run.zone, []).append((begins, ends))
    return found


def _asked(context: RequestContext, night: Night, now: Reading) -> dict[str, list[Stretch]]:
    """Give when somebody's "on" or "off" was in force in a night, up to now, by the journal."""
    found: dict[str, list[Stretch]] = {}
    for each in context.gateway.journal.overrides(night.starts_at_utc, night.ends_at_utc):
        placed = max(by_present_clock(each.override.placed_at, now), night.starts_at_utc)
        ended = now.utc if each.ended is None else by_present_clock(each.ended.at, now)
        if min(ended, now.utc) > placed:
            found.setdefault(each.override.zone, []).append((placed, min(ended, now.utc)))
    return found


def _light(
    zone: Zone,
    status: ZoneStatus | None,
    planned: Sequence[Stretch],
    *,
    now: Reading,
    ran: Sequence[Stretch],
    asked: Sequence[Stretch],
) -> ZoneLight:
    """Put together what a zone did and will do: the program from now on, with the override in force."""
    now_ms = ms_of(now.utc)
    ahead = [(ms_of(on), ms_of(off)) for on, off in planned if off > now.utc]
    ahead = [(max(on, now_ms), off) for on, off in ahead]
    past = list(ran)
    if status is not None and status.lit and status.lit_since is not None:
        # What is lit now may not be in the journal yet.
        past.append((by_present_clock(status.lit_since, now), now.utc))
    held: list[tuple[int, int]] = []
    by_person = list(asked)
    override = None if status is None else standing_override(status.override, now)
    if override is not None and override.until is not None:
        until_ms = ms_of(datetime.fromisoformat(override.until))
        in_force = [(now_ms, until_ms)]
        held = overlap(ahead, in_force) if override.light == "off" else []
        rest = without(ahead, in_force)
        ahead = merge([*in_force, *rest]) if override.light == "on" else rest
        placed = datetime.fromisoformat(override.placed_at)
        by_person.append((placed, utc_of(until_ms)))
    elif zone.out_of_service is not None or not now.trusted:
        ahead, held = [], ahead
    return ZoneLight(
        zone=zone.id,
        name=zone.name,
        ran=merge(past),
        to_come=[(utc_of(on), utc_of(off)) for on, off in ahead],
        held=[(utc_of(on), utc_of(off)) for on, off in held],
        asked=merge(by_person),
    )


def _caption(planner: Planner, night: Night, words: Words) -> str:
    """Say in words what the picture shows of the sky."""
    names = edge_names(words)
    sun, angle = planner.sun, planner.site.dusk_angle_deg
    moments = {
        names["sunset"]: sun.dusk(night, SUNSET_ANGLE_DEG),
        names["dusk"]: sun.dusk(night, angle),
        names["dawn"]: sun.dawn(night, angle),
        names["sunrise"]: sun.dawn(night, SUNSET_ANGLE_DEG),
    }
    said = [f"{name} {words.clock(at_utc)}" for name, at_utc in moments.items() if at_utc is not None]
    text = words.gettext("The night of %(day)s.") % {"day": words.day(night.date)}
    if not said:
        return f"{text} {words.gettext('The sun does not set.')}"
    first = ", ".join(said)
    return f"{text} {first[:1].upper()}{first[1:]}."


def _notices(
    site: Site, status: KeeperStatus, now: Reading, words: Words, *, is_demo: bool
) -> Iterator[Notice]:
    """Say what is wrong, the most important first, and what to do."""
    _ = words.gettext
    if not now.trusted:
        at = local(now.utc, words.tz)
        yield Notice(
            what=_("The lights are held: nobody knows whether the board's clock is right.")
            + " "
            + _("It says %(clock)s on %(day)s.")
            % {"clock": words.clock(now.utc), "day": words.day(at.date(), year=True)},
            remedy=_(
                "If that is the time, say so. If not, connect the board to the internet, or set its clock."
            ),
            action="confirm",
        )
    for zone in status.zones:
        if zone.fault is not None:
            yield Notice(
                what=_("%(zone)s: its relay does not do as it is told, since %(since)s.")
                % {
                    "zone": zone.name,
                    "since": words.moment(by_present_clock(zone.fault.since, now), now.utc),
                },
                remedy=_(
                    "Check its wire and its pin. It is tried again every half minute; the other zones go on."
                ),
                detail=zone.fault.words,
            )
    if is_demo:
        what = _("This is a demonstration: its relays are simulated, and its clock is its own.")
        yield Notice(warns=False, what=what)
    elif status.simulated:
        yield Notice(
            warns=False,
            what=_("The relays are simulated: nothing in the garden is switched."),
            remedy=_("Once relays are wired to the pins of this board, say so: they are used at once."),
            action="relays",
        )
    if status.refused is not None:
        yield Notice(
            what=_("The site file was changed, but cannot be used; the garden goes on as before."),
            remedy=_("Correct it: Leerie reads it again by itself."),
            detail=status.refused,
        )
    elif status.site_changed_at is not None:
        since = words.clock(by_present_clock(status.site_changed_at, now))
        yield Notice(what=_("The site file was changed at %(clock)s and is not read yet.") % {"clock": since})
    if status.journal_fault is not None:
        yield Notice(
            what=words.ngettext(
                "The journal cannot be written; %(count)d entry waits. The lights do not depend on it.",
                "The journal cannot be written; %(count)d entries wait. The lights do not depend on it.",
                status.waiting,
            )
            % {"count": status.waiting},
            detail=status.journal_fault,
        )
    for transformer in site.transformers:
        loads = [zone.rated_load.watts or 0.0 for zone in site.zones if zone.transformer == transformer.id]
        share = sum(loads) / transformer.rated_va
        if share > CONTINUOUS_SHARE:
            yield Notice(
                what=_("The transformer %(name)s carries %(load)d W, %(share)d %% of its %(rating)g VA.")
                % {
                    "name": transformer.id,
                    "load": sum(loads),
                    "share": share * 100,
                    "rating": transformer.rated_va,
                },
                remedy=_("Take lamps off it, or fit a larger one: lights that burn for hours may take 80 %."),
            )
