"""``leerie new``: a site file by questions."""

from __future__ import annotations

import pytest
from click.testing import CliRunner, Result

from api.cli.commands import leerie
from config.file.loader import load_site
from controller import relays
from controller.clock import zone_of_place


@pytest.fixture(autouse=True)
def _no_library(monkeypatch):
    """As on a machine without the library for the pins."""
    monkeypatch.setattr(relays, "find_spec", lambda _name: None)


def answer(path, *lines: str) -> Result:
    return CliRunner().invoke(leerie, ["new", str(path)], input="".join(f"{each}\n" for each in lines))


def test_a_few_answers_make_a_site(tmp_path):
    """Enter takes what is proposed: the zone of the place, a free pin, dusk to midnight."""
    path = tmp_path / "garden.toml"
    zones = ("Garden path", "", "", "Terrace", "", "dusk for 4h", "")
    result = answer(path, "Plum Tree Cottage", "51.221, -2.413", "", "", "", *zones)
    assert result.exit_code == 0, result.output
    assert f"Written: {path}, with 2 zones." in result.output
    assert "BCM 17 is header pin 11." in result.output
    loaded = load_site(path)
    assert loaded.warnings == ()
    site = loaded.site
    assert (site.name, site.latitude_deg, site.longitude_deg) == ("Plum Tree Cottage", 51.221, -2.413)
    assert (site.time_zone, site.relays.board, site.network.listen) == ("Europe/London", "simulated", "home")
    assert [(zone.id, zone.pin, *map(str, zone.program)) for zone in site.zones] == [
        ("garden-path", 17, "dusk to midnight"),
        ("terrace", 27, "dusk for 4h"),
    ]


@pytest.mark.parametrize("library", ["lgpio", "gpiod", None])
@pytest.mark.parametrize("has_chip", [True, False])
def test_real_relays_are_proposed_where_there_are_pins_and_a_library(
    tmp_path, monkeypatch, library, has_chip
):
    """Whoever installed either library where there is a GPIO chip and presses Enter has relays switched."""
    monkeypatch.setattr(relays, "find_spec", lambda name: name if name == library else None)
    monkeypatch.setattr(relays, "DEVICES", tmp_path)
    if has_chip:
        (tmp_path / "gpiochip0").touch()
    answer(tmp_path / "garden.toml", "Plum Tree Cottage", "51.221, -2.413", "", "", "", "Path", "", "", "")
    board = "gpio" if library and has_chip else "simulated"
    assert load_site(tmp_path / "garden.toml").site.relays.board == board


def test_a_slip_is_said_and_asked_again(tmp_path):
    """What cannot be read is answered with what to write; nothing that was answered is lost."""
    path = tmp_path / "garden.toml"
    result = answer(
        path, " ", "Plum Tree Cottage", "Nowhere", "91, 0", "London, E", "Europe/Lundon", "Europe/London",
        "y", "n", "Garden path", "40", "1", "17", "9 o'clock", "dusk to 23:00", "Terrace", "17", "22", "", "",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    for said in (
        "Error: write a name",
        "“Nowhere” is not a place",
        "or a larger city",
        "latitude goes from -90 to 90",
        "London, England: 51.4733, -0.0008",
        "did you mean “Europe/London”",
        "“40” is no BCM number of a pin",
        "BCM 17 is another zone's",
        "Error: “9 o'clock”",
    ):
        assert said in result.output
    site = load_site(path).site
    assert (site.relays.board, site.network.listen) == ("gpio", "board")
    assert [zone.pin for zone in site.zones] == [17, 22]


def test_a_place_far_from_its_time_zone_is_asked_again(tmp_path):
    """The check's own words are shown, and place and zone asked for anew unless a person insists."""
    path = tmp_path / "garden.toml"
    places = ("-2.413, 51.221", "Europe/London", "n", "51.221, -2.413", "")
    result = answer(path, "Plum Tree Cottage", *places, "", "", "Garden path", "", "", "")
    assert result.exit_code == 0, result.output
    assert "warning: site.latitude: latitude and longitude look exchanged" in result.output
    assert load_site(path).site.latitude_deg == 51.221


def test_without_a_map_of_the_zones_it_is_asked(tmp_path, monkeypatch):
    """The zones whose places are nearest are named, and none is taken by itself."""
    monkeypatch.setattr(zone_of_place, "_LOOK_UP", "import no_such_module")
    path = tmp_path / "garden.toml"
    result = answer(path, "Plum Tree Cottage", "51.2, -2.4", "", "Europe/London", "", "", "Path", "", "", "")
    assert result.exit_code == 0, result.output
    assert "Near this place are Europe/London, " in result.output
    assert load_site(path).site.time_zone == "Europe/London"


def test_a_file_that_is_there_is_left_alone(tmp_path):
    """It is said before the first question."""
    path = tmp_path / "garden.toml"
    path.write_text("mine")
    result = answer(path, "Plum Tree Cottage")
    assert (result.exit_code, path.read_text()) == (2, "mine")
    assert "is there already, and is left as it is" in result.stderr
    assert "What is" not in result.output


@pytest.mark.parametrize(
    "lines", [(), ("Plum Tree Cottage",), ("Plum Tree Cottage", "51.2, -2.4", "", "", "")]
)
def test_an_input_that_ends_too_early_writes_nothing(tmp_path, lines):
    """Exit code 2, and one line that says so."""
    result = answer(tmp_path / "garden.toml", *lines)
    assert result.exit_code == 2
    assert result.stderr == "leerie: the input ended before the last answer; nothing was written\n"
    assert list(tmp_path.iterdir()) == []
