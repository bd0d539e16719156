"""Cable: the tables, their temperature, and the texts that name them."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.errors import WiringError
from config.models.cables import M_PER_FT, Build, Gauge, Unit, parse_gauge, parse_length
from controller.wiring.cable import ampacity, loop_ohm, ohm_per_m, same_kind

AWG_SIZES = (18, 16, 14, 12, 10, 8, 6, 4)
MM2_SIZES = (0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0)

# NBS Handbook 100: 100 % IACS copper at 20 °C, and its temperature coefficient.
RESISTIVITY_OHM_MM2_PER_M = 0.017241
ALPHA_20 = 0.00393


def ohm_per_kft(gauge: Gauge, temperature_c: float = 75.0) -> float:
    return ohm_per_m(gauge, temperature_c) * 1000.0 * M_PER_FT


def awg_area_mm2(size: int) -> float:
    """ASTM B258: d[inch] = 0.005 × 92^((36 − n)/39)."""
    return math.pi / 4.0 * (0.005 * 92.0 ** ((36 - size) / 39.0) * 25.4) ** 2


@pytest.mark.parametrize(
    ("text", "ohms"),
    [  # NEC chapter 9 table 8, ohm/kFT, uncoated copper at 75 °C, one conductor.
        ("18 AWG", 7.95),
        ("16 AWG", 4.99),
        ("14 AWG", 3.14),
        ("12 AWG", 1.98),
        ("10 AWG", 1.24),
        ("8 AWG", 0.778),
        ("6 AWG", 0.491),
        ("4 AWG", 0.308),  # from memory
        ("18 AWG solid", 7.77),
        ("16 AWG solid", 4.89),
        ("14 AWG solid", 3.07),
        ("12 AWG solid", 1.93),
        ("10 AWG solid", 1.21),
        ("8 AWG solid", 0.764),
    ],
)
def test_american_sizes_have_the_tables_ohms(text, ohms):
    """An AWG conductor at 75 °C has the ohms per 1000 ft of NEC chapter 9 table 8, stranded unless said."""
    assert ohm_per_kft(parse_gauge(text)) == pytest.approx(ohms, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "ohm_per_km"),
    [  # The ohm/km column of the same table, printed to three or four figures.
        ("18 AWG", 26.1),
        ("16 AWG", 16.4),
        ("14 AWG", 10.3),
        ("12 AWG", 6.50),
        ("10 AWG", 4.070),
        ("8 AWG", 2.551),
        ("6 AWG", 1.608),
        ("4 AWG", 1.01),
    ],
)
def test_the_metric_column_of_the_table_agrees(text, ohm_per_km):
    """The table's own ohm/km column agrees with its ohm/kFT column to 0.2 %."""
    assert ohm_per_m(parse_gauge(text)) * 1000.0 == pytest.approx(ohm_per_km, rel=2e-3)


@pytest.mark.parametrize("size", AWG_SIZES)
def test_american_sizes_agree_with_the_resistivity_of_copper(size):
    """Table 8 lies within 0.4 % (solid) and 0.5 % (stranded, 2 % allowance) of the resistivity of copper."""
    computed = RESISTIVITY_OHM_MM2_PER_M / awg_area_mm2(size) * (1.0 + ALPHA_20 * 55.0)
    stranded = Gauge(size=size, unit=Unit.AWG, build=Build.STRANDED)
    assert ohm_per_m(stranded) == pytest.approx(1.02 * computed, rel=5.1e-3)
    assert stranded.area_mm2 == pytest.approx(awg_area_mm2(size), rel=1e-4)
    if size > 6:
        solid = Gauge(size=size, unit=Unit.AWG, build=Build.SOLID)
        assert ohm_per_m(solid) == pytest.approx(computed, rel=4e-3)


@pytest.mark.parametrize(
    ("temperature_c", "ohms"), [(10.0, 1.564), (20.0, 1.628), (25.0, 1.660), (40.0, 1.756), (75.0, 1.98)]
)
def test_the_note_on_temperature_is_followed(temperature_c, ohms):
    """12 AWG stranded at 10 to 75 °C has the ohms that the note to table 8 gives, to its printed digits."""
    assert round(ohm_per_kft(parse_gauge("12 AWG"), temperature_c), 3) == ohms


@pytest.mark.parametrize(
    ("build", "ohms"),
    [  # IEC 60228, maximum ohm/km at 20 °C, plain copper.
        (Build.SOLID, (24.5, 18.1, 12.1, 7.41, 4.61, 3.08, 1.83, 1.15)),
        (Build.STRANDED, (24.5, 18.1, 12.1, 7.41, 4.61, 3.08, 1.83, 1.15)),
        (Build.FLEXIBLE, (26.0, 19.5, 13.3, 7.98, 4.95, 3.30, 1.91, 1.21)),
    ],
)
def test_metric_sizes_have_the_standards_ohms_at_20_c(build, ohms):
    """A metric conductor at 20 °C has the most ohms that IEC 60228 allows, 5 to 16 % above copper."""
    for size, ohm in zip(MM2_SIZES, ohms, strict=True):
        gauge = Gauge(size=size, unit=Unit.MM2, build=build)
        assert ohm_per_m(gauge, 20.0) * 1000.0 == pytest.approx(ohm, rel=1e-12)
        assert 1.049 < ohm_per_m(gauge, 20.0) / (RESISTIVITY_OHM_MM2_PER_M / size) < 1.158


@pytest.mark.parametrize(("temperature_c", "factor"), [(30.0, 0.962), (70.0, 0.833)])
def test_metric_temperature_agrees_with_the_standards_factors(temperature_c, factor):
    """The rise with temperature agrees with the correction factors Kt of IEC 60228 annex to 0.4 %."""
    gauge = parse_gauge("2.5 mm2")
    assert ohm_per_m(gauge, 20.0) / ohm_per_m(gauge, temperature_c) == pytest.approx(factor, rel=4e-3)


def test_both_kinds_of_gauge_default_to_75_c():
    """Without a temperature a metric size is brought to 75 °C, where the American table stands."""
    gauge = parse_gauge("4 mm2")
    assert ohm_per_m(gauge) == ohm_per_m(gauge, 75.0) == pytest.approx(4.95e-3 * (1.0 + 0.00393 * 55.0))


def test_a_loop_is_out_and_back():
    """100 ft of 12 AWG are a loop of 0.396 ohm (the figure of the worked no-solution cases)."""
    assert loop_ohm(parse_gauge("12 AWG"), parse_length("100 ft")) == pytest.approx(0.396, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "again"),
    [
        ("12 AWG", "12 AWG"),
        ("12awg", "12 AWG"),
        (" 12 AWG stranded ", "12 AWG"),
        ("12 AWG Solid", "12 AWG solid"),
        ("2.5 mm2", "2.5 mm2"),
        ("2.5 mm²", "2.5 mm2"),
        ("4 mm2 flexible", "4 mm2"),
        ("1.5 mm2 stranded", "1.5 mm2 stranded"),
        ("1.0 mm2 solid", "1 mm2 solid"),
    ],
)
def test_a_gauge_is_read_and_written_back(text, again):
    """A gauge as a person writes it is read, and its text parses to the same gauge."""
    gauge = parse_gauge(text)
    assert str(gauge) == again
    assert parse_gauge(str(gauge)) == gauge


@pytest.mark.parametrize("text", ["", "12", "AWG", "12/", "-12 AWG", "12 AWG fine", "2,5 mm2"])
def test_a_text_that_is_no_gauge_is_refused_and_quoted(text):
    """What is no gauge is refused with the text itself and an example that would do."""
    with pytest.raises(WiringError, match="12 AWG") as caught:
        parse_gauge(text)
    assert f"“{text}”" in str(caught.value)


@pytest.mark.parametrize(
    "text", ["13 AWG", "6 AWG solid", "4 AWG solid", "2 AWG", "12 AWG flexible", "3 mm2", "25 mm2"]
)
def test_a_size_in_no_table_is_refused_with_those_that_are(text):
    """A size without a published resistance is refused; nothing is computed in its place."""
    with pytest.raises(WiringError, match="not in any table of resistances; use"):
        parse_gauge(text)


@pytest.mark.parametrize(
    ("text", "length_m"), [("100 ft", 30.48), ("30 m", 30.0), ("2.5m", 2.5), (" 7.25 FT ", 2.2098)]
)
def test_a_length_is_read_in_feet_and_metres(text, length_m):
    """Feet are international feet of 0.3048 m; metres stay."""
    assert parse_length(text) == pytest.approx(length_m, rel=1e-12)


@pytest.mark.parametrize("text", ["", "100", "100 yd", "-3 m", "0 m", "0.0 ft", "1e3 m", "inf m", "3 m m"])
def test_a_text_that_is_no_length_is_refused(text):
    """What is no length above zero is refused and quoted."""
    with pytest.raises(WiringError) as caught:
        parse_length(text)
    assert f"“{text}”" in str(caught.value)


@pytest.mark.parametrize("temperature_c", [math.nan, math.inf, -41.0, 106.0])
def test_a_temperature_no_cable_has_is_refused(temperature_c):
    """A temperature outside −40 to 105 °C is refused."""
    with pytest.raises(WiringError, match="no cable's temperature"):
        ohm_per_m(parse_gauge("12 AWG"), temperature_c)


@given(st.sampled_from(AWG_SIZES + MM2_SIZES), st.floats(min_value=-40.0, max_value=105.0))
def test_thicker_cable_has_less_resistance(size, temperature_c):
    """At any temperature every thicker gauge has fewer ohms than the one before, and may carry more."""
    unit = Unit.MM2 if size in MM2_SIZES and size not in AWG_SIZES else Unit.AWG
    chain = same_kind(Gauge(size=size, unit=unit, build=Build.STRANDED))
    ohms = [ohm_per_m(gauge, temperature_c) for gauge in chain]
    assert ohms == sorted(ohms, reverse=True)
    assert len(set(ohms)) == len(ohms)
    amperes = [ampacity(gauge).amperes for gauge in chain]
    assert amperes == sorted(amperes)
    assert all(ampacity(gauge).source for gauge in chain)
