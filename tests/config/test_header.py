"""The 40-pin header, held against gpiozero's description of a board that has one."""

import re

from gpiozero.pins.pi import PiBoardInfo

from config.header import HEADER_PINS, SUPPLY_PINS, describe_header_pin
from config.models.site import FIRST_PIN, LAST_PIN

# The revision code of a board with this header; gpiozero describes each board by its own.
HEADER = PiBoardInfo.from_revision(0xA02082).headers["J8"]


def test_each_line_is_on_the_pin_that_gpiozero_says():
    """All 28 lines and all 12 pins of supply and ground are where gpiozero has them."""
    lines = {
        int(found[1]): number
        for number, pin in HEADER.pins.items()
        if (found := re.fullmatch(r"GPIO(\d+)", pin.name))
    }
    assert lines == HEADER_PINS
    supply = {number: pin.name for number, pin in HEADER.pins.items() if not pin.name.startswith("GPIO")}
    names = {"3V3": "3.3 V", "5V": "5 V", "GND": "ground"}
    assert {number: names[name] for number, name in supply.items()} == SUPPLY_PINS


def test_every_pin_of_the_header_can_be_described():
    """Each of the forty has a text of its own; beyond them there is none."""
    texts = [describe_header_pin(number) for number in range(1, 41)]
    assert len(set(texts)) == 40
    assert describe_header_pin(0) == describe_header_pin(41) == ""
    assert describe_header_pin(11) == "header pin 11 is BCM 17"
    assert describe_header_pin(39) == "header pin 39 is ground"
    assert set(HEADER_PINS) == {0, 1, *range(FIRST_PIN, LAST_PIN + 1)}
