"""What is wrong with a board, as JSON."""

from collections.abc import Sequence
from typing import Literal

from pydantic import Field

from api.render.model import ResponseModel, SiteName
from config.errors import Severity
from controller.doctor.check import Check, Subject


class BoardCheckResponse(ResponseModel):
    """One thing that was looked at."""

    about: Subject = Field(description="what it is about", examples=["journal"])
    level: Severity = Field(description="“ok” where it is in order, else how much it matters")
    what: str = Field(description="what was found", examples=["/var/lib/leerie can only be read"])
    remedy: str = Field(description="what to do; empty where nothing is wrong")


class DoctorReport(ResponseModel):
    """Everything that was looked at on a board."""

    site: SiteName
    basis: Literal["keeper", "this machine"] = Field(
        description="who was asked: the daemon's “keeper”, or “this machine” alone where it does not answer"
    )
    worst: Severity = Field(description="the worst level of all checks")
    checks: list[BoardCheckResponse] = Field(description="by what they are about, the clock first")


def doctor_report(site: str, checks: Sequence[Check], *, asked: bool) -> DoctorReport:
    """Describe everything that was looked at; ``asked`` says whether the daemon answered."""
    worst = max((each.level for each in checks), key=lambda level: level.rank, default=Severity.OK)
    return DoctorReport(
        site=site,
        basis="keeper" if asked else "this machine",
        worst=worst,
        checks=[
            BoardCheckResponse(about=each.about, level=each.level, what=each.what, remedy=each.remedy)
            for each in checks
        ],
    )
