"""What is allowed but probably a mistake: each warning with its place, its message and its remedy."""

import pytest

from config.file.loader import example_path, load_site, parse_site
from tests.config.site_texts import GOOD, spoil, warnings_of

EVERY_NIGHT_DARK = 'add a span such as "dusk to midnight"'


def test_the_good_file_has_no_warnings():
    """Every warning below is the only one in its file."""
    assert warnings_of(GOOD) == []


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "pin = 17",
            "pin = 2",
            (
                "21: zone “path”, pin = 2: has a pull-up resistor that cannot be taken off; "
                "another pin is better for a relay"
            ),
        ),
        (
            "pin = 17",
            "pin = 15",
            (
                "21: zone “path”, pin = 15: is the serial console's pin and moves while the board starts; "
                "another pin is better for a relay"
            ),
        ),
        (
            'currency = "GBP"',
            'currency = "GPB"',
            '8: tariff.currency = "GPB": is not a currency known here; check that it is a code of ISO 4217',
        ),
        (
            "per_kwh = 0.29",
            "per_kwh = 0.29\n[[tariff.bands]]\nper_kwh = 0.12",
            (
                "10: tariff.bands[1]: holds at all times, so that no price before it ever counts; "
                "say from when to when, on which days or in which season"
            ),
        ),
        (
            "per_kwh = 0.29",
            (
                "per_kwh = 0.29\n[[tariff.changes]]\nsince = 2027-04-01\nper_kwh = 1\n"
                '[[tariff.changes.bands]]\nfrom = "06:00"\nto = "06:00"\nper_kwh = 2'
            ),
            (
                "13: tariff.changes[1].bands[1]: holds at all times, so that no price before it ever counts; "
                "say from when to when, on which days or in which season"
            ),
        ),
        (
            "rated_va = 200",
            "rated_va = 200\nefficiency = 0.12",
            (
                "17: transformer “shed”, efficiency = 0.12: means that more than half is lost; "
                "write what the transformer gives over what it takes, as 0.88 for 88 %"
            ),
        ),
        (
            "rated_va = 200",
            "rated_va = 200\nno_load_w = 60",
            (
                "17: transformer “shed”, no_load_w = 60: is 30% of its rating, which is far more than usual; "
                "check the plate, or measure it"
            ),
        ),
        (
            "rated_va = 200",
            'rated_va = 200\nrelay_side = "mains"\n[[zones]]\nid = "a"\npin = 4\nprogram = ["dusk to dawn"]',
            (
                '17: transformer “shed”, relay_side = "mains": switches the mains of a transformer that 2 '
                "zones share: each lights all of them; give each of these zones its own transformer, "
                "or write “low voltage”"
            ),
        ),
        (
            "pin = 17",
            "pin = 17\nrated_watts = 30",
            (
                "22: zone “path”, rated_watts = 30: does not count while fixtures are listed; "
                "remove it, or rename it to measured_watts if it was measured"
            ),
        ),
        (
            '["dusk to midnight"]',
            '[\n  "dusk to midnight",\n  "23:45 to 21:15",\n]',
            (
                '24: zone “path”, program[2] = "23:45 to 21:15": '
                "gives no light: it ends before it begins, as a night runs from noon to noon; "
                "swap the two times, or write one span to 11:59 and one from 12:00"
            ),
        ),
        (
            '["dusk to midnight"]',
            '["dusk to 12:00"]',
            (
                '22: zone “path”, program[1] = "dusk to 12:00": '
                "gives no light: it ends at noon, when the night begins; write 00:00 for midnight"
            ),
        ),
        (
            '["dusk to 01:30"]',
            '["01:30 to 22:00"]',
            (
                '26: zone “path”, special_nights[1].program[1] = "01:30 to 22:00": '
                "gives no light: it ends before it begins, as a night runs from noon to noon; "
                "swap the two times, or write one span to 11:59 and one from 12:00"
            ),
        ),
        (
            '  program = ["dusk to 01:30"]\n',
            '  program = ["dusk to 01:30"]\n  [[zones.special_nights]]\n  nights = " fri,Sat"\n',
            (
                '25: zone “path”, special_nights[1].nights = "Fri, Sat": '
                "is given again on line 28, and the last one decides; remove one of the two"
            ),
        ),
        (
            "rated_va = 200",
            "rated_va = 30",
            (
                "16: transformer “shed”, rated_va = 30: is nearly used up: its zones draw 27 W, "
                "90% of its rating; common practice is to stay at or below 80 %"
            ),
        ),
        (
            "rated_va = 200",
            "rated_va = 20",
            (
                "16: transformer “shed”, rated_va = 20: is too small: its zones draw 27 W, "
                "135% of its rating; move a zone to another one, or fit lamps of fewer watts"
            ),
        ),
    ],
)
def test_each_warning_is_reported_with_its_place_and_remedy(old, new, told):
    """One suspicious value in a valid file gives exactly this one warning."""
    assert warnings_of(spoil(old, new)) == [f"site.toml:{told}"]


def test_a_load_of_exactly_eighty_percent_is_well():
    """Common practice allows 80 % itself: 24 W of 30 VA."""
    assert warnings_of(spoil("rated_va = 200", "rated_va = 30").replace("watts = 4.5", "watts = 4")) == []


def test_a_zone_of_unknown_load_is_counted_and_said():
    """A sum that leaves out a zone says so."""
    text = spoil("rated_va = 200", "rated_va = 30")
    text += '[[zones]]\nid = "b"\npin = 4\nprogram = ["dusk for 1h"]\n'
    assert warnings_of(text) == [
        (
            "site.toml:16: transformer “shed”, rated_va = 30: is nearly used up: its zones draw 27 W, "
            "1 of them with an unknown load, 90% of its rating; common practice is to stay at or below 80 %"
        )
    ]


def test_a_zone_that_is_never_lit_gets_a_warning_unless_it_is_out_of_service():
    """An empty program without a lit special night gets a warning; a zone out of service may be dark."""
    dark = spoil('["dusk to midnight"]', "[]").replace('["dusk to 01:30"]', "[]")
    assert warnings_of(dark) == [
        "site.toml:22: zone “path”, program = []: leaves the zone dark on every night; " + EVERY_NIGHT_DARK
    ]
    assert warnings_of(dark.replace("pin = 17", 'pin = 17\nout_of_service = "cable cut"')) == []
    assert warnings_of(spoil('["dusk to midnight"]', "[]")) == []


@pytest.mark.parametrize(
    ("place", "latitude", "longitude", "time_zone"),
    [
        ("Kashgar, on Beijing's time", 39.47, 75.99, "Asia/Shanghai"),
        ("Kiritimati, beyond the date line", 1.87, -157.4, "Pacific/Kiritimati"),
        ("Chatham", -43.95, -176.56, "Pacific/Chatham"),
        ("Samoa", -13.83, -171.76, "Pacific/Apia"),
        ("Vigo, west Spain", 42.24, -8.72, "Europe/Madrid"),
        ("Troll, two hours of summer time", -72.01, 2.53, "Antarctica/Troll"),
        ("Dublin, whose winter time is the odd one", 53.35, -6.26, "Europe/Dublin"),
        ("Hobart, in January on summer time", -42.88, 147.33, "Australia/Hobart"),
        ("Adak", 51.88, -176.66, "America/Adak"),
        ("Fiji", -18.14, 178.44, "Pacific/Fiji"),
    ],
)
def test_a_time_zone_that_people_live_by_gets_no_warning(place, latitude, longitude, time_zone):
    """Wide zones, the date line and summer time in January are all real; places by any atlas."""
    text = spoil("longitude = -0.1", f"longitude = {longitude}").replace("Europe/London", time_zone)
    assert warnings_of(text.replace("latitude = 51.5", f"latitude = {latitude}")) == [], place


def test_a_time_zone_at_odds_with_the_longitude_gets_a_warning():
    """A zone that no place is known by is compared with the sun: 71.3 east is 4.75 h, GMT+5 is -5 h."""
    text = spoil("longitude = -0.1", "longitude = 71.3128").replace("Europe/London", "Etc/GMT+5")
    assert warnings_of(text) == [
        (
            'site.toml:5: site.time_zone = "Etc/GMT+5": is 9.8 hours off the sun\'s time at longitude '
            "71.3128; check the time zone and the sign of the longitude (west is negative)"
        )
    ]


def test_warnings_come_in_the_order_of_the_file():
    """Several warnings are sorted by line."""
    text = spoil("pin = 17", "pin = 3").replace('"GBP"', '"XBT"').replace("rated_va = 200", "rated_va = 20")
    assert [line.split(":")[1] for line in warnings_of(text)] == ["8", "16", "21"]


@pytest.mark.parametrize("name", ["one-zone", "two-zones", "full-property", "polar"])
def test_the_examples_have_no_warnings(name):
    """Every example that comes with the program is valid and without a warning."""
    assert load_site(example_path(name)).warnings == ()


def test_the_examples_show_what_they_promise():
    """One zone; two with special nights; eight on two transformers with a tariff, and the same far north."""
    names = ("one-zone", "two-zones", "full-property", "polar")
    sites = {name: load_site(example_path(name)).site for name in names}
    assert [len(site.zones) for site in sites.values()] == [1, 2, 8, 8]
    assert all(zone.special_nights for zone in sites["two-zones"].zones)
    for name in ("full-property", "polar"):
        assert len(sites[name].transformers) == 2
        assert sites[name].tariff is not None
        assert len({fixture.kind for zone in sites[name].zones for fixture in zone.fixtures}) >= 6
    assert sites["polar"].latitude_deg > 66.6
    assert {zone.id for zone in sites["polar"].zones} == {zone.id for zone in sites["full-property"].zones}


def test_an_example_that_does_not_exist_is_named_with_those_that_do():
    """Asking for an unknown example names those there are."""
    with pytest.raises(FileNotFoundError) as caught:
        example_path("castle")
    assert str(caught.value) == (
        "no example is called “castle”; there are full-property, one-zone, polar, two-zones"
    )


def test_the_design_of_a_site_file_reads_without_a_word():
    """The site file by which the format was agreed is valid and has no warnings."""
    text = """\
[site]
name = "Saltmarsh Lodge"
latitude = 41.4901
longitude = -71.3128
time_zone = "America/New_York"

[tariff]
currency = "USD"
per_kwh = 0.29

[relays]
board = "simulated"            # or "gpio"

[[transformers]]
id = "boathouse"
rated_va = 200

[[zones]]
id = "jetty"
name = "Jetty and steps"
transformer = "boathouse"
pin = 17                        # BCM number
active_high = false             # most relay boards close on low
program = ["dusk to midnight"]

  [[zones.special_nights]]
  nights = "Fri, Sat"
  program = ["dusk to 01:30"]

  [[zones.fixtures]]
  kind = "path"
  count = 6
  watts = 4.5
"""
    loaded = parse_site(text, "site.toml")
    assert loaded.warnings == ()
    assert loaded.site.zone("jetty").rated_load.watts == 27.0
