"""Edits the text of a site file: every change replaces one piece, all the rest stays as it is.

The editor holds the text and the plain values that the text should mean. Each change is made to both, and the
two are compared at the end with Python's own TOML reader, so that a mistake of this editor spoils nothing.
"""

import re
import tomllib
from datetime import date, time
from decimal import Decimal
from typing import Any

from config.errors import KeyPath
from config.file.toml_positions import Offsets, Positions
from config.validation.finding import toml_string, write_path

_STEP = "  "
_LINE_END = re.compile(r"\A\r?\n")
_COMMA_AFTER = re.compile(r"[ \t]*,[ \t]*")
_COMMA_BEFORE = re.compile(r"[ \t]*,[ \t]*\Z")
_BLANK_LINE_BEFORE = re.compile(r"\n\r?\n\Z")


class LayoutError(ValueError):
    """The text is TOML, but laid out in a way that cannot be edited here."""


class TomlEditor:
    """A TOML text, without a byte order mark, and the values that it means."""

    def __init__(self, text: str) -> None:
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
        """Return the value at a path, or None."""
        value: Any = self.values
        for part in path:
            try:
                value = value[part]
            except (KeyError, IndexError, TypeError):
                return None
        return value

    def is_inline(self, path: KeyPath) -> bool:
        """Whether a path, or a table that it belongs to, is written behind a ``=``, not under headings."""
        return _is_inline(path, Positions(self.text).offsets)

    def put(self, path: KeyPath, value: Any) -> None:  # noqa: ANN401 (any value that TOML has)
        """Write a value in place of the one at a path, or as a new key of its table."""
        offsets = Positions(self.text).offsets
        if path not in offsets:
            self._add_key(path, value, offsets)
        elif offsets[path].has_value:
            _, start, end = offsets[path]
            self.text = self.text[:start] + write_value(value) + self.text[end:]
        else:
            raise LayoutError(f"{write_path(path)} is a table with a heading")
        self.get(path[:-1])[path[-1]] = value

    def put_list(self, path: KeyPath, values: list[Any]) -> None:
        """Write a list in place of another; where both are as long, only what differs is touched."""
        old = self.get(path)
        if not isinstance(old, list) or len(old) != len(values) or not self.is_inline(path):
            self.put(path, values)
            return
        for index, value in enumerate(values):
            if old[index] != value:
                self.put((*path, index), value)

    def append_table(self, path: KeyPath, values: dict[str, Any]) -> None:
        """Write one more ``[[ ]]`` table behind those of a path, or as the first behind its parent's keys."""
        offsets = Positions(self.text).offsets
        parent, count = path[:-1], len(self.get(path) or ())
        if parent not in offsets:
            raise LayoutError(f"there is no table {write_path(parent)}")
        at = self._end_of_table((*path, count - 1) if count else parent, offsets)
        # Indented as the other tables under the same heading are, else one step further than that heading.
        rows = [
            place.start
            for each, place in offsets.items()
            if not place.has_value and each[:-2] == parent and isinstance(each[-1], int)
        ]
        indent = self._indent_of(rows[0]) if rows else self._indent_of(offsets[parent].start) + _STEP
        name = write_path(tuple(part for part in path if isinstance(part, str)))
        lines = [f"[[{name}]]", *_write_pairs(values)]
        block = self._line_end + "".join(self._line_end + indent + line for line in lines)
        self.text = self.text[:at] + block + self.text[at:]
        self.get(parent).setdefault(path[-1], []).append(values)

    def remove_table(self, path: KeyPath) -> None:
        """Remove one ``[[ ]]`` table; a comment before its heading or after its last line stays."""
        offsets = Positions(self.text).offsets
        if path not in offsets or offsets[path].has_value:
            raise LayoutError(f"{write_path(path)} has no heading")
        inside = [place.value_end for each, place in offsets.items() if each[: len(path)] == path]
        start = self.text.rfind("\n", 0, offsets[path].start) + 1
        rest = self.text[self._end_of_line(max(*inside, offsets[path].start)) :]
        rest = _LINE_END.sub("", rest, count=1)
        # Where a blank line stood on either side, one of them is enough.
        if _BLANK_LINE_BEFORE.search(self.text[:start]):
            rest = _LINE_END.sub("", rest, count=1)
        self.text = self.text[:start] + rest
        del self.get(path[:-1])[path[-1]]
        if not self.get(path[:-1]):
            del self.get(path[:-2])[path[-2]]

    def remove_key(self, path: KeyPath) -> None:
        """Remove a key with its value; under a heading its whole line goes, and a comment on it too."""
        offsets = Positions(self.text).offsets
        if path not in offsets or not offsets[path].has_value:
            raise LayoutError(f"{write_path(path)} is not written with “=”")
        start, _, end = offsets[path]
        if _is_inline(path[:-1], offsets):
            before, after = self.text[:start], self.text[end:]
            # In braces one comma goes with it: the one behind it, else the one before it.
            follows = _COMMA_AFTER.match(after)
            rest = after[follows.end() :] if follows else after
            self.text = (before if follows else _COMMA_BEFORE.sub("", before)) + rest
        else:
            rest = self.text[self._end_of_line(end) :]
            line_start = self.text.rfind("\n", 0, start) + 1
            self.text = self.text[:line_start] + _LINE_END.sub("", rest, count=1)
        del self.get(path[:-1])[path[-1]]

    def _add_key(self, path: KeyPath, value: Any, offsets: dict[KeyPath, Offsets]) -> None:  # noqa: ANN401
        table, (pair,) = path[:-1], _write_pairs({str(path[-1]): value})
        if table not in offsets:
            raise LayoutError(f"there is no table {write_path(table)}")
        if not _is_inline(table, offsets):
            at, indent = self._end_of_table(table, offsets), self._indent_of(offsets[table].start)
            self.text = self.text[:at] + self._line_end + indent + pair + self.text[at:]
            return
        end = max((place.value_end for each, place in offsets.items() if each[:-1] == table), default=-1)
        if end < 0:
            raise LayoutError(f"{write_path(table)} is an empty table in braces")
        self.text = self.text[:end] + f", {pair}" + self.text[end:]

    def _end_of_table(self, table: KeyPath, offsets: dict[KeyPath, Offsets]) -> int:
        """Return where the last line of a table's own keys ends, or that of its heading."""
        ends = [place.value_end for each, place in offsets.items() if each[:-1] == table]
        return self._end_of_line(max([*ends, offsets[table].start]))

    def _end_of_line(self, at: int) -> int:
        end = self.text.find("\n", at)
        if end < 0:
            return len(self.text)
        return end - 1 if self.text[end - 1] == "\r" else end

    def _indent_of(self, at: int) -> str:
        line = self.text[self.text.rfind("\n", 0, at) + 1 : at]
        return line if line.isspace() else ""


def _is_inline(path: KeyPath, offsets: dict[KeyPath, Offsets]) -> bool:
    above = (offsets.get(path[:length]) for length in range(1, len(path) + 1))
    return any(found.has_value for found in above if found)


def _write_pairs(values: dict[str, Any]) -> list[str]:
    return [f"{write_path((key,))} = {write_value(value)}" for key, value in values.items()]


def write_value(value: object) -> str:
    """Write a value as TOML, in one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return toml_string(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(write_value(each) for each in value) + "]"
    if isinstance(value, dict):
        return f"{{ {', '.join(_write_pairs(value))} }}" if value else "{}"
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, int | float | Decimal):
        return str(value).lower()
    raise TypeError(f"TOML has no way to write {value!r}")
