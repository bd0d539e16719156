"""What the blanks of the form offer, in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from api.page.programs.form import DATE, DAYS, FOR, MIDNIGHT, STRETCH, TIME
from api.page.span_prose import FROM_SUN, UNTIL_SUN, length_prose
from api.render.words import Words
from config.errors import ProgramError
from config.program.parser import parse_duration

_LENGTHS = ("15m", "30m", "45m", "1h", "1h30m", "2h", "2h30m", "3h", "4h", "5h", "6h", "8h", "10h", "12h")
_SHIFTS = ("5m", "10m", "15m", "20m", "30m", "40m", "45m", "1h", "1h30m", "2h")
# Any year will do that begins on a Monday.
_YEAR = 2001

Choice = tuple[str, str]


@dataclass(frozen=True, kw_only=True, slots=True)
class Choices:
    """What can be chosen in each blank: what is sent, and what is shown."""

    begins: tuple[Choice, ...]
    ends: tuple[Choice, ...]
    shifts: tuple[Choice, ...]
    nights: tuple[Choice, ...]
    days: tuple[str, ...]
    months: tuple[Choice, ...]
    words: Words

    def lengths(self, chosen: str) -> list[Choice]:
        """Offer the usual lengths of a stretch, and the one that is chosen."""
        return [*self._lengths(_LENGTHS, chosen)]

    def offsets(self, chosen: str) -> list[Choice]:
        """Offer the usual times before and after a moment of the sun, and the one that is chosen."""
        return [*self._lengths(_SHIFTS, chosen)]

    def _lengths(self, usual: Iterable[str], chosen: str) -> Iterable[Choice]:
        found = {}
        for text in dict.fromkeys((*usual, *([chosen] if chosen else ()))):
            try:
                length = parse_duration(text)
            except ProgramError:
                continue  # no form of ours has that
            found[text] = length.seconds, length_prose(length, self.words)
        return ((text, said) for text, (_, said) in sorted(found.items(), key=lambda each: each[1][0]))


def choices_of(words: Words) -> Choices:
    """Give what can be chosen, in the words of a language."""
    _ = words.gettext
    at_midnight = {"moment": _("midnight")}
    return Choices(
        begins=(
            *((name, _(FROM_SUN[name])) for name in ("dusk", "sunset")),
            (TIME, _("from a time:")),
            (MIDNIGHT, _("from %(moment)s") % at_midnight),
            *((name, _(FROM_SUN[name])) for name in ("dawn", "sunrise")),
        ),
        ends=(
            (MIDNIGHT, _("until %(moment)s") % at_midnight),
            (TIME, _("until a time:")),
            (FOR, _("for a length of time:")),
            *((name, _(UNTIL_SUN[name])) for name in ("dawn", "sunrise", "sunset", "dusk")),
        ),
        shifts=(("", _("at that moment")), ("+", _("later, by")), ("-", _("earlier, by"))),
        nights=(
            (DAYS, _("on days of the week:")),
            (DATE, _("on one date:")),
            (STRETCH, _("in a part of every year:")),
        ),
        days=tuple(words.weekday(date(_YEAR, 1, 1 + day)) for day in range(7)),
        months=tuple((f"{month:02}", words.month(date(_YEAR, month, 1))) for month in range(1, 13)),
        words=words,
    )
