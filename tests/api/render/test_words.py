"""The language and customs that a browser asks for."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from babel import Locale, localedata

from api.render.words import Words, choose_language
from config.phrase import Phrase
from controller.calendar.periods import parse_period

NEW_YORK = ZoneInfo("America/New_York")


@pytest.mark.parametrize(
    ("accept", "tag"),
    [
        ("", "en"),
        ("en-GB,en;q=0.9", "en-GB"),
        ("de-AT, en;q=0.5", "de-AT"),
        ("fr-FR, de;q=0.3, en;q=0.2", "de"),
        ("fr", "en"),
        ("en;q=0, de", "de"),
        ("EN-us", "en-US"),
        ("*;q=0.5, de;q=x, ,;;, en-", "en"),
    ],
)
def test_the_browsers_languages_decide(accept, tag):
    """Of our languages the one that the browser likes best is chosen (RFC 9110, section 12.5.4)."""
    assert choose_language(accept) == tag


def test_what_a_person_chose_counts_for_more():
    """A choice on the page wins, and keeps the country that the browser names with that language."""
    assert choose_language("de-AT, en-AU;q=0.5", "en") == "en-AU"
    assert choose_language("de", "en") == "en"
    assert choose_language("de", "xx") == "de"


def countries():
    return [each[3:] for each in localedata.locale_identifiers() if each.startswith("en_") and len(each) == 5]


@pytest.mark.parametrize("country", countries())
def test_times_and_dates_are_written_as_in_the_country(country):
    """Twelve or 24 hours, and day or month first, as in Unicode CLDR for English there (by Babel)."""
    custom, words = Locale.parse(f"en_{country}"), Words(f"en-{country}", NEW_YORK)
    evening = words.clock(datetime(2027, 6, 22, 0, 56, tzinfo=UTC))
    assert evening == ("8:56\N{NO-BREAK SPACE}PM" if "h" in custom.time_formats["short"].pattern else "20:56")
    long = custom.date_formats["long"].pattern
    assert words.date(date(2027, 6, 21)) == ("June 21" if long.index("M") < long.index("d") else "21 June")


def test_german_is_written_as_in_german():
    """A date has its day first, with a point."""
    words = Words("de", ZoneInfo("Europe/Berlin"))
    assert words.day(date(2027, 3, 5)) == "Freitag, 5. März"
    assert words.clock(datetime(2027, 3, 5, 18, 4, tzinfo=UTC)) == "19:04"


@pytest.mark.parametrize(
    ("at", "said"),
    [
        ("2027-06-22T04:00:00Z", "midnight"),
        ("2027-06-21T13:00:00Z", "09:00"),
        ("2027-06-22T17:00:00Z", "13:00 tomorrow"),
        ("2027-06-20T13:00:00Z", "09:00 yesterday"),
        ("2027-06-25T01:00:00Z", "21:00 on Thursday"),
        ("2027-07-25T01:00:00Z", "21:00 on 24 July"),
    ],
)
def test_an_instant_is_said_with_its_day_where_that_is_needed(at, said):
    """In the night that is on the time is enough; else the day is named. Now it is Monday, 21:30."""
    now = datetime(2027, 6, 22, 1, 30, tzinfo=UTC)
    assert Words("en-GB", NEW_YORK).moment(datetime.fromisoformat(at), now) == said


@pytest.mark.parametrize(
    ("tag", "said"),
    [
        ("en-GB", "10 to 20 June 2027, due in July 2028: 1,234.5 h"),
        ("en-US", "June 10 to June 20, 2027, due in July 2028: 1,234.5 h"),
        ("de", "10. to 20. Juni 2027, due in Juli 2028: 1.234,5 h"),
    ],
)
def test_a_phrase_has_dates_and_numbers_of_the_language(tag, said):
    """Dates and numbers in what a deeper layer says are written as elsewhere on the page."""
    values = {"first": date(2027, 6, 10), "last": date(2027, 6, 20), "by": date(2028, 7, 1), "lasts": 1234.5}
    phrase = Phrase("{first:%d} to {last}, due in {by:%B %Y}: {lasts:,.1f} h", **values)
    assert Words(tag, NEW_YORK).say(phrase) == said


def test_words_that_speak_alike_are_equal():
    """A paper that is kept serves every browser that wants it written in the same way."""
    assert Words("en-GB", NEW_YORK) == Words("en-IE", NEW_YORK)
    assert hash(Words("de-AT", NEW_YORK)) == hash(Words("de", NEW_YORK))
    assert len({Words(tag, NEW_YORK) for tag in ("en", "en-GB", "en-AU", "de")}) == 4


@pytest.mark.parametrize(
    ("name", "latitude_deg", "english", "german"),
    [
        ("2027-winter", 50.0, "winter 2027/28", "Winter 2027/28"),
        ("2099-winter", 50.0, "winter 2099/00", "Winter 2099/00"),
        ("2027-summer", 50.0, "summer 2027", "Sommer 2027"),
        ("2027-summer", -50.0, "summer 2027/28", "Sommer 2027/28"),
        ("2027-06", 50.0, "June 2027", "Juni 2027"),
        ("2027", 50.0, "2027", "2027"),
        ("2027-06-05", 50.0, "5 June 2027", "5. Juni 2027"),
        ("2027-06-28 to 2027-07-03", 50.0, "28 June to 3 July 2027", "28. Juni bis 3. Juli 2027"),
    ],
)
def test_a_period_reads_well(name, latitude_deg, english, german):
    """A season that spans New Year is read with both its years, nights by their dates."""
    period = parse_period(name, NEW_YORK, latitude_deg=latitude_deg)
    assert Words("en-GB", NEW_YORK).period(period) == english
    assert Words("de", NEW_YORK).period(period) == german
