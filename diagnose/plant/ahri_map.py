"""A compressor map of ten coefficients each for mass flow and power (AHRI Standard 540), used inside its limits only.

X = C1 + C2 S + C3 D + C4 S2 + C5 S D + C6 D2 + C7 S3 + C8 D S2 + C9 S D2 + C10 D3, S and D the suction and discharge dew
temperatures. A map holds at ONE superheat. Off it: m = m_map (1 + 0.75 (v_map/v - 1)) and W = W_map (m/m_map)(dh/dh_map)
(Dabiri and Rice 1981).

Never extrapolated: outside its limits the map is asked at the nearest point inside, turned into the two efficiencies there,
and these follow the shape of the generic scroll from that point on. Cubic maps err by 14 % at corners, up to 42 % outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diagnose.plant.compressor import ScrollCurve, total_efficiency, volumetric_efficiency
from diagnose.properties.surface import Surface
from shared.errors import ChillerError

RICE_FACTOR = 0.75


@dataclass(frozen=True, slots=True)
class CompressorMap:
    """flow: kg/s, power: W, ten coefficients each over dew temperatures in degrees C; superheat_k: the one they hold at.

    suction_c, discharge_c: limits of both temperatures. least_lift_k: discharge stays this far over suction.
    """

    flow: tuple[float, ...]
    power: tuple[float, ...]
    superheat_k: float
    suction_c: tuple[float, float]
    discharge_c: tuple[float, float]
    least_lift_k: float = 15.0

    def __post_init__(self) -> None:
        if len(self.flow) != 10 or len(self.power) != 10:
            raise ChillerError(
                "compressor map", given=f"{len(self.flow)} and {len(self.power)} coefficients", allowed="ten each"
            )


def polynomial(c: Sequence[float], s: float, d: float) -> float:
    """The AHRI 540 polynomial at suction ``s`` and discharge ``d``, both in the unit of its coefficients."""
    return (
        c[0]
        + c[1] * s
        + c[2] * d
        + c[3] * s * s
        + c[4] * s * d
        + c[5] * d * d
        + c[6] * s * s * s
        + c[7] * d * s * s
        + c[8] * s * d * d
        + c[9] * d * d * d
    )


@dataclass(frozen=True, slots=True)
class MapPoint:
    """eta_v, eta_t per unit of swept volume; inside: whether the map itself was asked there."""

    volumetric: float
    efficiency: float
    inside: bool


def map_efficiencies(
    chart: CompressorMap, curve: ScrollCurve, fluid: Surface, swept_m3s: float, suction_k: float, discharge_k: float
) -> MapPoint:
    """Volumetric and total efficiency of one compressor from its map; beyond the limits along the generic curve."""
    s0, d0 = suction_k - 273.15, discharge_k - 273.15
    s = min(max(s0, chart.suction_c[0]), chart.suction_c[1])
    d = min(max(d0, chart.discharge_c[0], s + chart.least_lift_k), chart.discharge_c[1])
    low, high = fluid.line(s + 273.15), fluid.line(d + 273.15)
    h1, s1, rho1 = fluid.gas(low, chart.superheat_k)
    flow, power = polynomial(chart.flow, s, d), polynomial(chart.power, s, d)
    work = fluid.isobar(high).enthalpy_at_entropy(s1) - h1
    ratio = high.p_pa / low.p_pa
    volumetric, efficiency = flow / (swept_m3s * rho1), flow * work / power
    inside = s == s0 and d == d0
    if not inside:
        real = fluid.line(discharge_k).p_pa / fluid.line(suction_k).p_pa
        volumetric *= volumetric_efficiency(curve, real) / volumetric_efficiency(curve, ratio)
        efficiency *= total_efficiency(curve, real) / total_efficiency(curve, ratio)
    return MapPoint(volumetric, efficiency, inside)


def off_superheat_flow(flow_map: float, map_kg_m3: float, actual_kg_m3: float) -> float:
    """Mass flow [kg/s] at another suction density than the map's: 0.75 of the density change counts.

    >>> round(off_superheat_flow(1.0, 1.0, 1.04), 3)
    1.03
    """
    return flow_map * (1.0 + RICE_FACTOR * (actual_kg_m3 / map_kg_m3 - 1.0))
