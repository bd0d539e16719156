"""Every error that Leerie raises on purpose, in one tree.

    LeerieError
    ├── ProgramError (ValueError)     a text that is not in the program language
    ├── SiteFileError (ValueError)    a site file with problems; carries all of them
    ├── WiringError (ValueError)      cables and fixtures that are not a tree; carries all problems
    │   └── CableTextError           a text that is not a gauge or a length
    ├── PeriodError (ValueError)      a text that is not a night, month, season or stretch of nights
    ├── UnknownZoneError (KeyError)   no zone has that id
    ├── UnknownFixtureError (KeyError) a zone has no fixture of that number
    ├── RelayError (OSError)          one relay did not do what it was told
    ├── JournalError (OSError)        the journal cannot be read or written now
    │   └── JournalDamagedError       its file is damaged or gone, and must be set aside
    ├── AlreadyRunningError           another keeper holds this state directory
    ├── AccessError (PermissionError) a pairing code or token that is not valid
    │   └── TooManyTriesError        nobody is listened to for a while
    └── AccessFileError (OSError)     the file of who is let in cannot be read or written now

Each one also is the built-in error that a caller would expect, so that code which knows nothing of
Leerie can still catch it. The text of each is one line for a person; where the page shows it, it is a
Phrase, which ``str`` of the error gives.
"""

from dataclasses import dataclass
from enum import StrEnum

from config.phrase import Phrase, list_phrases

KeyPath = tuple[str | int, ...]


class Severity(StrEnum):
    """How much a finding matters, from least to most; the same words in every message and document."""

    OK = "ok"
    NOTE = "note"
    WARNING = "warning"
    ERROR = "error"

    @property
    def rank(self) -> int:
        """0 for ok to 3 for error."""
        return list(Severity).index(self)


class LeerieError(Exception):
    """The root of the tree."""


class ProgramError(LeerieError, ValueError):
    """A text that is not in the program language.

    Attributes:
        column: of the first word that is not valid, counted from 1.
        found: that word, or an empty string at the end of the text.
        expected: what to write there.
        what: what is wrong, one clause; ``lacks`` says what the word is not, such as “not a time”.
        remedy: what to write, and at which column.
    """

    def __init__(
        self, *, text: str, column: int, found: str, expected: str, lacks: Phrase | None = None
    ) -> None:
        self.text = text
        self.column = column
        self.found = found
        self.expected = expected
        self.what = Phrase("ends too early")
        if found:
            self.what = Phrase("“{found}” is {lacks} here", found=found, lacks=lacks or Phrase("not valid"))
        self.remedy = Phrase("write {expected} (column {column})", expected=expected, column=column)
        super().__init__(Phrase("“{text}”: {what}; {remedy}", text=text, what=self.what, remedy=self.remedy))


@dataclass(frozen=True, kw_only=True, slots=True)
class SiteProblem:
    """One thing that is wrong, or probably a mistake, in a site file.

    Attributes:
        file: name of the file as the person gave it.
        line: line number from 1; 0 where the problem belongs to no line.
        key: dotted path with list indexes from 1, such as ``zones[2].pin``.
        value: what the file has there; empty where something is missing.
        what: what is wrong, one clause.
        remedy: what to do, one clause.
        where: the place as a person names it, such as ``zone “jetty”, pin``; empty where the key says it.
    """

    file: str
    line: int
    key: str
    value: str
    what: Phrase
    remedy: Phrase
    where: str = ""

    def __str__(self) -> str:
        subject = self.where or self.key
        if subject and self.value:
            subject = list_phrases([subject, self.value], " = ")
        place = f"{self.file}:{self.line}" if self.line else self.file
        what = list_phrases([self.what, self.remedy], "; ")
        return list_phrases([each for each in (place, subject, what) if each], ": ")


class SiteFileError(LeerieError, ValueError):
    """A site file that cannot be used; ``problems`` holds every one found, in the order of the file."""

    def __init__(self, problems: tuple[SiteProblem, ...]) -> None:
        self.problems = problems
        super().__init__(list_phrases([str(problem) for problem in problems], "\n"))


class WiringError(LeerieError, ValueError):
    """Cables and fixtures that cannot be computed; ``problems`` holds one sentence for each thing wrong."""

    def __init__(self, *problems: str) -> None:
        self.problems = problems
        super().__init__(list_phrases(problems, "\n"))


class CableTextError(WiringError):
    """A text that is not a gauge or a length; ``what`` and ``remedy`` say what is wrong and what to write."""

    def __init__(self, text: str, what: Phrase, remedy: Phrase) -> None:
        self.what = what
        self.remedy = remedy
        super().__init__(Phrase("“{text}” {what}; {remedy}", text=text, what=what, remedy=remedy))


class PeriodError(LeerieError, ValueError):
    """A text that is not a night, month, season or stretch of nights."""


class UnknownZoneError(LeerieError, KeyError):
    """No zone of the site has that id; ``now`` is that of the zone that had it earlier."""

    def __init__(self, zone_id: str, known: tuple[str, ...], *, now: str | None = None) -> None:
        self.zone_id = zone_id
        self.known = known
        self.now = now
        super().__init__(zone_id)

    def __str__(self) -> str:
        if self.now is not None:
            return Phrase(
                "no zone is called “{zone}” any more; it is now “{now}”", zone=self.zone_id, now=self.now
            )
        known = ", ".join(self.known)
        return Phrase("no zone is called “{zone}”; this site has {known}", zone=self.zone_id, known=known)


class UnknownFixtureError(LeerieError, KeyError):
    """A zone has no fixture of that number, counted from 1."""

    def __init__(self, zone_id: str, place: int, count: int) -> None:
        self.zone_id = zone_id
        self.place = place
        self.count = count
        super().__init__(zone_id)

    def __str__(self) -> str:
        zone, place = self.zone_id, self.place
        if self.count > 1:
            most = self.count
            return Phrase(
                "zone “{zone}” has no fixture {place}; it has 1 to {most}", zone=zone, place=place, most=most
            )
        if self.count == 1:
            return Phrase("zone “{zone}” has no fixture {place}; it has 1", zone=zone, place=place)
        return Phrase("zone “{zone}” has no fixture {place}; it has none", zone=zone, place=place)


class RelayError(LeerieError, OSError):
    """One relay could not be opened, set or read back; the others are not touched."""


class JournalError(LeerieError, OSError):
    """The journal cannot be opened, read or written now; what waits to be written is kept."""


class JournalDamagedError(JournalError):
    """The journal's file is damaged or gone; it has to be set aside and a fresh one started."""


class AlreadyRunningError(LeerieError):
    """Another keeper already holds this state directory."""


class AccessError(LeerieError, PermissionError):
    """A pairing code or a token that is not valid, or one device too many."""


class TooManyTriesError(AccessError):
    """Too many wrong codes came within a minute; none is listened to for ``wait_s`` seconds."""

    def __init__(self, words: str, *, wait_s: int) -> None:
        self.wait_s = wait_s
        super().__init__(words)


class AccessFileError(LeerieError, OSError):
    """The file of who is let in cannot be read or written now; it stays as it is."""
