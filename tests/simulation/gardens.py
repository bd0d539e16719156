"""Gardens of the simulation: sites over the world, with programs of every shape, as site files."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

# Zones of tests/reference/clock_changes.csv and a few more, each with a place in it; latitudes -72 to 78.
PLACES = (
    ("Australia/Lord_Howe", -31.55, 159.08),
    ("Africa/Cairo", 30.04, 31.24),
    ("Asia/Beirut", 33.89, 35.5),
    ("America/Santiago", -33.45, -70.67),
    ("America/Asuncion", -25.28, -57.63),
    ("Africa/Casablanca", 33.57, -7.59),
    ("Atlantic/Azores", 37.74, -25.66),
    ("Antarctica/Troll", -72.01, 2.53),
    ("America/Havana", 23.13, -82.38),
    ("Pacific/Chatham", -43.95, -176.55),
    ("America/New_York", 41.49, -71.31),
    ("Europe/London", 51.5, 0.0),
    ("Europe/Oslo", 69.65, 18.96),
    ("Arctic/Longyearbyen", 78.22, 15.65),
    ("Pacific/Kiritimati", 1.87, -157.4),
    ("Asia/Shanghai", 39.47, 75.99),
    ("Asia/Kolkata", 19.08, 72.88),
    ("Pacific/Auckland", -45.03, 168.66),
    ("America/St_Johns", 47.56, -52.71),
    ("Europe/Helsinki", 60.17, 24.94),
    ("Etc/UTC", 0.0, 0.0),
)
PROGRAMS = (
    ("dusk to midnight",),
    ("dusk to midnight",),
    ("dusk to 22:00",),
    ("sunset+20m to 23:30",),
    ("dusk for 4h",),
    ("05:30 to dawn", "dusk to 00:30"),
    ("17:00 to 23:00, while dark",),
    ("dusk to dawn, at most 6h",),
    ("sunset to sunrise",),
    ("21:15 to 23:45",),
    ("01:15 to 02:45", "23:00 to 00:30"),
    ("00:20 to 01:40", "02:10 to 03:20", "23:15 to 23:50"),
    ("22:30 to midnight",),
    ("dusk-30m to dusk+45m", "midnight to 02:30"),
    ("12:00 to 11:59, while dark",),
    ("22:00 to 22:01", "22:01 to 22:02", "22:03 to 22:04"),
)
SPECIAL = (
    ("Fri, Sat", ("dusk to 01:30",)),
    ("12-20 to 01-06", ("dusk to 02:00",)),
    ("Mon", ()),
    ("02-29 to 02-29", ("20:00 to 21:00",)),
)
PINS = tuple(range(4, 28))


@cache
def clock_changes(time_zone: str) -> tuple[datetime, ...]:
    """Give the noons, in UTC, before which the UTC offset of a zone differs from the noon before."""
    zone = ZoneInfo(time_zone)
    noons = [datetime(2027, 1, 1, 12, tzinfo=UTC) + timedelta(days=day) for day in range(730)]
    offsets = [noon.astimezone(zone).utcoffset() for noon in noons]
    return tuple(noon for noon, old, new in zip(noons[1:], offsets, offsets[1:], strict=False) if old != new)


class Garden:
    """A garden that can be rewritten: the source of its site file."""

    def __init__(self, dice: random.Random) -> None:
        """Lay out a garden."""
        self._dice = dice
        self.time_zone, self.latitude, self.longitude = dice.choice(PLACES)
        self.rest_s = dice.choice((0.0, 2.0, 2.0, 5.0))
        self.stagger_s = dice.choice((0.0, 0.5, 0.5, 2.0))
        self.dusk_angle = dice.choice((6, 6, 6, 4, 9))
        self.pins = list(PINS)
        dice.shuffle(self.pins)
        self.zones = [self._zone(f"zone-{number}") for number in range(1, dice.randint(1, 7) + 1)]

    def _zone(self, name: str) -> dict[str, object]:
        dice = self._dice
        special = [dice.choice(SPECIAL) for _ in range(dice.choice((0, 0, 1, 2)))]
        return {
            "id": name,
            "pin": self.pins.pop(),
            "program": dice.choice(PROGRAMS),
            "special": special,
            "watts": dice.choice((0, 12.5, 60)),
            "out": "",
        }

    def start(self) -> datetime:
        """Choose when its story begins: two of three times a few days before the clocks change there."""
        dice = self._dice
        day = datetime(2027, 1, 1, 12, tzinfo=UTC) + timedelta(days=dice.randrange(700))
        changes = clock_changes(self.time_zone)
        if changes and dice.random() < 2 / 3:
            day = dice.choice(changes) - timedelta(days=dice.randint(1, 6))
        return day

    def rewrite(self) -> str:
        """Change one thing, as a person would, and say what."""
        dice = self._dice
        what = dice.choice(("program", "program", "out", "back", "add", "remove", "pin", "load", "place"))
        zone = dice.choice(self.zones)
        if what == "program":
            zone["program"] = dice.choice(PROGRAMS)
        elif what in ("out", "back"):
            zone["out"] = "a lamp is broken" if what == "out" else ""
        elif what == "add" and len(self.zones) < 8 and self.pins:
            numbers = {int(str(each["id"]).split("-")[1]) for each in self.zones}
            self.zones.append(self._zone(f"zone-{max(numbers) + 1}"))
        elif what == "remove" and len(self.zones) > 1:
            self.zones.remove(zone)
            self.pins.insert(0, int(str(zone["pin"])))
        elif what == "pin" and self.pins:
            self.pins.insert(0, int(str(zone["pin"])))
            zone["pin"] = self.pins.pop()
        elif what == "load":
            zone["watts"] = dice.choice((0, 8, 44.5))
        elif what == "place":
            self.time_zone, self.latitude, self.longitude = dice.choice(PLACES)
        return f"{what} {zone['id']}"

    def text(self) -> str:
        """Write the site file."""
        lines = [
            "[site]",
            'name = "Heron Bank"',
            f"latitude = {self.latitude}",
            f"longitude = {self.longitude}",
            f'time_zone = "{self.time_zone}"',
            f"dusk_angle = {self.dusk_angle}",
            "[relays]",
            f"rest_s = {self.rest_s}",
            f"stagger_s = {self.stagger_s}",
        ]
        for zone in self.zones:
            lines += [
                "[[zones]]",
                f'id = "{zone["id"]}"',
                f"pin = {zone['pin']}",
                f"active_high = {'true' if int(str(zone['pin'])) % 2 else 'false'}",
                f"program = {_texts(zone['program'])}",
            ]
            if zone["watts"]:
                lines.append(f"rated_watts = {zone['watts']}")
            if zone["out"]:
                lines.append(f'out_of_service = "{zone["out"]}"')
            for nights, program in zone["special"]:  # type: ignore[attr-defined]
                lines += ["[[zones.special_nights]]", f'nights = "{nights}"', f"program = {_texts(program)}"]
        return "\n".join(lines) + "\n"

    def spoil(self) -> str:
        """Write it as a slip of the hand, or a power cut, would leave it."""
        text = self.text()
        return self._dice.choice(
            (
                text[: self._dice.randrange(len(text))] + "[",
                text.replace("latitude = ", "latitude = 999 # "),
                text.replace("program = [", "program = [3, ", 1),
                "",
                text.replace("[[zones]]", "[[zone]]"),
            )
        )


def _texts(program: object) -> str:
    return "[" + ", ".join(f'"{text}"' for text in program) + "]"  # type: ignore[attr-defined]
