"""A sentence that can be said in another language: tests of config/phrase.py."""

import contextlib
import copy
import gettext
import io
import json
import pickle
import sqlite3
from datetime import date

import pytest
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo

from config.errors import JournalError, RelayError, UnknownZoneError
from config.phrase import Phrase, count_phrase, first_line, list_phrases


@pytest.fixture
def german() -> gettext.GNUTranslations:
    """Give a small catalogue, as gettext reads it."""
    catalog = Catalog(locale="de")
    catalog.add("zone “{zone}” gets {volts:.1f} V", "Zone „{zone}“ bekommt {volts:.1f} V")
    catalog.add(("{n} lamp at {volts} V", "{n} lamps at {volts} V"), ("{n} Lampe", "{n} Lampen"))
    catalog.add("too little", "zu wenig")
    catalog.add("{what}; write {remedy}", "{what}; schreibe {remedy}")
    file = io.BytesIO()
    write_mo(file, catalog)
    file.seek(0)
    return gettext.GNUTranslations(file)


def comma(number: str) -> str:
    """Write a number as in German."""
    return number.translate(str.maketrans(",.", ".,"))


def test_a_text_is_its_english_sentence() -> None:
    """A text equals, and is written as, the sentence that its template and values make."""
    text = Phrase("zone “{zone}” gets {volts:.1f} V", zone="jetty", volts=10.25)
    assert text == "zone “jetty” gets 10.2 V"
    assert isinstance(text, str)


def test_another_language_has_its_own_order_and_its_own_point(german: gettext.GNUTranslations) -> None:
    """A translated text has the same values, with its numbers written as the language does."""
    text = Phrase("zone “{zone}” gets {volts:.1f} V", zone="a.b", volts=1234.5)
    assert text.said_in(german, comma) == "Zone „a.b“ bekommt 1234,5 V"


@pytest.mark.parametrize(
    ("count", "english", "other"), [(1, "1 lamp at 9 V", "1 Lampe"), (3, "3 lamps at 9 V", "3 Lampen")]
)
def test_a_count_chooses_the_form(
    german: gettext.GNUTranslations, count: int, english: str, other: str
) -> None:
    """One lamp and three lamps have each their own form in each language."""
    text = count_phrase("{n} lamp at {volts} V", "{n} lamps at {volts} V", count, volts=9)
    assert text == english
    assert text.said_in(german) == other


def test_texts_within_a_text_are_translated_too(german: gettext.GNUTranslations) -> None:
    """A value that is a text is said in the same language; a plain one stays as it is typed."""
    text = Phrase("{what}; write {remedy}", what=Phrase("too little"), remedy="1.5 {x}")
    assert text == "too little; write 1.5 {x}"
    assert text.said_in(german, comma) == "zu wenig; schreibe 1.5 {x}"
    assert list_phrases([Phrase("too little"), "a"]).said_in(german) == "zu wenig, a"


def test_a_text_that_is_not_in_the_catalogue_stays_english(german: gettext.GNUTranslations) -> None:
    """What nobody translated is said in English."""
    assert Phrase("new: {n}", n=1).said_in(german) == "new: 1"


def test_a_copy_is_the_same_text(german: gettext.GNUTranslations) -> None:
    """A copied text can still be said in another language."""
    text = copy.deepcopy(count_phrase("{n} lamp at {volts} V", "{n} lamps at {volts} V", 2, volts=9))
    assert (text, text.said_in(german)) == ("2 lamps at 9 V", "2 Lampen")


@pytest.mark.parametrize(
    ("form", "english"),
    [("", "5 June 2027"), (":%d", "5"), (":%d %B", "5 June"), (":%B %Y", "June 2027")],
)
def test_a_date_is_written_by_the_language(german: gettext.GNUTranslations, form: str, english: str) -> None:
    """A date is written in English, a part of it by its form, and elsewhere as the language wants it."""
    text = Phrase(f"since {{day{form}}}", day=date(2027, 6, 5))
    assert text == f"since {english}"
    assert text.said_in(german, day=lambda day, of: f"{day:%d.%m.}{of}") == f"since 05.06.{form[1:]}"


def test_the_text_of_an_error_is_still_a_phrase(german: gettext.GNUTranslations) -> None:
    """What an error says can be said in another language, whatever kind of error it is."""
    said = Phrase("too little")
    for error in (ValueError(said), RelayError(said), JournalError(said), UnknownZoneError("a", ("b",))):
        assert isinstance(str(error), Phrase), type(error)
    found = str(RelayError(said))
    assert isinstance(found, Phrase)
    assert found.said_in(german) == "zu wenig"


def test_a_phrase_is_filled_in_later(german: gettext.GNUTranslations) -> None:
    """A value that is known only later replaces the one that stood for it."""
    text = Phrase("zone “{zone}” gets {volts:.1f} V", zone="", volts=9.5).fill(zone="oak")
    assert (text, text.said_in(german, comma)) == ("zone “oak” gets 9.5 V", "Zone „oak“ bekommt 9,5 V")


def test_the_first_of_several_lines_is_a_phrase(german: gettext.GNUTranslations) -> None:
    """Of phrases that are lines of a text, the first can be said alone; of any other text, it is its line."""
    first = first_line(list_phrases([Phrase("too little"), "a"], "\n"))
    assert isinstance(first, Phrase)
    assert first.said_in(german) == "zu wenig"
    assert (first_line("a\nb"), first_line(Phrase("too little"))) == ("a", "too little")


def test_a_phrase_is_a_text_wherever_one_is_wanted() -> None:
    """It is sorted, found, stored and sent as its English sentence, and a copy can be said too."""
    text = Phrase("{n} lamps", n=2)
    assert sorted(["3", text, "1"]) == ["1", "2 lamps", "3"]
    assert {text: 1}["2 lamps"] == 1
    assert json.loads(json.dumps({"said": text})) == {"said": "2 lamps"}
    with contextlib.closing(sqlite3.connect(":memory:")) as database:
        assert database.execute("SELECT ? || '!'", (text,)).fetchone() == ("2 lamps!",)
    again = pickle.loads(pickle.dumps(text))
    assert (again, again.template, again.values) == ("2 lamps", "{n} lamps", {"n": 2})
