"""Centrifugal pumps: head, water power, affinity laws, NPSH.

Pressures [Pa], flow [m3/s], head [m of the pumped fluid], density [kg/m3], power [W]. Reversed rotation still
pumps forward, with flow AND head well below normal: it is recognised, not computed; no standard gives a
figure.
"""

from __future__ import annotations

import math

from diagnose.calculators.flow import GRAVITY
from diagnose.calculators.limits import require_finite, require_positive, require_within


def velocity_head_m(flow_m3s: float, diameter_m: float) -> float:
    """v^2/2g [m] in a pipe of inside diameter ``diameter_m``."""
    require_positive(diameter_m=diameter_m)
    return (flow_m3s / (math.pi / 4.0 * diameter_m**2)) ** 2 / (2.0 * GRAVITY)


def pump_head_m(
    suction_pa: float,
    discharge_pa: float,
    density_kg_m3: float,
    discharge_above_suction_m: float = 0.0,
    velocity_heads_m: float = 0.0,
) -> float:
    """Pump head [m] from its two gauges.

    discharge_above_suction_m: how much higher the discharge GAUGE sits; velocity_heads_m: discharge minus
    suction velocity head, zero when both ports have the same bore. A closed loop has no static head.
    Source: Bernoulli. Check value: 1 psi is 2.31 ft of water.

    >>> round(pump_head_m(0.0, 6894.757, 998.9) / 0.3048, 2)
    2.31
    """
    require_finite(suction_pa=suction_pa, discharge_pa=discharge_pa, velocity_heads_m=velocity_heads_m)
    require_positive(density_kg_m3=density_kg_m3)
    require_within("height between gauges", discharge_above_suction_m, -50.0, 50.0, "m")
    rise = (discharge_pa - suction_pa) / (density_kg_m3 * GRAVITY)
    return rise + discharge_above_suction_m + velocity_heads_m


def water_power_w(flow_m3s: float, head_m: float, density_kg_m3: float) -> float:
    """Power given to the fluid [W]: rho g Q H.

    Check value: 1200 gpm, 45 ft, water = 13.64 water horsepower (pump text).

    >>> round(water_power_w(1200 * 6.30902e-5, 45 * 0.3048, 998.9) / 745.7, 1)
    13.6
    """
    require_within("flow", flow_m3s, 0.0, 10.0, "m3/s")
    require_within("head", head_m, 0.0, 1000.0, "m")
    require_positive(density_kg_m3=density_kg_m3)
    return density_kg_m3 * GRAVITY * flow_m3s * head_m


def shaft_power_w(flow_m3s: float, head_m: float, density_kg_m3: float, efficiency: float) -> float:
    """Power at the shaft [W]; efficiency 0.05 to 1.

    Check value: 13.64 whp at 0.725 is 18.8 bhp (same pump text).
    """
    require_within("pump efficiency", efficiency, 0.05, 1.0, "")
    return water_power_w(flow_m3s, head_m, density_kg_m3) / efficiency


def affinity(speed_ratio: float) -> tuple[float, float, float]:
    """Factors on flow, head and power at a speed ratio 0.1 to 3: n, n^2, n^3.

    Same pump, same system without static head, same fluid; power holds only while efficiency does.
    Check value: 1800 to 3600 rpm: 400 to 800 gpm, 48 to 192 ft, 45 to 360 kW (DOE-HDBK-1012, HT-03).

    >>> affinity(2.0)
    (2.0, 4.0, 8.0)
    """
    require_within("speed ratio", speed_ratio, 0.1, 3.0, "")
    return speed_ratio, speed_ratio**2, speed_ratio**3


def npsh_at_gauge_m(
    suction_abs_pa: float,
    vapour_pa: float,
    density_kg_m3: float,
    gauge_above_pump_m: float = 0.0,
    velocity_head: float = 0.0,
) -> float:
    """NPSH available [m] from the gauge at the pump suction, running; pressure ABSOLUTE.

    (p - p_vapour)/(rho g) + gauge height above the impeller + velocity head. Source: definition (Hydraulic
    Institute). Water's vapour pressure is the safe side for glycol.
    """
    require_finite(vapour_pa=vapour_pa)
    require_positive(suction_abs_pa=suction_abs_pa, density_kg_m3=density_kg_m3)
    require_within("gauge height", gauge_above_pump_m, -20.0, 20.0, "m")
    return (suction_abs_pa - vapour_pa) / (density_kg_m3 * GRAVITY) + gauge_above_pump_m + velocity_head


def npsh_from_surface_m(
    surface_abs_pa: float, level_above_pump_m: float, loss_m: float, vapour_pa: float, density_kg_m3: float
) -> float:
    """NPSH available [m] from the liquid surface: surface head + level - losses - vapour head.

    level_above_pump_m: negative for a suction lift. Check value: 34 + 15 - 0.6 - 0.4 - 2 = 46 ft; with 20
    ft lift 11 ft (pump text).
    """
    require_positive(surface_abs_pa=surface_abs_pa, density_kg_m3=density_kg_m3)
    require_finite(level_above_pump_m=level_above_pump_m, vapour_pa=vapour_pa)
    require_within("suction loss", loss_m, 0.0, 100.0, "m")
    return (surface_abs_pa - vapour_pa) / (density_kg_m3 * GRAVITY) + level_above_pump_m - loss_m
