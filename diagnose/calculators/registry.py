"""All calculators by name, and the one way to run them with uncertainty.

    evaluate("superheat", {"refrigerant": "R-410A", "suction_pressure": Measured(...), "suction_line":
    Measured(...)})

Inputs are `Measured` (SI, with the standard uncertainty of the reading), words for choices, tuples of
Measured for phases, curves and series. What is not given takes its default. Accuracy is never invented
here: a reading without one counts as exact, and the caller says so.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping

from diagnose.calculators.catalogue import fluid, loop, refrigerant, supply
from diagnose.calculators.model import Calculator, Evaluation, Given, Input, Result
from diagnose.calculators.propagate import standard_uncertainty, values_of
from shared.errors import CalculatorError, ImpossibleValueError, WrongKindError
from shared.quantities import QUANTITIES, Kind
from shared.readings import Measured
from shared.units import parse, show

CALCULATORS: dict[str, Calculator] = {
    one.name: one for one in (*refrigerant.CALCULATORS, *fluid.CALCULATORS, *loop.CALCULATORS, *supply.CALCULATORS)
}
"""All calculators by name."""


def calculator(name: str) -> Calculator:
    """The calculator of a name (kebab-case; underscores accepted); CalculatorError lists near names."""
    key = name.strip().lower().replace("_", "-")
    if key in CALCULATORS:
        return CALCULATORS[key]
    near = difflib.get_close_matches(key, CALCULATORS, n=3, cutoff=0.5)
    raise CalculatorError(
        "unknown calculator",
        given=name,
        allowed=", ".join(near) if near else ", ".join(sorted(CALCULATORS)),
        do="'calc' alone lists all",
    )


def evaluate(name: str, inputs: Mapping[str, Given]) -> Evaluation:
    """Run a calculator: every result in SI with its standard uncertainty, and the notes on it.

    Raises CalculatorError (unknown calculator or input, missing input, outside the limits), WrongKindError,
    ImpossibleValueError.
    """
    chosen = calculator(name)
    given = complete(chosen, inputs)
    values = values_of(chosen, given)
    results = chosen.compute(values)
    spread = standard_uncertainty(chosen, given, values, results)
    for key, value in results.items():
        if isinstance(value, float) and not math.isfinite(value):
            raise CalculatorError(f"{chosen.name}: {key} has no finite value", do="check the readings and their units")
    notes = chosen.notes(values, results, spread) if chosen.notes else []
    notes += [
        f"{key}: uncertainty cannot be computed this close to the calculator's limits"
        for key, value in results.items()
        if isinstance(value, float) and spread[key] is None
    ]
    return Evaluation(
        chosen.name,
        tuple(
            Result(out.key, out.kind, results[out.key], spread[out.key]) for out in chosen.outputs if out.key in results
        ),
        tuple(notes),
    )


def complete(chosen: Calculator, inputs: Mapping[str, Given]) -> dict[str, Given]:
    """Inputs checked (key, kind, number, range) and completed with defaults."""
    known = {one.key: one for one in chosen.inputs}
    for key in inputs:
        if key not in known:
            near = difflib.get_close_matches(key, known, n=1, cutoff=0.6)
            raise CalculatorError(
                f"{chosen.name} has no input '{key}'",
                allowed=", ".join(known),
                do=f"did you mean {near[0]}?" if near else "",
            )
    missing = [one.key for one in chosen.inputs if one.required and one.key not in inputs]
    if missing:
        raise CalculatorError(
            f"{chosen.name} needs more",
            given=", ".join(inputs) or "nothing",
            allowed=f"also {', '.join(missing)}",
            do=f"for example {example(known[missing[0]])}",
        )
    given: dict[str, Given] = {}
    for one in chosen.inputs:
        if one.key in inputs:
            given[one.key] = _checked(one, inputs[one.key])
        elif one.default:
            given[one.key] = (
                one.default if one.kind is Kind.CHOICE else Measured(parse(one.default, one.kind).value, one.kind)
            )
    return given


_EXAMPLE = {
    Kind.TEMPERATURE: "50degF",
    Kind.TEMPERATURE_DIFFERENCE: "10delta_degF",
    Kind.GAUGE_PRESSURE: "118psig",
    Kind.ABSOLUTE_PRESSURE: "133psia",
    Kind.PRESSURE_DIFFERENCE: "6.5psi",
    Kind.FLOW: "96gpm",
    Kind.VOLTAGE: "460V",
    Kind.CURRENT: "7.6A",
    Kind.FREQUENCY: "60Hz",
    Kind.PERCENT: "30%",
    Kind.POWER: "140kW",
    Kind.APPARENT_POWER: "150kVA",
    Kind.LENGTH: "100ft",
    Kind.AREA: "35mm2",
    Kind.VOLUME: "500gal",
    Kind.TIME: "10min",
    Kind.SPEED: "1750rpm",
    Kind.DENSITY: "998kg/m3",
    Kind.FLOW_COEFFICIENT: "60Cv",
}


def example(one: Input) -> str:
    """How an input is typed: key=value."""
    if one.kind is Kind.CHOICE:
        return f"{one.key}={one.choices[0] if one.choices else 'WORD'}"
    value = _EXAMPLE.get(one.kind, "1")
    if one.many == 1:
        return f"{one.key}={value}"
    return f"{one.key}={'/'.join([value] * (one.many or 2))}"


def _checked(one: Input, value: Given) -> Given:
    if one.kind is Kind.CHOICE:
        if not isinstance(value, str):
            raise WrongKindError(f"{one.key} is a word", given=value, allowed=", ".join(one.choices))
        word = one.normal(value) if one.normal else value.strip().lower()
        if one.choices and word not in one.choices:
            raise CalculatorError(f"unknown {one.key}", given=value, allowed=", ".join(one.choices))
        return word
    if isinstance(value, str):
        raise WrongKindError(f"{one.key} is a {one.kind}", given=value, allowed="a measured value")
    parts = value if isinstance(value, tuple) else (value,)
    if one.many and len(parts) != one.many or not parts:
        raise CalculatorError(
            f"{one.key} needs {one.many or 'at least one'} value{'s' if one.many != 1 else ''}",
            given=f"{len(parts)} values",
            allowed=f"for example {example(one)}",
        )
    for part in parts:
        _check_number(one, part)
    return parts if one.many != 1 else parts[0]


def _check_number(one: Input, part: Measured) -> None:
    allowed = {one.kind, Kind.ABSOLUTE_PRESSURE} if one.absolute else {one.kind}
    if part.kind not in allowed:
        raise WrongKindError(
            f"{one.key} is a {one.kind}",
            given=part.kind,
            allowed=" or ".join(sorted(allowed)),
            do="type the value again with its unit",
        )
    if not (math.isfinite(part.value) and math.isfinite(part.sd) and part.sd >= 0.0):
        raise ImpossibleValueError(f"{one.key} is not a number", given=part.value, allowed="a finite number")
    quantity = QUANTITIES.get(one.key)
    if quantity and quantity.kind is part.kind and not quantity.low <= part.value <= quantity.high:
        raise ImpossibleValueError(
            f"{quantity.title} cannot be that",
            given=show(part.value, part.kind),
            allowed=f"{show(quantity.low, part.kind)} to {show(quantity.high, part.kind)}",
            do="check value and unit",
        )
