"""Energy at the lamps and at the meter: worked arithmetic, and a second computation second by second."""

import itertools
import json
from datetime import UTC, datetime, time
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.models.tariff import PriceBand, Tariff
from controller.calendar.intervals import MS_PER_HOUR, ms_of
from controller.energy.metering import measure
from controller.energy.tariff import PriceStep, price_steps, round_money
from controller.energy.values import J_PER_KWH, Draw, Energy, Load, Losses, watts

REFERENCE = Path(__file__).parents[2] / "reference"
ENERGY = json.loads((REFERENCE / "energy.json").read_text())
NEW_YORK = ZoneInfo("America/New_York")
LOSSLESS = Losses(transformer="t")
YEAR_MS = 365 * 24 * MS_PER_HOUR


def lit(zone: str, starts_ms: int, ends_ms: int, lamps_w: str, cable_w: str = "0") -> Draw:
    load = Load(lamps_w=Decimal(lamps_w), cable_w=Decimal(cable_w))
    return Draw(zone=zone, starts_ms=starts_ms, ends_ms=ends_ms, load=load)


def flat(price: str, ends_ms: int) -> list[PriceStep]:
    return [PriceStep(starts_ms=0, ends_ms=ends_ms, per_kwh=Decimal(price), name="")]


def test_e1_a_month_of_eight_lamps():
    """8 x 11 W for 5.5 h on 30 nights are 14.52 kWh and 2.3232, shown as 2.32 (energy.json E1)."""
    day_ms = 24 * MS_PER_HOUR
    draws = [lit("a", night * day_ms, night * day_ms + 11 * MS_PER_HOUR // 2, "88") for night in range(30)]
    energy = measure(
        LOSSLESS, {"a": Decimal(88)}, draws, starts_ms=0, ends_ms=30 * day_ms, steps=flat("0.16", 30 * day_ms)
    )["a"]
    assert energy.meter_j / J_PER_KWH == Decimal(ENERGY["E1"]["kwh"])
    assert energy.cost == Decimal(ENERGY["E1"]["cost_unrounded"])
    assert round_money(energy.cost, "USD") == Decimal(ENERGY["E1"]["cost"])


def test_e2_lamp_watts_alone_understate_the_bill():
    """48 W of LED behind 9.43973 W of cable loss and an efficiency of 0.90 (energy.json E2)."""
    losses = Losses(transformer="t", efficiency=Decimal("0.90"))
    assert round(losses.meter_w(Decimal(48) + Decimal("9.43973")), 5) == Decimal(ENERGY["E2"]["input_w"])
    draws = [lit("a", 0, MS_PER_HOUR, "48", "9.43973")]
    energy = measure(losses, {"a": Decimal(48)}, draws, starts_ms=0, ends_ms=MS_PER_HOUR)["a"]
    assert round(energy.meter_j / J_PER_KWH * 1000, 5) == Decimal(ENERGY["E2"]["input_w"])
    assert round(energy.meter_j / energy.lamps_j, 5) == Decimal(ENERGY["E2"]["ratio_to_lamp_watts"])


@pytest.mark.parametrize(
    ("mains_side", "kwh"),
    [
        (False, ENERGY["E3"]["kwh_always"]),
        (True, ENERGY["E3"]["kwh_only_while_lit"]),
    ],
)
def test_e3_no_load_loss_by_the_side_of_the_relay(mains_side, kwh):
    """8 W of no-load loss all year, or only over 1737.07 lit hours (energy.json E3)."""
    losses = Losses(transformer="t", mains_side=mains_side, no_load_w=Decimal(8))
    draws = [lit("a", 0, 173_707 * MS_PER_HOUR // 100, "60")]
    energy = measure(losses, {"a": Decimal(60)}, draws, starts_ms=0, ends_ms=YEAR_MS)["a"]
    assert (energy.no_load_j + energy.idle_j) / 3_600_000 == Decimal(kwh)


def test_e4_two_prices_in_one_evening():
    """100 W from 19:42 to 00:15, 0.30 before 21:00 and 0.12 after (energy.json E4)."""
    peak = PriceBand(per_kwh=Decimal("0.30"), begins=time(7), ends=time(21), name="peak")
    tariff = Tariff(currency="USD", per_kwh=Decimal("0.12"), bands=(peak,))
    starts = datetime(2027, 7, 1, 19, 42, tzinfo=NEW_YORK).astimezone(UTC)
    ends = datetime(2027, 7, 2, 0, 15, tzinfo=NEW_YORK).astimezone(UTC)
    energy = measure(
        LOSSLESS,
        {"a": Decimal(100)},
        [lit("a", ms_of(starts), ms_of(ends), "100")],
        starts_ms=ms_of(starts),
        ends_ms=ms_of(ends),
        steps=price_steps(tariff, starts, ends, NEW_YORK),
    )["a"]
    by_name = {band.name: band.meter_j / 3_600_000 for band in energy.bands}
    assert by_name == {"peak": Decimal(ENERGY["E4"]["peak_kwh"]), "": Decimal(ENERGY["E4"]["off_kwh"])}
    assert energy.meter_j / J_PER_KWH == Decimal(ENERGY["E4"]["total_kwh"])
    assert energy.cost == Decimal(ENERGY["E4"]["cost"])


@pytest.mark.parametrize("row", ENERGY["E10"]["rows"], ids=lambda row: f"{row['load_w']} W")
def test_e10_two_loss_model(row):
    """A 150 VA transformer that loses 6 W in its iron and 9 W in its copper (energy.json E10)."""
    losses = Losses(transformer="t", no_load_w=Decimal(6), copper_w=Decimal(9), rated_va=Decimal(150))
    load_w = Decimal(str(row["load_w"]))
    input_w = losses.meter_w(load_w)
    assert float(round(input_w, 5)) == row["input_w"]
    assert float(round(load_w / input_w, 5)) == row["eta"]


def test_e10_the_best_load_is_where_the_two_losses_are_equal():
    """No load serves the transformer better than 122.474 W (energy.json E10)."""
    losses = Losses(transformer="t", no_load_w=Decimal(6), copper_w=Decimal(9), rated_va=Decimal(150))
    tenths = [Decimal(tenth) / 10 for tenth in range(1, 1501)]
    best = max(tenths, key=lambda load_w: load_w / losses.meter_w(load_w))
    assert abs(float(best) - ENERGY["E10"]["best_load_w"]) <= 0.05


def test_an_efficiency_never_takes_less_than_the_no_load_loss():
    """A small load behind a given efficiency costs at least itself and the no-load loss."""
    losses = Losses(transformer="t", efficiency=Decimal("0.9"), no_load_w=Decimal(8))
    assert losses.meter_w(Decimal(9)) == 17
    assert losses.meter_w(Decimal(90)) == 100


def test_energy_is_that_of_the_load_at_the_time():
    """A load changed in June does not rewrite May: each draw keeps its own watts."""
    draws = [lit("a", 0, MS_PER_HOUR, "60"), lit("a", MS_PER_HOUR, 2 * MS_PER_HOUR, "20")]
    energy = measure(LOSSLESS, {"a": Decimal(20)}, draws, starts_ms=0, ends_ms=2 * MS_PER_HOUR)["a"]
    assert energy.lamps_j / J_PER_KWH == Decimal("0.08")


def test_a_load_nobody_knows_is_counted_as_nothing_and_said():
    """Without a rated load the lit time is told apart, so that the sum is known to be a lower bound."""
    draw = Draw(zone="a", starts_ms=0, ends_ms=5000, load=Load(lamps_w=watts(None)))
    energy = measure(LOSSLESS, {"a": Decimal(0)}, [draw], starts_ms=0, ends_ms=9000)["a"]
    assert (energy.lamps_j, energy.without_load_ms) == (0, 5000)


def test_what_would_be_lost_in_silence_is_refused():
    """A zone of another transformer and prices with a hole are refused."""
    with pytest.raises(ValueError, match="“b” is not on transformer “t”"):
        measure(LOSSLESS, {"a": Decimal(0)}, [lit("b", 0, 9, "1")], starts_ms=0, ends_ms=9)
    with pytest.raises(ValueError, match="cover"):
        measure(LOSSLESS, {"a": Decimal(0)}, [], starts_ms=0, ends_ms=9, steps=flat("1", 8))


@pytest.mark.parametrize(
    "make",
    [
        lambda: Losses(transformer="t", efficiency=Decimal(0)),
        lambda: Losses(transformer="t", efficiency=Decimal("1.01")),
        lambda: Losses(transformer="t", efficiency=Decimal("0.9"), copper_w=Decimal(1), rated_va=Decimal(1)),
        lambda: Losses(transformer="t", copper_w=Decimal(9)),
        lambda: Losses(transformer="t", no_load_w=Decimal(-1)),
        lambda: Load(lamps_w=Decimal("NaN")),
    ],
)
def test_what_no_transformer_can_do_is_refused(make):
    """Losses and loads that cannot be are refused with the value quoted."""
    with pytest.raises(ValueError, match="not"):
        make()


STRETCH_S = 120
draws_in_seconds = st.lists(
    st.builds(
        lambda zone, starts_s, lasts_s, lamps_w, cable_w: lit(
            zone, starts_s * 1000, (starts_s + lasts_s) * 1000, str(lamps_w), str(cable_w)
        ),
        st.sampled_from("abc"),
        st.integers(-10, STRETCH_S),
        st.integers(1, 40),
        st.sampled_from([0, 20, 35.5, 60]),
        st.sampled_from([0, 1.25]),
    ),
    max_size=8,
)
all_losses = st.sampled_from(
    [
        LOSSLESS,
        Losses(transformer="t", efficiency=Decimal("0.87"), no_load_w=Decimal(3)),
        Losses(transformer="t", no_load_w=Decimal(6), copper_w=Decimal(9), rated_va=Decimal(150)),
        Losses(
            transformer="t",
            mains_side=True,
            no_load_w=Decimal(6),
            copper_w=Decimal(9),
            rated_va=Decimal(150),
        ),
    ]
)
RATED = {"a": Decimal(60), "b": Decimal(20), "c": Decimal("35.5")}


def three_prices() -> list[PriceStep]:
    edges = [(0, 31_000, "0.3"), (31_000, 77_000, "0.12"), (77_000, STRETCH_S * 1000, "0.3")]
    return [PriceStep(starts_ms=a, ends_ms=b, per_kwh=Decimal(price), name="") for a, b, price in edges]


@settings(max_examples=60)
@given(all_losses, draws_in_seconds)
def test_the_sweep_agrees_with_a_count_second_by_second(losses, draws):
    """Energy, shares and money are those of a plain float count of every second."""
    by_zone = measure(losses, RATED, draws, starts_ms=0, ends_ms=STRETCH_S * 1000, steps=three_prices())
    meter_j = dict.fromkeys(RATED, 0.0)
    lamps_j = dict.fromkeys(RATED, 0.0)
    price_j = dict.fromkeys(RATED, 0.0)
    for second in range(STRETCH_S):
        on = [draw for draw in draws if draw.starts_ms <= second * 1000 < draw.ends_ms]
        price = 0.12 if 31 <= second < 77 else 0.3
        load_w = sum(float(draw.load.lamps_w + draw.load.cable_w) for draw in on)
        if losses.efficiency is not None:
            lit_w = max(load_w / 0.87, load_w + 3)
        elif losses.copper_w is not None:
            lit_w = load_w + 6 + 9 * (load_w / 150) ** 2
        else:
            lit_w = load_w
        idle_w = 0.0 if losses.mains_side else float(losses.no_load_w)
        shares = dict.fromkeys(RATED, 0.0)
        for draw in on:
            part = (float(draw.load.total_w) / load_w) if load_w else 1 / len(on)
            shares[draw.zone] += lit_w * part
            lamps_j[draw.zone] += float(draw.load.lamps_w)
        if not on:
            shares = {zone: idle_w * float(rated) / 115.5 for zone, rated in RATED.items()}
        for zone, share in shares.items():
            meter_j[zone] += share
            price_j[zone] += share * price
    for zone, energy in by_zone.items():
        assert float(energy.meter_j) == pytest.approx(meter_j[zone], rel=1e-9, abs=1e-9)
        assert float(energy.lamps_j) == pytest.approx(lamps_j[zone], rel=1e-9, abs=1e-9)
        assert float(energy.cost) * 3.6e6 == pytest.approx(price_j[zone], rel=1e-9, abs=1e-9)
        assert energy.meter_j == pytest.approx(sum(band.meter_j for band in energy.bands))


@settings(max_examples=60)
@given(all_losses, draws_in_seconds, st.lists(st.integers(1, STRETCH_S * 1000 - 1), max_size=6))
def test_any_partition_sums_to_the_whole(losses, draws, cuts):
    """Cutting a stretch anywhere, to the millisecond, and adding the parts gives the whole."""
    steps = three_prices()
    edges = sorted({0, *cuts, STRETCH_S * 1000})
    whole = measure(losses, RATED, draws, starts_ms=0, ends_ms=edges[-1], steps=steps)
    parts = dict.fromkeys(RATED, Energy())
    for starts_ms, ends_ms in itertools.pairwise(edges):
        piece = measure(losses, RATED, draws, starts_ms=starts_ms, ends_ms=ends_ms, steps=steps)
        parts = {zone: parts[zone] + piece[zone] for zone in RATED}
    for zone in RATED:
        assert parts[zone].lamps_j == whole[zone].lamps_j
        assert parts[zone].without_load_ms == whole[zone].without_load_ms
        assert abs(parts[zone].meter_j - whole[zone].meter_j) <= whole[zone].meter_j * Decimal("1e-20")
        assert abs(parts[zone].cost - whole[zone].cost) <= Decimal("1e-24")
