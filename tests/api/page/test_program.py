"""One zone's program, changed as a browser without scripts does it."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from tests.api.page.conftest import PageHouse
from tests.api.page.screens import Screen, screen, send
from tests.api.stand_in import SITE

PATH = "/programs/jetty"
SAVE = ("do", "save")
SEE = f"{PATH}/preview"


def put(house, *program, **more):
    body = {"program": list(program), **more}
    answer = house.ask("PUT", "/v1/zones/jetty/program", json=body)
    assert answer.status_code == 200, answer.text


def program(house, zone="jetty"):
    return [str(span) for span in house.gateway.site.zone(zone).program]


def special_nights(house):
    return [
        (str(each.nights), [str(span) for span in each.program])
        for each in house.gateway.site.zone("jetty").special_nights
    ]


def blanks(**filled):
    return {f"p0s0-{name.replace('_', '-')}": value for name, value in filled.items()}


def press(house, form, do, **fields):
    """Press a button that draws the form anew, and give the form as it is then."""
    answer = send(house, form, ("do", do), fields=fields)
    assert answer.status_code == 200, answer.text
    return Screen(answer.text).form(PATH)


def see(house, form, **fields):
    answer = send(house, {**form, "action": SEE}, fields=fields)
    assert answer.status_code == 200, answer.text
    return Screen(answer.text)


def test_a_sentence_is_filled_in_and_saved(house):
    """The site file has the new line, and its comments; the zone follows it at once."""
    form = screen(house, PATH).form(PATH)
    answer = send(house, form, SAVE, fields=blanks(end="time", end_at="21:25"))
    assert (answer.status_code, answer.headers["location"]) == (303, "/programs#jetty")
    assert 'program = ["dusk to 21:25"]  # as every neighbour' in house.site_path.read_text()
    assert special_nights(house) == [("Fri, Sat", ["dusk to 01:30"])]
    assert not house.gateway.status.zones[0].lit


def test_the_line_is_typed_and_saved(house):
    """What the language can say can be typed; capitals and blanks are tidied."""
    form = screen(house, PATH).form(PATH)
    assert send(house, form, SAVE, fields=blanks(text="Sunset + 20m  to 23:30")).status_code == 303
    assert program(house) == ["sunset+20m to 23:30"]


def test_a_mistake_is_shown_at_its_column_and_everything_else_stays_as_typed(house):
    """The word is marked, what was expected is said, and nothing is saved."""
    form = screen(house, PATH).form(PATH)
    fields = blanks(text="dusk til late") | {"p1-day0": "yes", "p1s0-end": "for", "p1s0-lasts": "5h"}
    answer = send(house, form, SAVE, fields=fields)
    assert answer.status_code == 422
    assert '<code lang="en">dusk <mark>til</mark> late</code>' in answer.text
    assert "“til” is not valid here: write “to” (column 6)." in Screen(answer.text).text
    again = Screen(answer.text).form(PATH)
    assert again["fields"]["p0s0-text"] == "dusk til late"
    assert again["fields"]["p1-day0"] == "yes"
    assert again["fields"]["p1s0-text"] == "dusk for 5h"
    assert program(house) == ["dusk to midnight"]
    assert send(house, again, SAVE, fields=blanks(text="dusk to 23:00")).status_code == 303
    assert program(house) == ["dusk to 23:00"]
    assert special_nights(house) == [("Mon, Fri, Sat", ["dusk for 5h"])]


def test_a_time_left_out_is_asked_for(house):
    """An empty blank is named as such."""
    form = screen(house, PATH).form(PATH)
    answer = send(house, form, SAVE, fields=blanks(end="time", end_at=""))
    assert answer.status_code == 422
    assert "Fill in the time." in Screen(answer.text).text


def test_sentence_and_line_that_differ_are_not_saved_unseen(house):
    """The line counts, is shown, and is saved by the next press."""
    form = screen(house, PATH).form(PATH)
    fields = blanks(end="time", end_at="22:00", text="dusk to 23:00")
    answer = send(house, form, SAVE, fields=fields)
    assert answer.status_code == 422
    assert "were both changed. The line counts" in Screen(answer.text).text
    assert program(house) == ["dusk to midnight"]
    assert send(house, Screen(answer.text).form(PATH), SAVE).status_code == 303
    assert program(house) == ["dusk to 23:00"]


def test_several_stretches_and_special_nights_are_added_and_removed(house):
    """Each button draws the form anew, with what was typed; only saving changes anything."""
    form = screen(house, PATH).form(PATH)
    form = press(house, form, "add-0", **blanks(end="time", end_at="23:00"))
    form = press(house, form, "nights")
    form = press(house, form, "cut-2-0", **{"p2-nights": "date", "p2-date": "2027-12-31"})
    form = press(house, form, "up-2")
    assert program(house) == ["dusk to midnight"]
    assert send(house, form, SAVE).status_code == 303
    assert program(house) == ["dusk to 23:00", "05:30 to dawn"]
    assert special_nights(house) == [("2027-12-31", []), ("Fri, Sat", ["dusk to 01:30"])]
    form = press(house, screen(house, PATH).form(PATH), "drop-1")
    send(house, press(house, form, "cut-0-0"), SAVE)
    assert program(house) == ["05:30 to dawn"]
    assert special_nights(house) == [("Fri, Sat", ["dusk to 01:30"])]


def test_days_and_dates_left_out_are_asked_for(house):
    """Special nights on no day at all are not saved."""
    form = screen(house, PATH).form(PATH)
    days = [name for name in form["fields"] if name.startswith("p1-day")]
    ticked = {**form, "fields": {name: value for name, value in form["fields"].items() if name not in days}}
    assert "Choose at least one day." in Screen(send(house, ticked, SAVE).text).text
    answer = send(house, form, SAVE, fields={"p1-nights": "date"})
    assert "Fill in the date." in Screen(answer.text).text
    answer = send(
        house, form, SAVE, fields={"p1-nights": "stretch", "p1-first-day": "31", "p1-first-month": "11"}
    )
    assert "write a day that exists (that month ends on the 30th)" in Screen(answer.text).text
    assert special_nights(house) == [("Fri, Sat", ["dusk to 01:30"])]


def test_before_it_is_saved_one_sees_what_it_would_do(house):
    """Tonight, the shortest and the longest night, hours, energy and money beside the present program."""
    form = screen(house, PATH).form(PATH)
    seen = see(house, form, **blanks(end="time", end_at="23:00")).text
    assert "Tonight, Monday 21 June 20:56 to 23:00; now: 20:56 to midnight" in seen
    # The solstices of 2027 in New England: 21 June, 10:11 local time, and 21 December, 21:42.
    assert "The shortest night, Monday 21 June" in seen
    longest = house.get("/v1/nights", params={"from": "2027-12-21", "to": "2027-12-21", "zone": "jetty"})
    on_utc = datetime.fromisoformat(longest["nights"][0]["windows"][0]["on"])
    on = f"{on_utc.astimezone(ZoneInfo('America/New_York')):%H:%M}"
    assert f"The longest night, Tuesday 21 December {on} to 23:00; now: {on} to midnight" in seen
    year = house.get("/v1/year", params={"zone": "jetty", "program": "dusk to 23:00"})
    lit_h, more_h = year["others"][0]["total"]["lit_h"], year["others"][0]["change"]["lit_h"]
    assert f"it would be lit for {lit_h:,.0f} hours, {-more_h:,.0f} h less than now." in seen
    assert f"That is about {-year['others'][0]['change']['meter_kwh']:.1f} kWh less." in seen
    assert program(house) == ["dusk to midnight"]


def test_what_a_program_costs_is_in_the_tariffs_currency(tmp_path):
    """More light costs more, less saves; the sums are those of the forecast of all zones."""
    site = SITE.replace("[relays]", '[tariff]\ncurrency = "USD"\nper_kwh = 0.29\n\n[relays]')
    house = PageHouse(tmp_path, site=site)
    form = screen(house, PATH).form(PATH)
    for end, said in (("22:00", "It would save about {} USD"), ("02:00", "It would cost about {} USD more")):
        year = house.get("/v1/year", params={"program": f"dusk to {end}", "zone": "jetty"})
        cost = abs(year["others"][0]["change"]["cost"])
        seen = see(house, form, **blanks(end="time", end_at=end)).text.replace("\N{NO-BREAK SPACE}", " ")
        assert said.format(f"{cost:.2f}") in seen
    house.close()


def test_a_night_that_stays_dark_says_why(house):
    """In June dusk is after half past eight."""
    form = screen(house, PATH).form(PATH)
    seen = see(house, form, **blanks(end="time", end_at="20:30")).text
    why = "(it would begin at 20:56, but end at 20:30 already)"
    assert f"Tonight, Monday 21 June dark; now: 20:56 to midnight {why}" in seen
    seen = see(house, form, **blanks(text="20:00 to 20:30, while dark")).text
    assert (
        "Tonight, Monday 21 June dark; now: 20:56 to midnight (it is never dark from 20:00 to 20:30)" in seen
    )
    seen = see(house, form, **blanks(text="sunrise+10h to midnight")).text
    assert "(it would begin at 15:11 tomorrow, but end at midnight already)" in seen
    seen = see(house, form, **blanks(text="sunrise+10h for 1h")).text
    assert "(from 15:11 tomorrow to 16:11 tomorrow is not in this night)" in seen


def test_the_place_of_a_special_night_shows(house):
    """Where one decides a night that is looked at, it is named."""
    form = screen(house, PATH).form(PATH)
    seen = see(house, form, **{"p1-nights": "stretch", "p1-first-month": "06", "p1-last-month": "07"}).text
    assert "Tonight, Monday 21 June 20:56 to 01:30 (from 20 June to 6 July of every year)" in seen


def test_it_can_be_seen_in_the_polar_summer(tmp_path):
    """Where the sun does not set, the night is dark by its program and says why; nothing fails."""
    site = SITE.replace("latitude = 41.4901", "latitude = 69.65")
    house = PageHouse(tmp_path, site=site)
    seen = see(house, screen(house, PATH).form(PATH)).text
    assert (
        "The shortest night, Monday 21 June dark (the sun does not sink deep enough for dusk and dawn)"
        in seen
    )
    seen = see(house, screen(house, PATH).form(PATH), **blanks(begin="sunset")).text
    assert "The shortest night, Monday 21 June dark (the sun does not set)" in seen
    assert "In a year it would be lit for" in seen
    house.close()


def test_a_mistake_has_no_preview(house):
    """What means nothing yet does nothing, and keeps what was typed."""
    form = screen(house, PATH).form(PATH)
    seen = see(house, form, **blanks(text="dusk to"))
    assert "In a year" not in seen.text
    assert seen.form(PATH)["fields"]["p0s0-text"] == "dusk to"


def test_two_phones_cannot_overwrite_each_other(house):
    """The second sees both versions and whose the other is; nothing is lost, whichever it chooses."""
    form = screen(house, PATH).form(PATH)
    put(house, "dusk to 22:00")
    answer = send(house, form, SAVE, fields=blanks(end="time", end_at="23:00"))
    assert answer.status_code == 412
    seen = Screen(answer.text)
    assert "changed the program of Jetty and steps meanwhile. Yours is not saved yet." in seen.text
    assert "As it is now Every night from dusk until 22:00. On Friday" in seen.text
    assert "As you have it Every night from dusk until 23:00. On Friday" in seen.text
    assert program(house) == ["dusk to 22:00"]
    further = send(house, seen.form(PATH, 1), ("do", "open"))
    assert Screen(further.text).form(PATH)["fields"]["p0s0-text"] == "dusk to 23:00"
    assert send(house, seen.form(PATH, 0), SAVE).status_code == 303
    assert program(house) == ["dusk to 23:00"]
    assert special_nights(house) == [("Fri, Sat", ["dusk to 01:30"])]


def test_two_phones_that_want_the_same_are_not_asked(house):
    """Where the other made the same change there is nothing to choose."""
    form = screen(house, PATH).form(PATH)
    put(house, "dusk to 22:00")
    assert send(house, form, SAVE, fields=blanks(end="time", end_at="22:00")).status_code == 303


def test_a_site_file_that_would_not_be_valid_keeps_the_form(house):
    """What only the whole file can refuse is said, and what was typed stays."""
    form = screen(house, PATH).form(PATH)
    house.site_path.write_text(house.site_path.read_text().replace("pin = 27", "pin = 17"))
    answer = send(house, form, SAVE, fields=blanks(end="time", end_at="23:00"))
    assert answer.status_code == 422
    assert "This was not saved." in Screen(answer.text).text
    assert Screen(answer.text).form(PATH)["fields"]["p0s0-end-at"] == "23:00"


def test_who_may_only_read_reads(house):
    """A device without control sees the program, and no form."""
    code = house.ask("POST", "/v1/access/codes", json={"scope": "read"}).json()["code"]
    token = house.ask("POST", "/v1/access/tokens", json={"code": code, "name": "hall"}).json()["token"]
    seen = screen(house, PATH, headers={"authorization": f"Bearer {token}"})
    assert "Every night from dusk until midnight. On Friday and Saturday: from dusk until 01:30." in seen.text
    assert [each["action"] for each in seen.forms] == ["/language"]


@pytest.mark.parametrize("do", ["add-7", "dance"])
def test_a_form_that_is_not_ours_is_refused(house, do):
    """Another word, or a place that is not there, is told with what to do."""
    answer = send(house, screen(house, PATH).form(PATH), ("do", do))
    assert answer.status_code == 422
    assert "load the page again" in Screen(answer.text).text


def test_an_unknown_zone_is_told(house):
    """Its address leads to a screen that names the zones."""
    answer = house.ask("GET", "/programs/pier", headers={"accept": "text/html"})
    assert answer.status_code == 404
    assert "There is no zone “pier”" in Screen(answer.text).text


def everywhere(house, form, **fields):
    answer = send(house, form, ("do", "everywhere"), fields=fields)
    assert answer.status_code == 200, answer.text
    return Screen(answer.text)


def test_one_program_for_every_zone_in_one_change(house):
    """What each zone would lose is shown first; all are written together, and undone together."""
    form = screen(house, PATH).form(PATH)
    seen = everywhere(house, form, **blanks(end="time", end_at="23:30"))
    assert "orchard Now: Every night from 21:15 until 23:45." in seen.text
    assert program(house) == ["dusk to midnight"]
    assert send(house, seen.form(f"{PATH}/everywhere")).status_code == 303
    assert program(house) == program(house, "orchard") == ["dusk to 23:30"]
    listed = screen(house, "/programs")
    assert "changed the program of every zone at 21:30. Before, each had its own." in listed.text
    send(house, listed.form("/programs"))
    assert (program(house), program(house, "orchard")) == (["dusk to midnight"], ["21:15 to 23:45"])
    assert special_nights(house) == [("Fri, Sat", ["dusk to 01:30"])]
    assert house.gateway.site.zone("orchard").special_nights == ()


def test_only_the_zones_that_are_ticked_get_it(house):
    """A zone that is not ticked keeps its own; without any nothing is written."""
    seen = everywhere(house, screen(house, PATH).form(PATH), **blanks(end="time", end_at="23:30"))
    form = seen.form(f"{PATH}/everywhere")
    none = {name: value for name, value in form["fields"].items() if not name.startswith("zone-")}
    answer = send(house, {**form, "fields": none})
    assert answer.status_code == 422
    assert "Choose at least one zone." in Screen(answer.text).text
    send(house, {**form, "fields": none | {"zone-jetty": "yes"}})
    assert (program(house), program(house, "orchard")) == (["dusk to 23:30"], ["21:15 to 23:45"])


def test_a_zone_that_has_it_already_is_not_asked_about(house):
    """There is nothing to change in it."""
    put(house, "21:15 to 23:45", special_nights=[])
    seen = everywhere(house, screen(house, PATH).form(PATH))
    assert "Jetty and steps It has this program already. orchard It has this program already." in seen.text


def test_a_zone_out_of_service_is_not_ticked(tmp_path):
    """It gets the program only if somebody ticks it."""
    house = PageHouse(tmp_path, site=SITE.replace("pin = 27", 'pin = 27\nout_of_service = "felled"'))
    form = everywhere(house, screen(house, PATH).form(PATH)).form(f"{PATH}/everywhere")
    assert "zone-orchard" not in form["fields"]
    send(house, form, fields={"zone-orchard": "yes"})
    assert program(house, "orchard") == ["dusk to midnight"]
    house.close()


def test_a_zone_that_was_changed_meanwhile_is_looked_at_again(house):
    """Nothing is written to any zone before a person has seen what would be lost."""
    seen = everywhere(house, screen(house, "/programs/orchard").form("/programs/orchard"))
    form = seen.form("/programs/orchard/everywhere")
    put(house, "dusk to 22:00")
    answer = send(house, form)
    assert answer.status_code == 412
    again = Screen(answer.text)
    assert "Nothing was saved: somebody changed a program meanwhile." in again.text
    assert "Now: Every night from dusk until 22:00." in again.text
    assert program(house) == ["dusk to 22:00"]
    assert send(house, again.form("/programs/orchard/everywhere")).status_code == 303
    assert program(house) == ["21:15 to 23:45"]


def test_it_can_be_changed_further_before(house):
    """The way back to the form keeps what was filled in."""
    seen = everywhere(house, screen(house, PATH).form(PATH), **blanks(end="time", end_at="23:30"))
    form = {**seen.form(f"{PATH}/everywhere"), "action": PATH}
    answer = send(house, form, ("do", "open"))
    assert Screen(answer.text).form(PATH)["fields"]["p0s0-text"] == "dusk to 23:30"


def test_what_it_would_do_is_long_work(house):
    """A preview waits for its turn with other long questions, and holds up no short one."""
    long = [route.path for route in house.app.routes if getattr(route, "takes_long", False)]
    assert "/programs/{zone_id}/preview" in long
    assert "/programs/{zone_id}" not in long
