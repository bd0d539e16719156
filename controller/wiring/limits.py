"""What a site asks of its wiring beyond the rules."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """What the site asks for beyond the rules.

    Attributes:
        drop_percent: greatest voltage drop that the site accepts; None where it names none.
        cool_c: temperature of cable that has not warmed; the most volts are judged with it.
        low_light: least light of the dimmest filament lamp as a part of the brightest; common practice.
        low_life: least life of a filament lamp as a part of its rated life; common practice.
    """

    drop_percent: float | None = None
    cool_c: float = 20.0
    low_light: float = 0.7
    low_life: float = 0.5
