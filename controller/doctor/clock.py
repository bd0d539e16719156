"""The clock, whether it is trusted, and the time zone data."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from config.phrase import Phrase
from controller.doctor.check import Check, error, note, warning, well

# New time zone data come several times a year; what is older than a whole year lacks some of them.
_YEARS_OLD = 2


@dataclass(frozen=True, kw_only=True, slots=True)
class ClockFacts:
    """What was found of the clock.

    Attributes:
        now_utc: what it says.
        trust: why it is trusted or not, and after the first full stop what to do.
        impossible: it says a time before this program was made.
        always: the site file says to believe it whatever it says.
        hardware: a hardware clock set it when the machine started.
    """

    now_utc: datetime
    trusted: bool
    trust: str
    impossible: bool
    always: bool
    hardware: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class ZoneDataFacts:
    """The time zone data in use: their edition, such as 2026a, empty where unknown, and where they are."""

    edition: str
    place: str


def judge_clock(facts: ClockFacts) -> Iterator[Check]:
    """Say whether the lights can follow the clock, now and after a power cut."""
    why, _, remedy = facts.trust.partition(". ")
    remedy = remedy[:1].lower() + remedy[1:]
    confirm = Phrase(
        "connect the network, or set the clock and confirm it: {command}",
        command="leerie clock SITE.toml --confirm",
    )
    if not facts.trusted:
        yield error("clock", Phrase("is not trusted, lights are held: {why}", why=why), remedy or confirm)
    elif facts.impossible:
        says = f"{facts.now_utc:%Y-%m-%d}"
        what = Phrase("says {says}, which cannot be, and is followed as the site file asks", says=says)
        yield error("clock", what, confirm)
    else:
        yield well("clock", Phrase("is trusted: {why}", why=facts.trust))
        if facts.always:
            yield note(
                "clock",
                Phrase("is followed also where it is wrong: {key}", key='believe = "always"'),
                Phrase("take that line out where the board has a network or a hardware clock"),
            )
    if not facts.hardware and not facts.always:
        yield note(
            "clock",
            Phrase("no hardware clock sets it: after a power cut the lights wait for the network"),
            Phrase("fit a hardware clock with a battery where the network may be missing"),
        )


def judge_zone_data(facts: ZoneDataFacts, now_utc: datetime | None) -> Iterator[Check]:
    """Say which edition answers, and whether it is old by a clock that is trusted, else None."""
    update = Phrase("update the package tzdata, with apt where the files are the system's, else with pip")
    year = facts.edition[:4]
    if not year.isdigit():
        what = Phrase("the edition of the time zone data in {place} is not known", place=facts.place)
        yield note("time zone", what, update)
    elif now_utc is not None and now_utc.year - int(year) >= _YEARS_OLD:
        yield warning(
            "time zone",
            Phrase(
                "the data are those of {year} ({edition}, from {place}); rules that changed since are wrong",
                year=year,
                edition=facts.edition,
                place=facts.place,
            ),
            update,
        )
    else:
        yield well(
            "time zone", Phrase("data {edition}, from {place}", edition=facts.edition, place=facts.place)
        )
