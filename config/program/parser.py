"""The program language: a line that a person can read aloud, and the spans that it stands for.

    span     = edge " to " edge [ ", at most " duration ] [ ", while dark" ]
             | edge " for " duration [ ", while dark" ]
    edge     = clock | sun [ ("+" | "-") duration ]
    clock    = HH:MM | "midnight"
    sun      = "sunset" | "dusk" | "dawn" | "sunrise"
    duration = 4h | 45m | 1h30m

Extra blanks and capital letters are read as well; ``str()`` of a span gives the canonical text.
"""

import re
from collections.abc import Iterable
from datetime import time

from config.errors import ProgramError
from config.phrase import Phrase
from config.program.spans import NOON_HOUR, ClockEdge, Duration, Edge, Span, SunEdge, SunEvent

_WORD = re.compile(r"[,+\-]|[^\s,+\-]+")
_CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])")
# “09:00 pm” begins with a clock time, but is not one.
_AM_OR_PM = re.compile(r"\s*[ap]\.?m\b", re.IGNORECASE)
_DURATION = re.compile(
    r"(?:([0-9]{1,4})\s*h(?:\s*([0-9]{1,4})\s*m)?|([0-9]{1,4})\s*m)(?![^\s,+\-])", re.IGNORECASE
)
# In “dusk - 23:00” the hyphen means “to”, unless “to” or “for” follows.
_EDGE_AFTER_HYPHEN = re.compile(
    r"-\s*(?:[0-9]{1,2}:[0-9]{2}|midnight|sunset|dusk|dawn|sunrise)\b(?!.*\b(?:to|for)\b)", re.IGNORECASE
)
_EVENTS = {str(event): event for event in SunEvent}
_BEFORE_OR_AFTER = re.compile(r"\b(?:before|after)\b", re.IGNORECASE)
_LONGEST_WORD = 40
# Three times the longest that says something. No longer one is looked at: to search for what was meant may
# take minutes then, and holds up the lights meanwhile.
LONGEST_TEXT = 200

_AN_EDGE = Phrase("a clock time such as 21:30, or midnight, sunset, dusk, dawn or sunrise")
_A_DURATION = Phrase("a duration such as 4h, 45m or 1h30m")
NO_TIME, _NO_DURATION = Phrase("not a time"), Phrase("not a duration")
NOTHING_MORE = Phrase("nothing more")
_MEANS_TO = ("until", "till", "til", "through", "-", "–", "—")


def parse_program(texts: Iterable[str]) -> tuple[Span, ...]:
    """Read the spans of a program, in their order; raises as parse_span does for the first bad one."""
    return tuple(parse_span(text) for text in texts)


def parse_span(text: str) -> Span:
    """Read one span, such as ``dusk to midnight``.

    Raises:
        ProgramError: with the column of the first word that is not valid, and what to write there.
    """
    reader = TextReader(text, _WORD)
    begins = _read_edge(reader)
    if reader.accept("to"):
        if (length := _DURATION.match(reader.text, reader.at)) and int(length[1] or 0) <= NOON_HOUR:
            expected = Phrase("“for” in place of “to” before {length}", length=length[0])
            raise reader.error(expected, found=length[0], lacks=NO_TIME)
        ends = _read_edge(reader)
        at_most, while_dark = _read_limits(reader, may_limit=True)
        return Span(begins=begins, ends=ends, at_most=at_most, while_dark=while_dark)
    if reader.accept("for"):
        lasts = _read_duration(reader)
        _, while_dark = _read_limits(reader, may_limit=False)
        return Span(begins=begins, lasts=lasts, while_dark=while_dark)
    raise reader.error(_after_first_edge(begins, reader.peek()))


def parse_duration(text: str) -> Duration:
    """Read one duration that stands alone, such as ``1h30m``; raises as parse_span does."""
    reader = TextReader(text, _WORD)
    duration = _read_duration(reader)
    reader.require_end()
    return duration


def parse_clock(text: str) -> time:
    """Read one clock time that stands alone: 21:00, or midnight; raises as parse_span does."""
    reader = TextReader(text, _WORD)
    edge = _read_clock(reader, Phrase("a clock time such as 21:00, or midnight"))
    reader.require_end()
    return time(edge.hour, edge.minute)


def quoted(words: str) -> Phrase:
    """Put words of the language in quotes."""
    return Phrase("“{text}”", text=words)


class TextReader:
    """Reads a text word by word; ``words`` is the pattern of one word.

    Raises:
        ProgramError: the text is longer than any that says something.
    """

    def __init__(self, text: str, words: re.Pattern[str]) -> None:
        if len(text) > LONGEST_TEXT:
            raise ProgramError(
                text=_shorten(text),
                column=LONGEST_TEXT + 1,
                found=_shorten(text[LONGEST_TEXT:]),
                expected=Phrase("at most {most} characters", most=LONGEST_TEXT),
            )
        self.text = text
        self.at = 0
        self._words = words
        self.advance(0)

    def peek(self) -> str:
        """Return the next word as written, or an empty string at the end."""
        match = self._words.match(self.text, self.at)
        return match[0] if match else ""

    def advance(self, length: int) -> None:
        """Skip that many characters and the blanks after them."""
        self.at += length
        while self.at < len(self.text) and self.text[self.at].isspace():
            self.at += 1

    def accept(self, word: str) -> bool:
        """Skip the next word if it is this one, in capitals or not."""
        found = self.peek()
        if found.lower() != word:
            return False
        self.advance(len(found))
        return True

    def require(self, word: str) -> None:
        """Skip this word or refuse what is there."""
        if not self.accept(word):
            raise self.error(quoted(word))

    def require_end(self) -> None:
        """Refuse any word that is left."""
        if self.peek():
            raise self.error(NOTHING_MORE)

    def error(self, expected: str, *, found: str | None = None, lacks: Phrase | None = None) -> ProgramError:
        """Describe this place, with what to write here."""
        word = self.peek() if found is None else found
        return ProgramError(
            text=self.text, column=self.at + 1, found=_shorten(word), expected=expected, lacks=lacks
        )


def _shorten(text: str) -> str:
    return text if len(text) <= _LONGEST_WORD else text[: _LONGEST_WORD - 1] + "…"


def _read_edge(reader: TextReader) -> Edge:
    word = reader.peek()
    if event := _EVENTS.get(word.lower()):
        reader.advance(len(word))
        if reader.peek() == "-" and _EDGE_AFTER_HYPHEN.match(reader.text, reader.at):
            raise reader.error(quoted("to"))
        for sign in "+-":
            if reader.accept(sign):
                return SunEdge(event=event, offset=_read_duration(reader), before=sign == "-")
        return SunEdge(event=event)
    return _read_clock(reader, _AN_EDGE)


def _read_clock(reader: TextReader, expected: str) -> ClockEdge:
    word = reader.peek()
    if reader.accept("midnight"):
        return ClockEdge(hour=0, minute=0, written_midnight=True)
    if (match := _CLOCK.fullmatch(word)) and not _AM_OR_PM.match(reader.text, reader.at + len(word)):
        reader.advance(len(word))
        return ClockEdge(hour=int(match[1]), minute=int(match[2]))
    from config.program.hints import guess_clock, guess_span  # noqa: PLC0415 (not needed to start the lights)

    guess = guess_clock(reader.text[reader.at :])
    span = guess_span(reader.text) if expected == _AN_EDGE else None
    if span and (guess is None or _BEFORE_OR_AFTER.search(reader.text)):
        raise reader.error(quoted(span), lacks=NO_TIME)
    found, expected = guess or (word, expected)
    raise reader.error(expected, found=found, lacks=NO_TIME)


def _read_duration(reader: TextReader) -> Duration:
    match = _DURATION.match(reader.text, reader.at)
    hours, minutes = (int(match[1] or 0), int(match[2] or match[3] or 0)) if match else (0, 0)
    try:
        duration = Duration(hours=hours, minutes=minutes)
    except ValueError:
        from config.program.hints import describe_duration, guess_duration  # noqa: PLC0415 (as above)

        rest = reader.text[reader.at :]
        guess = (match[0], describe_duration(hours, minutes)) if match else guess_duration(rest)
        found, expected = guess or (reader.peek(), _A_DURATION)
        raise reader.error(expected, found=found, lacks=_NO_DURATION) from None
    reader.advance(len(match[0]) if match else 0)
    return duration


def _read_limits(reader: TextReader, *, may_limit: bool) -> tuple[Duration | None, bool]:
    """Read what may follow a span's end: “at most”, then “while dark”, then nothing."""
    at_most = None
    while reader.accept(","):
        if reader.accept("while"):
            reader.require("dark")
            if reader.peek():
                if may_limit:
                    raise reader.error(Phrase("nothing more (“at most” goes before “while dark”)"))
                raise reader.error(NOTHING_MORE)
            return at_most, True
        if may_limit and at_most is None:
            if not reader.accept("at"):
                expected = Phrase("“at most” and a duration, or “while dark”")
                raise reader.error(_two_spans(reader) or expected)
            reader.require("most")
            at_most = _read_duration(reader)
        elif reader.peek().lower() == "at" and not may_limit:
            raise reader.error(Phrase("“while dark” (“for” already says how long)"))
        else:
            raise reader.error(quoted("while dark"))
    if found := reader.peek().lower():
        after = _after_last_edge(found, may_limit=may_limit and at_most is None)
        raise reader.error(_two_spans(reader) or after)
    return at_most, False


def _two_spans(reader: TextReader) -> str:
    """Say how to write two spans, if another one is at this place; an empty text where none is."""
    text, rest = reader.text[: reader.at].rstrip(" ,"), reader.text[reader.at :]
    other = re.sub(r"^(?:[;&+]|and\b|\s)+", "", rest, flags=re.IGNORECASE)
    try:
        parse_span(other)
    except ProgramError:
        return ""
    return Phrase('each span in quotes of its own: "{text}", "{other}"', text=text, other=other)


def _after_first_edge(begins: Edge, found: str) -> str:
    if found.lower() in _MEANS_TO:
        return quoted("to")
    if isinstance(begins, ClockEdge) and found == "+":
        return Phrase("“to” or “for” (only sunset, dusk, dawn and sunrise take an offset)")
    if isinstance(begins, SunEdge) and begins.offset is None and found not in ("", ","):
        return Phrase("“to”, “for”, or an offset such as +20m")
    return Phrase("“to” and an end such as midnight, or “for” and a duration such as 4h")


def _after_last_edge(found: str, *, may_limit: bool) -> str:
    if found == "while" or (found == "at" and may_limit):
        words = "while dark" if found == "while" else "at most"
        return Phrase("a comma before “{words}”", words=words)
    if may_limit:
        return Phrase("“, at most 6h”, “, while dark” or nothing more")
    return Phrase("“, while dark” or nothing more")
