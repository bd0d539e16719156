"""The work to do: what lamps, relays, outages and unknown loads ask for, and nothing that nobody can do."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from config.models.site import Fixture
from controller.calendar.periods import Season
from controller.history.dark_nights import Outage
from controller.history.lamp_wear import Wear
from controller.history.totals import HourSum
from controller.history.work import AFTER, AT_ANY_TIME, find_tasks, usual_work
from controller.lamps.life import LampLife, Lamps, RelayLife
from controller.records.entries import Cause
from tests.sites import site, zone

LAST, NEXT_YEAR = date(2027, 8, 31), date(2028, 8, 31)
HOUR_MS = 3_600_000
SUPPLY = "have the supply checked, plug and protective device first: there was no power"
LOSSES = {"efficiency": 0.9}
KNOWN = site(zone("jetty", rated_watts=20), transformers=[{"id": "shed", "rated_va": 100, **LOSSES}])


def tasks(*, here=None, sums=(), outages=(), lamps=(), relays=()):
    """The work of a summer with light planned on every night, as (zone, words, by)."""
    nights = tuple(LAST - n * timedelta(days=1) for n in range(92))
    sums = sums or [HourSum(zone=each, planned_nights=nights[::-1]) for each in ("jetty", "path")]
    found = find_tasks(
        here or KNOWN,
        sums,
        outages,
        Wear(lamps=tuple(lamps), relays=tuple(relays)),
        due_before=NEXT_YEAR,
    )
    return [(task.zone, task.words, task.by) for task in found]


def outage(reason, first, nights, *zones, lasts_h=10.0):
    """An outage of some nights in a row from a day of the summer on."""
    return Outage(
        reason=reason,
        zones=zones or ("jetty",),
        first=first,
        last=first + timedelta(days=nights - 1),
        nights=nights,
        lasts_ms=round(lasts_h * HOUR_MS),
    )


def life(used, about, **more):
    """Ten bulbs that are so far along."""
    fixture = Fixture(kind="string", name="bulbs", count=10, watts=5, rated_life_h=1000)
    lamps = Lamps(zone="jetty", number=1, fixture=fixture)
    return LampLife(lamps=lamps, since=None, lit_h=0, estimated_h=0, used=used, replace_about=about, **more)


def test_lamps_are_to_be_replaced_before_their_life_ends():
    """Past their life now, in their last year by the month in which it ends, and later not at all."""
    worn = [
        life(0.8, date(2028, 3, 12)),
        life(1.2, date(2027, 9, 1)),
        life(0.3, date(2028, 9, 1)),
        life(None, None),
        life(1.3, date(2027, 9, 1), replaced_on=date(2027, 9, 9)),
    ]
    assert tasks(lamps=worn) == [
        ("jetty", "replace 10 × bulbs: 120 % of the rated life used", None),
        ("jetty", "replace 10 × bulbs: 80 % of the rated life used", date(2028, 3, 12)),
    ]


def test_a_relay_near_its_end_is_to_be_replaced():
    """From nine tenths of its cycles on a relay is work, before that it is not."""
    relays = [
        RelayLife(zone="jetty", cycles=cycles, endurance_cycles=100_000, wears_out_about=None)
        for cycles in (89_999, 90_000)
    ]
    assert tasks(relays=relays) == [("jetty", "replace the relay: 90,000 of 100,000 cycles are made", None)]


@pytest.mark.parametrize(
    ("outages", "told"),
    [
        (
            [outage(None, date(2027, 6, 3), 3)],
            [("jetty", "find out why it was dark on 3 nights, 3 to 5 June 2027")],
        ),
        (
            [outage(None, date(2027, 6, 3), 1)],
            [("jetty", "find out why it was dark in the night of 3 June 2027")],
        ),
        (
            [outage(None, date(2027, 6, 29), 3), outage(None, date(2027, 8, 2), 4)],
            [("jetty", "find out why it was dark on 7 nights between 29 June and 5 August 2027")],
        ),
        (
            [outage(Cause.RELAY_FAULT, date(2027, 6, 29), 3, "jetty", "path")],
            [
                (each, "check the relay and its wiring: it failed on 3 nights, 29 June to 1 July 2027")
                for each in ("jetty", "path")
            ],
        ),
        (
            [outage(Cause.POWER_LOST, date(2027, 6, 10), 11, "jetty", "path")],
            [(None, f"{SUPPLY} on 11 nights, 10 to 20 June 2027")],
        ),
        # A person wanted it so; a restart of a few seconds; out of service, and back.
        ([outage(Cause.OVERRIDE, date(2027, 6, 10), 11)], []),
        ([outage(Cause.STOPPED, date(2027, 6, 10), 1, lasts_h=0.01)], []),
        ([outage(Cause.OUT_OF_SERVICE, date(2027, 6, 10), 11)], []),
        (
            [outage(Cause.OUT_OF_SERVICE, date(2027, 8, 20), 12)],
            [("jetty", "put it back into service; it has been out since 20 August 2027")],
        ),
    ],
    ids=lambda value: "" if isinstance(value, list) and value and isinstance(value[0], tuple) else None,
)
def test_outages_ask_for_what_ends_them(outages, told):
    """Each reason asks for its own remedy, once for each zone, or once for what concerns the whole garden."""
    assert [(where, words) for where, words, _ in tasks(outages=outages)] == told


def test_what_is_not_known_is_to_be_measured():
    """A load that nobody knows, and a transformer without losses, make the energy a lower bound: find out."""
    here = site(
        zone("jetty", transformer="shed"),
        zone("path", pin=18, rated_watts=5, transformer="barn"),
        transformers=[
            {"id": "shed", "name": "Shed", "rated_va": 100},
            {"id": "barn", "rated_va": 100, **LOSSES},
        ],
    )
    sums = [
        HourSum(zone="jetty", without_load_ms=HOUR_MS),
        # Its load was written down meanwhile; and a zone that is gone needs nothing.
        HourSum(zone="path", without_load_ms=HOUR_MS),
        HourSum(zone="old", without_load_ms=HOUR_MS),
    ]
    assert tasks(here=here, sums=sums) == [
        ("jetty", "measure its load, for measured_watts in the site file", None),
        (None, "look up the losses of the transformer Shed, for efficiency in the site file", None),
    ]


def test_a_site_without_a_transformer_is_to_get_one():
    """Where no transformer is in the site file, nobody can know what is lost in it."""
    here = site(zone("jetty", rated_watts=20))
    assert tasks(here=here) == [(None, "enter the transformer and its efficiency in the site file", None)]


def test_a_garden_in_order_has_no_work_but_the_usual():
    """Nothing is asked for where nothing was found; the usual work depends on the season alone."""
    assert tasks(lamps=[life(0.1, None)]) == []
    assert usual_work(None) == AT_ANY_TIME
    for season in Season:
        assert usual_work(season) == (*AT_ANY_TIME, AFTER[season])
    assert len(set(AFTER.values())) == 4


def test_a_short_outage_of_many_zones_is_a_short_one():
    """Three minutes without power ask for nothing, however many zones were dark meanwhile."""
    many = [f"zone-{number}" for number in range(8)]
    assert tasks(outages=[outage(Cause.POWER_LOST, LAST, 1, *many, lasts_h=8 * 3 / 60)]) == []
    assert len(tasks(outages=[outage(Cause.POWER_LOST, LAST, 1, *many, lasts_h=8 * 10 / 60)])) == 1


def test_a_zone_that_is_gone_asks_for_no_measurement():
    """What the present zones lack is no work for one that is not there any more."""
    here = site(zone("jetty"), transformers=[{"id": "shed", "rated_va": 100}])
    assert tasks(here=here, sums=[HourSum(zone="old")]) == []
