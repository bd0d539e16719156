"""What a bench declares and what it measures: a figure beside a reference program's, and its limit."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Benchmark:
    """One line of the table, before it is measured.

    Attributes:
        what: what is measured, such as ``a year's dusks at 51.5° N``.
        unit: unit of every figure, such as ``ms``; smaller is better.
        reference: what it is compared with, such as ``astral dusk()``; empty where there is none.
        max_ratio: limit of our figure divided by the reference's; None where only our figure is limited.
        max_value: limit of our figure; None where only the ratio is limited.
    """

    what: str
    unit: str
    reference: str = ""
    max_ratio: float | None = None
    max_value: float | None = None

    def __post_init__(self) -> None:
        """Refuse a benchmark that could not fail, and a ratio without a reference."""
        if self.max_ratio is None and self.max_value is None:
            raise ValueError(f"“{self.what}” has no limit, so it could not fail")
        if self.max_ratio is not None and not self.reference:
            raise ValueError(f"“{self.what}” limits a ratio, but has no reference")

    @property
    def limit(self) -> str:
        """The limits, in words."""
        limits = []
        if self.max_ratio is not None:
            limits.append(f"ratio ≤ {self.max_ratio:g}")
        if self.max_value is not None:
            limits.append(f"≤ {self.max_value:g} {self.unit}")
        return ", ".join(limits)

    def measured(self, value: float, reference: float | None = None) -> Measurement:
        """Give the line with its figures.

        Args:
            value: our figure, in the benchmark's unit.
            reference: the reference's figure from the same run, in the same unit.

        Raises:
            ValueError: a reference is named and has no figure, or the other way round.
        """
        if bool(self.reference) is (reference is None):
            raise ValueError(f"“{self.what}” is compared with “{self.reference}”, which measured {reference}")
        return Measurement(benchmark=self, value=value, reference=reference)


@dataclass(frozen=True, kw_only=True, slots=True)
class Measurement:
    """A benchmark with its figures."""

    benchmark: Benchmark
    value: float
    reference: float | None

    @property
    def ratio(self) -> float | None:
        """Our figure divided by the reference's; None where there is none."""
        return self.value / self.reference if self.reference else None

    @property
    def ok(self) -> bool:
        """Whether every limit is kept; a figure that is no number keeps none."""
        pairs = [(self.ratio, self.benchmark.max_ratio), (self.value, self.benchmark.max_value)]
        limited = [(figure, limit) for figure, limit in pairs if limit is not None]
        return all(figure is not None and figure <= limit for figure, limit in limited)


def best_ms(work: Callable[[], object], times: int) -> float:
    """Give the shortest of some runs, in milliseconds: what disturbs a run only makes it longer."""
    spent_s = []
    for _ in range(times):
        begun_s = time.perf_counter()
        work()
        spent_s.append(time.perf_counter() - begun_s)
    return min(spent_s) * 1000
