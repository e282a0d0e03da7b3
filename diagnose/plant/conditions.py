"""What the day and the site bring, and which of load and return temperature is held when a fault is shown.

At equal LOAD low fluid flow and a fouled evaporator bring every refrigerant reading back to healthy; at equal ENTERING fluid they
do not. So every simulation says which one it holds.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Conditions:
    """air_k: weather air; entering_k: return fluid (held unless hold is "load"); load_share: of nameplate capacity.

    hold: entering or load. wanted: what the person tries to run: cooling, pump-only, powered (no pump), standing.
    board_volts, hertz: of the source when not the nameplate's; set_point_k: when not the card's.
    minutes: since cooling started. stages: compressors to run when "entering" is held; None: what the
    control would for this return.
    site_other_va: other load on the same source.
    """

    air_k: float = 308.15
    entering_k: float = 285.37
    hold: str = "entering"
    load_share: float = 1.0
    wanted: str = "cooling"
    board_volts: float | None = None
    hertz: float | None = None
    set_point_k: float | None = None
    minutes: float = 60.0
    stages: int | None = None
    site_other_va: float = 0.0


RATING = Conditions()
"""AHRI 550/590 rating of air-cooled chillers: air 95 F, fluid 54 F in, 44 F out."""
