"""The gateway to the keeper: the only way from the web's threads to the keeper's.

What is shown comes from the status that the keeper published after its last round, so that no request,
however many come, can hold up a light.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from config.file.editor import write_program
from config.file.loader import LoadedSite
from config.file.measured_edit import write_measured
from config.models.site import Site, SpecialNight
from config.program.spans import Span
from controller.journal.reader import JournalReader
from controller.keeper.loop import ControlLoop
from controller.keeper.state import KeeperStatus
from controller.planning.planner import Planner
from controller.records.entries import Entry, Override


@dataclass(kw_only=True)
class KeeperGateway:
    """What the web server may ask for.

    Attributes:
        rounds: the keeper's rounds.
        journal: reads the journal, over connections of its own.
        site_path: the site file; None in a demonstration, where nothing is kept.
        take_down: puts something that a person tells into the journal; never blocks.
        written: told of each program that was written and taken.
    """

    rounds: ControlLoop
    journal: JournalReader
    site_path: Path | None
    take_down: Callable[[Entry], None]
    written: Callable[[], None] = lambda: None
    _planner: Planner | None = None

    @property
    def status(self) -> KeeperStatus:
        """The keeper's state after its last round."""
        return self.rounds.status

    @property
    def site(self) -> Site:
        """The site as it is kept now."""
        return self.rounds.keeper.site

    @property
    def tz(self) -> ZoneInfo:
        """The site's time zone, by the data in force."""
        return self.rounds.keeper.planner.tz

    @property
    def planner(self) -> Planner:
        """Plans of the site for the web's own thread; the keeper has its own."""
        site, tz = self.site, self.tz
        if self._planner is None or self._planner.site is not site or self._planner.tz is not tz:
            self._planner = Planner(site, tz=tz)
        return self._planner

    def override(
        self, zone_id: str, *, on: bool, ends_at_utc: datetime | None, lasts_s: float | None
    ) -> Override:
        """Have a zone lit or dark for now.

        Raises:
            UnknownZoneError: no zone has that id.
            ValueError: the wish has no end that could be kept.
            TimeoutError: the keeper did not answer.
        """
        return self.rounds.ask(
            lambda keeper: keeper.override(zone_id, on=on, ends_at_utc=ends_at_utc, lasts_s=lasts_s)
        )

    def lift_override(self, zone_id: str) -> bool:
        """Give a zone back to its program; False where no override was in force.

        Raises:
            UnknownZoneError: no zone has that id.
            TimeoutError: the keeper did not answer.
        """
        return self.rounds.ask(lambda keeper: keeper.lift_override(zone_id))

    def record(self, entry: Entry) -> None:
        """Put something that a person tells into the journal, and have it written soon.

        Raises:
            TimeoutError: the keeper did not answer.
        """
        self.rounds.ask(lambda _keeper: self.take_down(entry))

    def write_program(
        self,
        zone_id: str,
        program: Sequence[Span],
        special_nights: Sequence[SpecialNight] | None,
    ) -> Site:
        """Write a zone's program into the site file, its comments kept, and keep it from now on.

        Args:
            zone_id: id of the zone.
            program: what it does every night.
            special_nights: nights that differ, each with its program; None leaves them as they are.

        Raises:
            UnknownZoneError: no zone has that id.
            SiteFileError: the file with this change would not do; it was not touched.
            OSError: the file could not be written; the old one is intact.
            TimeoutError: the keeper did not answer.
        """
        return self._write(
            lambda path: write_program(path, zone_id, program, special_nights),
            f"the program of {zone_id} was changed",
        )

    def write_measured(
        self,
        zone_id: str,
        *,
        watts: float | None,
        forget_watts: bool,
        volts: Mapping[int, Sequence[float] | None],
    ) -> Site:
        """Write what was measured in a zone into the site file.

        Raises:
            UnknownFixtureError: the zone has no such fixture.
            UnknownZoneError, SiteFileError, OSError, TimeoutError: as ``write_program``.
        """
        return self._write(
            lambda path: write_measured(path, zone_id, watts=watts, forget_watts=forget_watts, volts=volts),
            f"what was measured in {zone_id} was noted",
        )

    def _write(self, change: Callable[[Path], LoadedSite], words: str) -> Site:
        """Change the site file, and have the keeper keep the site that it now tells of."""
        if self.site_path is None:
            raise PermissionError("this is a demonstration: there is no site file to write to")
        site = change(self.site_path).site
        self.rounds.ask(lambda keeper: keeper.change_site(site, words=words))
        self.written()
        return site
