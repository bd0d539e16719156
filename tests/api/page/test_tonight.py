"""The first screen, as a browser without scripts has it."""

import errno

import pytest

from tests.api.page.conftest import PageHouse
from tests.api.page.screens import Screen, screen, send
from tests.api.stand_in import SITE


def test_one_look_says_what_is_lit_and_until_when(house):
    """Whoever reads only the first sentence knows enough; dusk and midnight are named.

    Skyfield with DE421 has sunset at 20:22:34, dusk at 20:56:37, dawn at 04:37:43 and sunrise at 05:11:47.
    """
    seen = screen(house)
    assert "Both zones are lit. The last one goes dark at midnight." in seen.text
    assert "Jetty and steps lit since 20:56 (dusk); until midnight" in seen.text
    assert "orchard lit since 21:15; until 23:45" in seen.text
    assert "Sunset 20:22, dusk 20:56, dawn 04:37, sunrise 05:11." in seen.text


def test_zones_that_end_at_the_same_time_are_told_as_one(tmp_path):
    """Where both go dark at midnight there is no last one."""
    house = PageHouse(tmp_path, site=SITE.replace("21:15 to 23:45", "dusk to midnight"))
    assert "Both zones are lit. They go dark at midnight." in screen(house).text


def test_it_speaks_german(house):
    """The same in German, with its own order of a date."""
    seen = screen(house, headers={"accept-language": "de-DE"})
    assert "Beide Zonen leuchten. Die letzte geht um Mitternacht aus." in seen.text
    assert "Montag, 21. Juni, 21:30" in seen.text


def test_it_is_written_as_in_america(house):
    """A browser from there gets twelve hours, and the month first."""
    seen = screen(house, headers={"accept-language": "en-US"})
    assert "Monday, June 21, 9:30 PM" in seen.text


def test_one_touch_puts_a_zone_out_and_undo_lights_it_again(house):
    """The only likely thing is one button, and what was asked for can be undone."""
    form = screen(house).form("/zones/jetty/light")
    assert form["buttons"] == [("light", "off")]
    answer = send(house, form, form["buttons"][0])
    assert (answer.status_code, answer.headers["location"]) == (303, "/#jetty")
    seen = screen(house)
    assert "One zone is lit. It goes dark at 23:45." in seen.text
    assert "put out by this board at 21:30; back to its program at midnight" in seen.text
    assert house.gateway.status.zones[0].lit is False
    assert send(house, seen.form("/zones/jetty/undo")).status_code == 303
    assert "Jetty and steps lit since 21:30; until midnight" in screen(house).text


@pytest.mark.parametrize(
    ("lasts", "until"),
    [("30m", "22:00"), ("4h", "01:30"), ("midnight", "midnight"), ("dawn", "04:37")],
)
def test_for_now_lasts_as_long_as_was_chosen(house, lasts, until):
    """The length is chosen beside the button."""
    form = screen(house).form("/zones/orchard/light", 1)
    send(house, form, ("light", "off"), fields={"for": lasts})
    assert f"back to its program at {until}" in screen(house).text


def test_everything_at_once(house):
    """All zones go out by one button, and all follow their programs again by another."""
    form = screen(house).form("/light")
    send(house, form, ("light", "off"), fields={"for": "1h"})
    seen = screen(house)
    assert "All is dark." in seen.text
    assert "is the next to be lit, at 22:30" in seen.text
    send(house, seen.form("/light"), ("light", "program"))
    assert "Both zones are lit." in screen(house).text


def test_a_zone_out_of_service_says_why_and_cannot_be_switched(tmp_path):
    """It has no button, and all zones at once leave it alone."""
    site = SITE.replace("pin = 27", 'pin = 27\nout_of_service = "the post was felled"')
    house = PageHouse(tmp_path, site=site)
    seen = screen(house)
    assert "out of service: the post was felled" in seen.text
    assert not [each for each in seen.forms if "orchard" in each["action"]]
    house.close()


def test_a_form_needs_the_token_of_its_page(house):
    """Without it, or with another, nothing is changed."""
    form = screen(house).form("/zones/jetty/light")
    for token in ("", "0" * 64):
        answer = send(house, form, ("light", "off"), fields={"form_token": token})
        assert answer.status_code == 403
        assert "load the page again" in Screen(answer.text).text
    assert house.gateway.status.zones[0].lit


@pytest.mark.parametrize(
    ("fields", "status"),
    [({"light": "blue"}, 422), ({"light": "on", "for": "ages"}, 422), ({}, 422)],
)
def test_a_form_that_is_not_ours_is_refused_with_words(house, fields, status):
    """What no form of ours sends is refused, on a screen."""
    form = screen(house).form("/zones/jetty/light")
    answer = send(house, form, fields=fields)
    assert answer.status_code == status
    assert "That did not work." in Screen(answer.text).text


def test_an_unknown_zone_is_a_screen_too(house):
    """A zone that is gone meanwhile is named."""
    form = screen(house).form("/zones/jetty/light")
    answer = send(house, {**form, "action": "/zones/pier/light"}, ("light", "off"))
    assert answer.status_code == 404
    assert "There is no zone “pier”" in Screen(answer.text).text


def test_lights_that_are_held_say_so_and_a_person_can_vouch_for_the_clock(tmp_path):
    """The notice says what the clock says, and its button makes it trusted."""
    house = PageHouse(tmp_path, trusted=False, trust="nobody has set the clock")
    seen = screen(house)
    assert "The lights are held." in seen.text
    assert "It says 21:30 on Monday 21 June 2027." in seen.text
    send(house, seen.form("/zones/jetty/light"), ("light", "on"))
    assert "lit by this board at 21:30; for another 4 hours" in screen(house).text
    send(house, screen(house).form("/zones/jetty/undo"))
    assert send(house, seen.form("/clock")).status_code == 303
    assert "Both zones are lit." in screen(house).text
    house.close()


def test_a_relay_that_fails_is_told_where_it_matters(house):
    """Its zone is named, with what to check and the fault's own words; the other zone goes on."""
    device = next(iter(house.relays._devices.values()))
    device.pin._change_state = lambda *_: (_ for _ in ()).throw(OSError(errno.EIO, "no answer"))
    house.pass_time(3 * 3600)
    seen = screen(house)
    assert "Jetty and steps: its relay does not do as it is told, since 00:30. Check its wire" in seen.text
    assert "Pin 17 cannot be switched" in seen.text
    assert "Jetty and steps its relay does not do as it is told, since 00:30; see above" in seen.text
    assert "orchard dark since 23:45; lit again at 21:15" in seen.text
    del device.pin._change_state


def test_a_transformer_with_too_much_on_it_is_told(tmp_path):
    """More than 80 % of its rating is a warning, with the figures."""
    house = PageHouse(tmp_path, site=SITE.replace("watts = 4.5", "watts = 30"))
    assert "The transformer boathouse carries 180 W, 90 % of its 200 VA." in screen(house).text
    house.close()


def test_what_runs_and_what_is_to_come_is_drawn(house):
    """The picture has filled and outlined bars, the place of now, and its words."""
    response = house.ask("GET", "/", headers={"accept": "text/html"})
    picture = response.text[response.text.index("<svg") : response.text.index("</svg>")]
    assert picture.count('class="ran"') == 2
    assert picture.count('class="to-come"') == 2
    assert 'class="now"' in picture


def test_a_screen_is_small_and_compressed(house):
    """With styles and scripts the first screen is at most 60 kB as it is sent."""
    response = house.ask("GET", "/", headers={"accept-encoding": "gzip"})
    assert response.headers["content-encoding"] == "gzip"
    names = [each.split('"')[0] for each in response.text.split("/static/")[1:]]
    whole = int(response.headers["content-length"])
    for name in names:
        answer = house.ask("GET", f"/static/{name}", headers={"accept-encoding": "gzip"})
        assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
        whole += int(answer.headers["content-length"])
        plain = house.ask("GET", f"/static/{name}", headers={"accept-encoding": "identity"})
        assert "content-encoding" not in plain.headers
        assert plain.content == answer.content
    assert whole < 60_000


def test_nothing_is_loaded_from_elsewhere(house):
    """The screen names no other host, and its policy lets none in."""
    response = house.ask("GET", "/", headers={"accept": "text/html"})
    assert "http://" not in response.text.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in response.text
    policy = response.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
