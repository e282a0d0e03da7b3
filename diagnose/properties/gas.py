"""Superheated gas: enthalpy and entropy, and the way back to temperature.

The table holds, for dew temperatures 2 K apart and sixteen superheats from 0 to 140 K, the enthalpy above
the dew point and the entropy. Cubic interpolation both ways stays within 0.1 K of discharge temperature of
the equation of state, which is far inside what a clamp on a discharge line can read.

All pressures are ABSOLUTE, in Pa; all temperatures in K; enthalpy J/kg, entropy J/(kg K).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from diagnose.properties.saturation import refrigerant_name, t_dew_k, vapour_enthalpy_j_per_kg
from diagnose.properties.tables import cubic, cubic_weights, read_table, require_rising
from shared.errors import CalculatorError


@dataclass(frozen=True, slots=True)
class GasTable:
    """Rows: dew temperature; columns: superheat."""

    name: str
    dew_k: tuple[float, ...]
    superheat_k: tuple[float, ...]
    rise_j_per_kg: tuple[tuple[float, ...], ...]
    entropy: tuple[tuple[float, ...], ...]


@cache
def gas_table(refrigerant: str) -> GasTable:
    """The checked gas table of one refrigerant (any spelling); read on first use."""
    name = refrigerant_name(refrigerant)
    raw = read_table(name.lower())["gas"]
    table = GasTable(
        name=name,
        dew_k=tuple(raw["dew_k"]),
        superheat_k=tuple(raw["superheat_k"]),
        rise_j_per_kg=tuple(tuple(row) for row in raw["enthalpy_above_dew_j_per_kg"]),
        entropy=tuple(tuple(row) for row in raw["entropy_j_per_kg_k"]),
    )
    require_rising(table.dew_k, f"{name} gas dew temperature")
    for row in (*table.rise_j_per_kg, *table.entropy):
        require_rising(row, f"{name} gas row")
    return table


def _column(table: GasTable, rows: Sequence[Sequence[float]], p_abs_pa: float) -> tuple[float, list[float]]:
    """Dew temperature at the pressure, and the property against superheat at that pressure."""
    dew = t_dew_k(table.name, p_abs_pa)
    if not table.dew_k[0] - 1e-6 <= dew <= table.dew_k[-1] + 1e-6:
        raise CalculatorError(
            f"{table.name} gas pressure outside the table",
            given=f"{p_abs_pa / 1e3:.6g} kPa absolute",
            allowed=f"dew point {table.dew_k[0] - 273.15:.0f} to {table.dew_k[-1] - 273.15:.0f} C",
        )
    start, weights = cubic_weights(table.dew_k, dew)
    near = rows[start : start + 4]
    return dew, [
        math.fsum(w * row[i] for w, row in zip(weights, near, strict=True)) for i in range(len(table.superheat_k))
    ]


def _superheat(table: GasTable, dew: float, t_k: float) -> float:
    superheat = t_k - dew
    if not -1e-6 <= superheat <= table.superheat_k[-1]:
        raise CalculatorError(
            f"{table.name} gas temperature outside the table",
            given=f"{t_k - 273.15:.4g} C at a dew point of {dew - 273.15:.4g} C",
            allowed=f"superheat 0 to {table.superheat_k[-1]:.0f} K",
            do="below the dew point there is liquid: check the gauge, the clamp and the refrigerant",
        )
    return superheat


def gas_enthalpy_j_per_kg(refrigerant: str, p_abs_pa: float, t_k: float) -> float:
    """Enthalpy [J/kg] of gas; reference as the saturation table of that refrigerant."""
    table = gas_table(refrigerant)
    dew, column = _column(table, table.rise_j_per_kg, p_abs_pa)
    return vapour_enthalpy_j_per_kg(table.name, dew) + cubic(table.superheat_k, column, _superheat(table, dew, t_k))


def gas_entropy(refrigerant: str, p_abs_pa: float, t_k: float) -> float:
    """Entropy [J/(kg K)] of gas; reference as the library's for that refrigerant."""
    table = gas_table(refrigerant)
    dew, column = _column(table, table.entropy, p_abs_pa)
    return cubic(table.superheat_k, column, _superheat(table, dew, t_k))


def _solve(table: GasTable, dew: float, column: Sequence[float], wanted: float, what: str) -> float:
    """Temperature at which the rising ``column`` reaches ``wanted``; the dew point when it is already
    above.
    """
    if wanted <= column[0]:
        return dew
    if wanted > column[-1]:
        raise CalculatorError(
            f"{table.name} {what} beyond the gas table",
            given=f"more than {table.superheat_k[-1]:.0f} K of superheat",
            allowed="a discharge state a scroll compressor can run at",
            do="check both gauges and the suction clamp",
        )
    low, high = 0.0, table.superheat_k[-1]
    for _ in range(50):  # bisection: 140 K / 2^50 is far below any use
        middle = 0.5 * (low + high)
        if cubic(table.superheat_k, column, middle) < wanted:
            low = middle
        else:
            high = middle
    return dew + 0.5 * (low + high)


def temperature_from_entropy_k(refrigerant: str, p_abs_pa: float, entropy: float) -> float:
    """Gas temperature [K] of a given entropy [J/(kg K)]; the dew temperature if the state is wet."""
    table = gas_table(refrigerant)
    dew, column = _column(table, table.entropy, p_abs_pa)
    return _solve(table, dew, column, entropy, "entropy")


def temperature_from_enthalpy_k(refrigerant: str, p_abs_pa: float, enthalpy_j_per_kg: float) -> float:
    """Gas temperature [K] of a given enthalpy [J/kg]; the dew temperature if the state is wet."""
    table = gas_table(refrigerant)
    dew, column = _column(table, table.rise_j_per_kg, p_abs_pa)
    return _solve(table, dew, column, enthalpy_j_per_kg - vapour_enthalpy_j_per_kg(table.name, dew), "enthalpy")
