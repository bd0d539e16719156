"""Whether latitude, longitude and time zone fit together, by the tz database's reference places.

The cities are astral's own list. The far corners of wide zones are from memory of an atlas, to a tenth of a
degree or so; a search over the whole world with an outside map of the time zones (tzfpy 2.1.1, every quarter
of a degree) found no place that is warned about falsely.
"""

import zoneinfo
from importlib import resources
from math import asin, cos, radians, sin, sqrt

import pytest
from astral.geocoder import all_locations, database

from config.validation import place
from tests.config.site_texts import spoil, warnings_of

# astral's list contradicts its own time zones here: a sign is wrong, or another country's place is given.
WRONG_IN_ASTRAL = {"Al Jubail", "Sana", "Sana'a", "Nouakchott"}
CITIES = [
    pytest.param(city.latitude, city.longitude, city.timezone, id=f"{city.name}, {city.region}")
    for city in all_locations(database())
    if city.name not in WRONG_IN_ASTRAL and place.find_reference(city.timezone)
]
CORNERS = {
    "America/Anchorage": [(71.4, -156.5), (53.9, -166.5), (65.8, -144.1), (53.2, -168.3)],
    "America/Adak": [(52.9, 173.2), (52.2, -174.2)],
    "America/Argentina/Ushuaia": [(-54.9, -67.6), (-68.1, -67.1), (-63.4, -57.0)],
    "America/Chicago": [(46.6, -90.9), (29.8, -104.4), (26.0, -97.2), (30.4, -87.2)],
    "America/Manaus": [(-0.2, -67.1), (-8.8, -59.0)],
    "America/New_York": [(24.6, -81.8), (47.4, -68.3), (46.5, -84.4)],
    "America/Nuuk": [(59.9, -43.9), (72.8, -56.1), (83.6, -32.0)],
    "America/Santiago": [(-18.5, -70.3), (-33.6, -78.8), (-45.6, -72.1)],
    "America/Toronto": [(62.4, -77.9), (48.4, -89.2), (42.0, -82.9)],
    "Antarctica/McMurdo": [(-77.8, 166.7), (-90.0, 0.0), (-79.8, -156.1)],
    "Antarctica/Troll": [(-72.0, 2.5)],
    "Asia/Jakarta": [(5.9, 95.3), (3.2, 106.2), (-6.9, 112.7)],
    "Asia/Kolkata": [(8.1, 77.5), (34.2, 77.6), (23.2, 68.8), (11.7, 92.7), (10.6, 72.6)],
    "Asia/Krasnoyarsk": [(73.5, 80.5), (77.7, 104.3), (79.5, 90.6), (50.7, 92.1)],
    "Asia/Makassar": [(4.1, 117.7), (-10.2, 123.6), (1.5, 124.8)],
    "Asia/Shanghai": [(39.5, 76.0), (39.7, 73.9), (49.2, 87.0), (53.5, 122.3), (18.3, 109.5)],
    "Asia/Tokyo": [(24.4, 123.0), (45.5, 141.9), (24.3, 154.0)],
    "Asia/Vladivostok": [(70.8, 136.2), (72.0, 142.6), (42.7, 130.8)],
    "Atlantic/St_Helena": [(-7.9, -14.4), (-37.1, -12.3), (-40.3, -9.9)],
    "Australia/Brisbane": [(-10.6, 142.2), (-22.9, 138.0)],
    "Australia/Perth": [(-15.8, 128.7), (-34.0, 123.9), (-35.0, 118.0)],
    "Europe/Istanbul": [(37.3, 44.6), (40.2, 26.0)],
    "Europe/Madrid": [(43.7, -7.9), (40.0, 4.2), (35.9, -5.3)],
    "Europe/Moscow": [(67.5, 64.0), (69.0, 33.1), (43.6, 39.7), (42.1, 48.3), (71.6, 52.5), (80.6, 58.0)],
    "Europe/Oslo": [(71.1, 25.8), (69.7, 30.0), (70.9, -8.7), (78.2, 15.6)],
    "Europe/Paris": [(48.4, -4.8), (41.4, 9.2)],
    "Indian/Kerguelen": [(-46.4, 51.8), (-37.8, 77.5)],
    "Pacific/Auckland": [(-34.4, 172.7), (-46.9, 168.1), (-29.3, -177.9), (-52.5, 169.2), (-77.8, 166.8)],
    "Pacific/Chuuk": [(9.5, 138.1), (7.4, 151.8)],
    "Pacific/Fiji": [(-18.2, -178.8), (-12.5, 177.1)],
    "Pacific/Honolulu": [(28.4, -178.3), (19.5, -154.8), (16.7, -169.5)],
    "Pacific/Kiritimati": [(1.9, -157.4), (-10.0, -150.2), (-11.4, -151.8)],
    "Pacific/Tahiti": [(-27.6, -144.3), (-17.5, -149.6), (-22.5, -151.3)],
    "Pacific/Tarawa": [(3.4, 172.8), (-2.7, 176.8)],
    "US/Alaska": [(71.4, -156.5), (55.1, -131.6)],
    # Links to a zone that is known by a place in another country.
    "America/Coral_Harbour": [(64.1, -83.2)],
    "Antarctica/South_Pole": [(-90.0, 0.0)],
    "Atlantic/Jan_Mayen": [(70.9, -8.7)],
    "Pacific/Johnston": [(16.7, -169.5)],
    "Pacific/Ponape": [(6.9, 158.2)],
}
TRUE_CORNERS = [(*corner, zone) for zone, corners in CORNERS.items() for corner in corners]


def at(latitude, longitude, time_zone):
    """The good file at another place."""
    text = spoil("latitude = 51.5", f"latitude = {latitude}")
    return text.replace("longitude = -0.1", f"longitude = {longitude}").replace("Europe/London", time_zone)


@pytest.mark.parametrize(("latitude", "longitude", "time_zone"), [*CITIES, *TRUE_CORNERS])
def test_no_true_place_is_warned_about(latitude, longitude, time_zone):
    """Every city of an outside list passes in silence; so do far corners of wide zones, islands and bases."""
    assert warnings_of(at(latitude, longitude, time_zone)) == []


def distance_km(one, other):
    """How far apart two places are, by the chord between unit vectors."""

    def unit(latitude, longitude):
        up, east = radians(latitude), radians(longitude)
        return cos(up) * cos(east), cos(up) * sin(east), sin(up)

    chord = sqrt(sum((a - b) ** 2 for a, b in zip(unit(*one), unit(*other), strict=True)))
    return 2 * 6371 * asin(min(chord / 2, 1))


SLIPS = {
    "look exchanged": lambda latitude, longitude: (longitude, latitude),
    "before it": lambda latitude, longitude: (latitude, -longitude),
    "before it ": lambda latitude, longitude: (-latitude, longitude),
    "and longitude seem": lambda latitude, longitude: (-latitude, -longitude),
}


@pytest.mark.parametrize("words", SLIPS)
def test_a_slip_that_moves_a_city_far_is_named(words):
    """Of the slips that carry a city 1000 km or more away, nineteen in twenty are named for what they are."""
    moved, named = 0, 0
    for latitude, longitude, time_zone in (city.values for city in CITIES):
        slipped = SLIPS[words](latitude, longitude)
        if abs(slipped[0]) > 90 or distance_km((latitude, longitude), slipped) < 1000:
            continue
        moved += 1
        told = warnings_of(at(*slipped, time_zone))
        assert len(told) <= 1
        named += bool(told) and words.strip() in told[0]
    assert moved > 200
    share = 0.85 if words == "and longitude seem" else 0.95
    assert named / moved >= share


@pytest.mark.parametrize(
    ("latitude", "longitude", "time_zone", "told"),
    [
        (
            -74.0,
            40.75,
            "America/New_York",
            (
                "3: site.latitude = -74.0: latitude and longitude look exchanged: swapped, the place is 4 "
                "km from New York, the reference of America/New_York; write latitude = 40.75 "
                "and longitude = -74"
            ),
        ),
        (
            41.4901,
            71.3128,
            "America/New_York",
            (
                "4: site.longitude = 71.3128: the minus before it seems to be missing: with it, the place is "
                "242 km from New York, the reference of America/New_York; write -71.3128"
            ),
        ),
        (
            -51.5,
            -0.1,
            "Europe/London",
            (
                "3: site.latitude = -51.5: the minus before it seems to be wrong: without it, the place is "
                "2 km from London, the reference of Europe/London; write 51.5"
            ),
        ),
        (
            33.9,
            151.2,
            "Australia/NSW",
            (
                "3: site.latitude = 33.9: the minus before it seems to be missing: with it, the place is 4 "
                "km from Sydney, the reference of Australia/Sydney; write -33.9"
            ),
        ),
        (
            22.9,
            43.2,
            "America/Sao_Paulo",
            (
                "3: site.latitude = 22.9: the signs of latitude and longitude seem to be wrong: with the "
                "others, the place is 356 km from Sao Paulo, the reference of America/Sao_Paulo; "
                "write latitude = -22.9 and longitude = -43.2"
            ),
        ),
        (
            74.0,
            40.75,
            "America/New_York",
            (
                "3: site.latitude = 74.0: latitude and longitude look exchanged, and a sign wrong: put "
                "right, the place is 4 km from New York, the reference of America/New_York; "
                "write latitude = 40.75 and longitude = -74"
            ),
        ),
        (
            1.35,
            103.8,
            "Europe/Oslo",
            (
                '5: site.time_zone = "Europe/Oslo": does not fit latitude 1.35, longitude 103.8: that is '
                "over 10,000 km from Oslo; correct the time zone, or latitude and longitude; near this place "
                "are Asia/Singapore, Asia/Pontianak, Asia/Kuching and Asia/Jakarta"
            ),
        ),
        (
            0,
            0,
            "Africa/Accra",
            (
                "3: site.latitude = 0: latitude and longitude are both 0, which is in the sea off Africa; "
                "write those of the garden"
            ),
        ),
    ],
)
def test_each_slip_is_named_with_what_to_write(latitude, longitude, time_zone, told):
    """A slip is told once, on its own line, with the distance from the zone's place and what to write."""
    assert warnings_of(at(latitude, longitude, time_zone)) == [f"site.toml:{told}"]


def test_a_time_zone_without_a_place_is_left_to_the_suns_time():
    """Etc/GMT+5 is known by no place: only the hour of the sun can be compared."""
    assert place.find_reference("Etc/GMT+5") is None
    assert place.find_reference("EST5EDT") is None


@pytest.fixture
def tables(tmp_path, monkeypatch):
    """A folder that is all the tz database there is, for the tables of places."""
    monkeypatch.setattr(place, "_folders", lambda: [tmp_path])
    return tmp_path


PACKAGE = resources.files("tzdata") / "zoneinfo"


@pytest.mark.parametrize(("table", "has_oslo"), [("zone.tab", True), ("zone1970.tab", False)])
def test_one_of_the_two_tables_is_enough(tables, table, has_oslo):
    """With zone.tab or zone1970.tab alone the places of its zones are known."""
    (tables / table).write_text((PACKAGE / table).read_text("utf-8"), "utf-8")
    assert place.find_reference("America/New_York") is not None
    assert (place.find_reference("Europe/Oslo") is not None) == has_oslo
    assert "Europe/Zurich" in place.find_near_zones(48.1, 11.6)


@pytest.mark.parametrize("content", [None, b"", b"\xff\xfe\x00", b"US\tnowhere\tAmerica/New_York\nUS\n"])
def test_a_machine_without_the_tables_warns_of_nothing(tables, content):
    """Where the tables are missing or garbled, no place is known and nothing is said."""
    if content is not None:
        (tables / "zone.tab").write_bytes(content)
    assert place.find_near_zones(48.1, 11.6) == ()
    assert warnings_of(at(-41.5, 10.7, "Europe/Oslo")) == []


def test_the_systems_tables_and_the_packages_are_both_looked_for():
    """The folders are those of zoneinfo's path and that of the package tzdata."""
    folders = [str(folder) for folder in place._folders()]
    assert folders[:-1] == list(zoneinfo.TZPATH)
    assert folders[-1] == str(PACKAGE)
