"""Scroll compressor: flow and power from the pressure ratio, or from a ten-coefficient map inside its own limits.

Generic scroll: m = V rho eta_v(PR), W = m (h2s - h1) / eta_t(PR), motor included. eta_v falls along a straight line, eta_t is a
parabola with a floor. Published capacity cubics of five air-conditioning scrolls give eta_t 0.66-0.71 at ratio 2.3, 0.71-0.73
at 2.9, 0.58-0.64 at 4.8 and a suction volume flow 5 to 9 % lower at 4.8 than at 2.3; eta_v nearly 1 at 1.3 and 0.83 at 9.7
(Cuevas et al., Applied Thermal Engineering 30 (2010) 605-615, abstract).

Ratio is absolute over absolute; it is clamped to 1.2 .. 10, where the curves are still curves. A clamped ratio is reported.
"""

from __future__ import annotations

from dataclasses import dataclass

LEAST_RATIO, MOST_RATIO = 1.2, 10.0


@dataclass(frozen=True, slots=True)
class ScrollCurve:
    """volumetric: eta_v at ratio 1.3; volumetric_fall: per unit of ratio; efficiency: best eta_t, reached at best_ratio;
    efficiency_fall: per unit of ratio squared; floor: least eta_t; shell_loss: share of the power lost from the shell.
    """

    volumetric: float = 0.97
    volumetric_fall: float = 0.022
    efficiency: float = 0.70
    best_ratio: float = 2.9
    efficiency_fall: float = 0.018
    floor: float = 0.42
    shell_loss: float = 0.04


def clamped_ratio(ratio: float) -> float:
    """Ratio inside the range of the curves."""
    return min(max(ratio, LEAST_RATIO), MOST_RATIO)


def volumetric_efficiency(curve: ScrollCurve, ratio: float) -> float:
    """Share of the swept volume that is drawn in, at a pressure ratio."""
    return curve.volumetric - curve.volumetric_fall * (clamped_ratio(ratio) - 1.3)


def total_efficiency(curve: ScrollCurve, ratio: float) -> float:
    """Isentropic work over electrical input, at a pressure ratio."""
    away = clamped_ratio(ratio) - curve.best_ratio
    return max(curve.efficiency - curve.efficiency_fall * away * away, curve.floor)
