"""The gateway to the keeper: the only way from the web's threads to the keeper's.

What is shown comes from the status that the keeper published after its last round, so that no request,
however many come, can hold up a light.
"""

import threading
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

from api.web.hub import EventHub
from config.file.loader import LoadedSite
from config.models.site import Site
from controller.history.source import RenamedJournal
from controller.journal.reader import JournalReader
from controller.journal.recent import RecentEntries
from controller.keeper.loop import ControlLoop
from controller.keeper.state import KeeperStatus
from controller.planning.planner import Planner
from controller.records.entries import Entry


def _one_at_a_time() -> Callable[[], AbstractContextManager[object]]:
    lock = threading.Lock()
    return lambda: lock


@dataclass(kw_only=True)
class KeeperGateway:
    """What the web server may ask of the keeper, the journal and the site file.

    Attributes:
        reader: reads the journal as it was written; see ``journal``.
        site_path: the site file; None in a demonstration, where nothing is written.
        append: puts an entry into the journal's queue; never blocks.
        unwritten: gives what waits in that queue.
        editing: held while the site file is written and taken over; raises SiteFileError where it may not.
        recent: what was recorded since the start, for the streams of the hub.
        on_site_written: called with what was written, after it was taken over.
    """

    loop: ControlLoop
    reader: JournalReader
    site_path: Path | None
    append: Callable[[Entry], None]
    unwritten: Callable[[], Iterable[object]] = tuple
    editing: Callable[[], AbstractContextManager[object]] = field(default_factory=_one_at_a_time)
    on_site_written: Callable[[LoadedSite], None] = lambda _loaded: None
    recent: RecentEntries = field(default_factory=RecentEntries)
    hub: EventHub = field(default_factory=EventHub)
    _planner: Planner | None = None

    @property
    def status(self) -> KeeperStatus:
        """The keeper's state after its last round."""
        return self.loop.status

    @property
    def site(self) -> Site:
        """The site as the keeper has it now."""
        return self.loop.keeper.site

    @property
    def journal(self) -> RenamedJournal:
        """The journal, by what zones and fixtures are called now."""
        return RenamedJournal(self.reader, self.site)

    @property
    def tz(self) -> ZoneInfo:
        """The site's time zone, by the data in force."""
        return self.loop.keeper.planner.tz

    @property
    def planner(self) -> Planner:
        """The site's planner for the web's threads; the keeper has its own."""
        site, tz = self.site, self.tz
        if self._planner is None or self._planner.site is not site or self._planner.tz is not tz:
            self._planner = Planner(site, tz=tz)
        return self._planner
