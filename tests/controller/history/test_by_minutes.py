"""The account of three weeks against a count every half minute that shares no code with it.

The count knows when relays really were closed, the two programs as written here by hand, astral's sun and the
clock on the wall; it knows no journal, no night, no plan and no interval.
"""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from astral import Observer
from astral.sun import elevation

from controller.calendar.intervals import MS_PER_S
from controller.calendar.periods import Each, split, stretch_of_nights
from controller.history.account import account_for_past
from controller.history.nights import bounds_of
from controller.history.site_history import SiteHistory
from controller.planning.planner import Planner
from tests.controller.three_weeks import START, live_three_weeks

LONDON = ZoneInfo("Europe/London")
STEP_S = 30
ZONES = ("jetty", "path")
# On this noon the jetty was told to go out at eleven instead of midnight.
CHANGED = datetime(2027, 6, 12, 12, tzinfo=LONDON)
# Edges of light that fall into a night of this garden, with all that happens in one.
EDGES_A_NIGHT = 6


@pytest.fixture(scope="module")
def board(tmp_path_factory):
    return live_three_weeks(tmp_path_factory.mktemp("weeks"))


@pytest.fixture(scope="module")
def counted(board):
    """Seconds by night, zone and what they were: lit, planned, missed, in daylight."""
    observer = Observer(51.5, 0.0)
    counts: Counter[tuple[date, str, str]] = Counter()
    at_utc = START + timedelta(seconds=STEP_S / 2)
    while at_utc < START + timedelta(days=21):
        wall = at_utc.astimezone(LONDON)
        night = (wall - timedelta(hours=12)).date()
        dark = elevation(observer, at_utc, with_refraction=False) < -6
        off_hour = 23 if wall >= CHANGED else 24
        planned = {
            "jetty": dark and 12 <= wall.hour < off_hour,
            "path": wall.hour < 2 or (wall.hour, wall.minute) >= (22, 30),
        }
        for zone in ZONES:
            lit = any(on <= at_utc < off for on, off in board.lit[zone])
            for name, holds in (
                ("lit", lit),
                ("planned", planned[zone]),
                ("missed", planned[zone] and not lit),
                ("daylight", lit and not dark),
            ):
                counts[night, zone, name] += STEP_S * holds
        at_utc += timedelta(seconds=STEP_S)
    return counts


@pytest.fixture(scope="module")
def accounted(board):
    """The same by the account, night by night."""
    history = SiteHistory(Planner(board.site), board.reader.site_records())
    tz = history.planner.tz
    whole = stretch_of_nights(date(2027, 5, 28), date(2027, 6, 17), tz)
    periods = split(whole, Each.NIGHT, tz, latitude_deg=51.5)
    bounds = bounds_of(history, board.reader, board.true_utc)
    return {
        (row.period.first, row.zone): row
        for row in account_for_past(history, board.reader, periods, bounds=bounds)
    }


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("name", ["lit", "planned", "missed", "daylight"])
def test_every_night_is_what_was_counted(counted, accounted, zone, name):
    """Hours lit, planned, missed and in daylight, night by night; a power cut may hide up to one beat."""
    tolerance_s = EDGES_A_NIGHT * STEP_S
    nights = 0
    for (night, whose), hours in accounted.items():
        if whose != zone:
            continue
        told_s = getattr(hours, f"{name}_ms") / MS_PER_S
        counted_s = counted[night, zone, name]
        hidden_s = 270 if night in (date(2027, 5, 30), date(2027, 6, 3)) else 0
        if name == "lit":
            assert counted_s - hidden_s - tolerance_s <= told_s <= counted_s + tolerance_s, night
        elif name == "missed":
            assert counted_s - tolerance_s <= told_s <= counted_s + hidden_s + tolerance_s, night
        else:
            assert told_s == pytest.approx(counted_s, abs=tolerance_s), night
        nights += 1
    assert nights == 21


@pytest.mark.parametrize("zone", ZONES)
def test_three_weeks_are_what_was_counted(counted, accounted, zone):
    """Over all nights the half minutes even out: half a per cent, and what the power cuts hide."""
    for name in ("lit", "planned"):
        told_s = sum(getattr(hours, f"{name}_ms") for (_, whose), hours in accounted.items() if whose == zone)
        counted_s = sum(seconds for (_, *what), seconds in counted.items() if what == [zone, name])
        assert told_s / MS_PER_S == pytest.approx(counted_s, rel=0.005, abs=540 if name == "lit" else 0)
