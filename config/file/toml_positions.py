"""Where each key and each list element of a TOML text stands.

Python's own reader tells values but not their places. This scanner walks over a text that the reader has
already accepted, so it need not judge anything: it only remembers where keys and values begin and end.
It is used only when there is something to say about a file.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass

from config.errors import KeyPath

_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_KEY = re.compile(r"[A-Za-z0-9_-]+|\"(?:[^\"\\]|\\.)*\"|'[^']*'")
# A text of several lines may end in up to five quotes, two of which belong to the text.
_TEXT = re.compile(
    r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})' r"|'''.*?'''(?:'{0,2})" r'|"(?:[^"\\]|\\.)*"' r"|'[^']*'", re.DOTALL
)
# A date and a time may have one blank between them; nothing else without quotes has one.
_BARE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2} [0-9]{2}:[^\s,\]}#]+|[^\s,\]}#]+")
_LONGEST_VALUE = 60


@dataclass(frozen=True, kw_only=True, slots=True)
class TextPosition:
    """Where something stands in a text.

    Attributes:
        offset: characters before its key, or before the element of a list.
        line: line number of the same place, from 1; 0 where it stands nowhere.
        value: the value as written, in one line and shortened; empty for a table and for what is not there.
    """

    offset: int
    line: int
    value: str


class Positions:
    """The places of all keys and list elements of one text.

    Attributes:
        marks: for each path, with list places from 0: the character at which its key, its heading or its
            element begins, and, for what is written behind ``=``, the characters at which the value
            begins and ends.
    """

    def __init__(self, text: str) -> None:
        """Scan a text that is known to be TOML, without a byte order mark."""
        self._text = text
        self.marks = _Scanner(text).marks

    def find(self, path: KeyPath) -> TextPosition:
        """Return where a path stands, or, where it is missing, the table in which it should stand."""
        if path in self.marks:
            start, *value = self.marks[path]
            return TextPosition(
                offset=start, line=self._line(start), value=self.written(path) if value else ""
            )
        while path := path[:-1]:
            if path in self.marks:
                start = self.marks[path][0]
                return TextPosition(offset=start, line=self._line(start), value="")
        return TextPosition(offset=-1, line=0, value="")

    def written(self, path: KeyPath) -> str:
        """Return a value as written, in one line, shortened where it is long."""
        _, start, end = self.marks[path]
        value = " ".join(self._text[start:end].split())
        return value if len(value) <= _LONGEST_VALUE else value[: _LONGEST_VALUE - 1] + "…"

    def _line(self, offset: int) -> int:
        return self._text.count("\n", 0, offset) + 1


class _Scanner:
    """Walks once over a TOML text and marks each path: its start, and start and end of a written value."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.marks: dict[KeyPath, tuple[int, ...]] = {}
        self._counts: dict[KeyPath, int] = {}
        table: KeyPath = ()
        self._skip(_BLANK)
        while self.at < len(text):
            if text[self.at] == "[":
                table = self._read_header()
            else:
                self._read_pair(table)
            self._skip(_BLANK)

    def _skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            raise ValueError(f"not TOML at character {self.at}")
        self.at = match.end()
        return match[0]

    def _read_header(self) -> KeyPath:
        """Read ``[a.b]`` or ``[[a.b]]`` and return the path of the table that it opens."""
        start = self.at
        brackets = 2 if self.text.startswith("[[", start) else 1
        self.at += brackets
        parts = self._read_key()
        self.at += brackets
        path: KeyPath = ()
        for part in parts[:-1]:
            path = self._enter((*path, part), start)
        path = (*path, parts[-1])
        if brackets == 1:
            self.marks[path] = (start,)
            return path
        self.marks.setdefault(path, (start,))
        self._counts[path] = self._counts.get(path, 0) + 1
        return self._enter(path, start)

    def _enter(self, path: KeyPath, start: int) -> KeyPath:
        """Step into a table, or into the latest of a list of tables."""
        self.marks.setdefault(path, (start,))
        if path not in self._counts:
            return path
        path = (*path, self._counts[path] - 1)
        self.marks.setdefault(path, (start,))
        return path

    def _read_key(self) -> list[str]:
        """Read a key with its dots."""
        parts: list[str] = []
        while True:
            self._skip(_SPACE)
            part = self._skip(_KEY)
            parts.append(str(tomllib.loads(f"key = {part}")["key"]) if part[0] in "\"'" else part)
            self._skip(_SPACE)
            if self.text[self.at] != ".":
                return parts
            self.at += 1

    def _read_pair(self, table: KeyPath) -> None:
        """Read ``a.b = value``."""
        start = self.at
        path = table
        for part in self._read_key():
            path = (*path, part)
            self.marks.setdefault(path, (start,))
        self.at += 1
        self._skip(_SPACE)
        self._read_value(path, start)

    def _read_value(self, path: KeyPath, start: int) -> None:
        """Read a value of any kind and mark it; ``start`` is where its key stands."""
        value_start = self.at
        first = self.text[self.at]
        if first in "\"'":
            self._skip(_TEXT)
        elif first in "[{":
            self._read_inside(path, "]" if first == "[" else "}")
        else:
            self._skip(_BARE)
        self.marks[path] = (start, value_start, self.at)

    def _read_inside(self, path: KeyPath, closing: str) -> None:
        """Read what stands between the brackets of a list or the braces of a table in one line."""
        self.at += 1
        index = 0
        self._skip(_BLANK)
        while self.text[self.at] != closing:
            if closing == "}":
                self._read_pair(path)
            else:
                self._read_value((*path, index), self.at)
            index += 1
            self._skip(_BLANK)
            if self.text[self.at] == ",":
                self.at += 1
                self._skip(_BLANK)
        self.at += 1
