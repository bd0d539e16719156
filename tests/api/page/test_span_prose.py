"""Programs in words."""

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given

from api.page.span_prose import nights_prose, program_prose, span_prose
from api.render.words import LANGUAGES, Words
from config.program.parser import parse_program, parse_span
from config.program.special_nights import parse_nights
from tests.config.strategies import nights, spans

NEW_YORK = ZoneInfo("America/New_York")


@pytest.mark.parametrize(
    ("text", "british", "german"),
    [
        ("dusk to midnight", "from dusk until midnight", "von der Dämmerung bis Mitternacht"),
        ("dusk to 00:00", "from dusk until midnight", "von der Dämmerung bis Mitternacht"),
        ("dusk for 4h", "from dusk for 4 hours", "von der Dämmerung an 4 Stunden lang"),
        ("05:30 to dawn", "from 05:30 until dawn", "von 05:30 bis zum Morgengrauen"),
        (
            "sunset+20m to 23:30",
            "from 20 minutes after sunset until 23:30",
            "von 20 Minuten nach Sonnenuntergang bis 23:30",
        ),
        (
            "dusk to sunrise-1h, at most 1h5m",
            "from dusk until 1 hour before sunrise, at most 1 hour 5 minutes",
            "von der Dämmerung bis 1 Stunde vor Sonnenaufgang, höchstens 1 Stunde 5 Minuten",
        ),
        (
            "21:00 for 1h, while dark",
            "from 21:00 for 1 hour, while it is dark",
            "von 21:00 an 1 Stunde lang, solange es dunkel ist",
        ),
    ],
)
def test_a_span_is_said_as_a_person_says_it(text, british, german):
    """In both languages, with the offset before the moment of the sun."""
    span = parse_span(text)
    assert span_prose(span, Words("en-GB", NEW_YORK)) == british
    assert span_prose(span, Words("de", NEW_YORK)) == german


def test_times_are_written_as_where_the_browser_is():
    """An American reads twelve hours."""
    assert span_prose(parse_span("21:15 to 23:45"), Words("en-US", NEW_YORK)) == (
        "from 9:15\N{NO-BREAK SPACE}PM until 11:45\N{NO-BREAK SPACE}PM"
    )


def test_several_spans_and_none():
    """They are joined; none is dark."""
    words = Words("en-GB", NEW_YORK)
    program = parse_program(["dusk to 23:00", "05:30 to dawn"])
    assert program_prose(program, words) == "from dusk until 23:00, and from 05:30 until dawn"
    assert program_prose((), words) == "dark"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Fri, Sat, Sun", "on Friday, Saturday and Sunday"),
        ("2027-12-31", "on Friday 31 December 2027"),
        ("12-20 to 01-06", "from 20 December to 6 January of every year"),
        ("02-29 to 02-29", "on 29 February of every year"),
    ],
)
def test_special_nights_are_said(text, said):
    """Weekdays by their names, dates as they are written there."""
    assert nights_prose(parse_nights(text), Words("en-GB", NEW_YORK)) == said


@given(spans, nights)
def test_everything_in_the_language_can_be_said(span, condition):
    """No span and no condition is without words, in any language; different edges sound different."""
    for language in LANGUAGES:
        words = Words(language, NEW_YORK)
        for said in (span_prose(span, words), nights_prose(condition, words)):
            assert said.strip() == said
            assert "%" not in said
