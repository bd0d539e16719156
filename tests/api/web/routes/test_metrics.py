"""The metrics for monitoring, read by the parsers of prometheus_client and checked by Debian's promtool."""

import os
import shutil
import subprocess
import threading
from datetime import datetime

import httpx
import pytest
from prometheus_client import parser
from prometheus_client.openmetrics import parser as openmetrics_parser

from api.web.routes import metrics
from config.errors import RelayError
from tests.api.lines import LONG_S
from tests.api.stand_in import EVENING_UTC, House
from tests.reference.de421 import sun_heights_deg

PROMTOOL = shutil.which("promtool")
TEXT = "text/plain; version=0.0.4; charset=utf-8"
OPENMETRICS = "application/openmetrics-text; version=1.0.0; charset=utf-8"
OF_JOURNAL = (
    "leerie_zone_run_seconds_total",
    "leerie_zone_starts_total",
    "leerie_zone_lamp_energy_joules_total",
)


def samples(house, **more):
    """Give the value of every sample, by its name and zone."""
    response = house.ask("GET", "/metrics", **more)
    assert response.status_code == 200
    found = {}
    for family in parser.text_string_to_metric_families(response.text):
        for sample in family.samples:
            key = (sample.name, sample.labels["zone"]) if "zone" in sample.labels else sample.name
            assert key not in found
            found[key] = sample.value
    return found


@pytest.mark.skipif(
    PROMTOOL is None and not os.environ.get("CI"), reason="no promtool here; the CI installs it"
)
@pytest.mark.parametrize("trusted", [True, False])
def test_promtool_finds_nothing_to_say(tmp_path, trusted):
    """Debian's promtool reads the text and finds no fault in names, units and help."""
    house = House(tmp_path, trusted=trusted)
    house.pass_time(4 * 3600)
    text = house.ask("GET", "/metrics").content
    house.close()
    done = subprocess.run(
        [str(PROMTOOL), "check", "metrics"], input=text, capture_output=True, timeout=60, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")


def test_both_formats_say_the_same(house):
    """The text and OpenMetrics have the same samples, each metric with help, and its unit in its name."""
    house.pass_time(4 * 3600)
    text = house.ask("GET", "/metrics")
    other = house.ask("GET", "/metrics", headers={"accept": "application/openmetrics-text"})
    assert (text.headers["content-type"], other.headers["content-type"]) == (TEXT, OPENMETRICS)
    assert text.headers["vary"] == other.headers["vary"] == "Accept"
    ours = list(parser.text_string_to_metric_families(text.text))
    theirs = list(openmetrics_parser.text_string_to_metric_families(other.text))
    assert sorted(
        (s.name, tuple(s.labels.items()), s.value) for each in ours for s in each.samples
    ) == sorted((s.name, tuple(s.labels.items()), s.value) for each in theirs for s in each.samples)
    for each in theirs:
        assert each.name.startswith("leerie_")
        assert each.documentation.endswith(".")
        assert each.name.endswith(f"_{each.unit}") if each.unit else each.type in ("gauge", "info")
    # Without a unit are the version and what is 1 or 0.
    flags = {each.name for each in theirs if not each.unit}
    assert {s.value for each in theirs if each.name in flags for s in each.samples} <= {0.0, 1.0}


@pytest.mark.parametrize(
    ("accept", "expected"),
    [
        (None, TEXT),
        ("*/*", TEXT),
        ("text/html", TEXT),
        # As monitoring programs ask, from the newest form down.
        (
            (
                "application/openmetrics-text;version=1.0.0,application/openmetrics-text;version=0.0.1;q=0.75,"
                "text/plain;version=0.0.4;q=0.5,*/*;q=0.1"
            ),
            OPENMETRICS,
        ),
        ("application/openmetrics-text; q=0.2, text/plain; q=0.9", TEXT),
        ("application/openmetrics-text; q=0.5, */*; q=0.9", TEXT),
        ("application/openmetrics-text; q=0.5, text/*; q=0.1, */*; q=0.9", OPENMETRICS),
        ("application/openmetrics-text; q=0", TEXT),
        ("application/openmetrics-text; version=nonsense", OPENMETRICS),
        ("text/plain; version=99.99.x", TEXT),
    ],
)
def test_accept_chooses_the_format(house, accept, expected):
    """The text is given unless Accept prefers OpenMetrics (RFC 9110, section 12.5.1)."""
    headers = {} if accept is None else {"accept": accept}
    assert house.ask("GET", "/metrics", headers=headers).headers["content-type"] == expected


def test_the_evening_is_measured(house):
    """Lit zones, the next changes, loads and rounds are those of the status."""
    house.pass_time(60)
    status, found = house.get("/v1/status"), samples(house)
    for zone in status["zones"]:
        assert found["leerie_zone_lit", zone["id"]] == 1.0
        until = datetime.fromisoformat(zone["decision"]["until"])
        assert found["leerie_zone_next_change_timestamp_seconds", zone["id"]] == until.timestamp()
        assert found["leerie_zone_relay_fault", zone["id"]] == 0.0
    assert found["leerie_zone_rated_load_watts", "jetty"] == 6 * 4.5
    assert ("leerie_zone_rated_load_watts", "orchard") not in found
    assert found["leerie_clock_trusted"] == found["leerie_relays_simulated"] == 1.0
    assert found["leerie_keeper_rounds_total"] == 2.0
    house.pass_time(30)
    house.clock.advance(12.5)
    found = samples(house)
    assert found["leerie_keeper_rounds_total"] == 3.0
    assert found["leerie_keeper_last_round_age_seconds"] == 12.5


def test_the_suns_angle_is_that_of_de421(house):
    """The sun's elevation is within 0.017 degrees of JPL's ephemeris DE421, of the very moment."""
    house.clock.advance(3600.0)
    (expected,) = sun_heights_deg(41.4901, -71.3128, EVENING_UTC, [3600.0])
    assert samples(house)["leerie_sun_elevation_degrees"] == pytest.approx(expected, abs=0.017)


def test_the_totals_are_those_of_the_account(house):
    """Run time, starts and energy are what the account of hours says of the whole time, by another path."""
    for _ in range(66):  # to the afternoon of the 24th
        house.pass_time(3600)
    totals = {each["zone"]: each for each in house.get("/v1/hours?by=whole")["totals"]}
    found = samples(house)
    for zone in ("jetty", "orchard"):
        hours = found["leerie_zone_run_seconds_total", zone] / 3600
        assert hours == pytest.approx(totals[zone]["lit_h"], abs=0.005)
        assert found["leerie_zone_starts_total", zone] == totals[zone]["starts"] == 3
    kwh = found["leerie_zone_lamp_energy_joules_total", "jetty"] / 3.6e6
    assert kwh == pytest.approx(totals["jetty"]["lamps_kwh"], abs=0.0005)
    # Nobody said what the orchard draws: that is not nothing.
    assert ("leerie_zone_lamp_energy_joules_total", "orchard") not in found


def test_totals_never_go_down_while_a_run_ends(house):
    """A run counts when it ends, and a counter is never lower than it was, whatever is not written yet."""
    before = samples(house)
    assert before["leerie_zone_run_seconds_total", "orchard"] == 0.0
    house.clock.advance(3 * 3600)
    house.loop.run_once()
    unwritten = samples(house)
    assert unwritten["leerie_zone_lit", "orchard"] == 0.0
    house.pass_time(1)
    written = samples(house)
    for name, zone in ((name, zone) for name in OF_JOURNAL[:2] for zone in ("jetty", "orchard")):
        assert before[name, zone] <= unwritten[name, zone] <= written[name, zone]
    assert written["leerie_zone_run_seconds_total", "orchard"] == 3 * 3600


def test_a_clock_that_is_not_trusted_gives_no_angle_and_no_next_change(tmp_path):
    """What a wrong clock would say has no sample, so that nobody takes it for true."""
    house = House(tmp_path, at_utc=EVENING_UTC.replace(year=1970), trusted=False)
    found = samples(house)
    house.close()
    assert found["leerie_clock_trusted"] == found["leerie_zone_lit", "jetty"] == 0.0
    assert "leerie_sun_elevation_degrees" not in found
    assert ("leerie_zone_next_change_timestamp_seconds", "jetty") not in found


def test_faults_of_a_relay_are_counted(house, monkeypatch):
    """A relay that fails is 1 until it works again, and each time that it began to fail is counted once."""
    read = house.relays.read

    def broken(wire):
        if wire.pin == 17:
            raise RelayError("pin 17 does not answer")
        return read(wire)

    for times in (1, 2):
        with monkeypatch.context() as patch:
            patch.setattr(house.relays, "read", broken)
            house.pass_time(60)
            house.pass_time(60)
            found = samples(house)
        assert found["leerie_zone_relay_fault", "jetty"] == 1.0
        assert found["leerie_zone_relay_faults_total", "jetty"] == times
        assert found["leerie_zone_relay_faults_total", "orchard"] == 0.0
        house.pass_time(60)
        assert samples(house)["leerie_zone_relay_fault", "jetty"] == 0.0


def test_a_journal_that_cannot_be_read_leaves_out_its_totals_alone(house):
    """With a damaged journal everything else is still measured."""
    house.journal.close()
    house.journal.path.write_bytes(b"this is no journal, but it is longer than a header of SQLite's " * 50)
    found = samples(house)
    assert not [key for key in found if key[0] in OF_JOURNAL]
    assert found["leerie_zone_lit", "jetty"] == 1.0


def test_only_one_request_waits_for_a_journal_that_hangs(house, monkeypatch):
    """While a disk hangs, one request waits for it, and those that follow are answered without the totals."""
    monkeypatch.setattr(metrics, "JOURNAL_WAIT_S", 0.01)
    begun, go_on = threading.Event(), threading.Event()

    class Hanging:
        def totals(self):
            begun.set()
            assert go_on.wait(LONG_S)
            return []

    monkeypatch.setattr(type(house.gateway), "journal", Hanging())
    first = threading.Thread(target=house.ask, args=("GET", "/metrics"))
    first.start()
    assert begun.wait(LONG_S)
    found = samples(house)
    go_on.set()
    first.join(LONG_S)
    assert not [key for key in found if key[0] in OF_JOURNAL]
    assert found["leerie_keeper_rounds_total"] == 1.0


def test_metrics_over_a_real_socket(server):
    """A monitoring program gets the metrics from the port, and the head alone where it asks for that."""
    url = f"http://127.0.0.1:{server.port}/metrics"
    got, head = httpx.get(url, timeout=LONG_S), httpx.head(url, timeout=LONG_S)
    assert got.status_code == head.status_code == 200
    assert got.headers["content-type"] == head.headers["content-type"] == TEXT
    assert b'leerie_zone_lit{zone="jetty"} 1.0\n' in got.content
    assert head.content == b""
