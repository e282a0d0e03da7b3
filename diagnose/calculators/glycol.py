"""Freeze protection and mixing of glycol.

Freeze points come from `diagnose.properties.fluids`; the margins here are common practice: freeze point at
least 5 F under the coldest refrigerant in the plate (its INLET), and at least 10 F under the lowest
ambient. Plain water: a leaving temperature below 40 F wants glycol. A refractometer scale must match the
glycol; Brix is not accepted.
"""

from __future__ import annotations

from diagnose.calculators.limits import require_positive, require_within
from diagnose.properties.fluids import WATER, fluid_name, freeze_point_k
from shared.errors import CalculatorError

REFRIGERANT_MARGIN_K = 5.0 / 1.8
AMBIENT_MARGIN_K = 10.0 / 1.8
WATER_LEAVING_LIMIT_K = (40.0 - 32.0) / 1.8 + 273.15


def lowest_refrigerant_k(fluid: str, percent: float, basis: str) -> float:
    """Coldest refrigerant allowed at the evaporator inlet [K]: freeze point + 5 F; plain water 32 F.

    Source: common practice. Water has no margin here: an inlet below 32 F in steady running is a caution.
    """
    freeze = freeze_point_k(fluid, percent, basis)
    return freeze if fluid_name(fluid) == WATER or percent == 0.0 else freeze + REFRIGERANT_MARGIN_K


def lowest_ambient_k(fluid: str, percent: float, basis: str) -> float:
    """Lowest ambient the standing loop bears [K]: freeze point + 10 F. Source: common practice."""
    return freeze_point_k(fluid, percent, basis) + AMBIENT_MARGIN_K


def minimum_leaving_k(fluid: str, percent: float, basis: str, leaving_above_inlet_k: float) -> float:
    """Lowest leaving fluid temperature [K] that keeps the refrigerant inlet above its limit.

    leaving_above_inlet_k: leaving fluid minus refrigerant inlet at that load, 0 to 20 K. Plain water: never
    under 40 F. Source: common practice.

    >>> round((minimum_leaving_k("water", 0.0, "volume", 2.0) - 273.15) * 1.8 + 32)
    40
    """
    require_within("leaving fluid above refrigerant inlet", leaving_above_inlet_k, 0.0, 20.0, "K")
    limit = lowest_refrigerant_k(fluid, percent, basis) + leaving_above_inlet_k
    plain = fluid_name(fluid) == WATER or percent == 0.0
    return max(limit, WATER_LEAVING_LIMIT_K) if plain else limit


def concentrate_volume_m3(
    loop_m3: float, present_pct: float, wanted_pct: float, concentrate_pct: float, drain_first: bool
) -> float:
    """Volume [m3] of concentrate (or of water, concentrate 0 %) that brings a loop to the wanted volume
    percent.

    drain_first: drain this volume, then fill the same (the loop is full); otherwise it is added on top.
    Drained: V (w - p)/(c - p). Added: V (w - p)/(c - w). Volume percent; mixing shrinks the volume by under
    1 %. Source: mass balance of the glycol. Check value: a 100 L loop, 0 to 30 % with pure glycol: 30 L
    drained, 42.9 L added on top (alligation).

    >>> round(concentrate_volume_m3(0.1, 0.0, 30.0, 100.0, False) * 1e3, 1)
    42.9
    """
    require_positive(loop_m3=loop_m3)
    for name, value in (
        ("present percent", present_pct),
        ("wanted percent", wanted_pct),
        ("concentrate percent", concentrate_pct),
    ):
        require_within(name, value, 0.0, 100.0, "%")
    if wanted_pct == present_pct:
        return 0.0
    between = min(present_pct, concentrate_pct) <= wanted_pct <= max(present_pct, concentrate_pct)
    if not between or (not drain_first and wanted_pct == concentrate_pct):
        raise CalculatorError(
            "the wanted percent cannot be reached",
            given=f"{wanted_pct:g} %",
            allowed=f"between {present_pct:g} % in the loop and {concentrate_pct:g} % added",
            do="to thin the mixture add water: concentrate 0 %",
        )
    base = present_pct if drain_first else wanted_pct
    return loop_m3 * (wanted_pct - present_pct) / (concentrate_pct - base)
