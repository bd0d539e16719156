"""Where a garden is, by the name of a city near it."""

from functools import cache
from typing import NamedTuple
from unicodedata import combining, normalize

from config.validation.place import Coordinates, find_reference, read_places

# Of its 386 places astral has eleven on the wrong side of the earth, or in a zone that is not theirs. All
# others are nearer to the place that the tz database knows their zone by; see test_cities.py.
_FARTHEST_KM = 1750
# Of the countries where German is spoken astral has the capitals and Zurich. The next largest cities to a
# hundredth of a degree, which is less than five seconds of dusk; compared with GeoNames.
_MORE = {
    "Germany": (
        ("Hamburg", 53.55, 9.99), ("München", 48.14, 11.58), ("Köln", 50.93, 6.95),
        ("Frankfurt am Main", 50.12, 8.68), ("Düsseldorf", 51.22, 6.78), ("Stuttgart", 48.78, 9.18),
        ("Essen", 51.46, 7.01), ("Dortmund", 51.51, 7.47), ("Dresden", 51.05, 13.74), ("Bremen", 53.08, 8.81),
        ("Nürnberg", 49.45, 11.08), ("Hannover", 52.37, 9.73), ("Leipzig", 51.34, 12.37),
        ("Bielefeld", 52.03, 8.53), ("Münster", 51.96, 7.63), ("Mannheim", 49.49, 8.47),
        ("Augsburg", 48.37, 10.9), ("Karlsruhe", 49.01, 8.4),
    ),
    "Austria": (
        ("Graz", 47.07, 15.44), ("Linz", 48.31, 14.29), ("Salzburg", 47.8, 13.04),
        ("Innsbruck", 47.26, 11.39),
    ),
    "Switzerland": (("Genève", 46.2, 6.15), ("Basel", 47.56, 7.57), ("Lausanne", 46.52, 6.63)),
}  # fmt: skip
# What people also write, without accents, for one of the list.
_ALSO = {
    "wien": "vienna", "genf": "geneve", "geneva": "geneve", "cologne": "koln", "koeln": "koln",
    "munich": "munchen", "muenchen": "munchen", "nuremberg": "nurnberg", "nuernberg": "nurnberg",
    "duesseldorf": "dusseldorf", "zuerich": "zurich", "kopenhagen": "copenhagen", "warschau": "warsaw",
    "lissabon": "lisbon", "moskau": "moscow", "bukarest": "bucharest",
}  # fmt: skip


class City(NamedTuple):
    """A city and its middle, in degrees, north and east positive."""

    name: str
    country: str
    latitude_deg: float
    longitude_deg: float


def find_cities(text: str) -> list[City]:
    """Find the cities that a text names: the whole name, else its beginning; ``London, Canada`` names one."""
    name, _, country = (_fold(part) for part in text.partition(","))
    if not name or any(each.isdigit() for each in name):
        return []
    name = _ALSO.get(name, name)
    cities = [each for each in known_cities() if _fold(each.country).startswith(country)]
    whole = [each for each in cities if _fold(each.name) == name]
    return whole or [each for each in cities if _fold(each.name).startswith(name)]


def _fold(text: str) -> str:
    """Give a name as it is compared: without accents and capitals, “koln” for Köln."""
    parts = normalize("NFKD", text.strip())
    return "".join(each for each in parts if not combining(each)).casefold()


@cache
def known_cities() -> list[City]:
    """List the cities of astral whose coordinates agree with their time zone, and some more, by name."""
    from astral.geocoder import all_locations, database  # noqa: PLC0415 - a list of its own, for set-up only

    found, places = {}, read_places()
    references = cache(lambda zone: find_reference(zone, places))
    for each in all_locations(database()):
        place = Coordinates(each.latitude, each.longitude)
        known = references(each.timezone)
        if known is not None and known[1].distance_km(place) <= _FARTHEST_KM:
            found[place] = City(each.name, each.region, *(round(degrees, 4) for degrees in place))
    more = (City(name, country, *place) for country, rows in _MORE.items() for name, *place in rows)
    return sorted((*found.values(), *more))
