"""Write the property tables under diagnose/properties/data again, from CoolProp.

Run by hand from the root of the checkout, with the test dependencies installed:

    python tests/calculators/regenerate_tables.py [--out FOLDER]

The running tool never imports CoolProp (seconds of start-up, 80 MB); it reads these tables. The tests compare
the committed tables with CoolProp point by point, between the grid points as well.

What is known about the library, version 8.0, and dealt with here:
- `R410A` and `R407C` are the pseudo-pure equations; the same blends as mixtures fail inside the head range.
- `R454B.mix` and `R513A.mix` exist as mixtures only. Their flash fails at a few scattered points. Such a
  point is filled from its neighbours (ln p against 1/T) and listed in the head of the table; the grid ends
  where it fails for good.
- Mixture gas states are asked by pressure and temperature with the phase imposed; nothing else is reliable.
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import CoolProp
from CoolProp.CoolProp import AbstractState, PropsSI, set_reference_state

DATA = Path(__file__).resolve().parents[2] / "diagnose" / "properties" / "data"

PURE = {"R-22": "R22", "R-134a": "R134a", "R-32": "R32", "R-410A": "R410A", "R-407C": "R407C"}
MIXTURE = {"R-454B": "R454B.mix", "R-513A": "R513A.mix"}
#: Critical pressure of the two mixtures, Pa. The library gives none. R-454B: ASHRAE-type data sheets, about
#: 5.27 MPa; R-513A: about 3.65 MPa (both from memory; they only end the table).
MIXTURE_P_CRIT = {"R-454B": 5.27e6, "R-513A": 3.65e6}

GRID_C = range(-70, 82, 2)
TOP_SHARE = 0.95
GAS_DEW_STEP = 2
GAS_FROM_C = -40
SUPERHEAT_K = [0, 2, 4, 7, 10, 15, 20, 27, 35, 45, 55, 70, 85, 100, 120, 140]


def state_of(name: str) -> AbstractState:
    """The equation of state of a refrigerant, its composition set."""
    return AbstractState("HEOS", PURE.get(name) or MIXTURE[name])


def saturated(state: AbstractState, t_k: float, quality: int) -> tuple[float, float, float, float] | None:
    """Pressure [Pa], enthalpy [J/kg], entropy [J/(kg K)], density [kg/m3] on the bubble (0) or dew (1) line; None
    where it fails.
    """
    state.unspecify_phase()
    try:
        state.update(CoolProp.QT_INPUTS, float(quality), t_k)
    except ValueError:
        return None
    return state.p(), state.hmass(), state.smass(), state.rhomass()


def fill(
    grid: Sequence[float],
    values: list[float | None],
    use: Callable[[float], float],
    back: Callable[[float], float],
) -> list[int]:
    """Fill single holes by a cubic through the four nearest points; returns the filled positions."""
    filled = []
    for i, value in enumerate(values):
        if value is not None:
            continue
        near = sorted((j for j, v in enumerate(values) if v is not None and j not in filled), key=lambda j: abs(j - i))[
            :4
        ]
        x = [1.0 / grid[j] for j in near]
        y = [use(values[j]) for j in near]  # type: ignore[arg-type]
        at = 1.0 / grid[i]
        total = 0.0
        for a, xa in enumerate(x):
            weight = 1.0
            for b, xb in enumerate(x):
                if a != b:
                    weight *= (at - xb) / (xa - xb)
            total += weight * y[a]
        values[i] = back(total)
        filled.append(i)
    return filled


def refrigerant_table(name: str) -> dict[str, Any]:
    """Saturation and gas table of one refrigerant."""
    if name in PURE:
        set_reference_state(PURE[name], "IIR")
    state = state_of(name)
    p_crit = MIXTURE_P_CRIT[name] if name in MIXTURE else PropsSI("pcrit", PURE[name])
    t_k, bubble, dew = [], [], []
    for c in GRID_C:
        lines = saturated(state, c + 273.15, 0), saturated(state, c + 273.15, 1)
        t_k.append(c + 273.15)
        bubble.append(lines[0])
        dew.append(lines[1])
    while bubble[-1] is None or dew[-1] is None or bubble[-1][0] > TOP_SHARE * p_crit:
        for column in (t_k, bubble, dew):
            column.pop()
    holes = []
    columns: dict[str, list[float]] = {}
    for key, line, part in (
        ("bubble_pa", bubble, 0),
        ("dew_pa", dew, 0),
        ("liquid_j_per_kg", bubble, 1),
        ("vapour_j_per_kg", dew, 1),
        ("liquid_kg_m3", bubble, 3),
    ):
        values: list[float | None] = [point[part] if point else None for point in line]
        log = part == 0
        for i in fill(t_k, values, math.log if log else float, math.exp if log else float):
            holes.append(f"{key} at {t_k[i] - 273.15:g} C")
        columns[key] = [round(v, 1) if log else round(v, 1) for v in values]  # type: ignore[arg-type]

    gas_dew, rise, entropy, density = [], [], [], []
    for i, t in enumerate(t_k):
        c = round(t - 273.15)
        if c < GAS_FROM_C or (c - GAS_FROM_C) % GAS_DEW_STEP:
            continue
        row_h, row_s, row_d = [], [], []
        base = dew[i]
        if base is None:
            continue
        for superheat in SUPERHEAT_K:
            if superheat == 0:
                row_h.append(0.0)
                row_s.append(round(base[2], 3))
                row_d.append(round(base[3], 5))
                continue
            state.specify_phase(CoolProp.iphase_gas)
            state.update(CoolProp.PT_INPUTS, base[0], t + superheat)
            row_h.append(round(state.hmass() - base[1], 1))
            row_s.append(round(state.smass(), 3))
            row_d.append(round(state.rhomass(), 5))
        gas_dew.append(t)
        rise.append(row_h)
        entropy.append(row_s)
        density.append(row_d)
    return {
        "format": 1,
        "refrigerant": name,
        "library": f"CoolProp {CoolProp.__version__}",
        "equation": (PURE.get(name) or MIXTURE[name]) + (" (pseudo-pure)" if name in ("R-410A", "R-407C") else ""),
        "method": "bubble and dew from temperature and quality; gas from pressure and temperature",
        "filled": holes,
        "critical_pa": round(p_crit),
        "temperature_k": [round(t, 2) for t in t_k],
        **columns,
        "gas": {
            "dew_k": [round(t, 2) for t in gas_dew],
            "superheat_k": SUPERHEAT_K,
            "enthalpy_above_dew_j_per_kg": rise,
            "entropy_j_per_kg_k": entropy,
            "density_kg_m3": density,
        },
    }


def water_table() -> dict[str, Any]:
    """Liquid water at 300 kPa, vapour pressure beside it; 0 to 100 C."""
    grid = [0.01, *range(2, 102, 2)]
    return {
        "format": 1,
        "fluid": "water",
        "library": f"CoolProp {CoolProp.__version__}",
        "equation": "IAPWS-95",
        "method": "liquid at 300 kPa; vapour pressure from temperature and quality",
        "temperature_k": [round(c + 273.15, 2) for c in grid],
        "density_kg_m3": [round(PropsSI("D", "T", c + 273.15, "P", 3e5, "Water"), 3) for c in grid],
        "heat_capacity_j_per_kg_k": [round(PropsSI("C", "T", c + 273.15, "P", 3e5, "Water"), 2) for c in grid],
        "viscosity_pa_s": [round(PropsSI("V", "T", c + 273.15, "P", 3e5, "Water"), 8) for c in grid],
        "vapour_pa": [round(PropsSI("P", "T", c + 273.15, "Q", 0, "Water"), 2) for c in grid],
    }


def extend_cold(row: list[float | None], digits: int, wanted: Sequence[bool]) -> None:
    """Continue a row below its freeze point, by a parabola through its three coldest values.

    The library refuses such states. The cells are only there so that values at the limit can be interpolated.
    """
    for i in range(len(row) - 4, -1, -1):
        a, b, c = row[i + 1 : i + 4]
        if row[i] is None and wanted[i] and a is not None and b is not None and c is not None:
            row[i] = round(3.0 * a - 3.0 * b + c, digits)


def glycol_table(title: str, fluid: str, basis: str) -> dict[str, Any]:
    """One glycol on one percent basis: freeze point, density, heat capacity, viscosity. Nothing below
    freezing.
    """
    percents = list(range(10, 65, 5))
    grid = list(range(-35, 65, 5))
    freeze, density, heat, viscosity = [], [], [], []
    for percent in percents:
        name = f"INCOMP::{fluid}[{percent / 100}]"
        t_freeze = PropsSI("T_freeze", "T", 293.15, "P", 101325, name)
        freeze.append(round(t_freeze, 3))
        rows: list[list[float | None]] = [[], [], []]
        for c in grid:
            t = c + 273.15
            usable = t >= t_freeze
            for row, key, digits in zip(rows, "DCV", (2, 1, 7), strict=True):
                try:
                    row.append(round(PropsSI(key, "T", t, "P", 3e5, name), digits) if usable else None)
                except ValueError:
                    row.append(None)
        for row, digits in zip(rows, (2, 1, 7), strict=True):
            extend_cold(row, digits, [t_freeze - 12.0 < c + 273.15 for c in grid])
        density.append(rows[0])
        heat.append(rows[1])
        viscosity.append(rows[2])
    return {
        "format": 1,
        "fluid": title,
        "basis": basis,
        "library": f"CoolProp {CoolProp.__version__}",
        "equation": f"INCOMP::{fluid}",
        "method": "at 300 kPa; null where frozen; cells up to 12 K below freezing are extrapolated",
        "percent": percents,
        "freeze_k": freeze,
        "temperature_k": [round(c + 273.15, 2) for c in grid],
        "density_kg_m3": density,
        "heat_capacity_j_per_kg_k": heat,
        "viscosity_pa_s": viscosity,
    }


def write(folder: Path, name: str, table: dict[str, Any]) -> None:
    """One key a line, so that a changed column shows as one changed line."""
    body = ",\n".join(f"{json.dumps(key)}: {json.dumps(value, separators=(',', ':'))}" for key, value in table.items())
    (folder / f"{name}.json").write_text("{\n" + body + "\n}\n", encoding="utf-8", newline="\n")


def main() -> None:
    """Write all tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=DATA)
    folder: Path = parser.parse_args().out
    folder.mkdir(parents=True, exist_ok=True)
    for name in (*PURE, *MIXTURE):
        table = refrigerant_table(name)
        write(folder, name.lower(), table)
        print(name, len(table["temperature_k"]), "points, filled:", table["filled"] or "none")
    write(folder, "water", water_table())
    for title, fluid, basis in (
        ("ethylene-glycol", "AEG", "volume"),
        ("propylene-glycol", "APG", "volume"),
        ("ethylene-glycol", "MEG", "mass"),
        ("propylene-glycol", "MPG", "mass"),
    ):
        write(folder, f"{title}-{basis}", glycol_table(title, fluid, basis))


if __name__ == "__main__":
    main()
