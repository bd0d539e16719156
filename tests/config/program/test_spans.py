"""The values of the program language: what they refuse, and what they know of themselves."""

import re

import pytest

from config.program.parser import parse_span
from config.program.spans import ClockEdge, Duration, Span, SunEdge, SunEvent


@pytest.mark.parametrize(
    ("hours", "minutes", "seconds"),
    [(4, 0, 14_400), (0, 45, 2_700), (1, 30, 5_400), (0, 90, 5_400), (24, 0, 86_400)],
)
def test_a_duration_knows_its_seconds(hours, minutes, seconds):
    """Hours and minutes as written become seconds."""
    assert Duration(hours=hours, minutes=minutes).seconds == seconds


def test_ninety_minutes_are_written_as_they_were():
    """A person who wrote 90m finds 90m again, and who wrote 1h30m finds that."""
    assert str(Duration(minutes=90)) == "90m"
    assert str(Duration(hours=1, minutes=30)) == "1h30m"


@pytest.mark.parametrize(
    ("hours", "minutes", "message"),
    [
        (0, 0, "a duration is longer than nothing and at most 24h, got 0h0m"),
        (-1, 90, "a duration is longer than nothing and at most 24h, got -1h90m"),
        (24, 1, "a duration is longer than nothing and at most 24h, got 24h1m"),
        (0, 1441, "a duration is longer than nothing and at most 24h, got 0h1441m"),
        (1, 60, "beside hours there are at most 59 minutes, got 1h60m"),
    ],
)
def test_a_duration_refuses_what_is_none(hours, minutes, message):
    """Nothing, more than a day, and sixty minutes beside an hour are refused and quoted."""
    with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
        Duration(hours=hours, minutes=minutes)


@pytest.mark.parametrize(("text", "offset_s"), [("sunset+20m", 1200), ("dawn-1h30m", -5400), ("dusk", 0)])
def test_an_offset_has_a_sign(text, offset_s):
    """An offset before the event is negative, and none is nought."""
    begins = parse_span(f"{text} to midnight").begins
    assert isinstance(begins, SunEdge)
    assert begins.offset_s == offset_s


@pytest.mark.parametrize(
    ("hour", "minute", "minutes"), [(12, 0, 0), (23, 59, 719), (0, 0, 720), (11, 59, 1439)]
)
def test_a_clock_time_has_its_place_between_noon_and_noon(hour, minute, minutes):
    """A night begins at 12:00 and ends with 11:59."""
    assert ClockEdge(hour=hour, minute=minute).minutes_after_noon == minutes


@pytest.mark.parametrize(
    ("text", "never"),
    [
        ("21:15 to 23:45", False),
        ("23:45 to 21:15", True),
        ("21:15 to 21:15", True),
        ("23:00 to 01:00", False),
        ("01:00 to 23:00", True),
        ("11:59 to 12:00", True),
        ("12:00 to 11:59", False),
        ("08:00 to 17:00", True),
        ("midnight to 00:00", True),
        ("22:00 to midnight", False),
        ("dusk to 12:00", True),
        ("dusk to 22:00", False),
        ("22:00 to dusk", False),
        ("dawn to dusk", False),
        ("12:00 for 1m", False),
    ],
)
def test_the_clock_alone_shows_which_spans_never_light(text, never):
    """An end at or before the beginning, in the order from noon to noon, gives no light on any night."""
    assert parse_span(text).never_lights is never


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: ClockEdge(hour=24, minute=0), "a clock time is 00:00 to 23:59, got 24:0"),
        (lambda: ClockEdge(hour=0, minute=60), "a clock time is 00:00 to 23:59, got 0:60"),
        (lambda: ClockEdge(hour=0, minute=1, written_midnight=True), "midnight is 00:00, got 0:1"),
        (lambda: SunEdge(event=SunEvent.DUSK, before=True), "“before” needs an offset: dusk"),
        (lambda: Span(begins=ClockEdge(hour=1, minute=0)), "a span has either an end or a length"),
        (
            lambda: Span(
                begins=ClockEdge(hour=1, minute=0),
                ends=ClockEdge(hour=2, minute=0),
                lasts=Duration(hours=1),
            ),
            "a span has either an end or a length",
        ),
        (
            lambda: Span(
                begins=ClockEdge(hour=1, minute=0), lasts=Duration(hours=1), at_most=Duration(hours=1)
            ),
            "a span that lasts a given time needs no longest time",
        ),
    ],
)
def test_a_value_that_makes_no_sense_cannot_be_made(make, message):
    """Each value refuses what contradicts itself and quotes it."""
    with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
        make()
