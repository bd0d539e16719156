"""Gardens as site files whose wiring is too thin, drawn at random: lines, hubs, single cables, comments."""

from __future__ import annotations

import random

from config.errors import Severity
from config.file.loader import parse_site
from controller.inspection.report import report_site
from tests.site_of_wiring import PLACE

GAUGES = ("12 AWG", "14 AWG", "12 AWG solid", "2.5 mm2", "1.5 mm2")
LAMPS = (
    'lamp = "filament"',
    "volts = [10, 15]",
    "volts = [10.5, 14]",
)


def drawn_text(seed):
    """One garden: a transformer with taps, one to three zones, each on a line, a hub or single cables."""
    chance = random.Random(seed)
    unit, times = chance.choice((("ft", 3), ("m", 1)))
    text = [PLACE, "# The transformer in the shed.\n[[transformers]]\n"]
    text.append(f'id = "shed"\nrated_va = {chance.choice((300, 600))}\ntap = 12  # as delivered\n')
    text.append(f"taps = [12, 13, 14, 15]\ncommons = {chance.choice((1, 2))}\n\n")
    zones = []
    for name in ("jetty", "oak", "wall")[: chance.randint(1, 3)]:
        gauge, form = chance.choice(GAUGES), chance.choice(("line", "hub", "to"))
        count, lamp = chance.randint(2, 6), chance.choice(LAMPS)
        watts = chance.choice((5, 9, 20, 35))
        length = chance.randint(15, 45) * times
        legs = [chance.randint(2, 12) * times for _ in range(count)]
        fixture = f'[[zones.fixtures]]\nkind = "spot"\nwatts = {watts}\n{lamp}\n'
        more = chance.choice(("", "splice_ohm = 0.005\n", "rated_a = 25\n"))
        if form == "line":
            text.append(
                f'# Along the {name}.\n[[cables]]\nfrom = "shed"  # the usual tap\nline = "{name}"\n'
                f'gauge = "{gauge}"\nlength = "{length} {unit}"  # measured by wheel\n{more}\n'
            )
            fixtures = f"{fixture}count = {count}\n"
        elif form == "hub":
            leg_gauge = chance.choice(("", f'leg_gauge = "{gauge}"\n'))
            text.append(
                f'[[cables]]\nfrom = "shed"\nhub = "{name}"  # under the stone\ngauge = "{gauge}"\n'
                f'length = "{length} {unit}"\nlegs = [{", ".join(f"“{leg} {unit}”" for leg in legs)}]\n'
                f"{leg_gauge}{more}\n".replace("“", '"').replace("”", '"')
            )
            fixtures = f"{fixture}count = {count}\n"
        else:
            fixtures = ""
            for place in range(1, count + 1):
                start = "shed" if place == 1 else f"{name} {chance.randint(max(1, place - 2), place - 1)}"
                text.append(
                    f'[[cables]]  # piece {place} of the {name}\nfrom = "{start}"\nto = "{name} {place}"\n'
                    f'gauge = "{gauge}"\nlength = "{legs[place - 1]} {unit}"\n{more}\n'
                )
                fixtures += f'{fixture}count = 1\nnode = "{name} {place}"\n'
        zones.append(
            f'[[zones]]\nid = "{name}"\ntransformer = "shed"\npin = {17 + len(zones)}\n'
            f'program = ["dusk to midnight"]\n{fixtures}\n'
        )
    return "".join([*text, *zones])


def failing_texts(seed, count):
    """So many gardens whose wiring has an error."""
    chance = random.Random(seed)
    while count:
        text = drawn_text(chance.randrange(1 << 30))
        [report] = report_site(parse_site(text, "site.toml").site)
        if report.level is Severity.ERROR:
            count -= 1
            yield text
