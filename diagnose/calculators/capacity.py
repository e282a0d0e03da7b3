"""Cooling capacity from fluid flow and temperature difference.

Flow [m3/s], temperatures [K], power [W]. The flow must be the flow through THIS evaporator; both
thermometers must be in the wells. Not checked: a bypass, air in the fluid, a machine that is still pulling
the loop down.
"""

from __future__ import annotations

from diagnose.calculators.limits import require_finite, require_positive, require_within
from diagnose.properties.fluids import density_kg_m3, heat_capacity_j_per_kg_k

TON_W = 12000 * 1055.05585262 / 3600.0
"""One ton of refrigeration, 12,000 Btu/h [W]."""
_BTU_H_PER_GPM_F = 6.30902e-5 / 1.8 * 3600.0 / 1055.05585262


def heat_factor(fluid: str, percent: float, basis: str, t_k: float) -> float:
    """Btu/h per gpm and F: 500 for water, less for glycol.

    Source: density times heat capacity. Check values at 5 C, volume %: EG 30 % 452, PG 30 % 471 (EnergyPlus
    properties). The 470 quoted for "30 % glycol" fits propylene only and is 4 % high for ethylene.

    >>> abs(heat_factor("ethylene-glycol", 30.0, "volume", 278.15) - 452) < 1
    True
    """
    return (
        density_kg_m3(fluid, percent, basis, t_k)
        * heat_capacity_j_per_kg_k(fluid, percent, basis, t_k)
        * _BTU_H_PER_GPM_F
    )


def capacity_w(
    flow_m3s: float,
    entering_k: float,
    leaving_k: float,
    fluid: str = "water",
    percent: float = 0.0,
    basis: str = "volume",
) -> float:
    """Heat taken from the fluid [W]; negative when the fluid is heated.

    flow 0 to 1 m3/s; properties at the mean temperature. Source: Q rho cp dT. Check value: 500 x 40 gpm x
    24 F = 480,000 Btu/h = 40 tons (hydronics text; water's factor is 500.4 at 60 F and 502 at 45 F, hence
    0.5 %).

    >>> f = lambda t: (t - 32) / 1.8 + 273.15
    >>> abs(capacity_w(40 * 6.30902e-5, f(66), f(42)) / TON_W - 40.0) < 0.2
    True
    """
    require_within("flow", flow_m3s, 0.0, 1.0, "m3/s")
    require_finite(entering_k=entering_k, leaving_k=leaving_k)
    mean = 0.5 * (entering_k + leaving_k)
    heat = density_kg_m3(fluid, percent, basis, mean) * heat_capacity_j_per_kg_k(fluid, percent, basis, mean)
    return flow_m3s * heat * (entering_k - leaving_k)


def flow_for_capacity_m3s(
    power_w: float,
    entering_k: float,
    leaving_k: float,
    fluid: str = "water",
    percent: float = 0.0,
    basis: str = "volume",
) -> float:
    """Flow [m3/s] that a known capacity and temperature difference imply; exact inverse of ``capacity_w``.

    The third proof of flow beside curve and meter. Check value: 40 tons at 24 F is 40 gpm (hydronics text).
    """
    require_positive(power_w=power_w, temperature_difference=entering_k - leaving_k)
    return power_w / capacity_w(1.0, entering_k, leaving_k, fluid, percent, basis)
