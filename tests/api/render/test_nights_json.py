"""What a plan looks like in JSON."""

import json
from datetime import UTC, date, datetime

import pytest

from api.render.nights_json import why_by_site_file, write_nights_json
from config.errors import UnknownZoneError
from config.file.loader import parse_site
from controller.planning.planner import Planner
from tests.api.stand_in import SITE


def nights(*args):
    return json.loads("".join(write_nights_json(*args)))


def why(*args):
    return why_by_site_file(*args).model_dump(mode="json")


@pytest.fixture(scope="module")
def planner():
    return Planner(parse_site(SITE, "site.toml").site)


def test_nights_have_the_shape_of_the_contract(planner):
    """A lit night is told exactly as the fixed contract of ``leerie nights`` has it."""
    # The example of the contract, made with astral's solar position for this invented place.
    assert nights(planner, date(2027, 6, 21), date(2027, 6, 21), ["jetty"]) == {
        "site": "Saltmarsh Lodge",
        "nights": [
            {
                "night": "2027-06-21",
                "zone": "jetty",
                "windows": [
                    {"on": "2027-06-22T00:56:40Z", "off": "2027-06-22T04:00:00Z", "span": "dusk to midnight"}
                ],
                "because": "every night",
            }
        ],
    }


def test_a_dark_night_has_no_windows_and_says_why(planner):
    """A night whose dusk comes after the off time has no windows, and the words that say so."""
    site = SITE.replace("dusk to midnight", "dusk to 20:30")
    dark = Planner(parse_site(site, "site.toml").site)
    (night,) = nights(dark, date(2027, 6, 21), date(2027, 6, 21), ["jetty"])["nights"]
    assert night["windows"] == []
    assert night["because"] == "dusk to 20:30: dusk (20:56) is not before 20:30"


def test_nights_come_night_by_night_and_zones_in_the_order_of_the_file(planner):
    """Without zones named, every night lists every zone in the order of the site file."""
    told = nights(planner, date(2027, 6, 24), date(2027, 6, 26))["nights"]
    assert [(each["night"], each["zone"], each["because"]) for each in told] == [
        ("2027-06-24", "jetty", "every night"),
        ("2027-06-24", "orchard", "every night"),
        ("2027-06-25", "jetty", "special night Fri, Sat"),  # 25 June 2027 is a Friday: any calendar
        ("2027-06-25", "orchard", "every night"),
        ("2027-06-26", "jetty", "special night Fri, Sat"),
        ("2027-06-26", "orchard", "every night"),
    ]


def test_zones_come_in_the_order_asked_for(planner):
    """Zones that were named come in the order in which they were named."""
    told = nights(planner, date(2027, 6, 24), date(2027, 6, 24), ["orchard", "jetty"])["nights"]
    assert [each["zone"] for each in told] == ["orchard", "jetty"]


def test_nights_of_an_unknown_zone_are_refused(planner):
    """A zone that the site does not have is refused even where no night is asked for."""
    with pytest.raises(UnknownZoneError, match="no zone is called “pier”"):
        nights(planner, date(2027, 6, 25), date(2027, 6, 24), ["pier"])


@pytest.mark.parametrize(
    ("at_utc", "on", "because", "until"),
    [
        # 00:56:39 UTC is the last dark second before that dusk; the orchard's pins are 21:15 and 23:45 EDT.
        (
            datetime(2027, 6, 22, 0, 56, 39, tzinfo=UTC),
            False,
            "waits for dusk to midnight",
            "2027-06-22T00:56:40Z",
        ),
        (datetime(2027, 6, 22, 0, 56, 40, tzinfo=UTC), True, "dusk to midnight", "2027-06-22T04:00:00Z"),
        (
            datetime(2027, 6, 22, 4, 0, 0, tzinfo=UTC),
            False,
            "dusk to midnight is over",
            "2027-06-23T00:56:50Z",
        ),
    ],
)
def test_why_changes_with_the_second(planner, at_utc, on, because, until):
    """The answer to why is that of its very second, and its until is where the next answer begins."""
    told = why(planner, "jetty", at_utc)
    assert (told["on"], told["because"], told["until"]) == (on, f"{because}, every night", until)
    assert (told["site"], told["zone"], told["cause"]) == ("Saltmarsh Lodge", "jetty", "program")
    assert told["basis"] == "site file"
    assert told["note"].startswith("by the site file alone")


def test_why_takes_an_instant_of_any_offset(planner):
    """An instant with another offset from UTC is the same instant, and is told in UTC."""
    at = datetime.fromisoformat("2027-06-21T21:30:00-04:00")
    assert why(planner, "jetty", at) == why(planner, "jetty", at.astimezone(UTC))
    assert why(planner, "jetty", at)["at"] == "2027-06-22T01:30:00Z"


def test_why_of_a_zone_out_of_service_says_so(planner):
    """A zone out of service is dark at every instant, with its reason and no end."""
    site = SITE.replace('id = "orchard"', 'id = "orchard"\nout_of_service = "cable cut by a spade"')
    told = why(Planner(parse_site(site, "site.toml").site), "orchard", datetime(2027, 6, 22, 2, tzinfo=UTC))
    assert (told["on"], told["cause"], told["until"]) == (False, "out of service", None)
    assert told["because"] == "out of service: cable cut by a spade"
