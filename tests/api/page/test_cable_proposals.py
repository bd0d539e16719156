"""Proposals for the cables, as a browser without scripts has them: listed, tried, written, undone."""

import gzip
import re
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from api.page.cables.proposals import try_proposal
from api.render.words import english
from config.file.loader import parse_site
from config.models.cable_changes import AddTransformer
from controller.inspection.changes import carry_out
from controller.inspection.checks import inspect
from controller.inspection.report import report_site
from tests.api.lines import serving
from tests.api.page.conftest import PageHouse
from tests.api.page.screens import Screen, screen, send
from tests.api.page.test_sign_in import Phone, code
from tests.site_of_wiring import garden, line, piece

TRIED = "/cables/proposals/{}?transformer=boathouse"
LAMPS = 'kind = "path"\ncount = 6\nwatts = 9\nvolts = [10.5, 15.0]'
FAILING = garden(
    more="taps = [12, 13, 14]",
    cables="# the cable along the jetty\n" + line("190 ft", "14 AWG", more="# bought in 2019"),
    fixtures=LAMPS,
)


@pytest.fixture
def house(tmp_path):
    """A garden whose last lamps get too few volts, until it is mended."""
    house = PageHouse(tmp_path, site=FAILING)
    yield house
    house.close()


def proposals_of(house):
    return house.get("/v1/wiring/boathouse/proposals")["proposals"]


def comments_of(house):
    return re.findall(r"#.*", house.site_path.read_text(encoding="utf-8"))


def apply_form(house, number=1):
    return screen(house, TRIED.format(number)).form(f"/cables/proposals/{number}")


def test_every_proposal_stands_with_its_cost_and_what_it_leaves_to_spare(house):
    """The sentence, the price and the margin of each are those of the API, and it can be tried."""
    seen = screen(house, "/cables")
    proposals = proposals_of(house)
    assert len(proposals) > 1
    for each in proposals:
        assert each["words"][1:] in seen.text
        if each["buys"]:
            assert f"about {each['cost']['total']:,.0f} together" in seen.text
        spare = min(each["margins"]["low_v"], each["margins"]["high_v"])
        assert f"{spare:.2f} V to spare" in seen.text
        assert f"carries {each['margins']['load_part'] * 100:.0f}% of" in seen.text


def test_trying_shows_every_lamp_before_and_after_and_writes_nothing(house):
    """Volts now and then are those of the API; the site file is not touched."""
    before = house.site_path.read_bytes()
    [transformer] = house.get("/v1/wiring")["transformers"]
    now = {light["node"]: light["volts"] for light in transformer["circuits"][0]["lights"]}
    for each in proposals_of(house):
        text = screen(house, TRIED.format(each["number"])).text
        for light in each["lights"]:
            told = re.search(rf"\b{light['node']} .*?now ([\d.]+) V.*?then ([\d.]+) V", text)
            assert told, light
            assert [float(volts) for volts in told.groups()] == pytest.approx(
                [now[light["node"]], light["volts"]], abs=0.0051
            )
        assert "Then 6 of 6 lamps get the volts that they are made for, instead of" in text
    assert house.site_path.read_bytes() == before


def test_what_to_do_is_written_where_it_is_done(house):
    """On the tree each cable that is touched says how; hazards stand before the work."""
    found = [each for each in proposals_of(house) if each["buys"]]
    text = screen(house, TRIED.format(found[0]["number"])).text
    assert "here instead" in text or "lay a run of its own" in text or "bring the cable" in text
    assert text.index("Unplug the transformer before") < text.index("Join cables with watertight")
    assert "Have buried services marked before you dig" in text


@pytest.mark.parametrize("number", [1, 2])
def test_a_proposal_is_written_with_comments_kept_and_undone(house, number):
    """Afterwards the garden is without errors; undoing gives the file back to the letter."""
    before, comments = house.site_path.read_bytes(), comments_of(house)
    form = apply_form(house, number)
    added = re.findall(r"<ins>\+ (.*?)</ins>", house.ask("GET", TRIED.format(number)).text)
    answer = send(house, form)
    assert (answer.status_code, answer.headers["location"]) == (303, "/cables#changed")
    assert comments_of(house) == comments
    assert house.get("/v1/wiring")["level"] != "error"
    written = house.site_path.read_text(encoding="utf-8").splitlines()
    assert added
    assert {Screen(each).text for each in added} - {""} <= {each.strip() for each in written}
    seen = screen(house, "/cables")
    assert "Written into the site file" in seen.text
    assert "In the garden it is still to be done: Unplug the transformer before" in seen.text
    undo = next(each for each in seen.forms if each["action"] == "/cables" and "change" in each["fields"])
    assert send(house, undo).status_code == 303
    assert house.site_path.read_bytes() == before
    assert "Taken out of the site file again" in screen(house, "/cables").text
    assert house.get("/v1/wiring")["level"] == "error"


def test_of_two_phones_the_second_is_told(house):
    """Who tried a proposal before another was written gets told in words, and writes nothing."""
    late = apply_form(house, 2)
    assert send(house, apply_form(house, 1)).status_code == 303
    first = house.site_path.read_bytes()
    answer = send(house, late)
    assert answer.status_code == 412
    assert "Nothing was written: the wiring was changed meanwhile." in Screen(answer.text).text
    assert house.site_path.read_bytes() == first


def test_a_proposal_that_is_gone_says_so(house):
    """An old link, or one to a transformer that nobody has, shows how it is now."""
    for path in (TRIED.format(9), "/cables/proposals/1?transformer=barn", "/cables/proposals/1"):
        answer = house.ask("GET", path, headers={"accept": "text/html"})
        assert answer.status_code == 404
        assert "There is no such proposal any more" in Screen(answer.text).text
        assert "What would mend it" in Screen(answer.text).text


def test_a_file_that_was_changed_by_hand_is_left_as_it_is(house):
    """What was not read yet is never overwritten; the screen says why."""
    form = apply_form(house)
    house.site_path.write_text(FAILING.replace("190 ft", "180 ft"), encoding="utf-8")
    answer = send(house, form)
    assert answer.status_code == 422
    assert "This cannot be written into the site file now:" in Screen(answer.text).text
    assert "180 ft" in house.site_path.read_text(encoding="utf-8")


def test_nothing_is_undone_once_the_file_was_changed(house):
    """After a change by hand the way back is gone, and an old form is refused in words."""
    send(house, apply_form(house))
    undo = next(each for each in screen(house, "/cables").forms if each["action"] == "/cables")
    text = house.site_path.read_text(encoding="utf-8") + "# looked at by me\n"
    house.site_path.write_text(text, encoding="utf-8")
    assert "Written into the site file" not in screen(house, "/cables").text
    answer = send(house, undo)
    assert answer.status_code == 412
    assert "Nothing was undone: the site file was changed since." in Screen(answer.text).text
    assert house.site_path.read_text(encoding="utf-8") == text


def test_german(house):
    """Trying and what was written are said in German, with decimal commas."""
    german = {"accept": "text/html", "accept-language": "de"}
    text = Screen(house.ask("GET", TRIED.format(1), headers=german).text).text
    assert "Vorschlag 1 für boathouse." in text
    assert re.search(r"jetzt \d+,\d\d V", text)
    send(house, apply_form(house))
    text = Screen(house.ask("GET", "/cables", headers=german).text).text
    assert "In die Gartendatei eingetragen" in text
    assert not re.search(r"\d\.\d\d V", text)


RING = line() + piece("boathouse", "jetty 6", "20 ft")
BAD_RING = line("300 ft", "16 AWG") + piece("boathouse", "jetty 6", "300 ft", "18 AWG")
COMMONS = line("200 ft", more="tap = 13\ncommon = 2") + piece(
    "boathouse", "gate", "200 ft", more="common = 1"
)
GATE = '[[zones.fixtures]]\nkind = "spot"\ncount = 1\nwatts = 90\nvolts = [11.0, 15.0]\nnode = "gate"\n'
MANY = LAMPS.replace("count = 6", "count = 200").replace("watts = 9", "watts = 2")
GARDENS = {
    "a ring": garden(cables=RING),
    "a ring that fails": garden(cables=BAD_RING, fixtures=LAMPS, more="taps = [12, 13, 14, 15]"),
    "commons": garden(cables=COMMONS, rest=GATE, more="taps = [12, 13, 14]\ncommons = 2"),
    "no cables": garden(),
    "200 lamps": garden(
        cables=line("1600 ft", "8 AWG"), fixtures=MANY, more="taps = [12, 13, 14, 15]"
    ).replace("rated_va = 200", "rated_va = 900"),
}


@pytest.mark.parametrize("name", GARDENS)
def test_every_kind_of_garden_is_shown(tmp_path, name):
    """Rings, several commons, no cables and 200 lamps: every screen comes, in at most 60 kB compressed."""
    house = PageHouse(tmp_path, site=GARDENS[name])
    [transformer] = house.get("/v1/wiring")["transformers"]
    paths = ["/cables", *(TRIED.format(each["number"]) for each in proposals_of(house))]
    for path in paths:
        answer = house.ask("GET", path, headers={"accept": "text/html"})
        assert answer.status_code == 200, Screen(answer.text).text
        assert len(gzip.compress(answer.content)) <= 60_000
    seen = screen(house, "/cables").text
    for circuit in transformer["circuits"]:
        for light in circuit["lights"]:
            assert light["node"] is None or light["node"] in seen
            assert light["volts"] is None or f"{light['volts']:.2f} V" in seen
    if name == "commons":
        assert "tap, common 2" in seen
    house.close()


def test_lamps_that_move_to_a_second_transformer_say_so():
    """Where a proposal adds a transformer, the lamps that go to it are not given volts of the old one."""
    cables = line("190 ft", "14 AWG") + piece("boathouse", "gate", "40 ft")
    site = parse_site(garden(cables=cables, fixtures=LAMPS, rest=GATE), "site.toml").site
    [report] = report_site(site)
    moved = AddTransformer(like="boathouse", rated_va=150, tap_v=14, nodes=("gate",), tables=(1,), zones=())
    networks = carry_out(report.wiring.networks, (moved,))
    inspection = inspect(networks, report.wiring.limits)
    proposal = replace(report.proposals[0], changes=(moved,), networks=networks, inspection=inspection)
    trial = try_proposal(replace(report, proposals=(proposal,)), 1, site, english(ZoneInfo("Europe/London")))
    stops = {stop.node: stop for run in trial.taps[0].runs for stop in run}
    [gate] = stops["gate"].lamps
    assert gate.after == "on the new transformer"
    assert gate.dot_after is None
    assert stops["gate"].work == ("connect it to the new transformer, 14 V tap",)
    [kept] = stops["jetty 6"].lamps
    assert re.fullmatch(r"\d+\.\d\d V", kept.after)
    assert "Mains wiring for the second transformer is for a licensed electrician." in trial.work


def test_who_may_only_read_can_try_and_not_apply(house):
    """A device with the scope “read” sees what a proposal does, has no button for it, and is refused."""
    with serving(house.make_app) as server:
        phone = Phone(server)
        phone.ask("POST", "/sign-in", {"to": "/", "code": code(server, scope="read"), "name": "hall tablet"})
        seen = Screen(phone.ask("GET", TRIED.format(1))[2])
        assert "Then 6 of 6 lamps" in seen.text
        assert {each["action"] for each in seen.forms} == {"/language", "/sign-out"}
        fields = {**seen.form("/sign-out")["fields"], "transformer": "boathouse", "tag": "x"}
        assert phone.ask("POST", "/cables/proposals/1", fields)[0] == 403
        assert phone.ask("POST", "/cables", {**fields, "change": "x"})[0] == 403
    assert house.site_path.read_text(encoding="utf-8") == FAILING
