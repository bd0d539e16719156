"""A sentence for a person that still knows how it was made, so that the page can translate it."""

from __future__ import annotations

import string
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Protocol, Self


class Translations(Protocol):
    """What a text needs of a catalogue; ``gettext.NullTranslations`` has it."""

    def gettext(self, message: str) -> str:
        """Translate a text."""
        ...

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        """Translate a text that depends on a count."""
        ...


def english_date(day: date, form: str = "") -> str:
    """Write a date, 21 June 2027, or a part of it by a form: ``%d``, ``%d %B``, ``%B %Y``."""
    return format(day, form or "%d %B %Y").lstrip("0")


class Phrase(str):
    """A sentence made from a template with the fields of ``str.format`` and their values.

    It is the English sentence, wherever a ``str`` is wanted; ``said_in`` gives another language's. A value
    may be a text itself. A number given as ``int``, ``float`` or ``Decimal`` is written as the language does;
    one that must stay as it is typed (in a site file, a key, an id) is given as a ``str``. A ``date`` is
    written as the language does, as a whole or by one of the forms of ``english_date``.

    Example:
        >>> Phrase("zone “{zone}” gets {volts:.1f} V", zone="jetty", volts=10.25)
        'zone “jetty” gets 10.2 V'
    """

    template: str
    values: Mapping[str, object]
    many: tuple[str, int] | None

    def __new__(cls, template: str, /, *, many: tuple[str, int] | None = None, **values: object) -> Self:
        """Make a phrase; ``many`` is the template for other counts than one, and the count."""
        english = template if many is None or many[1] == 1 else many[0]
        if any(isinstance(value, date) for value in values.values()):
            from gettext import NullTranslations  # noqa: PLC0415 (not needed to start the lights)

            text = _Filling(NullTranslations()).vformat(english, (), values)
        else:
            text = english.format_map(values)  # the same, and ten times as fast
        self = super().__new__(cls, text)
        self.template, self.values, self.many = template, values, many
        return self

    def __str__(self) -> str:
        """Stay a phrase, so that ``str`` of an error whose message is one can be said in another language."""
        return self

    def __getnewargs_ex__(self) -> tuple[tuple[str], dict[str, Any]]:  # for copies
        """Give what the text is made from."""
        return (self.template,), {"many": self.many, **self.values}

    def fill(self, **values: object) -> Phrase:
        """Give the same phrase with other values for some of its fields."""
        return Phrase(self.template, many=self.many, **{**self.values, **values})

    def said_in(
        self,
        texts: Translations,
        number: Callable[[str], str] = str,
        day: Callable[[date, str], str] = english_date,
    ) -> str:
        """Say it in the language of a catalogue.

        ``number`` turns 1,234.5 into what is written there; ``day`` writes a date, as ``english_date`` does.
        """
        if self.many is None:
            template = texts.gettext(self.template)
        else:
            template = texts.ngettext(self.template, *self.many)
        return _Filling(texts, number, day).vformat(template, (), self.values)


class _Filling(string.Formatter):
    def __init__(
        self,
        texts: Translations,
        number: Callable[[str], str] = str,
        day: Callable[[date, str], str] = english_date,
    ) -> None:
        self._texts, self._number, self._day = texts, number, day

    def format_field(self, value: object, format_spec: str) -> str:
        if isinstance(value, Phrase):
            return format(value.said_in(self._texts, self._number, self._day), format_spec)
        if isinstance(value, date) and not isinstance(value, datetime):
            return self._day(value, format_spec)
        text = format(value, format_spec)
        return self._number(text) if isinstance(value, int | float | Decimal) else text


def count_phrase(one: str, other: str, count: int, **values: object) -> Phrase:
    """Make a phrase that depends on a count, which its templates name ``{n}``."""
    return Phrase(one, many=(other, count), n=count, **values)


def list_phrases(phrases: Sequence[str], separator: str = ", ") -> Phrase:
    """Put phrases one after the other; each is still said in the language of the page."""
    fields: dict[str, Any] = {f"part{place}": text for place, text in enumerate(phrases)}
    return Phrase(separator.join(f"{{{field}}}" for field in fields), **fields)


def dates_phrase(first: date, last: date) -> Phrase:
    """Write dates from one to another, no month and no year twice."""
    if first == last:
        return Phrase("{day}", day=last)
    if first.year != last.year:
        return Phrase("{first} to {last}", first=first, last=last)
    if first.month != last.month:
        return Phrase("{first:%d %B} to {last}", first=first, last=last)
    return Phrase("{first:%d} to {last}", first=first, last=last)


def between_phrase(first: date, last: date) -> Phrase:
    """Say that something happened on some of the dates from one to another, which are not the same."""
    if first.year != last.year:
        return Phrase("between {first} and {last}", first=first, last=last)
    if first.month != last.month:
        return Phrase("between {first:%d %B} and {last}", first=first, last=last)
    return Phrase("between {first:%d} and {last}", first=first, last=last)


def first_line(text: str) -> str:
    """Give the first line of a text; where ``list_phrases`` joined phrases as lines, the first of them."""
    line = text.partition("\n")[0]
    first = text.values.get("part0") if isinstance(text, Phrase) else None
    if line == text:
        return text
    return first if isinstance(first, str) and first == line else line
