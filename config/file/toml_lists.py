"""Inserts a value into a list as it is written, or removes one, in any layout; every comment stays in it."""

import re

from config.errors import KeyPath
from config.file.toml_positions import BLANK, Offsets

_STEP = "  "
_REST_COMMENT = re.compile(r"[ \t]*#[^\r\n]*")
_REST_EMPTY = re.compile(r"[ \t]*(?=\r?\n|\])")
_SPACE_BEFORE = re.compile(r"[ \t]*\Z")
_LINE_BEFORE = re.compile(r"\r?\n[ \t]*\Z")


def insert_element(
    text: str, offsets: dict[KeyPath, Offsets], path: KeyPath, index: int, value: str, *, line_end: str
) -> str:
    """Insert a value, written as TOML, before the element of that index, or behind the last one.

    Where the neighbour has a line of its own, so has the new value.
    """
    _, start, end = offsets[path]
    indent = _indent_inside(text, offsets, path)
    if (*path, 0) not in offsets:
        inside = text[start + 1 : end - 1]
        if not inside.strip():
            return f"{text[:start]}[{value}]{text[end:]}"
        # Behind the last comment, before the bracket, which has a line of its own.
        at = text.rfind("\n", 0, end) + 1
        return f"{text[:at]}{indent}{value},{line_end}{text[at:]}"
    if index == 0:
        first = offsets[*path, 0].value_start
        if not begins_line(text, first):
            return f"{text[:first]}{value}, {text[first:]}"
        at = _end_of_comment(text, start + 1)
        return f"{text[:at]}{line_end}{indent}{value},{text[at:]}"
    before = offsets[*path, index - 1]
    at, has_comma = _end_of_element(text, before.value_end)
    if not has_comma:
        text, at = f"{text[:at]},{text[at:]}", at + 1
    behind = _end_of_comment(text, at)
    own_line = begins_line(text, before.value_start) and _REST_EMPTY.match(text, at)
    space = line_end + indent if behind > at or own_line else " "
    return f"{text[:behind]}{space}{value}{',' * has_comma}{text[behind:]}"


def remove_element(text: str, offsets: dict[KeyPath, Offsets], path: KeyPath, index: int) -> str:
    """Remove a value and one comma; a line that has nothing else goes as well."""
    _, start, end = offsets[*path, index]
    after, has_comma = _end_of_element(text, end)
    if has_comma:
        head, tail = text[:start], text[end : after - 1] + text[after:]
    else:
        head, tail = text[:start], text[end:]
        if index > 0:  # the last one has no comma before, and none afterwards
            comma = _end_of_element(text, offsets[*path, index - 1].value_end)[0] - 1
            head = text[:comma] + text[comma + 1 : start]
    rest = tail.lstrip(" \t")
    if _LINE_BEFORE.search(head):
        if rest.startswith(("\n", "\r\n")):
            return _LINE_BEFORE.sub("", head) + rest
        return head + rest
    if rest.startswith(("\n", "\r\n", "#", "]")):
        return _SPACE_BEFORE.sub("", head) + tail
    return head + rest


def begins_line(text: str, at: int) -> bool:
    """Whether only blanks stand before a place on its line, and another line before that."""
    return bool(_LINE_BEFORE.search(text, max(0, text.rfind("\n", 0, at) - 1), at))


def _end_of_element(text: str, value_end: int) -> tuple[int, bool]:
    """Return where an element ends, behind its comma if it has one, and whether it has."""
    blank = BLANK.match(text, value_end)
    comma = blank.end() if blank else value_end
    return (comma + 1, True) if text[comma] == "," else (value_end, False)


def _end_of_comment(text: str, at: int) -> int:
    """Return where a comment on the rest of a line ends; the place itself where there is none."""
    found = _REST_COMMENT.match(text, at)
    return found.end() if found else at


def _indent_inside(text: str, offsets: dict[KeyPath, Offsets], path: KeyPath) -> str:
    """Return the blanks before the elements that begin a line, else one step more than before the key."""
    index = 0
    while element := offsets.get((*path, index)):
        if begins_line(text, element.value_start):
            return text[text.rfind("\n", 0, element.value_start) + 1 : element.value_start]
        index += 1
    start = offsets[path].start
    line = text[text.rfind("\n", 0, start) + 1 : start]
    return (line if line.isspace() else "") + _STEP
