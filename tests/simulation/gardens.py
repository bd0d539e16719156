"""Gardens of the simulation: sites over the world, with programs of every shape, as site files."""

from __future__ import annotations

import json
import random
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

Keys = dict[str, Any]

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
# What is changed in a site file, each as often as the others.
REWRITES = (
    "program",
    "program",
    "out",
    "back",
    "add",
    "remove",
    "pin",
    "load",
    "place",
    "believe",
    "rename",
    "rename",
    "transformer",
    "feed",
)
BELIEVE = ("synchronised", "synchronised", "synchronised", "always")


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
        self.believe = dice.choice(BELIEVE)
        self.start_utc = self._start()
        self.pins = list(PINS)
        dice.shuffle(self.pins)
        self.transformers = [self._transformer(f"shed-{number}") for number in range(dice.choice((0, 1, 2)))]
        self.zones: list[Keys] = []
        self._ids = 0
        for _ in range(dice.randint(1, 7)):
            self.zones.append(self._zone())

    def _transformer(self, name: str) -> Keys:
        """Draw a transformer: with losses of either kind, or with none that are known."""
        dice = self._dice
        losses = dice.choice(
            ({}, {"efficiency": 0.85}, {"efficiency": 0.95}, {"copper_w": 9}, {"copper_w": 20})
        )
        side = dice.choice(("low voltage", "low voltage", "mains"))
        keys = {
            "id": name,
            "rated_va": 600,
            "relay_side": side,
            "no_load_w": dice.choice((1, 6, 8.5)),
            **losses,
        }
        if not losses:
            del keys["no_load_w"]
        return keys

    def _fresh_id(self) -> str:
        """Give an id that no zone has or has had: one that is used again would mean two zones in the past."""
        self._ids += 1
        return f"zone-{self._ids}"

    def _zone(self) -> Keys:
        dice = self._dice
        special = [dice.choice(SPECIAL) for _ in range(dice.choice((0, 0, 1, 2)))]
        if dice.random() < 0.2:
            date = (self.start_utc + timedelta(days=dice.randrange(20))).date()
            special.append((date.isoformat(), dice.choice(((), ("dusk to 03:00",)))))
        return {
            "id": self._fresh_id(),
            "formerly": [],
            "transformer": dice.choice(self.transformers)["id"] if self.transformers else "",
            "pin": self.pins.pop(),
            "program": dice.choice(PROGRAMS),
            "special": special,
            "watts": dice.choice((0, 12.5, 60)),
            "out": "",
        }

    def _start(self) -> datetime:
        """Choose when its story begins: two of three times a few days before the clocks change there."""
        dice = self._dice
        day = datetime(2027, 1, 1, 12, tzinfo=UTC) + timedelta(days=dice.randrange(700))
        changes = clock_changes(self.time_zone)
        if changes and dice.random() < 2 / 3:
            day = dice.choice(changes) - timedelta(days=dice.randint(1, 6))
        # Never at the noon or midnight of any time zone: the story is looked over once a day.
        return day + timedelta(hours=3, minutes=7)

    def rewrite(self) -> str:
        """Change one thing, as a person would, and say what."""
        dice = self._dice
        what = dice.choice(REWRITES)
        zone = dice.choice(self.zones)
        if what == "program":
            zone["program"] = dice.choice(PROGRAMS)
        elif what in ("out", "back"):
            zone["out"] = "a lamp is broken" if what == "out" else ""
        elif what == "add" and len(self.zones) < 8 and self.pins:
            self.zones.append(self._zone())
        elif what == "remove" and len(self.zones) > 1:
            self.zones.remove(zone)
            self.pins.insert(0, zone["pin"])
        elif what == "pin" and self.pins:
            self.pins.insert(0, zone["pin"])
            zone["pin"] = self.pins.pop()
        elif what == "load":
            zone["watts"] = dice.choice((0, 8, 44.5))
        elif what == "rename":
            fresh = self._fresh_id()
            zone["formerly"].append(zone["id"])
            zone["id"] = fresh
        elif what == "transformer" and self.transformers:
            place = dice.randrange(len(self.transformers))
            self.transformers[place] = self._transformer(self.transformers[place]["id"])
        elif what == "feed" and self.transformers:
            zone["transformer"] = dice.choice(self.transformers)["id"]
        elif what == "believe":
            self.believe = dice.choice(BELIEVE)
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
            "[clock]",
            f'believe = "{self.believe}"',
            "[relays]",
            f"rest_s = {self.rest_s}",
            f"stagger_s = {self.stagger_s}",
        ]
        for transformer in self.transformers:
            lines += [
                "[[transformers]]",
                *(f"{key} = {json.dumps(value)}" for key, value in transformer.items()),
            ]
        for zone in self.zones:
            lines += [
                "[[zones]]",
                f'id = "{zone["id"]}"',
                f"pin = {zone['pin']}",
                f"active_high = {'true' if zone['pin'] % 2 else 'false'}",
                f"program = {json.dumps(zone['program'])}",
            ]
            if zone["formerly"]:
                lines.append(f"formerly = {json.dumps(zone['formerly'])}")
            if zone["transformer"]:
                lines.append(f'transformer = "{zone["transformer"]}"')
            if zone["watts"]:
                lines.append(f"rated_watts = {zone['watts']}")
            if zone["out"]:
                lines.append(f'out_of_service = "{zone["out"]}"')
            for nights, program in zone["special"]:
                lines += [
                    "[[zones.special_nights]]",
                    f'nights = "{nights}"',
                    f"program = {json.dumps(program)}",
                ]
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
