"""The time zone that holds at a place, by a map of the zones, where the package tzfpy is installed."""

import subprocess
import sys
import zoneinfo
from contextlib import suppress

# The map takes 34 MB of memory and is asked once in a site's life: in a process that ends.
_LOOK_UP = "import sys, tzfpy; print(tzfpy.get_tz(float(sys.argv[1]), float(sys.argv[2])))"
_WAIT_S = 10.0


def zone_of_place(latitude_deg: float, longitude_deg: float) -> str | None:
    """Name the time zone of a place; None at sea, and where there is no map.

    Source: the package tzfpy, whose map is that of timezone-boundary-builder.
    """
    with suppress(OSError, subprocess.SubprocessError):
        found = subprocess.run(  # noqa: S603 - our own words, and two numbers
            [sys.executable, "-I", "-c", _LOOK_UP, repr(longitude_deg), repr(latitude_deg)],
            capture_output=True,
            text=True,
            timeout=_WAIT_S,
            check=True,
        ).stdout.strip()
        if not found.startswith("Etc/") and found in zoneinfo.available_timezones():
            return found
    return None
