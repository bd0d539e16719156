"""The application put together."""

import subprocess
import sys


def test_what_is_seldom_asked_for_is_not_imported():
    """Libraries for metrics, calendars, /docs, codes and discovery are imported when somebody needs them."""
    libraries = "{'prometheus_client', 'icalendar', 'dateutil', 'fastapi_offline', 'segno', 'zeroconf'}"
    program = f"import sys, api.web.app, api.web.server; print({libraries} & sys.modules.keys())"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout == "set()\n"
