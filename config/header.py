"""The 40-pin header of a board: which BCM line is on which of its pins.

Leerie and the site file count lines by their BCM number; the numbers beside the header's pins are others.
Held against gpiozero's own description of the boards by tests/config/test_header.py.
"""

from config.phrase import Phrase

HEADER_PINS = {
    0: 27, 1: 28, 2: 3, 3: 5, 4: 7, 5: 29, 6: 31, 7: 26, 8: 24, 9: 21, 10: 19, 11: 23, 12: 32, 13: 33, 14: 8,
    15: 10, 16: 36, 17: 11, 18: 12, 19: 35, 20: 38, 21: 40, 22: 15, 23: 16, 24: 18, 25: 22, 26: 37, 27: 13,
}  # fmt: skip
SUPPLY_PINS = {
    **dict.fromkeys((1, 17), Phrase("{volts:g} V", volts=3.3)),
    **dict.fromkeys((2, 4), Phrase("{volts:g} V", volts=5)),
    **dict.fromkeys((6, 9, 14, 20, 25, 30, 34, 39), Phrase("ground")),
}

# The BCM lines that suit a relay, whichever level closes it, in the order in which they are proposed: none is
# a bus or a console, and none is pulled up while the board starts. Those of SPI come last.
RELAY_LINES = (17, 27, 22, 23, 24, 25, 16, 26, 12, 13, 18, 19, 20, 21, 9, 10, 11)


def describe_header_pin(header_pin: int) -> str:
    """Say what is on a pin of the header, by its number there; an empty text where there is no such pin."""
    if header_pin in SUPPLY_PINS:
        return Phrase("header pin {pin} is {what}", pin=header_pin, what=SUPPLY_PINS[header_pin])
    bcm = next((line for line, pin in HEADER_PINS.items() if pin == header_pin), None)
    return "" if bcm is None else Phrase("header pin {pin} is BCM {bcm}", pin=header_pin, bcm=bcm)
