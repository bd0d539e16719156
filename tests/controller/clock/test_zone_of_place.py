"""The time zone of a place."""

import subprocess
import sys

import pytest

from config.validation.place import read_places
from controller.clock import zone_of_place as module
from controller.clock.zone_of_place import zone_of_place


@pytest.mark.parametrize("zone", ["Europe/London", "America/New_York", "Australia/Adelaide", "Asia/Kolkata"])
def test_the_places_of_the_tz_database_are_in_their_zones(zone):
    """Where zone.tab puts a zone, the map has that zone."""
    assert zone_of_place(*read_places("zone.tab")[zone]) == zone


def test_at_sea_there_is_none():
    """Whoever lives on a boat is asked."""
    assert zone_of_place(0, -30) is None


@pytest.mark.parametrize("gives", ["", "Atlantis/Poseidonis\n"])
def test_without_a_map_there_is_none(monkeypatch, gives):
    """A package that is missing, fails or knows zones that this machine has not proposes nothing."""
    program = f"print({gives!r})" if gives else "import no_such_module"
    monkeypatch.setattr(module, "_LOOK_UP", program)
    assert zone_of_place(51.2, -2.4) is None


def test_the_map_does_not_stay_in_memory():
    """It is read in another process."""
    words = "import sys; from controller.clock.zone_of_place import zone_of_place; zone_of_place(51.2, -2.4)"
    done = subprocess.run(
        [sys.executable, "-c", f"{words}; print('tzfpy' in sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == "False"
