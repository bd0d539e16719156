"""How far along lamps and relays are, and about when to replace them, by the plan to come.

Every rated life is an average over many: half the lamps have failed by then. So the answer is "about".
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from config.models.site import RELAY_CYCLES, Fixture, Site
from config.phrase import Phrase
from controller.calendar.intervals import MS_PER_HOUR
from controller.lamps.physics import filament_life_h, light_left
from controller.records.entries import Replacement

# Farther ahead neither the plan nor the lamp's rating means anything.
HORIZON_YEARS = 30
_DAYS_PER_YEAR = 365.25
_NIGHTS_IN_A_YEAR = 365


@dataclass(frozen=True, kw_only=True, slots=True)
class Lamps:
    """The lamps of one fixture entry of a zone, counted from 1: same kind, fitted together.

    A rated life is the hours to L70 for LED, the average life at rated volts for filament lamps. Volts that
    are not known count as rated.
    """

    zone: str
    number: int
    fixture: Fixture
    volts: float | None = None

    @property
    def name(self) -> str:
        """What the site file calls the fixture, else its kind, which is in the catalogue."""
        return self.fixture.name or Phrase(self.fixture.kind)

    @property
    def part(self) -> str:
        """How its replacements name it: by the id of the fixture, else by its place."""
        return self.fixture.id or str(self.number)

    @property
    def life_h(self) -> float | None:
        """Hours it lives at the volts that it gets; None where no life is rated."""
        rated_life_h = self.fixture.rated_life_h
        if rated_life_h is None or self.fixture.lamp == "led" or self.volts is None:
            return rated_life_h
        return filament_life_h(rated_life_h, self.volts, self.fixture.rated_volts)


def lamps_of(site: Site, volts: Mapping[tuple[str, int], float]) -> list[Lamps]:
    """Give the lamps of every fixture of a site.

    ``volts`` is what the lamps of a zone's fixture, counted from 1, get from their cable, where known.
    """
    return [
        Lamps(zone=zone.id, number=number, fixture=fixture, volts=volts.get((zone.id, number)))
        for zone in site.zones
        for number, fixture in enumerate(zone.fixtures, start=1)
    ]


def fittings(lamps: Lamps, replacements: Iterable[Replacement]) -> list[date]:
    """Give the dates on which lamps of a fixture were fitted, in order.

    Lamps are changed by day, so those fitted on a date serve from the night of that date on. The site file's
    date and the journal's replacements count.
    """
    dates = {*replacement_dates(lamps.zone, lamps.part, replacements), lamps.fixture.fitted}
    return sorted(each for each in dates if each is not None)


def replacement_dates(zone: str, part: str, replacements: Iterable[Replacement]) -> list[date]:
    """Give the dates on which a part of a zone was replaced, in order."""
    return sorted({each.on_date for each in replacements if (each.zone, each.part) == (zone, part)})


@dataclass(frozen=True, kw_only=True, slots=True)
class LampLife:
    """How far along some lamps are.

    Attributes:
        lamps: which.
        since: the first night that they served; None where not known, and then hours count from the
            beginning of the journal.
        lit_h: hours lit since then.
        estimated_h: of these, before the journal was told of the zone, by the program that it had first.
        used: part of their life used, 1 is spent; None where no life is rated.
        used_in_a_year: part of their life that the next 365 nights use; None where no life is rated.
        light: for LED, the part of their first light that they still give; None otherwise.
        replaced_on: when they were replaced, if that was after the night in question.
        replace_about: the night on which their life ends by the plan to come; None where it does not end
            within ``HORIZON_YEARS`` or is not rated.
    """

    lamps: Lamps
    since: date | None
    lit_h: float
    estimated_h: float
    used: float | None = None
    used_in_a_year: float | None = None
    light: float | None = None
    replaced_on: date | None = None
    replace_about: date | None = None

    @property
    def words(self) -> Phrase:
        """The outlook, for a person."""
        if self.replaced_on is not None:
            return Phrase("replaced on {day}", day=self.replaced_on)
        if self.used is None:
            return Phrase("no rated life is known")
        if self.used >= 1:
            return Phrase("past the rated life: replace")
        if self.replace_about is None:
            return Phrase("lasts more than {years} years at this rate", years=HORIZON_YEARS)
        return Phrase("replace about {month:%B %Y}", month=self.replace_about)


def lamp_life(
    lamps: Lamps,
    lit_h: float,
    *,
    since: date | None,
    first_night: date,
    lit_ms_on: Callable[[date], int],
    estimated_h: float = 0.0,
    replaced_on: date | None = None,
) -> LampLife:
    """Work out how far along some lamps are and when their life ends by the plan.

    ``lit_h`` are all hours since they were fitted, taken as at the present volts, the estimated ones too;
    ``lit_ms_on`` is how long the plan lights their zone in a night, see ``nights_again``.
    """
    life_h = lamps.life_h
    life = LampLife(lamps=lamps, since=since, lit_h=lit_h, estimated_h=estimated_h, replaced_on=replaced_on)
    if life_h is None:
        return life
    year_ms = sum(lit_ms_on(first_night + timedelta(days=number)) for number in range(_NIGHTS_IN_A_YEAR))
    return replace(
        life,
        used=lit_h / life_h,
        used_in_a_year=year_ms / MS_PER_HOUR / life_h,
        light=light_left(lit_h, life_h) if lamps.fixture.lamp == "led" else None,
        replace_about=ends_on((life_h - lit_h) * MS_PER_HOUR, first_night, lit_ms_on),
    )


def ends_on(left: float, first_night: date, used_on: Callable[[date], float]) -> date | None:
    """Find the night on which what is left, in any unit, is used up; None beyond ``HORIZON_YEARS``.

    Where nothing was left before, it is the first night.
    """
    for number in range(round(HORIZON_YEARS * _DAYS_PER_YEAR)):
        night = first_night + timedelta(days=number)
        left -= used_on(night)
        if left <= 0:
            return night
    return None


def nights_again(first_night: date, per_night: Sequence[int]) -> Callable[[date], int]:
    """Repeat a year of nights for ever, by calendar date.

    The sun repeats itself within minutes from year to year; weekdays and clock changes move by some days.
    Thirty years of plans would move the answer by less than 1 % of the time to go.

    ``per_night`` is what each of the 365 or 366 nights from the first on uses.

    Held by tests/controller/lamps/test_life.py.
    """
    by_date = {
        (first_night + timedelta(days=number)).timetuple()[1:3]: value
        for number, value in enumerate(per_night)
    }
    eve = by_date.get((2, 28), 0)
    return lambda night: by_date.get((night.month, night.day), eve)


@dataclass(frozen=True, kw_only=True, slots=True)
class RelayLife:
    """How far along a relay is: cycles so far, of how many, and about when they are used up.

    ``since`` is the first night that it served; None where not known, and then all cycles count.
    """

    zone: str
    since: date | None = None
    cycles: int
    endurance_cycles: int
    wears_out_about: date | None

    @property
    def used(self) -> float:
        """Part of the endurance used."""
        return self.cycles / self.endurance_cycles


def relay_life(
    zone: str,
    cycles: int,
    *,
    since: date | None = None,
    first_night: date,
    starts_on: Callable[[date], int],
    endurance_cycles: int = RELAY_CYCLES,
) -> RelayLife:
    """Work out how far along a relay is; one cycle is one switching on and off.

    ``starts_on`` says how often the plan switches it on in a night; ``endurance_cycles`` is the electrical
    endurance by its data sheet, more than zero.
    """
    return RelayLife(
        zone=zone,
        since=since,
        cycles=cycles,
        endurance_cycles=endurance_cycles,
        wears_out_about=ends_on(endurance_cycles - cycles, first_night, starts_on),
    )
