"""The judgement on the clock: every combination of evidence, the floor, and what holds for a boot."""

from datetime import UTC, datetime, timedelta

import pytest

from controller.clock.trust import BEHIND_ALLOWED, RELEASED_UTC, ClockTrust, Evidence

JOURNAL_UTC = datetime(2027, 6, 21, 20, 15, tzinfo=UTC)

NETWORK = "set from the network"
HARDWARE = "set from the hardware clock"
EARLIER = "found right before, since the board started"
SITE_FILE = "believed because the site file says so"
REMEDY = "Connect the network, or confirm the time (leerie clock SITE.toml --confirm)"
SET_REMEDY = "Connect the network, or set the clock and confirm it (leerie clock SITE.toml --confirm)"
CONFIRMED = "confirmed by a person"
WAITING = f"the clock is not set. {REMEDY}"

# believe, synchronised, hardware, trusted earlier in this boot: the words, empty where it is not trusted.
TABLE = [
    ("synchronised", False, False, False, ""),
    ("synchronised", False, False, True, EARLIER),
    ("synchronised", False, True, False, HARDWARE),
    ("synchronised", False, True, True, HARDWARE),
    ("synchronised", True, False, False, NETWORK),
    ("synchronised", True, False, True, NETWORK),
    ("synchronised", True, True, False, NETWORK),
    ("synchronised", True, True, True, NETWORK),
    ("always", False, False, False, SITE_FILE),
    ("always", False, False, True, EARLIER),
    ("always", False, True, False, HARDWARE),
    ("always", False, True, True, HARDWARE),
    ("always", True, False, False, NETWORK),
    ("always", True, False, True, NETWORK),
    ("always", True, True, False, NETWORK),
    ("always", True, True, True, NETWORK),
]


def test_the_table_has_every_combination():
    """The table below leaves no combination out."""
    assert len({row[:4] for row in TABLE}) == 2 * 2 * 2 * 2


@pytest.mark.parametrize("row", TABLE, ids=str)
@pytest.mark.parametrize(
    "past_floor", [timedelta(0), -BEHIND_ALLOWED, timedelta(hours=1), timedelta(days=9000)], ids=str
)
def test_not_behind_the_floor(row, past_floor):
    """From five minutes before the floor on, one witness is enough, and the words name the best."""
    believe, synchronised, hardware, earlier, words = row
    trust = ClockTrust(believe=believe, floor_utc=JOURNAL_UTC, found_earlier=earlier)
    evidence = Evidence(synchronised=synchronised, hardware=hardware)
    assert trust.evaluate(JOURNAL_UTC + past_floor, evidence) == (bool(words), words or WAITING)


@pytest.mark.parametrize("row", TABLE, ids=str)
@pytest.mark.parametrize("behind", [BEHIND_ALLOWED + timedelta(seconds=1), timedelta(days=400)], ids=str)
def test_behind_the_floor(row, behind):
    """A clock plainly behind the journal is believed where the network keeps it, or "always" is written."""
    believe, synchronised, hardware, earlier, _ = row
    floor_utc = max(JOURNAL_UTC, RELEASED_UTC + 2 * behind)
    trust = ClockTrust(believe=believe, floor_utc=floor_utc, found_earlier=earlier)
    evidence = Evidence(synchronised=synchronised, hardware=hardware)
    trusted, said = trust.evaluate(trust.floor_utc - behind, evidence)
    if believe == "always":
        assert (trusted, said) == (True, NETWORK if synchronised else SITE_FILE)
        return
    assert trusted is synchronised
    assert said == NETWORK if synchronised else "the last entry of the journal" in said


def test_a_journal_written_months_ahead_does_not_keep_the_garden_dark():
    """After a night by a clock that ran ahead, the network is believed, and the floor comes down."""
    trust = ClockTrust(believe="synchronised", floor_utc=JOURNAL_UTC)
    assert trust.evaluate(JOURNAL_UTC + timedelta(days=180), Evidence(hardware=True))[0]
    trust.raise_floor(JOURNAL_UTC + timedelta(days=180))
    assert not trust.evaluate(JOURNAL_UTC, Evidence(hardware=True))[0]
    assert trust.evaluate(JOURNAL_UTC, Evidence(synchronised=True)) == (True, NETWORK)
    assert trust.floor_utc == JOURNAL_UTC


def test_nobody_vouches_for_a_time_before_the_release():
    """Neither the network nor a person makes a time believed at which this program did not exist."""
    trust = ClockTrust(believe="synchronised", floor_utc=JOURNAL_UTC)
    before_utc = RELEASED_UTC - timedelta(days=1)
    trusted, said = trust.evaluate(before_utc, Evidence(synchronised=True, hardware=True))
    assert not trusted
    assert "before this program was made" in said
    with pytest.raises(ValueError, match=r"before this program was made .* set the clock and confirm it"):
        trust.confirm(before_utc, 60.0)
    assert not trust.evaluate(before_utc, Evidence())[0]


def test_words_for_1970():
    """A board that woke up in 1970 says so, and against what it was held."""
    trust = ClockTrust(believe="synchronised", floor_utc=JOURNAL_UTC)
    assert trust.evaluate(datetime(1970, 1, 1, tzinfo=UTC), Evidence()) == (
        False,
        f"the clock says 1970-01-01, before this program was made (2026-11-01). {SET_REMEDY}",
    )


@pytest.mark.parametrize("evidence", [Evidence(), Evidence(hardware=True), Evidence(synchronised=True)])
def test_always_is_always_and_says_when_it_cannot_be_right(evidence):
    """A board of an owner who wrote "always" lights by 1970, too, and says what is wrong with it."""
    trust = ClockTrust(believe="always", floor_utc=JOURNAL_UTC)
    trusted, said = trust.evaluate(datetime(1970, 1, 1, tzinfo=UTC), evidence)
    assert trusted
    assert said == (
        f"{SITE_FILE}, but the clock says 1970-01-01, before this program was made (2026-11-01). {SET_REMEDY}"
    )


@pytest.mark.parametrize("wrong_by", [timedelta(hours=1), timedelta(days=365), timedelta(days=9 * 365)])
def test_always_forgives_a_slip_of_the_hand(wrong_by):
    """An hour or a year typed wrong, believed and corrected: believed at once, and so is what follows it."""
    trust = ClockTrust(believe="always", floor_utc=JOURNAL_UTC)
    trust.raise_floor(JOURNAL_UTC + wrong_by)
    assert trust.evaluate(JOURNAL_UTC, Evidence()) == (True, SITE_FILE)
    assert trust.floor_utc == JOURNAL_UTC
    trust.believe = "synchronised"
    assert trust.evaluate(JOURNAL_UTC, Evidence(hardware=True)) == (True, HARDWARE)


def test_words_do_not_change_with_the_minutes():
    """The words for a clock behind the floor stay the same while it runs on, so that they can be compared."""
    trust = ClockTrust(believe="synchronised", floor_utc=JOURNAL_UTC)
    said = {trust.evaluate(JOURNAL_UTC - timedelta(minutes=m), Evidence())[1] for m in range(6, 120)}
    assert said == {f"the clock is behind the last entry of the journal (2027-06-21 20:15 UTC). {REMEDY}"}


def test_release_date_is_a_floor_of_its_own():
    """Without a journal the release date is the floor, and the words say so."""
    trust = ClockTrust(believe="synchronised", floor_utc=datetime(1970, 1, 1, tzinfo=UTC))
    assert trust.floor_utc == RELEASED_UTC
    trusted, words = trust.evaluate(RELEASED_UTC - timedelta(days=1), Evidence(synchronised=True))
    assert not trusted
    assert words == f"the clock says 2026-10-31, before this program was made (2026-11-01). {SET_REMEDY}"


@pytest.mark.parametrize(
    ("evidence", "words"), [(Evidence(synchronised=True), NETWORK), (Evidence(hardware=True), HARDWARE)]
)
def test_trust_holds_for_the_boot(evidence, words):
    """A network or a hardware clock that is gone for days ends nothing."""
    trust = ClockTrust(believe="synchronised", floor_utc=JOURNAL_UTC)
    trust.evaluate(JOURNAL_UTC, evidence)
    assert trust.evaluate(JOURNAL_UTC + timedelta(days=12), Evidence()) == (True, words)


@pytest.mark.parametrize("found_earlier", [True, False])
def test_a_fall_behind_the_floor_ends_what_held(found_earlier):
    """Once the clock has fallen behind the floor it must be found right anew, even when it comes back."""
    trust = ClockTrust(believe="synchronised", floor_utc=JOURNAL_UTC, found_earlier=found_earlier)
    if not found_earlier:
        trust.evaluate(JOURNAL_UTC, Evidence(synchronised=True))
    assert trust.held
    trust.evaluate(JOURNAL_UTC - timedelta(days=1), Evidence())
    assert not trust.held
    assert trust.evaluate(JOURNAL_UTC + timedelta(hours=1), Evidence()) == (False, WAITING)
    assert trust.evaluate(JOURNAL_UTC + timedelta(hours=2), Evidence(synchronised=True)) == (True, NETWORK)


def test_the_network_is_named_once_it_has_answered():
    """The better witness takes over in the words, and the lesser does not take them back."""
    trust = ClockTrust(believe="always", floor_utc=JOURNAL_UTC)
    said = [
        trust.evaluate(JOURNAL_UTC, evidence)[1]
        for evidence in (
            Evidence(),
            Evidence(hardware=True),
            Evidence(synchronised=True),
            Evidence(hardware=True),
            Evidence(),
        )
    ]
    assert said == [SITE_FILE, HARDWARE, NETWORK, NETWORK, NETWORK]


def test_the_floor_only_rises():
    """An earlier instant leaves the floor where it is; a later one moves it."""
    trust = ClockTrust(believe="always", floor_utc=JOURNAL_UTC)
    trust.raise_floor(JOURNAL_UTC - timedelta(days=3))
    assert trust.floor_utc == JOURNAL_UTC
    trust.raise_floor(JOURNAL_UTC + timedelta(days=3))
    assert trust.floor_utc == JOURNAL_UTC + timedelta(days=3)


def test_a_remark_goes_with_the_waiting():
    """What is the matter with the hardware clock is told to the person who waits."""
    trust = ClockTrust(believe="synchronised", floor_utc=JOURNAL_UTC)
    remark = "the hardware clock says 2000-01-01; its battery may be empty"
    assert trust.evaluate(JOURNAL_UTC, Evidence(remark=remark)) == (
        False,
        f"the clock is not set ({remark}). {REMEDY}",
    )
    assert trust.evaluate(JOURNAL_UTC, Evidence(remark=remark, synchronised=True)) == (True, NETWORK)


def confirmed(**keys) -> ClockTrust:
    """Give the trust in a clock that a person confirmed ten minutes after the board started."""
    trust = ClockTrust(**{"believe": "synchronised", "floor_utc": JOURNAL_UTC, **keys})
    trust.confirm(JOURNAL_UTC, 600.0)
    return trust


def later(trust: ClockTrust, after_s: float, step_s: float = 0.0, **evidence) -> tuple[bool, str]:
    """Look at its clock some time after the confirmation, set by so much since."""
    utc = JOURNAL_UTC + timedelta(seconds=after_s + step_s)
    return trust.evaluate(utc, Evidence(**evidence), boot_s=600.0 + after_s)


def test_a_person_can_vouch_for_a_clock_that_nothing_set():
    """Trusted from then on, for as long as the board runs and nobody sets the clock."""
    trust = confirmed()
    for after_s in (0.0, 2.0, 86_400.0, 300 * 86_400.0):
        assert later(trust, after_s) == (True, CONFIRMED)


def test_a_person_overrules_an_entry_from_the_future():
    """After a year typed wrong, the confirmed time is believed, and the floor comes down to it."""
    trust = ClockTrust(believe="synchronised", floor_utc=JOURNAL_UTC + timedelta(days=365))
    assert not trust.evaluate(JOURNAL_UTC, Evidence(hardware=True))[0]
    trust.confirm(JOURNAL_UTC, 600.0)
    assert later(trust, 0.0) == (True, CONFIRMED)
    assert trust.floor_utc == JOURNAL_UTC


@pytest.mark.parametrize("step_s", [-3600.0, -60.0, -1.5, 1.5, 60.0, 3600.0, 400 * 86_400.0])
def test_a_confirmation_ends_when_a_hand_sets_the_clock(step_s):
    """They vouched for that time, not for what is set later, though it be set back again."""
    trust = confirmed()
    trusted, said = later(trust, 30.0, step_s)
    assert not trusted
    assert said in (
        f"the clock was set after a person confirmed it. {REMEDY}",
        f"the clock is behind the last entry of the journal (2027-06-21 20:15 UTC). {REMEDY}",
    )
    assert not later(trust, 60.0)[0]
    trust.confirm(JOURNAL_UTC + timedelta(seconds=90 + step_s), 690.0)
    assert later(trust, 120.0, step_s) == (True, CONFIRMED)


@pytest.mark.parametrize("step_s", [0.0, -5400.0, 45.0, 3600.0])
def test_a_network_that_comes_takes_over_from_the_person(step_s):
    """It may set the clock, and goes on being believed when it is gone."""
    trust = confirmed()
    assert later(trust, 30.0, step_s, synchronised=True) == (True, NETWORK)
    assert later(trust, 60.0, step_s) == (True, NETWORK)


def test_a_confirmation_is_restored_with_the_time_that_it_was_for():
    """A process that starts again in the same boot knows whether the clock was set meanwhile."""
    for step_s, words in ((0.0, CONFIRMED), (120.0, "")):
        trust = ClockTrust(believe="synchronised", floor_utc=JOURNAL_UTC)
        trust.restore_confirmation(JOURNAL_UTC, 600.0)
        assert later(trust, 7200.0, step_s)[0] is bool(words)
        assert trust.held == words


def test_always_outlives_a_confirmation():
    """With “always”, the clock stays believed when a hand sets it after it was confirmed."""
    trust = confirmed(believe="always")
    assert later(trust, 30.0) == (True, CONFIRMED)
    assert later(trust, 60.0, 3600.0) == (True, SITE_FILE)


def test_refuses_what_is_wrong():
    """A belief that is none of the two, and a floor without a time zone, are refused and quoted."""
    with pytest.raises(ValueError, match="'sometimes'"):
        ClockTrust(believe="sometimes", floor_utc=JOURNAL_UTC)
    with pytest.raises(ValueError, match="aware"):
        ClockTrust(believe="always", floor_utc=datetime(2027, 1, 1))  # noqa: DTZ001 - the fault under test
