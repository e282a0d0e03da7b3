"""Refrigerant held in the parts of a circuit, for a charge that is given and a subcooling that follows.

Absolute charge is predicted poorly by any such model; only differences from the rating point are used (Shen and Braun,
HVAC&R Research 12(3) 2006, abstract, tune it at two measured points). Void fraction: Zivi's, averaged over quality in closed
form (from memory).
"""

from __future__ import annotations

import math

RECEIVER_SPAN_K = 1.0  # subcooling over which a receiver's level runs from empty to full: a smooth step, assumption


def two_phase_kg_m3(gas_kg_m3: float, liquid_kg_m3: float, low: float, high: float) -> float:
    """Mean density [kg/m3] between two qualities along a zone of even heat flow; void fraction x/(k + (1-k) x)."""
    low, high = max(low, 0.0), min(high, 1.0)
    k = (gas_kg_m3 / liquid_kg_m3) ** (2.0 / 3.0)
    if high - low < 1e-6:
        void = high / (k + (1.0 - k) * high)
    else:
        rest = 1.0 - k
        void = 1.0 / rest - k / (rest * rest) * math.log((k + rest * high) / (k + rest * low)) / (high - low)
    return float(void * gas_kg_m3 + (1.0 - void) * liquid_kg_m3)


def mixed_kg_m3(gas_kg_m3: float, liquid_kg_m3: float, quality: float) -> float:
    """Density [kg/m3] of a mixture whose phases move together."""
    return 1.0 / (quality / gas_kg_m3 + (1.0 - quality) / liquid_kg_m3)


def receiver_level(subcooling_k: float) -> float:
    """Share of a receiver that is full: empty at bubbles, full once the liquid is subcooled."""
    x = min(max(subcooling_k / RECEIVER_SPAN_K, 0.0), 1.0)
    return x * x * (3.0 - 2.0 * x)
