"""Failed tries, in stepped time."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.access.tries import MOST_RECORDED, FailedTries


@given(st.lists(st.floats(min_value=0, max_value=90), min_size=1, max_size=40))
def test_no_minute_has_more_than_five_wrong_codes(pauses_s):
    """However they come, six wrong codes that are listened to take at least a minute, and five never wait."""
    tries, boot_s, heard = FailedTries(), 1000.0, []
    for pause_s in pauses_s:
        boot_s += pause_s
        recent = [at_s for at_s in heard if boot_s - at_s < 60]
        if tries.wait_s(boot_s):
            assert len(recent) == 5
            boot_s += tries.wait_s(boot_s)
            assert not tries.wait_s(boot_s)
        else:
            assert len(recent) < 5
        tries.add_wrong_code(boot_s)
        heard.append(boot_s)
    assert all(later - first >= 60 - 1e-9 for first, later in zip(heard, heard[5:], strict=False))


def test_a_device_that_keeps_trying_is_recorded_once_an_hour():
    """A phone whose token was revoked and that asks every five seconds gives one entry an hour; all count."""
    tries = FailedTries()
    recorded = [at_s for at_s in range(0, 3 * 3600, 5) if tries.add("revoked token", "192.168.1.20", at_s)]
    assert recorded == [0, 3600, 7200]
    assert tries.count == 3 * 720


@pytest.mark.parametrize("pause_s", [0.0, 1.0])
def test_many_addresses_do_not_fill_the_journal(pause_s):
    """A device that takes an address after the other gives no more than twelve entries in an hour."""
    tries = FailedTries()
    recorded = [tries.add("wrong token", f"fe80::{each:x}", each * pause_s) for each in range(1000)]
    assert sum(recorded) == MOST_RECORDED == 12
    assert recorded[0]
    assert tries.count == 1000
