"""The last proposal that was written into the site file, and the way back while nothing else was changed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from hashlib import sha256

from api.page.cables.proposals import work_on_site
from api.page.sentences import by_words
from api.render.words import Words
from controller.inspection.proposals import Proposal
from controller.records.reading import Reading


@dataclass(frozen=True, kw_only=True, slots=True)
class CableChange:
    """Which proposal was written or taken back by whom, and the site file's text before and after.

    It is kept in memory, and good for as long as the file has the text that it had afterwards.
    """

    transformer: str
    proposal: Proposal
    taken_back: bool
    by: str
    at: Reading
    before: str
    after: str

    @property
    def id(self) -> str:
        """What tells it from any other change."""
        return sha256(self.after.encode()).hexdigest()[:16]

    def undone(self, *, by: str, at: Reading) -> CableChange:
        """Give the change that takes this one back, which can itself be taken back."""
        return replace(
            self, taken_back=not self.taken_back, by=by, at=at, before=self.after, after=self.before
        )

    def show(self, now: Reading, words: Words) -> ShownChange:
        """Say what was done, and what is left to do in the garden."""
        _ = words.gettext
        said = (
            _("Taken out of the site file again, %(moment)s, by %(who)s:")
            if self.taken_back
            else _("Written into the site file, %(moment)s, by %(who)s:")
        )
        return ShownChange(
            id=self.id,
            transformer=self.transformer,
            taken_back=self.taken_back,
            said=said % {"moment": words.moment(self.at.utc, now.utc), "who": by_words(self.by, words)},
            what=self.proposal.clauses,
            work=() if self.taken_back else work_on_site(self.proposal, words),
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class ShownChange:
    """The last change as the screen has it: ``what`` was written; ``work`` is left to do in the garden."""

    id: str
    transformer: str
    taken_back: bool
    said: str
    what: tuple[str, ...]
    work: tuple[str, ...]
