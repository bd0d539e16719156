"""The tariff of the site file: one price, bands that differ, and changes from a date on."""

from datetime import date, time
from decimal import Decimal

import pytest

from config.file.loader import parse_site
from config.program.special_nights import parse_nights
from tests.config.site_texts import GOOD, spoil

BANDS = """per_kwh = 0.29

  [[tariff.bands]]
  name = "peak"
  from = "16:00"
  to = "21:00"
  days = "Mon, Tue, Wed, Thu, Fri"
  season = "06-01 to 09-30"
  per_kwh = 0.410

  [[tariff.bands]]
  from = "23:00"
  to = "midnight"
  per_kwh = 0.12

  [[tariff.changes]]
  since = 2027-04-01
  per_kwh = 0.31

    [[tariff.changes.bands]]
    to = 07:00:00
    per_kwh = 0.14
"""


def tariff_of(text):
    """The tariff of a site file."""
    tariff = parse_site(text, "site.toml").site.tariff
    assert tariff is not None
    return tariff


def test_one_price_is_flat():
    """A price alone holds at all times."""
    tariff = tariff_of(GOOD)
    assert (tariff.per_kwh, tariff.bands, tariff.changes, tariff.is_flat) == (Decimal("0.29"), (), (), True)


def test_bands_and_changes_become_values():
    """Clock times, days, seasons and dates are read; what is left out is midnight, or no condition."""
    tariff = tariff_of(spoil("per_kwh = 0.29\n", BANDS))
    assert not tariff.is_flat
    peak, night = tariff.bands
    assert (peak.name, peak.begins, peak.ends) == ("peak", time(16), time(21))
    assert peak.days == parse_nights("Mon, Tue, Wed, Thu, Fri")
    assert peak.season == parse_nights("06-01 to 09-30")
    assert peak.per_kwh.as_tuple() == Decimal("0.410").as_tuple()
    assert (night.begins, night.ends, night.days, night.season) == (time(23), time(0), None, None)
    (change,) = tariff.changes
    assert (change.since, change.per_kwh) == (date(2027, 4, 1), Decimal("0.31"))
    assert (change.bands[0].begins, change.bands[0].ends) == (time(0), time(7))


@pytest.mark.parametrize(
    ("written", "clock"), [("07:00", time(7)), ("Midnight", time(0)), (" 23:59 ", time(23, 59))]
)
def test_a_clock_time_is_read_as_in_a_program(written, clock):
    """The clock times of a band are those of the program language."""
    bands = f'per_kwh = 0.29\n[[tariff.bands]]\nfrom = "{written}"\nto = "12:00"\nper_kwh = 1\n'
    assert tariff_of(spoil("per_kwh = 0.29\n", bands)).bands[0].begins == clock


def test_losses_of_a_transformer_are_read():
    """Two losses or an efficiency, and on which side the relays stand; nothing of it is needed."""

    def losses_of(lines):
        text = spoil("rated_va = 200", f"rated_va = 200\n{lines}")
        (shed,) = parse_site(text, "site.toml").site.transformers
        return shed.no_load_w, shed.copper_w, shed.efficiency, shed.relay_side

    assert losses_of("no_load_w = 6\ncopper_w = 9.5") == (6.0, 9.5, None, "low voltage")
    assert losses_of('efficiency = 1\nrelay_side = "mains"') == (None, None, 1.0, "mains")
