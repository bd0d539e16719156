"""How far along lamps and relays are, in JSON."""

from __future__ import annotations

from typing import Any

from controller.history.lamp_wear import LampAccount, Wear
from controller.lamps.life import RelayLife


def wear_as_json(wear: Wear | None) -> dict[str, Any]:
    """Say how far along lamps and relays are."""
    if wear is None:
        return {}
    return {
        "lamps": [lamp_as_json(lamp) for lamp in wear.lamps],
        "relays": [relay_as_json(relay) for relay in wear.relays],
    }


def lamp_as_json(account: LampAccount) -> dict[str, Any]:
    """Say how far along the lamps of one fixture are."""
    life, lamps = account.life, account.life.lamps
    return {
        "zone": lamps.zone,
        "fixture": lamps.fixture,
        "name": account.name,
        "count": account.count,
        "lamp": str(lamps.kind),
        "rated_life_h": lamps.rated_life_h,
        "volts": lamps.volts,
        "life_h": _rounded(lamps.life_h, 1),
        "since": None if life.since is None else life.since.isoformat(),
        "lit_h": round(life.lit_h, 3),
        "estimated_h": round(account.estimated_h, 3),
        "used": _rounded(life.used, 6),
        "used_in_a_year": _rounded(life.used_in_a_year, 6),
        "light": _rounded(life.light, 4),
        "replace_about": None if life.replace_about is None else life.replace_about.isoformat(),
        "words": life.words,
    }


def relay_as_json(life: RelayLife) -> dict[str, Any]:
    """Say how far along one relay is."""
    return {
        "zone": life.zone,
        "cycles": life.cycles,
        "endurance_cycles": life.endurance_cycles,
        "used": round(life.used, 6),
        "wears_out_about": None if life.wears_out_about is None else life.wears_out_about.isoformat(),
    }


def _rounded(value: float | None, digits: int) -> float | None:
    """Round what is known."""
    return None if value is None else round(value, digits)
