"""What is reported about a text that is not TOML: the line, the column, the meaning, the remedy."""

import pytest

from config.errors import SiteFileError
from config.file.loader import parse_site


@pytest.mark.parametrize(
    ("text", "line", "what", "remedy"),
    [
        (
            "[site]\ntime_zone = Europe/London\n",
            2,
            "“Europe/London” has no quotes",
            'write "Europe/London"',
        ),
        (
            "a = ?\n",
            1,
            "a value is not valid at column 5",
            "put text in quotes, and write true and false in small letters",
        ),
        (
            "[site]\nname = “Old Mill”\n",
            2,
            "quotes are curly at column 8",
            'write straight quotes, " and "',
        ),
        (
            "[site]\npin = 017\n",
            2,
            "“017” is not a number",
            "write 17, without the leading 0",
        ),
        (
            "latitude = 4,5\n",
            1,
            "“4,5” is not a number",
            "write 4.5 with a point",
        ),
        ("lat = -48,2310 # south\n", 1, "“-48,2310” is not a number", "write -48.2310 with a point"),
        ("watts = 3W\r\n", 1, "“3W” is not a number", "write 3, without a unit"),
        ("watts = 4.5 VA\n", 1, "“4.5 VA” is not a number", "write 4.5, without a unit"),
        ("high = True\n", 1, "“True” is not true or false", "write it in small letters"),
        (
            "pin = 3 4\n",
            1,
            "there is more text after the value at column 9",
            "begin a new line, or a comment with #",
        ),
        ("name\n", 1, "a key has no value at column 5", "write key = value on one line, no blank in the key"),
        (
            "time zone = 1\n",
            1,
            "a key has no value at column 6",
            "write key = value on one line, no blank in the key",
        ),
        ("= 1\n", 1, "a line does not begin with a key at column 1", "begin it with a key, with [ or with #"),
        (
            "[]\n",
            1,
            "a key is missing or has a character that is not allowed at column 2",
            "use letters, digits, - and _ in a key",
        ),
        (
            "[site]\n[site]\n",
            2,
            "a table is given twice at column 6",
            "write [[ ]] with two brackets for several",
        ),
        ("a = 1\na = 2\n", 2, "a key is given twice at column 6", "remove one of the two"),
        (
            "x = {a = 1, a = 2}\n",
            1,
            "a key is given twice at column 18",
            "remove one of the two",
        ),
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
        (
            "[a.b]\n[a]\nb.c = 1\n",
            3,
            "a table is continued elsewhere at column 8",
            "write it in one place only",
        ),
        ("[site\n", 1, "a heading has no closing bracket at column 6", "close it with ]"),
        ("[[zones]\n", 1, "a heading has no closing brackets at column 8", "close it with ]]"),
        (
            "a = [1, 2\n\n",
            1,
            "a list is not closed at the end of the file",
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
            "a line ends inside quotes, or has a control character at column 7",
            "close the quotes first",
        ),
        (
            "a = 'x\n",
            1,
            "a text is not closed at the end of the file",
            "close it with the quotes with which it begins",
        ),
        (
            'a = """x\n',
            1,
            "a text is not closed at the end of the file",
            "close it with the quotes with which it begins",
        ),
        (
            "a = '''x\n",
            1,
            "a text is not closed at the end of the file",
            "close it with the quotes with which it begins",
        ),
        (
            'a = "C:\\path"\n',
            1,
            "a single backslash is not valid at column 10",
            "write two of them, or use single quotes",
        ),
        (
            'a = "\\u12"\n',
            1,
            "a single backslash is not valid at column 8",
            "write two of them, or use single quotes",
        ),
        (
            'a = "\\ud800"\n',
            1,
            "a single backslash is not valid at column 12",
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
            "a comment or the end of a line has a control character at column 9",
            "remove it; only blanks and tabs are allowed there",
        ),
        (
            "a = " + "[" * 5000,
            0,
            "brackets are nested too deep",
            "close the brackets that were opened",
        ),
        (
            "a = 1e999999999999999999999999999999",
            0,
            "a number is too large or too small",
            "write an ordinary number such as 4.5",
        ),
        ("a = " + "9" * 5000, 0, "a number has too many digits", "write an ordinary number such as 4.5"),
    ],
)
def test_what_is_no_toml_is_reported(text, line, what, remedy):
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
    assert str(caught.value).startswith("site.toml:2: not TOML: “Tern” has no quotes; ")
