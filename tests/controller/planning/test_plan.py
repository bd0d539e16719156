"""The plan of a night, over any site, program and night; and what its dark nights say.

The second opinion is tests/simulation/oracle.py, which works windows out by brute force: the sun scanned and
bisected, local time by trying offsets, no code shared with the plan but the site file's own models.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from config.models.site import Site, SpecialNight
from config.program.parser import parse_span
from controller.calendar.night import night_on
from controller.planning.plan import EVERY_NIGHT, NightPlan
from controller.planning.planner import Planner
from controller.records.entries import Cause
from tests.simulation.oracle import Oracle
from tests.sites import site, zone
from tests.strategies import dates, patient, sites

MOMENT = timedelta(microseconds=1)
# The oracle bisects the sun to a second, the plan takes whole seconds: edges may part by two of them.
NEAR_S = 3


def plan_of(a_site: Site, on_date: date) -> NightPlan:
    """Plan one night of the first zone."""
    planner = Planner(a_site)
    return planner.plan(a_site.zones[0].id, night_on(on_date, planner.tz))


def special_of(a_site: Site, on_date: date) -> SpecialNight | None:
    """Find the special night that decides, forwards: each that holds replaces the one before."""
    found = None
    for special in a_site.zones[0].special_nights:
        found = special if special.nights.match(on_date) else found
    return found


@patient
@given(on_date=dates, data=st.data())
def test_windows_are_disjoint_ordered_inside_the_night_and_never_touch(
    on_date: date, data: st.DataObject
) -> None:
    """Whatever is written, wherever: between two windows there is dark, and none leaves its night."""
    plan = plan_of(data.draw(sites(on_date)), on_date)
    for window in plan.windows:
        assert plan.night.starts_at_utc <= window.on_utc < window.off_utc <= plan.night.ends_at_utc
    for window, following in zip(plan.windows, plan.windows[1:], strict=False):
        assert window.off_utc < following.on_utc


@patient
@given(on_date=dates, data=st.data())
def test_what_decides_is_the_last_special_night_that_holds_else_the_program(
    on_date: date, data: st.DataObject
) -> None:
    """Cause and words name what decided; a dark night says why, in words that name each span."""
    a_site = data.draw(sites(on_date))
    plan, special = plan_of(a_site, on_date), special_of(a_site, on_date)
    program = a_site.zones[0].program if special is None else special.program
    assert plan.cause is (Cause.PROGRAM if special is None else Cause.SPECIAL_NIGHT)
    assert plan.nights == (EVERY_NIGHT if special is None else f"special night {special.nights}")
    if plan.windows:
        assert plan.because == plan.nights
        return
    for span in program:
        assert f"{span}: " in plan.because
    if not program:
        assert plan.because.endswith("no light")
    assert (special is None) or plan.because.startswith(f"{plan.nights}: ")


@patient
@given(on_date=dates, data=st.data())
def test_the_spans_of_a_window_read_back_as_what_was_written(on_date: date, data: st.DataObject) -> None:
    """Text, model, window, text, model is the identity: a window names spans of the deciding program."""
    a_site = data.draw(sites(on_date))
    plan, special = plan_of(a_site, on_date), special_of(a_site, on_date)
    program = a_site.zones[0].program if special is None else special.program
    for window in plan.windows:
        texts = window.span.split(" and ")
        assert len(set(texts)) == len(texts)
        for text in texts:
            assert parse_span(text) in program
            assert str(parse_span(text)) == text


@patient
@given(on_date=dates, data=st.data())
def test_a_window_begins_and_ends_where_one_of_its_spans_does_alone(
    on_date: date, data: st.DataObject
) -> None:
    """Spans lit together are lit where any of them is: the union has no edge of its own, and loses none."""
    a_site = data.draw(sites(on_date))
    special = special_of(a_site, on_date)
    program = a_site.zones[0].program if special is None else special.program
    plan = plan_of(a_site, on_date)
    alone = [window for span in program for window in plan_of(alone_on(a_site, str(span)), on_date).windows]
    assert {window.on_utc for window in plan.windows} <= {window.on_utc for window in alone}
    assert {window.off_utc for window in plan.windows} <= {window.off_utc for window in alone}
    for edge in {edge for window in alone for edge in (window.on_utc, window.off_utc)}:
        for at_utc in (edge - MOMENT, edge, edge + MOMENT):
            together = any(window.on_utc <= at_utc < window.off_utc for window in plan.windows)
            assert together == any(window.on_utc <= at_utc < window.off_utc for window in alone)


def alone_on(a_site: Site, *program: str) -> Site:
    """Give the same place another program, and no special nights."""
    return site(
        zone("jetty", pin=17) | {"program": list(program)},
        latitude=a_site.latitude_deg,
        longitude=a_site.longitude_deg,
        time_zone=a_site.time_zone,
        dusk_angle=a_site.dusk_angle_deg,
    )


def text_of(a_site: Site) -> str:
    """Write as much of a site file as the oracle reads."""
    the_zone = a_site.zones[0]
    special = [
        {"nights": str(each.nights), "program": [str(span) for span in each.program]}
        for each in the_zone.special_nights
    ]
    place = {
        "latitude": a_site.latitude_deg,
        "longitude": a_site.longitude_deg,
        "time_zone": a_site.time_zone,
        "dusk_angle": a_site.dusk_angle_deg,
    }
    program = [str(span) for span in the_zone.program]
    zones = [{"id": the_zone.id, "program": program, "special_nights": special}]
    return tomlkit.dumps({"site": place, "zones": zones})


@patient
@given(on_date=dates, data=st.data())
def test_the_plan_agrees_with_one_worked_out_by_brute_force(on_date: date, data: st.DataObject) -> None:
    """Every quarter of an hour, the plan and the oracle say the same, but within seconds of an edge."""
    # Nearer to a pole than 89.8 degrees astral, and so the oracle, stands somewhere else.
    a_site = data.draw(sites(on_date).filter(lambda drawn: abs(drawn.latitude_deg) < 89))
    plan = plan_of(a_site, on_date)
    theirs = Oracle(text_of(a_site))
    edges = [edge for window in plan.windows for edge in (window.on_utc, window.off_utc)]
    at_utc = plan.night.starts_at_utc
    while at_utc < plan.night.ends_at_utc:
        lit = theirs.lit(a_site.zones[0].id, at_utc.timestamp())
        if lit is not None and all(abs((edge - at_utc).total_seconds()) > NEAR_S for edge in edges):
            ours = any(window.on_utc <= at_utc < window.off_utc for window in plan.windows)
            assert ours == lit, at_utc
        at_utc += timedelta(minutes=15)


@patient
@given(
    on_date=dates,
    begins=st.integers(0, 24 * 60 - 1),
    lasts=st.integers(1, 24 * 60 - 1),
    at_most=st.integers(1, 24 * 60),
)
def test_a_span_between_clock_times_is_lit_for_what_lies_between_them(
    on_date: date, begins: int, lasts: int, at_most: int
) -> None:
    """Where no clock is changed, light is minutes after noon, whatever the sun does (UTC has no changes)."""
    ends = begins + lasts
    clock = [f"{(12 + each // 60) % 24:02}:{each % 60:02}" for each in (begins, ends % (24 * 60))]
    plan = plan_of(
        site(zone("jetty", f"{clock[0]} to {clock[1]}, at most {at_most}m"), time_zone="Etc/UTC"), on_date
    )
    if ends >= 24 * 60:  # the end comes before the beginning in the order of a night, or is its first instant
        assert plan.windows == ()
        assert plan.because.endswith(f"{clock[0]} is not before {clock[1]}")
        return
    (window,) = plan.windows
    assert window.on_utc == plan.night.starts_at_utc + timedelta(minutes=begins)
    assert window.off_utc - window.on_utc == timedelta(minutes=min(lasts, at_most))


TROMS: dict[str, Any] = {"latitude": 69.65, "longitude": 18.96, "time_zone": "Europe/Oslo"}


@pytest.mark.parametrize(
    ("program", "because"),
    [
        # Polar day: the sun does not set at 69.65 N in June (sun.csv, the rows "never-that-low").
        ("dusk to midnight", "no dusk this night, the sun does not sink 6° below the horizon"),
        ("sunset to midnight", "no sunset this night, the sun does not set"),
        ("22:00 to dawn", "no dawn this night, the sun does not sink 6° below the horizon"),
        ("22:00 to sunrise-1h", "no sunrise this night, the sun does not set"),
        ("22:00 to 23:00, while dark", "it is never dark from 22:00 to 23:00"),
        ("22:00 to 21:00", "22:00 is not before 21:00"),
        ("12:00 to 12:00", "12:00 is not before 12:00"),
    ],
)
def test_a_dark_night_says_why(program: str, because: str) -> None:
    """Every kind of dark night has its own words."""
    plan = plan_of(site(zone("jetty", program), **TROMS), date(2027, 6, 21))
    assert plan.windows == ()
    assert plan.because == f"{program}: {because}"


def test_a_span_beyond_the_night_is_cut_and_one_outside_it_is_dark() -> None:
    """A night ends at noon: a sun edge with a long offset cannot carry light into the next one."""
    cut = plan_of(site(zone("jetty", "dawn+1h for 12h")), date(2027, 6, 21))
    assert cut.windows[-1].off_utc == cut.night.ends_at_utc
    outside = plan_of(site(zone("jetty", "dawn+10h to sunrise+12h")), date(2027, 6, 21))
    assert outside.windows == ()
    assert "is outside this night" in outside.because
    before = plan_of(site(zone("jetty", "dusk-15h to dusk-12h")), date(2027, 6, 21))
    assert "is outside this night" in before.because


def test_every_dark_span_gives_its_own_reason() -> None:
    """A night dark for two reasons tells both."""
    plan = plan_of(site(zone("jetty", "22:00 to 21:00", "dusk to 21:30")), date(2027, 6, 21))
    assert plan.because == (
        "22:00 to 21:00: 22:00 is not before 21:00; dusk to 21:30: dusk (22:08) is not before 21:30"
    )


def test_while_dark_and_at_most_count_light_over_two_stretches() -> None:
    """Where the dark comes in two pieces, "at most" adds them up.

    At 70.37 N, 31.1 E, the night of 22 November 2026 is dark but for the time from 10:19:47 to 11:03:18 CET
    (tests/reference/README.md): of 22 h 30 min of light, about ten minutes fall into the second piece.
    """
    edge_north: dict[str, Any] = {"latitude": 70.37, "longitude": 31.1, "time_zone": "Europe/Oslo"}
    edge_north["dusk_angle"] = 0.84
    whole = plan_of(site(zone("jetty", "12:00 to 11:59, while dark"), **edge_north), date(2026, 11, 22))
    first, second = whole.windows
    short = plan_of(
        site(zone("jetty", "12:00 to 11:59, at most 22h30m, while dark"), **edge_north), date(2026, 11, 22)
    )
    lit_s = [(each.off_utc - each.on_utc).total_seconds() for each in (first, second)]
    assert lit_s[0] < 22.5 * 3600 < sum(lit_s)
    assert (short.windows[0].on_utc, short.windows[0].off_utc) == (first.on_utc, first.off_utc)
    assert short.windows[1].on_utc == second.on_utc
    assert (short.windows[1].off_utc - second.on_utc).total_seconds() == 22.5 * 3600 - lit_s[0]


def test_a_night_without_length_is_dark_and_nothing_raises() -> None:
    """In Apia 30 December 2011 was skipped: its night begins and ends at one noon, and has no windows."""
    a_site = site(
        zone("jetty", "dusk to dawn", "12:00 to 11:59", "dusk for 4h, while dark"),
        latitude=-13.8,
        longitude=-171.8,
        time_zone="Pacific/Apia",
    )
    plan = plan_of(a_site, date(2011, 12, 30))
    assert plan.night.starts_at_utc == plan.night.ends_at_utc
    assert plan.windows == ()


def test_a_plan_names_its_night_and_zone() -> None:
    """What comes back says what it was asked for: in London in January local noon is noon in UTC."""
    plan = plan_of(site(zone("orchard")), date(2027, 1, 5))
    assert plan.zone == "orchard"
    assert plan.night.date == date(2027, 1, 5)
    assert plan.night.starts_at_utc == datetime(2027, 1, 5, 12, tzinfo=UTC)
    assert plan.night.ends_at_utc == datetime(2027, 1, 6, 12, tzinfo=UTC)
