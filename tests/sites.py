"""Small sites for tests, made in one line."""

from __future__ import annotations

from typing import Any

from config.models.site import Site


def zone(
    zone_id: str = "jetty", *program: str, pin: int = 17, special: Any = (), **more: Any
) -> dict[str, Any]:
    """Describe a zone; ``special`` is a sequence of (nights, program texts)."""
    return {
        "id": zone_id,
        "pin": pin,
        "program": list(program or ("dusk to midnight",)),
        "special_nights": [{"nights": nights, "program": list(texts)} for nights, texts in special],
        **more,
    }


def site(
    *zones: dict[str, Any],
    latitude: float = 51.5,
    longitude: float = 0.0,
    time_zone: str = "Europe/London",
    **more: Any,
) -> Site:
    """Make a site; without zones it has one called jetty, lit from dusk to midnight."""
    return Site.model_validate(
        {
            "name": "Tern Cottage",
            "latitude": latitude,
            "longitude": longitude,
            "time_zone": time_zone,
            "zones": list(zones or (zone(),)),
            **more,
        }
    )
