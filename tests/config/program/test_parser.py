"""The program language: what it reads, what it prints, and where it stops."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.errors import ProgramError
from config.program.parser import parse_clock, parse_duration, parse_program, parse_span
from config.program.spans import ClockEdge, Duration, Span, SunEdge, SunEvent
from config.program.special_nights import parse_nights
from tests.config.strategies import durations, outcome_of, spans

MIDNIGHT = ClockEdge(hour=0, minute=0, written_midnight=True)
DUSK = SunEdge(event=SunEvent.DUSK)
DAWN = SunEdge(event=SunEvent.DAWN)

AN_EDGE = "a clock time such as 21:30, or midnight, sunset, dusk, dawn or sunrise"
A_LINK = "“to” and an end such as midnight, or “for” and a duration such as 4h"
A_DURATION = "a duration such as 4h, 45m or 1h30m"
MORE_THAN_NOTHING = "a duration longer than nothing, such as 45m"
ANY_CLOCK = "a clock time from 00:00 to 23:59"


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("dusk to midnight", Span(begins=DUSK, ends=MIDNIGHT)),
        ("dusk to 00:00", Span(begins=DUSK, ends=ClockEdge(hour=0, minute=0))),
        ("dusk for 4h", Span(begins=DUSK, lasts=Duration(hours=4))),
        (
            "sunset+20m to 23:30",
            Span(
                begins=SunEdge(event=SunEvent.SUNSET, offset=Duration(minutes=20)),
                ends=ClockEdge(hour=23, minute=30),
            ),
        ),
        ("05:30 to dawn", Span(begins=ClockEdge(hour=5, minute=30), ends=DAWN)),
        (
            "17:00 to 23:00, while dark",
            Span(begins=ClockEdge(hour=17, minute=0), ends=ClockEdge(hour=23, minute=0), while_dark=True),
        ),
        ("dusk to dawn, at most 6h", Span(begins=DUSK, ends=DAWN, at_most=Duration(hours=6))),
        ("21:15 to 23:45", Span(begins=ClockEdge(hour=21, minute=15), ends=ClockEdge(hour=23, minute=45))),
        (
            "sunrise-1h30m for 90m, while dark",
            Span(
                begins=SunEdge(event=SunEvent.SUNRISE, offset=Duration(hours=1, minutes=30), before=True),
                lasts=Duration(minutes=90),
                while_dark=True,
            ),
        ),
        (
            "midnight to sunrise, at most 1h5m, while dark",
            Span(
                begins=MIDNIGHT,
                ends=SunEdge(event=SunEvent.SUNRISE),
                at_most=Duration(hours=1, minutes=5),
                while_dark=True,
            ),
        ),
    ],
)
def test_a_canonical_text_is_read_and_printed_as_it_was_written(text, span):
    """Each form of the language gives its span, and the span gives the same text."""
    assert parse_span(text) == span
    assert str(span) == text


@pytest.mark.parametrize(
    ("text", "canonical"),
    [
        ("  Dusk to Midnight ", "dusk to midnight"),
        ("DUSK   TO\t00:00", "dusk to 00:00"),
        ("sunset + 20m to 23:30", "sunset+20m to 23:30"),
        ("sunset- 1H 30M for 4 h", "sunset-1h30m for 4h"),
        ("dusk to dawn ,at  most 6h,While Dark", "dusk to dawn, at most 6h, while dark"),
        ("dusk for 04h", "dusk for 4h"),
        ("dusk for 1h05m", "dusk for 1h5m"),
        ("dusk for 2h0m", "dusk for 2h"),
        ("dusk\u00a0to\u00a0midnight", "dusk to midnight"),
    ],
)
def test_blanks_and_capitals_are_read_and_printing_is_canonical(text, canonical):
    """What a phone's keyboard makes of a span is understood."""
    assert str(parse_span(text)) == canonical


@settings(deadline=None)
@given(spans)
def test_span_to_text_to_span_is_the_identity(span):
    """Every span that can be made is printed as a text that gives it back."""
    assert parse_span(str(span)) == span


@settings(deadline=None)
@given(spans, st.data())
def test_text_to_span_to_text_is_the_identity_whatever_the_blanks_and_capitals(span, data):
    """Blanks between words and around signs, and capital letters, change nothing of what is printed."""
    text = str(span)

    def loosen(match: re.Match[str]) -> str:
        blanks = data.draw(st.sampled_from(["", " ", "  ", "\t"]))
        return blanks + match[0] + data.draw(st.sampled_from(["", " ", "  "]))

    loose = re.sub(r"[ ,+-]", loosen, text)
    loose = "".join(data.draw(st.sampled_from([letter, letter.upper()])) for letter in loose)
    assert str(parse_span(loose)) == text


@pytest.mark.parametrize(
    ("text", "column", "found", "expected"),
    [
        ("", 1, "", AN_EDGE),
        ("   ", 4, "", AN_EDGE),
        ("dusk", 5, "", A_LINK),
        ("dusk to", 8, "", AN_EDGE),
        ("dusk to 24:00", 9, "24:00", "00:00 or midnight"),
        ("9pm to dawn", 1, "9pm", "21:00"),
        ("dusk to 11:30 p.m.", 9, "11:30 p.m.", "23:30"),
        ("dusk to 9 pm", 9, "9 pm", "21:00"),
        ("dusk to 09:00 pm", 9, "09:00 pm", "21:00"),
        ("dusk to 12am", 9, "12am", "12:00 for noon, 00:00 or midnight for midnight"),
        ("dusk to 12:30 AM", 9, "12:30 AM", "00:30"),
        ("12pm to dusk", 1, "12pm", "12:00 for noon, 00:00 or midnight for midnight"),
        ("dusk to 13pm", 9, "13pm", ANY_CLOCK),
        ("dusk to 0pm", 9, "0pm", ANY_CLOCK),
        ("dusk to 1am", 9, "1am", "01:00"),
        ("dusk to 11:59pm", 9, "11:59pm", "23:59"),
        ("dusk to 11:60pm", 9, "11:60pm", ANY_CLOCK),
        ("dusk to 23.59", 9, "23.59", "23:59"),
        ("dusk to 23.60", 9, "23.60", ANY_CLOCK),
        ("dusk to 1", 9, "1", "01:00 or 13:00"),
        ("12 to dusk", 1, "12", "12:00"),
        ("9:00 to dawn", 1, "9:00", "09:00"),
        ("21.15 to dawn", 1, "21.15", "21:15"),
        ("21h15 to dawn", 1, "21h15", "21:15"),
        ("2115 to dawn", 1, "2115", "21:15"),
        ("21:15:00 to dawn", 1, "21:15:00", "21:15"),
        ("9 to 11", 1, "9", "09:00 or 21:00"),
        ("21 to dawn", 1, "21", "21:00"),
        ("0 to dawn", 1, "0", "00:00 or midnight"),
        ("25:00 to dawn", 1, "25:00", ANY_CLOCK),
        ("12:60 to dawn", 1, "12:60", ANY_CLOCK),
        ("noon to dusk", 1, "noon", "12:00"),
        ("moonrise to dawn", 1, "moonrise", AN_EDGE),
        ("dusk to nightfall", 9, "nightfall", "dusk"),
        ("sundown to midnight", 1, "sundown", "sunset"),
        ("from dusk to midnight", 1, "from", "“dusk to midnight”"),
        ("on at dusk, off at 11pm", 1, "on", "“dusk to 23:00”"),
        ("between 6 pm and 12 am", 1, "between", "“18:00 to 00:00”"),
        ("30m after sunset to midnight", 1, "30m", "“sunset+30m to midnight”"),
        ("1 hour before dusk to 24:00", 1, "1", "“dusk-1h to midnight”"),
        ("all night", 1, "all", "“dusk to dawn”"),
        ("dusk - 23:00", 6, "-", "“to”"),
        ("dusk-23:00", 5, "-", "“to”"),
        ("sunset - sunrise", 8, "-", "“to”"),
        ("dusk – midnight", 6, "–", "“to”"),
        ("dusk-1:00 to midnight", 6, "1:00", "1h"),
        ("dusk to 4h", 9, "4h", "“for” in place of “to” before 4h"),
        ("dusk to 45m", 9, "45m", "“for” in place of “to” before 45m"),
        ("dusk to 23h", 9, "23h", "23:00"),
        (
            "dusk to midnight, 05:30 to dawn",
            19,
            "05:30",
            'each span in quotes of its own: "dusk to midnight", "05:30 to dawn"',
        ),
        (
            "dusk for 2h and 05:30 to dawn",
            13,
            "and",
            'each span in quotes of its own: "dusk for 2h", "05:30 to dawn"',
        ),
        ("dusk to -20m", 9, "-", AN_EDGE),
        ("dusk until midnight", 6, "until", "“to”"),
        ("20:00-22:00", 6, "-", "“to”"),
        ("dusk 20m to dawn", 6, "20m", "“to”, “for”, or an offset such as +20m"),
        (
            "21:00+30m to dawn",
            6,
            "+",
            "“to” or “for” (only sunset, dusk, dawn and sunrise take an offset)",
        ),
        ("dusk, for 4h", 5, ",", A_LINK),
        ("dusk+ to dawn", 7, "to", A_DURATION),
        ("dusk+0m to dawn", 6, "0m", MORE_THAN_NOTHING),
        ("dusk+20m+10m to dawn", 9, "+", A_LINK),
        ("dusk for", 9, "", A_DURATION),
        ("dusk for ever", 10, "ever", A_DURATION),
        ("dusk for 0h", 10, "0h", MORE_THAN_NOTHING),
        ("dusk for 1h90m", 10, "1h90m", "2h30m"),
        ("dusk for 24 hours", 10, "24 hours", "24h"),
        ("dusk for 23h60m", 10, "23h60m", "24h"),
        ("dusk for 25h", 10, "25h", "a duration of at most 24h"),
        ("dusk for 24h1m", 10, "24h1m", "a duration of at most 24h"),
        ("dusk for 1441m", 10, "1441m", "a duration of at most 24h"),
        ("dusk for 4 hours", 10, "4 hours", "4h"),
        ("dusk for 90 min", 10, "90 min", "90m"),
        ("dusk for 1:30", 10, "1:30", "1h30m"),
        ("dusk for 1h30", 10, "1h30", "1h30m"),
        ("dusk for 1.5h", 10, "1.5h", "1h30m"),
        ("dusk for 30", 10, "30", "30m for minutes"),
        ("sunset+1 to midnight", 8, "1", "1h for hours, 1m for minutes"),
        ("dusk for 4h, at most 3h", 14, "at", "“while dark” (“for” already says how long)"),
        ("dusk for 4h to dawn", 13, "to", "“, while dark” or nothing more"),
        ("dusk to dawn at most 6h", 14, "at", "a comma before “at most”"),
        ("dusk to dawn while dark", 14, "while", "a comma before “while dark”"),
        ("dusk to dawn,", 14, "", "“at most” and a duration, or “while dark”"),
        ("dusk to dawn, at", 17, "", "“most”"),
        ("dusk to dawn, at most", 22, "", A_DURATION),
        ("dusk to dawn, at most 6h, at most 5h", 27, "at", "“while dark”"),
        ("dusk to dawn, while light", 21, "light", "“dark”"),
        (
            "dusk to dawn, while dark, at most 6h",
            25,
            ",",
            "nothing more (“at most” goes before “while dark”)",
        ),
        ("dusk for 4h, while dark, while dark", 24, ",", "nothing more"),
        ("dusk to dawn to dusk", 14, "to", "“, at most 6h”, “, while dark” or nothing more"),
        ("dusk to ٠٥:٣٠", 9, "٠٥:٣٠", AN_EDGE),
    ],
)
def test_a_wrong_text_is_refused_with_its_column_and_what_would_do(text, column, found, expected):
    """The error names the column, what stands there, and what a person should have written."""
    with pytest.raises(ProgramError) as caught:
        parse_span(text)
    error = caught.value
    assert (error.text, error.column, error.found, error.expected) == (text, column, found, expected)


def test_a_refusal_reads_as_one_sentence():
    """The error's text alone says what is wrong, where, and what to write."""
    with pytest.raises(ProgramError) as caught:
        parse_span("dusk to 24:00")
    told = "“24:00” is not a time here; write 00:00 or midnight (column 9)"
    assert str(caught.value) == f"“dusk to 24:00”: {told}"


def test_a_long_wrong_word_is_quoted_in_part():
    """A word of very many letters does not fill the page."""
    with pytest.raises(ProgramError) as caught:
        parse_span("x" * 200)
    assert caught.value.found == "x" * 39 + "…"
    with pytest.raises(ProgramError) as caught:
        parse_span("x" * 40)
    assert caught.value.found == "x" * 40


@settings(deadline=None)
@given(st.text(alphabet="dusk to midnight for at most while dark,+-:0123456789hm\t", max_size=40))
def test_any_text_is_read_or_refused_inside_itself(text):
    """No text raises anything but the language's own error, and its column lies in the text."""
    outcome = outcome_of(parse_span, text)
    if isinstance(outcome, ProgramError):
        assert 1 <= outcome.column <= len(text) + 1
        assert text[outcome.column - 1 :].startswith(outcome.found.removesuffix("…"))
    else:
        assert parse_span(str(outcome)) == outcome


def test_a_program_is_the_list_of_its_spans():
    """Several texts give their spans in order; none gives none."""
    assert [str(span) for span in parse_program(["dusk to 22:00", "05:30 to dawn"])] == [
        "dusk to 22:00",
        "05:30 to dawn",
    ]
    assert parse_program([]) == ()


@settings(deadline=None)
@given(durations)
def test_a_duration_alone_is_read_back(duration):
    """A duration's text gives the same duration."""
    assert parse_duration(str(duration)) == duration


def test_nothing_may_follow_a_duration_alone():
    """A second duration behind the first is refused at its column."""
    with pytest.raises(ProgramError) as caught:
        parse_duration("4h 45m 3h")
    assert (caught.value.column, caught.value.expected) == (8, "nothing more")


@pytest.mark.parametrize("read", [parse_span, parse_duration, parse_clock, parse_nights])
@pytest.mark.parametrize(
    "text",
    ["9" * 60_000 + ":00 to midnight", "dusk to midnight, " * 3000, " " * 60_000, "dusk to " + "x" * 193],
)
def test_a_text_that_is_too_long_is_not_looked_at(read, text):
    """What is longer than 200 characters is refused as that, at once, and quoted in part."""
    with pytest.raises(ProgramError) as caught:
        read(text)
    assert caught.value.column == 201
    assert caught.value.remedy == "write at most 200 characters (column 201)"
    assert len(str(caught.value)) < 200


def test_the_longest_text_is_read():
    """A span with everything in it, in words of any length that somebody may write, is far from the bound."""
    longest = "sunset - 1h30m to sunrise + 1h30m, at most 12h30m, while dark"
    assert str(parse_span(longest + " " * (200 - len(longest)))).startswith("sunset-1h30m to sunrise+1h30m")
