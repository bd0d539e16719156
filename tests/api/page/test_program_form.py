"""The form of a program: what is filled in, and what it means."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.page.programs.form import EdgeBlanks, draft_of, draft_of_span, read_draft
from config.models.site import SpecialNight
from config.program.parser import parse_program, parse_span
from config.program.special_nights import parse_nights
from tests.config.strategies import nights, spans

programs = st.tuples(
    st.lists(spans, max_size=3).map(tuple),
    st.lists(
        st.builds(SpecialNight, nights=nights, program=st.lists(spans, max_size=2).map(tuple)), max_size=3
    ).map(tuple),
)


def program(*texts):
    return parse_program(texts), ()


def fields_of(draft):
    return {name: value for name, value in draft.fields() if value or not name.endswith("while-dark")}


@given(programs)
def test_a_program_goes_through_the_form_unchanged(wanted):
    """Whatever the language can say stands in the blanks, and is read from them as it was, to the letter."""
    fields = fields_of(draft_of(wanted))
    read = read_draft(fields)
    assert read.program == wanted
    assert [str(span) for span in read.program[0]] == [str(span) for span in wanted[0]]
    assert [str(each.nights) for each in read.program[1]] == [str(each.nights) for each in wanted[1]]
    assert not read.is_unclear


@given(spans, spans)
def test_the_sentence_and_the_line_say_the_same(present, wanted):
    """Filling in the sentence alone, or the line alone, gives the same text; either may be changed."""
    before, after = draft_of_span(present), draft_of_span(wanted)
    by_sentence = replace(after, text=before.text, was=before.was)
    by_line = replace(before, text=str(wanted))
    for filled in (by_sentence, by_line):
        draft = replace(draft_of(((), ())).parts[0], spans=(filled,))
        read = read_draft(fields_of(replace(draft_of(((), ())), parts=(draft,))))
        assert read.program == ((wanted,), ())
        assert read.parts[0].spans[0].text == str(wanted)
        assert not read.is_unclear


def read_one(**changed):
    """Fill in the form of “dusk to midnight” in another way, and read its only span."""
    fields = fields_of(draft_of(program("dusk to midnight")))
    fields.update({f"p0s0-{name.replace('_', '-')}": value for name, value in changed.items()})
    return read_draft(fields).parts[0].spans[0]


@pytest.mark.parametrize(
    ("filled", "text"),
    [
        ({"end": "time", "end_at": "23:30"}, "dusk to 23:30"),
        ({"end": "for", "lasts": "4h"}, "dusk for 4h"),
        ({"begin": "time", "begin_at": "05:30", "end": "dawn"}, "05:30 to dawn"),
        ({"begin": "time", "begin_at": "21:15", "end": "time", "end_at": "23:45"}, "21:15 to 23:45"),
        ({"begin": "sunset", "begin_shift": "+", "begin_by": "20m"}, "sunset+20m to midnight"),
        ({"end": "dawn", "end_shift": "-", "end_by": "1h", "at_most": "6h"}, "dusk to dawn-1h, at most 6h"),
        ({"while_dark": "yes"}, "dusk to midnight, while dark"),
        # What a choice has no use for is not heard.
        ({"end": "for", "lasts": "4h", "at_most": "6h", "end_shift": "+"}, "dusk for 4h"),
        ({"end_shift": "+", "end_by": "20m", "end_at": "22:00"}, "dusk to midnight"),
    ],
)
def test_blanks_make_a_line(filled, text):
    """Each sentence of the trade, filled in, is one line of the language."""
    assert str(read_one(**filled).span) == text


def test_a_mistake_in_the_line_keeps_everything_as_typed():
    """The sentence, the line and what was wrong with it stay; the column is that of the parser."""
    read = read_one(text="dusk til late", at_most="6h")
    assert read.span is None
    assert (read.text, read.at_most, read.begins.kind) == ("dusk til late", "6h", "dusk")
    assert (read.mistake.column, read.mistake.found) == (6, "til")
    assert read.was == "dusk to midnight"


def test_a_time_that_is_left_out_is_asked_for():
    """It is no mistake of the language, but a blank that is empty."""
    read = read_one(end="time", end_at="")
    assert read.span is None
    assert read.lacks_time
    assert not read_one(text="dusk to").lacks_time


def test_where_sentence_and_line_were_both_changed_the_line_counts_after_a_look():
    """Two different changes are not saved unseen; the same one twice is."""
    read = read_one(end="time", end_at="23:00", text="dusk to 22:00")
    assert (str(read.span), read.both) == ("dusk to 22:00", True)
    assert read.ends == EdgeBlanks(kind="time", at="22:00")
    assert not read_one(end="time", end_at="22:00", text="dusk to 22:00").both


def special(draft, **changed):
    fields = fields_of(draft)
    fields.update({f"p1-{name.replace('_', '-')}": value for name, value in changed.items()})
    return read_draft(fields).parts[1].nights


@pytest.mark.parametrize(
    ("filled", "text"),
    [
        ({"day2": "yes"}, "Wed, Fri, Sat"),
        ({"nights": "date", "date": "2027-12-31"}, "2027-12-31"),
        ({"nights": "stretch"}, "12-20 to 01-06"),
        ({"nights": "stretch", "first_month": "02", "first_day": "29"}, "02-29 to 01-06"),
    ],
)
def test_special_nights_are_filled_in(filled, text):
    """Weekdays are ticked, a date and a part of the year chosen."""
    draft = draft_of(program("dusk to midnight")).after("nights")
    assert str(special(draft, **filled).nights) == text


def test_a_day_that_does_not_exist_is_a_mistake():
    """The 31st of November is refused by the language itself, and stays as chosen."""
    draft = draft_of(program("dusk to midnight")).after("nights")
    found = special(draft, nights="stretch", first_month="11", first_day="31")
    assert found.nights is None
    assert found.first == ("11", "31")
    assert "a day that exists" in found.mistake.expected


def test_the_order_of_days_in_the_file_is_kept():
    """Days that were written in another order than that of the week stay so until one changes."""
    wanted = ((), (SpecialNight(nights=parse_nights("Sat, Fri"), program=()),))
    assert str(special(draft_of(wanted)).nights) == "Sat, Fri"
    assert str(special(draft_of(wanted), day0="yes").nights) == "Mon, Fri, Sat"


def test_stretches_and_special_nights_come_and_go():
    """They are added, removed and moved by name and place."""
    draft = draft_of(program("dusk to midnight")).after("add-0")
    assert [str(span) for span in draft.program[0]] == ["dusk to midnight", "05:30 to dawn"]
    draft = draft.after("cut-0-0").after("nights").after("nights").after("cut-2-0")
    assert draft.program[0] == (parse_span("05:30 to dawn"),)
    assert [each.program for each in draft.program[1]] == [(parse_span("dusk to midnight"),), ()]
    draft = draft.after("up-2")
    assert [each.program for each in draft.program[1]] == [(), (parse_span("dusk to midnight"),)]
    assert len(draft.after("drop-1").program[1]) == 1


@pytest.mark.parametrize(
    "action", ["add-1", "cut-0-1", "cut-0", "drop-0", "up-1", "up-0", "dance", "", "add--1"]
)
def test_what_no_form_of_ours_sends_is_refused(action):
    """A place that is not there, or another word, changes nothing."""
    with pytest.raises(ValueError, match="load the page again"):
        draft_of(program("dusk to midnight")).after(action)


@given(
    st.dictionaries(
        st.from_regex(r"p[012](s[01])?-(text|was|begin|end|nights|date|day1)", fullmatch=True), st.text()
    )
)
def test_any_form_can_be_read(fields):
    """Whatever is sent, it is a program or has mistakes; nothing raises."""
    draft = read_draft(fields)
    mistakes = [span.mistake for part in draft.parts for span in part.spans]
    mistakes += [part.nights.mistake for part in draft.parts if part.nights is not None]
    assert (draft.program is None) == any(each is not None for each in mistakes)
