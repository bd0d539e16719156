"""The last change of the garden by one of its forms, and the way back while nothing else was changed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Literal

from api.page.garden.parts import Part
from api.page.sentences import by_words
from api.render.words import N_, Words
from controller.records.reading import Reading

How = Literal["added", "changed", "taken out"]
_HOW: dict[How, str] = {"added": N_("added"), "changed": N_("changed"), "taken out": N_("taken out")}


@dataclass(frozen=True, kw_only=True, slots=True)
class GardenChange:
    """What was changed by whom, and the site file's text before and after.

    It is kept in memory, and good for as long as the file has the text that it had afterwards.
    """

    part: Part
    how: How
    by: str
    at: Reading
    before: str
    after: str

    @property
    def id(self) -> str:
        """What tells it from any other change."""
        return sha256(self.after.encode()).hexdigest()[:16]

    def undone(self, *, by: str, at: Reading) -> GardenChange:
        """Give the change that takes this one back, which can itself be taken back."""
        how: dict[How, How] = {"added": "taken out", "taken out": "added", "changed": "changed"}
        return replace(self, how=how[self.how], by=by, at=at, before=self.after, after=self.before)

    def prose(self, now: Reading, words: Words) -> str:
        """Say whose it was, and what was changed."""
        _ = words.gettext
        title = self.part.title if self.part.is_name else _(self.part.title) % {"name": self.part.name}
        return _("Last change, %(moment)s, by %(who)s: %(what)s, %(how)s.") % {
            "moment": words.moment(self.at.utc, now.utc),
            "who": by_words(self.by, words),
            "what": title,
            "how": _(_HOW[self.how]),
        }
