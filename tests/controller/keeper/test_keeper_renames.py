"""The keeper and zones that get another id: nothing clicks, the run and the override go on."""

from __future__ import annotations

import pytest

from controller.journal.previous_run import PreviousRun
from controller.planning.program_text import REMOVED
from controller.records.entries import Cause, EventKind, Override, OverrideEnded, Switching
from tests.controller.kept import PROGRAM, Kept, at
from tests.sites import site, zone

AT_ONCE = {"relays": {"rest_s": 0.0, "stagger_s": 0.0}}
GENTLE = {"relays": {"rest_s": 2.0, "stagger_s": 0.0}}
JETTY = zone("jetty", PROGRAM, pin=17)
PIER = zone("pier", PROGRAM, pin=17, formerly=["jetty"])


def told(kept: Kept) -> list[tuple[str, bool, Cause, str]]:
    """What the journal is told of switchings."""
    return [(each.zone, each.on, each.cause, each.words) for each in kept.ledger.of(Switching)]


def test_a_lit_zone_that_is_renamed_stays_lit() -> None:
    """One run ends and one begins at that instant, for the same reason; the relay hears nothing."""
    kept = Kept(site(JETTY, **AT_ONCE), at("21:30"))
    kept.pass_time(60)
    since = kept.keeper.status().zones[0].lit_since
    kept.change(PIER, **AT_ONCE)
    assert kept.board.levels(17) == [0]
    first, ended, begun = kept.ledger.of(Switching)
    assert told(kept)[1] == ("jetty", False, Cause.SITE_CHANGED, "the zone is called pier now")
    assert (begun.zone, begun.on, begun.cause, begun.words) == ("pier", True, first.cause, first.words)
    assert ended.at == begun.at
    (status,) = kept.keeper.status().zones
    assert (status.zone, status.lit, status.lit_since) == ("pier", True, since)
    kept.pass_until(at("22:00"))
    assert kept.board.levels(17) == [0, 1]
    assert told(kept)[-1][:2] == ("pier", False)


def test_the_programs_of_both_ids_are_told() -> None:
    """The journal hears that the old one was removed, and what the new one does."""
    kept = Kept(site(JETTY, **AT_ONCE), at("20:00"))
    kept.change(PIER, **AT_ONCE)
    programs = [(each.zone, each.words) for each in kept.ledger.events(EventKind.PROGRAM)]
    assert programs == [("jetty", PROGRAM), ("jetty", REMOVED), ("pier", PROGRAM)]
    assert told(kept) == []
    assert kept.board.levels(17) == [1]


def test_an_override_goes_along() -> None:
    """It ends under the old id and goes on under the new one, with the end that it had."""
    kept = Kept(site(JETTY, **AT_ONCE), at("20:00"))
    override = kept.keeper.override("jetty", on=True, lasts_s=1800)
    kept.reconcile()
    kept.pass_time(600)
    kept.change(PIER, **AT_ONCE)
    assert [(each.zone, each.words) for each in kept.ledger.of(OverrideEnded)] == [
        ("jetty", "the zone is called pier now")
    ]
    (before, after) = kept.ledger.of(Override)
    assert before == override
    assert (after.zone, after.on, after.lasts_s, after.placed_at) == ("pier", True, 1800, override.placed_at)
    assert kept.keeper.overrides == {"pier": after}
    assert kept.board.levels(17) == [1, 0]
    kept.pass_until(at("20:30"))
    assert kept.board.levels(17) == [1, 0, 1]
    assert kept.keeper.overrides == {}


def test_a_chain_of_names_and_back() -> None:
    """Renamed again, and back to the first name: the light stays on throughout."""
    kept = Kept(site(JETTY, **AT_ONCE), at("21:30"))
    for name, formerly in (("pier", ["jetty"]), ("quay", ["jetty", "pier"]), ("jetty", ["pier", "quay"])):
        kept.pass_time(30)
        kept.change(zone(name, PROGRAM, pin=17, formerly=formerly), **AT_ONCE)
    assert kept.board.levels(17) == [0]
    assert [each[:2] for each in told(kept)] == [
        ("jetty", True),
        ("jetty", False),
        ("pier", True),
        ("pier", False),
        ("quay", True),
        ("quay", False),
        ("jetty", True),
    ]


def test_renamed_and_wired_to_another_pin() -> None:
    """The old relay goes off and is let go first, as with any zone that changes its pin."""
    kept = Kept(site(JETTY, **AT_ONCE), at("21:30"))
    old = kept.board.pin(17)
    kept.change(zone("pier", PROGRAM, pin=22, formerly=["jetty"]), **AT_ONCE)
    assert [level for _, level in old.levels] == [0, 1]
    assert old.function == "input"
    assert kept.board.levels(22) == [0]
    assert [each[:2] for each in told(kept)] == [
        ("jetty", True),
        ("jetty", False),
        ("pier", True),
        ("pier", False),
        ("pier", True),
    ]


def test_a_zone_without_its_earlier_id_is_another_zone() -> None:
    """Nobody said that it is the same: the old one is put out, and the new one comes on."""
    kept = Kept(site(JETTY, **AT_ONCE), at("21:30"))
    kept.change(zone("pier", PROGRAM, pin=17), **AT_ONCE)
    assert [each[:2] for each in told(kept)] == [("jetty", True), ("jetty", False), ("pier", True)]


def test_an_override_of_the_run_before_is_found_under_the_new_id() -> None:
    """Renamed while no keeper ran: the override in the journal is the zone's own."""
    kept = Kept(site(JETTY, **AT_ONCE), at("20:00"))
    placed = kept.keeper.override("jetty", on=True, lasts_s=3600)
    later = Kept(site(PIER, **AT_ONCE), past=PreviousRun(overrides=(placed,)), clock=kept.clock)
    later.reconcile()
    assert list(later.keeper.overrides) == ["pier"]
    assert later.is_lit(17)
    assert [each.zone for each in later.ledger.of(OverrideEnded)] == ["jetty"]
    assert [each.zone for each in later.ledger.of(Override)] == ["pier"]


def test_a_relay_rests_also_under_a_new_id() -> None:
    """Switched a second before a restart under the old id, it rests for the other second."""
    kept = Kept(site(JETTY, **GENTLE), at("21:00"))
    kept.reconcile()
    (switched,) = kept.ledger.of(Switching)
    kept.clock.advance(1)
    later = Kept(site(PIER, **GENTLE), past=PreviousRun(last_switchings=(switched,)), clock=kept.clock)
    assert later.keeper.reconcile() == pytest.approx(1, abs=0.01)
    assert not later.is_lit(17)
