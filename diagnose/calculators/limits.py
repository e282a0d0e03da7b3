"""The two checks every calculator makes on its numbers."""

from __future__ import annotations

import math

from shared.errors import CalculatorError


def require_finite(**values: float) -> None:
    """Refuse NaN and infinity, naming the argument."""
    for name, value in values.items():
        if not math.isfinite(value):
            raise CalculatorError(f"{name} is not a number", given=value, allowed="a finite number")


def require_positive(**values: float) -> None:
    """Refuse zero, negative, NaN and infinite values, naming the argument."""
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise CalculatorError(
                f"{name} must be above zero",
                given=f"{value:.6g}",
                allowed="above zero",
                do="check the reading and its unit",
            )


def require_within(name: str, value: float, low: float, high: float, unit: str) -> None:
    """Refuse a value outside ``low`` to ``high``; NaN as well."""
    if not low <= value <= high:
        raise CalculatorError(
            f"{name} outside the calculator's range",
            given=f"{value:.6g} {unit}".strip(),
            allowed=f"{low:g} to {high:g} {unit}".strip(),
            do="check the reading and its unit",
        )
