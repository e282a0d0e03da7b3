"""Layer 2, condenser air: fans against the coil, recirculation, altitude, failed fans.

Flow: a falling fan curve against a square coil gives V/V0 = n sqrt((1 + c)/(k + c)), k the coil's resistance over clean, c the fan's
slope. Fans deliver volume, so mass follows density; power follows n^3 and density. A failed fan of several costs more than its
share because air short-circuits through the idle opening: 0.60 to 0.75 of the flow is left for one of three or four (assumption).
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.plant.cycle import AirSide
from diagnose.plant.health import AirHealth
from diagnose.plant.parameters import AirParameters

AIR_CP, GAS_CONSTANT = 1006.0, 287.05
RATING_AIR_K, SEA_LEVEL_PA = 308.15, 101325.0
SHORT_CIRCUIT = 0.93  # further share lost through the opening of an idle fan
DRAUGHT = 0.04  # share of the flow left by warm air rising when no fan turns: assumption
BACKWARDS = 0.5  # share of its flow a reversed fan moves the wrong way: assumption
MOST_RECIRCULATION = 0.7


@dataclass(frozen=True, slots=True)
class AirState:
    """What the coil gets (`side`), fan power at full fans [W] and load of one running fan motor over its duty."""

    side: AirSide
    fan_w: float
    motor_load: float
    turning: int


def density_kg_m3(pressure_pa: float, t_k: float) -> float:
    """Air density [kg/m3], dry."""
    return pressure_pa / (GAS_CONSTANT * t_k)


def fan_flow_share(p: AirParameters, h: AirHealth, speed: float) -> float:
    """Volume flow over rated, of the fans that turn, at a speed ratio and the coil's resistance."""
    count = float(len(p.fans))
    out, back = min(h.fans_out, count), min(h.fans_reversed, count)
    forward = max(count - out - back, 0.0)
    share = (forward - BACKWARDS * back) / count
    if count > 1.0 and (out > 0.0 or back > 0.0):
        share *= SHORT_CIRCUIT
    share = abs(share)
    against = float(((1.0 + p.slope) / (h.resistance + p.slope)) ** 0.5)
    return max(share * against * speed * h.blade * (1.0 - h.leak), DRAUGHT)


def solve_air(
    p: AirParameters, h: AirHealth, weather_k: float, atmosphere_pa: float, frequency_ratio: float, running: float = 1.0
) -> AirState:
    """Air side of one circuit. running: share of fans fed by the supply (0 without power)."""
    air_k = weather_k + h.hot_air_k
    speed = h.speed * (1.0 if p.drive else frequency_ratio)
    flow = fan_flow_share(p, h, speed) if running > 0.0 else DRAUGHT
    design = density_kg_m3(SEA_LEVEL_PA, RATING_AIR_K) * p.volume_m3s * AIR_CP
    thin = density_kg_m3(atmosphere_pa, air_k) / density_kg_m3(SEA_LEVEL_PA, RATING_AIR_K)
    side = AirSide(
        air_k=air_k,
        capacity_rate=design * flow * thin,
        design_rate=design,
        ua_design=p.ua,
        air_share=p.air_share,
        recirculation=min(h.recirculation, MOST_RECIRCULATION),
        low_k=p.low_k,
        high_k=p.high_k,
        least=1.0 if h.no_head_control else p.least,
        fouling=h.ua,
    )
    count = len(p.fans)
    turning = max(count - round(h.fans_out), 0) if running > 0.0 else 0
    per_fan = flow / max((count - h.fans_out) / count, 1e-6) if turning else 0.0
    load = speed**3 * thin * (1.0 + 0.25 * max(1.0 - per_fan / max(speed, 1e-6), -0.4)) if turning else 0.0
    return AirState(side, p.fan_w * load * turning / count, load, turning)
