"""Reading and interpolating the committed property tables.

A table is JSON under ``diagnose/properties/data``; its head names the library, its version and the method.
Everything here is plain Python: a table loads in well under a millisecond and a look-up takes microseconds.
"""

from __future__ import annotations

import json
import math
from bisect import bisect_right
from collections.abc import Sequence
from importlib.resources import files
from typing import Any

from shared.errors import CalculatorError


def read_table(name: str) -> dict[str, Any]:
    """The table ``name`` (file name without .json) as plain data."""
    text = files("diagnose.properties").joinpath("data", f"{name}.json").read_text(encoding="utf-8")
    table: dict[str, Any] = json.loads(text)
    return table


def require_rising(values: Sequence[float], what: str) -> None:
    """Refuse a column that does not rise strictly: a damaged table must not give a wrong answer."""
    for i in range(1, len(values)):
        if not values[i] > values[i - 1]:
            raise CalculatorError(f"property table damaged: {what} does not rise at row {i}", do="reinstall the tool")


def interval(grid: Sequence[float], x: float) -> int:
    """Index i of the interval grid[i] <= x <= grid[i+1]; the end intervals take what lies outside."""
    return min(max(bisect_right(grid, x) - 1, 0), len(grid) - 2)


def linear(grid: Sequence[float], values: Sequence[float], x: float) -> float:
    """Straight line between the two points around ``x``; extends the end intervals."""
    i = interval(grid, x)
    share = (x - grid[i]) / (grid[i + 1] - grid[i])
    return values[i] + share * (values[i + 1] - values[i])


def cubic_weights(grid: Sequence[float], x: float) -> tuple[int, tuple[float, float, float, float]]:
    """First index and Lagrange weights of the four grid points around ``x``; the grid has four or more."""
    start = min(max(bisect_right(grid, x) - 2, 0), len(grid) - 4)
    points = grid[start : start + 4]
    weights = []
    for i in range(4):
        weight = 1.0
        for j in range(4):
            if i != j:
                weight *= (x - points[j]) / (points[i] - points[j])
        weights.append(weight)
    return start, (weights[0], weights[1], weights[2], weights[3])


def cubic(grid: Sequence[float], values: Sequence[float], x: float) -> float:
    """Cubic through the four points around ``x``."""
    start, weights = cubic_weights(grid, x)
    return math.fsum(w * v for w, v in zip(weights, values[start : start + 4], strict=True))
