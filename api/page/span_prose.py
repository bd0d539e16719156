"""Programs as a person reads them aloud, in the language of the page."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, time

from api.render.words import N_, Words
from config.program.spans import ClockEdge, Duration, Edge, Span, SunEdge
from config.program.special_nights import Nights, OneDate, Weekdays

# Whole phrases, as other languages decline the names of the sun's moments.
FROM_SUN = {
    "sunset": N_("from sunset"),
    "dusk": N_("from dusk"),
    "dawn": N_("from dawn"),
    "sunrise": N_("from sunrise"),
}
UNTIL_SUN = {
    "sunset": N_("until sunset"),
    "dusk": N_("until dusk"),
    "dawn": N_("until dawn"),
    "sunrise": N_("until sunrise"),
}
_AFTER = {
    "sunset": N_("%(length)s after sunset"),
    "dusk": N_("%(length)s after dusk"),
    "dawn": N_("%(length)s after dawn"),
    "sunrise": N_("%(length)s after sunrise"),
}
_BEFORE = {
    "sunset": N_("%(length)s before sunset"),
    "dusk": N_("%(length)s before dusk"),
    "dawn": N_("%(length)s before dawn"),
    "sunrise": N_("%(length)s before sunrise"),
}
# Any leap year will do for a month and a day.
_LEAP_YEAR = 2000


def span_prose(span: Span, words: Words) -> str:
    """Say one stretch of light: “from dusk until midnight”, “from dusk for 4 hours, while it is dark”."""
    _ = words.gettext
    begins = _edge(span.begins, FROM_SUN, _("from %(moment)s"), words)
    if span.ends is None:
        assert span.lasts is not None, "a span has an end or a length"
        said = _("%(begins)s for %(length)s") % {
            "begins": begins,
            "length": length_prose(span.lasts, words),
        }
    else:
        ends = _edge(span.ends, UNTIL_SUN, _("until %(moment)s"), words)
        said = f"{begins} {ends}"
    if span.at_most is not None:
        said += _(", at most %(length)s") % {"length": length_prose(span.at_most, words)}
    return said + (_(", while it is dark") if span.while_dark else "")


def program_prose(program: Sequence[Span], words: Words) -> str:
    """Say all the light of a night; “dark” where there is none."""
    if not program:
        return words.gettext("dark")
    return words.gettext(", and ").join(span_prose(span, words) for span in program)


def nights_prose(nights: Nights, words: Words) -> str:
    """Say on which nights a special night holds: “on Friday and Saturday”."""
    _ = words.gettext
    if isinstance(nights, Weekdays):
        # Any week will do: 3 January 2000 was a Monday.
        days = [words.weekday(date(_LEAP_YEAR, 1, 3 + day)) for day in nights.days]
        return _("on %(days)s") % {"days": listed(days, words)}
    if isinstance(nights, OneDate):
        return _("on %(day)s") % {"day": words.day(nights.on_date, year=True)}
    first, last = (words.date(date(_LEAP_YEAR, month, day)) for month, day in (nights.first, nights.last))
    if nights.first == nights.last:
        return _("on %(day)s of every year") % {"day": first}
    return _("from %(first)s to %(last)s of every year") % {"first": first, "last": last}


def length_prose(length: Duration, words: Words) -> str:
    """Say a length of time: “4 hours”, “1 hour 30 minutes”."""
    hours, minutes = length.hours, length.minutes
    said = []
    if hours:
        said.append(words.ngettext("%(count)d hour", "%(count)d hours", hours) % {"count": hours})
    if minutes:
        said.append(words.ngettext("%(count)d minute", "%(count)d minutes", minutes) % {"count": minutes})
    return " ".join(said)


def listed(names: Sequence[str], words: Words) -> str:
    """Write names one after the other: “Friday, Saturday and Sunday”."""
    if len(names) <= 1:
        return "".join(names)
    first, last = ", ".join(names[:-1]), names[-1]
    return words.gettext("%(first)s and %(last)s") % {"first": first, "last": last}


def sentence(text: str) -> str:
    """Begin with a capital letter, and end with a full stop."""
    return f"{capital(text)}."


def capital(text: str) -> str:
    """Begin with a capital letter."""
    return text[:1].upper() + text[1:]


def _edge(edge: Edge, plain: dict[str, str], phrase: str, words: Words) -> str:
    """Say where a stretch begins or ends; ``plain`` has the moments of the sun without an offset."""
    _ = words.gettext
    if isinstance(edge, SunEdge) and edge.offset is None:
        return _(plain[str(edge.event)])
    return phrase % {"moment": _moment(edge, words)}


def _moment(edge: ClockEdge | SunEdge, words: Words) -> str:
    _ = words.gettext
    if isinstance(edge, SunEdge):
        assert edge.offset is not None, "others have phrases of their own"
        phrases = _BEFORE if edge.before else _AFTER
        return _(phrases[str(edge.event)]) % {"length": length_prose(edge.offset, words)}
    if edge.hour == edge.minute == 0:
        return _("midnight")
    return words.time_of_day(time(edge.hour, edge.minute))
