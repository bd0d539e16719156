"""Where a garden is, by the name of a city near it."""

from functools import cache
from typing import NamedTuple

from config.validation.place import Coordinates, find_reference, read_places

# Of its 386 places astral has eleven on the wrong side of the earth, or in a zone that is not theirs. All
# others are nearer to the place that the tz database knows their zone by; see test_cities.py.
_FARTHEST_KM = 1750


class City(NamedTuple):
    """A city and its middle, in degrees, north and east positive."""

    name: str
    country: str
    latitude_deg: float
    longitude_deg: float


def find_cities(text: str) -> list[City]:
    """Find the cities that a text names: the whole name, else its beginning; ``London, Canada`` names one."""
    name, _, country = (part.strip().casefold() for part in text.partition(","))
    if not name or any(each.isdigit() for each in name):
        return []
    cities = [each for each in known_cities() if each.country.casefold().startswith(country)]
    whole = [each for each in cities if each.name.casefold() == name]
    return whole or [each for each in cities if each.name.casefold().startswith(name)]


@cache
def known_cities() -> list[City]:
    """List the cities of astral whose coordinates agree with their time zone, by name."""
    from astral.geocoder import all_locations, database  # noqa: PLC0415 - a list of its own, for set-up only

    found, places = {}, read_places()
    references = cache(lambda zone: find_reference(zone, places))
    for each in all_locations(database()):
        place = Coordinates(each.latitude, each.longitude)
        known = references(each.timezone)
        if known is not None and known[1].distance_km(place) <= _FARTHEST_KM:
            found[place] = City(each.name, each.region, *(round(degrees, 4) for degrees in place))
    return sorted(found.values())
