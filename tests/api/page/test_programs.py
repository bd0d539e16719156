"""The programs in words, and undo, as a browser without scripts has them."""

from config.file.loader import load_site
from tests.api.page.conftest import PageHouse
from tests.api.page.screens import Screen, screen, send
from tests.api.stand_in import SITE


def put(house, zone, *program, **more):
    answer = house.ask("PUT", f"/v1/zones/{zone}/program", json={"program": list(program), **more})
    assert answer.status_code == 200, answer.text


def test_every_program_is_a_sentence(house):
    """Each zone with what it does every night, on special nights, and tonight."""
    seen = screen(house, "/programs")
    assert "Tonight the garden is lit from 20:56 to midnight." in seen.text
    assert "Jetty and steps Every night from dusk until midnight." in seen.text
    assert "On Friday and Saturday: from dusk until 01:30." in seen.text
    assert "Tonight: 20:56 to midnight." in seen.text
    assert "orchard Every night from 21:15 until 23:45." in seen.text


def test_a_zone_that_stays_dark_says_why(tmp_path):
    """A program that gives no light tonight is told with its reason."""
    house = PageHouse(tmp_path, site=SITE.replace("dusk to midnight", "dusk to 20:30"))
    seen = screen(house, "/programs")
    assert "Tonight: dark. (it would begin at 20:56, but end at 20:30 already)" in seen.text
    assert "1 of 2 zones have light in their programs." in seen.text
    house.close()


def test_the_last_change_is_undone_and_says_whose_it_was(house):
    """One button brings the program back that was before, with its special nights and the file's comments."""
    before = house.site_path.read_bytes()
    put(house, "jetty", "dusk to 22:00", special_nights=[])
    seen = screen(house, "/programs")
    assert "changed the program of Jetty and steps at 21:30. Before: Every night from dusk until" in seen.text
    assert "On Friday and Saturday: from dusk until 01:30." in seen.text
    answer = send(house, seen.form("/programs"))
    assert (answer.status_code, answer.headers["location"]) == (303, "/programs")
    assert b"  # as every neighbour" in house.site_path.read_bytes()
    assert before.count(b"dusk to 01:30") == house.site_path.read_bytes().count(b"dusk to 01:30")
    seen = screen(house, "/programs")
    assert "Jetty and steps Every night from dusk until midnight. On Friday and Saturday" in seen.text
    # What was undone can be had again.
    send(house, seen.form("/programs"))
    assert "Jetty and steps Every night from dusk until 22:00." in screen(house, "/programs").text


def test_without_a_change_there_is_nothing_to_undo(house):
    """Nothing is offered where nobody changed a program."""
    assert [each["action"] for each in screen(house, "/programs").forms] == ["/language"]


def test_undo_is_of_the_change_that_was_seen(house):
    """What somebody else changed meanwhile is told, and not undone."""
    put(house, "jetty", "dusk to 22:00")
    form = screen(house, "/programs").form("/programs")
    house.pass_time(60)
    put(house, "orchard", "dusk to 23:00")
    answer = send(house, form)
    assert answer.status_code == 412
    assert "Nothing was undone: somebody changed a program meanwhile." in Screen(answer.text).text
    assert [str(zone.program[0]) for zone in house.gateway.site.zones] == ["dusk to 22:00", "dusk to 23:00"]


def test_undo_survives_a_restart(tmp_path):
    """The journal knows what was before also after Leerie was started again."""
    house = PageHouse(tmp_path)
    put(house, "orchard", "dusk to 23:00")
    house.pass_time(60)
    text = house.site_path.read_text()
    house.close()
    house = PageHouse(tmp_path, site=text, boot_id="another")
    house.pass_time(60)
    seen = screen(house, "/programs")
    assert "changed the program of orchard at 21:30. Before: Every night from 21:15 until 23:45." in seen.text
    send(house, seen.form("/programs"))
    assert [str(span) for span in house.gateway.site.zone("orchard").program] == ["21:15 to 23:45"]
    house.close()


def test_who_may_only_read_gets_no_button(house):
    """A device without control reads the programs and cannot undo."""
    put(house, "orchard", "dusk to 23:00")
    reader = house.ask("POST", "/v1/access/codes", json={"scope": "read"}).json()
    token = house.ask("POST", "/v1/access/tokens", json={"code": reader["code"], "name": "hall"}).json()
    seen = screen(house, "/programs", headers={"authorization": f"Bearer {token['token']}"})
    assert "changed the program of orchard" in seen.text
    assert "/programs" not in [each["action"] for each in seen.forms]


def test_a_change_by_hand_is_told_as_such(house):
    """Whoever edited the site file has no name; the change is undone all the same."""
    text = house.site_path.read_text().replace("21:15 to 23:45", "21:15 to 22:45")
    house.site_path.write_text(text)
    site = load_site(house.site_path).site
    house.loop.call(lambda keeper: keeper.change_site(site, words="the site file was read again"))
    seen = screen(house, "/programs")
    assert "The program of orchard was changed in the site file at 21:30." in seen.text
    send(house, seen.form("/programs"))
    assert 'program = ["21:15 to 23:45"]' in house.site_path.read_text()


def test_what_is_no_change_of_a_program_is_not_undone(house):
    """Another name, another pin, or a zone that is new, leave the last change of a program as it was."""
    put(house, "orchard", "dusk to 23:00")
    text = house.site_path.read_text()
    house.pass_time(60)
    house.site_path.write_text(
        text.replace("Jetty and steps", "The jetty").replace(
            "pin = 27", 'pin = 26\nout_of_service = "felled"'
        )
        + '\n[[zones]]\nid = "gate"\npin = 5\nprogram = []\n'
    )
    site = load_site(house.site_path).site
    house.loop.call(lambda keeper: keeper.change_site(site, words="the site file was read again"))
    seen = screen(house, "/programs").text
    assert "changed the program of orchard at 21:30. Before: Every night from 21:15 until 23:45." in seen


def test_a_zone_that_is_called_otherwise_now_keeps_its_last_change(house):
    """Its id in the journal is an earlier one."""
    put(house, "orchard", "dusk to 23:00")
    text = house.site_path.read_text().replace('id = "orchard"', 'id = "trees"\nformerly = ["orchard"]')
    house.site_path.write_text(text)
    site = load_site(house.site_path).site
    house.loop.call(lambda keeper: keeper.change_site(site, words="the site file was read again"))
    seen = screen(house, "/programs")
    assert "changed the program of trees at 21:30" in seen.text
    send(house, seen.form("/programs"))
    assert [str(span) for span in house.gateway.site.zone("trees").program] == ["21:15 to 23:45"]


def test_a_journal_that_cannot_be_read_leaves_what_is_in_memory(house):
    """Changes since the start can be undone without it; where there is none, nothing is offered."""
    house.gateway.reader.path = house.site_path.parent / "nowhere"
    assert [each["action"] for each in screen(house, "/programs").forms] == ["/language"]
    put(house, "orchard", "dusk to 23:00")
    assert "/programs" in [each["action"] for each in screen(house, "/programs").forms]
