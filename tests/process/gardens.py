"""Gardens for a real process: a place, a night near a change of the clock, and what each zone must do."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from pathlib import Path

from controller.clock.trust import RELEASED_UTC
from tests.process.oracle import Edge, NightOutside, Resolve, Window, edges_of
from tests.reference import zone

_HEAD = """\
[site]
name = "{name}"
latitude = {latitude_deg}
longitude = {longitude_deg}
time_zone = "{time_zone}"

[relays]
board = "simulated"

[clock]
believe = "always"
"""
_ZONE = """
[[zones]]
id = "{id}"
name = "{id}"
pin = {pin}
program = [{program}]
rated_watts = 20
"""


@dataclass(frozen=True, kw_only=True)
class Garden:
    """One site through one night.

    Attributes:
        name: of the site.
        night: the night, outside.
        starts_at_utc: when the daemon is started.
        ends_at_utc: when it has run long enough.
        programs: for each zone the spans as they are written, and the windows that they mean in a night.
        nights: for how many nights the windows are worked out.
    """

    name: str
    night: NightOutside
    starts_at_utc: datetime
    ends_at_utc: datetime
    programs: dict[str, tuple[tuple[str, ...], Resolve]]
    nights: int = 1

    def write_site(self, path: Path, *, clock_changes: bool = True) -> Path:
        """Write the site file, and see that the night is the kind that it is meant to be."""
        assert self.starts_at_utc > RELEASED_UTC, "this night is over; move it to a later year"
        assert self._clock_changes() is clock_changes, f"{self.night}: choose another night"
        text = _HEAD.format(
            name=self.name,
            latitude_deg=self.night.latitude_deg,
            longitude_deg=self.night.longitude_deg,
            time_zone=self.night.time_zone,
        )
        for pin, (zone_id, (spans, _)) in enumerate(self.programs.items(), start=5):
            program = ", ".join(f'"{span}"' for span in spans)
            text += _ZONE.format(id=zone_id, pin=pin, program=program)
        path.write_text(text, encoding="utf-8")
        return path

    @cached_property
    def windows(self) -> dict[str, list[Window]]:
        """When each zone must be lit."""
        nights = [
            replace(self.night, date=self.night.date + timedelta(days=days)) for days in range(self.nights)
        ]
        return {
            zone_id: [window for night in nights for window in resolve(night)]
            for zone_id, (_, resolve) in self.programs.items()
        }

    @cached_property
    def edges(self) -> list[Edge]:
        """Every change of light of the night, in order."""
        found = [edge for zone_id, windows in self.windows.items() for edge in edges_of(zone_id, windows)]
        return sorted(found, key=lambda edge: edge.at.at_utc)

    def _clock_changes(self) -> bool:
        tz = zone(self.night.time_zone)
        before, after = (at.astimezone(tz).utcoffset() for at in (self.starts_at_utc, self.ends_at_utc))
        return before != after


_HOUR = timedelta(hours=1)

# The clock goes from 02:00 to 03:00 at 07:00 UTC.
SPRING = Garden(
    name="Sorrel Landing",
    night=NightOutside(41.4901, -71.3128, "America/New_York", date(2027, 3, 13)),
    starts_at_utc=datetime(2027, 3, 13, 22, 30, tzinfo=UTC),
    ends_at_utc=datetime(2027, 3, 14, 8, 5, tzinfo=UTC),
    programs={
        "jetty": (("dusk to midnight",), lambda n: [(n.dusk, n.midnight)]),
        "oak": (("dusk for 2h30m",), lambda n: [(n.dusk, n.dusk + 2.5 * _HOUR)]),
        "gate": (
            ("sunset+20m to 23:30", "01:30 to 03:15"),
            lambda n: [
                (n.sunset + timedelta(minutes=20), n.clock("23:30")),
                (n.clock("01:30"), n.clock("03:15")),
            ],
        ),
        # 02:30 does not occur: it is half an hour after the clock went forward, 03:30.
        "steps": (("02:30 to 03:45",), lambda n: [(n.clock("02:30"), n.clock("03:45"))]),
    },
)

# The clock goes from 02:00 back to 01:00 at 06:00 UTC.
AUTUMN = Garden(
    name="Sorrel Landing",
    night=NightOutside(41.4901, -71.3128, "America/New_York", date(2027, 11, 6)),
    starts_at_utc=datetime(2027, 11, 6, 21, 40, tzinfo=UTC),
    ends_at_utc=datetime(2027, 11, 7, 7, 50, tzinfo=UTC),
    programs={
        "jetty": (("dusk to midnight",), lambda n: [(n.dusk, n.midnight)]),
        "oak": (("dusk+45m to 21:00",), lambda n: [(n.dusk + 0.75 * _HOUR, n.clock("21:00"))]),
        # Both edges occur twice; the first of each counts, and there is light once.
        "steps": (("01:10 to 01:50",), lambda n: [(n.clock("01:10"), n.clock("01:50"))]),
        # Two hours of light between two times that are an hour apart.
        "gate": (("01:30 to 02:30",), lambda n: [(n.clock("01:30"), n.clock("02:30"))]),
    },
)

# So far north the sun sinks slowly, and the night is short a week after the equinox. The clock goes from
# 02:00 to 03:00 at 01:00 UTC.
FAR_NORTH = Garden(
    name="Auk Station",
    night=NightOutside(78.2, 15.6, "Arctic/Longyearbyen", date(2027, 3, 27)),
    starts_at_utc=datetime(2027, 3, 27, 17, 20, tzinfo=UTC),
    ends_at_utc=datetime(2027, 3, 28, 2, 40, tzinfo=UTC),
    programs={
        "slip": (("dusk to dawn",), lambda n: [(n.dusk, n.dawn)]),
        "hut": (("sunset to midnight",), lambda n: [(n.sunset, n.midnight)]),
        "mast": (("02:30 to 04:00",), lambda n: [(n.clock("02:30"), n.clock("04:00"))]),
        "flag": (("20:30 to 23:00, while dark",), lambda n: [(n.dusk, n.clock("23:00"))]),
    },
)
