"""Draws the pictures of systemd/wiring.md: ``python -m tests.systemd.drawings`` writes them anew.

Each is 360 units wide, so that it can be read on a phone, and has its own background in light and dark.
"""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import escape

from config.header import HEADER_PINS, RELAY_LINES, SUPPLY_PINS

FOLDER = Path(__file__).parents[2] / "systemd"
WIDTH = 360

LIGHT = {
    "back": "#ffffff", "ink": "#1b2430", "soft": "#4d5866", "edge": "#75818f", "fill": "#f1f4f8",
    "mains": "#b3261e", "low": "#855300", "signal": "#13703f", "good": "#cdeed9", "warm": "#ffe3ad",
    "bad": "#fbd0cc", "grey": "#dfe4ea",
}  # fmt: skip
DARK = {
    "back": "#14171c", "ink": "#e8ebf0", "soft": "#aab4c2", "edge": "#707c8c", "fill": "#1f242c",
    "mains": "#ff8f85", "low": "#ffc062", "signal": "#6fdca3", "good": "#14502f", "warm": "#5d4206",
    "bad": "#6d211b", "grey": "#3a424d",
}  # fmt: skip
SCHEMES = {"light": LIGHT, "dark": DARK}


def _rules(colours: dict[str, str]) -> str:
    wires = "".join(f".{kind}{{stroke:{colours[kind]}}}" for kind in ("ink", "mains", "low", "signal"))
    pins = "".join(f".{kind}{{fill:{colours[kind]}}}" for kind in ("good", "warm", "bad", "grey"))
    return (
        f".back{{fill:{colours['back']}}}text{{fill:{colours['ink']}}}.soft{{fill:{colours['soft']}}}"
        f".box{{fill:{colours['fill']};stroke:{colours['edge']}}}.zone{{stroke:{colours['edge']}}}"
        f".pin{{stroke:{colours['edge']}}}.knot{{fill:{colours['ink']}}}{wires}{pins}"
    )


STYLE = (
    "text{font:12px system-ui,sans-serif}.head{font-weight:700;font-size:14px}.bold{font-weight:700}"
    ".soft{font-size:11px}.wire{fill:none;stroke-width:2;stroke-linejoin:round;stroke-linecap:round}"
    f".zone{{fill:none;stroke-dasharray:5 4}}{_rules(LIGHT)}"
    f"@media (prefers-color-scheme:dark){{{_rules(DARK)}}}"
)


class Drawing:
    """Plain shapes, one below the other in a text."""

    def __init__(self, *, height: int, title: str, description: str) -> None:
        self._knots: list[str] = []
        self._parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img">',
            f"<title>{escape(title)}</title>",
            f"<desc>{escape(description)}</desc>",
            f"<style>{STYLE}</style>",
            f'<rect class="back" width="{WIDTH}" height="{height}" rx="8"/>',
        ]

    def text(self, x: float, y: float, words: str, kind: str = "", anchor: str = "start") -> None:
        placed = "" if anchor == "start" else f' text-anchor="{anchor}"'
        named = f' class="{kind}"' if kind else ""
        self._parts.append(f'<text x="{x}" y="{y}"{named}{placed}>{escape(words)}</text>')

    def lines(self, x: float, y: float, *words: str, kind: str = "soft") -> None:
        for number, line in enumerate(words):
            self.text(x, y + 15 * number, line, kind)

    def wire(self, kind: str, *points: tuple[float, float]) -> None:
        path = " ".join(f"{x},{y}" for x, y in points)
        self._parts.append(f'<polyline class="wire {kind}" points="{path}"/>')

    def box(self, x: float, y: float, width: float, height: float, kind: str = "box") -> None:
        self._parts.append(f'<rect class="{kind}" x="{x}" y="{y}" width="{width}" height="{height}" rx="4"/>')

    def circle(self, x: float, y: float, radius: float, kind: str) -> None:
        self._parts.append(f'<circle class="{kind}" cx="{x}" cy="{y}" r="{radius}"/>')

    def knot(self, x: float, y: float) -> None:
        """A terminal or a joint; drawn after all wires."""
        self._knots.append(f'<circle class="knot" cx="{x}" cy="{y}" r="3.5"/>')

    def fuse(self, x: float, y: float, kind: str) -> None:
        """From x to x + 24."""
        self._parts.append(f'<rect class="wire {kind}" x="{x}" y="{y - 5}" width="24" height="10"/>')
        self.wire(kind, (x, y), (x + 24, y))

    def dashed(self, x: float, top: float, bottom: float) -> None:
        """What moves a contact."""
        self._parts.append(f'<line class="zone" x1="{x}" y1="{top}" x2="{x}" y2="{bottom}"/>')

    def resistor(self, x: float, y: float, height: float) -> None:
        self._parts.append(f'<rect class="box" x="{x - 5}" y="{y}" width="10" height="{height}"/>')

    def contact(self, x: float, y: float, kind: str) -> None:
        """A contact that is open, from x to x + 36."""
        self.knot(x, y)
        self.knot(x + 36, y)
        self.wire(kind, (x, y), (x + 32, y - 13))

    def lamp(self, x: float, y: float, kind: str) -> None:
        self._parts.append(f'<circle class="wire {kind}" cx="{x}" cy="{y}" r="9"/>')
        for side in (1, -1):
            self.wire(kind, (x - 6.4, y - 6.4 * side), (x + 6.4, y + 6.4 * side))

    def transformer(self, x: float, y: float) -> None:
        """Both windings 40 high; the first begins at x, the second at x + 26."""
        for start, sweep, kind in ((x, 1, "mains"), (x + 26, 0, "low")):
            arcs = f"a5 5 0 0 {sweep} 0 10" * 4
            self._parts.append(f'<path class="wire {kind}" d="M{start} {y}{arcs}"/>')
        for core in (x + 11, x + 15):
            self.wire("ink", (core, y), (core, y + 40))

    def pin(self, header_pin: int, *, at: tuple[float, float], kind: str, label: str, note: str = "") -> None:
        """A pin of the header with its number, and what is on it beside it."""
        x, y = at
        is_left = header_pin % 2 == 1
        side, anchor = (x - 24, "end") if is_left else (x + 24, "start")
        noted = f'<tspan class="soft">{escape(note)}</tspan>' if note else ""
        words = f'<tspan class="bold">{escape(label)}</tspan>'
        both = (
            f"{noted}{'  ' if noted else ''}{words}" if is_left else f"{words}{'  ' if noted else ''}{noted}"
        )
        self._parts.append(
            f'<g id="pin-{header_pin}"><circle class="pin {kind}" cx="{x}" cy="{y}" r="10"/>'
            f'<text class="number" x="{x}" y="{y + 4}" text-anchor="middle">{header_pin}</text>'
            f'<text class="what" x="{side}" y="{y + 4}" text-anchor="{anchor}" xml:space="preserve">{both}'
            "</text></g>"
        )

    def __str__(self) -> str:
        return "\n".join([*self._parts, *self._knots, "</svg>", ""])


_RESERVED = {
    **dict.fromkeys((0, 1), "memory"),
    **dict.fromkeys((2, 3), "I²C"),
    **dict.fromkeys((14, 15), "console"),
}


def kind_of_line(bcm: int) -> tuple[str, str]:
    """Give the colour of a line's pin, and why it does not suit a relay."""
    if bcm in RELAY_LINES:
        return "good", ""
    return ("bad", _RESERVED[bcm]) if bcm in _RESERVED else ("warm", "pulled up")


def header() -> Drawing:
    """The forty pins, seen from above."""
    drawing = Drawing(
        height=634,
        title="The 40-pin header: BCM numbers and header numbers",
        description="Two columns of twenty pins, each with its number there and its BCM number or supply.",
    )
    drawing.text(12, 24, "The 40-pin header, from above", "head")
    drawing.lines(12, 42, "In the circle: number on the header. Beside it: BCM.")
    drawing.box(149, 54, 62, 452)
    lines = {pin: bcm for bcm, pin in HEADER_PINS.items()}
    for pin in range(1, 41):
        at = (166, 194)[(pin - 1) % 2], 70 + 22 * ((pin - 1) // 2)
        if pin in SUPPLY_PINS:
            drawing.pin(pin, at=at, kind="grey", label=SUPPLY_PINS[pin])
        else:
            kind, note = kind_of_line(lines[pin])
            drawing.pin(pin, at=at, kind=kind, label=f"BCM {lines[pin]}", note=note)
    meanings = (
        ("good", "suits a relay"),
        ("warm", "pulled up at the start: not for active_high = true"),
        ("bad", "bus, console or memory of an add-on: leave it free"),
        ("grey", "supply or ground"),
    )
    for number, (kind, words) in enumerate(meanings):
        y = 528 + 22 * number
        drawing.circle(20, y, 7, f"pin {kind}")
        drawing.text(36, y + 4, words, "soft")
    drawing.text(36, 620, "Pin 1 mostly has a square solder pad.", "soft")
    return drawing


def _input(drawing: Drawing, y: float, *, supply: str, line: str, left: str) -> None:
    """An input that closes on low: supply, resistor, LED of the optocoupler, input, line of the board."""
    drawing.box(10, y, 112, 92)
    drawing.text(18, y + 17, "board", "bold")
    drawing.text(114, y + 40, supply, "", "end")
    drawing.text(114, y + 78, line, "", "end")
    drawing.box(176, y, 174, 92)
    drawing.text(342, y + 17, "relay board", "bold", "end")
    for at, name in ((36, "VCC"), (74, "IN1")):
        drawing.knot(122, y + at)
        drawing.knot(176, y + at)
        drawing.text(183, y + at - 5, name, "soft")
    drawing.wire("signal", (122, y + 36), (226, y + 36), (226, y + 74), (122, y + 74))
    drawing.resistor(226, y + 39, 14)
    drawing.wire("signal", (220, y + 57), (232, y + 57), (226, y + 67), (220, y + 57))
    drawing.wire("signal", (220, y + 67), (232, y + 67))
    drawing.text(242, y + 50, left, "bold")
    drawing.text(242, y + 66, "optocoupler’s LED", "soft")


def relay_board() -> Drawing:
    """Three ways to connect an input of a relay board."""
    drawing = Drawing(
        height=620,
        title="A 3.3 V line and the input of a relay board",
        description="Fed with 5 V, an input that closes on low may not open. Fed with 3.3 V it does. One "
        "that closes on high needs a common ground and 10 kilohms to it.",
    )
    drawing.text(12, 24, "1  Input fed with 5 V: off may not be off", "head")
    _input(drawing, 36, supply="pin 2: 5 V", line="BCM 17: 3.3 V", left="1.7 V left")
    drawing.lines(
        12, 146, "“Off” is a high line, 3.3 V. Fed with 5 V, the input still",
        "gets 1.7 V: its LED may glow, and the relay stay closed.",
    )  # fmt: skip
    drawing.text(12, 198, "2  Input fed with 3.3 V, coils with 5 V", "head")
    _input(drawing, 210, supply="pin 1: 3.3 V", line="BCM 17: 3.3 V", left="0 V left: off")
    drawing.box(10, 316, 112, 58)
    drawing.text(18, 333, "5 V supply", "bold")
    drawing.text(114, 349, "+5 V", "", "end")
    drawing.text(114, 367, "ground", "", "end")
    drawing.box(176, 316, 174, 58)
    drawing.text(342, 333, "coils", "bold", "end")
    for y, name in ((345, "coil supply, +5 V"), (363, "coil supply, ground")):
        drawing.wire("ink", (122, y), (176, y))
        drawing.knot(122, y)
        drawing.knot(176, y)
        drawing.text(185, y + 4, name, "soft")
    drawing.lines(
        12, 393, "Take off the jumper that joins VCC and the coil supply.",
        "A high line and VCC are now equal: the LED is dark.",
    )  # fmt: skip
    drawing.text(12, 444, "3  Relay that closes on high", "head")
    drawing.box(10, 456, 112, 92)
    drawing.text(18, 473, "board", "bold")
    drawing.text(114, 496, "BCM 17", "", "end")
    drawing.text(114, 534, "pin 9: ground", "", "end")
    drawing.box(226, 456, 124, 92)
    drawing.text(342, 473, "relay board", "bold", "end")
    for y, name in ((492, "IN1"), (530, "GND")):
        drawing.wire("signal", (122, y), (226, y))
        drawing.knot(122, y)
        drawing.knot(226, y)
        drawing.text(235, y + 4, name, "soft")
    drawing.wire("signal", (150, 492), (150, 530))
    drawing.knot(150, 492)
    drawing.knot(150, 530)
    drawing.resistor(150, 499, 24)
    drawing.text(163, 515, "10 kΩ", "bold")
    drawing.lines(
        12, 567, "The grounds are joined. The resistor holds the input low",
        "while nothing drives the line. Its inputs must close at 3.3 V:",
        "the data sheet says from how many volts they do.",
    )  # fmt: skip
    return drawing


def contact() -> Drawing:
    """What the three terminals of a contact do, off and on."""
    drawing = Drawing(
        height=206,
        title="The three terminals of a relay’s contact",
        description="With the relay off, COM is connected to NC. With the relay on, COM is connected to NO.",
    )
    drawing.text(12, 24, "COM, NO and NC", "head")
    for x, state, is_on in ((12, "relay off: dark", False), (188, "relay on: lit", True)):
        drawing.box(x, 36, 160, 104)
        drawing.text(x + 80, 55, state, "bold", "middle")
        drawing.wire("low", (x + 8, 96), (x + 50, 96))
        drawing.knot(x + 50, 96)
        drawing.text(x + 12, 112, "COM")
        drawing.wire("ink", (x + 100, 76), (x + 118, 76))
        drawing.knot(x + 100, 76)
        drawing.text(x + 124, 80, "NC")
        drawing.wire("low", (x + 100, 116), (x + 118, 116))
        drawing.knot(x + 100, 116)
        drawing.text(x + 124, 120, "NO")
        drawing.wire("low", (x + 50, 96), (x + 98, 116 if is_on else 76))
    drawing.lines(
        12, 160, "COM takes the supply, after the fuse. NO goes to the",
        "lights: with no power to the coil they are dark. NC stays",
        "empty: what is on it is lit whenever the board is off.",
    )  # fmt: skip
    return drawing


def sides() -> Drawing:
    """The relay behind the transformer, and before it."""
    drawing = Drawing(
        height=436,
        title="Which side of the transformer the relay switches",
        description="Low-voltage side: transformer, fuse and relay for each zone, lights. Mains side: fuse, "
        "contactor, transformer, fuse, lights.",
    )
    _draw_low_voltage_side(drawing)
    _draw_mains_side(drawing)
    return drawing


def _draw_low_voltage_side(drawing: Drawing) -> None:
    drawing.text(12, 24, "Low-voltage side: a relay for each zone", "head")
    drawing.box(8, 56, 76, 66)
    drawing.text(46, 76, "outlet", "bold", "middle")
    drawing.text(46, 93, "GFCI or", "soft", "middle")
    drawing.text(46, 108, "30 mA RCD", "soft", "middle")
    for y in (70, 110):
        drawing.wire("mains", (84, y), (104, y))
    drawing.transformer(104, 70)
    drawing.text(112, 136, "transformer", "soft", "end")
    drawing.box(196, 44, 76, 96, "zone")
    drawing.text(234, 152, "relays", "soft", "middle")
    drawing.wire("low", (130, 70), (168, 70))
    drawing.wire("low", (152, 70), (152, 116), (168, 116))
    drawing.knot(152, 70)
    for number, y in ((1, 70), (2, 116)):
        drawing.fuse(168, y, "low")
        drawing.text(180, y - 11, "fuse", "soft", "middle")
        drawing.wire("low", (192, y), (216, y))
        drawing.contact(216, y, "low")
        drawing.text(216, y + 17, "COM", "soft", "middle")
        drawing.text(252, y + 17, "NO", "soft", "middle")
        drawing.wire("low", (252, y), (297, y))
        drawing.lamp(306, y, "low")
        drawing.text(306, y - 15, f"zone {number}", "soft", "middle")
        drawing.wire("low", (315, y), (344, y))
    drawing.wire("low", (344, 70), (344, 173), (130, 173), (130, 110))
    drawing.knot(344, 116)
    drawing.text(142, 167, "common, not switched", "soft")
    drawing.lines(12, 191, "The transformer is always on. Each zone has its program.")


def _draw_mains_side(drawing: Drawing) -> None:
    drawing.text(12, 224, "Mains side: all or nothing", "head")
    drawing.box(6, 236, 208, 134, "zone")
    drawing.text(14, 253, "mains: licensed electrician", "soft")
    for y, name in ((276, "line"), (316, "neutral")):
        drawing.text(14, y - 7, name, "soft")
        drawing.knot(16, y)
    drawing.wire("mains", (16, 276), (60, 276))
    drawing.fuse(60, 276, "mains")
    drawing.text(72, 295, "fuse", "soft", "middle")
    drawing.wire("mains", (84, 276), (112, 276))
    drawing.contact(112, 276, "mains")
    drawing.wire("mains", (148, 276), (176, 276))
    drawing.wire("mains", (16, 316), (176, 316))
    drawing.transformer(176, 276)
    drawing.box(110, 336, 40, 22)
    drawing.text(130, 351, "coil", "soft", "middle")
    drawing.dashed(130, 270, 336)
    drawing.text(102, 351, "contactor", "soft", "end")
    drawing.wire("low", (202, 276), (230, 276))
    drawing.fuse(230, 276, "low")
    drawing.text(242, 265, "fuse", "soft", "middle")
    drawing.wire("low", (254, 276), (334, 276), (334, 287))
    drawing.wire("low", (286, 276), (286, 287))
    for x in (286, 334):
        drawing.lamp(x, 296, "low")
    drawing.wire("low", (286, 305), (286, 316))
    drawing.wire("low", (334, 305), (334, 316), (202, 316))
    drawing.knot(286, 276)
    drawing.knot(286, 316)
    drawing.text(310, 338, "one zone", "soft", "middle")
    drawing.lines(
        12, 390, "Leerie’s relay feeds the coil of the contactor. By day the",
        "transformer takes nothing; when it is switched on, for some",
        "cycles 10 to 15 times its current.",
    )  # fmt: skip


def retrofit() -> Drawing:
    """What the terminals of the old dial become."""
    drawing = Drawing(
        height=606,
        title="What the terminals of the old dial become",
        description="Before: line, neutral, load, clock motor of the dial. After, low-voltage side: line and "
        "load joined, a relay behind the transformer. After, mains side: a contactor between line and load.",
    )
    _draw_dial(drawing)
    _draw_relay_behind(drawing)
    _draw_contactor(drawing)
    return drawing


def _draw_dial(drawing: Drawing) -> None:
    drawing.text(12, 24, "Before: the mechanical dial", "head")
    drawing.box(84, 40, 134, 100)
    drawing.text(210, 57, "dial", "bold", "end")
    drawing.text(12, 71, "line", "soft")
    drawing.text(12, 111, "neutral", "soft")
    drawing.wire("mains", (12, 78), (140, 78))
    drawing.contact(140, 78, "mains")
    drawing.wire("mains", (176, 78), (262, 78))
    drawing.wire("mains", (12, 118), (262, 118))
    drawing.wire("mains", (104, 78), (104, 87))
    drawing.wire("mains", (104, 109), (104, 118))
    drawing.circle(104, 98, 11, "box")
    drawing.text(104, 102, "M", "bold", "middle")
    drawing.text(121, 102, "clock motor", "soft")
    for x in (84, 218):
        drawing.knot(x, 78)
        drawing.knot(x, 118)
    drawing.knot(104, 78)
    drawing.knot(104, 118)
    drawing.text(226, 71, "load", "soft")
    drawing.transformer(262, 78)
    _to_the_lights(drawing, 288, 78)


def _draw_relay_behind(drawing: Drawing) -> None:
    drawing.text(12, 182, "After, low-voltage side", "head")
    drawing.text(12, 210, "line", "soft")
    drawing.text(98, 210, "load", "soft")
    drawing.text(12, 272, "neutral", "soft")
    drawing.wire("mains", (12, 218), (46, 218))
    drawing.wire("mains", (86, 218), (142, 218))
    drawing.box(46, 211, 40, 14)
    drawing.text(66, 222, "joined", "soft", "middle")
    drawing.wire("mains", (12, 258), (142, 258))
    drawing.transformer(142, 218)
    drawing.wire("low", (168, 218), (190, 218))
    drawing.fuse(190, 218, "low")
    drawing.text(202, 207, "fuse", "soft", "middle")
    drawing.wire("low", (214, 218), (238, 218))
    drawing.box(222, 196, 68, 46, "zone")
    drawing.text(256, 190, "relay", "soft", "middle")
    drawing.contact(238, 218, "low")
    drawing.text(238, 235, "COM", "soft", "middle")
    drawing.text(274, 235, "NO", "soft", "middle")
    drawing.wire("low", (274, 218), (288, 218))
    drawing.wire("low", (168, 258), (288, 258))
    _to_the_lights(drawing, 288, 218)
    drawing.lines(
        12, 294, "Line and load are joined in a connector in a closed box,",
        "neutral goes on, the motor is gone. A plug-in timer is pulled",
        "out, and the transformer is plugged into the outlet.",
    )  # fmt: skip


def _draw_contactor(drawing: Drawing) -> None:
    drawing.text(12, 362, "After, mains side", "head")
    drawing.box(84, 376, 134, 134)
    drawing.text(210, 393, "closed box", "bold", "end")
    drawing.text(12, 407, "line", "soft")
    drawing.text(12, 447, "neutral", "soft")
    drawing.text(226, 407, "load", "soft")
    drawing.wire("mains", (12, 414), (112, 414))
    drawing.contact(112, 414, "mains")
    drawing.wire("mains", (148, 414), (262, 414))
    drawing.wire("mains", (12, 454), (262, 454))
    for x in (84, 218):
        drawing.knot(x, 414)
        drawing.knot(x, 454)
    drawing.box(110, 472, 40, 22)
    drawing.text(130, 487, "coil", "soft", "middle")
    drawing.dashed(130, 408, 472)
    drawing.text(156, 487, "contactor", "soft")
    drawing.wire("signal", (110, 478), (60, 478))
    drawing.wire("signal", (110, 488), (60, 488))
    drawing.text(54, 487, "relay", "soft", "end")
    drawing.transformer(262, 414)
    _to_the_lights(drawing, 288, 414)
    drawing.lines(
        12, 530, "The contact is between line and load. Neutral goes on. The",
        "motor’s wires are taken out, or capped one by one.",
        "In all three the earth wire stays connected.",
    )  # fmt: skip
    drawing.text(12, 586, "While you work: the breaker of the supply is off and locked.", "soft")


def _to_the_lights(drawing: Drawing, x: float, y: float) -> None:
    """Two wires to a lamp at the right edge."""
    drawing.wire("low", (x, y), (340, y), (340, y + 11))
    drawing.wire("low", (x, y + 40), (340, y + 40), (340, y + 29))
    drawing.lamp(340, y + 20, "low")
    drawing.text(326, y + 24, "lights", "soft", "end")


DRAWINGS = {
    "header.svg": header,
    "relay-board.svg": relay_board,
    "contact.svg": contact,
    "sides.svg": sides,
    "retrofit.svg": retrofit,
}


def main() -> None:
    """Write every drawing."""
    for name, draw in DRAWINGS.items():
        (FOLDER / name).write_text(str(draw()), encoding="utf-8")


if __name__ == "__main__":
    main()
