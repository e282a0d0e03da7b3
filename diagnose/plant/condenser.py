"""Air-cooled condenser in three zones that share the face: gas cooling, condensing, liquid cooling.

Each zone, refrigerant mixed and air unmixed along its share w of the face, falls as
(T_in - T_air)/(T_out - T_air) = exp(w C_air E / C_ref), E = 1 - exp(-UA/C_air), so every share has a closed form (the same idea
as in an open vapour-compression simulator's condenser model). What the first two zones leave of the face is the third: it
decides the subcooling. When they need more than the whole face, the refrigerant leaves partly as gas.

UA belongs to condensing refrigerant over the whole face; UA ~ 1/(share/air^0.55 + 1 - share). Gas and liquid zones have lower
U: with an air side of 765 W/(m2 K) on the inner surface and 2700 condensing, 1200 liquid, 500 gas inside (orders of size, from
memory) they come to 0.78 and 0.5 of the condensing U. Of 0.65 to 0.85, tried, this also keeps a measured subcooling at -58 %
air best, so that comparison is not blind. A glide blend condenses at the mean of dew and bubble temperature.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from diagnose.properties.surface import Line, Surface

AIR_EXPONENT = 0.55
GAS_SHARE, LIQUID_SHARE = 0.5, 0.78


class Condensed(NamedTuple):
    """State at the condenser outlet and how the face is shared. gas_share, two_phase, liquid: parts of the face."""

    enthalpy: float
    t_k: float
    quality: float
    subcooling_k: float
    gas_share: float
    two_phase: float
    liquid: float


def overall_ua(design_ua: float, air_share: float, air_ratio: float) -> float:
    """UA [W/K] at an air flow over design air flow."""
    return float(design_ua / (air_share / max(air_ratio, 1e-3) ** AIR_EXPONENT + 1.0 - air_share))


def transfer(ua: float, capacity_rate: float) -> tuple[float, float, float]:
    """C_air E of the gas, condensing and liquid zones [W/K] for the whole face."""
    return (
        capacity_rate * -math.expm1(-GAS_SHARE * ua / capacity_rate),
        capacity_rate * -math.expm1(-ua / capacity_rate),
        capacity_rate * -math.expm1(-LIQUID_SHARE * ua / capacity_rate),
    )


def condense(
    fluid: Surface,
    line: Line,
    flow_kg_s: float,
    h_in: float,
    t_in_k: float,
    air_k: float,
    zones: tuple[float, float, float],
) -> Condensed:
    """Outlet of the condenser for a flow and an inlet state; zones from `transfer`."""
    span = line.t_dew_k - air_k
    if span < 0.02:
        span = 0.02
    gas = 0.0
    if h_in > line.gas_j_per_kg:
        over = t_in_k - line.t_dew_k
        if over > 1e-6:
            cp = (h_in - line.gas_j_per_kg) / over
            gas = flow_kg_s * cp / zones[0] * math.log1p(over / span)
        start = line.gas_j_per_kg
    else:
        start = h_in
    mean = max(0.5 * (line.t_dew_k + line.t_bubble_k) - air_k, 0.02)
    latent = start - line.liquid_j_per_kg
    need = flow_kg_s * latent / (zones[1] * mean)
    left = 1.0 - gas - need
    if left < 0.0:
        room = max(1.0 - gas, 0.0)
        if room <= 0.0:
            drop = (h_in - start) * min(1.0 / gas, 1.0) if gas > 0.0 else 0.0
            return Condensed(h_in - drop, line.t_dew_k, 1.0, 0.0, 1.0, 0.0, 0.0)
        h = start - latent * room / need
        quality = (h - line.liquid_j_per_kg) / (line.gas_j_per_kg - line.liquid_j_per_kg)
        t = line.t_bubble_k + quality * (line.t_dew_k - line.t_bubble_k)
        return Condensed(h, t, quality, 0.0, gas, room, 0.0)
    reach = line.t_bubble_k - air_k
    if reach <= 0.0:
        return Condensed(line.liquid_j_per_kg, line.t_bubble_k, 0.0, 0.0, gas, need, left)
    cp = fluid.liquid_heat_capacity(line.t_bubble_k - 0.25 * reach)
    t = air_k + reach * math.exp(-left * zones[2] / (flow_kg_s * cp))
    return Condensed(fluid.liquid(t)[0], t, 0.0, line.t_bubble_k - t, gas, need, left)
