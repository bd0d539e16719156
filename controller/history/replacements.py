"""Which lamps can be recorded as replaced."""

from __future__ import annotations

from datetime import date

from config.models.site import Zone


def require_replaced(zone: Zone, fixture: int, on_date: date, today: date) -> None:
    """Refuse a fixture that the zone does not have, and a day that is still to come.

    Raises:
        ValueError: says what is wrong and what would do.
    """
    fixtures = len(zone.fixtures)
    if not 1 <= fixture <= fixtures:
        has = f"its fixtures count from 1 to {fixtures}" if fixtures else "no fixture is listed for it"
        raise ValueError(f"zone {zone.id} has no fixture {fixture}; {has}")
    if on_date > today:
        raise ValueError(f"{on_date} is still to come; name the day on which they were replaced")
