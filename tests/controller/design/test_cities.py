"""Cities, held against a map of the time zones."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
import tzfpy
from astral.geocoder import all_locations, database

from controller.design.cities import find_cities, known_cities


def offsets(zone: str):
    return [datetime(2027, month, 15, tzinfo=UTC).astimezone(ZoneInfo(zone)).utcoffset() for month in (1, 7)]


def test_no_city_is_on_the_wrong_side_of_the_earth():
    """A map of the zones puts each city into its own zone; of astral's list, some are half a world away.

    Nuku'alofa stands a hundred kilometres off, in the sea, and St. John's has a zone half an hour off.
    """
    zones = {
        (round(each.latitude, 4), round(each.longitude, 4)): each.timezone
        for each in all_locations(database())
    }
    wrong = {
        city.name
        for city in known_cities()
        if (city.latitude_deg, city.longitude_deg) in zones
        and offsets(tzfpy.get_tz(city.longitude_deg, city.latitude_deg))
        != offsets(zones[city.latitude_deg, city.longitude_deg])
    }
    assert wrong == {"Nuku'alofa", "St. John's"}
    assert len(known_cities()) > 350
    assert {"Sana'a", "Al Jubail", "Nouakchott", "Kingston"}.isdisjoint(
        {each.name for each in known_cities() if each.country != "Jamaica"}
    )


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("oslo", ["Oslo, Norway"]),
        ("NEWC", ["Newcastle, England"]),
        ("London, England", ["London, England"]),
        ("london, norway", []),
        ("Köln", ["Köln, Germany"]),
        ("koeln", ["Köln, Germany"]),
        ("cologne, germany", ["Köln, Germany"]),
        ("MÜNCHEN", ["München, Germany"]),
        ("Munich", ["München, Germany"]),
        ("Zürich", ["Zurich, Switzerland"]),
        ("Wien", ["Vienna, Austria"]),
        ("Genf", ["Genève, Switzerland"]),
        ("51.2, -2.4", []),
        ("", []),
        (",", []),
    ],
)
def test_a_city_is_found_by_its_name_or_its_beginning(text, names):
    """Capitals do not matter, and a country tells cities of one name apart."""
    assert [f"{each.name}, {each.country}" for each in find_cities(text)] == names


def test_the_larger_cities_of_german_speakers_are_in_their_countries():
    """A map of the zones puts each of them where its country's clocks hold."""
    zones = {"Germany": "Europe/Berlin", "Austria": "Europe/Vienna", "Switzerland": "Europe/Zurich"}
    found = [city for city in known_cities() if city.country in zones]
    assert len(found) >= 29
    wrong = {
        city.name
        for city in found
        if tzfpy.get_tz(city.longitude_deg, city.latitude_deg) != zones[city.country]
    }
    assert wrong == set()
