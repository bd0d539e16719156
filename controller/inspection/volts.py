"""Whether each lamp gets the volts that it is allowed: computed, and as measured.

A lamp outside the range on its plate is an error, and so is a filament lamp outside 0.90 to 1.05 of its rated
volts. Of an LED that states no range only as much is certain: beyond 25 % of its rated volts is an error, and
what lies between is a warning.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Final, TypeVar

from config.errors import Severity
from config.phrase import Phrase
from controller.inspection.findings import Finding, Rule, Topic, part_of_life, part_of_light
from controller.inspection.states import SolvedStates
from controller.lamps.physics import filament_life_h, filament_light
from controller.wiring.network import ASSUMED_REGULATION, LED_BAND, FixtureAt, Lamp, Limits
from controller.wiring.solver import LampState, Solution

_BY_PLATE: Final = Phrase("the lamp's own range")
_BY_BAND: Final = Phrase("0.90 to 1.05 of its rated volts, common practice")
_BY_LED_BAND: Final = Phrase(
    "0.75 to 1.25 of its rated volts, common practice for an LED that states no range"
)
_READ_PLATE: Final = Phrase("read the LED's input range on its plate and write it into the file as “volts”")

T = TypeVar("T")


def judge_volts(fixture: FixtureAt, volts: float) -> Severity:
    """Say how much it matters that a lamp gets these volts."""
    (low_v, high_v), (least_v, most_v) = fixture.range_v, fixture.error_v
    if not least_v <= volts <= most_v:
        return Severity.ERROR
    return Severity.OK if low_v <= volts <= high_v else Severity.WARNING


def states_no_range(fixture: FixtureAt) -> bool:
    """Whether it is an LED whose range is only assumed."""
    return fixture.lamp is not Lamp.FILAMENT and fixture.min_v is None


def check_volts(one: SolvedStates, lit: Solution) -> Iterator[Finding]:
    """Every lamp that gets too few or too many volts, and the worst of each kind where none does."""
    feed = lit.network.feed.node
    low = [
        (state.volts / state.fixture.range_v[0] if state.fixture.range_v[0] else 2.0, state)
        for state in lit.lamps
    ]
    yield from (_check_low(feed, state) for state in keep_worst(low))
    high = [
        (state.fixture.range_v[1] / volts, (state.fixture, volts, most_v if sure_v is None else sure_v))
        for state, most_v, sure_v in zip(lit.lamps, one.most_v, one.sure_v, strict=True)
        if most_v is not None and (volts := judged_most_v(state.fixture, most_v, sure_v))
    ]
    yield from (_check_high(feed, *each) for each in keep_worst(high))


def judged_most_v(fixture: FixtureAt, most_v: float, sure_v: float | None) -> float:
    """The most volts that count: an assumed rise is not held against a range that is assumed as well."""
    return most_v if sure_v is None or not states_no_range(fixture) else sure_v


def keep_worst(checked: list[tuple[float, T]]) -> Iterator[T]:
    """All that is outside its range, a part below 1, and what comes nearest to that where nothing is."""
    checked.sort(key=lambda entry: entry[0])
    yield from (what for rank, (part, what) in enumerate(checked) if rank == 0 or part < 1.0)


def _rule(topic: Topic, fixture: FixtureAt, level: Severity, remedy: Phrase) -> Rule:
    if not states_no_range(fixture):
        return Rule(topic, "V", _BY_BAND if fixture.min_v is None else _BY_PLATE, remedy)
    if level is Severity.ERROR:
        return Rule(topic, "V", _BY_LED_BAND, remedy)
    return Rule(topic, "V", _BY_BAND, _READ_PLATE)


def _check_low(feed: str, state: LampState) -> Finding:
    fixture, volts = state.fixture, state.volts
    # Too many volts are not this finding's.
    level = judge_volts(fixture, min(volts, fixture.range_v[1]))
    limit_v = fixture.error_v[0] if level is Severity.ERROR else fixture.range_v[0]
    gets: dict[str, Any] = {"lamp": fixture.label, "volts": volts, "needs": limit_v}
    if fixture.lamp is Lamp.FILAMENT:
        words = Phrase(
            "{lamp} gets {volts:.2f} V with everything lit, {light}; it needs {needs:.4g} V",
            light=part_of_light(filament_light(volts, fixture.rated_v)),
            **gets,
        )
    elif state.drops_out:
        words = Phrase(
            "{lamp} gets {volts:.2f} V with everything lit; it needs {needs:.4g} V; below it the driver"
            " drops out",
            **gets,
        )
    elif not states_no_range(fixture):
        words = Phrase("{lamp} gets {volts:.2f} V with everything lit; it needs {needs:.4g} V", **gets)
    elif level is Severity.ERROR:
        words = Phrase(
            "{lamp} gets {volts:.2f} V with everything lit, less than {percent:.0f} % of its rated"
            " {rated:g} V",
            percent=100.0 * LED_BAND[0],
            rated=fixture.rated_v,
            **gets,
        )
    else:
        words = Phrase(
            "{lamp} gets {volts:.2f} V with everything lit; {needs:.4g} V or more is assumed for it", **gets
        )
    remedy = Phrase("use a higher tap, thicker cable, a feed nearer to the middle, or a second run")
    rule = _rule(Topic.LAMP_LOW, fixture, level, remedy)
    return rule.find(level, fixture.node, volts, limit_v, words, feed=feed)


def _check_high(feed: str, fixture: FixtureAt, volts: float, sure_v: float) -> Finding:
    """Judge the most volts of a lamp; what only an assumed regulation brings about is no error."""
    level = judge_volts(fixture, max(volts, fixture.range_v[0]))
    sure = judge_volts(fixture, max(sure_v, fixture.range_v[0]))
    if level.rank > sure.rank:
        return _warn_of_rise(feed, fixture, volts, sure_v)
    limit_v = fixture.error_v[1] if level is Severity.ERROR else fixture.range_v[1]
    gets: dict[str, Any] = {"lamp": fixture.label, "volts": volts, "allowed": limit_v}
    if fixture.lamp is Lamp.FILAMENT:
        words = Phrase(
            "{lamp} gets up to {volts:.2f} V with its zone lit alone and the cable cool, {life};"
            " it is allowed {allowed:.4g} V",
            life=part_of_life(filament_life_h(1.0, volts, fixture.rated_v)),
            **gets,
        )
    elif not states_no_range(fixture):
        words = Phrase(
            "{lamp} gets up to {volts:.2f} V with its zone lit alone and the cable cool;"
            " it is allowed {allowed:.4g} V",
            **gets,
        )
    elif level is Severity.ERROR:
        words = Phrase(
            "{lamp} gets up to {volts:.2f} V with its zone lit alone and the cable cool,"
            " more than {percent:.0f} % of its rated {rated:g} V",
            percent=100.0 * LED_BAND[1],
            rated=fixture.rated_v,
            **gets,
        )
    else:
        words = Phrase(
            "{lamp} gets up to {volts:.2f} V with its zone lit alone and the cable cool;"
            " up to {allowed:.4g} V is assumed for it",
            **gets,
        )
    remedy = Phrase("use a lower tap for the lamps near the transformer")
    rule = _rule(Topic.LAMP_HIGH, fixture, level, remedy)
    return rule.find(level, fixture.node, volts, limit_v, words, feed=feed)


def _warn_of_rise(feed: str, fixture: FixtureAt, volts: float, sure_v: float) -> Finding:
    words = Phrase(
        "{lamp} gets {sure:.2f} V with its zone lit alone and the cable cool, but up to {volts:.2f} V if the"
        " transformer's volts rise by {rise:.0f} % without load, as is assumed; it is allowed"
        " {allowed:.4g} V",
        lamp=fixture.label,
        sure=sure_v,
        volts=volts,
        rise=100.0 * ASSUMED_REGULATION,
        allowed=fixture.range_v[1],
    )
    remedy = Phrase(
        "measure the volts at the tap with nothing connected, and write them into the file as “no_load_volts”"
    )
    rule = _rule(Topic.LAMP_HIGH, fixture, Severity.WARNING, remedy)
    found = rule.find(Severity.WARNING, fixture.node, volts, fixture.range_v[1], words, feed=feed)
    return replace(found, assumed=True)


def check_reading(fixture: FixtureAt, volts: float, feed: str) -> Finding:
    """Hold the volts that were measured at a lamp against its range, whatever was computed for it."""
    level = judge_volts(fixture, volts)
    low_v, high_v = fixture.error_v if level is Severity.ERROR else fixture.range_v
    read: dict[str, Any] = {"lamp": fixture.label, "volts": volts}
    if not states_no_range(fixture):
        words = Phrase(
            "{volts:.2f} V was measured at {lamp}; it is made for {low:.4g} to {high:.4g} V",
            low=low_v,
            high=high_v,
            **read,
        )
    elif level is Severity.ERROR:
        words = Phrase(
            "{volts:.2f} V was measured at {lamp}; its rated volts are {rated:g} V",
            rated=fixture.rated_v,
            **read,
        )
    else:
        words = Phrase(
            "{volts:.2f} V was measured at {lamp}; {low:.4g} to {high:.4g} V is assumed for it",
            low=low_v,
            high=high_v,
            **read,
        )
    remedy = Phrase("measure again, then check its tap, the splices on the way to it, and the cable")
    rule = _rule(Topic.READING, fixture, level, remedy)
    middle_v = (low_v + high_v) / 2.0
    return rule.find(level, fixture.node, volts, low_v if volts < middle_v else high_v, words, feed=feed)


def check_evenness(solved: Sequence[SolvedStates], limits: Limits) -> Iterator[Finding]:
    """Light of the dimmest filament lamp as a part of the brightest, over the whole transformer."""
    lights = [
        (filament_light(state.volts, state.fixture.rated_v), state.fixture)
        for one in solved
        if isinstance(one.lit, Solution)
        for state in one.lit.lamps
        if state.fixture.lamp is Lamp.FILAMENT
    ]
    if not lights:
        return
    dim, dimmest = min(lights, key=lambda pair: pair[0])
    bright, brightest = max(lights, key=lambda pair: pair[0])
    part = dim / bright
    rule = Rule(
        Topic.SPREAD,
        "of the brightest",
        Phrase("light by V^3.4 (Standard Handbook for Electrical Engineers); the limit is common practice"),
        Phrase("feed it nearer to the middle, or lay thicker cable to the dim end"),
    )
    level = Severity.WARNING if part < limits.low_light else Severity.OK
    words = Phrase(
        "the dimmest, {dimmest}, gives {percent:.0f} % of the light of the brightest, {brightest}",
        dimmest=dimmest.label,
        percent=100.0 * part,
        brightest=brightest.label,
    )
    yield rule.find(level, dimmest.node, part, limits.low_light, words)


def check_life(solved: Sequence[SolvedStates], limits: Limits) -> Iterator[Finding]:
    """Life of the filament lamp with the most volts in proportion, as a part of its rated life."""
    lives = [
        (filament_life_h(1.0, volts, fixture.rated_v), volts, sure_v or volts, one.feed, fixture)
        for one in solved
        for volts, sure_v, fixture in zip(one.most_v, one.sure_v, one.lit.network.fixtures, strict=True)
        if fixture.lamp is Lamp.FILAMENT and volts is not None
    ]
    if not lives:
        return
    life, volts, sure_v, feed, fixture = min(lives, key=lambda entry: entry[0])
    rule = Rule(
        Topic.LIFE,
        "of its rated life",
        Phrase("life by V^-13 (Standard Handbook for Electrical Engineers); the limit is common practice"),
        Phrase("use a lower tap, or a lamp rated for more volts"),
    )
    level = Severity.WARNING if life < limits.low_life else Severity.OK
    words = Phrase(
        "{lamp} lasts about {life} at {volts:.2f} V", lamp=fixture.label, life=part_of_life(life), volts=volts
    )
    sure = filament_life_h(1.0, sure_v, fixture.rated_v) < limits.low_life
    assumed = level is Severity.WARNING and not sure
    yield replace(rule.find(level, fixture.node, life, limits.low_life, words, feed=feed), assumed=assumed)
