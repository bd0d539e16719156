"""The planner: the light at an instant, its true next change, and that remembering changes no answer.

What is compared with comes from the plans alone (``test_plan.py`` holds those): all windows of
the nights to come, laid end to end, and looked through without any memory.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.errors import UnknownZoneError
from controller.calendar.night import night_at, night_on
from controller.planning.planner import HORIZON_NIGHTS, REMEMBERED_NIGHTS, Planner, ProgramState
from tests.sites import site, zone
from tests.strategies import dates, patient, sites

MOMENT = timedelta(microseconds=1)
TROMS: dict[str, Any] = {"latitude": 69.65, "longitude": 18.96, "time_zone": "Europe/Oslo"}
Pieces = list[tuple[datetime, datetime]]


def pieces_from(planner: Planner, at_utc: datetime, nights: int) -> Pieces:
    """Lay the windows of the first zone over some nights end to end; those that touch at noon become one."""
    on_date = night_at(at_utc, planner.tz).date
    pieces: Pieces = []
    for _ in range(nights):
        for window in planner.plan(planner.site.zones[0].id, night_on(on_date, planner.tz)).windows:
            if pieces and pieces[-1][1] == window.on_utc:
                pieces[-1] = (pieces[-1][0], window.off_utc)
            else:
                pieces.append((window.on_utc, window.off_utc))
        on_date += timedelta(days=1)
    return pieces


def check_light(light: ProgramState, planner: Planner, at_utc: datetime) -> None:
    """Hold an answer against all windows from its night on: up to its end, or as far as a planner looks."""
    nights = HORIZON_NIGHTS + 1 if light.until_utc is None else (light.until_utc - at_utc).days + 4
    pieces = pieces_from(planner, at_utc, nights)
    now = [(on, off) for on, off in pieces if on <= at_utc < off]
    edges = [edge for piece in pieces for edge in piece if edge > at_utc]
    assert light.on == bool(now)
    if light.until_utc is not None:
        assert light.until_utc == min(edges)
    elif light.on:  # lit without end: the one edge is where this looking ends
        assert edges == [pieces[-1][1]]
        assert edges[0] > at_utc + timedelta(days=HORIZON_NIGHTS - 1)
    else:
        assert edges == []
    if light.on:
        assert light.window is not None
        assert light.window.on_utc <= at_utc < light.window.off_utc
        assert light.window in light.plan.windows


@patient
@given(on_date=dates, data=st.data())
def test_the_light_agrees_with_the_windows_and_until_is_the_true_next_change(
    on_date: date, data: st.DataObject
) -> None:
    """At any instant, and at each edge of a night's windows: constant before "until", different at it."""
    a_site = data.draw(sites(on_date))
    planner, fresh = Planner(a_site), Planner(a_site)
    night = night_on(on_date, planner.tz)
    name = a_site.zones[0].id
    edges = [edge for each in fresh.plan(name, night).windows for edge in (each.on_utc, each.off_utc)]
    edges += [night.starts_at_utc, night.ends_at_utc]
    anywhere = data.draw(st.lists(st.floats(0, 90_000), max_size=4))
    instants = [at for edge in edges for at in (edge - MOMENT, edge, edge + MOMENT)]
    instants += [night.starts_at_utc + timedelta(seconds=seconds) for seconds in anywhere]
    for at_utc in instants:
        light = planner.program_state(name, at_utc)
        check_light(light, fresh, at_utc)
        if light.until_utc is not None:
            assert planner.program_state(name, light.until_utc - MOMENT).on is light.on
            assert planner.program_state(name, light.until_utc).on is not light.on


@settings(patient, max_examples=50)
@given(on_date=dates, data=st.data())
def test_remembering_changes_no_answer(on_date: date, data: st.DataObject) -> None:
    """Asked in any order, forwards and back as when a clock is set, a planner says what a fresh one says."""
    a_site = data.draw(sites(on_date, zones=2))
    planner = Planner(a_site)
    start_utc = night_on(on_date, planner.tz).starts_at_utc
    for name, after_s in data.draw(
        st.lists(
            st.tuples(st.sampled_from([each.id for each in a_site.zones]), st.integers(-90_000, 180_000)),
            min_size=2,
            max_size=6,
        )
    ):
        at_utc = start_utc + timedelta(seconds=after_s)
        remembered, fresh = planner.program_state(name, at_utc), Planner(a_site).program_state(name, at_utc)
        assert remembered.since_utc <= at_utc
        for what in ("on", "plan", "window", "waits_for", "until_utc", "words"):
            assert getattr(remembered, what) == getattr(fresh, what), what


@settings(patient, max_examples=50)
@given(on_date=dates, data=st.data())
def test_the_words_of_a_light_hold_no_instant(on_date: date, data: st.DataObject) -> None:
    """Between two edges of a night's windows the words stay the same: they name no instant."""
    a_site = data.draw(sites(on_date))
    planner = Planner(a_site)
    night = night_on(on_date, planner.tz)
    plan = planner.plan(a_site.zones[0].id, night)
    edges = [night.starts_at_utc, *(edge for each in plan.windows for edge in (each.on_utc, each.off_utc))]
    edges = sorted({*edges, night.ends_at_utc})
    for begins, ends in pairwise(edges):
        words = {
            Planner(a_site).program_state(a_site.zones[0].id, at_utc).words
            for at_utc in (begins, begins + (ends - begins) / 2, ends - MOMENT)
        }
        assert len(words) == 1


@pytest.mark.parametrize(
    ("at", "words"),
    [
        ("2027-01-05T12:30", "waits for dusk to 20:00, every night"),
        ("2027-01-05T19:00", "dusk to 20:00, every night"),
        ("2027-01-05T20:30", "waits for 21:00 to 22:00, every night"),
        ("2027-01-05T23:00", "21:00 to 22:00 is over, every night"),
        ("2027-06-21T23:00", "21:00 to 22:00 is over, every night"),
        ("2027-01-08T19:00", "dusk to 01:30, special night Fri, Sat"),
        ("2027-12-31T19:00", "special night 2027-12-31: no light"),
    ],
)
def test_the_words_say_what_is_lit_what_it_waits_for_or_what_is_over(at: str, words: str) -> None:
    """On a winter evening in London, where local time is UTC."""
    special: Any = (("Fri, Sat", ["dusk to 01:30"]), ("2027-12-31", []))
    planner = Planner(site(zone("jetty", "dusk to 20:00", "21:00 to 22:00", special=special)))
    assert planner.program_state("jetty", datetime.fromisoformat(at).replace(tzinfo=UTC)).words == words


def test_a_zone_that_never_lights_has_no_next_change() -> None:
    """An empty program is dark with no end in sight; so is one whose only special night is over."""
    specials: tuple[Any, ...] = ((), (("2027-01-01", ["dusk to midnight"]),))
    for special in specials:
        planner = Planner(site(zone("jetty", special=special) | {"program": []}))
        light = planner.program_state("jetty", datetime(2027, 6, 1, 12, tzinfo=UTC))
        assert not light.on
        assert light.until_utc is None


def test_a_special_night_a_year_ahead_is_the_next_change() -> None:
    """A zone lit on 29 May alone lights again a year later, here 366 nights ahead over a leap day."""
    special = (("05-29 to 05-29", ["22:00 to 23:00"]),)
    planner = Planner(site(zone("jetty", special=special) | {"program": []}))
    light = planner.program_state("jetty", datetime(2027, 5, 29, 23, tzinfo=UTC))
    assert light.until_utc == datetime(2028, 5, 29, 21, tzinfo=UTC)


def test_a_zone_lit_all_day_and_night_has_no_next_change() -> None:
    """Light that goes on over every noon has no end in sight (UTC has no clock change)."""
    planner = Planner(site(zone("jetty", "12:00 for 24h"), time_zone="Etc/UTC"))
    light = planner.program_state("jetty", datetime(2027, 6, 1, 11, 30, tzinfo=UTC))
    assert light.on
    assert light.until_utc is None


def test_light_that_ends_at_the_nights_end_ends_there() -> None:
    """A window up to noon, before a night that begins dark, ends at noon and not a moment later."""
    planner = Planner(site(zone("jetty", "21:00 for 24h")))
    light = planner.program_state("jetty", datetime(2027, 1, 5, 23, tzinfo=UTC))
    assert light.until_utc == datetime(2027, 1, 6, 12, tzinfo=UTC)
    assert planner.program_state("jetty", light.until_utc).words == "waits for 21:00 for 24h, every night"


def test_light_goes_on_over_a_date_that_did_not_exist() -> None:
    """In Apia 30 December 2011 was skipped: light over noon goes on through the night without length."""
    apia: dict[str, Any] = {"latitude": -13.8, "longitude": -171.8, "time_zone": "Pacific/Apia"}
    planner = Planner(site(zone("jetty", "12:00 for 24h"), **apia))
    light = planner.program_state("jetty", datetime(2011, 12, 30, 0, tzinfo=UTC))
    assert light.on
    # Half a year on, summer time ends and a night of 25 hours is one hour longer than the span.
    assert light.until_utc is not None
    assert light.until_utc > datetime(2012, 1, 1, tzinfo=UTC)


def test_the_polar_night_changes_once() -> None:
    """From the first night without sunrise to the last, sunset to sunrise has one and the same change."""
    planner = Planner(site(zone("jetty", "sunset to sunrise"), **TROMS))
    until = {
        planner.program_state(
            "jetty", datetime(2027, 12, 5, 10, 30, tzinfo=UTC) + timedelta(days=day)
        ).until_utc
        for day in range(30)
    }
    assert len(until) == 1


def test_an_almanac_does_not_grow_for_ever() -> None:
    """Years of nights asked one after the other leave no more plans behind than it wants to remember."""
    planner = Planner(site(zone("jetty", "21:00 to 22:00")))
    for day in range(3 * REMEMBERED_NIGHTS):
        planner.plan("jetty", night_on(date(2027, 1, 1) + timedelta(days=day), planner.tz))
    assert len(planner._plans) <= REMEMBERED_NIGHTS


def test_a_plan_is_worked_out_once() -> None:
    """The same night asked again is the same plan."""
    planner = Planner(site())
    night = night_on(date(2027, 1, 5), planner.tz)
    assert planner.plan("jetty", night) is planner.plan("jetty", night)


def test_another_edition_of_the_time_zone_can_be_given() -> None:
    """Rules that were updated replace those that the name stands for."""
    planner = Planner(site(zone("jetty", "21:00 to 22:00")), tz=ZoneInfo("Asia/Tokyo"))
    light = planner.program_state("jetty", datetime(2027, 6, 1, 12, 30, tzinfo=UTC))
    assert light.on
    assert light.until_utc == datetime(2027, 6, 1, 13, tzinfo=UTC)


def test_a_zone_that_is_not_there_is_named() -> None:
    """The error says which zones there are."""
    planner = Planner(site())
    with pytest.raises(UnknownZoneError, match="“pond”; this site has jetty"):
        planner.program_state("pond", datetime(2027, 6, 1, 12, tzinfo=UTC))
