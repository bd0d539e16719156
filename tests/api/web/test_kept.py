"""What takes long to work out is kept: for one site, under a key, and not for ever."""

import pytest

from api.web.context import MOST_KEPT, YearCache
from controller.planning.planner import Planner
from tests.sites import site, zone


class Work:
    """Counts how often it is done."""

    def __init__(self) -> None:
        self.times = 0

    def __call__(self, planner):
        self.times += 1
        return planner.site.name, self.times


def test_it_is_done_once_for_a_key():
    """The same key gives the same again, another key another."""
    kept, current, work = YearCache(), Planner(site()), Work()
    assert kept.keep("2027", current, work) == kept.keep("2027", current, work) == ("Tern Cottage", 1)
    assert kept.keep("2028", current, work) == ("Tern Cottage", 2)


def test_another_site_is_worked_out_anew():
    """What was worked out for a site file does not outlive it."""
    kept, work = YearCache(), Work()
    kept.keep("2027", Planner(site()), work)
    assert kept.keep("2027", Planner(site(zone("jetty", "dusk for 1h"))), work)[1] == 2


def test_what_is_kept_is_found_while_somebody_works():
    """Whoever asks for what is kept does not wait for another one's work."""
    kept, current, work = YearCache(), Planner(site()), Work()
    kept.keep("2027", current, work)
    with kept.turn:
        assert kept.keep("2027", current, work)[1] == 1


def test_the_oldest_goes():
    """So many are kept, and the one that was asked for longest ago goes first."""
    kept, current, work = YearCache(), Planner(site()), Work()
    for number in range(MOST_KEPT):
        kept.keep(number, current, work)
    kept.keep(0, current, work)
    kept.keep("one more", current, work)
    done = work.times
    kept.keep(0, current, work)
    assert work.times == done
    kept.keep(1, current, work)
    assert work.times == done + 1


def test_what_fails_is_not_kept():
    """After a failure the work is done again."""
    kept, current = YearCache(), Planner(site())

    def fail(_planner):
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        kept.keep("2027", current, fail)
    assert kept.keep("2027", current, Work())[1] == 1
