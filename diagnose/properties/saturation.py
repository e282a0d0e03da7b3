"""Saturation of the refrigerants: bubble and dew lines, enthalpies along them.

Idea: on a plot of ln p against 1/T a saturation line is almost straight, so a straight piece between two
points 2 K apart is within 0.002 K of the equation of state behind the table. A zeotropic blend has two
lines: it starts to boil at the bubble temperature and the last drop is gone at the dew temperature.
Subcooling belongs to the bubble line, superheat to the dew line; exchanging them on R-407C is an error of 9
to 11 F.

Not checked here: whether the machine really holds the refrigerant its plate names, and whether a blend has
leaked out of composition.

All pressures are ABSOLUTE, in Pa; all temperatures in K.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from functools import cache

from diagnose.properties.tables import cubic, linear, read_table, require_rising
from shared.errors import CalculatorError

REFRIGERANTS = ("R-410A", "R-134a", "R-407C", "R-32", "R-454B", "R-513A", "R-22")
"""Refrigerants with a committed table; spelled as in ASHRAE Standard 34."""

BLENDS = frozenset({"R-410A", "R-407C", "R-454B", "R-513A"})
"""Refrigerants with separate bubble and dew lines (R-410A and R-513A: glide under 0.2 K)."""


def _key(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower())


_SPELLINGS = {_key(name): name for name in REFRIGERANTS} | {_key(name)[1:]: name for name in REFRIGERANTS}


def refrigerant_name(text: str) -> str:
    """The standard name of a refrigerant, from any usual spelling.

    text: ``r410a``, ``R 410 A``, ``410A``, ``R-410A``.
    Raises CalculatorError for a refrigerant without a table.

    >>> refrigerant_name("r410a")
    'R-410A'
    """
    key = _key(text)
    if key in _SPELLINGS:
        return _SPELLINGS[key]
    near = difflib.get_close_matches(key, list(_SPELLINGS), n=1, cutoff=0.75)
    hint = f"did you mean {_SPELLINGS[near[0]]}? " if near else ""
    raise CalculatorError(
        "unknown refrigerant",
        given=text,
        allowed=", ".join(REFRIGERANTS),
        do=hint + "Take the name from the machine's plate.",
    )


@dataclass(frozen=True, slots=True)
class SaturationTable:
    """One refrigerant; columns of equal length, temperature rising.

    inverse_temperature: -1/T [1/K], so that it rises with T; ln_bubble, ln_dew: ln of absolute pressure [ln
    Pa].
    """

    name: str
    library: str
    critical_pa: float
    temperature_k: tuple[float, ...]
    inverse_temperature: tuple[float, ...]
    ln_bubble: tuple[float, ...]
    ln_dew: tuple[float, ...]
    liquid_j_per_kg: tuple[float, ...]
    vapour_j_per_kg: tuple[float, ...]


@cache
def saturation_table(refrigerant: str) -> SaturationTable:
    """The checked table of one refrigerant (any spelling); read on first use."""
    name = refrigerant_name(refrigerant)
    raw = read_table(name.lower())
    table = SaturationTable(
        name=name,
        library=raw["library"],
        critical_pa=raw["critical_pa"],
        temperature_k=tuple(raw["temperature_k"]),
        inverse_temperature=tuple(-1.0 / t for t in raw["temperature_k"]),
        ln_bubble=tuple(math.log(p) for p in raw["bubble_pa"]),
        ln_dew=tuple(math.log(p) for p in raw["dew_pa"]),
        liquid_j_per_kg=tuple(raw["liquid_j_per_kg"]),
        vapour_j_per_kg=tuple(raw["vapour_j_per_kg"]),
    )
    check_table(table)
    return table


def check_table(table: SaturationTable) -> None:
    """Self-check on load: every column rises with temperature, bubble pressure is never below dew pressure.

    Raises CalculatorError naming the column. The vapour enthalpy is not asked to rise: it turns over near the
    critical point. A bubble pressure may lie 0.2 % under the dew pressure: an azeotrope's two fitted lines
    cross.
    """
    require_rising(table.temperature_k, f"{table.name} temperature")
    require_rising(table.ln_bubble, f"{table.name} bubble pressure")
    require_rising(table.ln_dew, f"{table.name} dew pressure")
    require_rising(table.liquid_j_per_kg, f"{table.name} liquid enthalpy")
    for t, bubble, dew in zip(table.temperature_k, table.ln_bubble, table.ln_dew, strict=True):
        if bubble < dew - 0.002:
            raise CalculatorError(
                f"property table damaged: {table.name} bubble pressure below dew pressure at {t} K",
                do="reinstall the tool",
            )


def _temperature(table: SaturationTable, line: tuple[float, ...], p_abs_pa: float) -> float:
    low, high = math.exp(line[0]), math.exp(line[-1])
    # A rounding error at the very end of the table is not a user's error.
    if not (p_abs_pa > 0.0 and low * (1 - 1e-9) <= p_abs_pa <= high * (1 + 1e-9)):
        raise CalculatorError(
            f"{table.name} absolute pressure outside the saturation table",
            given=f"{p_abs_pa / 1e3:.6g} kPa absolute",
            allowed=f"{low / 1e3:.0f} to {high / 1e3:.0f} kPa absolute "
            f"({table.temperature_k[0] - 273.15:.0f} to {table.temperature_k[-1] - 273.15:.0f} C; "
            f"critical {table.critical_pa / 1e3:.0f} kPa)",
            do="check the unit, gauge or absolute, and the refrigerant",
        )
    return -1.0 / linear(line, table.inverse_temperature, math.log(p_abs_pa))


def _pressure(table: SaturationTable, line: tuple[float, ...], t_k: float) -> float:
    low, high = table.temperature_k[0], table.temperature_k[-1]
    if not low - 1e-9 <= t_k <= high + 1e-9:
        raise CalculatorError(
            f"{table.name} temperature outside the saturation table",
            given=f"{t_k - 273.15:.6g} C",
            allowed=f"{low - 273.15:.0f} to {high - 273.15:.0f} C",
            do="check the unit and the refrigerant",
        )
    return math.exp(linear(table.inverse_temperature, line, -1.0 / t_k))


def t_dew_k(refrigerant: str, p_abs_pa: float) -> float:
    """Dew temperature [K] at an absolute pressure [Pa].

    Valid from -70 C to 80 C or 0.95 of the critical pressure, whichever is lower. Raises CalculatorError
    outside. Source: CoolProp 8.0.0 table, 2 K grid. Check value: R-410A dew at 798.08 kPa is 0 C
    (EnergyPlus 25.2 refrigerant data, from REFPROP).

    >>> round(t_dew_k("R-410A", 798.08e3), 1)
    273.1
    """
    table = saturation_table(refrigerant)
    return _temperature(table, table.ln_dew, p_abs_pa)


def t_bubble_k(refrigerant: str, p_abs_pa: float) -> float:
    """Bubble temperature [K] at an absolute pressure [Pa]; range, errors and source as ``t_dew_k``.

    >>> round(t_bubble_k("R-22", 1534e3) - 273.15, 1)   # 40 C at 1534 kPa: EnergyPlus 25.2 refrigerant data
    40.0
    """
    table = saturation_table(refrigerant)
    return _temperature(table, table.ln_bubble, p_abs_pa)


def p_dew_pa(refrigerant: str, t_k: float) -> float:
    """Dew pressure [Pa absolute] at a temperature [K]; exact inverse of ``t_dew_k``, same range and source.

    >>> round(p_dew_pa("R-407C", 293.15) / 1e5, 1)   # 8.80 bar: test values of an open REFPROP binding
    8.8
    """
    table = saturation_table(refrigerant)
    return _pressure(table, table.ln_dew, t_k)


def p_bubble_pa(refrigerant: str, t_k: float) -> float:
    """Bubble pressure [Pa absolute] at a temperature [K]; exact inverse of ``t_bubble_k``, same range and
    source.

    >>> round(p_bubble_pa("R-407C", 293.15) / 1e5, 1)   # 10.38 bar: test values of an open REFPROP binding
    10.4
    """
    table = saturation_table(refrigerant)
    return _pressure(table, table.ln_bubble, t_k)


def liquid_enthalpy_j_per_kg(refrigerant: str, t_k: float) -> float:
    """Enthalpy [J/kg] of saturated liquid at a temperature [K].

    Stands for subcooled liquid of the same temperature as well: pressure moves liquid enthalpy by well under
    0.5 kJ/kg in the range of a chiller. The reference state differs between refrigerants: use differences
    only.
    """
    table = saturation_table(refrigerant)
    _pressure(table, table.ln_bubble, t_k)  # range check
    return cubic(table.temperature_k, table.liquid_j_per_kg, t_k)


def vapour_enthalpy_j_per_kg(refrigerant: str, t_k: float) -> float:
    """Enthalpy [J/kg] of dew-point vapour at a temperature [K]; same reference as the liquid of that
    refrigerant.

    R-134a at 0 C: vapour minus liquid 198.6 kJ/kg (ASHRAE Handbook Fundamentals, R-134a table; from memory).

    >>> t = 273.15
    >>> round((vapour_enthalpy_j_per_kg("R-134a", t) - liquid_enthalpy_j_per_kg("R-134a", t)) / 1e3, 1)
    198.6
    """
    table = saturation_table(refrigerant)
    _pressure(table, table.ln_dew, t_k)  # range check
    return cubic(table.temperature_k, table.vapour_j_per_kg, t_k)
