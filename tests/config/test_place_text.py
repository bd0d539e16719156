"""A place as people have it at hand."""

import pytest

from config.place_text import read_place


@pytest.mark.parametrize(
    "text",
    [
        "51.2210, -2.4130",
        "  51.2210 -2.4130 ",
        "51.2210; −2.4130",
        "51,2210 -2,4130",
        "51,2210; -2,4130",
        "51.2210 N, 2.4130 W",
        "N 51.2210 W 2.4130",
        "51.2210° n 2.4130° w",
        "51°13'15.6\"N 2°24'46.8\"W",
        "51° 13.26′ N 2° 24.78′ W",
        "geo:51.2210,-2.4130",
        "geo:51.2210,-2.4130;u=35",
        "geo:51.2210,-2.4130?z=12",
        "GEO:51.2210,-2.4130,80;crs=wgs84",
        "https://map.example/@51.2210,-2.4130,15z",
        "https://map.example/?q=51.2210%2C-2.4130&zoom=12",
        "https://map.example/#map=15/51.2210/-2.4130",
        "https://map.example/place/2.0/51.2210,+-2.4130",
    ],
)
def test_a_place_is_read_however_it_is_written(text):
    """Decimal degrees, minutes and seconds, a geo URI (RFC 5870) and links all give the same place."""
    assert read_place(text) == pytest.approx((51.2210, -2.4130), abs=1e-6)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is not a place; write latitude, longitude"),
        ("Bath", "is not a place"),
        ("51.2210", "is not a place"),
        ("51,2210", "is not a place"),
        ("51.2210, -2.4130, 7", "is not a place"),
        ("W 2.4 N 51.2", "is not a place"),
        ("https://map.example/garden/4711", "has no coordinates"),
        ("https://map.example/1.2.3,4.5", "has no coordinates"),
        ("91, 0", "latitude goes from -90 to 90"),
        ("geo:0,180.5", "longitude from -180 to 180"),
        ("x" * 5000, "is not a place"),
    ],
)
def test_what_is_no_place_is_refused_with_what_to_write(text, says):
    """A refusal quotes the beginning of the text, and says what to write."""
    with pytest.raises(ValueError, match="“") as refusal:
        read_place(text)
    assert says in str(refusal.value)
    assert len(str(refusal.value)) < 200


@pytest.mark.parametrize("text", ["1{}x", "1 N{}1", "N 1{}", "1°{}1'{}x", "1.1{}", "https://map.example/{}"])
@pytest.mark.parametrize("filler", [" ", "\t", "1", "1 "])
def test_a_text_that_would_take_minutes_is_refused_at_once(text, filler):
    """However many blanks and digits stand in a text, it is read or refused at once."""
    with pytest.raises(ValueError, match="; write latitude, longitude, such as"):
        read_place(text.replace("{}", filler * 20_000))


def test_blanks_are_passed_over():
    """Any number of blanks in a row is one."""
    assert read_place("  51.221   N \t 2.413     W ") == read_place("51.221 N 2.413 W")
