"""Prices by the clock: cut points, change nights, price changes with a date, and the currency's own coin."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.models.tariff import PriceBand, PriceChange, Tariff
from config.program.special_nights import Weekdays, YearlyStretch
from controller.calendar.intervals import utc_of
from controller.energy.tariff import price_steps, round_money
from tests.reference import rows

NEW_YORK = ZoneInfo("America/New_York")
PEAK, CHEAP = Decimal("0.30"), Decimal("0.12")


SUMMER = YearlyStretch(first=(6, 1), last=(9, 30))


def evening_peak(**more) -> Tariff:
    band = PriceBand(per_kwh=PEAK, begins=time(16), ends=time(21), name="peak", **more)
    return Tariff(currency="USD", per_kwh=CHEAP, bands=(band,))


def as_text(tariff: Tariff, starts: str, ends: str, tz: ZoneInfo) -> list[str]:
    steps = price_steps(tariff, datetime.fromisoformat(starts), datetime.fromisoformat(ends), tz)
    form = "%m-%dT%H:%MZ"
    return [
        f"{utc_of(step.starts_ms):{form}}-{utc_of(step.ends_ms):{form}} {step.per_kwh} {step.name}".strip()
        for step in steps
    ]


def price_at(tariff: Tariff, at_utc: datetime, tz: ZoneInfo) -> Decimal:
    return price_steps(tariff, at_utc, at_utc + timedelta(milliseconds=1), tz)[0].per_kwh


def test_money_is_rounded_to_the_digits_of_iso_4217():
    """Every currency is shown with its digits: list one of 2026-01-01, through the iso4217 package 1.16."""
    digits = {row["currency"]: int(row["minor_units"]) for row in rows("minor_units.csv")}
    assert len(digits) > 150
    shown = {currency: round_money(Decimal(1), currency) for currency in digits}
    assert {currency: -money.as_tuple().exponent for currency, money in shown.items()} == digits


@pytest.mark.parametrize(
    ("amount", "currency", "shown"),
    [
        ("2.3232", "USD", "2.32"),
        ("2.325", "EUR", "2.33"),
        ("2.315", "EUR", "2.32"),
        ("2.5", "JPY", "3"),
        ("1.23450", "KWD", "1.235"),
        ("0", "GBP", "0.00"),
    ],
)
def test_money_is_rounded_to_the_currencys_coin(amount, currency, shown):
    """An amount is rounded half away from zero to the smallest unit (common practice, no source)."""
    assert str(round_money(Decimal(amount), currency)) == shown


def test_a_flat_price_is_one_step():
    """A flat price needs no cut at all."""
    flat = Tariff(currency="USD", per_kwh=Decimal("0.29"))
    steps = as_text(flat, "2027-01-01T00:00+00:00", "2028-01-01T00:00+00:00", NEW_YORK)
    assert steps == ["01-01T00:00Z-01-01T00:00Z 0.29"]


def test_bands_are_cut_at_local_clock_times():
    """An evening in winter and one in summer are cut at the same clock time, an hour apart in UTC."""
    assert as_text(evening_peak(), "2027-01-12T20:00+00:00", "2027-01-13T08:00+00:00", NEW_YORK) == [
        "01-12T20:00Z-01-12T21:00Z 0.12",
        "01-12T21:00Z-01-13T02:00Z 0.30 peak",
        "01-13T02:00Z-01-13T08:00Z 0.12",
    ]
    assert as_text(evening_peak(), "2027-07-12T23:00+00:00", "2027-07-13T08:00+00:00", NEW_YORK) == [
        "07-12T23:00Z-07-13T01:00Z 0.30 peak",
        "07-13T01:00Z-07-13T08:00Z 0.12",
    ]


def test_a_band_over_midnight_belongs_to_each_of_its_own_days():
    """A night band of Saturdays holds in Saturday's first hours and its last, not on Sunday morning."""
    saturday = Weekdays(days=(5,))
    band = PriceBand(per_kwh=CHEAP, begins=time(22), ends=time(6), days=saturday)
    tariff = Tariff(currency="USD", per_kwh=PEAK, bands=(band,))
    assert as_text(tariff, "2027-06-18T17:00+00:00", "2027-06-20T17:00+00:00", ZoneInfo("Etc/UTC")) == [
        "06-18T17:00Z-06-19T00:00Z 0.30",
        "06-19T00:00Z-06-19T06:00Z 0.12",
        "06-19T06:00Z-06-19T22:00Z 0.30",
        "06-19T22:00Z-06-20T00:00Z 0.12",
        "06-20T00:00Z-06-20T17:00Z 0.30",
    ]


def test_weekday_and_season_must_both_hold():
    """A band with two conditions holds only on days that meet both; the last band that holds decides."""
    working = Weekdays(days=(0, 1, 2, 3, 4))
    tariff = evening_peak(days=working, season=SUMMER)
    at = [datetime(2027, *day, 18, tzinfo=NEW_YORK) for day in ((7, 12), (7, 11), (1, 11))]
    assert [price_at(tariff, each.astimezone(UTC), NEW_YORK) for each in at] == [PEAK, CHEAP, CHEAP]


def test_of_two_bands_that_hold_the_last_decides():
    """Where two bands hold at once, the one that stands later in the file gives the price."""
    both = (PriceBand(per_kwh=PEAK, begins=time(16)), PriceBand(per_kwh=CHEAP, begins=time(20)))
    tariff = Tariff(currency="USD", per_kwh=Decimal("0.2"), bands=both)
    assert as_text(tariff, "2027-07-12T12:00+00:00", "2027-07-13T00:00+00:00", ZoneInfo("Etc/UTC")) == [
        "07-12T12:00Z-07-12T16:00Z 0.2",
        "07-12T16:00Z-07-12T20:00Z 0.30",
        "07-12T20:00Z-07-13T00:00Z 0.12",
    ]


def test_steps_cover_a_stretch_that_begins_in_an_hour_without_an_edge():
    """Toronto's clock went from 23:30 to 00:30 on 30 March 1919: the day before rules until 01:00."""
    tariff = band_at(time(20), time(22))
    steps = as_text(tariff, "1919-03-31T04:35+00:00", "1919-03-31T06:00+00:00", ZoneInfo("America/Toronto"))
    assert steps == ["03-31T04:35Z-03-31T06:00Z 0.30"]


def test_a_price_change_begins_with_its_date():
    """A price changes at the first instant of its date at the site, and the bands change with it."""
    later = PriceChange(per_kwh=Decimal("0.15"), since=date(2027, 3, 1))
    tariff = evening_peak().model_copy(update={"changes": (later,)})
    assert as_text(tariff, "2027-02-28T20:00+00:00", "2027-03-02T20:00+00:00", NEW_YORK) == [
        "02-28T20:00Z-02-28T21:00Z 0.12",
        "02-28T21:00Z-03-01T02:00Z 0.30 peak",
        "03-01T02:00Z-03-01T05:00Z 0.12",
        "03-01T05:00Z-03-02T20:00Z 0.15",
    ]


def band_at(begins: time, ends: time) -> Tariff:
    band = PriceBand(per_kwh=CHEAP, begins=begins, ends=ends)
    return Tariff(currency="USD", per_kwh=PEAK, bands=(band,))


@pytest.mark.parametrize(
    ("zone", "begins", "ends", "from_utc", "until_utc"),
    [
        # America/New_York 2026-11-01: 01:30 occurs twice and means the first, 05:30Z (RFC 5545's own rule).
        ("America/New_York", time(1, 30), time(5), "2026-11-01T05:30Z", "2026-11-01T10:00Z"),
        # America/New_York 2027-03-14: 02:30 does not occur and is 07:30Z, which the clock shows as 03:30.
        ("America/New_York", time(2, 30), time(5), "2027-03-14T07:30Z", "2027-03-14T09:00Z"),
        # America/Santiago 2027-09-05 has no 00:00: the day begins at 04:00Z with 01:00 on the clock.
        ("America/Santiago", time(0, 0), time(5), "2027-09-05T04:00Z", "2027-09-05T08:00Z"),
    ],
)
def test_on_change_nights_band_edges_follow_rfc_5545(zone, begins, ends, from_utc, until_utc):
    """An edge that occurs twice is its first occurrence; one that does not is read from before the gap."""
    first = datetime.fromisoformat(from_utc)
    steps = price_steps(
        band_at(begins, ends), first - timedelta(hours=1), first + timedelta(hours=9), ZoneInfo(zone)
    )
    cheap = [step for step in steps if step.per_kwh == CHEAP]
    assert [(utc_of(step.starts_ms), utc_of(step.ends_ms)) for step in cheap] == [
        (first, datetime.fromisoformat(until_utc))
    ]


def test_where_a_gap_turns_two_edges_round_the_clock_face_decides():
    """02:30 is skipped and read as 03:30, after the edge at 03:15: the price of 03:15 holds from 03:15 on."""
    early = PriceBand(per_kwh=CHEAP, begins=time(2, 30), ends=time(3, 15))
    late = PriceBand(per_kwh=Decimal("0.2"), begins=time(3, 15), ends=time(5))
    tariff = Tariff(currency="USD", per_kwh=PEAK, bands=(early, late))
    assert as_text(tariff, "2027-03-14T06:00+00:00", "2027-03-14T10:00+00:00", NEW_YORK) == [
        "03-14T06:00Z-03-14T07:15Z 0.30",
        "03-14T07:15Z-03-14T09:00Z 0.2",
        "03-14T09:00Z-03-14T10:00Z 0.30",
    ]


clock_times = st.times().map(lambda at: at.replace(minute=at.minute // 15 * 15, second=0, microsecond=0))
bands = st.builds(
    PriceBand,
    per_kwh=st.decimals("0", "1", places=2),
    begins=clock_times,
    ends=clock_times,
    days=st.sampled_from([None, Weekdays(days=(5, 6))]),
    season=st.sampled_from([None, SUMMER]),
)


@settings(max_examples=60)
@given(
    st.lists(bands, max_size=3),
    st.sampled_from(["America/New_York", "Australia/Lord_Howe", "Africa/Cairo", "Antarctica/Troll"]),
    st.integers(0, 2 * 365 * 24 * 60),
    st.integers(1, 200),
)
def test_steps_tile_time_and_agree_with_the_clock_face(some, zone, minutes, hours):
    """Steps tile any stretch, and away from clock changes they hold the price of the clock face."""
    tz = ZoneInfo(zone)
    first = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
    last = first + timedelta(hours=hours)
    tariff = Tariff(currency="USD", per_kwh=Decimal("0.2"), bands=tuple(some))
    steps = price_steps(tariff, first, last, tz)
    edges = [step.starts_ms for step in steps] + [steps[-1].ends_ms]
    assert (utc_of(edges[0]), utc_of(edges[-1])) == (first, last)
    assert edges == sorted(set(edges))
    assert [step.ends_ms for step in steps[:-1]] == edges[1:-1]
    at = first
    for step in steps:
        while at < utc_of(step.ends_ms):
            wall = at.astimezone(tz)
            day_before = (at - timedelta(hours=25)).astimezone(tz)
            if wall.utcoffset() == day_before.utcoffset():
                assert step.per_kwh == tariff.price(wall.date(), wall.time())[0]
            at += timedelta(minutes=7)
