"""What the web server is asked about the wiring: which transformer, what was measured, what is to be lit."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from api.web.schemas.fields import RequestModel

Volts = Annotated[float, Field(ge=0, le=60)]


class WiringParams(RequestModel):
    """The transformer that is asked about."""

    transformer: str | None = Field(None, description="id of one transformer; every one if left out")


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
        """Refuse a body that changes nothing, and one that names a fixture twice."""
        if "watts" not in self.model_fields_set and not self.fixtures:
            raise ValueError("give “watts”, or volts under “fixtures”")
        places = [each.fixture for each in self.fixtures]
        if len(set(places)) != len(places):
            raise ValueError("a fixture is named twice")
        return self


class PlacingParams(RequestModel):
    """The object that is to be lit."""

    kind: Literal["tree", "shrub", "tall thing", "wall", "path"] = Field(description="what it is")
    height: str | None = Field(None, description="its height, such as “7 ft” or “2 m”; a path has none")
    spread: str | None = Field(
        None, description="its width; the length of a shrub bed, a wall or a path; a tree may do without"
    )
    candela: float | None = Field(
        None, gt=0, strict=False, description="of one light in the middle of its beam, to compute the lux"
    )
