"""Whether a relay's contact carries its zone: amperes worked out by hand, inrush by the factors of the trade.

Cold filaments take 10 to 15 times their current and transformers 10 to 15 times (toroidal ones up to 60), by
several technical texts; LED drivers about 10 times by common practice, without a source.
"""

import pytest

from tests.config.site_texts import GOOD, problems_of, spoil, warnings_of

# The good file has 6 LED lamps of 4.5 W: 27 W, 2.25 A at 12 V, about 22.5 A for a moment.
LED = "LED drivers take about 10 times their current"
FILAMENT = "cold filaments take up to 15 times their current"
LOOK = "look for the inrush current in the relay’s data sheet, and write it as contact_inrush_a"
LAMPS = "use a relay that is made for lamps or for more inrush"


def with_relays(keys, text=GOOD):
    """The good file, or another, with more keys about the relays."""
    return text.replace('board = "simulated"', f'board = "simulated"\n{keys}')


def test_nothing_is_said_where_no_rating_is_given():
    """Without a contact rating there is nothing to compare with."""
    assert warnings_of(GOOD) == []


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("contact_a = 23", []),
        (
            "contact_a = 10",
            [f"13: relays.contact_a = 10: is exceeded for a moment in zone “path”: {LED}, here 22 A; {LOOK}"],
        ),
        ("contact_a = 10\ncontact_inrush_a = 30", []),
        (
            "contact_a = 10\ncontact_inrush_a = 20",
            [
                (
                    "14: relays.contact_inrush_a = 20: is exceeded for a moment in zone “path”: "
                    f"{LED}, here 22 A; {LAMPS}"
                )
            ],
        ),
        (
            "contact_a = 2",
            [
                (
                    "19: zone “path”: draws 2.2 A, more than the 2 A that its relay’s contact is rated for; "
                    "use a relay for more amperes, or split the zone"
                )
            ],
        ),
    ],
)
def test_a_zone_is_compared_with_the_contact_of_its_relay(keys, told):
    """27 W at 12 V are 2.25 A while lit; at the moment of switching on LED drivers take ten times as much."""
    assert warnings_of(with_relays(keys)) == [f"site.toml:{each}" for each in told]


def test_cold_filaments_take_more():
    """60 W of filaments at 12 V: 5 A, and up to 75 A when they are cold."""
    text = spoil("  watts = 4.5", '  watts = 10\n  lamp = "filament"')
    [told] = warnings_of(with_relays("contact_a = 10", text))
    assert told.endswith(f"zone “path”: {FILAMENT}, here 75 A; {LOOK}")
    assert warnings_of(with_relays("contact_a = 10\ncontact_inrush_a = 75", text)) == []


def test_a_rating_for_lamps_allows_for_their_inrush():
    """A contact rated 10 A for lamps takes 5 A of cold filaments; one rated for resistive loads may not."""
    text = spoil("  watts = 4.5", '  watts = 10\n  lamp = "filament"')
    assert warnings_of(with_relays('contact_a = 10\ncontact_load = "lamps"', text)) == []
    assert len(warnings_of(with_relays('contact_a = 10\ncontact_load = "resistive"', text))) == 1
    [told] = warnings_of(with_relays('contact_a = 4\ncontact_load = "lamps"', text))
    assert "draws 5.0 A, more than the 4 A" in told


def test_the_tap_in_use_decides_the_amperes():
    """27 W at a tap of 15 V are 1.8 A."""
    text = with_relays("contact_a = 1.79", spoil("rated_va = 200", "rated_va = 200\ntap = 15"))
    [told] = warnings_of(text)
    assert "draws 1.8 A, more than the 1.79 A" in told
    assert not any("draws" in each for each in warnings_of(text.replace("1.79", "1.81")))


def test_the_power_factor_of_a_lamp_adds_amperes():
    """27 W at a power factor of 0.5 are 54 VA, 4.5 A at 12 V."""
    text = spoil("  watts = 4.5", "  watts = 4.5\n  power_factor = 0.5")
    [told] = warnings_of(with_relays("contact_a = 4.4", text))
    assert "draws 4.5 A, more than the 4.4 A" in told


def test_a_measured_load_counts_before_the_listed_one():
    """54 W measured at a tap of 12 V are 4.5 A, whatever the lamps add up to; the inrush grows with it."""
    text = spoil("pin = 17", "pin = 17\nmeasured_watts = 54").replace(
        "rated_va = 200", "rated_va = 200\ntap = 12"
    )
    [told] = warnings_of(with_relays("contact_a = 4.4", text))
    assert "draws 4.5 A, more than the 4.4 A" in told
    [told] = warnings_of(with_relays("contact_a = 4.6", text))
    assert f"{LED}, here 45 A" in told


def test_a_zone_of_which_only_the_watts_are_known_has_no_inrush_figure():
    """Which lamps they are is not known: only the current while lit is compared."""
    text = GOOD[: GOOD.index("  [[zones.fixtures]]")].replace("rated_va = 200", "rated_va = 200\ntap = 12")
    text = text.replace("pin = 17", "pin = 17\nrated_watts = 60")
    assert warnings_of(with_relays("contact_a = 5.1", text)) == []
    [told] = warnings_of(with_relays("contact_a = 4.9", text))
    assert "draws 5.0 A, more than the 4.9 A" in told


def test_a_relay_on_the_mains_switches_the_whole_transformer():
    """200 VA at 230 V are 0.87 A, and up to 13 A for some cycles; without mains_volts 120 V are assumed."""
    text = spoil("rated_va = 200", 'rated_va = 200\nrelay_side = "mains"\nmains_volts = 230')
    [told] = warnings_of(with_relays("contact_a = 10", text))
    why = "a transformer takes up to 15 times its current, a toroidal one up to 60"
    assert told.endswith(f"in zone “path”: {why}, here 13 A; {LOOK}")
    [told] = warnings_of(with_relays("contact_a = 0.8", text))
    assert "switches 200 VA at 230 V, 0.9 A, more than the 0.8 A" in told
    [told] = warnings_of(with_relays("contact_a = 1.6", text.replace("mains_volts = 230\n", "")))
    assert "switches 200 VA at 120 V (assumed: write mains_volts), 1.7 A, more than the 1.6 A" in told


def test_a_zone_may_have_a_relay_of_its_own():
    """A zone's rating counts before that of the board, and the board's inrush is not its relay's."""
    text = with_relays("contact_a = 2\ncontact_inrush_a = 100", spoil("pin = 17", "pin = 17\ncontact_a = 16"))
    assert warnings_of(text) == [
        (
            "site.toml:24: zone “path”, contact_a = 16: is exceeded for a moment in zone “path”: "
            f"{LED}, here 22 A; {LOOK}"
        )
    ]
    assert warnings_of(text.replace("contact_a = 16", "contact_a = 16\ncontact_inrush_a = 80")) == []


def test_several_zones_with_one_cause_are_one_line():
    """The worst zone is named and the others are counted."""
    more = '[[zones]]\nid = "{}"\npin = {}\nprogram = ["dusk to dawn"]\n'
    more += '  [[zones.fixtures]]\n  kind = "spot"\n  count = {}\n  watts = 6\n'
    text = GOOD + more.format("oak", 18, 7) + more.format("elm", 22, 5)
    [told] = warnings_of(with_relays("contact_a = 10", text))
    assert f"in zone “oak” and 2 more: {LED}, here 35 A" in told


@pytest.mark.parametrize("pin", range(2, 28))
def test_a_relay_that_closes_on_high_wants_a_pin_that_is_low_at_boot(pin):
    """BCM 2 to 8 are pulled up while the board starts: with active_high that lights the zone."""
    text = spoil("pin = 17", f"pin = {pin}\nactive_high = true")
    told = [each for each in warnings_of(text) if "active_high" in each]
    assert len(told) == (pin <= 8)
    for each in told:
        assert f"as BCM {pin} is pulled up until Leerie sets it; use BCM 9 to 13 or 16 to 27" in each
        assert len(warnings_of(text)) == 1
    assert not any("pulled up" in each for each in warnings_of(spoil("pin = 17", f"pin = {pin}")))


@pytest.mark.parametrize("key", ["contact_a = 0", "contact_a = 101", "contact_inrush_a = -1"])
def test_a_rating_out_of_bounds_is_refused(key):
    """A rating is above nothing and of a relay, not of a power station."""
    [told] = problems_of(with_relays(key))
    assert "is too" in told
