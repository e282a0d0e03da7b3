"""Brazed plate evaporator: effectiveness and transfer units, a boiling zone and a superheating zone.

UA belongs to the DIFFERENCE OF FLUID AND REFRIGERANT IN THE BOILING ZONE, whole plate wetted. The fluid meets the superheating
zone first (counterflow). With a glide blend the boiling zone is at the mean of inlet and dew temperature.

Flow: 1/UA = (share/flow^0.7 + 1 - share)/UA_design, share the fluid's part of the resistance (Nu ~ Re^0.64..0.79: Han, Lee,
Kim 2003; Jokar 2006). Gas zone: its U is a fixed share of the boiling U (assumption).
"""

from __future__ import annotations

import math

FLOW_EXPONENT = 0.7
GAS_ZONE_SHARE = 0.22  # U of the superheating zone over U of the boiling zone: assumption
NEARLY_ALL = 1.0 - 1e-9


def overall_ua(design_ua: float, fluid_share: float, flow_ratio: float, fluid_factor: float = 1.0) -> float:
    """UA [W/K] at a fluid flow over design flow; fluid_factor: fluid-side h of this mixture over plain water's."""
    flow = max(flow_ratio, 1e-3)
    return float(design_ua / (fluid_share / (flow**FLOW_EXPONENT * fluid_factor) + 1.0 - fluid_share))


def gas_zone(superheat_k: float, reach_k: float, flow_kg_s: float, cp: float, gas_ua: float) -> float:
    """Share of the plate that superheats the gas by ``superheat_k``; reach_k: entering fluid over evaporating.

    1 or more: the plate cannot do it.
    """
    if superheat_k <= 0.0:
        return 0.0
    ratio = superheat_k / max(reach_k, 1e-9)
    if ratio >= NEARLY_ALL:
        return 2.0 + ratio
    return -flow_kg_s * cp / gas_ua * math.log(1.0 - ratio)


def boiling_duty_w(share: float, ua: float, capacity_rate: float, entering_k: float, boiling_k: float) -> float:
    """Heat [W] into the boiling zone that is left (``share`` of the plate); none when nothing is left."""
    if share <= 0.0:
        return 0.0
    return capacity_rate * (entering_k - boiling_k) * -math.expm1(-ua * share / capacity_rate)
