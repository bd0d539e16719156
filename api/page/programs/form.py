"""The form of one program: its blanks as they were filled in, and the program that they mean.

Every stretch of light stands in the form twice: as a sentence with blanks, and as one line of the program
language. Both write the same text, and the parser of that language is the only one that judges it. What was
changed counts; where both were, the line does, and that is shown before anything is saved.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from api.page.programs.last_change import Program
from config.errors import ProgramError
from config.models.site import MOST_SPANS, MOST_SPECIAL_NIGHTS, SpecialNight
from config.phrase import Phrase
from config.program.parser import parse_span
from config.program.spans import Duration, Edge, Span, SunEdge, SunEvent
from config.program.special_nights import (
    WEEKDAYS,
    Nights,
    OneDate,
    Weekdays,
    parse_nights,
)

TIME, MIDNIGHT, FOR = "time", "midnight", "for"
DAYS, DATE, STRETCH = "days", "date", "stretch"
_USUAL, _MORNING = "dusk to midnight", "05:30 to dawn"
_SUN = frozenset(str(event) for event in SunEvent)


@dataclass(frozen=True, kw_only=True, slots=True)
class EdgeBlanks:
    """Where a stretch begins or ends.

    Attributes:
        kind: a moment of the sun, "midnight", "time", or of an end "for".
        at: the clock time of "time".
        shift: "+" or "-" where it is some time after or before the moment of the sun; ``by`` says how long.
    """

    kind: str
    at: str = ""
    shift: str = ""
    by: str = ""

    @property
    def text(self) -> str:
        """The same in the program language."""
        if self.kind == TIME:
            return self.at
        return f"{self.kind}{self.shift}{self.by}" if self.shift and self.kind in _SUN else self.kind


@dataclass(frozen=True, kw_only=True, slots=True)
class SpanDraft:
    """One stretch of light in the form.

    Attributes:
        lasts: of an end "for".
        at_most: the longest that it is lit; empty for no limit.
        text: the line as it stands in the form.
        was: the line as it was when the form was drawn.
        span: what it means; None where that is a mistake.
        both: whether the sentence and the line were changed, to different things.
    """

    begins: EdgeBlanks
    ends: EdgeBlanks
    lasts: str = ""
    at_most: str = ""
    while_dark: bool = False
    text: str = ""
    was: str = ""
    span: Span | None = None
    mistake: ProgramError | None = None
    both: bool = False

    @property
    def sentence(self) -> str:
        """The sentence, in the program language."""
        dark = ", while dark" if self.while_dark else ""
        if self.ends.kind == FOR:
            return f"{self.begins.text} for {self.lasts}{dark}"
        most = f", at most {self.at_most}" if self.at_most else ""
        return f"{self.begins.text} to {self.ends.text}{most}{dark}"

    @property
    def is_exact(self) -> bool:
        """Whether more is said than the plain sentence has blanks for."""
        return bool(self.begins.shift or self.ends.shift or self.at_most or self.while_dark)

    @property
    def lacks_time(self) -> bool:
        """Whether a clock time was left out of the sentence, which is the mistake."""
        empty = any(each.kind == TIME and not each.at for each in (self.begins, self.ends))
        return self.mistake is not None and self.text == self.was and empty


@dataclass(frozen=True, kw_only=True, slots=True)
class NightsDraft:
    """On which nights a special night holds; ``was`` is the text that the form was drawn from."""

    kind: str = DAYS
    days: frozenset[int] = frozenset()
    on_date: str = ""
    first: tuple[str, str] = ("12", "20")
    last: tuple[str, str] = ("01", "06")
    was: str = ""
    nights: Nights | None = None
    mistake: ProgramError | None = None

    @property
    def text(self) -> str:
        """The same in the program language."""
        if self.kind == DATE:
            return self.on_date
        if self.kind == STRETCH:
            return f"{'-'.join(self.first)} to {'-'.join(self.last)}"
        text = ", ".join(WEEKDAYS[day] for day in sorted(self.days))
        # The order in the site file is kept where the days are the same.
        return self.was if sorted(self.was.split(", ")) == sorted(text.split(", ")) else text


@dataclass(frozen=True, kw_only=True, slots=True)
class PartDraft:
    """What is done every night, or on special nights; without a span it is dark."""

    nights: NightsDraft | None = None
    spans: tuple[SpanDraft, ...] = ()

    @property
    def program(self) -> tuple[Span, ...] | None:
        """The spans; None where one of them is a mistake."""
        spans = tuple(each.span for each in self.spans if each.span is not None)
        return spans if len(spans) == len(self.spans) else None


@dataclass(frozen=True, kw_only=True, slots=True)
class ProgramDraft:
    """The whole form: the first part is of every night, the others are special nights in their order."""

    parts: tuple[PartDraft, ...]

    @property
    def program(self) -> Program | None:
        """The program that was filled in; None where something is a mistake."""
        first, *others = self.parts
        special_nights = []
        for part in others:
            assert part.nights is not None, "only the first part is of every night"
            if part.program is None or part.nights.nights is None:
                return None
            special_nights.append(SpecialNight(nights=part.nights.nights, program=part.program))
        return None if first.program is None else (first.program, tuple(special_nights))

    @property
    def is_unclear(self) -> bool:
        """Whether a sentence and its line were both changed, so that a person must see what counts."""
        return any(span.both for part in self.parts for span in part.spans)

    def after(self, action: str) -> ProgramDraft:
        """Add something, remove it or move it up.

        Args:
            action: ``add-0`` a span to a part, ``cut-0-1`` a span of it, ``nights`` for another special
                night, ``drop-2`` or ``up-2`` for a special night.

        Raises:
            ValueError: another action, or a place that is not there.
        """
        what, *places = action.split("-")
        numbers = [int(place) for place in places if place.isdecimal()]
        parts = list(self.parts)
        if action == "nights" and len(parts) <= MOST_SPECIAL_NIGHTS:
            parts.append(PartDraft(nights=draft_of_nights(Weekdays(days=(4, 5))), spans=_usual()))
        elif what == "add" and len(numbers) == 1:
            part = parts[_place(numbers[0], parts)]
            if len(part.spans) < MOST_SPANS:
                spans = (*part.spans, *(_usual(_MORNING) if part.spans else _usual()))
                parts[numbers[0]] = replace(part, spans=spans)
        elif what == "cut" and len(numbers) == 2:  # noqa: PLR2004 (the part, and the span in it)
            part = parts[_place(numbers[0], parts)]
            left = list(part.spans)
            del left[_place(numbers[1], left)]
            parts[numbers[0]] = replace(part, spans=tuple(left))
        elif what == "drop" and len(numbers) == 1:
            del parts[_place(numbers[0], parts, first=1)]
        elif what == "up" and len(numbers) == 1:
            place = _place(numbers[0], parts, first=2)
            parts[place - 1], parts[place] = parts[place], parts[place - 1]
        else:
            raise ValueError(
                Phrase("“{action}” is nothing that can be done here; load the page again", action=action)
            )
        return ProgramDraft(parts=tuple(parts))

    def fields(self) -> Iterator[tuple[str, str]]:
        """Give every field of the form with its value, to be carried on unseen."""
        for number, part in enumerate(self.parts):
            if part.nights is not None:
                yield from _nights_fields(f"p{number}-", part.nights)
            for place, span in enumerate(part.spans):
                yield from _span_fields(f"p{number}s{place}-", span)


def draft_of(program: Program) -> ProgramDraft:
    """Fill the form in with a program."""
    spans, special_nights = program
    first = PartDraft(spans=tuple(map(draft_of_span, spans)))
    others = [
        PartDraft(nights=draft_of_nights(each.nights), spans=tuple(map(draft_of_span, each.program)))
        for each in special_nights
    ]
    return ProgramDraft(parts=(first, *others))


def draft_of_span(span: Span) -> SpanDraft:
    """Fill the blanks of one sentence in."""
    return SpanDraft(
        begins=_blanks_of(span.begins),
        ends=EdgeBlanks(kind=FOR) if span.ends is None else _blanks_of(span.ends),
        lasts=_written(span.lasts),
        at_most=_written(span.at_most),
        while_dark=span.while_dark,
        text=str(span),
        was=str(span),
        span=span,
    )


def draft_of_nights(nights: Nights) -> NightsDraft:
    """Fill the blanks in that say on which nights."""
    draft = NightsDraft(was=str(nights), nights=nights)
    if isinstance(nights, Weekdays):
        return replace(draft, days=frozenset(nights.days))
    if isinstance(nights, OneDate):
        return replace(draft, kind=DATE, on_date=nights.on_date.isoformat())
    return replace(draft, kind=STRETCH, first=_two_digits(nights.first), last=_two_digits(nights.last))


def read_draft(form: Mapping[str, str]) -> ProgramDraft:
    """Read the form as it was filled in."""
    parts = [PartDraft(spans=tuple(_read_spans(form, 0)))]
    while f"p{len(parts)}-nights" in form:
        nights = _read_nights(form, f"p{len(parts)}-")
        parts.append(PartDraft(nights=nights, spans=tuple(_read_spans(form, len(parts)))))
    return ProgramDraft(parts=tuple(parts))


def _read_spans(form: Mapping[str, str], part: int) -> Iterator[SpanDraft]:
    place = 0
    while f"p{part}s{place}-text" in form:
        yield _read_span(form, f"p{part}s{place}-")
        place += 1


def _read_span(form: Mapping[str, str], prefix: str) -> SpanDraft:
    def blank(name: str) -> str:
        return form.get(prefix + name, "").strip()

    def edge(name: str) -> EdgeBlanks:
        return EdgeBlanks(
            kind=blank(name), at=blank(f"{name}-at"), shift=blank(f"{name}-shift"), by=blank(f"{name}-by")
        )

    draft = SpanDraft(
        begins=edge("begin"),
        ends=edge("end"),
        lasts=blank("lasts"),
        at_most=blank("at-most"),
        while_dark=bool(blank("while-dark")),
        text=blank("text"),
        was=blank("was"),
    )
    line_counts = draft.text != draft.was
    both = line_counts and draft.sentence not in (draft.was, draft.text)
    try:
        span = parse_span(draft.text if line_counts else draft.sentence)
    except ProgramError as mistake:
        return replace(draft, mistake=mistake)
    return replace(draft_of_span(span), both=both)


def _read_nights(form: Mapping[str, str], prefix: str) -> NightsDraft:
    def blank(name: str) -> str:
        return form.get(prefix + name, "").strip()

    draft = NightsDraft(
        kind=blank("nights"),
        days=frozenset(day for day in range(len(WEEKDAYS)) if blank(f"day{day}")),
        on_date=blank("date"),
        first=(blank("first-month"), blank("first-day")),
        last=(blank("last-month"), blank("last-day")),
        was=blank("was"),
    )
    try:
        nights = parse_nights(draft.text)
    except ProgramError as mistake:
        return replace(draft, mistake=mistake)
    return replace(draft, nights=nights, was=str(nights))


def _blanks_of(edge: Edge) -> EdgeBlanks:
    if isinstance(edge, SunEdge):
        shift = "" if edge.offset is None else "-" if edge.before else "+"
        return EdgeBlanks(kind=str(edge.event), shift=shift, by=_written(edge.offset))
    return EdgeBlanks(kind=MIDNIGHT) if edge.written_midnight else EdgeBlanks(kind=TIME, at=str(edge))


def _written(length: Duration | None) -> str:
    return "" if length is None else str(length)


def _two_digits(day: tuple[int, int]) -> tuple[str, str]:
    return f"{day[0]:02}", f"{day[1]:02}"


def _usual(text: str = _USUAL) -> tuple[SpanDraft, ...]:
    return (draft_of_span(parse_span(text)),)


def _place(number: int, things: list[PartDraft] | list[SpanDraft], *, first: int = 0) -> int:
    if not first <= number < len(things):
        raise ValueError(Phrase("that place is not in the form; load the page again"))
    return number


def _span_fields(prefix: str, span: SpanDraft) -> Iterator[tuple[str, str]]:
    for name, edge in (("begin", span.begins), ("end", span.ends)):
        yield f"{prefix}{name}", edge.kind
        yield f"{prefix}{name}-at", edge.at
        yield f"{prefix}{name}-shift", edge.shift
        yield f"{prefix}{name}-by", edge.by
    yield f"{prefix}lasts", span.lasts
    yield f"{prefix}at-most", span.at_most
    yield f"{prefix}while-dark", "yes" if span.while_dark else ""
    yield f"{prefix}text", span.text
    yield f"{prefix}was", span.was


def _nights_fields(prefix: str, nights: NightsDraft) -> Iterator[tuple[str, str]]:
    yield f"{prefix}nights", nights.kind
    for day in nights.days:
        yield f"{prefix}day{day}", "yes"
    yield f"{prefix}date", nights.on_date
    for name, (month, day_of_month) in (("first", nights.first), ("last", nights.last)):
        yield f"{prefix}{name}-month", month
        yield f"{prefix}{name}-day", day_of_month
    yield f"{prefix}was", nights.was
