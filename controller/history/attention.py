"""What wants attention now: lamps and relays near their end, zones that stayed dark, figures not known."""

from datetime import date, timedelta

from controller.calendar.periods import stretch_of_nights
from controller.history.account import AccountInput, account_for_past
from controller.history.dark_nights import outages_of
from controller.history.lamp_wear import Wear
from controller.history.work import Task, find_tasks

# Light that was missed longer ago is no matter of today.
RECENT_NIGHTS = 14
# Lamps whose life ends within this time are to be replaced now.
_SOON = timedelta(days=31)


def find_attention(inputs: AccountInput, wear: Wear, tonight: date) -> tuple[Task, ...]:
    """Find what wants attention, in the zones that are asked about, as the work after a season is found.

    Raises:
        JournalError: the journal cannot be read.
    """
    planner = inputs.history.planner
    recent = stretch_of_nights(tonight - timedelta(days=RECENT_NIGHTS - 1), tonight, planner.tz)
    sums = list(
        account_for_past(inputs.history, inputs.source, [recent], bounds=inputs.bounds, zones=inputs.zones)
    )
    return find_tasks(planner.site, sums, outages_of(sums), wear, due_before=tonight + _SOON)
