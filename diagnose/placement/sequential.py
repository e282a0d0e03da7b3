"""The numbers behind an early word: a one-sided cumulative sum with a stated in-control run length, a robust line, a robust scatter.

Pure; plain numbers in the units of whatever is followed. Sources: E. S. Page, Continuous inspection schemes, Biometrika 41 (1954);
D. Siegmund, Sequential Analysis (1985), the corrected diffusion approximation of the run length; P. K. Sen, Estimates of the
regression coefficient based on Kendall's tau, JASA 63 (1968); J. Rice, Bandwidth choice, Ann. Stat. 12 (1984), differences for scatter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist, median

OVERSHOOT = 1.166  # Siegmund's correction for the step over the limit
MAD_TO_SD = 1.4826  # of a normal distribution
LEAST_FOR_SCATTER, MOST_FOR_SCATTER = 6, 60  # values a scatter is taken from, the latest
BAND = 0.90  # two-sided confidence of the band of a slope
MOST_STEPS = 2.0  # a sum stops at this many limits, so that it comes down again once the cause is gone
GATE = 0.6  # most of the limit that one value may add: no single reading gives a word


def run_length(drift: float, limit: float) -> float:
    """Mean number of values until a cumulative sum passes ``limit``, each adding ``drift`` with standard deviation 1.

    drift: negative in control. Siegmund's approximation; exact (two-sided tables of textbooks, 168 and 465, doubled): 336 and 930.

    >>> round(run_length(-0.5, 4.0)), round(run_length(-0.5, 5.0))
    (338, 938)
    """
    b = limit + OVERSHOOT
    if abs(drift) < 1e-6:
        return b * b
    exponent = -2.0 * drift * b
    if exponent > 600.0:
        return math.inf
    return (math.exp(exponent) - exponent - 1.0) / (2.0 * drift * drift)


@lru_cache(maxsize=4096)
def limit_for(drift: float, length: float) -> float:
    """Limit at which the mean run length in control is ``length``; drift below 0, in standard deviations a value."""
    low, high = 0.0, 1.0
    while run_length(drift, high) < length:
        high *= 2.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if run_length(drift, middle) < length else (low, middle)
    return high


def scatter(values: Sequence[float]) -> float:
    """Robust standard deviation of values round a course that may rise or fall: from second differences; 0 for too few.

    A single wild value moves three of the differences and not their median.
    """
    if len(values) < LEAST_FOR_SCATTER:
        return 0.0
    bends = [abs(b - 0.5 * (a + c)) for a, b, c in zip(values, values[1:], values[2:], strict=False)]
    return MAD_TO_SD * median(bends) / math.sqrt(1.5)


@dataclass(frozen=True)
class Line:
    """A robust line: value at ``at`` plus slope times the way from there. low, high: band of the slope."""

    at: float
    value: float
    slope: float
    low: float
    high: float


def robust_line(times: Sequence[float], values: Sequence[float]) -> Line | None:
    """Theil-Sen line through points with the band of its slope (Sen 1968); None for fewer than three moments.

    times: rising. The value is that of the line at the last time.
    """
    n = len(times)
    slopes = sorted(
        (values[j] - values[i]) / (times[j] - times[i])
        for i in range(n)
        for j in range(i + 1, n)
        if times[j] > times[i]
    )
    if n < 3 or len(slopes) < 3:
        return None
    slope = median(slopes)
    width = NormalDist().inv_cdf(0.5 + BAND / 2.0) * math.sqrt(n * (n - 1) * (2 * n + 5) / 18.0)
    first = min(max(round((len(slopes) - width) / 2.0), 0), len(slopes) - 1)
    last = min(max(round((len(slopes) + width) / 2.0), 0), len(slopes) - 1)
    value = median(v + slope * (times[-1] - t) for t, v in zip(times, values, strict=True))
    return Line(times[-1], value, slope, slopes[first], slopes[last])


@dataclass(frozen=True)
class Step:
    """One value of a sum. total: after it; limit: then; held: the value was cut by the gate; word: the sum is over its limit."""

    total: float
    limit: float
    noise: float
    held: bool
    word: bool


def cumulative(
    values: Sequence[float], noise: float, allowance: float, reference: float, length: float
) -> tuple[Step, ...]:
    """The one-sided sum over values that rise with the trouble; each step uses only what came before it and itself.

    noise, allowance, reference: as on a watch card, in the unit of the values; length: mean run length in control at the allowance.
    """
    out: list[Step] = []
    total = 0.0
    for n, value in enumerate(values):
        sd = max(noise, scatter(values[max(0, n + 1 - MOST_FOR_SCATTER) : n + 1]))
        limit = limit_for((allowance - reference) / sd, length)
        step = (value - reference) / sd
        held = step > GATE * limit
        total = min(max(0.0, total + min(step, GATE * limit)), MOST_STEPS * limit)
        out.append(Step(total, limit, sd, held, total > limit))
    return tuple(out)
