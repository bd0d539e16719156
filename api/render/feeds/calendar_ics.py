"""The nights to come as a calendar (RFC 5545, with the properties of RFC 7986), for any calendar program.

Imported at the first request for one.
"""

from collections import Counter
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from uuid import UUID, uuid5

from icalendar import Calendar, Event

from config.models.site import Zone
from controller.calendar.night import nights
from controller.planning.plan import NightPlan, Window
from controller.planning.planner import Planner

NIGHTS = 60
# A calendar of more ends with an earlier night.
MOST_EVENTS = 5000
# How often a program that subscribed asks again: a change of a program shows on the same day.
ASK_AGAIN = timedelta(hours=12)
# Of Leerie's events alone, so that no other name-based UUID (RFC 9562, section 5.5) is the same.
_NAMESPACE = UUID("0d25d0fd-bf66-4bc0-83c1-8fd222252dfd")


def write_calendar(planner: Planner, zones: Sequence[Zone], *, tonight: date, changed_utc: datetime) -> bytes:
    """Write when some zones are lit in the coming nights, by the site file alone.

    A zone that is out of service is never lit. Asked again on the same night, of the same site file, it is
    the same to the byte: ``changed_utc`` is when the site file was changed last.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//Leerie//Lights//EN")
    calendar.add("version", "2.0")
    calendar.add("name", planner.site.name)
    calendar.add("description", "When each zone is lit, by the site file alone.")
    calendar.add("last-modified", changed_utc)
    calendar.add("refresh-interval", ASK_AGAIN, parameters={"VALUE": "DURATION"})
    in_service = [zone for zone in zones if zone.out_of_service is None]
    for night in nights(tonight, tonight + timedelta(days=NIGHTS - 1), planner.tz):
        for zone in in_service:
            for event in _events(planner.site.name, zone, planner.plan(zone.id, night)):
                event.add("dtstamp", changed_utc)
                calendar.add_component(event)
        if len(calendar.subcomponents) >= MOST_EVENTS:
            break
    written: bytes = calendar.to_ical()
    return written


def _events(site: str, zone: Zone, plan: NightPlan) -> list[Event]:
    seen: Counter[str] = Counter()
    events = []
    for window in plan.windows:
        seen[window.span] += 1
        event = Event()
        event.add("uid", _uid(site, plan, window, seen[window.span]))
        event.add("summary", f"{zone.name} lit")
        event.add("description", f"{window.span}, {plan.nights}")
        event.add("dtstart", window.on_utc)
        event.add("dtend", window.off_utc)
        # Nobody is busy because a light is on.
        event.add("transp", "TRANSPARENT")
        events.append(event)
    return events


def _uid(site: str, plan: NightPlan, window: Window, nth: int) -> str:
    """Name a window by its night, zone and span: the same however dusk or the clock times of the span move.

    A span may give several windows in one night; ``nth`` counts them.
    """
    named = (site, plan.zone, plan.night.date.isoformat(), window.span, str(nth))
    return str(uuid5(_NAMESPACE, "\n".join(named)))
