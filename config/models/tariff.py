"""What electricity costs: the [tariff] table of the site file, its bands and its changes.

The simple form is one price. Where it depends on the hour, the day or the season, bands say so; where it was
or will be raised, each change holds from its date on, with bands of its own.
"""

from datetime import date, time
from decimal import Decimal
from typing import Annotated

from pydantic import Field

from config.errors import ProgramError
from config.models.base import Money, Name, NightsText, Table, text_of
from config.phrase import Phrase
from config.program.parser import parse_clock
from config.program.special_nights import YearlyStretch, parse_nights

_MIDNIGHT = time(0, 0)
_A_SEASON = Phrase("a stretch of every year such as 10-01 to 03-31")


def _parse_season(text: str) -> YearlyStretch:
    season = parse_nights(text)
    if not isinstance(season, YearlyStretch):
        raise ProgramError(text=text, column=1, found=text, expected=_A_SEASON)
    return season


ClockText = Annotated[time, text_of(time, parse_clock)]
SeasonText = Annotated[YearlyStretch, text_of(YearlyStretch, _parse_season)]
PerKwh = Annotated[
    Money,
    Field(ge=0, le=1_000_000, description=Phrase("the price of one kilowatt-hour, 0 or more, such as 0.29")),
]


class PriceBand(Table):
    """A price that holds at some hours, on some days, or in one season; all that is given must hold."""

    name: Name = ""
    begins: ClockText = Field(
        _MIDNIGHT, alias="from", description=Phrase("the clock time at which it begins, such as “21:00”")
    )
    ends: ClockText = Field(
        _MIDNIGHT,
        alias="to",
        description=Phrase("the clock time at which it ends, such as “07:00” or “midnight”"),
    )
    days: NightsText | None = Field(None, description=Phrase("weekdays such as “Sat, Sun”, or a date"))
    season: SeasonText | None = Field(None, description=_A_SEASON)
    per_kwh: PerKwh

    def holds(self, day: date, at: time) -> bool:
        """Whether it is in force at a clock time of a day, which may be at both ends of the day."""
        if not all(days.match(day) for days in (self.days, self.season) if days is not None):
            return False
        if self.begins < self.ends:
            return self.begins <= at < self.ends
        return at >= self.begins or at < self.ends


class Prices(Table):
    """A price and the bands that differ from it; the last one that holds decides, as with special nights."""

    per_kwh: PerKwh
    bands: tuple[PriceBand, ...] = Field((), strict=False, description=Phrase("[[tariff.bands]] tables"))

    def price(self, day: date, at: time) -> tuple[Decimal, str]:
        """Return the price of a kilowatt-hour at a clock time of a day, and the name of its band."""
        band = next((each for each in reversed(self.bands) if each.holds(day, at)), None)
        return (band.per_kwh, band.name) if band else (self.per_kwh, "")


class PriceChange(Prices):
    """The prices from a date on, which replace all earlier ones."""

    since: date = Field(
        description=Phrase("the date from which it holds, without quotes, such as 2027-04-01")
    )
    bands: tuple[PriceBand, ...] = Field(
        (), strict=False, description=Phrase("[[tariff.changes.bands]] tables")
    )


class Tariff(Prices):
    """What a kilowatt-hour costs: its own prices, until a change replaces them."""

    currency: str = Field(
        pattern=r"^[A-Z]{3}$", description=Phrase("the three capital letters of ISO 4217, such as USD or EUR")
    )
    changes: tuple[PriceChange, ...] = Field(
        (), strict=False, description=Phrase("[[tariff.changes]] tables")
    )

    @property
    def is_flat(self) -> bool:
        """Whether one price holds at all times."""
        return not self.bands and not self.changes

    def on(self, day: date) -> Prices:
        """Return the prices in force on a day; the changes are in the order of their dates."""
        return next((change for change in reversed(self.changes) if change.since <= day), self)
