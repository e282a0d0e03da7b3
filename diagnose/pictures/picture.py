"""A picture as data: what stands where, and the same in words. Desks draw it to be touched, reports as a still."""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.chart import Axis, Series, chart


@dataclass(frozen=True)
class Picture:
    """name: id; title: what it is; words: what it shows, for whoever cannot see it. limits, notes as in `diagnose.chart`.

    square: both axes are of one size, as for phasors.
    """

    name: str
    title: str
    words: str
    x: Axis
    y: Axis
    series: tuple[Series, ...]
    limits: tuple[tuple[str, float], ...] = ()
    notes: tuple[tuple[float, float, str], ...] = ()
    square: bool = False

    def svg(self) -> str:
        """The still, one SVG element."""
        size = {"wide": 420.0, "high": 440.0} if self.square else {}
        return chart(self.words, self.x, self.y, self.series, limits=self.limits, notes=self.notes, **size)


def room(values: list[float], share: float = 0.08) -> tuple[float, float]:
    """Ends of an axis that holds ``values`` (at least one) with some room."""
    low, high = min(values), max(values)
    edge = (high - low) * share or abs(high) * share or 1.0
    return low - edge, high + edge
