"""Where a garden is, as somebody writes it into a field of the page."""

from __future__ import annotations

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
    cities = find_cities(text)
    if len(cities) > 1:
        raise FieldError(
            "place", N_("There are several such cities: add the country, as in London, England.")
        )
    if cities:
        return cities[0].latitude_deg, cities[0].longitude_deg
    try:
        return read_place(text)
    except ValueError:
        words = N_(
            "That is no place known here. Write a larger city nearby; or find your place in a map on the"
            " phone, and write the coordinates that it shows, such as 51.2210, -2.4130, or paste its link."
        )
        raise FieldError("place", words) from None


def with_place(values: dict[str, Any]) -> dict[str, Any]:
    """Put latitude, longitude and time zone in the place of what was written; raises as ``read_where``."""
    values = dict(values)
    if "place" in values:
        latitude, longitude = read_where(values.pop("place"))
        places = zip(("latitude", "longitude"), (latitude, longitude), strict=True)
        values |= {key: Decimal(str(round(degrees, _DECIMALS))) for key, degrees in places}
        if values.get("time_zone", "") is None and (zone := zone_of_place(latitude, longitude)):
            values["time_zone"] = zone
    if values.get("time_zone", "") is None:
        raise FieldError("time_zone", N_("Write an area and a city, such as Europe/Oslo."))
    return values
