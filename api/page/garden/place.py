"""Where a garden is, as somebody writes it into a field of the page."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from api.page.garden.fields import FieldError
from api.render.words import N_
from config.place_text import read_place
from controller.clock.zone_of_place import zone_of_place
from controller.design.cities import find_cities

# About a metre, which is more than dusk needs.
_DECIMALS = 5


def read_where(text: str) -> tuple[float, float]:
    """Read coordinates, the link of a map, or the name of a city.

    Raises:
        FieldError: it is none of these, or there are several such cities.
    """
    if (city := _find_city(text)) is not None:
        return city
    try:
        return read_place(text)
    except ValueError:
        words = N_(
            "That is no place known here. Write a larger city nearby; or find your place in a map on the"
            " phone, and write the coordinates that it shows, such as 51.2210, -2.4130, or paste its link."
        )
        raise FieldError("place", words) from None


def with_place(values: dict[str, Any], site: Mapping[str, Any]) -> dict[str, Any]:
    """Put latitude, longitude and time zone in the place of what was written; raises as ``read_where``.

    A city brings its time zone along. Coordinates do not: they may be mistyped, and the check says where
    they do not fit the time zone.
    """
    values = dict(values)
    is_zone_wanted = values.get("time_zone", "") is None
    if (written := values.pop("place", None)) is not None:
        latitude, longitude = read_where(written)
        places = zip(("latitude", "longitude"), (latitude, longitude), strict=True)
        values |= {key: Decimal(str(round(degrees, _DECIMALS))) for key, degrees in places}
        is_zone_wanted |= "time_zone" not in values and _find_city(written) is not None
    if is_zone_wanted:
        here = {**site, **values}
        if zone := zone_of_place(float(here["latitude"]), float(here["longitude"])):
            values["time_zone"] = zone
    if values.get("time_zone", "") is None:
        raise FieldError("time_zone", N_("Write an area and a city, such as Europe/Oslo."))
    return values


def _find_city(text: str) -> tuple[float, float] | None:
    cities = find_cities(text)
    if len(cities) > 1:
        raise FieldError(
            "place", N_("There are several such cities: add the country, as in London, England.")
        )
    return (cities[0].latitude_deg, cities[0].longitude_deg) if cities else None
