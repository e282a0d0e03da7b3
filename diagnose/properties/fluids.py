"""Water and glycol mixtures: density, heat capacity, viscosity, freeze point, vapour pressure of water.

A glycol percent means nothing without its BASIS. Two families of committed tables keep them apart: volume
percent (the tables handbooks print) and mass percent. "30 %" on the wrong basis moves the freeze point by
about 1 K. Between 0 and 10 % the values are interpolated between water and the 10 % row. Inhibitor
packages, dirt and an unknown mix of both glycols are not covered: sources themselves differ by 1 to 2 K in
freeze point.

Temperatures in K, percent 0 to 60, density kg/m3, heat capacity J/(kg K), viscosity Pa s.
"""

from __future__ import annotations

import difflib
import math
from dataclasses import dataclass
from functools import cache
from typing import Any

from diagnose.properties.tables import interval, linear, read_table, require_rising
from shared.errors import CalculatorError

WATER = "water"
FLUIDS = (WATER, "ethylene-glycol", "propylene-glycol")
BASES = ("volume", "mass")
PERCENT_LIMIT = 60.0
WATER_FREEZE_K = 273.15

#: Neat density near 20 C, kg/m3; only for converting between the two percent bases. From memory; handbook
#: values are 1113 and 1036.
NEAT_DENSITY = {"ethylene-glycol": 1113.0, "propylene-glycol": 1036.0}
WATER_DENSITY_20C = 998.2

_SHORT = {
    "eg": "ethylene-glycol",
    "pg": "propylene-glycol",
    "ethylene": "ethylene-glycol",
    "propylene": "propylene-glycol",
}


def fluid_name(text: str) -> str:
    """The fluid's name from any usual spelling: water, EG, ethylene glycol, PG, propylene-glycol.

    >>> fluid_name("Ethylene glycol")
    'ethylene-glycol'
    """
    key = "-".join(text.lower().replace("_", " ").replace("-", " ").split())
    key = _SHORT.get(key, key)
    if key in FLUIDS:
        return key
    near = difflib.get_close_matches(key, FLUIDS, n=1)
    hint = f"did you mean {near[0]}?" if near else "'glycol' alone is not enough: the two differ"
    raise CalculatorError("unknown fluid", given=text, allowed=", ".join(FLUIDS), do=hint)


def basis_name(text: str) -> str:
    """``volume`` or ``mass``."""
    key = text.strip().lower()
    key = {"vol": "volume", "weight": "mass"}.get(key, key)
    if key not in BASES:
        raise CalculatorError(
            "unknown percent basis",
            given=text,
            allowed=", ".join(BASES),
            do="most refractometer scales and handbook tables are by volume",
        )
    return key


@dataclass(frozen=True, slots=True)
class WaterTable:
    """Liquid water, 0 to 100 C."""

    temperature_k: tuple[float, ...]
    density: tuple[float, ...]
    heat_capacity: tuple[float, ...]
    ln_viscosity: tuple[float, ...]
    ln_vapour: tuple[float, ...]
    inverse_temperature: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class GlycolTable:
    """One glycol on one basis. Rows: percent; columns: temperature; None where frozen."""

    fluid: str
    basis: str
    percent: tuple[float, ...]
    freeze_k: tuple[float, ...]
    temperature_k: tuple[float, ...]
    rows: dict[str, tuple[tuple[float | None, ...], ...]]


@cache
def water_table() -> WaterTable:
    """The checked water table."""
    raw = read_table(WATER)
    t = tuple(raw["temperature_k"])
    require_rising(t, "water temperature")
    require_rising(raw["vapour_pa"], "water vapour pressure")
    return WaterTable(
        t,
        tuple(raw["density_kg_m3"]),
        tuple(raw["heat_capacity_j_per_kg_k"]),
        tuple(math.log(v) for v in raw["viscosity_pa_s"]),
        tuple(math.log(v) for v in raw["vapour_pa"]),
        tuple(-1.0 / x for x in t),
    )


@cache
def glycol_table(fluid: str, basis: str) -> GlycolTable:
    """The checked table of a glycol on a percent basis."""
    raw: dict[str, Any] = read_table(f"{fluid}-{basis}")
    require_rising(raw["percent"], f"{fluid} percent")
    require_rising([-x for x in raw["freeze_k"]], f"{fluid} freeze point, falling")
    keys = ("density_kg_m3", "heat_capacity_j_per_kg_k", "viscosity_pa_s")
    rows = {key: tuple(tuple(row) for row in raw[key]) for key in keys}
    rows["viscosity_pa_s"] = tuple(
        tuple(None if v is None else math.log(v) for v in row) for row in rows["viscosity_pa_s"]
    )
    return GlycolTable(fluid, basis, tuple(raw["percent"]), tuple(raw["freeze_k"]), tuple(raw["temperature_k"]), rows)


def _percent(fluid: str, percent: float) -> float:
    if fluid == WATER:
        if percent != 0.0:
            raise CalculatorError(
                "glycol percent given for plain water",
                given=f"{percent:g} %",
                allowed="0 %",
                do="say fluid=ethylene-glycol or fluid=propylene-glycol",
            )
        return 0.0
    if not 0.0 <= percent <= PERCENT_LIMIT:
        raise CalculatorError(
            "glycol percent outside the table", given=f"{percent:g} %", allowed=f"0 to {PERCENT_LIMIT:g} %"
        )
    return percent


def freeze_point_k(fluid: str, percent: float, basis: str = "volume") -> float:
    """Freeze point [K]: first ice crystals on slow cooling.

    fluid: water, ethylene-glycol, propylene-glycol; percent: 0 to 60 on ``basis``. Printed tables differ by
    up to 1.5 K. Source: CoolProp AEG, APG (volume), MEG, MPG (mass). Check value: propylene glycol, 30
    volume %, -12.8 C (Lange's Handbook, 15th edition, table 5.13).

    >>> abs(freeze_point_k("propylene-glycol", 30.0) - 273.15 + 12.8) < 1.5
    True
    """
    fluid, basis = fluid_name(fluid), basis_name(basis)
    percent = _percent(fluid, percent)
    if percent == 0.0:
        return WATER_FREEZE_K
    table = glycol_table(fluid, basis)
    return linear((0.0, *table.percent), (WATER_FREEZE_K, *table.freeze_k), percent)


def percent_for_freeze_point(fluid: str, freeze_k: float, basis: str = "volume") -> float:
    """Percent of glycol whose freeze point is ``freeze_k``; inverse of ``freeze_point_k``. Water is
    refused.
    """
    fluid, basis = fluid_name(fluid), basis_name(basis)
    if fluid == WATER:
        raise CalculatorError("plain water has one freeze point", given=fluid, allowed=", ".join(FLUIDS[1:]))
    table = glycol_table(fluid, basis)
    if not table.freeze_k[-1] <= freeze_k <= WATER_FREEZE_K:
        raise CalculatorError(
            "freeze point outside the table",
            given=f"{freeze_k - 273.15:.1f} C",
            allowed=f"{table.freeze_k[-1] - 273.15:.0f} to 0 C",
        )
    grid = tuple(-x for x in (WATER_FREEZE_K, *table.freeze_k))
    return linear(grid, (0.0, *table.percent), -freeze_k)


def _water(key: str, t_k: float) -> float:
    table = water_table()
    column = {
        "density_kg_m3": table.density,
        "heat_capacity_j_per_kg_k": table.heat_capacity,
        "viscosity_pa_s": table.ln_viscosity,
    }[key]
    return linear(table.temperature_k, column, t_k)


def _glycol(table: GlycolTable, key: str, row: int, t_k: float) -> float:
    i = interval(table.temperature_k, t_k)
    low, high = table.rows[key][row][i], table.rows[key][row][i + 1]
    if low is None or high is None:
        raise CalculatorError(
            f"{table.fluid} would be frozen",
            given=f"{t_k - 273.15:.1f} C",
            allowed=f"above {table.freeze_k[row] - 273.15:.1f} C at {table.percent[row]:g} %",
        )
    share = (t_k - table.temperature_k[i]) / (table.temperature_k[i + 1] - table.temperature_k[i])
    return low + share * (high - low)


def _property(key: str, fluid: str, percent: float, basis: str, t_k: float) -> float:
    fluid, basis = fluid_name(fluid), basis_name(basis)
    percent = _percent(fluid, percent)
    low = freeze_point_k(fluid, percent, basis)
    high = 373.15 if percent == 0.0 else 333.15
    if not low - 0.01 <= t_k <= high:
        raise CalculatorError(
            f"{fluid} temperature outside the liquid range of the table",
            given=f"{t_k - 273.15:.1f} C",
            allowed=f"{low - 273.15:.1f} to {high - 273.15:.0f} C",
        )
    if percent == 0.0:
        return _water(key, t_k)
    table = glycol_table(fluid, basis)
    if t_k < table.temperature_k[0]:
        raise CalculatorError(
            f"{fluid} temperature below the table",
            given=f"{t_k - 273.15:.1f} C",
            allowed=f"{table.temperature_k[0] - 273.15:.0f} C and above",
        )
    if percent < table.percent[0]:
        share = percent / table.percent[0]
        return (1.0 - share) * _water(key, t_k) + share * _glycol(table, key, 0, t_k)
    i = interval(table.percent, percent)
    share = (percent - table.percent[i]) / (table.percent[i + 1] - table.percent[i])
    if share == 0.0:
        return _glycol(table, key, i, t_k)
    return (1.0 - share) * _glycol(table, key, i, t_k) + share * _glycol(table, key, i + 1, t_k)


def density_kg_m3(fluid: str, percent: float, basis: str, t_k: float) -> float:
    """Density [kg/m3] of water (0 %) or a glycol mixture; freeze point to 60 C (water 100 C).

    Check value: ethylene glycol, 30 volume %, 5 C: 1050 kg/m3 (EnergyPlus glycol data).

    >>> round(density_kg_m3("ethylene-glycol", 30.0, "volume", 278.15))
    1050
    """
    return _property("density_kg_m3", fluid, percent, basis, t_k)


def heat_capacity_j_per_kg_k(fluid: str, percent: float, basis: str, t_k: float) -> float:
    """Heat capacity [J/(kg K)]; range as ``density_kg_m3``.

    Check value: ethylene glycol, 30 volume %, 5 C: 3603 J/(kg K) (EnergyPlus glycol data).

    >>> round(heat_capacity_j_per_kg_k("ethylene-glycol", 30.0, "volume", 278.15))
    3603
    """
    return _property("heat_capacity_j_per_kg_k", fluid, percent, basis, t_k)


def viscosity_pa_s(fluid: str, percent: float, basis: str, t_k: float) -> float:
    """Dynamic viscosity [Pa s]; range as ``density_kg_m3``; interpolated on its logarithm.

    Check value: water at 20 C, 1.002 mPa s (IAPWS formulation 2008).

    >>> round(viscosity_pa_s("water", 0.0, "volume", 293.15) * 1e3, 2)
    1.0
    """
    return math.exp(_property("viscosity_pa_s", fluid, percent, basis, t_k))


def water_vapour_pressure_pa(t_k: float) -> float:
    """Vapour pressure [Pa] of water, 0 to 100 C. A glycol mixture has a lower one: water is the safe side.

    Check value: 20 C, 2339 Pa (IAPWS-95).

    >>> round(water_vapour_pressure_pa(293.15))
    2339
    """
    table = water_table()
    if not table.temperature_k[0] - 0.011 <= t_k <= table.temperature_k[-1]:
        raise CalculatorError(
            "water temperature outside the table", given=f"{t_k - 273.15:.1f} C", allowed="0 to 100 C"
        )
    return math.exp(linear(table.inverse_temperature, table.ln_vapour, -1.0 / t_k))


def _share(fluid: str, percent: float) -> float:
    if fluid == WATER:
        raise CalculatorError("plain water has no glycol percent", given=fluid, allowed=", ".join(FLUIDS[1:]))
    if not 0.0 <= percent <= 100.0:
        raise CalculatorError("percent out of range", given=f"{percent:g} %", allowed="0 to 100 %")
    return percent / 100.0


def mass_percent(fluid: str, volume_percent: float) -> float:
    """Mass percent of a glycol mixture from its volume percent (volumes before mixing, near 20 C).

    >>> round(mass_percent("ethylene-glycol", 30.0), 1)
    32.3
    """
    fluid = fluid_name(fluid)
    share = _share(fluid, volume_percent)
    glycol = share * NEAT_DENSITY[fluid]
    return 100.0 * glycol / (glycol + (1.0 - share) * WATER_DENSITY_20C)


def volume_percent(fluid: str, mass_percent_: float) -> float:
    """Volume percent from mass percent; exact inverse of ``mass_percent``."""
    fluid = fluid_name(fluid)
    share = _share(fluid, mass_percent_)
    glycol = share / NEAT_DENSITY[fluid]
    return 100.0 * glycol / (glycol + (1.0 - share) / WATER_DENSITY_20C)
