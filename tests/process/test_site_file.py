"""The real process while its site file is changed by hand: written slowly, replaced, deleted, on a dead disk.

At the speed of a real clock, and without a signal.
"""

from __future__ import annotations

import signal
import time
from pathlib import Path

from controller.records.entries import EventKind
from tests.process.cottage import ALWAYS, SITE, ZONES, light
from tests.process.daemon import Daemon, running

# An editor that pauses so long between two pieces has finished, as far as anybody can know.
LONGEST_PAUSE_S = 1.5
FIVE = SITE + '\n[[zones]]\nid = "five"\npin = 11\nprogram = ["12:00 for 24h"]\n'


def site_file(daemon: Daemon) -> dict[str, object]:
    """What the status says of the site file."""
    found: dict[str, object] = daemon.ask("GET", "/v1/status")["site_file"]
    return found


def wait_for_zones(daemon: Daemon, *zone_ids: str) -> None:
    """Wait until these zones are lit, and no others."""
    daemon.wait_until(f"lit {zone_ids}", lambda: daemon.lit() == set(zone_ids))


def changes(daemon: Daemon) -> list[str]:
    """What the journal has of the site file by now."""
    kinds = (EventKind.SITE_CHANGED, EventKind.SITE_REFUSED)
    return [each.kind.value for each in daemon.events if each.kind in kinds]


def write_slowly(path: Path, text: str) -> float:
    """Write a file anew from its beginning, a table at a time; the longest pause that came of it."""
    pauses, last_s = [], time.monotonic()
    with path.open("w", encoding="utf-8") as file:
        for table in text.split("\n\n"):
            file.write(f"{table}\n\n")
            file.flush()
            now_s = time.monotonic()
            pauses.append(now_s - last_s)
            last_s = now_s
            time.sleep(0.5)
    return max(pauses)


def test_a_file_written_slowly_is_read_when_it_is_finished(site: Path, tmp_path: Path) -> None:
    """Nine tables in more than four seconds, from the third on a valid site: read once, as a whole."""
    with running(site, tmp_path / "state") as daemon:
        daemon.wait_for_api()
        wait_for_zones(daemon, ALWAYS)
        longest_s = write_slowly(site, FIVE)
        wait_for_zones(daemon, ALWAYS, "five")
        daemon.wait_until("in use", lambda: site_file(daemon)["summary"] == "in use")
        assert any("site file changed at " in each.said.get("STATUS", "") for each in daemon.listener.heard)
        assert daemon.stop() == 0
        if longest_s < LONGEST_PAUSE_S:  # else this machine was so slow that a half was taken for finished
            assert changes(daemon) == ["site changed"]
        assert daemon.log.count("zone five: on until ") == 1
        assert daemon.log.count("simulated relays: nothing is switched") == 1
        assert daemon.log.count("site file changed at ") == 1
        assert "Traceback" not in daemon.log


def test_a_file_replaced_deleted_and_brought_back(site: Path, tmp_path: Path) -> None:
    """Saved by renaming: in use. Gone: refused, and nothing goes out. Back as it was: in use again."""
    with running(site, tmp_path / "state") as daemon:
        daemon.wait_for_api()
        other = tmp_path / "other.toml"
        other.write_text(FIVE, encoding="utf-8")
        other.replace(site)
        wait_for_zones(daemon, ALWAYS, "five")
        away = site.rename(tmp_path / "away.toml")
        daemon.wait_until("missed", lambda: "there is no such file" in str(site_file(daemon)["refused"]))
        assert daemon.lit() == {ALWAYS, "five"}
        assert "site file refused: " in daemon.status_line
        away.rename(site)
        daemon.wait_until("in use", lambda: site_file(daemon)["summary"] == "in use")
        assert daemon.lit() == {ALWAYS, "five"}
        assert daemon.stop() == 0
        assert changes(daemon) == ["site changed", "site refused", "site changed"]


def test_a_file_that_is_refused_and_put_right(site: Path, tmp_path: Path) -> None:
    """The status says why until it is put right; what was lit stays lit; the last good copy stays good."""
    with running(site, tmp_path / "state") as daemon:
        daemon.wait_for_api()
        wait_for_zones(daemon, ALWAYS)
        site.write_text(SITE.replace("pin = 5", "pin = 99"), encoding="utf-8")
        daemon.wait_until("refused", lambda: "pin = 99" in str(site_file(daemon)["refused"]))
        assert daemon.lit() == {ALWAYS}
        assert (tmp_path / "state" / "site.last-good.toml").read_text(encoding="utf-8") == SITE
        site.write_text(FIVE, encoding="utf-8")
        wait_for_zones(daemon, ALWAYS, "five")
        assert site_file(daemon)["refused"] is None
        assert daemon.stop() == 0
        assert daemon.log.count("pin = 99") == 1


def test_edits_over_the_api_are_read_once(site: Path, tmp_path: Path) -> None:
    """Written by ourselves, a file is no news: one change in the journal for each edit."""
    with running(site, tmp_path / "state") as daemon:
        daemon.wait_for_api()
        for zone_id in ZONES:
            daemon.ask("PUT", f"/v1/zones/{zone_id}/program", {"program": ["12:00 for 24h"]})
            assert site_file(daemon)["summary"] == "in use"
        wait_for_zones(daemon, ALWAYS, *ZONES)
        site.write_text(site.read_text(encoding="utf-8") + "# by hand\n", encoding="utf-8")
        daemon.wait_until("read", lambda: len(changes(daemon)) == len(ZONES) + 1)
        assert daemon.stop() == 0
        assert changes(daemon) == ["site changed"] * (len(ZONES) + 1)


# Whoever looks at the site file has no answer, as from a disk over a network that is gone.
DEAD_DISK = """
import threading
from api.daemon import site_file

site_file.signature_of = lambda _path: threading.Event().wait()
"""


def test_a_disk_that_does_not_answer_holds_up_nothing(site: Path, tmp_path: Path) -> None:
    """Zones are switched, signals wait without harm, and the end comes as ever."""
    (tmp_path / "python").mkdir()
    (tmp_path / "python" / "sitecustomize.py").write_text(DEAD_DISK, encoding="utf-8")
    environment = {"PYTHONPATH": str(tmp_path / "python")}
    with running(site, tmp_path / "state", environment=environment) as daemon:
        daemon.wait_for_api()
        site.write_text(FIVE, encoding="utf-8")
        for zone_id in ZONES:
            daemon.process.send_signal(signal.SIGHUP)
            light(daemon, zone_id)
        assert daemon.lit() == {ALWAYS, *ZONES}
        assert site_file(daemon)["summary"] == "in use"
        assert daemon.stop() == 0
        assert "Traceback" not in daemon.log
