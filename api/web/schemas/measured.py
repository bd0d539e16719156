"""What was measured in a zone: the request that notes it, and the response that shows it."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from api.render.model import FixturePlace, ResponseModel
from api.web.schemas.fields import RequestModel
from config.models.site import Zone

Volts = Annotated[float, Field(ge=0, le=60)]


class FixtureMeasured(RequestModel):
    """What was measured at one fixture."""

    fixture: int = Field(
        ge=1, description="its place in the zone's list in the site file, from 1", examples=[1]
    )
    volts: list[Volts] | None = Field(
        description="one reading, at the last of its lights, or one for each; null takes the file's out",
        examples=[[11.6]],
    )

    @model_validator(mode="after")
    def _some_volts(self) -> Self:
        if self.volts is not None and not self.volts:
            raise ValueError("an empty list has no reading; give one, or null to take out the file’s")
        return self


class MeasuredRequest(RequestModel):
    """What was measured in one zone."""

    watts: Annotated[float, Field(gt=0, le=3000)] | None = Field(
        None,
        description="watts that the zone takes from its transformer; null takes the file's out",
        examples=[26.5],
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

    fixture: FixturePlace
    volts: list[float] | None = Field(
        description="one reading, at the last of its lights, or one for each; null where none was noted",
        examples=[[11.6]],
    )


class MeasuredResponse(ResponseModel):
    """What was measured in one zone."""

    watts: float | None = Field(
        description="watts that the zone takes from its transformer; null where not noted", examples=[26.5]
    )
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
