"""Positions: the place of every key and element, held against Python's own TOML reader."""

import tomllib

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from config.file.toml_positions import Positions
from config.phrase import Phrase
from config.validation.finding import suggest, write_path
from tests.config.toml_texts import documents, list_paths


def read_or_skip(text):
    """Plain values of a text; a text that tomllib refuses is of no use to the test at hand."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        assume(False)


@settings(deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
@given(documents())
def test_every_path_that_the_reader_knows_is_found_and_no_other(text):
    """The scanner and tomllib agree on what stands in a text, in any layout."""
    document = read_or_skip(text)
    assert set(Positions(text).offsets) == {path for path, _ in list_paths(document)}


@settings(deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
@given(documents())
def test_the_value_at_its_offsets_is_the_one_that_the_reader_has(text):
    """Cutting a value out of the text at its offsets and reading it alone gives the same value."""
    document = read_or_skip(text)
    offsets = Positions(text).offsets
    for path, value in list_paths(document):
        if offsets[path].has_value:
            _, start, end = offsets[path]
            assert repr(tomllib.loads("key = " + text[start:end])["key"]) == repr(value)


@settings(deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
@given(documents(), st.data())
def test_a_line_is_the_line_at_which_cutting_the_text_loses_the_value(text, data):
    """A text cut before the line that is named no longer has the value written there."""
    document = read_or_skip(text)
    positions = Positions(text)
    # An element inside a value over several lines cannot be distinguished by cutting; the value's key can.
    inline = {path for path, place in positions.offsets.items() if place.has_value}
    written = [
        path
        for path, _ in list_paths(document)
        if path in inline and not any(path[:length] in inline for length in range(1, len(path)))
    ]
    assume(written)
    path = data.draw(st.sampled_from(written))
    line = positions.find(path).line
    lines = [each + "\n" for each in text.split("\n")]
    before, rest = "".join(lines[: line - 1]), "".join(lines[line - 1 :])
    assert path not in dict(list_paths(tomllib.loads(before)))
    assert Positions(before + "\n" + rest).find(path).line == line + 1


TEXT = """\
# a comment
[site]
name = "Tern Cottage"

[[zones]]
program = [
  "dusk to midnight",   # the evening

  "05:30 to dawn",
]
  [[zones.fixtures]]
  watts = 4
[tariff]
per_kwh = 0.290
[[zones]]
fixtures = [ { watts = 3 }, { watts = 5, "kind" = "spot" } ]
"""


@pytest.mark.parametrize(
    ("path", "line", "value"),
    [
        (("site",), 2, ""),
        (("site", "name"), 3, '"Tern Cottage"'),
        (("site", "latitude"), 2, ""),
        (("zones",), 5, ""),
        (("zones", 0), 5, ""),
        (("zones", 0, "program"), 6, '[ "dusk to midnight", # the evening "05:30 to dawn", ]'),
        (("zones", 0, "program", 0), 7, '"dusk to midnight"'),
        (("zones", 0, "program", 1), 9, '"05:30 to dawn"'),
        (("zones", 0, "fixtures", 0, "watts"), 12, "4"),
        (("zones", 0, "fixtures", 0, "count"), 11, ""),
        (("tariff", "per_kwh"), 14, "0.290"),
        (("zones", 1), 15, ""),
        (("zones", 1, "pin"), 15, ""),
        (("zones", 1, "fixtures", 1, "kind"), 16, '"spot"'),
        (("zones", 1, "fixtures", 1, "count"), 16, ""),
        (("clock", "believe"), 0, ""),
    ],
)
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_a_place_has_its_line_and_its_value_as_written(path, line, value, line_end):
    """Keys, elements, tables out of order and missing keys are found, with either end of line."""
    place = Positions(TEXT.replace("\n", line_end)).find(path)
    assert (place.line, place.value) == (line, value)


def test_a_long_value_is_shortened():
    """A value over sixty characters is quoted in part."""
    assert Positions(f'a = "{"x" * 99}"').find(("a",)).value == '"' + "x" * 58 + "…"


@pytest.mark.parametrize(
    ("path", "text"),
    [
        (("zones", 1, "fixtures", 0, "watts"), "zones[2].fixtures[1].watts"),
        (("site",), "site"),
        (("a b", 'c"d'), '"a b"."c\\"d"'),
        ((), ""),
    ],
)
def test_a_path_is_written_as_a_person_counts(path, text):
    """List places begin with 1, and a key with a blank is quoted."""
    assert write_path(path) == text


@pytest.mark.parametrize(
    ("word", "hint"), [("Watt", "did you mean “watts”? "), ("WATTS", "did you mean “watts”? "), ("pin", "")]
)
def test_a_word_like_a_known_one_is_suggested(word, hint):
    """A slip of the finger and capitals are caught, and a word unlike any other suggests nothing."""
    assert suggest(word, ["watts", "count"], Phrase("leave it out")) == f"{hint}leave it out"
