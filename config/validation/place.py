"""Whether latitude, longitude and time zone fit together, by the places that the tz database knows zones by.

zone.tab and zone1970.tab give a place for each time zone. A garden that is far from its zone's place, and
would be much nearer with latitude and longitude exchanged or with another sign, is probably a slip.
"""

import re
import zoneinfo
from collections.abc import Iterator, Mapping
from contextlib import suppress
from importlib import resources
from itertools import product
from math import asin, cos, radians, sin, sqrt
from pathlib import Path
from typing import NamedTuple

from config.models.site import Site
from config.phrase import Phrase
from config.validation.finding import SiteFinding

# A slip is likely where the place would be so much nearer: not farther than a third of (distance - 700 km).
# No true place meets this, on a world-wide grid of a quarter of a degree (tzfpy 2.1.1); see test_place.py.
_NEARER, _SPARE_KM = 3, 700
# Each further slip makes a guess less likely.
_KM_PER_SLIP = 200
# No true place north of 60° S is farther from its zone's place, on the same grid; China has one zone for all.
_FARTHEST_KM = 3600
_FARTHEST_BY_ZONE_KM = {"Asia/Shanghai": 4500}
# Bases in Antarctica keep the time of a country far away, and their zones reach to the pole.
_ANTARCTIC_DEG, _SUBANTARCTIC_DEG = -60, -50
# Other names of zones lead to a place in the same country, but for these areas, and for names without any.
_LOOSE_AREAS = ("Antarctica", "Etc", "Pacific")
_OVER_KM = 10_000

_EARTH_RADIUS_KM = 6371.0
_POLE_DEG = 90
_NEAR_ZONES = 4
# ISO 6709: degrees and minutes, or degrees, minutes and seconds.
_COORDINATES = re.compile(r"([+-])(\d\d)(\d\d)(\d\d)?([+-])(\d{3})(\d\d)(\d\d)?")


class Coordinates(NamedTuple):
    """A place on the earth, in degrees, north and east positive."""

    latitude_deg: float
    longitude_deg: float

    def distance_km(self, other: "Coordinates") -> float:
        """Return the distance along a great circle of a sphere, within 0.6 % of that on the ellipsoid."""
        up, down = radians(self.latitude_deg), radians(other.latitude_deg)
        aside = radians(self.longitude_deg - other.longitude_deg)
        half = sin((up - down) / 2) ** 2 + cos(up) * cos(down) * sin(aside / 2) ** 2
        return 2 * _EARTH_RADIUS_KM * asin(min(sqrt(half), 1.0))


class _Slip(NamedTuple):
    """A way in which latitude and longitude may have been miswritten, and what they would then be."""

    swapped: bool
    latitude_sign: bool
    longitude_sign: bool
    place: Coordinates
    from_reference_km: float


def warn_place(site: Site) -> Iterator[SiteFinding]:
    """Yield a warning where the place is probably miswritten, or far from where its time zone holds."""
    place = Coordinates(site.latitude_deg, site.longitude_deg)
    if place == (0, 0):
        what = Phrase("latitude and longitude are both 0, which is in the sea off Africa")
        yield SiteFinding(("site", "latitude"), what, Phrase("write those of the garden"))
        return
    known = find_reference(site.time_zone)
    if known is None:
        return
    zone, reference = known
    if place.latitude_deg < _ANTARCTIC_DEG and reference.latitude_deg < _SUBANTARCTIC_DEG:
        return
    slip = _find_slip(place, reference)
    if slip is not None:
        yield _explain_slip(slip, place, zone)
    elif (
        zone == site.time_zone
        and place.latitude_deg >= _ANTARCTIC_DEG
        and place.distance_km(reference) > _FARTHEST_BY_ZONE_KM.get(zone, _FARTHEST_KM)
    ):
        what = Phrase(
            "does not fit latitude {latitude:g}, longitude {longitude:g}: that is {far} from {city}",
            latitude=place.latitude_deg,
            longitude=place.longitude_deg,
            far=_far(place.distance_km(reference)),
            city=_city(zone),
        )
        remedy = Phrase(
            "correct the time zone, or latitude and longitude; {near}", near=name_near_zones(*place)
        )
        yield SiteFinding(("site", "time_zone"), what, remedy)


def find_reference(
    time_zone: str, places: Mapping[str, Coordinates] | None = None
) -> tuple[str, Coordinates] | None:
    """Return the place of a time zone and the zone's usual name; None where it is known by no place.

    Whoever asks for many gives the places, which are read anew else.
    """
    if places is None:
        places = read_places()
    if time_zone in places:
        return time_zone, places[time_zone]
    area, slash, _ = time_zone.partition("/")
    usual = _find_usual_name(time_zone) if slash and area not in _LOOSE_AREAS else ""
    return (usual, places[usual]) if usual in places else None


def find_near_zones(latitude_deg: float, longitude_deg: float) -> tuple[str, ...]:
    """Return the time zones whose places are nearest, the nearest first; none where no place is known."""
    here = Coordinates(latitude_deg, longitude_deg)
    places = read_places("zone1970.tab") or read_places()
    return tuple(sorted(places, key=lambda zone: here.distance_km(places[zone]))[:_NEAR_ZONES])


def name_near_zones(latitude_deg: float, longitude_deg: float) -> str:
    """Name the time zones whose places are nearest; an empty text where no place is known."""
    near = find_near_zones(latitude_deg, longitude_deg)
    if not near:
        return ""
    return Phrase("near this place are {others} and {last}", others=", ".join(near[:-1]), last=near[-1])


def read_places(*tables: str) -> dict[str, Coordinates]:
    """Read the places of time zones from these tables of the tz database, both if none is named.

    zone.tab has a zone for each country; zone1970.tab leaves out those that agree with another since 1970.
    """
    places: dict[str, Coordinates] = {}
    for folder in _folders():
        for table in tables or ("zone.tab", "zone1970.tab"):
            for line in _read_lines(folder / table):
                cells = line.split("\t")
                found = _COORDINATES.fullmatch(cells[1]) if len(cells) > 2 else None  # noqa: PLR2004 (with the zone)
                if found:
                    places.setdefault(
                        cells[2], Coordinates(_degrees(*found.groups()[:4]), _degrees(*found.groups()[4:]))
                    )
    return places


def _find_usual_name(time_zone: str) -> str:
    """Return what a name is a link to, by the tz database's own text; empty where it is none."""
    for folder in _folders():
        for line in _read_lines(folder / "tzdata.zi"):
            if line.startswith("L ") and line.endswith(f" {time_zone}"):
                return line.split(" ")[1]
    return ""


def _folders() -> list[Path]:
    """List the folders that may have the tz database: the system's, and that of the package tzdata."""
    folders = [Path(folder) for folder in zoneinfo.TZPATH]
    with suppress(ModuleNotFoundError):
        folders.append(Path(str(resources.files("tzdata") / "zoneinfo")))
    return folders


def _read_lines(file: Path) -> list[str]:
    try:
        return file.read_text("utf-8").splitlines()
    except (OSError, ValueError):
        return []


def _degrees(sign: str, degrees: str, minutes: str, seconds: str | None) -> float:
    size = int(degrees) + int(minutes) / 60 + int(seconds or 0) / 3600
    return -size if sign == "-" else size


def _find_slip(place: Coordinates, reference: Coordinates) -> _Slip | None:
    """Return the likeliest slip; None where none brings the place much nearer to its zone's."""
    limit_km = (place.distance_km(reference) - _SPARE_KM) / _NEARER
    likely: list[tuple[float, _Slip]] = []
    for swapped, latitude_sign, longitude_sign in product((False, True), repeat=3):
        latitude, longitude = reversed(place) if swapped else place
        there = Coordinates(
            -latitude if latitude_sign else latitude, -longitude if longitude_sign else longitude
        )
        if there == place or abs(there.latitude_deg) > _POLE_DEG:
            continue
        from_km = there.distance_km(reference)
        if from_km < limit_km:
            slips = swapped + latitude_sign + longitude_sign
            slip = _Slip(swapped, latitude_sign, longitude_sign, there, from_km)
            likely.append((from_km + slips * _KM_PER_SLIP, slip))
    return min(likely)[1] if likely else None


def _explain_slip(slip: _Slip, place: Coordinates, zone: str) -> SiteFinding:
    latitude, longitude = (f"{degrees:.10g}" for degrees in slip.place)
    near = Phrase(
        "the place is {far} from {city}, the reference of {zone}",
        far=_far(slip.from_reference_km),
        city=_city(zone),
        zone=zone,
    )
    both = Phrase(
        "write latitude = {latitude} and longitude = {longitude}", latitude=latitude, longitude=longitude
    )
    if slip.swapped:
        what = Phrase("latitude and longitude look exchanged: swapped, {near}", near=near)
        if slip.latitude_sign or slip.longitude_sign:
            what = Phrase(
                "latitude and longitude look exchanged, and a sign wrong: put right, {near}", near=near
            )
        return SiteFinding(("site", "latitude"), what, both)
    if slip.latitude_sign and slip.longitude_sign:
        what = Phrase(
            "the signs of latitude and longitude seem to be wrong: with the others, {near}", near=near
        )
        return SiteFinding(("site", "latitude"), what, both)
    key, right = ("latitude", latitude) if slip.latitude_sign else ("longitude", longitude)
    written = place.latitude_deg if slip.latitude_sign else place.longitude_deg
    what = Phrase("the minus before it seems to be missing: with it, {near}", near=near)
    if written < 0:
        what = Phrase("the minus before it seems to be wrong: without it, {near}", near=near)
    return SiteFinding(("site", key), what, Phrase("write {right}", right=right))


def _city(zone: str) -> str:
    return zone.rpartition("/")[2].replace("_", " ")


def _far(distance_km: float) -> Phrase:
    if distance_km > _OVER_KM:
        return Phrase("over {distance:,} km", distance=_OVER_KM)
    return Phrase("{distance:,.0f} km", distance=distance_km)
