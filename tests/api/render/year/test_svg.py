"""The year's picture: well made, and its boxes where the sun, the clock and the journal put them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest

from api.render.words import english
from api.render.year.svg import draw_future, lay_out_past, write_svg
from config.file.loader import example_path, load_site
from controller.forecast.year import YearQuery, forecast_year
from controller.history.account import light_of_past
from controller.history.nights import bounds_of
from controller.history.site_history import SiteHistory
from controller.planning.planner import Planner
from tests.api.markup import Drawing, boxes
from tests.controller.board import Board
from tests.reference import rows
from tests.sites import site, zone

LIT, DARK, DAY = "#ffc93c", "#232f4f", "#f6efdc"
NEW_YEAR = date(2027, 1, 1)


def future(here, first=NEW_YEAR, **more):
    """The picture of the nights to come of a site."""
    return Drawing(draw_future(forecast_year(Planner(here), YearQuery(first=first)), **more))


def columns(path):
    """Hours by column: a list of (from, to) for each night."""
    found: dict[int, list[tuple[float, float]]] = {}
    for begins, ends, from_h, to_h in boxes(path):
        for column in range(begins, ends):
            found.setdefault(column, []).append((from_h, to_h))
    return found


@pytest.mark.parametrize("place", ["0", "40", "60"])
def test_lit_boxes_are_the_dusks_of_the_reference(place):
    """Each night's box reaches from the dusk of season_nightly.csv to midnight, which stands at 12."""
    nightly = [row for row in rows("season_nightly.csv") if row["latitude"] == place]
    here = site(
        latitude=float(place), longitude=float(nightly[0]["longitude"]), time_zone=nightly[0]["time_zone"]
    )
    (lit,) = future(here).paths(LIT)[:1]
    found = columns(lit)
    for column, row in enumerate(nightly):
        dark_h = float(row["hours_civil_dusk_to_midnight"])
        if dark_h == 0:
            assert column not in found
            continue
        ((from_h, to_h),) = found[column]
        assert to_h == 12
        # To 20 s, at 60 N to 2 min, and heights are drawn to the hundredth of an hour.
        assert from_h == pytest.approx(12 - dark_h, abs=(120 if place == "60" else 20) / 3600 + 0.0051)


def test_the_sky_leaves_no_gap_and_no_overlap():
    """In every column day and twilight lie side by side, and what is left is lit from dusk to dawn."""
    picture = future(site(zone("jetty", "dusk to dawn")))
    assert picture.paths(DARK) == ["M0 0H365V24H0z"]  # behind all the rest
    (day,), (twilight,), (lit,) = (picture.paths(ink) for ink in (DAY, "#93a6c6", LIT))
    light = [columns(path) for path in (day, twilight, lit)]
    for column in range(365):
        stretches = sorted(stretch for found in light for stretch in found[column])
        assert stretches[0][0] == 0
        assert stretches[-1][1] == 24
        gaps = [after[0] - before[1] for before, after in pairwise(stretches)]
        # Only where the clocks skip an hour is there none.
        skipped = column == (date(2027, 3, 27) - NEW_YEAR).days
        assert sum(gaps) == pytest.approx(0, abs=1e-9) or skipped


def test_clock_changes_are_steps_and_are_named():
    """London's clocks change on 28 March and 31 October 2027; dusk jumps by an hour, and both are told."""
    picture = future(site(zone("jetty", "dusk to 02:00")))
    words = picture.words()
    assert "clocks forward 28 Mar" in words
    assert "clocks back 31 Oct" in words
    found = columns(picture.paths(LIT)[0])
    for day, by_h in ((date(2027, 3, 28), 1), (date(2027, 10, 31), -1)):
        column = (day - NEW_YEAR).days
        assert found[column][0][0] - found[column - 1][0][0] == pytest.approx(by_h, abs=0.05)


def test_months_are_named_where_they_begin():
    """Twelve months from New Year on; a picture that begins within a month leaves that one out."""
    names = ["Jan 2027", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
    assert [word for word in future(site()).words() if word in names] == names
    late = future(site(), date(2027, 6, 15)).words()
    assert [word for word in late if word in ("Jun", "Jul", "Jan 2028")] == ["Jul", "Jan 2028", "Jun"]


def test_every_zone_has_its_strip_its_name_and_its_hours():
    """Eight strips, each with a name beside it: nothing has to be told by its ink."""
    here = load_site(example_path("full-property")).site
    picture = future(here)
    words = picture.words()
    for each in here.zones:
        assert each.name in words
    assert sum("nights" in word for word in words) >= 8
    assert len(picture.paths(LIT)) == 8


def test_what_is_told_to_those_who_cannot_see_it_is_what_is_drawn():
    """Title and description name the site, the nights, the dusks, each zone and the clock changes."""
    picture = future(site())
    (title,), (told,) = picture.words("title"), picture.words("desc")
    assert title == "Tern Cottage: what will be lit, 1 January 2027 to 31 December 2027"
    assert "jetty: lit 1" in told
    assert "The clocks go forward in the night of 27 March 2027." in told
    assert picture.root.get("role") == "img"
    assert set(picture.root.get("aria-labelledby").split()) <= set(picture.ids)


def test_light_before_dark_is_hatched():
    """What is lit before dusk or after dawn stands once more under the hatching, and nothing else does."""
    picture = future(site(zone("jetty", "17:00 to 23:00")))
    (shape,) = [each for each in picture.root.iter() if each.get("id") == "year-early-1"]
    early = columns(shape.get("d"))
    assert (date(2027, 1, 15) - NEW_YEAR).days not in early
    ((from_h, to_h),) = early[(date(2027, 6, 21) - NEW_YEAR).days]
    # London's dusk of 21 June is at 22:09 local time (sun.csv knows 22:09 to within a minute for 51.5 N 0 E).
    assert (from_h, to_h) == (5, pytest.approx(10.15, abs=0.05))
    assert "before dusk or after dawn" in picture.words()
    assert "before dusk or after dawn" not in future(site()).words()


def test_the_polar_night_and_the_white_nights_are_drawn():
    """At 69.65 N there are columns all dark and columns all day, and nothing raises."""
    picture = future(site(latitude=69.65, longitude=18.96, time_zone="Europe/Oslo"))
    day = columns(min(picture.paths(DAY), key=len))
    june = (date(2027, 6, 21) - NEW_YEAR).days
    assert sum(to_h - from_h for from_h, to_h in day[june]) == 24
    assert (date(2027, 12, 21) - NEW_YEAR).days not in day


@pytest.mark.parametrize("width", [320, 619, 620, 2400])
def test_it_fits_any_width(width):
    """Nothing stands outside of the picture, from a phone to a wall."""
    here = load_site(example_path("full-property")).site
    picture = future(here, width_px=width)
    assert picture.root.get("viewBox").split()[2] == str(width)
    for each in picture.root.iter("{http://www.w3.org/2000/svg}text"):
        x = float(each.get("x"))
        assert -5 <= x <= width


def test_names_are_escaped():
    """What somebody writes into the site file stays text."""
    here = site(zone("jetty", name='<b>"Jetty" & co</b>'), name="Tern & <i>Cottage</i>")
    picture = future(here)
    assert '<b>"Jetty" & co</b>' in picture.words()
    assert picture.words("title")[0].startswith("Tern & <i>Cottage</i>: ")


def test_the_past_shows_what_ran_what_was_missed_and_now(tmp_path):
    """The night of a power cut has its light, its gap under the dots, and a line stands after tonight."""
    start = datetime(2027, 6, 21, 12, tzinfo=UTC)
    board = Board(tmp_path, site(zone("jetty", "21:00 to 01:00", rated_watts=5)), start)
    board.run_until(start + timedelta(hours=10))  # 23:00 local time
    board.cut_power(3600)
    board.run_until(start + timedelta(days=3))
    board.close()
    picture = past(board, date(2027, 6, 20), date(2027, 6, 26))
    lit = columns(picture.paths(LIT)[0])
    assert sorted(lit) == [1, 2, 3]
    assert lit[2] == lit[3] == [(9, 13)]
    (before, after) = lit[1]
    assert before[0] == 9
    assert 11 - 0.09 <= before[1] <= 11
    assert after == (12, 13)
    (shape,) = [each for each in picture.root.iter() if each.get("id") == "year-missed-1"]
    missed = columns(shape.get("d"))
    assert list(missed) == [1]
    assert missed[1] == [(before[1], 12)]
    assert "now" in picture.words()
    assert any("h missed" in word for word in picture.words())


def past(board, first, last, today=None):
    """The picture of some nights of a board, at its own time; by another site file of today, where given."""
    return Drawing(svg_of_past(board, first, last, today))


def svg_of_past(board, first, last, today=None):
    planner = Planner(today or board.site)
    history = SiteHistory(planner, board.reader.site_records())
    bounds = bounds_of(history, board.reader, board.true_utc)
    light = light_of_past(history, board.reader, first, last, bounds=bounds)
    return write_svg(lay_out_past(light, now_utc=board.true_utc), english(light.planner.tz))


def test_a_garden_that_moves_leaves_the_picture_of_before(tmp_path):
    """Sky, hours and light of nights that are over are those of the place of the time, noon to noon there."""
    jetty = zone("jetty", "dusk to 01:00", rated_watts=5)
    start = datetime(2027, 6, 3, 11, tzinfo=UTC)
    board = Board(tmp_path, site(jetty), start, tick_s=6 * 3600.0)
    board.run_until(start + timedelta(days=9))
    board.close()
    nights_over = date(2027, 6, 1), date(2027, 6, 11)
    as_it_was = svg_of_past(board, *nights_over)
    moved = site(jetty, latitude=35.0, longitude=139.0, time_zone="Asia/Tokyo", dusk_angle=12.0)
    assert svg_of_past(board, *nights_over, moved) == as_it_was


def test_what_nobody_recorded_is_no_record(tmp_path):
    """Before the journal, and while a board never knew the time, nothing is drawn but “no record”.

    After now there is only the sky; what was missed meanwhile, by the account, stays dotted.
    """
    start = datetime(2027, 6, 3, 17, tzinfo=UTC)
    board = Board(tmp_path, site(zone("jetty", "21:00 to 01:00", rated_watts=5)), start)
    board.run_until(datetime(2027, 6, 5, 9, tzinfo=UTC))
    board.stop(60)
    # A boot of two days whose clock nobody ever set, and then one that is right from its start.
    board.cut_power(60, wakes_at=datetime(1970, 1, 1, tzinfo=UTC))
    board.run_until(datetime(2027, 6, 7, 9, tzinfo=UTC))
    board.cut_power(0)
    board.run_until(datetime(2027, 6, 8, 23, tzinfo=UTC))
    board.close()
    picture = past(board, date(2027, 6, 1), date(2027, 6, 12))
    (unknown,) = picture.paths("#eceef2")
    found = columns(unknown)
    # London is at UTC+1, so 17:00 is six hours after noon and 09:00 the next day 22.
    assert found.pop(0) == found.pop(1) == [(0, 24)]
    assert found.pop(2) == [(0, 6)]
    assert found.pop(3) == [(pytest.approx(22 + 1 / 60, abs=0.09), 24)]
    assert found.pop(4) == [(0, 24)]
    assert found.pop(5) == [(0, pytest.approx(22, abs=0.05))]
    assert not found
    assert "no record" in picture.words()
    (told,) = picture.words("desc")
    assert "jetty: no record of 102 hours, by day and by night." in told
    (shape,) = [each for each in picture.root.iter() if each.get("id") == "year-missed-1"]
    assert columns(shape.get("d")) == {4: [(9, 13)], 5: [(9, 13)]}
    assert "no record" not in future(site()).words()


def test_no_record_begins_after_the_last_light_that_there_is_a_record_of(tmp_path):
    """A board that dies without a word, and never knows the time again, was known up to its last run."""
    board = Board(tmp_path, site(zone("jetty", "21:00 to 01:00")), datetime(2027, 6, 1, 11, tzinfo=UTC))
    board.run_until(datetime(2027, 6, 6, 9, tzinfo=UTC))
    board.cut_power(60, wakes_at=datetime(1970, 1, 1, tzinfo=UTC))
    board.run_until(datetime(2027, 6, 8, 9, tzinfo=UTC))
    board.close()
    picture = past(board, date(2027, 6, 1), date(2027, 6, 9))
    assert sorted(columns(picture.paths(LIT)[0])) == [0, 1, 2, 3, 4]
    found = columns(picture.paths("#eceef2")[0])
    assert found[4] == [(13, 24)]
    assert sorted(found) == [4, 5, 6]


def test_no_record_has_no_hole_where_the_clock_skips_an_hour(tmp_path):
    """In the night of the clock change, too, a night without a record is ruled from noon to noon."""
    board = Board(tmp_path, site(), datetime(2027, 4, 2, 12, tzinfo=UTC), tick_s=21600)
    board.run_until(datetime(2027, 4, 3, 12, tzinfo=UTC))
    board.close()
    found = columns(past(board, date(2027, 3, 20), date(2027, 4, 1)).paths("#eceef2")[0])
    change = (date(2027, 3, 27) - date(2027, 3, 20)).days
    assert {column: sum(to - since for since, to in found[column]) for column in found} == dict.fromkeys(
        range(13), 24
    )
    assert len(found[change]) >= 2
