"""A place as people have it at hand: coordinates, a geo URI, or the link of a map."""

import re
from urllib.parse import unquote

from config.phrase import Phrase

_POLE_DEG, _HALF_TURN_DEG = 90, 180
# The link of a map has some hundreds of characters.
_LONGEST = 2000
_NUMBER = r"[-+−]?\d{1,3}(?:\.\d+)?"
# RFC 5870: latitude, longitude, and more behind them that does not matter here.
_GEO = re.compile(rf"geo:({_NUMBER}),({_NUMBER})(?![\d.])", re.IGNORECASE)
# In the link of a map both stand side by side, with decimals, between other things.
_IN_LINK, _IN_PATH = (
    re.compile(rf"(?<![\d.])([-+]?\d{{1,3}}\.\d+){between}([-+]?\d{{1,3}}\.\d+)(?![\d.])")
    for between in (r"(?:, ?\+?| )", "/")
)
_PAIR = re.compile(rf"({_NUMBER})(?:\s*[,;]\s*|\s+)({_NUMBER})")
# As many countries write decimals; between the two of them stands no comma then.
_COMMAS = re.compile(r"([-+−]?\d{1,3},\d+)\s*(?:;|\s)\s*([-+−]?\d{1,3},\d+)")
_MINUTES, _SECONDS = (rf"(?:(\d{{1,2}}(?:\.\d+)?)\s*[{mark}])?" for mark in ("'′’", '"″”'))
_HALF = rf"(\d{{1,3}}(?:\.\d+)?)\s*°?\s*{_MINUTES}\s*{_SECONDS}"
_BEHIND = re.compile(rf"{_HALF}\s*([NS])[\s,;]*{_HALF}\s*([EW])", re.IGNORECASE)
_BEFORE = re.compile(rf"([NS])\s*{_HALF}[\s,;]*([EW])\s*{_HALF}", re.IGNORECASE)


def read_place(text: str) -> tuple[float, float]:
    """Read latitude and longitude in degrees, north and east positive.

    Args:
        text: ``51.221, -2.413``, ``51.221 N 2.413 W``, with minutes and seconds too, ``geo:51.221,-2.413``,
            or the address of a map that has both side by side.

    Raises:
        ValueError: it has no place; the message says what to write.
    """
    # Of many blanks in a row each could belong to several parts, and to try all that takes minutes.
    text = " ".join(text.split())
    found = _find(text) if len(text) <= _LONGEST else None
    if found is None:
        what = Phrase("“{text}” is not a place", text=text[:60])
        if "://" in text:
            what = Phrase("“{text}” has no coordinates", text=text[:60])
        raise ValueError(Phrase("{what}; write latitude, longitude, such as 51.2210, -2.4130", what=what))
    latitude, longitude = found
    if abs(latitude) > _POLE_DEG or abs(longitude) > _HALF_TURN_DEG:
        raise ValueError(
            Phrase(
                "“{text}” is no place on the earth: latitude goes from -90 to 90, longitude from -180 to 180",
                text=text[:60],
            )
        )
    return latitude, longitude


def _find(text: str) -> tuple[float, float] | None:
    if "://" in text:
        pair = _IN_LINK.search(unquote(text)) or _IN_PATH.search(unquote(text))
    else:
        pair = _GEO.match(text) or _PAIR.fullmatch(text) or _COMMAS.fullmatch(text)
    if pair is not None:
        latitude, longitude = (float(each.replace("−", "-").replace(",", ".")) for each in pair.groups())
        return latitude, longitude
    if behind := _BEHIND.fullmatch(text):
        *up, north, one, two, three, east = behind.groups()
        return _degrees(up, north), _degrees([one, two, three], east)
    if before := _BEFORE.fullmatch(text):
        north, one, two, three, east, *aside = before.groups()
        return _degrees([one, two, three], north), _degrees(aside, east)
    return None


def _degrees(parts: list[str | None], towards: str) -> float:
    degrees, minutes, seconds = (float(each or 0) for each in parts)
    size = round(degrees + minutes / 60 + seconds / 3600, 6)
    return -size if towards.upper() in "SW" else size
