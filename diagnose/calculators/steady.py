"""Is the machine steady enough to judge superheat, subcooling, approach and split?

Idea: a moving window over the last minutes of a trend, as NIST Special Publication 1087 filters readings
before any fault is looked for. Steady means: stages unchanged for 10 to 15 minutes, temperatures within 1 F
and pressures within 2 to 3 % over the last 3 to 5 minutes, and the returning fluid within about 10 F of
design. During pull-down of a warm loop the readings are not judged yet; that is never a fault. The limits
are common practice.

Times in s, temperatures in K, pressures in Pa.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shared.errors import CalculatorError

WINDOW_S = 240.0
STAGES_UNCHANGED_S = 600.0
TEMPERATURE_BAND_K = 1.0 / 1.8
PRESSURE_BAND_PCT = 3.0
RETURN_BAND_K = 10.0 / 1.8


@dataclass(frozen=True, slots=True)
class Window:
    """What the readings inside the last window do. Unit of the readings; slope per second; sd with n - 1."""

    count: int
    span_s: float
    mean: float
    spread: float
    sd: float
    slope_per_s: float


@dataclass(frozen=True, slots=True)
class SteadyGate:
    """steady: all conditions met; reasons: what is not met, and what would make it so."""

    steady: bool
    reasons: tuple[str, ...]


def last_window(times_s: Sequence[float], values: Sequence[float], window_s: float = WINDOW_S) -> Window:
    """Statistics of the readings no older than ``window_s`` before the last one.

    times_s: rising, s; values: any unit, same length, at least 2 inside the window. Errors: CalculatorError.
    Source of the formulas: least squares line; sample standard deviation. Deviations are taken from the
    mean first, so that large offsets (kelvin, pascal) lose no digits. Check value: NIST StRD data set
    NumAcc1, mean 10000002, standard deviation 1.

    >>> w = last_window((0.0, 1.0, 2.0), (10000001.0, 10000003.0, 10000002.0))
    >>> w.mean, w.sd
    (10000002.0, 1.0)
    """
    if len(times_s) != len(values):
        raise CalculatorError(
            "times and readings differ in number",
            given=f"{len(times_s)} and {len(values)}",
            allowed="one time for each reading",
        )
    if not all(math.isfinite(x) for x in (*times_s, *values)):
        raise CalculatorError("a time or reading is not a number", allowed="finite numbers")
    if any(b <= a for a, b in zip(times_s, times_s[1:], strict=False)):
        raise CalculatorError("times do not rise", allowed="each reading later than the one before")
    points = [(t, v) for t, v in zip(times_s, values, strict=True) if t >= times_s[-1] - window_s]
    n = len(points)
    if n < 2:
        raise CalculatorError(
            "too few readings in the window",
            given=n,
            allowed="2 or more",
            do=f"read at least twice within {window_s / 60:g} minutes",
        )
    t_mean = math.fsum(t for t, _ in points) / n
    mean = math.fsum(v for _, v in points) / n
    squares = math.fsum((v - mean) ** 2 for _, v in points)
    t_squares = math.fsum((t - t_mean) ** 2 for t, _ in points)
    slope = math.fsum((t - t_mean) * (v - mean) for t, v in points) / t_squares
    readings = [v for _, v in points]
    return Window(
        n,
        points[-1][0] - points[0][0],
        mean,
        max(readings) - min(readings),
        math.sqrt(squares / (n - 1)),
        slope,
    )


def steady_gate(
    *,
    stages_unchanged_s: float | None = None,
    temperatures: Sequence[tuple[str, Window]] = (),
    pressures: Sequence[tuple[str, Window]] = (),
    entering_fluid_k: float | None = None,
    design_entering_k: float | None = None,
    window_s: float = WINDOW_S,
) -> SteadyGate:
    """Whether the readings may be judged, with every reason against it.

    None = not known, and then it is not counted against steadiness; the caller says that it was assumed. A
    window must span at least 3/4 of ``window_s``. Source of the limits: common practice.
    """
    reasons = []
    if stages_unchanged_s is not None and stages_unchanged_s < STAGES_UNCHANGED_S:
        reasons.append(
            f"stages changed {stages_unchanged_s / 60:.0f} min ago: "
            f"wait until {STAGES_UNCHANGED_S / 60:.0f} min have passed"
        )
    for name, window in (*temperatures, *pressures):
        if window.span_s < 0.75 * window_s:
            reasons.append(f"{name}: readings span {window.span_s / 60:.1f} min: take them over {window_s / 60:g} min")
    for name, window in temperatures:
        if window.spread > TEMPERATURE_BAND_K:
            reasons.append(f"{name} moved {window.spread * 1.8:.1f} F in the window: wait until within 1 F")
    for name, window in pressures:
        if window.mean <= 0.0 or 100.0 * window.spread / window.mean > PRESSURE_BAND_PCT:
            reasons.append(f"{name} moved more than {PRESSURE_BAND_PCT:g} % in the window: wait")
    if (
        entering_fluid_k is not None
        and design_entering_k is not None
        and abs(entering_fluid_k - design_entering_k) > RETURN_BAND_K
    ):
        reasons.append(
            f"return fluid {abs(entering_fluid_k - design_entering_k) * 1.8:.0f} F from design: wait until within 10 F"
        )
    return SteadyGate(not reasons, tuple(reasons))
