"""What a zone does, as a sentence: lit or dark, since when, why, and until when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from api.access.client import COMMAND_LINE, THIS_BOARD
from api.page.span_prose import length_prose, nights_prose
from api.render.words import Words
from api.web.schemas.zones import by_present_clock, standing_override
from config.models.site import NO_REASON, Zone
from config.program.parser import parse_span
from config.program.spans import Duration, Edge, SunEdge
from controller.keeper.state import ZoneStatus
from controller.planning.decision import seconds_left
from controller.planning.plan import Window
from controller.planning.planner import ProgramState
from controller.records.entries import Cause, Override
from controller.records.reading import Reading

_FEW_MINUTES = timedelta(minutes=2)


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneNow:
    """A zone, what the keeper says of it, and what its program asks of it now."""

    zone: Zone
    status: ZoneStatus | None
    program: ProgramState

    @property
    def lit(self) -> bool:
        """Whether it is lit."""
        return self.status is not None and self.status.lit


def edge_names(words: Words) -> dict[str, str]:
    """Name the moments of the sun."""
    _ = words.gettext
    return {"sunset": _("sunset"), "dusk": _("dusk"), "dawn": _("dawn"), "sunrise": _("sunrise")}


def garden_sentence(zones: Sequence[ZoneNow], now: Reading, words: Words) -> tuple[str, str]:
    """Say of the whole garden how much of it is lit, and what comes next."""
    _ = words.gettext
    lit = [each for each in zones if each.lit]
    if not lit and not now.trusted:
        return _("The lights are held."), _("The board does not know for certain what time it is.")
    if not lit:
        coming = [(at_utc, each) for each in zones if (at_utc := _changes_at(each)) is not None]
        if not coming:
            return _("All is dark."), _("No program lights anything.")
        at_utc, first = min(coming, key=lambda pair: pair[0])
        when = {
            "zone": first.zone.name,
            "moment": _moment(at_utc, edge_of(first.program.waits_for, "on"), now, words),
        }
        return _("All is dark."), _("%(zone)s is the next to be lit, at %(moment)s.") % when
    if len(lit) == len(zones):
        few = {1: _("The garden is lit."), 2: _("Both zones are lit.")}
        count = {"count": _count(len(lit), words)}
        sentence = few.get(len(lit)) or _("All %(count)s zones are lit.") % count
    else:
        sentence = words.ngettext("%(Count)s zone is lit.", "%(Count)s zones are lit.", len(lit)) % {
            "Count": _count(len(lit), words).capitalize()
        }
    ends = [_changes_at(each) for each in lit]
    last = max((each for each in ends if each is not None), default=None)
    if last is None or None in ends:
        return sentence, ""
    moment = {"moment": words.moment(last, now.utc)}
    if len(lit) == 1:
        ahead = _("It goes dark at %(moment)s.")
    elif len(set(ends)) == 1:
        ahead = _("They go dark at %(moment)s.")
    else:
        ahead = _("The last one goes dark at %(moment)s.")
    return sentence, ahead % moment


def why(seen: ZoneNow, now: Reading, words: Words) -> str:
    """Say of one zone what is so, since when, why, and until when."""
    _ = words.gettext
    zone, status = seen.zone, seen.status
    if status is None:
        return _("not looked at yet")
    if zone.out_of_service is not None:
        return _("out of service: %(why)s") % {"why": reason_of(zone, words)}
    if status.fault is not None:
        since = words.moment(by_present_clock(status.fault.since, now), now.utc)
        return _("its relay does not do as it is told, since %(since)s; see above") % {"since": since}
    override = status.override
    standing = standing_override(override, now)
    if override is not None and standing is not None:
        return _asked(override, standing.until, now, words)
    if status.decision.cause is Cause.CLOCK_NOT_TRUSTED:
        return _("dark until the clock is right; you can light it yourself")
    return _by_program(status, seen, now, words)


def reason_of(zone: Zone, words: Words) -> str:
    """Say why a zone is out of service; an empty text where it is in service."""
    return words.say(NO_REASON) if zone.out_of_service == NO_REASON else zone.out_of_service or ""


def by_words(by: str, words: Words) -> str:
    """Name who did something, behind “by”; a device has the name that somebody gave it."""
    names = {
        THIS_BOARD: words.pgettext("by", "this board"),
        COMMAND_LINE: words.pgettext("by", "the command line"),
    }
    return names.get(by, by)


def who_words(by: str, words: Words) -> str:
    """Name who did something, as the subject of a sentence."""
    names = {
        THIS_BOARD: words.pgettext("who", "this board"),
        COMMAND_LINE: words.pgettext("who", "the command line"),
    }
    return names.get(by, by)


def _asked(override: Override, until: str | None, now: Reading, words: Words) -> str:
    """Say who asked for light or dark, and until when."""
    _ = words.gettext
    placed = words.moment(by_present_clock(override.placed_at, now), now.utc)
    values = {"who": by_words(override.by, words), "placed": placed}
    said = (
        _("lit by %(who)s at %(placed)s") if override.on else _("put out by %(who)s at %(placed)s")
    ) % values
    if until is None:
        # Without a trusted clock only how long it still lasts is known.
        left_min = round((seconds_left(override, now) or 0) / 60)
        if not left_min:
            return said
        length = length_prose(Duration(hours=left_min // 60, minutes=left_min % 60), words)
        return f"{said}; " + _("for another %(length)s") % {"length": length}
    moment = words.moment(datetime.fromisoformat(until), now.utc)
    return f"{said}; " + _("back to its program at %(moment)s") % {"moment": moment}


def _by_program(status: ZoneStatus, seen: ZoneNow, now: Reading, words: Words) -> str:
    """Say what the program has the zone do, and on which nights where these are special ones."""
    _ = words.gettext
    program = seen.program
    if status.lit != program.on:
        return _("about to be lit") if program.on else _("about to go dark")
    said = _lit(status, program, now, words) if program.on else _dark(program, now, words)
    on_date = program.plan.night.date
    special = next((each for each in reversed(seen.zone.special_nights) if each.nights.match(on_date)), None)
    if special is None or not (program.on or program.waits_for):
        return said
    return f"{said} ({nights_prose(special.nights, words)})"


def _lit(status: ZoneStatus, program: ProgramState, now: Reading, words: Words) -> str:
    _ = words.gettext
    window = program.window
    since = now.utc if status.lit_since is None else by_present_clock(status.lit_since, now)
    # Lit a little after its window began, as relays take turns, it was lit because that began.
    began_as_planned = window is not None and abs(since - window.on_utc) <= _FEW_MINUTES
    shown = window.on_utc if window is not None and began_as_planned else since
    edge = edge_of(window, "on") if began_as_planned else None
    said = _("lit since %(since)s") % {"since": _moment(shown, edge, now, words)}
    if program.until_utc is not None:
        until = _moment(program.until_utc, edge_of(window, "off"), now, words)
        said += "; " + _("until %(until)s") % {"until": until}
    return said


def _dark(program: ProgramState, now: Reading, words: Words) -> str:
    _ = words.gettext
    ahead = program.waits_for
    if ahead is not None:
        values = {
            "on": _moment(ahead.on_utc, edge_of(ahead, "on"), now, words),
            "off": _moment(ahead.off_utc, edge_of(ahead, "off"), now, words),
        }
        return _("dark; lit from %(on)s until %(off)s") % values
    said = _("dark")
    if program.window is not None:
        off = _moment(program.window.off_utc, edge_of(program.window, "off"), now, words)
        said = _("dark since %(off)s") % {"off": off}
    elif not program.plan.windows:
        said = _("dark all night by its program")
    if program.until_utc is not None:
        said += "; " + _("lit again at %(moment)s") % {"moment": words.moment(program.until_utc, now.utc)}
    return said


def _moment(at_utc: datetime, edge: Edge | None, now: Reading, words: Words) -> str:
    """Write an instant, with the moment of the sun that it is."""
    moment = words.moment(at_utc, now.utc)
    if isinstance(edge, SunEdge) and edge.offset is None:
        return f"{moment} ({edge_names(words)[str(edge.event)]})"
    return moment


def edge_words(at_utc: datetime, edge: Edge | None, words: Words) -> str:
    """Write a time of day, with the moment of the sun that it is."""
    clock = words.clock_or_midnight(at_utc)
    if isinstance(edge, SunEdge) and edge.offset is None:
        return f"{clock} ({edge_names(words)[str(edge.event)]})"
    return clock


def edge_of(window: Window | None, which: str) -> Edge | None:
    """Give the edge that a window begins or ends with; None where that is not one of its span."""
    if window is None or " and " in window.span:
        return None
    span = parse_span(window.span)
    if which == "on":
        return span.begins
    return None if span.at_most is not None or span.while_dark else span.ends


def _changes_at(seen: ZoneNow) -> datetime | None:
    """Give when the light of a zone changes next, as far as anybody knows."""
    status = seen.status
    if status is None or status.lit != status.decision.on:
        return None  # its relay does not do as it is told
    until_utc = status.decision.until_utc
    if until_utc is None or status.decision.cause is not Cause.OVERRIDE:
        return until_utc
    # At its end the program decides: perhaps for the same light as before.
    program = seen.program
    if program.until_utc is None:
        return None if program.on == status.decision.on else until_utc
    if program.until_utc <= until_utc:
        return until_utc
    return until_utc if program.on != status.decision.on else program.until_utc


def _count(number: int, words: Words) -> str:
    """Write a number up to twelve as a word."""
    _ = words.gettext
    names = (
        _("no"), _("one"), _("two"), _("three"), _("four"), _("five"), _("six"), _("seven"), _("eight"),
        _("nine"), _("ten"), _("eleven"), _("twelve"),
    )  # fmt: skip
    return names[number] if number < len(names) else str(number)
