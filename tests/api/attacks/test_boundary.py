"""Every attack of the table at once on the real daemon, while one zone's light ends and another's begins."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta

import pytest
import trustme

from controller.keeper.keeper import TICK_S
from controller.records.entries import Cause
from tests.api.attacks.attackers import ask, besiege
from tests.process.daemon import free_port, running
from tests.process.faketime import MISSING, FakeTime, find_libfaketime

ENCRYPTED = "127.9.0.3"
STARTS_AT_UTC = datetime(2027, 6, 22, 3, 59, 35, tzinfo=UTC)
# Midnight on the site.
BOUNDARY_UTC = datetime(2027, 6, 22, 4, 0, tzinfo=UTC)
SITE = """\
[site]
name = "Saltmarsh Lodge"
latitude = 41.4901
longitude = -71.3128
time_zone = "America/New_York"

[network]
listen = ["{listen}"]
certificate = "{pem}"

[clock]
believe = "always"

[relays]
board = "simulated"
rest_s = 0
stagger_s = 0

[[zones]]
id = "lane"
pin = 5
program = ["20:00 to midnight"]

[[zones]]
id = "steps"
pin = 6
program = ["midnight to 02:00"]

# This one is asked for by those who attack.
[[zones]]
id = "jetty"
pin = 17
program = []
"""
# What each may be answered; beside these 503 and 429, as there are others, or no answer at all.
ANSWERS = {
    "cross_site_gets": {403},
    "bare_gets": {200},
    "hang_up_on_a_change": set(),
    "overwrite_unseen": {412, 428},
    "come_from_elsewhere": {421, 403},
    "send_other_types": {415},
    "send_ambiguous_json": {400},
    "send_too_much": {413, 431},
    "be_slow": set(),
    "be_idle": {200},
    "change_often": {204},
    "use_bad_tokens": {401, 403},
    "fill_the_streams": {200},
}


@pytest.fixture
def clock():
    """A clock that stands shortly before midnight when the daemon starts."""
    if find_libfaketime() is None:
        if os.environ.get("CI"):
            pytest.fail(MISSING)
        pytest.skip(MISSING)
    return FakeTime(rate=1)


@pytest.mark.usefixtures("files_to_open")
def test_all_of_this_at_a_boundary(tmp_path, clock):
    """Under every attack at once no switching is missed, none made twice, and nobody gets what they may not.

    A switching that came a tick late would have missed its timer.
    """
    made, pem, site = trustme.CA().issue_cert(ENCRYPTED), tmp_path / "both.pem", tmp_path / "site.toml"
    made.private_key_and_cert_chain_pem.write_to_path(pem)
    site.write_text(SITE.format(listen=ENCRYPTED, pem=pem), encoding="utf-8")
    environment = clock.environment(STARTS_AT_UTC)
    with running(site, tmp_path / "state", port=free_port(), environment=environment) as daemon:
        daemon.wait_for_api()
        siege = besiege(daemon, encrypted=ENCRYPTED)

        def switched():
            return [
                each for each in daemon.switchings if each.zone != "jetty" and each.at.utc >= BOUNDARY_UTC
            ]

        daemon.wait_until("switched at midnight", lambda: len(switched()) == 2, within_s=120)
        begun = siege.rounds.copy()
        daemon.wait_until(
            "attacked once more",
            lambda: all(siege.rounds[name] > begun[name] for name in siege.answers),
            within_s=120,
        )
        siege.end()
        found = [each for each in daemon.switchings if each.zone != "jetty"]
        status = ask(daemon, "GET", "/v1/status")
        assert daemon.stop() == 0
        log = daemon.log

    lit, *at_midnight = found
    assert (lit.zone, lit.on) == ("lane", True)
    assert {(each.zone, each.on, each.cause) for each in at_midnight} == {
        ("lane", False, Cause.PROGRAM),
        ("steps", True, Cause.PROGRAM),
    }
    assert len(at_midnight) == 2
    for each in at_midnight:
        assert timedelta() <= each.at.utc - BOUNDARY_UTC < timedelta(seconds=TICK_S)

    assert set(siege.answers) == set(ANSWERS)
    for name, answers in siege.answers.items():
        statuses = {each.status for each in answers if each is not None}
        assert statuses <= ANSWERS[name] | {429, 503}, name
    assert status.status == 200
    assert "Traceback" not in log
