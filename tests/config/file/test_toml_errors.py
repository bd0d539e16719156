"""What a person is told about a text that is not TOML: the line, the column, the meaning, the remedy."""

import pytest

from config.errors import SiteFileError
from config.file.loader import parse_site


@pytest.mark.parametrize(
    ("text", "line", "what", "remedy"),
    [
        (
            "[site]\ntime_zone = Europe/London\n",
            2,
            "a value cannot be read at column 13",
            "put text in quotes, write 4.5 and not 4,5, 17 and not 017, and true and false in small letters",
        ),
        (
            "[site]\nname = “Old Mill”\n",
            2,
            "a value cannot be read at column 8",
            'write straight quotes, " and ", in place of the curly ones',
        ),
        (
            "[site]\npin = 017\n",
            2,
            "something follows a finished value at column 8",
            "begin a new line, or a comment with #",
        ),
        (
            "latitude = 4,5\n",
            1,
            "something follows a finished value at column 13",
            "begin a new line, or a comment with #",
        ),
        ("name\n", 1, "a key has no value at column 5", "write key = value on one line, no blank in the key"),
        (
            "time zone = 1\n",
            1,
            "a key has no value at column 6",
            "write key = value on one line, no blank in the key",
        ),
        ("= 1\n", 1, "a line begins with no key at column 1", "begin it with a key, with [ or with #"),
        (
            "[]\n",
            1,
            "a key is missing or has a character that does not belong at column 2",
            "use letters, digits, - and _ in a key",
        ),
        (
            "[site]\n[site]\n",
            2,
            "a table is written a second time at column 6",
            "write [[ ]] with two brackets for several",
        ),
        ("a = 1\na = 2\n", 2, "a key is written a second time at column 6", "leave one of the two out"),
        (
            "x = {a = 1, a = 2}\n",
            1,
            "a key is written a second time at column 18",
            "leave one of the two out",
        ),
        (
            "x = {a = 1}\n[x.b]\n",
            2,
            "a table is written a second time at column 5",
            "write [[ ]] with two brackets for several",
        ),
        (
            "x = {a = {b = 1}, a.c = 2}\n",
            1,
            "a table that is finished is written to again at column 26",
            "write it in one place only",
        ),
        (
            "[a.b]\n[a]\nb.c = 1\n",
            3,
            "a table that is finished is written to again at column 8",
            "write it in one place only",
        ),
        ("[site\n", 1, "a heading has no closing bracket at column 6", "close it with ]"),
        ("[[zones]\n", 1, "a heading has no closing brackets at column 8", "close it with ]]"),
        (
            "a = [1, 2\n\n",
            1,
            "a list is not closed where the file ends",
            "put commas between values, ] at its end",
        ),
        ("a = [1 2]\n", 1, "a list is not closed at column 8", "put commas between values, ] at its end"),
        (
            "a = {b = 1\n",
            1,
            "a table in braces is not closed at column 11",
            "put commas between keys, } at its end",
        ),
        (
            'a = "x\n',
            1,
            "a text holds the end of a line or a control character at column 7",
            "close the quotes first",
        ),
        (
            "a = 'x\n",
            1,
            "a text is not closed where the file ends",
            "close it with the quotes with which it begins",
        ),
        (
            'a = """x\n',
            1,
            "a text is not closed where the file ends",
            "close it with the quotes with which it begins",
        ),
        (
            "a = '''x\n",
            1,
            "a text is not closed where the file ends",
            "close it with the quotes with which it begins",
        ),
        (
            'a = "C:\\path"\n',
            1,
            "a backslash stands alone at column 10",
            "write two of them, or use single quotes",
        ),
        (
            'a = "\\u12"\n',
            1,
            "a backslash stands alone at column 8",
            "write two of them, or use single quotes",
        ),
        (
            'a = "\\ud800"\n',
            1,
            "a backslash stands alone at column 12",
            "write two of them, or use single quotes",
        ),
        (
            "a = 2027-02-30\n",
            1,
            "a date does not exist at column 5",
            "write year-month-day of a day that exists",
        ),
        (
            "a = 1 # \u0001\n",
            1,
            "a control character stands in a comment or at a line's end at column 9",
            "take it out; only a blank, a tab and the end of a line may stand there",
        ),
        (
            "a = " + "[" * 5000,
            0,
            "brackets stand too deep within each other",
            "close the brackets that were opened",
        ),
        (
            "a = 1e999999999999999999999999999999",
            0,
            "a number is too large or too small to be one",
            "write a number that can be measured",
        ),
        ("a = " + "9" * 5000, 0, "a number has too many digits", "write a number that can be measured"),
    ],
)
def test_what_is_no_toml_is_told_in_words(text, line, what, remedy):
    """Each way in which a text stops being TOML has its line, its column and a remedy."""
    with pytest.raises(SiteFileError) as caught:
        parse_site(text, "site.toml")
    [problem] = caught.value.problems
    assert (problem.file, problem.line, problem.key, problem.value) == ("site.toml", line, "", "")
    assert (problem.what, problem.remedy) == (f"not TOML: {what}", remedy)


def test_the_place_is_that_in_the_file_with_windows_line_ends():
    """A carriage return is no column of its own."""
    with pytest.raises(SiteFileError) as caught:
        parse_site("[site]\r\nname = Tern\r\n", "site.toml")
    assert str(caught.value).startswith("site.toml:2: not TOML: a value cannot be read at column 8; ")
