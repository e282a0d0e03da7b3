"""Finding where a function of one unknown crosses zero: a bracket, then Brent's method inside it.

A missing sign change is an answer, not an error: it comes back as the end at which the search stopped.
Source: R. P. Brent, Algorithms for Minimization without Derivatives, 1973, chapter 4 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

Function = Callable[[float], float]


class Root(NamedTuple):
    """x; side: 0 inside a bracket, -1 no sign change and the function stays positive (root would lie below the lower end
    of a rising function), +1 it stays negative (would lie above the upper end).
    """

    x: float
    side: int


def brent(f: Function, a: float, b: float, fa: float, fb: float, tolerance: float, most: int = 80) -> float:
    """Root between ``a`` and ``b``, whose values ``fa`` and ``fb`` differ in sign, to ``tolerance`` in x."""
    c, fc = a, fa
    step = before = b - a
    for _ in range(most):
        if (fb > 0.0) == (fc > 0.0):
            c, fc = a, fa
            step = before = b - a
        if abs(fc) < abs(fb):
            a, b, c = b, c, b
            fa, fb, fc = fb, fc, fb
        middle = 0.5 * (c - b)
        if abs(middle) <= tolerance or fb == 0.0:
            return b
        if abs(before) >= tolerance and abs(fa) > abs(fb):
            ratio = fb / fa
            if a == c:
                p, q = 2.0 * middle * ratio, 1.0 - ratio
            else:
                u, v = fa / fc, fb / fc
                p = ratio * (2.0 * middle * u * (u - v) - (b - a) * (v - 1.0))
                q = (u - 1.0) * (v - 1.0) * (ratio - 1.0)
            if p > 0.0:
                q = -q
            else:
                p = -p
            if 2.0 * p < min(3.0 * middle * q - abs(tolerance * q), abs(before * q)):
                before, step = step, p / q
            else:
                before = step = middle
        else:
            before = step = middle
        a, fa = b, fb
        # a step below the tolerance is widened to it, so that the far end of the bracket follows
        b += step if abs(step) > tolerance else (tolerance if middle > 0.0 else -tolerance)
        fb = f(b)
    return b


def rising_root(
    f: Function, low: float, high: float, tolerance: float, guess: float | None = None, width: float = 1.0
) -> Root:
    """Root of a function that rises from ``low`` to ``high``.

    guess, width: where to look first (a warm start); the bracket grows from there, four times wider each time, until
    the sign changes or an end is reached. Without a guess both ends are asked.
    """
    if high <= low:
        return Root(low, -1)
    if guess is None:
        fa = f(low)
        if fa >= 0.0:
            return Root(low, -1 if fa > 0.0 else 0)
        fb = f(high)
        if fb <= 0.0:
            return Root(high, 1 if fb < 0.0 else 0)
        return Root(brent(f, low, high, fa, fb, tolerance), 0)
    x = min(max(guess, low), high)
    fx = f(x)
    if fx == 0.0:
        return Root(x, 0)
    step = width
    while True:
        y = max(x - step, low) if fx > 0.0 else min(x + step, high)
        if y == x:
            return Root(x, -1 if fx > 0.0 else 1)
        fy = f(y)
        if (fx > 0.0) != (fy > 0.0):
            return Root(brent(f, x, y, fx, fy, tolerance), 0)
        x, fx, step = y, fy, 4.0 * step
