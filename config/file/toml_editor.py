"""The text of a site file while it is being changed: every change is a splice, all the rest stays as it is.

A draft holds the text and, beside it, the plain values that the text should then mean. Each change is made
to both. Whoever uses a draft compares the two at the end with Python's own TOML reader, so that a slip of
this editor can spoil nothing.
"""

from __future__ import annotations

import re
import tomllib
from datetime import date, time
from decimal import Decimal
from typing import Any

from config.errors import KeyPath
from config.file.toml_positions import Positions
from config.validation.finding import toml_string, write_path

_STEP = "  "
_LINE_END = re.compile(r"\A\r?\n")
_COMMA_AFTER = re.compile(r"[ \t]*,[ \t]*")
_COMMA_BEFORE = re.compile(r"[ \t]*,[ \t]*\Z")
# The mark of a key behind “=” has three characters: where key and value begin, and where the value ends.
_WRITTEN = 3
_BLANK_LINE_BEFORE = re.compile(r"\n\r?\n\Z")


class LayoutError(ValueError):
    """The text is TOML, but laid out in a way that cannot be edited here."""


class TomlEditor:
    """A TOML text and the values that it means."""

    def __init__(self, text: str) -> None:
        """Begin with a text that is known to be TOML, without a byte order mark."""
        self.text = text
        self.values: dict[str, Any] = tomllib.loads(text, parse_float=Decimal)
        self._line_end = "\r\n" if text.partition("\n")[0].endswith("\r") else "\n"

    @property
    def is_consistent(self) -> bool:
        """Whether the text means what it should after all changes."""
        try:
            return tomllib.loads(self.text, parse_float=Decimal) == self.values
        except tomllib.TOMLDecodeError:
            return False

    def get(self, path: KeyPath) -> Any:  # noqa: ANN401 (any value that TOML has)
        """Return the value at a path, or None where there is none."""
        value: Any = self.values
        for part in path:
            try:
                value = value[part]
            except (KeyError, IndexError, TypeError):
                return None
        return value

    def is_inline(self, path: KeyPath) -> bool:
        """Whether what stands at a path was written behind a ``=``, not under headings."""
        return len(Positions(self.text).marks.get(path, ())) > 1

    def put(self, path: KeyPath, value: Any) -> None:  # noqa: ANN401 (any value that TOML has)
        """Write a value in the place of the one at a path, or as a new key of its table."""
        marks = Positions(self.text).marks
        if path not in marks:
            self._add_key(path, value, marks)
        elif len(marks[path]) > 1:
            _, start, end = marks[path]
            self.text = self.text[:start] + write_value(value) + self.text[end:]
        else:
            raise LayoutError(f"{write_path(path)} is a table with a heading")
        self.get(path[:-1])[path[-1]] = value

    def put_list(self, path: KeyPath, values: list[Any]) -> None:
        """Write a list in the place of another; where both are as long, only what differs is touched."""
        old = self.get(path)
        if not isinstance(old, list) or len(old) != len(values) or not self.is_inline(path):
            self.put(path, values)
            return
        for index, value in enumerate(values):
            if old[index] != value:
                self.put((*path, index), value)

    def append_table(self, path: KeyPath, values: dict[str, Any]) -> None:
        """Write one more ``[[ ]]`` table behind those of a path, or as the first behind its parent's keys."""
        marks = Positions(self.text).marks
        parent, count = path[:-1], len(self.get(path) or ())
        if parent not in marks:
            raise LayoutError(f"there is no table {write_path(parent)}")
        after = (*path, count - 1) if count else parent
        ends = [mark[2] for each, mark in marks.items() if len(mark) > 1 and each[:-1] == after]
        at = self._end_of_line(max(ends, default=marks[after][0]))
        # Set in as the other tables under the same heading are, else one step further than that heading.
        headings = {each: mark[0] for each, mark in marks.items() if len(mark) == 1}
        rows = [each for each in headings if each[:-2] == parent and isinstance(each[-1], int)]
        indent = self._indent_of(headings[rows[0]]) if rows else self._indent_of(marks[parent][0]) + _STEP
        name = write_path(tuple(part for part in path if isinstance(part, str)))
        lines = [f"[[{name}]]", *(f"{_write_key(key)} = {write_value(each)}" for key, each in values.items())]
        block = self._line_end + "".join(self._line_end + indent + line for line in lines)
        self.text = self.text[:at] + block + self.text[at:]
        self.get(path[:-1]).setdefault(path[-1], []).append(values)

    def remove_table(self, path: KeyPath) -> None:
        """Take out one ``[[ ]]`` table; a comment before its heading or after its last line stays."""
        marks = Positions(self.text).marks
        if len(marks.get(path, ())) != 1:
            raise LayoutError(f"{write_path(path)} has no heading")
        ends = [mark[2] for each, mark in marks.items() if len(mark) > 1 and each[: len(path)] == path]
        start = self.text.rfind("\n", 0, marks[path][0]) + 1
        rest = self.text[self._end_of_line(max(ends, default=marks[path][0])) :]
        rest = _LINE_END.sub("", rest, count=1)
        # Where a blank line stood on either side, one of them is enough.
        if _BLANK_LINE_BEFORE.search(self.text[:start]):
            rest = _LINE_END.sub("", rest, count=1)
        self.text = self.text[:start] + rest
        del self.get(path[:-1])[path[-1]]
        if not self.get(path[:-1]):
            del self.get(path[:-2])[path[-2]]

    def remove_key(self, path: KeyPath) -> None:
        """Take out a key with its value; under a heading its whole line goes, and a comment on it too."""
        marks = Positions(self.text).marks
        if len(marks.get(path, ())) < _WRITTEN:
            raise LayoutError(f"{write_path(path)} is not written with “=”")
        start, _, end = marks[path]
        table = path[:-1]
        if any(len(marks.get(table[:length], ())) > 1 for length in range(1, len(table) + 1)):
            before, after = self.text[:start], self.text[end:]
            # In braces one comma goes with it: the one behind it, else the one before it.
            follows = _COMMA_AFTER.match(after)
            rest = after[follows.end() :] if follows else after
            self.text = (before if follows else _COMMA_BEFORE.sub("", before)) + rest
        else:
            rest = self.text[self._end_of_line(end) :]
            line_start = self.text.rfind("\n", 0, start) + 1
            self.text = self.text[:line_start] + _LINE_END.sub("", rest, count=1)
        del self.get(table)[path[-1]]

    def _add_key(self, path: KeyPath, value: Any, marks: dict[KeyPath, tuple[int, ...]]) -> None:  # noqa: ANN401
        """Write a key that is not there yet behind the last one of its table."""
        table, pair = path[:-1], f"{_write_key(str(path[-1]))} = {write_value(value)}"
        if table not in marks:
            raise LayoutError(f"there is no table {write_path(table)}")
        ends = [mark[2] for each, mark in marks.items() if len(mark) > 1 and each[:-1] == table]
        if any(len(marks[table[:length]]) > 1 for length in range(1, len(table) + 1)):
            if not ends:
                raise LayoutError(f"{write_path(table)} is an empty table in braces")
            self.text = self.text[: max(ends)] + f", {pair}" + self.text[max(ends) :]
            return
        heading = marks[table][0]
        at = self._end_of_line(max(ends, default=heading))
        self.text = self.text[:at] + self._line_end + self._indent_of(heading) + pair + self.text[at:]

    def _end_of_line(self, at: int) -> int:
        """Return where the line of a character ends, before what ends it."""
        end = self.text.find("\n", at)
        if end < 0:
            return len(self.text)
        return end - 1 if self.text[end - 1] == "\r" else end

    def _indent_of(self, at: int) -> str:
        """Return the blanks with which the line of a character begins."""
        line = self.text[self.text.rfind("\n", 0, at) + 1 : at]
        return line if line.isspace() else ""


def _write_key(key: str) -> str:
    return write_path((key,))


def write_value(value: object) -> str:
    """Write a value as TOML, in one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return toml_string(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(write_value(each) for each in value) + "]"
    if isinstance(value, dict):
        pairs = ", ".join(f"{_write_key(key)} = {write_value(each)}" for key, each in value.items())
        return f"{{ {pairs} }}" if pairs else "{}"
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, int | float | Decimal):
        return str(value).lower()
    raise TypeError(f"TOML has no way to write {value!r}")
