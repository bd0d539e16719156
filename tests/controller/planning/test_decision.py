"""The decision: what a relay must be, because of what, and until when; and how an override ends by itself.

What wins, first to last: zone out of service, override, clock not trusted, special night, program.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from config.errors import UnknownZoneError
from config.models.site import Site
from controller.planning.decision import (
    LONGEST_OVERRIDE_S,
    OVERRIDE_WITHOUT_CLOCK_S,
    decide,
    place_override,
    seconds_left,
)
from controller.planning.planner import Planner
from controller.records.entries import Cause, Override
from controller.records.reading import Reading
from tests.sites import site, zone
from tests.strategies import instants, overrides, patient, readings, sites

MOMENT = timedelta(microseconds=1)
# Half past nine in London in January: every night is lit from 21:00 to 22:00, Fridays from 20:00 to 23:00.
EVENING = datetime(2027, 1, 5, 21, 30, tzinfo=UTC)
SPECIAL: Any = (("Fri", ["20:00 to 23:00"]),)


def reading(at_utc: datetime = EVENING, **more: Any) -> Reading:
    """Look at the clock."""
    usual: dict[str, Any] = {"boot_s": 1000.0, "boot_id": "boot-1", "trusted": True, "trust": "as given"}
    return Reading(utc=at_utc, **{**usual, **more})


def later(at: Reading, seconds: float, **more: Any) -> Reading:
    """Look at the clock again, in the same boot."""
    usual: dict[str, Any] = {"boot_id": at.boot_id, "trusted": at.trusted}
    return reading(at.utc + timedelta(seconds=seconds), boot_s=at.boot_s + seconds, **{**usual, **more})


def rebooted(at: Reading, seconds: float, **more: Any) -> Reading:
    """Look at the clock again, after the board was switched off and on."""
    return reading(at.utc + timedelta(seconds=seconds), boot_s=12.0, **{"boot_id": "boot-2", **more})


def planner_of(*program: str, **more: Any) -> Planner:
    """Open the planner of a site with one zone."""
    return Planner(site(zone("jetty", *(program or ("21:00 to 22:00",)), special=SPECIAL, **more)))


# -- what wins -----------------------------------------------------------------------------------------------


def expected_winner(a_site: Site, now: Reading, override: Override | None) -> str:
    """Say who decides, from the list at the top of this file."""
    if a_site.zones[0].out_of_service is not None:
        return "out of service"
    if override is not None and in_force(override, now):
        return "override"
    return "program" if now.trusted else "clock not trusted"


def in_force(override: Override, now: Reading) -> bool:
    """Say whether an override is in force, case by case.

    A length of time is measured on the boot-time clock, which no step touches; an instant, by the wall clock
    where it is trusted. Without a trusted clock an earlier boot's override cannot be measured at all.
    """
    placed = override.placed_at
    same_boot = placed.boot_id == now.boot_id
    elapsed_s = now.boot_s - placed.boot_s
    if override.lasts_s is not None:
        if same_boot:
            return elapsed_s < override.lasts_s
        end_utc = placed.utc + timedelta(seconds=override.lasts_s) if placed.trusted else None
    else:
        end_utc = override.ends_at_utc
    if now.trusted:
        return end_utc is not None and now.utc < end_utc
    if same_boot and end_utc is not None:
        return timedelta(seconds=elapsed_s) < end_utc - placed.utc
    return False


@patient
@given(at_utc=instants, data=st.data())
def test_what_wins_over_what(at_utc: datetime, data: st.DataObject) -> None:
    """Over any site, instant, clock and override: the order of the list at the top of this file."""
    drawn = data.draw(sites(at_utc.date()))
    reason = data.draw(st.none() | st.just("cable dug up"))
    taken_out = drawn.zones[0].model_copy(update={"out_of_service": reason})
    a_site = drawn.model_copy(update={"zones": (taken_out,)})
    now = data.draw(readings(at_utc))
    name = a_site.zones[0].id
    override = data.draw(st.none() | overrides(name, now))
    planner = Planner(a_site)
    if override is not None:  # within rounding of its end either answer will do
        assume(abs(seconds_left(override, now) or 1.0) > 1e-3)
    decision = decide(name, now, planner=planner, override=override)
    winner = expected_winner(a_site, now, override)
    if winner == "out of service":
        assert (decision.on, decision.cause) == (False, Cause.OUT_OF_SERVICE)
        assert decision.words == "out of service: cable dug up"
    elif winner == "override":
        assert override is not None
        assert (decision.on, decision.cause) == (override.on, Cause.OVERRIDE)
    elif winner == "clock not trusted":
        assert (decision.on, decision.cause) == (False, Cause.CLOCK_NOT_TRUSTED)
        assert decision.words == "lights held: the clock is not trusted"
    else:
        plan = planner.plan(name, planner.night_at(at_utc))
        assert decision.on == any(each.on_utc <= at_utc < each.off_utc for each in plan.windows)
        assert decision.cause is plan.cause
    if decision.on and not now.trusted:
        assert decision.cause is Cause.OVERRIDE


@patient
@given(at_utc=instants, data=st.data())
def test_a_decision_says_in_how_many_seconds_it_ends(at_utc: datetime, data: st.DataObject) -> None:
    """By a trusted clock and the program, instant and seconds say the same, and the end lies ahead."""
    a_site = data.draw(sites(at_utc.date()))
    now = reading(at_utc)
    name, planner = a_site.zones[0].id, Planner(a_site)
    decision = decide(name, now, planner=planner)
    assert (decision.until_utc is None) == (decision.changes_in_s is None)
    if decision.until_utc is None or decision.changes_in_s is None:
        return
    assert decision.changes_in_s == (decision.until_utc - at_utc).total_seconds() > 0
    before, after = (
        decide(name, reading(decision.until_utc + by), planner=planner) for by in (-MOMENT, 0 * MOMENT)
    )
    assert before.on is decision.on
    assert after.on is not decision.on


@patient
@given(at_utc=instants, data=st.data())
def test_an_override_decides_up_to_its_end_and_not_at_it(at_utc: datetime, data: st.DataObject) -> None:
    """Whatever its end, measured in the same boot: in force until a moment before, over at it."""
    a_site = data.draw(sites(at_utc.date()))
    name, planner = a_site.zones[0].id, Planner(a_site)
    now = data.draw(readings(at_utc))
    lasts_s = data.draw(st.none() | st.integers(1, 200_000).map(float))
    override = place_override(name, now, on=data.draw(st.booleans()), planner=planner, lasts_s=lasts_s)
    left_s = seconds_left(override, now)
    assert left_s is not None
    assert 0 < left_s <= (lasts_s or LONGEST_OVERRIDE_S)
    for passed_s, still in ((max(left_s - 0.001, 0.0), True), (left_s + 0.001, False)):
        decision = decide(name, later(now, passed_s), planner=planner, override=override)
        assert (decision.cause is Cause.OVERRIDE) is still
    if override.ends_at_utc is not None:
        at_end = reading(override.ends_at_utc, boot_s=now.boot_s, boot_id=now.boot_id)
        assert decide(name, at_end, planner=planner, override=override).cause is not Cause.OVERRIDE


@pytest.mark.parametrize("on", [True, False])
def test_out_of_service_wins_over_an_override(on: bool) -> None:
    """Whoever works on the cable must be able to rely on it."""
    planner = planner_of(out_of_service="cable dug up")
    override = Override(zone="jetty", on=on, placed_at=reading(), lasts_s=600)
    decision = decide("jetty", later(reading(), 5), planner=planner, override=override)
    assert (decision.on, decision.cause, decision.until_utc) == (False, Cause.OUT_OF_SERVICE, None)


def test_an_override_works_while_the_clock_is_not_trusted_and_nothing_else_does() -> None:
    """In a dark shed somebody can have light for a while; the program waits for the time."""
    planner, now = planner_of(), reading(trusted=False)
    decision = decide("jetty", now, planner=planner)
    assert (decision.on, decision.cause) == (False, Cause.CLOCK_NOT_TRUSTED)
    assert (decision.until_utc, decision.changes_in_s) == (None, None)
    override = place_override("jetty", now, on=True, planner=planner, lasts_s=600)
    decision = decide("jetty", later(now, 5), planner=planner, override=override)
    assert (decision.on, decision.cause) == (True, Cause.OVERRIDE)
    assert decision.until_utc is None  # nobody knows by which clock
    assert decision.changes_in_s == 595


def test_an_override_wins_over_a_special_night_and_that_over_the_program() -> None:
    """On a Friday at half past ten: the program is over, the special night is lit, somebody wants dark."""
    planner, friday = planner_of(), reading(datetime(2027, 1, 8, 22, 30, tzinfo=UTC))
    assert decide("jetty", friday, planner=planner).cause is Cause.SPECIAL_NIGHT
    assert decide("jetty", friday, planner=planner).words == "20:00 to 23:00, special night Fri"
    override = place_override("jetty", friday, on=False, planner=planner)
    decision = decide("jetty", friday, planner=planner, override=override)
    assert (decision.on, decision.words) == (False, "somebody asked for dark")
    assert decision.until_utc == datetime(2027, 1, 8, 23, tzinfo=UTC)


def test_a_zone_that_is_not_there_is_named() -> None:
    """Nobody decides for it, and nobody can override it."""
    with pytest.raises(UnknownZoneError, match="“pond”"):
        decide("pond", reading(), planner=planner_of())
    with pytest.raises(UnknownZoneError, match="“pond”"):
        place_override("pond", reading(), on=True, planner=planner_of())


# -- how an override ends ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at", "on", "ends"),
    [
        ("2027-01-05T21:30", False, "2027-01-05T22:00"),  # lit: the program would have put it out at ten
        ("2027-01-05T22:30", True, "2027-01-06T21:00"),  # dark: the program lights it at nine tomorrow
        ("2027-01-05T21:30", True, "2027-01-05T22:00"),  # as it is anyway: kept until the next change
        ("2027-01-07T22:30", True, "2027-01-08T20:00"),  # the next night is a special one
        ("2027-01-05T22:00", True, "2027-01-06T21:00"),  # at the very change: the next one counts
    ],
)
def test_without_a_time_it_ends_with_the_programs_next_change(at: str, on: bool, ends: str) -> None:
    """Asked for at any moment, the program takes over again at its own next change of the light."""
    now, planner = reading(datetime.fromisoformat(at).replace(tzinfo=UTC)), planner_of()
    override = place_override("jetty", now, on=on, planner=planner)
    end_utc = datetime.fromisoformat(ends).replace(tzinfo=UTC)
    assert (override.ends_at_utc, override.lasts_s) == (end_utc, None)
    before = decide("jetty", reading(end_utc - MOMENT), planner=planner, override=override)
    assert (before.cause, before.on) == (Cause.OVERRIDE, on)
    at_end = decide("jetty", reading(end_utc), planner=planner, override=override)
    assert at_end.cause in (Cause.PROGRAM, Cause.SPECIAL_NIGHT)


def test_where_the_program_never_changes_it_ends_after_a_day() -> None:
    """A zone without a program, and one whose next light is weeks away, are not left lit for ever."""
    for planner in (
        Planner(site(zone("jetty") | {"program": []})),
        Planner(site(zone("jetty", special=(("2027-02-01", ["21:00 to 22:00"]),)) | {"program": []})),
    ):
        override = place_override("jetty", reading(), on=True, planner=planner)
        assert override.ends_at_utc == EVENING + timedelta(seconds=LONGEST_OVERRIDE_S)
    assert LONGEST_OVERRIDE_S == 24 * 3600


def test_without_a_time_and_a_trusted_clock_it_ends_after_hours() -> None:
    """Nobody knows when the program changes next; four hours are an evening."""
    now, planner = reading(trusted=False), planner_of()
    override = place_override("jetty", now, on=True, planner=planner)
    assert (override.ends_at_utc, override.lasts_s) == (None, OVERRIDE_WITHOUT_CLOCK_S)
    assert decide("jetty", later(now, 4 * 3600 - 1), planner=planner, override=override).on
    assert not decide("jetty", later(now, 4 * 3600), planner=planner, override=override).on


def test_a_length_of_time_is_measured_on_the_boot_clock() -> None:
    """A clock that is set meanwhile, forward or back, makes an override neither shorter nor longer."""
    now, planner = reading(), planner_of()
    override = place_override("jetty", now, on=True, planner=planner, lasts_s=3600)
    for step in (timedelta(days=200), timedelta(hours=-1), timedelta(0)):
        for passed_s, on in ((3599.0, True), (3600.0, False)):
            then = reading(now.utc + step + timedelta(seconds=passed_s), boot_s=now.boot_s + passed_s)
            assert (decide("jetty", then, planner=planner, override=override).cause is Cause.OVERRIDE) is on


def test_an_instant_is_kept_by_the_wall_clock_where_that_is_trusted() -> None:
    """Asked for until eleven, it ends when the clock says eleven, also where it was an hour slow."""
    now, planner = reading(), planner_of()
    override = place_override(
        "jetty", now, on=True, planner=planner, ends_at_utc=EVENING + timedelta(hours=1.5)
    )
    put_right = reading(EVENING + timedelta(hours=1.5), boot_s=now.boot_s + 30 * 60)
    assert decide("jetty", put_right, planner=planner, override=override).cause is Cause.PROGRAM
    # Trust that was lost since leaves the boot-time clock to measure what was left then.
    lost = reading(datetime(1970, 1, 1, tzinfo=UTC), boot_s=now.boot_s + 5399, trusted=False)
    assert decide("jetty", lost, planner=planner, override=override).on
    assert not decide("jetty", later(lost, 1), planner=planner, override=override).on


def test_after_a_reboot_a_length_of_time_is_measured_by_the_wall_clock() -> None:
    """The boot-time clock began anew: an hour is then an hour by a clock that was trusted both times."""
    now, planner = reading(), planner_of()
    override = place_override("jetty", now, on=True, planner=planner, lasts_s=3600)
    assert decide("jetty", rebooted(now, 3599), planner=planner, override=override).cause is Cause.OVERRIDE
    assert decide("jetty", rebooted(now, 3600), planner=planner, override=override).cause is Cause.PROGRAM


def test_after_a_reboot_without_a_trusted_clock_it_waits_for_the_time() -> None:
    """Nobody can tell whether its time is over: dark, as ever then, and decided when the time is known."""
    now, planner = reading(), planner_of()
    for override in (
        place_override("jetty", now, on=True, planner=planner, lasts_s=3600),
        place_override("jetty", now, on=True, planner=planner, ends_at_utc=EVENING + timedelta(hours=1)),
    ):
        untrusted = reading(datetime(1970, 1, 1, tzinfo=UTC), boot_s=5, boot_id="boot-2", trusted=False)
        assert seconds_left(override, untrusted) is None
        waiting = decide("jetty", untrusted, planner=planner, override=override)
        assert (waiting.on, waiting.cause) == (False, Cause.CLOCK_NOT_TRUSTED)
        assert (
            decide("jetty", rebooted(now, 1800), planner=planner, override=override).cause is Cause.OVERRIDE
        )


def test_after_a_reboot_an_override_placed_without_the_time_is_over() -> None:
    """Placed by a clock that nobody believed, in a boot that is gone: nothing can say when, so it ends."""
    now, planner = reading(datetime(1970, 1, 1, tzinfo=UTC), trusted=False), planner_of()
    override = place_override("jetty", now, on=True, planner=planner, lasts_s=3600)
    assert seconds_left(override, rebooted(reading(), 0)) == 0.0
    assert decide("jetty", rebooted(reading(), 0), planner=planner, override=override).cause is Cause.PROGRAM


@pytest.mark.parametrize(
    ("end", "words"),
    [
        ({"ends_at_utc": EVENING + timedelta(hours=1), "lasts_s": 60.0}, "not both"),
        ({"lasts_s": 0.0}, "more than 0 s"),
        ({"lasts_s": -60.0}, "not -60 s"),
        ({"lasts_s": float("nan")}, "not nan s"),
        ({"lasts_s": float("inf")}, "not inf s"),
        ({"lasts_s": 31 * 86400 + 1.0}, "at most 31 days"),
        ({"ends_at_utc": EVENING + timedelta(days=31, seconds=1)}, "is more than 31 days away"),
        ({"ends_at_utc": datetime(9999, 12, 31, tzinfo=UTC)}, "is more than 31 days away"),
        ({"ends_at_utc": EVENING}, "2027-01-05T21:30:00Z is already over"),
        ({"ends_at_utc": EVENING - timedelta(hours=1)}, "already over"),
    ],
)
def test_an_override_without_an_end_that_can_be_kept_is_refused(end: dict[str, Any], words: str) -> None:
    """The refusal quotes what was asked for, and says what would do."""
    with pytest.raises(ValueError, match=words):
        place_override("jetty", reading(), on=True, planner=planner_of(), **end)


def test_the_longest_override_is_the_same_by_length_and_by_instant() -> None:
    """Both ways of saying when it ends allow 31 days."""
    for end in ({"lasts_s": 31 * 86400.0}, {"ends_at_utc": EVENING + timedelta(days=31)}):
        override = place_override("jetty", reading(), on=True, planner=planner_of(), **end)
        assert seconds_left(override, reading()) == 31 * 86400


def test_an_instant_is_refused_while_the_clock_is_not_trusted() -> None:
    """Until when cannot be kept by a clock that may be wrong; for how long can."""
    now = reading(trusted=False, trust="the clock is not set")
    with pytest.raises(ValueError, match=r"say for how long.*the clock is not set"):
        place_override("jetty", now, on=True, planner=planner_of(), ends_at_utc=EVENING + timedelta(hours=1))
    assert place_override("jetty", now, on=True, planner=planner_of(), lasts_s=60).lasts_s == 60
