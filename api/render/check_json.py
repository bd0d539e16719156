"""The check of a site file: what there is to say about it, and the same as JSON."""

from collections.abc import Iterable, Iterator
from dataclasses import asdict
from datetime import date, datetime

from pydantic import Field

from api.render.model import ResponseModel, SiteProblemResponse, ZoneId
from config.errors import Severity, SiteProblem
from config.file.loader import LoadedSite, locate
from config.header import HEADER_PINS
from config.models.site import RelaySettings, Zone
from config.phrase import Phrase
from config.validation.finding import SiteFinding
from controller.planning.planner import Planner
from controller.planning.review import review_year
from controller.relays import SIMULATED, missing_library

Finding = tuple[Severity, SiteProblem]


class CheckedProblemResponse(SiteProblemResponse):
    """One thing that is wrong, or worth knowing, and how much it matters."""

    level: Severity = Field(
        description="“error” where the file cannot be used, “warning” for a probable mistake, “note” for "
        "what is worth knowing"
    )


class PinResponse(ResponseModel):
    """Where a zone's relay is wired to."""

    zone: ZoneId
    bcm: int = Field(description="BCM number of the pin", examples=[17])
    header: int = Field(description="its number on the 40-pin header", examples=[11])
    active_high: bool = Field(
        description="whether the relay closes on high; if not, it closes on low", examples=[False]
    )


class CheckResponse(ResponseModel):
    """What there is to say about a site file."""

    site: str | None = Field(
        description="name of the site; null where the file cannot be used", examples=["Saltmarsh Lodge"]
    )
    problems: list[CheckedProblemResponse] = Field(description="in the order of the file")
    pins: list[PinResponse] = Field(description="the pin of each zone; empty where the file cannot be used")


def find_problems(loaded: LoadedSite, first: date | None, *, now_utc: datetime) -> list[Finding]:
    """List warnings and notes of a valid site file, in its order: of the file, the board and the year's sun.

    ``first`` is the first night of the year that is looked at; tonight where it is None.
    """
    planner = Planner(loaded.site)
    found = [*_review_board(loaded.site.relays)]
    found += review_year(planner, first or planner.night_at(now_utc).date)
    problems = [(Severity.WARNING, problem) for problem in loaded.warnings]
    for severity, finding in found:
        problems += ((severity, each) for each in locate([finding], loaded.text, loaded.file_name))
    return sorted(problems, key=lambda each: each[1].line)


def _review_board(relays: RelaySettings) -> Iterator[tuple[Severity, SiteFinding]]:
    path = ("relays", "board")
    if relays.board == "simulated":
        remedy = Phrase('write board = "gpio" once relays are wired to the pins')
        yield Severity.NOTE, SiteFinding(path, SIMULATED, remedy)
    elif missing := missing_library(*relays.hardware):
        yield Severity.WARNING, SiteFinding(path, *missing)


def pin_response(zone: Zone) -> PinResponse:
    """Say where a zone's relay is wired to, by both ways of counting pins."""
    return PinResponse(zone=zone.id, bcm=zone.pin, header=HEADER_PINS[zone.pin], active_high=zone.active_high)


def check_response(loaded: LoadedSite, problems: Iterable[Finding]) -> CheckResponse:
    """Describe a site file that can be used."""
    zones = loaded.site.zones
    return CheckResponse(
        site=loaded.site.name, problems=_describe(problems), pins=[pin_response(zone) for zone in zones]
    )


def refused_response(problems: Iterable[SiteProblem]) -> CheckResponse:
    """Describe a site file that cannot be used."""
    return CheckResponse(site=None, problems=_describe((Severity.ERROR, each) for each in problems), pins=[])


def _describe(problems: Iterable[Finding]) -> list[CheckedProblemResponse]:
    return [CheckedProblemResponse(**asdict(problem), level=level) for level, problem in problems]
