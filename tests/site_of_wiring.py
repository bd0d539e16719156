"""Site files for wiring tests: the reference networks, and small gardens."""

from __future__ import annotations

PLACE = """\
[site]
name = "Tern Cottage"
latitude = 51.5
longitude = -0.1
time_zone = "Europe/London"
"""
# The kinds of lamp of wiring.json in the words of the site file.
LAMPS = {
    "filament": 'lamp = "filament"',
    "power": 'driver = "regulated"',
    "current": 'driver = "linear"',
    "resistance": 'driver = "resistor"',
}


def reference_site(case, lamp, *, with_leads=False):
    """Write one network of wiring.json as a site file, every lamp of one kind.

    With leads, a segment of 18 AWG to a lamp becomes that fixture's own lead instead of a cable.
    """
    leads = {each["to"]: each for each in case["segments"] if with_leads and each["awg"] == 18}
    text = PLACE + f'[[transformers]]\nid = "src"\nrated_va = 300\ntap = {case["source_v"]}\n'
    for each in case["segments"]:
        if each["to"] not in leads:
            text += (
                f'[[cables]]\nfrom = "{each["from"]}"\nto = "{each["to"]}"\n'
                f'gauge = "{each["awg"]} AWG"\nlength = "{each["length_ft"]} ft"\n'
            )
    text += '[[zones]]\nid = "all"\npin = 17\nprogram = ["dusk to midnight"]\n'
    for each in case["lamps"]:
        lead = leads.get(each["node"])
        node = lead["from"] if lead else each["node"]
        text += (
            f'[[zones.fixtures]]\nkind = "spot"\nname = "{each["node"]}"\nnode = "{node}"\ncount = 1\n'
            f"watts = {each['watts']}\nrated_volts = {each['rated_v']}\n{LAMPS[lamp]}\n"
        )
        if lead:
            text += f'lead = "{lead["length_ft"]} ft"\nlead_gauge = "{lead["awg"]} AWG"\n'
    return text


def garden(*, tap=12, more="", cables="", fixtures='kind = "path"\ncount = 6\nwatts = 4.5', zone="", rest=""):
    """A garden with one transformer, one zone of the id “jetty”, and one fixture in it."""
    return (
        f'{PLACE}[[transformers]]\nid = "boathouse"\nrated_va = 200\ntap = {tap}\n{more}\n{cables}\n'
        f'[[zones]]\nid = "jetty"\npin = 17\nprogram = ["dusk to midnight"]\n{zone}\n'
        f"[[zones.fixtures]]\n{fixtures}\n{rest}\n"
    )


def line(length="80 ft", gauge="12 AWG", *, name="jetty", start="boathouse", more=""):
    """A line of lights."""
    return f'[[cables]]\nfrom = "{start}"\nline = "{name}"\ngauge = "{gauge}"\nlength = "{length}"\n{more}\n'


def piece(start, end, length="40 ft", gauge="12 AWG", more=""):
    """One piece of cable."""
    return f'[[cables]]\nfrom = "{start}"\nto = "{end}"\ngauge = "{gauge}"\nlength = "{length}"\n{more}\n'
