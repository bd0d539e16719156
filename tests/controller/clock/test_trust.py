"""The judgement on the clock: every combination of evidence, the floor, and what holds for a boot."""

from datetime import UTC, datetime, timedelta

import pytest

from controller.clock.trust import BEHIND_ALLOWED, RELEASED_UTC, ClockTrust, Evidence

JOURNAL_UTC = datetime(2027, 6, 21, 20, 15, tzinfo=UTC)

NETWORK = "set from the network"
HARDWARE = "set from the hardware clock"
EARLIER = "found right before, since the board started"
SITE_FILE = "believed because the site file says so"
REMEDY = (
    "Connect the network, "
    'or set the clock by hand and write believe = "always" under [clock] in the site file'
)
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
    """A clock plainly behind the journal is believed where the network keeps it, by no other word."""
    believe, synchronised, hardware, earlier, _ = row
    floor_utc = max(JOURNAL_UTC, RELEASED_UTC + 2 * behind)
    trust = ClockTrust(believe=believe, floor_utc=floor_utc, found_earlier=earlier)
    evidence = Evidence(synchronised=synchronised, hardware=hardware)
    trusted, said = trust.evaluate(trust.floor_utc - behind, evidence)
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
    """Not even the network makes a time believed at which this program did not exist."""
    trust = ClockTrust(believe="always", floor_utc=JOURNAL_UTC)
    trusted, said = trust.evaluate(
        RELEASED_UTC - timedelta(days=1), Evidence(synchronised=True, hardware=True)
    )
    assert not trusted
    assert "before this program was made" in said


def test_words_for_1970():
    """A board that woke up in 1970 says so, and against what it was held."""
    trust = ClockTrust(believe="always", floor_utc=JOURNAL_UTC)
    assert trust.evaluate(datetime(1970, 1, 1, tzinfo=UTC), Evidence()) == (
        False,
        "the clock says 1970-01-01, before this program was made (2026-11-01). Connect the network",
    )


def test_words_do_not_change_with_the_minutes():
    """The words for a clock behind the floor stay the same while it runs on, so that they can be compared."""
    trust = ClockTrust(believe="synchronised", floor_utc=JOURNAL_UTC)
    said = {trust.evaluate(JOURNAL_UTC - timedelta(minutes=m), Evidence())[1] for m in range(6, 120)}
    assert said == {
        "the clock is behind the last entry of the journal (2027-06-21 20:15 UTC). Connect the network"
    }


def test_release_date_is_a_floor_of_its_own():
    """Without a journal the release date is the floor, and the words say so."""
    trust = ClockTrust(believe="always", floor_utc=datetime(1970, 1, 1, tzinfo=UTC))
    assert trust.floor_utc == RELEASED_UTC
    trusted, words = trust.evaluate(RELEASED_UTC - timedelta(days=1), Evidence(synchronised=True))
    assert not trusted
    assert words == (
        "the clock says 2026-10-31, before this program was made (2026-11-01). Connect the network"
    )


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


def test_always_believes_again_after_a_fall():
    """With “always”, a clock that has come back to the floor is believed again."""
    trust = ClockTrust(believe="always", floor_utc=JOURNAL_UTC)
    assert not trust.evaluate(datetime(1970, 1, 2, tzinfo=UTC), Evidence())[0]
    assert trust.evaluate(JOURNAL_UTC, Evidence()) == (True, SITE_FILE)


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
    assert not trust.evaluate(JOURNAL_UTC, Evidence(hardware=True))[0]


def test_a_remark_goes_with_the_waiting():
    """What is the matter with the hardware clock is told to the person who waits."""
    trust = ClockTrust(believe="synchronised", floor_utc=JOURNAL_UTC)
    remark = "the hardware clock says 2000-01-01; its battery may be empty"
    assert trust.evaluate(JOURNAL_UTC, Evidence(remark=remark)) == (
        False,
        f"the clock is not set ({remark}). {REMEDY}",
    )
    assert trust.evaluate(JOURNAL_UTC, Evidence(remark=remark, synchronised=True)) == (True, NETWORK)


def test_refuses_what_is_wrong():
    """A belief that is none of the two, and a floor without a time zone, are refused and quoted."""
    with pytest.raises(ValueError, match="'sometimes'"):
        ClockTrust(believe="sometimes", floor_utc=JOURNAL_UTC)
    with pytest.raises(ValueError, match="aware"):
        ClockTrust(believe="always", floor_utc=datetime(2027, 1, 1))  # noqa: DTZ001 - the fault under test
