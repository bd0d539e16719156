"""Values put into a written list and taken out of it: the layout and every comment stay."""

from __future__ import annotations

import tomllib

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from config.file.toml_editor import TomlEditor

LINES = """\
a = [
  # before x
  "x",  # of x
  # before y
  'y',  # of y
]  # of a
"""
SHORT = "a = [ 'x', 'y' ]  # of a\n"
BROKEN = """\
a = [ "x", # of x
      "y" ]
"""


@pytest.mark.parametrize(
    ("text", "values", "after"),
    [
        (LINES, ["x", "z"], LINES.replace("'y'", '"z"')),
        (LINES, ["x"], LINES.replace("  'y',  # of y", "  # of y")),
        (LINES, ["y"], LINES.replace('  "x",  # of x', "  # of x")),
        (LINES, [], LINES.replace('"x",  ', "").replace("'y',  ", "")),
        (LINES, ["x", "y", "z"], LINES.replace("# of y", '# of y\n  "z",')),
        (LINES, ["x", "z", "y"], LINES.replace("# of x", '# of x\n  "z",')),
        (LINES, ["z", "x", "y"], LINES.replace("a = [", 'a = [\n  "z",')),
        (SHORT, ["x"], "a = [ 'x' ]  # of a\n"),
        (SHORT, ["y"], "a = [ 'y' ]  # of a\n"),
        (SHORT, [], "a = [ ]  # of a\n"),
        (SHORT, ["x", "y", "z"], "a = [ 'x', 'y', \"z\" ]  # of a\n"),
        (SHORT, ["x", "z", "y"], "a = [ 'x', \"z\", 'y' ]  # of a\n"),
        (SHORT, ["z", "x", "y"], "a = [ \"z\", 'x', 'y' ]  # of a\n"),
        (BROKEN, ["x"], 'a = [ "x" # of x\n      ]\n'),
        (BROKEN, ["y"], 'a = [ # of x\n      "y" ]\n'),
        (BROKEN, ["x", "y", "z"], BROKEN.replace('"y"', '"y",\n      "z"')),
        (BROKEN, ["x", "z", "y"], BROKEN.replace("# of x", '# of x\n      "z",')),
        (BROKEN, ["z", "x", "y"], BROKEN.replace('"x"', '"z", "x"')),
        ("a = []\n", ["x", "y"], 'a = ["x", "y"]\n'),
        ("a = [\n]\n", ["x"], 'a = ["x"]\n'),
        ("  a = [ # none yet\n  ]\n", ["x", "y"], '  a = [ # none yet\n    "x",\n    "y",\n  ]\n'),
        ('a = [\n  "x" # of x\n]\n', ["x", "y"], 'a = [\n  "x", # of x\n  "y"\n]\n'),
        ('a = [\n  "x" # of x\n  , "y"]\n', ["y"], 'a = [\n  # of x\n   "y"]\n'),
        ('a = ["x", "y",]\n', ["x"], 'a = ["x",]\n'),
        ('a = [[ # in x\n "x"], ["y"]] # of a\n', [["y"]], '# in x\na = [["y"]] # of a\n'),
        ('a = [[ # in x\n "x"], ["y"]]\n', [["x", "z"], ["y"]], 'a = [[ # in x\n "x",\n "z"], ["y"]]\n'),
        ("a = [{ b = [ # in b\n 1] }]\n", [{"b": [2]}], "a = [{ b = [ # in b\n 2] }]\n"),
        ("a = [{ b = [ # in b\n 1], c = 1 }]\n", [{"c": 1}], "# in b\na = [{ c = 1 }]\n"),
        ("a = [{ b = [ # in b\n 1] }]\n", [{"c": 1}], "# in b\na = [{ c = 1 }]\n"),
    ],
)
def test_a_list_is_changed_where_it_differs(text, values, after):
    """What stays is not rewritten; a line of its own, a comma at the end, a comment stay as they were."""
    for line_end in ("\n", "\r\n"):
        editor = TomlEditor(text.replace("\n", line_end))
        editor.put(("a",), values)
        assert editor.text == after.replace("\n", line_end)
        assert editor.is_consistent
        assert editor.values == {"a": values}


gaps = st.sampled_from(["", " ", "\n", "\n  ", " # one ]\n", '\n# two, "\n  ', " # three\n# four\n"])
elements = st.sampled_from(['"x"', "'y'", "1", "[ 1, 2 ]", '"""z\n  """', "{ b = 1 }", '"#"'])


@st.composite
def lists(draw):
    """A list with blanks, ends of lines and comments wherever TOML allows them."""
    text = "".join(f"{draw(gaps)}{each}{draw(gaps)}," for each in draw(st.lists(elements, max_size=4)))
    return f"a = [{text[:-1] if draw(st.booleans()) else text}{draw(gaps)}]  # of a\n"


@given(lists(), st.lists(st.sampled_from(["x", "y", 1, [1, 2], [1], "z\n  ", {"b": 1}, "new"]), max_size=4))
def test_any_list_becomes_any_other(text, values):
    """Two readers find what was asked for, and no comment is gone."""
    editor = TomlEditor(text)
    editor.put(("a",), values)
    assert tomllib.loads(editor.text) == {"a": values} == tomlkit.parse(editor.text).unwrap()
    assert editor.is_consistent
    for comment in ("# one ]", '# two, "', "# three", "# four", "# of a"):
        assert editor.text.count(comment) == text.count(comment)
