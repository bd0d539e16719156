"""The clerk of the past: answers from the journal what was switched, page by page, the newest first."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from urllib.parse import urlencode

from api.render.instants import instant_text
from api.web.context import Clerk
from api.web.problems.handlers import refuse
from api.web.schemas.requests import SwitchingsAsk
from api.web.schemas.responses import SwitchingAnswer, SwitchingsAnswer
from config.errors import UnknownZoneError
from controller.calendar.intervals import ms_of, utc_of
from controller.calendar.night import night_on
from controller.records.entries import Switching

USUAL_STRETCH = timedelta(days=7)
_MILLISECOND = timedelta(milliseconds=1)


class PastClerk:
    """Answers from one journal.

    Args:
        clerk: knows the desk, and what time it is.
    """

    def __init__(self, clerk: Clerk) -> None:
        """Sit down beside the other one."""
        self._clerk = clerk

    def switchings(self, ask: SwitchingsAsk) -> SwitchingsAnswer:
        """List changes of relays, the newest first.

        Raises:
            JournalError: the journal cannot be read now.
        """
        from_utc, to_utc = self._stretch(ask)
        skip = 0
        if ask.cursor is not None:
            # A page ends at an instant of which so many switchings were given already.
            at_ms, skip = (int(part) for part in ask.cursor.split("."))
            to_utc = utc_of(at_ms) + _MILLISECOND
        desk = self._clerk.desk
        wanted = skip + ask.limit + 1
        found = list(
            desk.journal.switchings(from_utc, to_utc, zone=ask.zone, limit=wanted, newest_first=True)
        )[skip:]
        if ask.zone is not None and not found:
            self._require_zone(ask.zone)
        page = found[: ask.limit]
        link = self._link(ask, from_utc, page, skip) if len(found) > len(page) else None
        return SwitchingsAnswer(
            site=desk.site.name, switchings=[_show_switching(each) for each in page], next=link
        )

    def _stretch(self, ask: SwitchingsAsk) -> tuple[datetime, datetime | None]:
        """Say over which stretch of time; open at the end where nobody named one.

        A clock that once ran ahead left entries that lie in the future now; they are shown with the newest.
        """
        to_utc = None if ask.to_edge is None else self._edge(ask.to_edge, ends=True)
        if ask.from_edge is not None:
            from_utc = self._edge(ask.from_edge, ends=False)
        else:
            from_utc = (to_utc or self._clerk.now().utc) - USUAL_STRETCH
        if to_utc is not None and to_utc <= from_utc:
            words = (
                f"to = {instant_text(to_utc)} is not after from = {instant_text(from_utc)}; give a later one"
            )
            raise refuse("invalid-request", words, errors=[{"detail": words, "parameter": "to"}])
        return from_utc, to_utc

    def _edge(self, edge: date | datetime, *, ends: bool) -> datetime:
        """Give the instant of an edge: itself, or the beginning or the end of the night that it names."""
        if isinstance(edge, datetime):
            return edge
        with self._clerk.planner_lock:
            night = night_on(edge, self._clerk.desk.planner.tz)
        return night.ends_at_utc if ends else night.starts_at_utc

    def _require_zone(self, zone_id: str) -> None:
        """Refuse a zone that neither the site nor the journal has; one that is gone keeps its past."""
        try:
            self._clerk.desk.site.zone(zone_id)
        except UnknownZoneError:
            if not list(self._clerk.desk.journal.switchings(zone=zone_id, limit=1)):
                raise

    def _link(self, ask: SwitchingsAsk, from_utc: datetime, page: list[Switching], skip: int) -> str:
        """Say where the older ones are."""
        end_ms = ms_of(page[-1].at.utc)
        given = sum(ms_of(each.at.utc) == end_ms for each in page)
        if given == len(page) and ask.cursor is not None and int(ask.cursor.split(".")[0]) == end_ms:
            given += skip
        query = {"from": from_utc.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z", "limit": ask.limit}
        if ask.zone is not None:
            query["zone"] = ask.zone
        return f"/v1/switchings?{urlencode({**query, 'cursor': f'{end_ms}.{given}'}, safe=':')}"


def _show_switching(switching: Switching) -> SwitchingAnswer:
    """Show one change of one relay."""
    return SwitchingAnswer(
        at=instant_text(switching.at.utc),
        zone=switching.zone,
        on=switching.on,
        cause=str(switching.cause),
        because=switching.words,
        trusted=switching.at.trusted,
        load_w=switching.load_w,
        load_from=switching.load_from or None,
    )
