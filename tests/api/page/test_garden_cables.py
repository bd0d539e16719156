"""Cables as forms, and the tree beside them, as a browser without scripts has them."""

import tomllib

import pytest

from config.file.loader import load_site
from tests.api.page.conftest import PageHouse
from tests.api.page.screens import Screen, screen, send
from tests.api.page.test_garden import change, site_of
from tests.api.stand_in import SITE

CABLES = """
# What lies under the lawn.
[[cables]]
from = "boathouse"
line = "jetty"                  # dug in by hand
gauge = "12 AWG"
length = "80 ft"

[[cables]]
from = "jetty 6"
to = "gate"
gauge = "2.5 mm2"
length = "12 m"
"""
GATE_LAMP = """
  [[zones.fixtures]]
  kind = "spot"
  count = 1
  watts = 5
  node = "gate"
"""
TAPPED = SITE.replace("rated_va = 200", "rated_va = 200\ntap = 12")
WIRED = TAPPED.replace("\n[[zones]]", f"{CABLES}\n[[zones]]", 1).replace(
    "watts = 4.5\n", f"watts = 4.5\n{GATE_LAMP}"
)


@pytest.fixture
def wired(tmp_path):
    """A garden with a line of lamps, and a stretch from its last one to a gate."""
    house = PageHouse(tmp_path, site=WIRED)
    yield house
    house.close()


def cables_of(house):
    """The cables as the site file has them; it is what the keeper has."""
    site_of(house)
    return tomllib.loads(house.site_path.read_text("utf-8")).get("cables", [])


def test_the_first_cable_of_a_garden_is_entered(tmp_path):
    """It stands behind the transformers, and the lamps of the zone that it is named after are on it."""
    house = PageHouse(tmp_path, site=TAPPED)
    assert "None is written down." in screen(house, "/garden").text
    form = screen(house, "/garden/new/cables").form("/garden/new/cables")
    assert (form["fields"]["from"], form["fields"]["form"]) == ("boathouse", "to")
    fields = {"form": "line", "end": "jetty", "gauge": "12 AWG", "length": "80 ft"}
    answer = send(house, form, fields=fields)
    assert (answer.status_code, answer.headers["location"]) == (303, "/garden#cables")
    assert cables_of(house) == [{"from": "boathouse", "line": "jetty", "gauge": "12 AWG", "length": "80 ft"}]
    text = house.site_path.read_text("utf-8")
    assert text.index("[[transformers]]") < text.index("[[cables]]") < text.index("[[zones]]")
    assert "jetty line, 12 AWG 80 ft, 6 lamps" in screen(house, "/garden").text
    house.close()


def test_without_a_transformer_there_is_no_cable_to_enter(tmp_path):
    """The garden says what comes first."""
    bare = SITE.replace('[[transformers]]\nid = "boathouse"\nrated_va = 200\n', "").replace(
        'transformer = "boathouse"\n', ""
    )
    house = PageHouse(tmp_path, site=bare)
    seen = screen(house, "/garden")
    assert "Add a transformer first" in seen.text
    assert "Add a cable" not in seen.text
    house.close()


def test_the_tree_stands_beside_the_form(wired):
    """The form of a cable names it, draws all of them, and offers to go on from its end."""
    seen = screen(wired, "/garden/cables/1")
    assert "The line jetty. 12 AWG 80 ft, 6 lamps." in seen.text
    assert "boathouse jetty line, 12 AWG 80 ft, 6 lamps gate from jetty 6 2.5 mm2 12 m, 1 lamp" in seen.text
    html = wired.ask("GET", "/garden/cables/2", headers={"accept": "text/html"}).text
    assert 'href="/garden/cables/2" aria-current="true">gate</a>' in html
    assert 'href="/garden/new/cables?from=gate"' in html
    onward = screen(wired, "/garden/new/cables?from=gate").form("/garden/new/cables")
    assert onward["fields"]["from"] == "gate"


def test_a_form_that_is_sent_as_shown_changes_nothing(wired):
    """Not a byte of the file."""
    before = wired.site_path.read_bytes()
    for number in (1, 2):
        assert change(wired, f"/garden/cables/{number}").status_code == 303
    assert wired.site_path.read_bytes() == before


def test_a_cable_is_changed_and_its_comments_stay(wired):
    """Only the values that were changed are other ones."""
    assert change(wired, "/garden/cables/1", length="30 m", rated_a="20,5").status_code == 303
    assert cables_of(wired)[0] == {
        "from": "boathouse", "line": "jetty", "gauge": "12 AWG", "length": "30 m", "rated_a": 20.5,
    }  # fmt: skip
    text = wired.site_path.read_text("utf-8")
    assert "# What lies under the lawn." in text
    assert "# dug in by hand" in text


def test_lamps_and_cables_go_by_the_new_name_of_a_place(wired):
    """The end of a stretch, and a line with its places: whatever named it names it still."""
    assert change(wired, "/garden/cables/2", end="arch").status_code == 303
    assert change(wired, "/garden/cables/1", end="pier").status_code == 303
    one, other = cables_of(wired)
    assert (one["line"], other["from"], other["to"]) == ("pier", "pier 6", "arch")
    hats, spot = site_of(wired).zone("jetty").fixtures
    assert (hats.node, spot.node) == ("pier", "arch")
    assert load_site(wired.site_path).warnings == ()


def test_a_stretch_becomes_a_hub_and_a_hub_a_stretch(wired):
    """The kind of a cable is a choice; what belongs to a hub alone goes with it."""
    path = "/garden/cables/2"
    assert change(wired, path, form="hub", legs="3 ft", leg_gauge="14 AWG").status_code == 303
    assert cables_of(wired)[1] == {
        "from": "jetty 6", "hub": "gate", "gauge": "2.5 mm2", "length": "12 m", "legs": ["3 ft"],
        "leg_gauge": "14 AWG",
    }  # fmt: skip
    assert change(wired, path, form="to").status_code == 303
    assert cables_of(wired)[1] == {"from": "jetty 6", "to": "gate", "gauge": "2.5 mm2", "length": "12 m"}


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"gauge": "13 AWG"}, "is not in any table of resistances"),
        ({"gauge": "thick"}, "is not a gauge"),
        ({"length": "80"}, "is not a length with its unit"),
        ({"length": ""}, "This is needed."),
        ({"form": "hub"}, "is missing, and a hub has legs"),
        ({"end": "boathouse"}, "which is a transformer"),
        ({"rated_a": "much"}, "Write a number"),
        ({"tap": "60", "rated_a": "900"}, "over 0 up to 200"),
    ],
)
def test_what_does_not_fit_stands_beside_its_field(wired, fields, says):
    """Nothing is written, and nothing that was typed is lost."""
    before = wired.site_path.read_bytes()
    answer = change(wired, "/garden/cables/1", **fields)
    assert answer.status_code == 422
    seen = Screen(answer.text)
    assert says in seen.text
    shown = seen.form("/garden/cables/1")["fields"]
    assert {key: shown[key] for key in fields} == fields
    assert wired.site_path.read_bytes() == before


def test_what_the_check_says_of_a_cable_stands_on_its_form_and_in_the_garden(wired):
    """A stretch to a place where nothing is gets its warning at the name of its end."""
    fields = {"from": "gate", "form": "to", "end": "shed", "gauge": "12 AWG", "length": "9 ft"}
    assert change(wired, "/garden/new/cables", **fields).status_code == 303
    html = wired.ask("GET", "/garden/cables/3", headers={"accept": "text/html"}).text
    _, _, beside = html.partition('id="m-end">')
    assert beside.startswith("<span>leads to no light and to no other cable")
    assert "leads to no light and to no other cable" in screen(wired, "/garden").text


def test_a_cable_with_lamps_on_it_is_not_taken_out(wired):
    """The refusal names what is on it; once its lamps are elsewhere it goes."""
    answer = change(wired, "/garden/cables/2", "/garden/remove/cables/2")
    assert answer.status_code == 422
    assert "is not on any cable" in Screen(answer.text).text
    assert change(wired, "/garden/zones/jetty/fixtures/2", node="boathouse").status_code == 303
    assert change(wired, "/garden/cables/2", "/garden/remove/cables/2").status_code == 303
    assert len(cables_of(wired)) == 1


def test_lamps_choose_their_place_among_those_that_there_are(wired):
    """Every place, line and transformer is offered; empty means the zone's own line."""
    html = wired.ask("GET", "/garden/zones/jetty/fixtures/2", headers={"accept": "text/html"}).text
    _, _, choices = html.partition('name="node"')
    offered = [part.partition('"')[0] for part in choices.partition("</select>")[0].split('value="')[1:]]
    assert offered == ["", "jetty", *(f"jetty {number}" for number in range(1, 7)), "gate", "boathouse"]


def test_two_phones_change_one_cable(wired):
    """The second is shown both versions, and writes its own or keeps the other's."""
    form = screen(wired, "/garden/cables/2").form("/garden/cables/2")
    assert send(wired, form, fields={"length": "13 m"}).status_code == 303
    answer = send(wired, form, fields={"length": "14 m"})
    assert answer.status_code == 412
    seen = Screen(answer.text)
    assert "Its length 13 m 14 m" in seen.text
    assert send(wired, seen.form("/garden/cables/2")).status_code == 303
    assert cables_of(wired)[1]["length"] == "14 m"


def test_a_form_finds_its_cable_where_another_was_taken_out(wired):
    """Cables have no names of their own: the number in the address may be another one's by now."""
    fields = {"from": "boathouse", "form": "to", "end": "shed", "gauge": "12 AWG", "length": "9 ft"}
    assert change(wired, "/garden/new/cables", **fields).status_code == 303
    form = screen(wired, "/garden/cables/3").form("/garden/cables/3")
    change(wired, "/garden/zones/jetty/fixtures/2", node="boathouse")
    change(wired, "/garden/cables/2", "/garden/remove/cables/2")
    assert send(wired, form, fields={"length": "10 ft"}).status_code == 303
    assert [each["length"] for each in cables_of(wired)] == ["80 ft", "10 ft"]


def test_what_somebody_took_out_meanwhile_can_be_added_again(wired):
    """What was typed is shown, and one button writes it as a new cable."""
    change(wired, "/garden/zones/jetty/fixtures/2", node="boathouse")
    form = screen(wired, "/garden/cables/2").form("/garden/cables/2")
    change(wired, "/garden/cables/2", "/garden/remove/cables/2")
    answer = send(wired, form, fields={"length": "15 m"})
    assert answer.status_code == 412
    seen = Screen(answer.text)
    assert "Somebody else took this out meanwhile" in seen.text
    assert send(wired, seen.form("/garden/new/cables")).status_code == 303
    assert cables_of(wired)[1] == {"from": "jetty 6", "to": "gate", "gauge": "2.5 mm2", "length": "15 m"}


def test_a_ring_is_closed_and_drawn_once(wired):
    """A cable back to a place that there is: the tree says so, and goes on from there on one side only."""
    fields = {"from": "gate", "form": "to", "end": "jetty 3", "gauge": "12 AWG", "length": "9 ft"}
    assert change(wired, "/garden/new/cables", **fields).status_code == 303
    seen = screen(wired, "/garden").text
    assert "gate from jetty 6 2.5 mm2 12 m, 1 lamp jetty 3 another way there, 12 AWG 9 ft" in seen
    assert change(wired, "/garden/zones/jetty", id="pier").status_code == 303
    assert [each.get("to") for each in cables_of(wired)] == [None, "gate", "pier 3"]


def test_a_cable_is_led_elsewhere(wired):
    """Where its new end is there already, lamps do not follow, and the check says so."""
    fields = {"from": "boathouse", "form": "to", "end": "arch", "gauge": "12 AWG", "length": "9 ft"}
    assert change(wired, "/garden/new/cables", **fields).status_code == 303
    answer = change(wired, "/garden/cables/2", end="arch")
    assert answer.status_code == 422
    assert "is not on any cable" in Screen(answer.text).text


def test_commons_are_chosen_at_the_transformer_and_at_the_cable(wired):
    """A cable names a common that its transformer has."""
    answer = change(wired, "/garden/cables/1", common="2")
    assert "is not one of its commons" in Screen(answer.text).text
    fields = {"commons": "2", "common_limit_a": "20", "regulation_percent": "8"}
    assert change(wired, "/garden/transformers/boathouse", **fields).status_code == 303
    assert change(wired, "/garden/cables/1", common="2").status_code == 303
    transformer, cable = site_of(wired).transformers[0], site_of(wired).cables[0]
    assert (transformer.commons, transformer.common_limit_a, transformer.regulation_percent) == (2, 20, 8)
    assert cable.common == 2


def test_a_line_of_several_cables_says_how_many_lamps_each_has(wired):
    """The second is added from a lamp of the first, which keeps the others, and is drawn where it begins."""
    form = screen(wired, "/garden/new/cables?from=jetty%204").form("/garden/new/cables")
    fields = {"form": "line", "end": "jetty", "gauge": "14 AWG", "length": "20 ft", "lights": "2"}
    assert send(wired, form, fields=fields).status_code == 303
    assert [each.get("lights") for each in cables_of(wired)] == [4, None, 2]
    seen = screen(wired, "/garden").text
    assert "jetty line, 12 AWG 80 ft, 4 lamps jetty from jetty 4 line, 14 AWG 20 ft, 2 lamps" in seen
    assert load_site(wired.site_path).warnings == ()
