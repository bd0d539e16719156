"""New site files: their text, and that nothing is overwritten."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.errors import SiteFileError
from config.file.loader import parse_site
from config.file.new_site import (
    NewSite,
    NewZone,
    create_site,
    derive_zone_id,
    free_lines,
    new_site_text,
    place_warnings,
)
from config.header import RELAY_LINES
from config.models.base import LONGEST_NAME

PLUM_TREE = NewSite(
    name="Plum Tree Cottage",
    latitude_deg=51.221,
    longitude_deg=-2.413,
    time_zone="Europe/London",
    zones=[NewZone("Garden path", 17), NewZone("Terrace", 27, active_high=True, program="dusk for 4h")],
)
NAMES = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=LONGEST_NAME)


def test_it_is_what_a_person_would_have_written():
    """Every answer stands in the file, with the comments of the simplest example."""
    assert new_site_text(PLUM_TREE) == (
        "# The lights of Plum Tree Cottage. “leerie check” finds mistakes in this file.\n"
        "# Transformers, lamps, cables and prices may be added: config/README.md has every key.\n"
        """
[site]
name = "Plum Tree Cottage"
latitude = 51.2210             # degrees north of the equator; south is negative
longitude = -2.4130            # degrees east of Greenwich; west is negative
time_zone = "Europe/London"    # an area and a city of the tz database

[relays]
board = "simulated"            # "gpio" once relays are wired to the board's pins

[network]
listen = "board"               # only this board; "home" opens it to the phones of the home network

[[zones]]
id = "garden-path"
name = "Garden path"
pin = 17                       # BCM number; the relay's input is wired to header pin 11
active_high = false            # most relay boards close on low
program = ["dusk to midnight"]

[[zones]]
id = "terrace"
name = "Terrace"
pin = 27                       # header pin 13
active_high = true
program = ["dusk for 4h"]
"""
    )


@given(
    name=NAMES,
    place=st.tuples(st.floats(-90, 90), st.floats(-180, 180)),
    zones=st.lists(NAMES, min_size=1, max_size=len(RELAY_LINES)),
    board=st.sampled_from(["simulated", "gpio"]),
    listen=st.sampled_from(["board", "home"]),
)
def test_whatever_is_answered_is_a_valid_site(name, place, zones, board, listen):
    """The file means what was asked for, whatever the names are: places within a metre, every id another."""
    answers = NewSite(
        name=name,
        latitude_deg=place[0],
        longitude_deg=place[1],
        time_zone="Europe/Oslo",
        zones=[NewZone(*each) for each in zip(zones, RELAY_LINES, strict=False)],
        board=board,
        listen=listen,
    )
    site = parse_site(new_site_text(answers), "new.toml").site
    assert (site.name, [zone.name for zone in site.zones]) == (name, zones)
    assert (site.latitude_deg, site.longitude_deg) == pytest.approx(place, abs=1e-5)
    assert (site.relays.board, site.network.listen) == (board, listen)


@pytest.mark.parametrize(
    ("name", "taken", "zone_id"),
    [
        ("Garden path", [], "garden-path"),
        ("Garden path", ["garden-path"], "garden-path-2"),
        ("Allée d'été", [], "allee-d-ete"),
        ("植物", [], "zone"),
        ("植物", ["zone"], "zone-2"),
        ("a" * 50, ["a" * 40], "a" * 36 + "-2"),
    ],
)
def test_an_id_is_made_of_the_name(name, taken, zone_id):
    """Letters that an id cannot have are left out, and no id is given twice."""
    assert derive_zone_id(name, taken) == zone_id


@pytest.mark.parametrize("active_high", [False, True])
def test_the_pins_that_are_proposed_suit_every_relay(active_high):
    """The check of a site file has nothing to say of any of them, whichever level closes the relay."""
    zones = [NewZone(f"Zone {line}", line, active_high) for line in free_lines([])]
    assert parse_site(new_site_text(PLUM_TREE._replace(zones=zones)), "new.toml").warnings == ()


def test_a_pin_that_is_taken_is_not_proposed():
    """The first that is free is proposed first."""
    assert free_lines([])[0] == 17
    assert free_lines([17, 22])[:2] == [27, 23]


def test_nothing_is_overwritten(tmp_path):
    """A file that is there, or a link that leads nowhere, is left as it is; nothing is left beside it."""
    path = tmp_path / "garden.toml"
    loaded = create_site(path, new_site_text(PLUM_TREE))
    assert tomllib.loads(path.read_text("utf-8"))["site"]["name"] == loaded.site.name == "Plum Tree Cottage"
    other = new_site_text(PLUM_TREE._replace(name="Another"))
    with pytest.raises(SiteFileError, match="is there already, and is left as it is"):
        create_site(path, other)
    assert "Plum Tree" in path.read_text("utf-8")
    (tmp_path / "link.toml").symlink_to(tmp_path / "nowhere.toml")
    with pytest.raises(SiteFileError, match="is there already"):
        create_site(tmp_path / "link.toml", other)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["garden.toml", "link.toml"]


def test_what_is_not_valid_is_not_written(tmp_path):
    """The text is read as a site file first."""
    with pytest.raises(SiteFileError, match="program"):
        create_site(tmp_path / "new.toml", new_site_text(PLUM_TREE).replace("dusk for 4h", "dusk for ever"))
    with pytest.raises(SiteFileError, match="could not be written"):
        create_site(tmp_path / "no" / "new.toml", new_site_text(PLUM_TREE))
    assert list(tmp_path.iterdir()) == []


def test_a_place_is_compared_with_its_time_zone():
    """What the check of a site file would say of them is said before it is written."""
    assert place_warnings("Plum Tree Cottage", 51.221, -2.413, "Europe/London") == ()
    (warning,) = place_warnings("Plum Tree Cottage", -2.413, 51.221, "Europe/London")
    assert "look exchanged" in warning.what
