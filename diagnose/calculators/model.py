"""What a calculator is to the registry: inputs, outputs, limits, source, and one pure function.

A `Calculator` is data around a pure function of `Values`. `Values` gives the function its inputs in SI; gauge
pressures become absolute here, with the site's atmosphere from the input `altitude`, so that an uncertain
altitude travels into the result like any other input.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from diagnose.calculators.altitude import site_atmosphere_pa
from shared.errors import CalculatorError
from shared.quantities import Kind
from shared.readings import Measured

Given = Measured | str | tuple[Measured, ...]
"""One input as it comes in: a reading, a word, or several readings (phases, a curve, a series)."""


@dataclass(frozen=True, slots=True)
class Input:
    """One input.

    key: the quantity name of the outside contract where there is one. kind: of the reading. many: how many
    values (1; 3 for phases; 0 for any number). default: used when nothing is given, as it would be typed.
    choices: the words of a choice. normal: turns any spelling of a choice into its name. absolute: a gauge
    reading that the function needs absolute; an absolute reading is then accepted too. instrument: usual
    instrument (id), only used where a reading says nothing of its accuracy; "" = a figure from a plate or a
    setting, taken as exact.
    """

    key: str
    kind: Kind
    help: str
    required: bool = True
    default: str = ""
    choices: tuple[str, ...] = ()
    normal: Callable[[str], str] | None = None
    many: int = 1
    absolute: bool = False
    instrument: str = ""


@dataclass(frozen=True, slots=True)
class Output:
    """One result: its name, kind and meaning. A choice output is a word and has no uncertainty."""

    key: str
    kind: Kind
    help: str


@dataclass(frozen=True, slots=True)
class Values:
    """Inputs in SI, as the pure function sees them."""

    raw: Mapping[str, float | str | tuple[float, ...]]
    gauge: frozenset[str] = frozenset()

    def has(self, key: str) -> bool:
        """Whether this input was given or has a default."""
        return key in self.raw

    def number(self, key: str) -> float:
        """One number in SI, as it was read (a gauge pressure stays gauge)."""
        value = self.raw[key]
        if not isinstance(value, float):
            raise TypeError(f"{key} is not one number")
        return value

    def maybe(self, key: str) -> float | None:
        """As ``number``, None when not given."""
        return self.number(key) if key in self.raw else None

    def many(self, key: str) -> tuple[float, ...]:
        """Several numbers in SI; empty when not given."""
        value = self.raw.get(key, ())
        if isinstance(value, str):
            raise TypeError(f"{key} is not numbers")
        return (value,) if isinstance(value, float) else value

    def text(self, key: str) -> str:
        """A word."""
        value = self.raw[key]
        if not isinstance(value, str):
            raise TypeError(f"{key} is not a word")
        return value

    def absolute(self, key: str) -> float:
        """A pressure as absolute [Pa]: gauge readings get the site atmosphere added."""
        value = self.number(key)
        if key not in self.gauge:
            return value
        total = value + site_atmosphere_pa(self.number("altitude"))
        if total <= 0.0:
            raise CalculatorError(
                f"{key} is below a full vacuum",
                given=f"{value / 1e3:.1f} kPa gauge",
                allowed="above minus the site atmosphere",
                do="check sign, unit and altitude",
            )
        return total


Results = Mapping[str, float | str]
Spread = Mapping[str, float | None]


@dataclass(frozen=True, slots=True)
class Calculator:
    """One calculator.

    compute: pure, from Values to at most one entry for each output (one that has no meaning here is left
    out). notes: sentences about THIS result (what it cannot prove), from values, results and standard
    uncertainties. model_sd: standard uncertainty of the model itself, added in quadrature (a printed
    tolerance, not an instrument). usual: other usual instruments by input key, where a choice changes them
    (words given -> instrument ids).
    """

    name: str
    title: str
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    limits: str
    source: str
    compute: Callable[[Values], Results]
    notes: Callable[[Values, Results, Spread], list[str]] | None = None
    model_sd: Callable[[Values, Results], Mapping[str, float]] | None = None
    usual: Callable[[Mapping[str, str]], Mapping[str, str]] | None = None


@dataclass(frozen=True, slots=True)
class Result:
    """value: SI of ``kind``, or a word; sd: standard uncertainty, None for a word or where it cannot be
    had.
    """

    key: str
    kind: Kind
    value: float | str
    sd: float | None


@dataclass(frozen=True, slots=True)
class Evaluation:
    """All results of one calculation, in the calculator's order, and what is to be said about them."""

    name: str
    results: tuple[Result, ...]
    notes: tuple[str, ...]

    def value(self, key: str) -> float:
        """A numeric result in SI."""
        for result in self.results:
            if result.key == key and isinstance(result.value, float):
                return result.value
        raise KeyError(key)

    def sd(self, key: str) -> float | None:
        """Its standard uncertainty."""
        return next(result.sd for result in self.results if result.key == key)
