"""Refrigerant side: superheat, subcooling, discharge superheat, compression ratio, discharge temperature.

All pressures are ABSOLUTE [Pa], temperatures [K], differences [K]. A gauge reading becomes absolute by
adding the site atmosphere (`altitude.site_atmosphere_pa`), which the registry does.

Superheat belongs to the dew line, subcooling to the bubble line. The tables cover about -50 to 70 C of
saturation; outside it CalculatorError says what was given and what is allowed.
"""

from __future__ import annotations

from diagnose.calculators.limits import require_finite, require_positive, require_within
from diagnose.properties.gas import (
    gas_enthalpy_j_per_kg,
    gas_entropy,
    temperature_from_enthalpy_k,
    temperature_from_entropy_k,
)
from diagnose.properties.saturation import t_bubble_k, t_dew_k
from shared.errors import CalculatorError


def superheat_k(refrigerant: str, suction_abs_pa: float, suction_line_k: float) -> float:
    """Suction superheat [K]: suction line minus dew temperature at suction pressure.

    Negative values are returned as they are: they mean liquid, or a wrong gauge, clamp or refrigerant.
    Source: definition. Check value: R-410A, 118.0 psig is 40 F (an R-410A installation manual, form
    506253-01), so a 50 F line has 10 F superheat; the manual's single column is within 0.5 F.

    >>> f_10 = superheat_k("R-410A", 118.0 * 6894.757 + 101325.0, 283.15) * 1.8
    >>> abs(f_10 - 10.0) < 0.5
    True
    """
    require_finite(suction_line_k=suction_line_k)
    return suction_line_k - t_dew_k(refrigerant, suction_abs_pa)


def subcooling_k(refrigerant: str, liquid_abs_pa: float, liquid_line_k: float) -> float:
    """Subcooling [K]: bubble temperature at liquid pressure minus liquid line.

    The pressure must be taken at the LIQUID port; taken at the discharge it counts the condenser's pressure
    drop as subcooling. Source: definition. Check value: R-22 at 1534 kPa absolute boils at 40 C (EnergyPlus
    25.2 refrigerant data).

    >>> round(subcooling_k("R-22", 1534e3, 35.0 + 273.15), 1)
    5.0
    """
    require_finite(liquid_line_k=liquid_line_k)
    return t_bubble_k(refrigerant, liquid_abs_pa) - liquid_line_k


def discharge_superheat_k(refrigerant: str, discharge_abs_pa: float, discharge_line_k: float) -> float:
    """Discharge superheat [K]: discharge line minus dew temperature at discharge pressure.

    A value below that of an isentropic compression is impossible without liquid in the suction gas: compare
    with ``isentropic_discharge_k``. Source: definition.

    >>> round(discharge_superheat_k("R-410A", 1883.4e3, 60.0 + 273.15))   # dew 30 C: EnergyPlus 25.2 data
    30
    """
    require_finite(discharge_line_k=discharge_line_k)
    return discharge_line_k - t_dew_k(refrigerant, discharge_abs_pa)


def compression_ratio(suction_abs_pa: float, discharge_abs_pa: float) -> float:
    """Discharge over suction pressure, absolute over absolute, 1 or more.

    Source: definition. Check value: 145 over 5 psig is 8.1 (trade journal); with gauge pressures it would
    be 29.

    >>> round(compression_ratio((5 + 14.696) * 6894.757, (145 + 14.696) * 6894.757), 1)
    8.1
    """
    require_positive(suction_abs_pa=suction_abs_pa, discharge_abs_pa=discharge_abs_pa)
    if discharge_abs_pa < suction_abs_pa:
        raise CalculatorError(
            "discharge pressure below suction pressure",
            given=f"{discharge_abs_pa / 1e3:.1f} under {suction_abs_pa / 1e3:.1f} kPa absolute",
            allowed="discharge at or above suction",
            do="the two gauges may be exchanged",
        )
    return discharge_abs_pa / suction_abs_pa


def isentropic_discharge_k(
    refrigerant: str, suction_abs_pa: float, suction_line_k: float, discharge_abs_pa: float
) -> float:
    """Discharge temperature [K] of a loss-free compression from the suction state.

    The lowest discharge temperature possible with dry suction gas. The suction line must be at or above the
    dew point. Source: equal entropy in the gas table (CoolProp). Check value: R-410A, 118/365 psig,
    superheat 10 F: 150 F (general-purpose library).
    """
    compression_ratio(suction_abs_pa, discharge_abs_pa)  # refuses exchanged gauges
    entropy = gas_entropy(refrigerant, suction_abs_pa, suction_line_k)
    return temperature_from_entropy_k(refrigerant, discharge_abs_pa, entropy)


def discharge_temperature_k(
    refrigerant: str, suction_abs_pa: float, suction_line_k: float, discharge_abs_pa: float, efficiency: float
) -> float:
    """Expected discharge temperature [K] at an isentropic efficiency (0.3 to 1), no heat loss from the shell.

    Source: h2 = h1 + (h2s - h1)/efficiency. Scroll compressors near their design point: 0.60 to 0.75 (common
    practice). Check value: R-410A, dew 40 and 120 F, superheat 10 F, 0.70: 184 F (general-purpose library).
    """
    require_within("efficiency", efficiency, 0.3, 1.0, "")
    ideal_k = isentropic_discharge_k(refrigerant, suction_abs_pa, suction_line_k, discharge_abs_pa)
    start = gas_enthalpy_j_per_kg(refrigerant, suction_abs_pa, suction_line_k)
    ideal = gas_enthalpy_j_per_kg(refrigerant, discharge_abs_pa, ideal_k)
    return temperature_from_enthalpy_k(refrigerant, discharge_abs_pa, start + (ideal - start) / efficiency)
