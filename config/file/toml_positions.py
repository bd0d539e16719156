"""Where each key and each list element of a TOML text is.

Python's own reader gives values but not their places. This scanner reads a text that the reader has already
accepted, so it checks nothing: it only records where keys and values begin and end. It is used only when
there is something to report about a file, or to edit it.
"""

import re
import tomllib
from typing import NamedTuple

from config.errors import KeyPath

BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_KEY = re.compile(r"[ \t]*(?:[A-Za-z0-9_-]+|\"(?:[^\"\\]|\\.)*\"|'[^']*')[ \t]*")
# A text of several lines may end in up to five quotes, two of which belong to the text.
_TEXT = re.compile(
    r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})' r"|'''.*?'''(?:'{0,2})" r'|"(?:[^"\\]|\\.)*"' r"|'[^']*'", re.DOTALL
)
# A date and a time may have one blank between them; nothing else without quotes has one.
_BARE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2} [0-9]{2}:[^\s,\]}#]+|[^\s,\]}#]+")
_COMMENT = re.compile(r"#[^\r\n]*")
_LONGEST_VALUE = 60


class TextPosition(NamedTuple):
    """Where something is in a text: its first character, its line from 1, and its value, shortened.

    Offset -1 and line 0 are nowhere; the value of a table, and of what is missing, is empty.
    """

    offset: int
    line: int
    value: str


class Offsets(NamedTuple):
    """Where a key, a heading or an element begins, and where its value, if any, begins and ends."""

    start: int
    value_start: int = -1
    value_end: int = -1

    @property
    def has_value(self) -> bool:
        """Whether it is written behind ``=`` or in a list, and not under a heading."""
        return self.value_end >= 0


class Positions:
    """The offsets of all keys and list elements of one TOML text, by their paths with list indexes from 0.

    ``comments`` are the offsets of each comment, without the end of its line, in the order of the text.
    """

    def __init__(self, text: str) -> None:
        self.offsets: dict[KeyPath, Offsets] = {}
        self.comments: list[tuple[int, int]] = []
        self._text = text
        self._at = 0
        self._counts: dict[KeyPath, int] = {}
        table: KeyPath = ()
        self._skip_blank()
        while self._at < len(text):
            if text[self._at] == "[":
                table = self._read_header()
            else:
                self._read_pair(table)
            self._skip_blank()

    def find(self, path: KeyPath) -> TextPosition:
        """Return where a path is, or, where it is missing, the table in which it should be."""
        for length in range(len(path), 0, -1):
            if found := self.offsets.get(path[:length]):
                line = self._text.count("\n", 0, found.start) + 1
                return TextPosition(found.start, line, self._quote(found) if length == len(path) else "")
        return TextPosition(-1, 0, "")

    def _quote(self, found: Offsets) -> str:
        value = " ".join(self._text[found.value_start : found.value_end].split()) if found.has_value else ""
        return value if len(value) <= _LONGEST_VALUE else value[: _LONGEST_VALUE - 1] + "…"

    def _skip_blank(self) -> None:
        start = self._at
        blank = self._skip(BLANK)
        if "#" in blank:
            self.comments += (
                (start + found.start(), start + found.end()) for found in _COMMENT.finditer(blank)
            )

    def _skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self._text, self._at)
        if match is None:
            raise ValueError(f"not TOML at character {self._at}")
        self._at = match.end()
        return match[0]

    def _read_header(self) -> KeyPath:
        start = self._at
        brackets = 2 if self._text.startswith("[[", start) else 1
        self._at += brackets
        parts = self._read_key()
        self._at += brackets
        path: KeyPath = ()
        for part in parts[:-1]:
            path = self._enter((*path, part), start)
        path = (*path, parts[-1])
        if brackets == 1:
            self.offsets[path] = Offsets(start)
        else:
            self._counts[path] = self._counts.get(path, 0) + 1
        return self._enter(path, start)

    def _enter(self, path: KeyPath, start: int) -> KeyPath:
        self.offsets.setdefault(path, Offsets(start))
        if path not in self._counts:
            return path
        path = (*path, self._counts[path] - 1)
        self.offsets.setdefault(path, Offsets(start))
        return path

    def _read_key(self) -> list[str]:
        parts: list[str] = []
        while True:
            part = self._skip(_KEY).strip()
            parts.append(str(tomllib.loads(f"key = {part}")["key"]) if part[0] in "\"'" else part)
            if self._text[self._at] != ".":
                return parts
            self._at += 1

    def _read_pair(self, table: KeyPath) -> None:
        start = self._at
        path = table
        for part in self._read_key():
            path = (*path, part)
            self.offsets.setdefault(path, Offsets(start))
        self._at += 1
        self._skip(_SPACE)
        self._read_value(path, start)

    def _read_value(self, path: KeyPath, start: int) -> None:
        value_start = self._at
        first = self._text[self._at]
        if first in "\"'":
            self._skip(_TEXT)
        elif first in "[{":
            self._read_inside(path, "]" if first == "[" else "}")
        else:
            self._skip(_BARE)
        self.offsets[path] = Offsets(start, value_start, self._at)

    def _read_inside(self, path: KeyPath, closing: str) -> None:
        self._at += 1
        index = 0
        self._skip_blank()
        while self._text[self._at] != closing:
            if closing == "}":
                self._read_pair(path)
            else:
                self._read_value((*path, index), self._at)
            index += 1
            self._skip_blank()
            if self._text[self._at] == ",":
                self._at += 1
                self._skip_blank()
        self._at += 1
