"""Evaporator approach and inlet temperature, condensing temperature and condenser split.

Pressures ABSOLUTE [Pa], temperatures [K]. The functions judge nothing: approach and split mean something
only in steady running (see `steady`), the split only with all condenser air on.
"""

from __future__ import annotations

from diagnose.calculators.limits import require_finite
from diagnose.properties.saturation import (
    liquid_enthalpy_j_per_kg,
    t_bubble_k,
    t_dew_k,
    vapour_enthalpy_j_per_kg,
)
from shared.errors import CalculatorError


def approach_k(refrigerant: str, suction_abs_pa: float, leaving_fluid_k: float) -> float:
    """Evaporator approach [K]: leaving fluid minus dew temperature at suction pressure.

    With a glide blend the dew point sits at the warm end, so an approach near zero may be healthy in a
    counterflow plate. Source: definition. Check value: 50 F water from 40 F evaporating = 10 F (handbook
    text).

    >>> dew_0_c = 798.08e3   # R-410A, EnergyPlus 25.2 refrigerant data
    >>> round(approach_k("R-410A", dew_0_c, 279.15), 1)
    6.0
    """
    require_finite(leaving_fluid_k=leaving_fluid_k)
    return leaving_fluid_k - t_dew_k(refrigerant, suction_abs_pa)


def condensing_k(refrigerant: str, condensing_abs_pa: float) -> float:
    """Condensing temperature [K]: mean of dew and bubble temperature at the condensing pressure."""
    return 0.5 * (t_dew_k(refrigerant, condensing_abs_pa) + t_bubble_k(refrigerant, condensing_abs_pa))


def condenser_split_k(refrigerant: str, condensing_abs_pa: float, entering_air_k: float) -> float:
    """Condenser split [K]: condensing temperature (mean of dew and bubble) minus air ENTERING the coil.

    Source: definition. Check value: air 95 F, condensing 120 F = 25 F (handbook text).

    >>> p_50_c = 1943e3   # R-22, EnergyPlus 25.2 refrigerant data
    >>> round(condenser_split_k("R-22", p_50_c, 273.15 + 35.0), 1)
    15.0
    """
    require_finite(entering_air_k=entering_air_k)
    return condensing_k(refrigerant, condensing_abs_pa) - entering_air_k


def inlet_quality(refrigerant: str, suction_abs_pa: float, liquid_line_k: float) -> float:
    """Share of vapour (mass) entering the evaporator: liquid enthalpy kept through the expansion valve.

    Source: h4 = h3. Raises CalculatorError when the liquid would not flash (colder than the evaporator).
    """
    bubble = t_bubble_k(refrigerant, suction_abs_pa)
    if liquid_line_k <= bubble:
        raise CalculatorError(
            "liquid line colder than the evaporator",
            given=f"{liquid_line_k - 273.15:.1f} C under {bubble - 273.15:.1f} C",
            allowed="liquid warmer than evaporating temperature",
            do="check which pipe was clamped and both gauges",
        )
    liquid = liquid_enthalpy_j_per_kg(refrigerant, bubble)
    vapour = vapour_enthalpy_j_per_kg(refrigerant, t_dew_k(refrigerant, suction_abs_pa))
    return (liquid_enthalpy_j_per_kg(refrigerant, liquid_line_k) - liquid) / (vapour - liquid)


def evaporator_inlet_k(refrigerant: str, suction_abs_pa: float, liquid_line_k: float) -> float:
    """Refrigerant temperature [K] entering the evaporator: the coldest place in the plate, for freeze
    protection.

    Pressure drop in the plate is not counted: the inlet is at or above this value. A blend glides from bubble
    to dew temperature; the glide is taken as proportional to the vapour share, within 0.7 K of a mixture
    calculation for R-407C. For a pure refrigerant this is the saturation temperature.
    """
    quality = inlet_quality(refrigerant, suction_abs_pa, liquid_line_k)
    bubble, dew = t_bubble_k(refrigerant, suction_abs_pa), t_dew_k(refrigerant, suction_abs_pa)
    return bubble + min(quality, 1.0) * (dew - bubble)
