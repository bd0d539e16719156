"""Turns the errors of Python's TOML reader into messages that say what to do."""

import re
from decimal import InvalidOperation
from typing import NamedTuple

from config.errors import SiteProblem
from config.phrase import Phrase
from config.validation.fields import heading_of, kinds_of
from config.validation.slips import Clauses, explain_item, explain_value

_PLACE = re.compile(
    r"(?P<what>.*) \(at (?:line (?P<line>[0-9]+), column (?P<column>[0-9]+)|end of document)\)", re.DOTALL
)

_TWICE = (Phrase("a key is given twice"), Phrase("remove one of the two"))
_FINISHED = (Phrase("a table is continued elsewhere"), Phrase("write it in one place only"))
_OPEN_TEXT = (Phrase("a text is not closed"), Phrase("close it with the quotes with which it begins"))
_BACKSLASH = (Phrase("a single backslash is not valid"), Phrase("write two of them, or use single quotes"))
_NUMBER = Phrase("write an ordinary number such as 4.5")

# How the reader begins its message, what that means, and what to do; the longest beginning that fits decides.
_MEANINGS = {
    "": (Phrase("this is not valid"), Phrase("compare the line with one of the examples")),
    "Invalid value": (
        Phrase("a value is not valid"),
        Phrase("put text in quotes, and write true and false in small letters"),
    ),
    "Expected '=' after a key": (
        Phrase("a key has no value"),
        Phrase("write key = value on one line, no blank in the key"),
    ),
    "Expected newline": (
        Phrase("there is more text after the value"),
        Phrase("begin a new line, or a comment with #"),
    ),
    "Invalid statement": (
        Phrase("a line does not begin with a key"),
        Phrase("begin it with a key, with [ or with #"),
    ),
    "Invalid initial character for a key": (
        Phrase("a key is missing or has a character that is not allowed"),
        Phrase("use letters, digits, - and _ in a key"),
    ),
    "Cannot declare": (Phrase("a table is given twice"), Phrase("write [[ ]] with two brackets for several")),
    "Cannot overwrite": _TWICE,
    "Duplicate inline table key": _TWICE,
    "Cannot mutate": _FINISHED,
    "Cannot redefine": _FINISHED,
    "Expected ']'": (Phrase("a heading has no closing bracket"), Phrase("close it with ]")),
    "Expected ']]'": (Phrase("a heading has no closing brackets"), Phrase("close it with ]]")),
    "Unclosed array": (
        Phrase("a comma is missing"),
        Phrase("put commas between the values of a list, ] at its end"),
    ),
    "Unclosed inline table": (
        Phrase("a comma is missing"),
        Phrase("put commas between the keys in braces, }} at their end"),
    ),
    "Unterminated string": _OPEN_TEXT,
    "Expected": _OPEN_TEXT,
    "Illegal character": (
        Phrase("a line ends inside quotes, or has a control character"),
        Phrase("close the quotes first"),
    ),
    "Found invalid character": (
        Phrase("a comment or the end of a line has a control character"),
        Phrase("remove it; only blanks and tabs are allowed there"),
    ),
    "Unescaped": _BACKSLASH,
    "Invalid hex value": _BACKSLASH,
    "Escaped character is not": _BACKSLASH,
    "Invalid date": (Phrase("a date does not exist"), Phrase("write year-month-day of a day that exists")),
}

_CURLY = str.maketrans("“”„«»‘’‚´", '"""""' + "''''")
_BLANKS_IN_KEY = re.compile(r"[A-Za-z0-9_-]+(?:\s+[A-Za-z0-9_-]+)+")
_PAIR = re.compile(r"\s*(?P<key>[A-Za-z][\w.\s-]*?)\s*(?P<equals>:=|==|=|:)\s*(?P<value>.*)")
_WITHOUT_EQUALS = re.compile(r"\s*(?P<key>\w+)(?P<equals>)\s+(?P<value>.*)")
_HEADING = re.compile(r"\s*[\[(]*\s*(?P<name>[A-Za-z][\w.-]*)\s*[\])]*\s*")
_HEADING_ALONE = re.compile(r"\s*\[+\s*[A-Za-z][\w.-]*\s*\]+\s*(?:#.*)?")
_ONE_STRING = re.compile(r"\"(?:[^\"\\\n]|\\.)*\"|'[^'\n]*'")
# A comment, a text, or anything else that tells where a value is and how deep.
_MARK = re.compile(rf"\"\"\"|'''|{_ONE_STRING.pattern}|#[^\n]*|[\[\]{{}}=\n]")
_CLOSING = {"[": "]", "{": "}"}
_TEXT_OPEN = Phrase("the text that begins at column {column} is not closed", column=0)
_OPEN = {
    "[": Phrase("the list that begins at column {column} is not closed", column=0),
    "{": Phrase("the table in braces that begins at column {column} is not closed", column=0),
    '"""': _TEXT_OPEN,
    "'''": _TEXT_OPEN,
}


class _Mistake(NamedTuple):
    """The line on which a text stops being TOML, what is wrong there, and what to do."""

    line: int
    what: Phrase
    remedy: Phrase


class _Opening(NamedTuple):
    """Where a bracket, or three quotes, opens that is not closed, and the key of its value."""

    line: int
    column: int
    mark: str
    key: str


def explain_toml_error(error: Exception, text: str, file_name: str) -> SiteProblem:
    """Describe the place where a text is no longer TOML, from what the reader raised."""
    if isinstance(error, RecursionError):
        mistake = _Mistake(
            0, Phrase("brackets are nested too deep"), Phrase("close the brackets that were opened")
        )
    elif isinstance(error, InvalidOperation):
        mistake = _Mistake(0, Phrase("a number is too large or too small"), _NUMBER)
    elif match := _PLACE.fullmatch(str(error)):
        lines = text.split("\n")
        at_end = match["line"] is None
        line = len(text.rstrip().split("\n")) if at_end else int(match["line"])
        column = 0 if at_end else int(match["column"])
        mistake = _explain(match["what"], lines, line, column)
    else:
        # The one thing that the reader leaves to int(): more digits than it is willing to read.
        mistake = _Mistake(0, Phrase("a number has too many digits"), _NUMBER)
    what = Phrase("not TOML: {what}", what=mistake.what)
    return SiteProblem(file=file_name, line=mistake.line, key="", value="", what=what, remedy=mistake.remedy)


def _explain(message: str, lines: list[str], line: int, column: int) -> _Mistake:
    """Explain an error at a line; column 0 is the end of the text."""
    written = lines[line - 1].rstrip("\r") if line <= len(lines) else ""
    opening = _find_opening(lines, line, column)
    is_next = bool(column and (_PAIR.fullmatch(written) or _HEADING_ALONE.fullmatch(written)))
    # A heading or another key: what is open here should have been closed before.
    left_open = _find_opening(lines, line, 1) if is_next else None
    if opening and left_open is None and _is_left_open(message, opening, written, column):
        left_open = opening
    if left_open:
        what = _OPEN[left_open.mark].fill(column=left_open.column)
        closing = _CLOSING.get(left_open.mark, left_open.mark)
        return _Mistake(left_open.line, what, Phrase("write {closing} at its end", closing=closing))
    if found := _explain_twice(message, lines, line) or _explain_line(written, column, opening):
        return _Mistake(line, *found)
    what, remedy = _MEANINGS[max(filter(message.startswith, _MEANINGS), key=len)]
    if column:
        return _Mistake(line, Phrase("{what} at column {column}", what=what, column=column), remedy)
    return _Mistake(line, Phrase("{what} at the end of the file", what=what), remedy)


def _is_left_open(message: str, opening: _Opening, written: str, column: int) -> bool:
    """Whether the text ends inside it, or its own line where the reader wants more of it."""
    if column == 0 or opening.mark not in _CLOSING:
        return True
    return message.startswith("Unclosed") and not _without_comment(written[column - 1 :]).strip()


def _find_opening(lines: list[str], line: int, column: int) -> _Opening | None:
    """Find the innermost bracket, or three quotes, that opens before a place and does not close before it."""
    before = "\n".join([*lines[: line - 1], lines[line - 1][: column - 1]] if column else lines)
    opened: list[int] = []
    in_value, at = False, 0
    while found := _MARK.search(before, at):
        at, mark = found.start(), found[0]
        if mark in _OPEN and mark not in _CLOSING:  # three quotes
            end = before.find(mark, at + 3)
            if end < 0:
                return _opening_at(before, at, mark)
            at = end + 3
            continue
        if mark in _CLOSING and (in_value or opened):
            opened.append(at)
        elif mark in ("]", "}") and opened:
            opened.pop()
        in_value = mark == "=" or (in_value and mark != "\n")
        at = found.end()
    return _opening_at(before, opened[-1], before[opened[-1]]) if opened else None


def _opening_at(text: str, at: int, mark: str) -> _Opening:
    start = text.rfind("\n", 0, at) + 1
    pair = _PAIR.match(text, start)
    return _Opening(text.count("\n", 0, at) + 1, at - start + 1, mark, pair["key"] if pair else "")


def _explain_twice(message: str, lines: list[str], line: int) -> Clauses | None:
    """Explain a heading or a key that is there a second time, with the line of the first."""
    if not message.startswith(("Cannot declare", "Cannot overwrite")):
        return None
    written = _without_comment(lines[line - 1]).strip()
    if written.startswith("["):
        found = _HEADING.fullmatch(written)
        name = found["name"] if found else ""
        right = heading_of(name)
        first = next((at for at, each in enumerate(lines, 1) if _is_heading(each, name)), line)
        if not right or first == line:
            return None
        if right.startswith("[["):
            what = Phrase("{heading} is given twice, first on line {line}", heading=f"[{name}]", line=first)
            return what, Phrase("write {right} each time", right=right)
        what = Phrase("{heading} is given twice, first on line {line}", heading=right, line=first)
        return what, Phrase("put all its keys under one of them")
    pair = _PAIR.fullmatch(written)
    for at in range(line - 1, 0, -1):
        each = _PAIR.fullmatch(lines[at - 1].rstrip("\r"))
        if each and pair and each["key"] == pair["key"]:
            what = Phrase("“{key}” is given twice, first on line {line}", key=pair["key"], line=at)
            return what, Phrase("remove one of the two")
        if lines[at - 1].lstrip().startswith("["):
            break
    return None


def _is_heading(written: str, name: str) -> bool:
    found = _HEADING.fullmatch(_without_comment(written))
    return bool(found and found["name"] == name and written.lstrip().startswith("["))


def _explain_line(written: str, column: int, opening: _Opening | None) -> Clauses | None:
    """Say what to write for a line that people often write in another way; None for any other."""
    line = _without_comment(written).strip()
    pair = _PAIR.fullmatch(line)
    if column and written[column - 1 : column] in tuple("“”„‘’‚«»´"):
        right = line.translate(_CURLY)
        return (
            Phrase("quotes are curly at column {column}", column=column),
            Phrase("write straight quotes: {right}", right=right),
        )
    if opening and opening.mark == "[" and not pair:
        item = line.rstrip(",")
        found = explain_item(opening.key, item)
        return (Phrase("“{value}” {what}", value=item, what=found[0]), found[1]) if found else None
    if pair is None:
        heading = _HEADING.fullmatch(line)
        if heading and (right := heading_of(heading["name"])):
            what = Phrase("a heading lacks a bracket, or has one too many")
            return what, Phrase("write {right}", right=right)
        bare = _WITHOUT_EQUALS.fullmatch(line)
        pair = bare if bare and kinds_of(bare["key"]) else None
    return _explain_pair(line, pair["key"].strip(), pair["equals"], pair["value"].strip()) if pair else None


def _explain_pair(line: str, key: str, equals: str, value: str) -> Clauses | None:
    """Say what to write for a key and its value."""
    if _BLANKS_IN_KEY.fullmatch(key):
        right = f"{'_'.join(key.split())} = {value}"
        return Phrase("“{key}” is a key with a blank in it", key=key), Phrase("write {right}", right=right)
    if equals != "=":
        what = Phrase("“{line}” has no single = between key and value", line=line)
        return what, Phrase("write {right}", right=f"{key} = {value}")
    name = key.rpartition(".")[2]
    if "//" in value and explain_value(name, value.partition("//")[0]) is None:
        return Phrase("a comment begins with //"), Phrase("begin it with #")
    found = explain_value(name, value)
    return (Phrase("“{value}” {what}", value=value or key, what=found[0]), found[1]) if found else None


def _without_comment(written: str) -> str:
    """Cut off a comment; a # in quotes is none."""
    at = 0
    while at < len(written) and written[at] != "#":
        string = _ONE_STRING.match(written, at)
        at = string.end() if string else at + 1
    return written[:at].rstrip("\r")
