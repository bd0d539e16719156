"""What "at least" names: the zone or transformer, and the key of the site file that would cure it."""

from __future__ import annotations

import pytest

from api.render.limits import explain_lower_bounds, hour_notes
from controller.history.totals import HourSum
from tests.sites import site, zone

HOUR_MS = 3_600_000
LOAD = "no load; add fixtures, rated_watts or measured_watts"
LOSSES = "no losses; add efficiency, or no_load_w and copper_w"
WITH = "with efficiency, or no_load_w and copper_w"
SHED = {"id": "shed", "rated_va": 100}
BARN = {"id": "barn", "rated_va": 100}
GOOD = {"efficiency": 0.85}


def in_shed(zone_id, pin, **more):
    """A zone on the transformer in the shed."""
    return zone(zone_id, pin=pin, transformer="shed", **more)


@pytest.mark.parametrize(
    ("here", "told"),
    [
        (site(in_shed("jetty", 17, rated_watts=20), transformers=[SHED | GOOD]), []),
        (site(in_shed("jetty", 17), transformers=[SHED | GOOD]), [f"at least: zone jetty has {LOAD}"]),
        (
            site(in_shed("jetty", 17), in_shed("path", 18), in_shed("lawn", 19), transformers=[SHED | GOOD]),
            [f"at least: zones jetty, path and lawn have {LOAD}"],
        ),
        (
            site(in_shed("jetty", 17), zone("path", pin=18, transformer="barn"), transformers=[SHED, BARN]),
            [
                f"at least: zones jetty and path have {LOAD}",
                f"at least: transformers shed and barn have {LOSSES}",
            ],
        ),
        # Its no-load loss is a beginning.
        (site(in_shed("jetty", 17, rated_watts=20), transformers=[SHED | {"no_load_w": 4}]), []),
        (
            site(zone("jetty", rated_watts=20)),
            [f"at least: the site has no transformer; add [[transformers]] {WITH}"],
        ),
    ],
)
def test_what_is_missing_is_named_with_its_key(here, told):
    """Each zone without a load and each transformer without losses is named, and what to add."""
    assert list(explain_lower_bounds(here)) == told


def test_only_zones_that_were_asked_about_are_named():
    """What another zone lacks does not limit the figures of this one."""
    here = site(
        in_shed("jetty", 17, rated_watts=20),
        zone("path", pin=18, transformer="barn"),
        transformers=[SHED | GOOD, BARN],
    )
    assert list(explain_lower_bounds(here, ["jetty"])) == []
    assert len(list(explain_lower_bounds(here, ["path"]))) == 2


def test_what_was_not_known_at_the_time_is_told_as_past():
    """A load or a loss that was entered since then, or of a zone that is gone, cures no past night."""
    here = site(
        in_shed("jetty", 17, rated_watts=20), in_shed("path", 18, rated_watts=20), transformers=[SHED | GOOD]
    )
    totals = [
        HourSum(zone="jetty", at_least=True, without_load_ms=5 * HOUR_MS, losses=("given efficiency",)),
        HourSum(zone="path", at_least=True, losses=("losses not known", "given efficiency")),
        HourSum(zone="old", at_least=True, losses=("losses not known",)),
    ]
    assert hour_notes(here, totals) == [
        "at least: zone jetty was lit for 5.00 h with a load that was not known at the time",
        "at least: what the transformer of zones path and old lost was not known at the time",
    ]


def test_what_was_known_at_the_time_is_not_told_of():
    """A load that was taken out of the file since then bounds no past night, and neither does a loss."""
    here = site(in_shed("jetty", 17), zone("path", pin=18, transformer="barn"), transformers=[SHED, BARN])
    totals = [
        HourSum(zone="jetty", at_least=True, losses=("losses not known",)),
        HourSum(zone="path", at_least=True, without_load_ms=5 * HOUR_MS, losses=("given efficiency",)),
    ]
    assert hour_notes(here, totals) == [
        f"at least: zone path has {LOAD}",
        f"at least: transformer shed has {LOSSES}",
    ]


def test_figures_that_are_whole_have_no_notes():
    """Where nothing is unknown and nothing is assumed, there is nothing to say."""
    here = site(in_shed("jetty", 17), transformers=[SHED])
    assert hour_notes(here, [HourSum(zone="jetty", losses=("given efficiency",))]) == []
