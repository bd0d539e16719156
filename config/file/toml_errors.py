"""Turns the errors of Python's TOML reader into messages that say what to do."""

import re
from decimal import InvalidOperation

from config.errors import SiteProblem

_PLACE = re.compile(
    r"(?P<what>.*) \(at (?:line (?P<line>[0-9]+), column (?P<column>[0-9]+)|end of document)\)", re.DOTALL
)

_TWICE = ("a key is given twice", "remove one of the two")
_FINISHED = ("a table is continued elsewhere", "write it in one place only")
_OPEN_TEXT = ("a text is not closed", "close it with the quotes with which it begins")
_BACKSLASH = ("a single backslash is not valid", "write two of them, or use single quotes")
_NUMBER = "write an ordinary number such as 4.5"

_AFTER_VALUE = "Expected newline or end of document after a statement"
# How the reader begins its message, what that means, and what to do; the longest beginning that fits decides.
_MEANINGS = {
    "": ("this is not valid", "compare the line with one of the examples"),
    "Invalid value": (
        "a value is not valid",
        "put text in quotes, and write true and false in small letters",
    ),
    "Expected '=' after a key": ("a key has no value", "write key = value on one line, no blank in the key"),
    "Expected newline": ("there is more text after the value", "begin a new line, or a comment with #"),
    "Invalid statement": ("a line does not begin with a key", "begin it with a key, with [ or with #"),
    "Invalid initial character for a key": (
        "a key is missing or has a character that is not allowed",
        "use letters, digits, - and _ in a key",
    ),
    "Cannot declare": ("a table is given twice", "write [[ ]] with two brackets for several"),
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
    "Illegal character": ("a line ends inside quotes, or has a control character", "close the quotes first"),
    "Found invalid character": (
        "a comment or the end of a line has a control character",
        "remove it; only blanks and tabs are allowed there",
    ),
    "Unescaped": _BACKSLASH,
    "Invalid hex value": _BACKSLASH,
    "Escaped character is not": _BACKSLASH,
    "Invalid date": ("a date does not exist", "write year-month-day of a day that exists"),
}

_VALUE = re.compile(r"[^=#]*=\s*(?P<value>[^#]*?)\s*(?:#.*)?")
# How people write values that TOML has otherwise, what is wrong, and what to write.
_SLIPS = (
    (re.compile(r"([+-]?[0-9]+),([0-9]+)"), "is not a number", r"write \1.\2 with a point"),
    (
        re.compile(r"([+-]?[0-9]+(?:\.[0-9]+)?)\s*[A-Za-zµΩ°²%]+"),
        "is not a number",
        r"write \1, without a unit",
    ),
    (re.compile(r"([+-]?)0+([0-9]+)"), "is not a number", r"write \1\2, without the leading 0"),
    (re.compile(r"(?i:(t)rue|(f)alse)"), "is not true or false", "write it in small letters"),
    (re.compile(r"([^\W\d][\w/ .:-]*)"), "has no quotes", r'write "\1"'),
)


def explain_toml_error(error: Exception, text: str, file_name: str) -> SiteProblem:
    """Describe the place where a text is no longer TOML, from what the reader raised."""
    line = 0
    if isinstance(error, RecursionError):
        what, remedy = "brackets are nested too deep", "close the brackets that were opened"
    elif isinstance(error, InvalidOperation):
        what, remedy = "a number is too large or too small", _NUMBER
    elif match := _PLACE.fullmatch(str(error)):
        message = match["what"]
        what, remedy = _MEANINGS[max(filter(message.startswith, _MEANINGS), key=len)]
        if match["line"]:
            line, column = int(match["line"]), int(match["column"])
            written = text.split("\n")[line - 1] if line <= text.count("\n") + 1 else ""
            slip = _explain_slip(written) if message in ("Invalid value", _AFTER_VALUE) else None
            what, remedy = slip or (f"{what} at column {column}", remedy)
            if written[column - 1 : column] in tuple("“”„‘’‚«»´"):
                what, remedy = f"quotes are curly at column {column}", 'write straight quotes, " and "'
        else:
            line = text.rstrip().count("\n") + 1
            what += " at the end of the file"
    else:
        # The one thing that the reader leaves to int(): more digits than it is willing to read.
        what, remedy = "a number has too many digits", _NUMBER
    return SiteProblem(file=file_name, line=line, key="", value="", what=f"not TOML: {what}", remedy=remedy)


def _explain_slip(line: str) -> tuple[str, str] | None:
    """Say what to write for a value that people often write in another way; None for any other line."""
    match = _VALUE.fullmatch(line.rstrip("\r"))
    value = match["value"] if match else ""
    for pattern, what, remedy in _SLIPS:
        if found := pattern.fullmatch(value):
            return f"“{value}” {what}", found.expand(remedy)
    return None
