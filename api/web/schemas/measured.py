"""What was measured in a zone: the request that notes it, and the response that shows it."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from api.render.model import ResponseModel
from api.web.schemas.fields import RequestModel
from config.models.site import Zone

Volts = Annotated[float, Field(ge=0, le=60)]


class FixtureMeasured(RequestModel):
    """What was measured at one fixture."""

    fixture: int = Field(ge=1, description="its place among the zone's fixtures, from 1")
    volts: list[Volts] | None = Field(
        description="one reading, at the last of its lights, or one for each; null takes the file's out"
    )

    @model_validator(mode="after")
    def _some_volts(self) -> Self:
        if self.volts is not None and not self.volts:
            raise ValueError("an empty list has no reading; give one, or null to take out the file’s")
        return self


class MeasuredRequest(RequestModel):
    """What was measured in one zone."""

    watts: Annotated[float, Field(gt=0, le=3000)] | None = Field(
        None, description="that the zone takes from its transformer; null takes the file's out"
    )
    fixtures: list[FixtureMeasured] = Field([], description="volts, with everything lit")

    @model_validator(mode="after")
    def _something(self) -> Self:
        if "watts" not in self.model_fields_set and not self.fixtures:
            raise ValueError("give “watts”, or volts under “fixtures”")
        places = [each.fixture for each in self.fixtures]
        if len(set(places)) != len(places):
            raise ValueError("a fixture is named twice")
        return self


class FixtureMeasuredResponse(ResponseModel):
    """What was measured at one fixture."""

    fixture: int = Field(description="its place among the zone's fixtures, from 1")
    volts: list[float] | None = Field(
        description="one reading, at the last of its lights, or one for each; null where none was noted"
    )


class MeasuredResponse(ResponseModel):
    """What was measured in one zone."""

    watts: float | None = Field(description="that the zone takes from its transformer; null where not noted")
    fixtures: list[FixtureMeasuredResponse] = Field(description="volts, with everything lit")


def measured_response(zone: Zone) -> MeasuredResponse:
    """Describe what the site file has of a zone's measurements."""
    return MeasuredResponse(
        watts=zone.measured_watts,
        fixtures=[
            FixtureMeasuredResponse(
                fixture=place, volts=None if each.measured_volts is None else list(each.measured_volts)
            )
            for place, each in enumerate(zone.fixtures, start=1)
        ],
    )
