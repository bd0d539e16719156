"""The demonstration's parts: the fast clock, the evening that is chosen, the lines and the picture."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from itertools import pairwise

import pytest
from rich.console import Console

from api.demo import screen
from api.demo.demo import RecordingJournal
from api.demo.evening import Evening, Frame, choose_evening
from api.demo.fast_clock import FastClock
from api.demo.lines import Lines, zone_row
from api.demo.screen import sky_colour, sky_light
from config.file.loader import example_path, load_site
from controller.calendar.night import night_on
from controller.clock.clock import SteppedClock, step_between
from controller.keeper.keeper import Keeper
from controller.planning.planner import Planner
from controller.records.entries import Cause, Switching
from controller.relays import open_relays
from tests.sites import site, zone

NIGHT = date(2027, 9, 17)


# --- the fast clock ---


def test_a_fast_clock_stands_still_until_it_is_started() -> None:
    """It passes pace seconds in one real second from the first ``start`` on."""
    real_s = 100.0
    starts_at_utc = datetime(2027, 9, 17, 22, tzinfo=UTC)
    clock = FastClock(starts_at_utc, pace=480, real_s=lambda: real_s)
    real_s += 5
    assert clock.read().utc == starts_at_utc
    clock.start()
    real_s += 2
    clock.start()
    earlier = clock.read()
    assert earlier.utc == starts_at_utc + timedelta(seconds=960)
    assert earlier.boot_s == 960
    real_s += 1
    assert step_between(earlier, clock.read()) is None
    assert clock.read().trusted


@pytest.mark.parametrize("pace", [0.0, -1.0, float("inf"), float("nan")])
def test_a_clock_without_a_pace_is_refused(pace: float) -> None:
    """A pace is a number above zero."""
    with pytest.raises(ValueError, match="pace above 0"):
        FastClock(datetime(2027, 9, 17, tzinfo=UTC), pace=pace)


# --- the evening ---


def evening_of(planner: Planner, night_date: date = NIGHT) -> Evening:
    """Choose the evening of a date."""
    return choose_evening(planner, night_on(night_date, planner.tz))


@pytest.mark.parametrize("name", ["one-zone", "two-zones", "full-property", "polar"])
@pytest.mark.parametrize("night_date", [NIGHT, date(2027, 6, 21), date(2027, 12, 21), date(2027, 3, 27)])
def test_an_evening_goes_from_before_the_light_to_past_midnight(name: str, night_date: date) -> None:
    """It holds the first switching on, the local midnight too, and stays in its night."""
    planner = Planner(load_site(example_path(name)).site)
    evening = evening_of(planner, night_date)
    night = evening.night
    assert night.starts_at_utc <= evening.starts_at_utc < evening.ends_at_utc <= night.ends_at_utc
    midnight = datetime.combine(night_date + timedelta(days=1), datetime.min.time(), planner.tz)
    assert evening.starts_at_utc < midnight < evening.ends_at_utc
    for zone_id in (each.id for each in planner.site.zones):
        for window in planner.plan(zone_id, night).windows[:1]:
            assert evening.starts_at_utc <= window.on_utc


def test_an_evening_without_sun_or_light_still_passes() -> None:
    """A zone that is always dark, in the white nights, has an evening to look at all the same."""
    planner = Planner(site(zone("jetty", "dusk to midnight"), latitude=78.2, time_zone="Etc/UTC"))
    evening = evening_of(planner, date(2027, 6, 21))
    assert evening.starts_at_utc == datetime(2027, 6, 21, 17, 35, tzinfo=UTC)
    assert evening.ends_at_utc == datetime(2027, 6, 22, 0, 15, tzinfo=UTC)
    assert [evening.share(at_utc) for at_utc in (evening.starts_at_utc, evening.ends_at_utc)] == [0, 1]


# --- what is shown ---


@pytest.fixture(scope="module")
def frames(tmp_path_factory: pytest.TempPathFactory) -> list[Frame]:
    """Let the example's evening pass on a stepped clock; one frame for each ten minutes."""
    planner = Planner(load_site(example_path("full-property")).site)
    evening = evening_of(planner)
    clock = SteppedClock(evening.starts_at_utc)
    journal = RecordingJournal(tmp_path_factory.mktemp("journal"))
    keeper = Keeper(planner.site, clock=clock, relays=open_relays("simulated"), journal=journal)
    seen = []
    for number in range(int(evening.lasts_s / 10) + 1):
        keeper.reconcile()
        if number % 60 == 0:
            seen.append(
                Frame(
                    at_utc=clock.utc,
                    evening=evening,
                    planner=planner,
                    status=keeper.status(),
                    switchings=tuple(journal.switchings),
                    pace=480,
                    address="http://127.0.0.1:8010/",
                    warning="",
                )
            )
        clock.advance(10)
    return seen


def test_each_event_is_one_line_in_order(frames: list[Frame]) -> None:
    """On a pipe every switching, and the sunset and dusk, is a line; the times never go back."""
    written: list[str] = []
    lines = Lines(written.append)
    for frame in frames:
        lines.show(frame)
    lines.show(frames[-1])
    assert written[0].startswith("Harrow Rise, an evening at 480 times normal speed")
    assert written[1] == "http://127.0.0.1:8010/"
    events = written[2:]
    assert len(events) == len(frames[-1].switchings) + 3
    assert len(set(events)) == len(events)
    # The first hours are before midnight, the last after it.
    minutes = [(int(line[:2]) - 12) % 24 * 60 + int(line[3:5]) for line in events]
    assert minutes == sorted(minutes)
    lit = re.compile(r"19:2\d:\d\d  Front path lit: dusk to 01:30, .*Fri, Sat")
    assert any(lit.fullmatch(line) for line in events)
    assert any(line.endswith("  sunset") for line in events)


def draw(frame: Frame, width: int, height: int = 40, **console: object) -> str:
    """Draw a frame on a terminal of a size."""
    out = StringIO()
    options = {"force_terminal": True, "color_system": "truecolor", **console}
    terminal = Console(file=out, width=width, height=height, **options)  # type: ignore[arg-type]
    terminal.print(screen.draw(frame, terminal))
    return out.getvalue()


def plain(text: str) -> str:
    """Take the colours out."""
    return re.sub(r"\x1b\[[0-9;]*m", "", text)


@pytest.mark.parametrize("width", [40, 66, 80, 118, 200])
def test_the_picture_says_lit_and_dark_in_words_at_every_width(frames: list[Frame], width: int) -> None:
    """No meaning hangs on a colour, and no line is wider than the terminal or folded."""
    frame = frames[len(frames) * 2 // 3]
    assert {shown.lit for shown in frame.status.zones} == {True, False}
    drawn = plain(draw(frame, width)).splitlines()
    assert max(len(line.rstrip()) for line in drawn) <= width
    for shown in frame.status.zones:
        (line,) = [each for each in drawn if each[2:].strip().startswith(f"{shown.name} ")]
        lamp, word = ("●", "lit until") if shown.lit else ("○", "dark until")
        assert line.startswith(lamp)
        assert word in line


def test_the_picture_fits_a_small_terminal(frames: list[Frame]) -> None:
    """On 24 lines the list of switchings is as long as there is room for, and the zones are all there."""
    drawn = plain(draw(frames[-1], 80, 24)).splitlines()
    assert len(drawn) < 24
    for shown in frames[-1].status.zones:
        assert any(shown.name in line for line in drawn)


def test_the_sky_is_characters_where_there_are_no_colours(frames: list[Frame]) -> None:
    """With NO_COLOR the sky is characters that get thinner as it gets darker."""
    without = draw(frames[0], 100, color_system=None)
    (sky,) = [line for line in without.splitlines() if " sky " in line]
    assert re.search(r"█+▓+▒+░+ +", sky)
    assert "\x1b[38" not in without
    assert "\x1b[48;2;" in draw(frames[0], 100)


def test_the_bars_are_what_was_really_lit(frames: list[Frame]) -> None:
    """At the end of the evening each bar is as long, in its share of the evening, as its zone was lit."""
    last = frames[-1]
    drawn = plain(draw(last, 166)).splitlines()
    for shown in last.status.zones:
        (line,) = [each for each in drawn if f" {shown.name} " in each[:24]]
        lit = line.count("━")
        columns = lit + line.count("·") + line.count("─")
        ((on_utc, off_utc),) = last.lit_intervals(shown.zone)
        wanted = (off_utc - on_utc).total_seconds() / last.evening.lasts_s * columns
        assert abs(lit - wanted) <= 2, shown.name


@pytest.mark.parametrize(
    ("height_deg", "word"),
    [
        # Names and angles: US Naval Observatory, "Rise, Set, and Twilight Definitions".
        (5.0, "daylight"),
        (-0.8, "daylight"),
        (-0.9, "civil twilight"),
        (-6.1, "nautical twilight"),
        (-12.1, "astronomical twilight"),
        (-18.1, "night"),
        (-90.0, "night"),
    ],
)
def test_the_sky_has_its_name(height_deg: float, word: str) -> None:
    """The twilights are named as astronomers do."""
    assert sky_light(height_deg)[1] == word


def test_the_sky_gets_darker_without_a_leap() -> None:
    """The sky loses light by colour and by character, and no step of 0.1 degree can be seen."""

    def parts(height_deg: float) -> list[int]:
        return list(bytes.fromhex(sky_colour(height_deg)[1:]))

    heights = [number / 10 for number in range(200, -300, -1)]
    for high, low in pairwise(heights):
        assert max(abs(a - b) for a, b in zip(parts(high), parts(low), strict=True)) <= 8
        assert " ░▒▓█".index(sky_light(high)[0]) >= " ░▒▓█".index(sky_light(low)[0])
    assert sum(parts(20)) > sum(parts(0)) > sum(parts(-6)) > sum(parts(-12)) > sum(parts(-18))


def test_the_total_counts_what_was_lit(frames: list[Frame]) -> None:
    """Two intervals of a zone add up, the last one to the end; load times time is the energy."""
    clock = SteppedClock(datetime(2027, 9, 17, 22, tzinfo=UTC))
    switchings = []
    for on in (True, False, True):
        switchings.append(
            Switching(zone="jetty", at=clock.read(), on=on, cause=Cause.PROGRAM, words="", load_w=50.0)
        )
        clock.advance(3600)
    frame = replace(frames[-1], switchings=switchings, at_utc=clock.utc)
    assert zone_row(frame, "jetty") == ["jetty", "2 h 00 m", "100 Wh", ""]
    assert zone_row(frame, "pond") == ["Pond", "not at all", "", ""]
