"""What is reported about a text that is not TOML: the line, what is wrong there, the remedy."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.errors import SiteFileError
from config.file.loader import parse_site
from tests.config.site_texts import GOOD, problems_of
from tests.config.toml_texts import documents

NO_SLIP = [
    (
        "a = ?\n",
        1,
        "a value is not valid at column 5",
        "put text in quotes, and write true and false in small letters",
    ),
    ("x y\n", 1, "a key has no value at column 3", "write key = value on one line, no blank in the key"),
    ("name\n", 1, "a key has no value at column 5", "write key = value on one line, no blank in the key"),
    ("= 1\n", 1, "a line does not begin with a key at column 1", "begin it with a key, with [ or with #"),
    (
        "[]\n",
        1,
        "a key is missing or has a character that is not allowed at column 2",
        "use letters, digits, - and _ in a key",
    ),
    ("x = {a = 1, a = 2}\n", 1, "a key is given twice at column 18", "remove one of the two"),
    (
        "x = {a = 1}\n[x.b]\n",
        2,
        "a table is given twice at column 5",
        "write [[ ]] with two brackets for several",
    ),
    (
        "x = {a = {b = 1}, a.c = 2}\n",
        1,
        "a table is continued elsewhere at column 26",
        "write it in one place only",
    ),
    ("[a.b]\n[a]\nb.c = 1\n", 3, "a table is continued elsewhere at column 8", "write it in one place only"),
    ("[x\n", 1, "a heading has no closing bracket at column 3", "close it with ]"),
    ("[[x]\n", 1, "a heading has no closing brackets at column 4", "close it with ]]"),
    (
        "a = [1 2]\n",
        1,
        "a comma is missing at column 8",
        "put commas between the values of a list, ] at its end",
    ),
    (
        "a = {b = 1 c = 2}\n",
        1,
        "a comma is missing at column 12",
        "put commas between the keys in braces, } at their end",
    ),
    (
        "fitted = 2027-02-30\n",
        1,
        "a date does not exist at column 10",
        "write year-month-day of a day that exists",
    ),
    (
        "a = 1 # \u0001\n",
        1,
        "a comment or the end of a line has a control character at column 9",
        "remove it; only blanks and tabs are allowed there",
    ),
    ("a = " + "[" * 4900, 0, "brackets are nested too deep", "close the brackets that were opened"),
    (
        "a = 1e999999999999999999999999999999",
        0,
        "a number is too large or too small",
        "write an ordinary number such as 4.5",
    ),
    ("a = " + "9" * 4900, 0, "a number has too many digits", "write an ordinary number such as 4.5"),
]
SLIPS = [
    ("[site]\ntime_zone = Europe/London\n", 2, "“Europe/London” has no quotes", 'write "Europe/London"'),
    ("[site]\r\nname = Tern\r\n", 2, "“Tern” has no quotes", 'write "Tern"'),
    (
        "[site]\nname = “Old Mill”\n",
        2,
        "quotes are curly at column 8",
        'write straight quotes: name = "Old Mill"',
    ),
    ('name = "x\n', 1, '“"x” lacks one of its quotes', 'write "x"'),
    ("name = 'x\n", 1, "“'x” lacks one of its quotes", 'write "x"'),
    ('name = x"\n', 1, '“x"” lacks one of its quotes', 'write "x"'),
    (
        "name = 'Tern's Cottage'\n",
        1,
        "“'Tern's Cottage'” has ' inside its quotes",
        'write "Tern\'s Cottage"',
    ),
    (
        'name = "The "Old" Mill"\n',
        1,
        '“"The "Old" Mill"” has " inside its quotes',
        "write 'The \"Old\" Mill'",
    ),
    ('a = "C:\\path"\n', 1, '“"C:\\path"” has a backslash inside its quotes', "write 'C:\\path'"),
    ('a = "\\u12"\n', 1, '“"\\u12"” has a backslash inside its quotes', "write '\\u12'"),
    ("[site]\npin = 017\n", 2, "“017” is not a number", "write 17, without the leading 0"),
    ("latitude = 48,2310\n", 1, "“48,2310” is not a number", "write 48.2310 with a point"),
    ("lat = -48,2310 # south\n", 1, "“-48,2310” is not a number", "write -48.2310 with a point"),
    ("per_kwh = 0,31\n", 1, "“0,31” is not a number", "write 0.31 with a point"),
    (
        "latitude = 48.2310 N\n",
        1,
        "“48.2310 N” is not a number",
        "write 48.2310, without the letter: north is positive",
    ),
    ("watts = 3W\r\n", 1, "“3W” is not a number", "write 3, without a unit"),
    ("watts = 4.5 VA\n", 1, "“4.5 VA” is not a number", "write 4.5, without a unit"),
    ("pin = 3 4\n", 1, "“3 4” is not a number", "write the BCM number of a header pin, 2 to 27"),
    ("active_high = True\n", 1, "“True” is not true or false", "write true"),
    ("high = FALSE\n", 1, "“FALSE” is not true or false", "write false"),
    ("time zone = 1\n", 1, "“time zone” is a key with a blank in it", "write time_zone = 1"),
    ("latitude: 48\n", 1, "“latitude: 48” has no single = between key and value", "write latitude = 48"),
    (
        "[site]\n# two\n[site]\n",
        3,
        "[site] is given twice, first on line 1",
        "put all its keys under one of them",
    ),
    (
        "[[zones]]\npin = 3\n[zones]\n",
        3,
        "[zones] is given twice, first on line 1",
        "write [[zones]] each time",
    ),
    ("a = 1\na = 2\n", 2, "“a” is given twice, first on line 1", "remove one of the two"),
    ("[site\n", 1, "a heading lacks a bracket, or has one too many", "write [site]"),
    ("[[zones]\n", 1, "a heading lacks a bracket, or has one too many", "write [[zones]]"),
    ("[zones.fixtures]]\n", 1, "a heading lacks a bracket, or has one too many", "write [[zones.fixtures]]"),
    ("a = [1, 2\n\n", 1, "the list that begins at column 5 is not closed", "write ] at its end"),
    ("a = [1,\n2\n[[zones]]\n", 1, "the list that begins at column 5 is not closed", "write ] at its end"),
    (
        'program = [\n  "dusk to 22:00",\npin = 17\n',
        1,
        "the list that begins at column 11 is not closed",
        "write ] at its end",
    ),
    (
        "a = {b = 1\nc = 2\n",
        1,
        "the table in braces that begins at column 5 is not closed",
        "write } at its end",
    ),
    ('a = """x\n# b\n', 1, "the text that begins at column 5 is not closed", 'write """ at its end'),
    ("b = 1\na = '''x\n", 2, "the text that begins at column 5 is not closed", "write ''' at its end"),
    (
        "taps = [\n  12 V,\n  13 V\n]\n",
        2,
        "“12 V” is not a number",
        "write 12, without a unit",
    ),
    (
        "program = [\n  dusk to midnight,\n]\n",
        2,
        "“dusk to midnight” has no quotes",
        'write "dusk to midnight"',
    ),
]


@pytest.mark.parametrize(("text", "line", "what", "remedy"), [*NO_SLIP, *SLIPS])
def test_what_is_no_toml_is_reported(text, line, what, remedy):
    """Each way in which a text stops being TOML has its line, what is wrong there and a remedy."""
    with pytest.raises(SiteFileError) as caught:
        parse_site(text, "site.toml")
    [problem] = caught.value.problems
    assert (problem.file, problem.line, problem.key, problem.value) == ("site.toml", line, "", "")
    assert (problem.what, problem.remedy) == (f"not TOML: {what}", remedy)


@pytest.mark.parametrize("opened", ["program = [", "volts = [10, 15", "fixtures = [{ watts = 3 },"])
@pytest.mark.parametrize("follows", ["pin = 17", "[[zones]]", "  [[zones.fixtures]]", "[relays] # x", ""])
def test_an_open_bracket_is_reported_where_it_opens(opened, follows):
    """Whatever follows a list that is not closed, its own line is reported, also with brackets in texts."""
    text = f'name = "[{{" # [\n{opened}\n# ] comment\n{follows}\n'
    [problem] = problems_of(text)
    column = opened.index("[") + 1
    told = f"site.toml:2: not TOML: the list that begins at column {column} is not closed; write ] at its end"
    assert problem == told


@settings(deadline=None, max_examples=200)
@given(st.data())
def test_any_text_that_is_not_toml_is_explained(data):
    """A text that lost or gained characters anywhere gives one problem, on one of its lines."""
    text = data.draw(st.one_of(st.just(GOOD), documents()))
    at = data.draw(st.integers(0, len(text)))
    text = (
        text[:at]
        + data.draw(st.sampled_from(["", "[", "]", '"', "'", "{", "=", ",", "°", "x", '"""']))
        + text[at + data.draw(st.integers(0, 3)) :]
    )
    try:
        tomllib.loads(text)
    except ValueError:
        [problem] = problems_of(text)
        assert problem.startswith("site.toml:")
        assert "; " in problem
        assert 0 <= int(problem.split(":")[1]) <= text.count("\n") + 1
