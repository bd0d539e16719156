"""Kinds of value in the JSON of the wiring."""

from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field

from config.errors import Severity

TextOrNull = Annotated[str | None, BeforeValidator(lambda text: text or None)]
# Nothing is rounded so far that a voltmeter could see it.
Rounded2 = Annotated[float, AfterValidator(lambda value: round(value, 2))]
Rounded3 = Annotated[float, AfterValidator(lambda value: round(value, 3))]
Rounded4 = Annotated[float, AfterValidator(lambda value: round(value, 4))]
Rounded6 = Annotated[float, AfterValidator(lambda value: round(value, 6))]
NodeName = Annotated[str, Field(description="node of the cable plan", examples=["facade 1"])]
Gauge = Annotated[str, Field(description="gauge of its conductors", examples=["12 AWG", "2.5 mm²"])]
Words = Annotated[str, Field(description="the same in words", examples=["the load is 69 % of the rating"])]
Level = Annotated[Severity, Field(description="how much it matters: the worst of what was found")]
