"""Edits the text of a site file: every change replaces one piece, all the rest stays as it is.

The editor holds the text and the plain values that the text should mean. Each change is made to both, and the
two are compared at the end with Python's own TOML reader, so that a mistake of this editor spoils nothing.
Every comment stays: where what it stood in goes, it gets a line of its own.
"""

import re
import tomllib
from collections import Counter
from datetime import date, time
from decimal import Decimal
from difflib import SequenceMatcher
from typing import Any

from config.errors import KeyPath
from config.file.toml_lists import insert_element, remove_element
from config.file.toml_positions import Offsets, Positions
from config.validation.finding import toml_string, write_path

_STEP = "  "
_LINE_END = re.compile(r"\A\r?\n")
_COMMA_AFTER = re.compile(r"[ \t]*,[ \t]*")
_COMMA_BEFORE = re.compile(r"[ \t]*,[ \t]*\Z")
_EMPTY_LINE = re.compile(r"[ \t]*(?:\r?\n|\Z)")
_BLANK_LINE_BEFORE = re.compile(r"\n\r?\n\Z")
_COMMENT_BEFORE = re.compile(r"(?:\A|\n)[ \t]*#[^\n]*\n\Z")
# Comments right behind a table, and nothing right behind them, belong to it.
_COMMENTS_AFTER = re.compile(r"(?:\r?\n[ \t]*#[^\r\n]*)+(?=\r?\n[ \t]*(?:\r?\n|\Z)|\Z)")


class LayoutError(ValueError):
    """The text is TOML, but laid out in a way that cannot be edited here."""


class TomlEditor:
    """A TOML text, without a byte order mark, and the values that it means."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.values: dict[str, Any] = tomllib.loads(text, parse_float=Decimal)
        self._line_end = "\r\n" if text.partition("\n")[0].endswith("\r") else "\n"
        self._comments = _count_comments(text)

    @property
    def is_consistent(self) -> bool:
        """Whether the text means what it should after all changes, and has every comment that it had."""
        try:
            means_it = tomllib.loads(self.text, parse_float=Decimal) == self.values
        except tomllib.TOMLDecodeError:
            return False
        return means_it and self._comments <= _count_comments(self.text)

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
        """Write a value in place of the one at a path, or as a new key of its table.

        What is the same in a list, or in a table in braces, is not touched.
        """
        positions, old = Positions(self.text), self.get(path)
        if path not in positions.offsets:
            self._add_key(path, value, positions.offsets)
        elif not positions.offsets[path].has_value:
            raise LayoutError(f"{write_path(path)} is a table with a heading")
        elif isinstance(old, list) and isinstance(value, list):
            self._change_list(path, old, value)
        elif old and isinstance(old, dict) and value and isinstance(value, dict):
            for key, each in value.items():
                self.put((*path, key), each)
            for key in old.keys() - value.keys():
                self.remove_key((*path, key))
        elif write_value(old) != write_value(value):
            _, start, end = positions.offsets[path]
            self._put_above(path, positions, self.text[:start] + write_value(value) + self.text[end:])
        self.get(path[:-1])[path[-1]] = value

    def insert_table(self, path: KeyPath, values: dict[str, Any], *, behind: KeyPath = ()) -> None:
        """Write a ``[[ ]]`` table at a path: behind the one before, or behind its parent's own keys.

        Comments right behind those stay there. The first of its kind may be put behind another table.
        """
        path, index = path[:-1], int(path[-1])
        offsets = Positions(self.text).offsets
        parent = path[:-1]
        if parent and parent not in offsets:
            raise LayoutError(f"there is no table {write_path(parent)}")
        if index or behind:
            at = self._end_of_all((*path, index - 1) if index else behind, offsets)
        else:
            at = self._end_of_table(parent, offsets) if parent else self._end_of_settings(offsets)
        at = self._after_comments(at)
        # Indented as the other tables under the same heading are, else one step further than that heading.
        rows = [
            place.start
            for each, place in offsets.items()
            if not place.has_value and each[:-2] == parent and isinstance(each[-1], int)
        ]
        above = self._indent_of(offsets[parent].start) + _STEP if parent else ""
        indent = self._indent_of(rows[0]) if rows else above
        name = write_path(tuple(part for part in path if isinstance(part, str)))
        lines = [f"[[{name}]]", *_write_pairs(values)]
        block = self._line_end + "".join(self._line_end + indent + line for line in lines)
        self.text = self.text[:at] + block + self.text[at:]
        self.get(parent).setdefault(path[-1], []).insert(index, values)

    def add_settings(self, name: str, values: dict[str, Any]) -> None:
        """Write a new ``[ ]`` table behind those that there are, with comments right behind them."""
        at = self._after_comments(self._end_of_settings(Positions(self.text).offsets))
        lines = [f"[{write_path((name,))}]", *_write_pairs(values)]
        block = self._line_end + "".join(self._line_end + line for line in lines)
        self.text = self.text[:at] + block + self.text[at:]
        self.values[name] = values

    def remove_table(self, path: KeyPath) -> None:
        """Remove one table with all that belongs to it; its comments stay, each on a line of its own."""
        positions = Positions(self.text)
        offsets = positions.offsets
        if path not in offsets or offsets[path].has_value:
            raise LayoutError(f"{write_path(path)} has no heading")
        start = self._start_of_line(offsets[path].start)
        inside = [place.value_end for each, place in offsets.items() if each[: len(path)] == path]
        end = self._end_of_line(max(*inside, offsets[path].start))
        before = self.text[:start] + self._comment_lines(positions, start, end, indent_like=start)
        rest = _LINE_END.sub("", self.text[end:], count=1)
        if _COMMENT_BEFORE.search(before):
            # The comments of what went do not belong to what follows.
            if rest and not _EMPTY_LINE.match(rest):
                before += self._line_end
        elif _BLANK_LINE_BEFORE.search(before):
            # Where a blank line stood on either side, one of them is enough.
            rest = _LINE_END.sub("", rest, count=1)
        self.text = before + rest
        self._forget(path)
        if not self.get(path[:-1]):
            self._forget(path[:-1])

    def remove_key(self, path: KeyPath) -> None:
        """Remove a key with its value; under a heading its whole line goes, but for a comment on it."""
        positions = Positions(self.text)
        if path not in positions.offsets or not positions.offsets[path].has_value:
            raise LayoutError(f"{write_path(path)} is not written with “=”")
        start, _, end = positions.offsets[path]
        if _is_inline(path[:-1], positions.offsets):
            before, after = self.text[:start], self.text[end:]
            # In braces one comma goes with it: the one behind it, else the one before it.
            follows = _COMMA_AFTER.match(after)
            rest = after[follows.end() :] if follows else after
            self._put_above(path, positions, (before if follows else _COMMA_BEFORE.sub("", before)) + rest)
        else:
            line_start, line_end = self._start_of_line(start), self._end_of_line(end)
            comments = self._comment_lines(positions, line_start, line_end, indent_like=line_start)
            rest = _LINE_END.sub("", self.text[line_end:], count=1)
            self.text = self.text[:line_start] + comments + rest
        self._forget(path)

    def _change_list(self, path: KeyPath, old: list[Any], new: list[Any]) -> None:
        """Make one list of another; an element that changes keeps the comment behind it."""
        one, other = ([write_value(each) for each in values] for values in (old, new))
        steps = SequenceMatcher(None, one, other, autojunk=False).get_opcodes()
        for step, start, end, new_start, new_end in reversed(steps):
            if step == "equal":
                continue
            changed = min(end - start, new_end - new_start)
            for index in reversed(range(start + changed, end)):
                positions = Positions(self.text)
                text = remove_element(self.text, positions.offsets, path, index)
                self._put_above((*path, index), positions, text)
                del old[index]
            for index in range(changed, new_end - new_start):
                place = path, start + index, other[new_start + index]
                offsets = Positions(self.text).offsets
                self.text = insert_element(self.text, offsets, *place, line_end=self._line_end)
                old.insert(start + index, new[new_start + index])
            for index in range(changed):
                self.put((*path, start + index), new[new_start + index])

    def _put_above(self, path: KeyPath, positions: Positions, text: str) -> None:
        """Take a text without the value at a path, and put the comments in that above the line of its key."""
        _, start, end = positions.offsets[path]
        lengths = range(1, len(path) + 1)
        key = next(path[:length] for length in lengths if _is_inline(path[:length], positions.offsets))
        at = self._start_of_line(positions.offsets[key].start)
        self.text = text[:at] + self._comment_lines(positions, start, end, indent_like=at) + text[at:]

    def _comment_lines(self, positions: Positions, start: int, end: int, *, indent_like: int) -> str:
        """Give the comments in a piece of the text as lines, set in as the line that begins at an offset."""
        line = self.text[indent_like : self._end_of_line(indent_like)]
        indent = line[: len(line) - len(line.lstrip(" \t"))]
        inside = [self.text[one:other] for one, other in positions.comments if start <= one < end]
        return "".join(indent + comment + self._line_end for comment in inside)

    def _forget(self, path: KeyPath) -> None:
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

    def _end_of_all(self, table: KeyPath, offsets: dict[KeyPath, Offsets]) -> int:
        """Return where the last line of a table ends, or that of the last table inside it."""
        inside = [place for each, place in offsets.items() if each[: len(table)] == table]
        if not inside:
            raise LayoutError(f"there is no table {write_path(table)}")
        return self._end_of_line(max(max(place.value_end, place.start) for place in inside))

    def _end_of_settings(self, offsets: dict[KeyPath, Offsets]) -> int:
        """Return where the last of the ``[ ]`` tables ends, with all that belongs to it."""
        tables = [
            (place.start, path)
            for path, place in offsets.items()
            if len(path) == 1 and not place.has_value and isinstance(self.get(path), dict)
        ]
        if not tables:
            raise LayoutError("there is no table with a heading")
        return self._end_of_all(max(tables)[1], offsets)

    def _after_comments(self, at: int) -> int:
        comments = _COMMENTS_AFTER.match(self.text, at)
        return comments.end() if comments else at

    def _start_of_line(self, at: int) -> int:
        return self.text.rfind("\n", 0, at) + 1

    def _end_of_line(self, at: int) -> int:
        end = self.text.find("\n", at)
        if end < 0:
            return len(self.text)
        return end - 1 if self.text[end - 1] == "\r" else end

    def _indent_of(self, at: int) -> str:
        line = self.text[self._start_of_line(at) : at]
        return line if line.isspace() else ""


def _is_inline(path: KeyPath, offsets: dict[KeyPath, Offsets]) -> bool:
    above = (offsets.get(path[:length]) for length in range(1, len(path) + 1))
    return any(found.has_value for found in above if found)


def _count_comments(text: str) -> Counter[str]:
    return Counter(text[start:end].rstrip() for start, end in Positions(text).comments)


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
