"""Drafts: a change of one value leaves every other character where it was, in any layout."""

import tomllib
from datetime import date, datetime, time
from decimal import Decimal

import pytest
import tomlkit
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from config.file.toml_editor import LayoutError, TomlEditor, write_value
from config.file.toml_positions import Positions
from tests.config.toml_texts import documents, list_paths

plain = st.recursive(
    st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.decimals(allow_nan=False, allow_infinity=False, min_value=-1000, max_value=1000, places=2)
    | st.text(max_size=12)
    | st.dates()
    | st.times()
    | st.datetimes(),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(min_size=1, max_size=5), inner, max_size=3)
    ),
    max_leaves=6,
)


@settings(deadline=None)
@given(plain)
def test_a_written_value_is_read_back_by_two_readers(value):
    """What is written as TOML means the same to Python's reader and to another one."""
    text = f"key = {write_value(value)}\n"
    assert tomllib.loads(text, parse_float=Decimal)["key"] == value
    tomlkit.parse(text)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "true"),
        ("dusk to midnight", '"dusk to midnight"'),
        ('say "when"\n\x7f', '"say \\"when\\"\\n\\u007f"'),
        (["a", 1], '["a", 1]'),
        ({"nights": "Fri", "a b": []}, '{ nights = "Fri", "a b" = [] }'),
        ({"\x7f": 1}, '{ "\\u007f" = 1 }'),
        ({}, "{}"),
        (4.5, "4.5"),
        (Decimal("0.290"), "0.290"),
        (float("nan"), "nan"),
        (date(2027, 4, 15), "2027-04-15"),
        (datetime(2027, 4, 15, 12), "2027-04-15T12:00:00"),  # noqa: DTZ001 (TOML's own local time)
        (time(7, 30), "07:30:00"),
    ],
)
def test_a_value_is_written_as_a_person_would(value, text):
    """Values are written in one line and in TOML's usual form."""
    assert write_value(value) == text


def test_what_toml_cannot_write_is_refused():
    """None has no form in TOML."""
    with pytest.raises(TypeError, match="TOML has no way to write None"):
        write_value(None)


@settings(deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
@given(documents(), st.data())
def test_putting_a_value_changes_nothing_else(text, data):
    """Before its line and behind it every character stays, every comment too, and the text means it."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        assume(False)
    offsets = Positions(text).offsets
    written = [path for path, _ in list_paths(document) if offsets[path].has_value]
    assume(written)
    path = data.draw(st.sampled_from(written))
    value = data.draw(st.sampled_from(["dusk to dawn", ["a", "b # c"], 7, True, []]))
    editor = TomlEditor(text)
    editor.put(path, value)
    _, start, end = offsets[path]
    if "#" in text[start:end] or isinstance(value, list):
        top = next(offsets[path[:length]] for length in range(1, 9) if offsets[path[:length]].has_value)
        assert editor.text.startswith(text[: text.rfind("\n", 0, top.start) + 1])
        assert editor.text.endswith(text[end:])
    else:
        assert editor.text == text[:start] + write_value(value) + text[end:]
    assert editor.get(path) == value
    # nan is not equal to itself, so a text that has one can never be shown to be consistent.
    if "nan" not in text:
        assert editor.is_consistent


@pytest.mark.parametrize(
    ("text", "path", "after"),
    [
        ("[a]\nx = 1  # one\n\n[b]\n", ("a", "k"), "[a]\nx = 1  # one\nk = 2\n\n[b]\n"),
        ("  [a]\n[b]\n", ("a", "k"), "  [a]\n  k = 2\n[b]\n"),
        ("[a]", ("a", "k"), "[a]\nk = 2"),
        ("[a]\r\nx = 1\r\n[b]\r\n", ("a", "k"), "[a]\r\nx = 1\r\nk = 2\r\n[b]\r\n"),
        ("a = { x = 1 }  # c\n", ("a", "k"), "a = { x = 1, k = 2 }  # c\n"),
        ("a = [{ x = 1 }]\n", ("a", 0, "k"), "a = [{ x = 1, k = 2 }]\n"),
        ("[[a]]\nx = 1\n[[a]]\n", ("a", 1, "k"), "[[a]]\nx = 1\n[[a]]\nk = 2\n"),
    ],
)
def test_a_new_key_goes_behind_the_last_one_of_its_table(text, path, after):
    """A key that is not there yet finds its table, its line end and its blanks."""
    editor = TomlEditor(text)
    editor.put(path, 2)
    assert editor.text == after
    assert editor.is_consistent


def test_a_new_table_goes_behind_its_like_and_is_set_in_like_it():
    """The next table of a list follows the last one, before what comes after."""
    editor = TomlEditor("[[z]]\n  [[z.n]]\n  a = 1 # one\n\n  [[z.f]]\n  b = 1\n")
    editor.insert_table(("z", 0, "n", 1), {"a": 2})
    assert editor.text == "[[z]]\n  [[z.n]]\n  a = 1 # one\n\n  [[z.n]]\n  a = 2\n\n  [[z.f]]\n  b = 1\n"
    assert editor.is_consistent


def test_the_first_table_of_a_list_goes_behind_the_keys_of_its_parent():
    """It is set in as the tables beside it are, or one step where there are none; a comment is not parted."""
    editor = TomlEditor("[[z]]\nx = 1\n\n    [[z.f]]\n    b = 1\n[[z]]\ny = 1\n# of y\n")
    editor.insert_table(("z", 0, "n", 0), {"a": 2})
    editor.insert_table(("z", 1, "n", 0), {"a": 3})
    assert editor.text == (
        "[[z]]\nx = 1\n\n    [[z.n]]\n    a = 2\n\n    [[z.f]]\n    b = 1\n"
        "[[z]]\ny = 1\n# of y\n\n  [[z.n]]\n  a = 3\n"
    )
    assert editor.is_consistent


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize(
    ("text", "after"),
    [
        (  # the comment before the next heading belongs to that heading
            "[[z]]\n# before\n[[z.n]]\na = 1\n\n# the next zone\n[[z]]\nb = 1\n",
            "[[z]]\n# before\n\n# the next zone\n[[z]]\nb = 1\n",
        ),
        (
            "[[z]]\n  # before\n  [[z.n]]  # one\n  # two\n  a = [ # three\n    1 ] # four\n[[z]]\nb = 1\n",
            "[[z]]\n  # before\n  # one\n  # two\n  # three\n  # four\n\n[[z]]\nb = 1\n",
        ),
        ("[[z]]\n[[z.n]]\na = 1 # last\n[[z]]\nb = 1", "[[z]]\n# last\n\n[[z]]\nb = 1"),
        ("[[z]]\n\n[[z.n]]\na = 1\n# after\n\n[[z]]\nb = 1\n", "[[z]]\n\n# after\n\n[[z]]\nb = 1\n"),
    ],
)
def test_a_table_is_taken_out_and_its_comments_stay(text, after, line_end):
    """Each gets a line in the place of the table, apart from what follows."""
    editor = TomlEditor(text.replace("\n", line_end))
    editor.remove_table(("z", 0, "n", 0))
    assert editor.text == after.replace("\n", line_end)
    assert editor.values == {"z": [{}, {"b": 1}]}
    assert editor.is_consistent


def test_a_table_is_inserted_before_another_and_parts_it_from_no_comment():
    """Comments right behind a table stay behind it, those right before the next one before that."""
    text = "[[z]]\n[[z.n]]\na = 1\n# of 1\n\n# of 3\n[[z.n]]\na = 3\n# of f\n[[z.f]]\n"
    editor = TomlEditor(text)
    editor.insert_table(("z", 0, "n", 1), {"a": 2})
    assert editor.text == text.replace("# of 1\n", "# of 1\n\n[[z.n]]\na = 2\n")
    editor.insert_table(("z", 0, "n", 3), {"a": 4})
    assert editor.text.endswith("[[z.n]]\na = 3\n\n[[z.n]]\na = 4\n# of f\n[[z.f]]\n")
    editor.insert_table(("z", 0, "n", 0), {"a": 0})
    assert editor.text.startswith("[[z]]\n\n[[z.n]]\na = 0\n[[z.n]]\na = 1\n")
    assert editor.is_consistent


def test_one_blank_line_is_enough_where_a_table_was():
    """Of two blank lines around a table one goes with it."""
    editor = TomlEditor("[[z]]\nx = 1\n\n[[z.n]]\na = 1\n\n[[z.n]]\na = 2\n")
    editor.remove_table(("z", 0, "n", 0))
    assert editor.text == "[[z]]\nx = 1\n\n[[z.n]]\na = 2\n"
    assert editor.is_consistent


@pytest.mark.parametrize(
    ("text", "change", "words"),
    [
        ("[a]\nx = 1\n", lambda editor: editor.put(("a",), 1), "a is a table with a heading"),
        ("a = {}\n", lambda editor: editor.put(("a", "k"), 1), "a is an empty table in braces"),
        ("a = [{ x = 1 }]\n", lambda editor: editor.remove_table(("a", 0)), r"a\[1\] has no heading"),
        ("[[a]]\n", lambda editor: editor.remove_table(("a", 1)), r"a\[2\] has no heading"),
        ("[a]\n", lambda editor: editor.put(("b", "k"), 1), "there is no table b"),
        ("[a]\n", lambda editor: editor.insert_table(("b", "k", 0), {}), "there is no table b"),
    ],
)
def test_a_layout_that_cannot_be_edited_is_refused(text, change, words):
    """What this editor does not do, it says."""
    editor = TomlEditor(text)
    with pytest.raises(LayoutError, match=words):
        change(editor)
    assert editor.text == text


def test_a_slip_is_noticed_by_reading_the_text_again():
    """A key added to a table that is written with dots lands elsewhere, and the editor knows."""
    editor = TomlEditor("a.x = 1\n")
    editor.put(("a", "k"), 2)
    assert editor.values == {"a": {"x": 1, "k": 2}}
    assert not editor.is_consistent
    editor.text = "not toml"
    assert not editor.is_consistent


def test_a_comment_that_is_gone_is_noticed_too():
    """The same values with one of two equal comments less are not what was asked for."""
    editor = TomlEditor("a = 1  # why\nb = 2  # why\n")
    assert editor.is_consistent
    editor.text = "a = 1  # why\nb = 2\n"
    assert not editor.is_consistent


def test_a_path_that_leads_nowhere_has_nothing():
    """Looking for what is not there finds None."""
    editor = TomlEditor("a = [1]\n")
    assert editor.get(("a", 0)) == 1
    assert [editor.get(path) for path in (("b",), ("a", 1), ("a", "x"), ("a", 0, "x"))] == [None] * 4
