"""Turns what the TOML reader says about a text that is not TOML into what a person can act on."""

from __future__ import annotations

import re
from decimal import InvalidOperation

from config.errors import SiteProblem

_PLACE = re.compile(
    r"(?P<what>.*) \(at (?:line (?P<line>[0-9]+), column (?P<column>[0-9]+)|end of document)\)", re.DOTALL
)

_TWICE = ("a key is written a second time", "leave one of the two out")
_FINISHED = ("a table that is finished is written to again", "write it in one place only")
_OPEN_TEXT = ("a text is not closed", "close it with the quotes with which it begins")
_BACKSLASH = ("a backslash stands alone", "write two of them, or use single quotes")
_NUMBER = "write a number that can be measured"

# How the reader begins its message, what that means, and what would do.
_MEANINGS = {
    "Invalid value": (
        "a value cannot be read",
        "put text in quotes, write 4.5 and not 4,5, 17 and not 017, and true and false in small letters",
    ),
    "Expected '=' after a key": ("a key has no value", "write key = value on one line, no blank in the key"),
    "Expected newline": ("something follows a finished value", "begin a new line, or a comment with #"),
    "Invalid statement": ("a line begins with no key", "begin it with a key, with [ or with #"),
    "Invalid initial character for a key": (
        "a key is missing or has a character that does not belong",
        "use letters, digits, - and _ in a key",
    ),
    "Cannot declare": ("a table is written a second time", "write [[ ]] with two brackets for several"),
    "Cannot overwrite": _TWICE,
    "Duplicate inline table key": _TWICE,
    "Cannot mutate": _FINISHED,
    "Cannot redefine": _FINISHED,
    "Expected ']'": ("a heading has no closing bracket", "close it with ]"),
    "Expected ']]'": ("a heading has no closing brackets", "close it with ]]"),
    "Unclosed array": ("a list is not closed", "put commas between values, ] at its end"),
    "Unclosed inline table": ("a table in braces is not closed", "put commas between keys, } at its end"),
    "Unterminated string": _OPEN_TEXT,
    "Expected": _OPEN_TEXT,
    "Illegal character": ("a text holds the end of a line or a control character", "close the quotes first"),
    "Found invalid character": (
        "a control character stands in a comment or at a line's end",
        "take it out; only a blank, a tab and the end of a line may stand there",
    ),
    "Unescaped": _BACKSLASH,
    "Invalid hex value": _BACKSLASH,
    "Escaped character is not": _BACKSLASH,
    "Invalid date": ("a date does not exist", "write year-month-day of a day that exists"),
}


def explain_toml_error(error: Exception, text: str, file_name: str) -> SiteProblem:
    """Describe the place where a text stops being TOML.

    Args:
        error: what the reader raised.
        text: the text that it read.
        file_name: how the problem names the file.
    """
    line = 0
    if isinstance(error, RecursionError):
        what, remedy = "brackets stand too deep within each other", "close the brackets that were opened"
    elif isinstance(error, InvalidOperation):
        what, remedy = "a number is too large or too small to be one", _NUMBER
    elif match := _PLACE.fullmatch(str(error)):
        what, remedy = explain_message(match["what"])
        if match["line"]:
            line = int(match["line"])
            what += f" at column {match['column']}"
            if _begins_curly(text, line, int(match["column"])):
                remedy = 'write straight quotes, " and ", in place of the curly ones'
        else:
            line = text.rstrip().count("\n") + 1
            what += " where the file ends"
    else:
        # The one thing that the reader leaves to int(): more digits than it is willing to read.
        what, remedy = "a number has too many digits", _NUMBER
    return SiteProblem(file=file_name, line=line, key="", value="", what=f"not TOML: {what}", remedy=remedy)


def _begins_curly(text: str, line: int, column: int) -> bool:
    """Say whether a quote of a word processor stands at a place, where TOML wants a straight one."""
    lines = text.split("\n")
    return line <= len(lines) and lines[line - 1][column - 1 : column] in tuple("“”„‘’‚«»´")


def explain_message(message: str) -> tuple[str, str]:
    """Say what the reader's message means and what would do."""
    # The longest beginning that fits is the most exact one.
    fitting = [beginning for beginning in _MEANINGS if message.startswith(beginning)]
    if not fitting:
        return "this cannot be read", "compare the line with one of the examples"
    return _MEANINGS[max(fitting, key=len)]
