"""The work to do, now or after a season: what the figures ask for, and what is usual at that time of year."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from config.models.base import RELAY
from config.models.site import Site
from config.phrase import Phrase, between_phrase, dates_phrase, list_phrases
from controller.calendar.intervals import MS_PER_S
from controller.calendar.periods import Season, stretch_of_nights
from controller.energy.unknown import unknown_figures
from controller.history.account import AccountInput, account_for_past
from controller.history.dark_nights import Outage, outages_of
from controller.history.lamp_wear import Wear
from controller.history.totals import HourSum
from controller.lamps.life import LampLife
from controller.records.entries import Cause

# Lamps and relays are due from here on: so much of their life is used.
NEARLY_USED = 0.9
# A restart keeps a zone dark for seconds; an outage that is worth somebody's time lasts longer.
_MATTERS_MS = 600 * MS_PER_S
_OF_ZONE: dict[Cause | None, Phrase] = {
    None: Phrase("find out why it was dark"),
    Cause.RELAY_FAULT: Phrase("check the relay and its wiring: it failed"),
}
_OF_GARDEN: dict[Cause | None, Phrase] = {
    Cause.POWER_LOST: Phrase("have the supply checked, plug and protective device first: there was no power"),
    Cause.STOPPED: Phrase("find out why the program was stopped: the garden was dark"),
    Cause.CLOCK_NOT_TRUSTED: Phrase(
        "connect the board to the network or fit a clock module: the time was not known"
    ),
}

# Light that was missed longer ago is no matter of today.
RECENT_NIGHTS = 14
# Lamps whose life ends within this time are to be replaced now.
_SOON = timedelta(days=31)

# Common practice, no source.
AT_ANY_TIME = (
    Phrase("clean lenses and glass"),
    Phrase("trim growth that covers a light"),
    Phrase("re-aim and straighten what has moved"),
    Phrase("look over cables and connectors; tighten the terminals with the transformer unplugged"),
)
AFTER = {
    Season.SPRING: Phrase("move lights out of the way of summer growth"),
    Season.SUMMER: Phrase("clear leaves off the lights in the ground as they fall"),
    Season.AUTUMN: Phrase("take up what frost or a snow shovel would break"),
    Season.WINTER: Phrase("straighten what frost has lifted"),
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Task:
    """One thing to do.

    Attributes:
        zone: where; None where it concerns the whole garden or a transformer.
        part: what of the zone is to be replaced: “relay”, or the lamps of a fixture by its id or its place.
        words: what to do, and what asks for it.
        by: when it is due; None at the next visit.
    """

    zone: str | None
    words: Phrase
    by: date | None = None
    part: str | None = None


def is_due(life: LampLife, before: date) -> bool:
    """Whether lamps are to be replaced before a date, by the plan to come; not if they have been."""
    if life.replaced_on is not None or life.used is None:
        return False
    return life.used >= NEARLY_USED or (life.replace_about is not None and life.replace_about <= before)


def find_tasks(
    site: Site,
    sums: Sequence[HourSum],
    outages: Iterable[Outage],
    wear: Wear,
    *,
    due_before: date,
) -> tuple[Task, ...]:
    """Find the work that the figures of a season ask for.

    Args:
        site: as it is now.
        sums: of each zone over the season.
        outages: of the season.
        wear: lamps and relays as they stood at its end.
        due_before: lamps whose life ends later are left for another time.

    Returns:
        What is overdue first, then by date. Held by tests/controller/history/test_work.py.
    """
    tasks = [
        *_dark(outages, {each.zone: max(each.planned_nights, default=date.min) for each in sums}),
        *_lamps(wear.lamps, due_before),
        *(
            Task(
                zone=each.zone,
                words=Phrase(
                    "replace the relay: {cycles:,} of {endurance:,} cycles are made",
                    cycles=each.cycles,
                    endurance=each.endurance_cycles,
                ),
                part=RELAY,
            )
            for each in wear.relays
            if each.used >= NEARLY_USED
        ),
        *_measurements(site, sums),
    ]
    return tuple(sorted(tasks, key=lambda task: task.by or date.min))


def find_attention(inputs: AccountInput, wear: Wear, tonight: date) -> tuple[Task, ...]:
    """Find what wants attention, in the zones that are asked about, as the work after a season is found.

    Raises:
        JournalError: the journal cannot be read.
    """
    planner = inputs.history.planner
    recent = stretch_of_nights(tonight - timedelta(days=RECENT_NIGHTS - 1), tonight, planner.tz)
    sums = list(
        account_for_past(inputs.history, inputs.source, [recent], bounds=inputs.bounds, zones=inputs.zones)
    )
    return find_tasks(planner.site, sums, outages_of(sums), wear, due_before=tonight + _SOON)


def usual_work(season: Season | None) -> tuple[Phrase, ...]:
    """Give what is usually done after a season, or at any time; common practice, no source."""
    return AT_ANY_TIME if season is None else (*AT_ANY_TIME, AFTER[season])


def _dark(outages: Iterable[Outage], last_planned: Mapping[str | None, date]) -> Iterator[Task]:
    """Give what outages ask for: of one kind and zone all together, and none that a person wanted.

    A zone is still out of service if no night was planned after those on which it was.
    """
    nights: dict[tuple[Cause | None, str | None], list[Outage]] = defaultdict(list)
    for each in outages:
        if each.reason in _OF_GARDEN:
            nights[each.reason, None].append(each)
        for zone in each.zones:
            goes_on = each.reason is Cause.OUT_OF_SERVICE and each.last >= last_planned[zone]
            if goes_on or each.reason in _OF_ZONE:
                nights[each.reason, zone].append(each)
    asks_for = {**_OF_GARDEN, **_OF_ZONE}
    for (reason, place), some in nights.items():
        if reason is Cause.OUT_OF_SERVICE:
            since = some[-1].first
            words = Phrase("put it back into service; it has been out since {day}", day=since)
            yield Task(zone=place, words=words)
        elif sum(each.lasts_ms / len(each.zones) for each in some) >= _MATTERS_MS:
            yield Task(zone=place, words=list_phrases([asks_for[reason], _on_nights(some)], " "))


def _on_nights(outages: Sequence[Outage]) -> Phrase:
    """Say on how many nights, and which."""
    number, first, last = sum(each.nights for each in outages), outages[0].first, outages[-1].last
    if number == 1:
        return Phrase("in the night of {dates}", dates=dates_phrase(first, last))
    if len(outages) == 1:
        return Phrase("on {count} nights, {dates}", count=number, dates=dates_phrase(first, last))
    return Phrase("on {count} nights {between}", count=number, between=between_phrase(first, last))


def _lamps(lamps: Iterable[LampLife], due_before: date) -> Iterator[Task]:
    for life in lamps:
        if is_due(life, due_before):
            assert life.used is not None, "what is due has a rated life"
            words = Phrase(
                "replace {count} × {name}: {used:.0f} % of the rated life used",
                count=life.lamps.fixture.count,
                name=life.lamps.name,
                used=life.used * 100,
            )
            by = None if life.used >= 1 else life.replace_about
            yield Task(zone=life.lamps.zone, part=life.lamps.part, words=words, by=by)


def _measurements(site: Site, sums: Iterable[HourSum]) -> Iterator[Task]:
    """Give what has to be measured or looked up, for energy that is more than “at least”."""
    here = {zone.id for zone in site.zones}
    zones = [each.zone for each in sums if each.zone in here]
    if not zones:
        return
    unknown = unknown_figures(site, zones)
    for zone in unknown.loads:
        yield Task(zone=zone, words=Phrase("measure its load, for measured_watts in the site file"))
    for transformer in unknown.losses:
        name = next(each.name for each in site.transformers if each.id == transformer)
        words = Phrase(
            "look up the losses of the transformer {name}, for efficiency in the site file", name=name
        )
        yield Task(zone=None, words=words)
    if unknown.no_transformer:
        words = Phrase("enter the transformer and its efficiency in the site file")
        yield Task(zone=None, words=words)
