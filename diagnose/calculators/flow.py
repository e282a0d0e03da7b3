"""Fluid flow from pressure drop, valves, strainers, meters.

Flow [m3/s], drops [Pa], density [kg/m3], viscosity [Pa s]. A drop is read with ONE gauge moved between the
taps or with a differential meter: two 100 psi dials on a 5 psi drop leave +/-35 % of flow, which judges
nothing.

Not checked: air in the fluid, a fouled plate (reads as more flow than there is), the wrong curve.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from diagnose.calculators.limits import require_finite, require_positive, require_within
from shared.errors import CalculatorError

GRAVITY = 9.80665
WATER_DENSITY = 998.9
"""Density of water at 60 F, the reference of specific gravity in flow coefficients [kg/m3]."""
CV_PER_KV = 1.156
EXTRAPOLATE_LOW, EXTRAPOLATE_HIGH = 0.5, 1.2


def _drop(drop_pa: float) -> float:
    require_finite(drop_pa=drop_pa)
    if drop_pa < 0.0:
        raise CalculatorError(
            "negative pressure drop",
            given=f"{drop_pa / 1e3:.3g} kPa",
            allowed="zero or above",
            do="inlet and outlet taps exchanged, flow reversed, or the gauge is off",
        )
    return drop_pa


def flow_square_law(drop_pa: float, rated_flow_m3s: float, rated_drop_pa: float) -> float:
    """Flow [m3/s] from one rated point: Q = Q_rated sqrt(dP/dP_rated), same fluid.

    Plate evaporators follow an exponent of about 0.55 instead of 0.5: far below the rated point the square
    law reads low. Source: square law. Check value: four times the drop is twice the flow.

    >>> round(flow_square_law(4.0, 10.0, 1.0), 6)
    20.0
    """
    require_positive(rated_flow_m3s=rated_flow_m3s, rated_drop_pa=rated_drop_pa)
    return rated_flow_m3s * math.sqrt(_drop(drop_pa) / rated_drop_pa)


def flow_exponent(flow_1_m3s: float, drop_1_pa: float, flow_2_m3s: float, drop_2_pa: float) -> float:
    """Exponent n of Q ~ dP^n through two points of a curve; 0.4 to 0.7 (0.5 square law, 0.57 smooth
    turbulent).

    Source: straight line in log-log. Raises CalculatorError for points that are no pressure-drop curve.
    """
    require_positive(flow_1_m3s=flow_1_m3s, drop_1_pa=drop_1_pa, flow_2_m3s=flow_2_m3s, drop_2_pa=drop_2_pa)
    if drop_1_pa == drop_2_pa:
        raise CalculatorError("both curve points have the same drop", allowed="two different points")
    exponent = math.log(flow_2_m3s / flow_1_m3s) / math.log(drop_2_pa / drop_1_pa)
    require_within("exponent of the two curve points", exponent, 0.4, 0.7, "")
    return exponent


def flow_two_points(drop_pa: float, flow_1_m3s: float, drop_1_pa: float, flow_2_m3s: float, drop_2_pa: float) -> float:
    """Flow [m3/s] by the power law through two curve points."""
    exponent = flow_exponent(flow_1_m3s, drop_1_pa, flow_2_m3s, drop_2_pa)
    return flow_1_m3s * float((_drop(drop_pa) / drop_1_pa) ** exponent)


def flow_from_curve(drop_pa: float, curve: Sequence[tuple[float, float]]) -> float:
    """Flow [m3/s] from a curve of (flow, drop) points, both rising; log-log between points.

    Refused below 0.5 times the lowest and above 1.2 times the highest flow of the curve.
    Source: straight pieces in log-log, as such curves are drawn.
    """
    if len(curve) < 2:
        raise CalculatorError("too few curve points", given=len(curve), allowed="2 or more")
    points = sorted(curve)
    for flow, drop in points:
        require_positive(flow=flow, drop=drop)
    for a, b in zip(points, points[1:], strict=False):
        if not (b[0] > a[0] and b[1] > a[1]):
            raise CalculatorError(
                "curve does not rise",
                given=f"{b[1]:.4g} Pa at {b[0]:.4g} m3/s",
                allowed="more flow, more drop",
            )
    _drop(drop_pa)
    if drop_pa == 0.0:
        return 0.0
    i = 0
    while i < len(points) - 2 and drop_pa > points[i + 1][1]:
        i += 1
    flow = flow_two_points(drop_pa, *points[i], *points[i + 1])
    low, high = EXTRAPOLATE_LOW * points[0][0], EXTRAPOLATE_HIGH * points[-1][0]
    if not low <= flow <= high:
        raise CalculatorError(
            "drop too far outside the curve",
            given=f"{drop_pa / 1e3:.3g} kPa",
            allowed=f"flow within {low * 1e3:.2f} to {high * 1e3:.2f} L/s",
            do="use a meter or a curve that covers it",
        )
    return flow


def glycol_drop_factor(density_ratio: float, viscosity_ratio: float, exponent: float = 0.25) -> float:
    """Drop with glycol over drop with water at the SAME flow: rho^(1-m) mu^m, m 0.2 to 0.25.

    density_ratio, viscosity_ratio: mixture over the fluid of the curve. True for turbulent flow in
    passages; show a band of +/-12 % (``GLYCOL_BAND``). Density alone is a clear under-correction. Valves
    and strainers: density only. Source: Blasius friction, f ~ Re^-m, in Darcy's equation.

    >>> round(glycol_drop_factor(1.0, 16.0), 2)
    2.0
    """
    require_positive(density_ratio=density_ratio, viscosity_ratio=viscosity_ratio)
    require_within("exponent", exponent, 0.0, 0.3, "")
    return float(density_ratio ** (1.0 - exponent) * viscosity_ratio**exponent)


GLYCOL_BAND = 0.12


def valve_flow_m3s(kv: float, drop_pa: float, density_kg_m3: float = WATER_DENSITY) -> float:
    """Flow [m3/s] through a valve or strainer: Q [m3/h] = Kv sqrt(dP [bar] / SG).

    Turbulent, no flashing, no viscosity correction. Source: IEC 60534-2-1 / ISA 75.01; Cv = 1.156 Kv.
    Check value: Cv 8 at 16 gpm is 4 psi (hydronics text).

    >>> round(valve_flow_m3s(8 / 1.156, 4 * 6894.757) / 6.30902e-5, 1)
    16.0
    """
    require_positive(kv=kv, density_kg_m3=density_kg_m3)
    return kv / 3600.0 * math.sqrt(_drop(drop_pa) / 1e5 * WATER_DENSITY / density_kg_m3)


def valve_kv(flow_m3s: float, drop_pa: float, density_kg_m3: float = WATER_DENSITY) -> float:
    """Flow coefficient Kv [m3/h at 1 bar] from flow and drop.

    Check value: 360 m3/h, 965.4 kg/m3, 680 to 220 kPa: Kv 165 (IEC 60534-2-1, example 1).

    >>> round(valve_kv(0.1, 460e3, 965.4))
    165
    """
    require_positive(flow_m3s=flow_m3s, drop_pa=drop_pa, density_kg_m3=density_kg_m3)
    return flow_m3s * 3600.0 / math.sqrt(drop_pa / 1e5 * WATER_DENSITY / density_kg_m3)


def drop_between_gauges_pa(
    inlet_pa: float, outlet_pa: float, outlet_above_inlet_m: float, density_kg_m3: float
) -> float:
    """Friction drop [Pa] from two gauge readings: inlet minus outlet minus the column between the gauges.

    outlet_above_inlet_m: how much higher the outlet GAUGE sits (negative: lower). 0.433 psi per ft of water.

    >>> round(drop_between_gauges_pa(10 * 6894.757, 0.0, 0.3048, 999.0) / 6894.757, 3)
    9.567
    """
    require_finite(inlet_pa=inlet_pa, outlet_pa=outlet_pa)
    require_within("height between gauges", outlet_above_inlet_m, -50.0, 50.0, "m")
    require_positive(density_kg_m3=density_kg_m3)
    return inlet_pa - outlet_pa - density_kg_m3 * GRAVITY * outlet_above_inlet_m


def strainer_loading(drop_pa: float, flow_m3s: float, clean_drop_pa: float, clean_flow_m3s: float) -> float:
    """Resistance of a strainer against clean: K/K_clean with K = dP/Q^2, same fluid.

    1 = clean; a model of open share phi gives 1/phi^2. 2 to 3 = clogging (common practice). Source: square
    law.

    >>> strainer_loading(4.0, 1.0, 1.0, 2.0)
    16.0
    """
    require_positive(flow_m3s=flow_m3s, clean_drop_pa=clean_drop_pa, clean_flow_m3s=clean_flow_m3s)
    return _drop(drop_pa) / clean_drop_pa * (clean_flow_m3s / flow_m3s) ** 2


METERS = ("differential-pressure", "variable-area", "turbine", "paddle", "magnetic", "vortex", "ultrasonic")


def meter_flow_m3s(
    meter: str, indicated_m3s: float, density_kg_m3: float, calibrated_kg_m3: float, float_kg_m3: float
) -> float:
    """True flow [m3/s] from a meter calibrated for another fluid.

    differential-pressure: Q = Q_ind sqrt(rho_cal/rho). variable-area (rotameter): with the float's density,
    sqrt((rho_f - rho)/(rho_f - rho_cal) rho_cal/rho). The others measure volume or velocity and need no
    density correction; ultrasonic needs the right sound speed set. Source: energy balance of each meter.
    """
    require_finite(indicated_m3s=indicated_m3s)
    require_positive(density_kg_m3=density_kg_m3, calibrated_kg_m3=calibrated_kg_m3, float_kg_m3=float_kg_m3)
    if meter not in METERS:
        raise CalculatorError("unknown meter", given=meter, allowed=", ".join(METERS))
    if meter == "differential-pressure":
        return indicated_m3s * math.sqrt(calibrated_kg_m3 / density_kg_m3)
    if meter == "variable-area":
        if float_kg_m3 <= max(density_kg_m3, calibrated_kg_m3):
            raise CalculatorError(
                "float lighter than the fluid",
                given=f"{float_kg_m3:g} kg/m3",
                allowed="denser than the fluid",
                do="a steel float is about 8000 kg/m3",
            )
        buoyancy = (float_kg_m3 - density_kg_m3) / (float_kg_m3 - calibrated_kg_m3)
        return indicated_m3s * math.sqrt(buoyancy * calibrated_kg_m3 / density_kg_m3)
    return indicated_m3s
