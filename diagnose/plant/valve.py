"""Expansion device: what it passes, and which opening it takes for a superheat.

m = A u sqrt(2 rho_in dp): A includes the discharge coefficient and is sized at rating. A thermostatic valve opens along a straight
line above its static superheat; an electronic one holds its set point between its limits; an orifice is always open.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

FLASH_EXPONENT = 0.25  # a handbook says capacity falls strongly with flash gas and flow chokes; the number is assumed
RATED_OPENING = 0.62  # at the rating point: full opening is about 1.6 times the rated flow (assumption)


@dataclass(frozen=True, slots=True)
class ExpansionValve:
    """kind: thermostatic, electronic or orifice; area_m2: effective, full open; superheat_k: held (electronic) or reached at
    rating (thermostatic); static_k: superheat at which a thermostatic valve begins to open.
    """

    kind: str
    area_m2: float
    superheat_k: float = 5.5
    static_k: float = 3.0

    def opening(self, superheat_k: float, low: float, high: float) -> float:
        """Opening that a thermostatic valve takes at a superheat, within its limits."""
        share = (superheat_k - self.static_k) / (self.superheat_k - self.static_k)
        return min(max(RATED_OPENING * share, low), high)


def flow_kg_s(area_m2: float, opening: float, inlet_kg_m3: float, liquid_kg_m3: float, drop_pa: float) -> float:
    """What a device passes [kg/s]; nothing without a pressure difference. Bubbles at the inlet cost more than their density."""
    if drop_pa <= 0.0:
        return 0.0
    choked = (inlet_kg_m3 / liquid_kg_m3) ** FLASH_EXPONENT if inlet_kg_m3 < liquid_kg_m3 else 1.0
    return float(area_m2 * opening * math.sqrt(2.0 * inlet_kg_m3 * drop_pa) * choked)
