"""Run hours: change nights, cuts that lose nothing, clock steps, and what was missed and why."""

import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.calendar.intervals import MS_PER_HOUR, Interval, merge, ms_of, utc_of, without
from controller.calendar.night import night_on, nights, utc_of_local
from controller.calendar.periods import Each, Period, month_of, split, stretch_of_nights
from controller.energy.metering import measure
from controller.energy.values import J_PER_KWH, Losses
from controller.history.energy_use import loads_drawn
from controller.history.run_hours import Gap, ZonePast, count_hours, lit_interval
from controller.history.site_history import SiteHistory
from controller.history.totals import REASONS_FOR_DARK, add_up
from controller.planning.planner import Planner
from controller.records.entries import Cause
from controller.records.past import Run
from controller.sun.sun import Sun, dark_intervals
from tests.sites import site

REFERENCE = Path(__file__).parents[2] / "reference"
ENERGY = json.loads((REFERENCE / "energy.json").read_text())
NEW_YORK = ZoneInfo("America/New_York")
LATER = datetime(2040, 1, 1, tzinfo=UTC)
ALWAYS = (-(1 << 46), 1 << 46)
SITES = SiteHistory(Planner(site()), ()).periods(ALWAYS)


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def span(starts: str, ends: str) -> Interval:
    return ms_of(at(starts)), ms_of(at(ends))


def run(on: datetime, off: datetime | None, **more) -> Run:
    values = {
        "zone": "jetty",
        "on_utc": on,
        "off_utc": off,
        "lit_s": None if off is None else (off - on).total_seconds(),
        "cause": Cause.PROGRAM,
        "words": "dusk to midnight, every night",
        "ended_by": None if off is None else Cause.PROGRAM,
        "load_w": 60.0,
        "load_from": "fixtures",
        "trusted": True,
    }
    return Run(**(values | more))


def whole(first: str, last: str, tz: ZoneInfo = NEW_YORK) -> Period:
    return stretch_of_nights(date.fromisoformat(first), date.fromisoformat(last), tz)


@pytest.mark.parametrize("row", ENERGY["E5"]["runs"], ids=lambda row: row["on"])
def test_e5_change_nights_come_out_as_three_and_five_hours(row):
    """23:30 to 03:30 on the wall is 3 h, 5 h or 4 h, and its energy follows (energy.json E5)."""
    on, off = (utc_of_local(datetime.fromisoformat(row[key]), NEW_YORK) for key in ("on", "off"))
    night = whole(row["on"][:10], row["on"][:10])
    (hours,) = count_hours(ZonePast(zone="jetty", runs=[run(on, off)]), [night], dark=[], as_of_utc=LATER)
    assert hours.lit_ms / MS_PER_HOUR == row["elapsed_h"]
    energy = measure(
        Losses(transformer="boathouse"),
        {"jetty": Decimal(60)},
        loads_drawn([run(on, off)], SITES, as_of_utc=LATER),
        starts_ms=night.interval[0],
        ends_ms=night.interval[1],
    )["jetty"]
    assert float(energy.meter_j / J_PER_KWH) == row["kwh_60w"]


def test_a_run_over_the_edge_of_two_months_is_cut_at_noon():
    """A zone lit by hand through the noon of 1 March belongs to both months, and was switched on once."""
    past = ZonePast(
        zone="jetty",
        runs=[run(at("2027-03-01T15:00"), at("2027-03-01T20:30"), cause=Cause.OVERRIDE)],
    )
    february, march = count_hours(
        past, [month_of(2027, 2, NEW_YORK), month_of(2027, 3, NEW_YORK)], dark=[], as_of_utc=LATER
    )
    assert (february.lit_ms / MS_PER_HOUR, march.lit_ms / MS_PER_HOUR) == (2.0, 3.5)
    assert (february.starts, march.starts) == (1, 0)


def test_a_run_that_begins_at_the_very_noon_belongs_to_the_night_that_begins():
    """An edge belongs to what begins there: one start and all of the light in the later night."""
    noon = night_on(date(2027, 6, 22), NEW_YORK).starts_at_utc
    past = ZonePast(zone="jetty", runs=[run(noon, noon + timedelta(hours=1)), run(noon, noon)])
    before, after = count_hours(
        past,
        [whole("2027-06-21", "2027-06-21"), whole("2027-06-22", "2027-06-22")],
        dark=[],
        as_of_utc=LATER,
    )
    assert (before.starts, before.lit_ms, after.starts, after.lit_ms / MS_PER_HOUR) == (0, 0, 2, 1.0)


def test_hours_are_told_apart_by_cause():
    """Program and special night count as program; a person's wish as override; anything else as unknown."""
    causes = [Cause.PROGRAM, Cause.SPECIAL_NIGHT, Cause.OVERRIDE, Cause.RELAY_FAULT]
    first = at("2027-06-22T01:00")
    runs = [
        run(first + timedelta(hours=n), first + timedelta(hours=n, minutes=10 * (n + 1)), cause=cause)
        for n, cause in enumerate(causes)
    ]
    past = ZonePast(zone="jetty", runs=runs)
    (hours,) = count_hours(past, [whole("2027-06-21", "2027-06-21")], dark=[], as_of_utc=LATER)
    minutes = [ms // 60_000 for ms in (hours.program_ms, hours.override_ms, hours.unknown_ms, hours.lit_ms)]
    assert minutes == [30, 30, 40, 100]
    assert hours.starts == 4


def test_light_in_daylight_is_what_the_sun_makes_needless():
    """Lit before dusk, a zone burns in daylight until dusk comes."""
    sun = Sun(40.0, -75.0)
    night = next(nights(date(2027, 1, 10), date(2027, 1, 10), NEW_YORK))
    dark = dark_intervals(sun, [night], 6.0)
    assert len(dark) == 1
    on, off = at("2027-01-10T21:00"), at("2027-01-11T05:00")
    past = ZonePast(zone="jetty", runs=[run(on, off)])
    (hours,) = count_hours(past, [whole("2027-01-10", "2027-01-10")], dark=dark, as_of_utc=LATER)
    assert hours.daylight_ms == dark[0][0] - ms_of(on)
    # season_nightly.csv: dusk at 40 N 75 W on this night is so many hours before midnight (05:00 UTC).
    nightly = pd.read_csv(REFERENCE / "season_nightly.csv")
    row = nightly[(nightly.latitude == 40) & (nightly.local_night_date == "2027-01-10")].iloc[0]
    assert 8 - hours.daylight_ms / 3.6e6 == pytest.approx(row.hours_civil_dusk_to_midnight, abs=20 / 3600)


@pytest.mark.parametrize(
    ("on", "off", "lit_s", "expected"),
    [
        ("2027-06-22T01:00", "2027-06-22T04:00", 10800, ("2027-06-22T01:00", "2027-06-22T04:00")),
        # Put forward by an hour while lit: two hours of light, not three.
        ("2027-06-22T01:00", "2027-06-22T04:00", 7200, ("2027-06-22T02:00", "2027-06-22T04:00")),
        # Put back by an hour: four hours of light, not three.
        ("2027-06-22T01:00", "2027-06-22T04:00", 14400, ("2027-06-22T00:00", "2027-06-22T04:00")),
        # Put back to before it was lit.
        ("2027-06-22T04:00", "2027-06-22T03:00", 1800, ("2027-06-22T02:30", "2027-06-22T03:00")),
        # Woke up in 1970.
        ("1970-01-01T00:00", "2027-06-22T04:00", 3600, ("2027-06-22T03:00", "2027-06-22T04:00")),
        # No boot-time clock at both ends: the wall clock is all there is.
        ("2027-06-22T01:00", "2027-06-22T04:00", None, ("2027-06-22T01:00", "2027-06-22T04:00")),
    ],
)
def test_a_clock_step_neither_adds_nor_loses_light(on, off, lit_s, expected):
    """A run is as long as the boot-time clock measured, and ends where the better clock says."""
    assert lit_interval(run(at(on), at(off), lit_s=lit_s), LATER) == span(*expected)


def test_a_run_that_is_still_lit_counts_up_to_now():
    """An open run reaches up to now and no further, and never backwards."""
    still_lit = run(at("2027-06-22T01:00"), None)
    assert lit_interval(still_lit, at("2027-06-22T02:30")) == span("2027-06-22T01:00", "2027-06-22T02:30")
    assert lit_interval(still_lit, at("2027-06-22T00:30")) == span("2027-06-22T01:00", "2027-06-22T01:00")


def test_runs_that_overlap_after_a_clock_was_put_back_each_count():
    """No run swallows another: overlapping hours of light are added, in daylight too."""
    runs = [
        run(at("2027-06-22T01:00"), at("2027-06-22T02:00")),
        run(at("2027-06-22T01:30"), at("2027-06-22T03:00")),
    ]
    past = ZonePast(zone="jetty", runs=runs)
    night = whole("2027-06-21", "2027-06-21")
    dark = [
        span("2027-06-22T01:35", "2027-06-22T01:45"),
        span("2027-06-22T01:50", "2027-06-22T09:00"),
    ]
    (hours,) = count_hours(past, [night], dark=dark, as_of_utc=LATER)
    # In daylight: 01:00 to 01:35 and 01:45 to 01:50 of the first run; of the second 01:30 to 01:35 and
    # again 01:45 to 01:50.
    assert (hours.lit_ms / MS_PER_HOUR, hours.daylight_ms) == (2.5, (35 + 5 + 5 + 5) * 60_000)


def test_what_was_missed_is_laid_at_the_door_of_one_reason():
    """Planned and dark is told by reason, each moment once; the longest gap names its main reason."""
    past = ZonePast(
        zone="jetty",
        runs=[run(at("2027-06-22T01:00"), at("2027-06-22T01:30"))],
        planned=[span("2027-06-22T01:00", "2027-06-22T04:00")],
        gaps=[
            Gap(
                zone=None,
                starts_at_utc=at("2027-06-22T01:30"),
                ends_at_utc=at("2027-06-22T02:30"),
                reason=Cause.POWER_LOST,
            ),
            Gap(
                zone=None,
                starts_at_utc=at("2027-06-22T02:20"),
                ends_at_utc=at("2027-06-22T02:40"),
                reason=Cause.CLOCK_NOT_TRUSTED,
            ),
            Gap(
                zone="gate",
                starts_at_utc=at("2027-06-22T00:00"),
                ends_at_utc=None,
                reason=Cause.OUT_OF_SERVICE,
            ),
        ],
    )
    (hours,) = count_hours(
        past, [whole("2027-06-21", "2027-06-21")], dark=[], as_of_utc=at("2027-06-22T03:00")
    )
    minutes = {part.reason: part.lasts_ms // 60_000 for part in hours.missed}
    assert minutes == {Cause.POWER_LOST: 60, Cause.CLOCK_NOT_TRUSTED: 10, None: 20}
    assert hours.planned_ms == 120 * 60_000
    assert hours.longest_gap is not None
    assert hours.longest_gap.starts_at_utc == at("2027-06-22T01:30")
    assert (hours.longest_gap.lasts_ms, hours.longest_gap.reason) == (90 * 60_000, Cause.POWER_LOST)


@given(
    lit_h=st.lists(st.tuples(st.integers(0, 140), st.integers(1, 60)), max_size=6),
    cuts=st.sets(st.integers(1, 6), max_size=4),
)
def test_the_longest_gap_is_the_same_however_nights_are_cut(lit_h, cuts):
    """An outage of the polar night that goes on across noon is one gap, also where nights are taken apart."""
    oslo, first = ZoneInfo("Europe/Oslo"), date(2027, 12, 20)
    starts_ms = ms_of(night_on(first, oslo).starts_at_utc)
    hours = [(starts_ms + h * MS_PER_HOUR, starts_ms + (h + more) * MS_PER_HOUR) for h, more in lit_h]
    planned = (starts_ms, starts_ms + 7 * 24 * MS_PER_HOUR)
    runs = [run(utc_of(on), utc_of(off)) for on, off in merge(hours)]
    past = ZonePast(zone="jetty", runs=runs, planned=[planned])
    periods = [
        stretch_of_nights(first + timedelta(days=begins), first + timedelta(days=ends - 1), oslo)
        for begins, ends in pairwise([0, *sorted(cuts), 7])
    ]
    found = add_up(count_hours(past, periods, dark=[], as_of_utc=LATER), zone="jetty").longest_gap
    missed_ms = [ends - starts for starts, ends in without([planned], merge(hours))]
    assert (found.lasts_ms if found else 0) == max(missed_ms, default=0)


def test_nothing_is_missed_before_the_journal_began():
    """What the program would have done before the first day of the journal is not held against anybody."""
    past = ZonePast(zone="jetty", runs=[], planned=[span("2027-06-21T02:00", "2027-06-21T04:00")])
    period = whole("2027-06-01", "2027-06-30")
    (hours,) = count_hours(past, [period], dark=[], as_of_utc=LATER, since_utc=at("2027-06-21T03:00"))
    assert (hours.planned_ms, hours.missed_ms) == (3_600_000, 3_600_000)
    (hours,) = count_hours(past, [period], dark=[], as_of_utc=LATER, since_utc=at("2027-06-22T03:00"))
    assert (hours.planned_ms, hours.longest_gap) == (0, None)


def test_what_would_count_twice_is_refused():
    """Overlapping periods, a run of another zone and a reason that explains no dark are refused."""
    nights_twice = [whole("2027-06-21", "2027-06-22"), whole("2027-06-22", "2027-06-23")]
    with pytest.raises(ValueError, match="follow each other"):
        count_hours(ZonePast(zone="jetty", runs=[]), nights_twice, dark=[], as_of_utc=LATER)
    foreign = ZonePast(zone="gate", runs=[run(at("2027-06-22T01:00"), None)])
    with pytest.raises(ValueError, match="“jetty” does not belong to “gate”"):
        count_hours(foreign, nights_twice[:1], dark=[], as_of_utc=LATER)
    with pytest.raises(ValueError, match="“program” is no reason"):
        Gap(zone=None, starts_at_utc=LATER, ends_at_utc=None, reason=Cause.PROGRAM)


FIRST = datetime(2027, 3, 10, 17, tzinfo=UTC)
SPAN_DAYS = 12
moments = st.integers(-2 * 86_400_000, SPAN_DAYS * 86_400_000)
lengths = st.one_of(st.integers(0, 60_000), st.integers(0, 40 * 3_600_000))
pieces = st.lists(st.tuples(moments, lengths), max_size=8)
random_runs = st.lists(
    st.builds(
        lambda starts, lasts, cause, trusted, step_s: run(
            FIRST + timedelta(milliseconds=starts),
            FIRST + timedelta(milliseconds=starts + lasts, seconds=step_s),
            lit_s=lasts / 1000,
            cause=cause,
            trusted=trusted,
        ),
        moments,
        lengths,
        st.sampled_from([Cause.PROGRAM, Cause.SPECIAL_NIGHT, Cause.OVERRIDE, Cause.RELAY_FAULT]),
        st.booleans(),
        st.sampled_from([0, 0, 0, 3600, -3600]),
    ),
    max_size=10,
)
random_gaps = st.lists(
    st.builds(
        lambda starts, lasts, why, zone: Gap(
            zone=zone,
            starts_at_utc=FIRST + timedelta(milliseconds=starts),
            ends_at_utc=FIRST + timedelta(milliseconds=starts + lasts),
            reason=why,
        ),
        moments,
        lengths,
        st.sampled_from(REASONS_FOR_DARK),
        st.sampled_from([None, "jetty", "gate"]),
    ),
    max_size=6,
)


def spans(some: list[tuple[int, int]]) -> list[Interval]:
    return [(ms_of(FIRST) + starts, ms_of(FIRST) + starts + lasts) for starts, lasts in some]


@settings(max_examples=80)
@given(random_runs, pieces, pieces, random_gaps, st.sets(st.integers(1, SPAN_DAYS - 1)))
def test_any_partition_of_a_span_sums_to_the_whole(runs, planned, dark, gaps, cuts):
    """Cut into any periods, every sum adds up to that of the whole, to the millisecond; nothing is lost."""
    past = ZonePast(zone="jetty", runs=runs, planned=spans(planned), gaps=gaps)
    first = date(2027, 3, 10)
    edges = sorted({0, *cuts, SPAN_DAYS})
    parts = [
        stretch_of_nights(first + timedelta(days=a), first + timedelta(days=b - 1), NEW_YORK)
        for a, b in pairwise(edges)
    ]
    one = stretch_of_nights(first, first + timedelta(days=SPAN_DAYS - 1), NEW_YORK)
    in_dark = dark_of(spans(dark))
    (total,) = count_hours(past, [one], dark=in_dark, as_of_utc=LATER)
    each = count_hours(past, parts, dark=in_dark, as_of_utc=LATER)
    for name in (
        "lit_ms",
        "program_ms",
        "override_ms",
        "unknown_ms",
        "untrusted_ms",
        "daylight_ms",
        "starts",
        "planned_ms",
        "missed_ms",
    ):
        assert sum(getattr(part, name) for part in each) == getattr(total, name), name
    for why in (*REASONS_FOR_DARK, None):
        sums = [sum(m.lasts_ms for m in part.missed if m.reason is why) for part in (total, *each)]
        assert sums[0] == sum(sums[1:])
    assert total.lit_ms == total.program_ms + total.override_ms + total.unknown_ms
    assert 0 <= total.daylight_ms <= total.lit_ms
    inside = [interval for interval in map(whole_run, runs) if one.interval[0] <= interval[0] < interval[1]]
    if all(interval[1] <= one.interval[1] for interval in inside) and len(inside) == len(runs):
        assert total.lit_ms == sum(round(each.lit_s * 1000) for each in runs)


def whole_run(each: Run) -> Interval:
    return lit_interval(each, LATER)


def dark_of(some: list[Interval]) -> list[Interval]:
    joined: list[Interval] = []
    for starts, ends in sorted(some):
        if joined and starts <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(ends, joined[-1][1]))
        elif starts < ends:
            joined.append((starts, ends))
    return joined


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 20 * 1440), st.integers(1, 1500)), min_size=1, max_size=12),
    st.sampled_from(["America/New_York", "Australia/Lord_Howe", "Africa/Cairo", "Antarctica/Troll"]),
)
def test_pandas_counts_the_same_minutes_by_night(some, zone):
    """pandas, minute by minute on its own local clock, finds the same hours for each night."""
    tz = ZoneInfo(zone)
    first = datetime(2027, 3, 8, 9, tzinfo=UTC)
    runs = [
        run(first + timedelta(minutes=starts), first + timedelta(minutes=starts + lasts))
        for starts, lasts in some
    ]
    period = stretch_of_nights(date(2027, 3, 1), date(2027, 4, 10), tz)
    by_night = count_hours(
        ZonePast(zone="jetty", runs=runs),
        split(period, Each.NIGHT, tz, latitude_deg=40.0),
        dark=[],
        as_of_utc=LATER,
    )
    minutes = pd.concat(
        [pd.Series(1, pd.date_range(r.on_utc, r.off_utc, freq="min", inclusive="left")) for r in runs]
    )
    wall = minutes.index.tz_convert(zone).tz_localize(None)
    counted = minutes.groupby((wall - pd.Timedelta(hours=12)).date).sum()
    ours = {h.period.first: h.lit_ms // 60_000 for h in by_night if h.lit_ms}
    assert ours == {night: int(count) for night, count in counted.items()}
