"""Networks for the tests: the reference cases, plain chains, and trees drawn by hypothesis."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

from hypothesis import strategies as st

from config.models.cables import M_PER_FT, parse_gauge
from controller.wiring.network import CableSegment, Feed, FixtureAt, Lamp, Lead, Network

REFERENCE = Path(__file__).parents[1] / "reference"


def read_reference(name):
    return json.loads((REFERENCE / name).read_text())


def reference_network(case, lamp):
    """One network of wiring.json with every lamp of the given kind."""
    cables = tuple(
        CableSegment(
            from_node=segment["from"],
            to_node=segment["to"],
            gauge=parse_gauge(f"{segment['awg']} AWG"),
            length_m=segment["length_ft"] * M_PER_FT,
        )
        for segment in case["segments"]
    )
    lamps = tuple(
        FixtureAt(node=at["node"], zone="all", watts=at["watts"], rated_v=at["rated_v"], lamp=lamp)
        for at in case["lamps"]
    )
    feed = Feed(node="src", transformer="reference", rated_va=300.0, source_v=case["source_v"])
    return Network(feed=feed, segments=cables, fixtures=lamps)


def chain(
    *, source_v=12.0, at_ft=(100.0,), watts=12.0, lamp=Lamp.FILAMENT, gauge="12 AWG", temperature_c=75.0,
    rated_va=150.0, zone="all", **fixture,
):  # fmt: skip
    """Lamps in line at these distances from a feed that holds its volts, on one gauge of cable."""
    names = ["feed", *(f"n{place}" for place in range(1, len(at_ft) + 1))]
    distances = [0.0, *at_ft]
    cables = tuple(
        CableSegment(from_node=near, to_node=far, gauge=parse_gauge(gauge), length_m=(end - begin) * M_PER_FT)
        for (near, far), (begin, end) in zip(pairwise(names), pairwise(distances), strict=True)
    )
    lamps = tuple(FixtureAt(node=name, zone=zone, watts=watts, lamp=lamp, **fixture) for name in names[1:])
    feed = Feed(node="feed", transformer="shed", rated_va=rated_va, source_v=source_v, regulation=0.0)
    return Network(feed=feed, segments=cables, fixtures=lamps, temperature_c=temperature_c)


EVENLY_FT = tuple(range(10, 101, 10))
LAST_HALF_FT = tuple(range(55, 101, 5))

GAUGES = tuple(
    parse_gauge(text)
    for text in (
        "8 AWG", "10 AWG", "12 AWG", "14 AWG", "12 AWG solid", "16 AWG", "2.5 mm2", "4 mm2 stranded", "6 mm2",
    )
)  # fmt: skip
LEADS = (
    None,
    Lead(gauge=parse_gauge("18 AWG"), length_m=1.0),
    Lead(gauge=parse_gauge("0.75 mm2"), length_m=2.5),
)


@st.composite
def random_networks(draw, *, lamps=tuple(Lamp), most_nodes=60, most_watts=150.0):
    """A tree of up to ``most_nodes`` nodes with mixed gauges, and lamps of these kinds over it."""
    count = draw(st.integers(1, most_nodes))
    cables = []
    for place in range(1, count + 1):
        parent = draw(st.integers(max(0, place - 8), place - 1))
        cables.append(
            CableSegment(
                from_node=f"n{parent}",
                to_node=f"n{place}",
                gauge=draw(st.sampled_from(GAUGES)),
                length_m=draw(st.floats(0.3, 8.0)),
                splice_ohm=draw(st.sampled_from((0.0, 0.0, 0.002))),
            )
        )
    mean_watts = draw(st.floats(5.0, most_watts)) / count
    fixtures = [
        draw(_fixtures(f"n{place}", lamps, mean_watts))
        for place in range(count + 1)
        if place == count or draw(st.integers(0, 3)) > 0
    ]
    source_v = draw(st.sampled_from((12.0, 13.0, 14.0, 15.0, 24.0)))
    feed = Feed(node="n0", transformer="shed", rated_va=300.0, source_v=source_v)
    draw(st.randoms()).shuffle(cables)
    return Network(
        feed=feed,
        segments=tuple(cables),
        fixtures=tuple(fixtures),
        temperature_c=draw(st.sampled_from((10.0, 20.0, 75.0))),
    )


def _fixtures(node, lamps, mean_watts):
    return st.builds(
        FixtureAt,
        node=st.just(node),
        zone=st.sampled_from(("beds", "path", "trees")),
        watts=st.floats(0.3 * mean_watts, 1.7 * mean_watts),
        lamp=st.sampled_from(lamps),
        rated_v=st.just(12.0),
        count=st.sampled_from((1, 1, 1, 2, 3)),
        lead=st.sampled_from(LEADS),
        power_factor=st.sampled_from((1.0, 1.0, 0.9, 0.6)),
    )
