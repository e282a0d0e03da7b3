"""Carrying the uncertainty of readings through a pure function.

Each reading is one variable, however often the function uses it, so a suction pressure that enters
superheat, approach and ratio is counted once. The contribution of a reading x with standard uncertainty u
is (f(x + u) - f(x - u))/2 (JCGM 100:2008, 5.1.3 note 2); contributions add in quadrature, plus the model's
own. Readings are taken as independent: two values of ONE instrument must be given with the part of its
error that does not cancel.

Not covered: strongly bent functions (a flow from a drop near zero), where the interval is not symmetric.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from diagnose.calculators.model import Calculator, Results, Values
from shared.errors import CalculatorError
from shared.readings import Measured


def values_of(calculator: Calculator, given: Mapping[str, Measured | str | tuple[Measured, ...]]) -> Values:
    """Inputs as plain SI numbers; which of the pressures to be made absolute were read as gauge."""
    raw: dict[str, float | str | tuple[float, ...]] = {}
    gauge = set()
    for key, value in given.items():
        if isinstance(value, str):
            raw[key] = value
        elif isinstance(value, tuple):
            raw[key] = tuple(float(one.value) for one in value)
        else:
            raw[key] = float(value.value)
            if value.kind == "gauge-pressure":
                gauge.add(key)
    return Values(raw, frozenset(gauge))


def _shifted(values: Values, key: str, index: int | None, by: float) -> Values:
    raw = dict(values.raw)
    old = raw[key]
    if isinstance(old, tuple) and index is not None:
        raw[key] = (*old[:index], old[index] + by, *old[index + 1 :])
    elif isinstance(old, float):
        raw[key] = old + by
    return Values(raw, values.gauge)


def _variables(
    given: Mapping[str, Measured | str | tuple[Measured, ...]],
) -> list[tuple[str, int | None, float]]:
    found: list[tuple[str, int | None, float]] = []
    for key, value in given.items():
        if isinstance(value, Measured):
            found.append((key, None, value.sd))
        elif isinstance(value, tuple):
            found.extend((key, i, one.sd) for i, one in enumerate(value))
    return [(key, i, sd) for key, i, sd in found if sd > 0.0]


def _effect(
    calculator: Calculator, values: Values, centre: Results, key: str, index: int | None, sd: float
) -> dict[str, float | None]:
    """Change of each numeric result for one standard uncertainty of one variable.

    At the edge of the calculator's range only one side can be computed; its difference is used then.
    """
    sides: list[Results] = []
    for by in (sd, -sd):
        try:
            sides.append(calculator.compute(_shifted(values, key, index, by)))
        except CalculatorError:
            continue
    effects: dict[str, float | None] = {}
    for name, value in centre.items():
        if not isinstance(value, float):
            continue
        numbers = [float(side[name]) for side in sides if name in side and not isinstance(side[name], str)]
        if len(numbers) == 2:
            effects[name] = abs(numbers[0] - numbers[1]) / 2.0
        elif numbers:
            effects[name] = abs(numbers[0] - value)
        else:
            effects[name] = None
    return effects


def standard_uncertainty(
    calculator: Calculator,
    given: Mapping[str, Measured | str | tuple[Measured, ...]],
    values: Values,
    centre: Results,
) -> dict[str, float | None]:
    """Standard uncertainty of each result; None for words and where no side of a reading can be computed."""
    squares: dict[str, float | None] = {name: None if isinstance(value, str) else 0.0 for name, value in centre.items()}
    model = calculator.model_sd(values, centre) if calculator.model_sd else {}
    parts: list[Mapping[str, float | None]] = [dict(model)]
    parts += [_effect(calculator, values, centre, *variable) for variable in _variables(given)]
    for part in parts:
        for name, effect in part.items():
            so_far = squares[name]
            squares[name] = None if so_far is None or effect is None else so_far + effect**2
    return {name: None if square is None else math.sqrt(square) for name, square in squares.items()}
