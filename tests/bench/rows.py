"""What a bench hands back: a figure of ours beside a peer's, and the bound that it must keep."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One line of the table.

    Attributes:
        what: what was measured, such as ``a year's dusks at 51.5 N``.
        unit: unit of both figures, such as ``ms``; smaller is better.
        ours: our figure.
        peer_name: with whom it is compared, such as ``astral dusk()``; empty where with nobody.
        peer: the peer's figure from the same run; None where there is no peer.
        ratio_at_most: bound on ours divided by the peer's; None where only our figure is bounded.
        ours_at_most: bound on our figure alone; None where only the ratio is bounded.
    """

    what: str
    unit: str
    ours: float
    peer_name: str = ""
    peer: float | None = None
    ratio_at_most: float | None = None
    ours_at_most: float | None = None

    def __post_init__(self) -> None:
        """Refuse a row that could not fail, and a ratio to nobody."""
        if self.ratio_at_most is None and self.ours_at_most is None:
            raise ValueError(f"“{self.what}” has no bound, so it could not fail")
        if self.ratio_at_most is not None and not self.peer:
            raise ValueError(f"“{self.what}” bounds a ratio, but its peer's figure is {self.peer}")

    @property
    def ratio(self) -> float | None:
        """Ours divided by the peer's; None where there is no peer."""
        return self.ours / self.peer if self.peer else None

    @property
    def bound(self) -> str:
        """The bounds, in words."""
        bounds = []
        if self.ratio_at_most is not None:
            bounds.append(f"≤ {self.ratio_at_most:g} ×")
        if self.ours_at_most is not None:
            bounds.append(f"≤ {self.ours_at_most:g} {self.unit}")
        return ", ".join(bounds)

    @property
    def holds(self) -> bool:
        """Whether every bound is kept; a figure that is no number keeps none."""
        figures = [(self.ratio, self.ratio_at_most), (self.ours, self.ours_at_most)]
        bounded = [(figure, at_most) for figure, at_most in figures if at_most is not None]
        return all(figure is not None and figure <= at_most for figure, at_most in bounded)
