"""Line and point charts as SVG text: still pictures for documents, reports and desks, read without colour, nothing fetched.

Every chart carries a title element that says in words what it shows; whoever draws one gives the words.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

INK, GRID, PAPER = "#111111", "#c4c4c4", "#ffffff"
# colour, dash: told apart in print and by any eye by the dash alone
STYLES = (("#0b4f9e", ""), ("#8a3800", "9 4"), ("#14602f", "3 3"), ("#5a2a82", "12 3 3 3"), ("#333333", "1 3"))
LEFT, RIGHT, TOP = 62.0, 14.0, 16.0
BAR = 0.6  # of the distance between two ticks
SAME_LEVEL = 0.05  # of the height
FAR_RIGHT = 0.7  # of the width


@dataclass(frozen=True)
class Axis:
    """label: quantity with its unit. low, high: ends (low < high; above 0 where log). ticks: marked values, () = chosen.

    names: what is written at the ticks instead of their values.
    """

    label: str
    low: float
    high: float
    log: bool = False
    ticks: tuple[float, ...] = ()
    names: tuple[str, ...] = ()

    def written(self) -> list[tuple[float, str]]:
        """Ticks with what stands beside them."""
        ticks = self.marked()
        return list(zip(ticks, self.names or [f"{t:g}" for t in ticks], strict=True))

    def share(self, value: float) -> float:
        """Where ``value`` stands between the ends, 0 to 1; beyond them it stays at the end."""
        low, high, at = self.low, self.high, min(max(value, self.low), self.high)
        if self.log:
            low, high, at = math.log(low), math.log(high), math.log(at)
        return (at - low) / (high - low)

    def marked(self) -> tuple[float, ...]:
        """Ticks as given, or about five round ones."""
        if self.ticks:
            return self.ticks
        if self.log:
            first, last = math.ceil(math.log10(self.low)), math.floor(math.log10(self.high))
            return tuple(10.0**n for n in range(first, last + 1)) or (self.low, self.high)
        raw = (self.high - self.low) / 5.0
        size = 10.0 ** math.floor(math.log10(raw))
        step = next(m * size for m in (1.0, 2.0, 2.5, 5.0, 10.0) if m * size >= raw * 0.999)
        first = math.ceil(self.low / step - 1e-9)
        return tuple(n * step for n in range(first, math.floor(self.high / step + 1e-9) + 1))


def beside(axis: Axis, value: float) -> Literal["start", "end"]:
    """Which end of a note stands at its point, so that it stays on the page."""
    return "end" if axis.share(value) > FAR_RIGHT else "start"


@dataclass(frozen=True)
class Series:
    """points: (x, y) in the units of the axes; a None y breaks the line. shape: joined, joined with marks, marks, stairs, bars."""

    name: str
    points: tuple[tuple[float, float | None], ...]
    shape: Literal["line", "marked", "points", "stairs", "bars"] = "line"
    style: int | None = None


def chart(
    words: str,
    x: Axis,
    y: Axis,
    series: Sequence[Series],
    *,
    limits: Sequence[tuple[str, float]] = (),
    notes: Sequence[tuple[float, float, str]] = (),
    wide: float = 640.0,
    high: float = 360.0,
) -> str:
    """One SVG element. words: what it shows. limits: (name, y) level lines. notes: (x, y, text) beside a point."""
    bottom = 46.0 + 20.0 * max(0.5, sum(1 for s in series if s.name))
    width, height = wide - LEFT - RIGHT, high - TOP - bottom

    def at(px: float, py: float) -> tuple[float, float]:
        return LEFT + width * x.share(px), TOP + height * (1.0 - y.share(py))

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:g}" width="100%" role="img" '
        f'font-family="sans-serif" font-size="13" fill="{INK}"><title>{escape(words)}</title>'
        f'<rect width="{wide:g}" height="{high:g}" fill="{PAPER}"/>'
    ]
    for tick, text in y.written():
        _, level = at(x.low, tick)
        parts.append(f'<line x1="{LEFT:g}" y1="{level:.1f}" x2="{wide - RIGHT:g}" y2="{level:.1f}" stroke="{GRID}"/>')
        parts.append(f'<text x="{LEFT - 6:g}" y="{level + 4:.1f}" text-anchor="end">{escape(text)}</text>')
    for tick, text in x.written():
        across, _ = at(tick, y.low)
        parts.append(
            f'<line x1="{across:.1f}" y1="{TOP + height:g}" x2="{across:.1f}" y2="{TOP + height + 5:g}" stroke="{INK}"/>'
        )
        parts.append(f'<text x="{across:.1f}" y="{TOP + height + 18:g}" text-anchor="middle">{escape(text)}</text>')
    parts.append(
        f'<text x="{LEFT + width / 2:g}" y="{TOP + height + 34:g}" text-anchor="middle">{escape(x.label)}</text>'
    )
    middle = TOP + height / 2
    parts.append(
        f'<text x="14" y="{middle:g}" text-anchor="middle" transform="rotate(-90 14 {middle:g})">{escape(y.label)}</text>'
    )
    for name, level in _merged(limits, y):
        _, row = at(x.low, level)
        parts.append(
            f'<line x1="{LEFT:g}" y1="{row:.1f}" x2="{wide - RIGHT:g}" y2="{row:.1f}" stroke="{INK}" stroke-width="1.5"/>'
        )
        parts.append(f'<text x="{wide - RIGHT - 4:g}" y="{row - 5:.1f}" text-anchor="end">{escape(name)}</text>')
    named = 0
    for number, one in enumerate(series):
        colour, dash = STYLES[(number if one.style is None else one.style) % len(STYLES)]
        parts += _drawn(one, at, colour, dash)
        if one.name:
            line = high - bottom + 58.0 + 20.0 * named
            mark = (
                f'<circle cx="{LEFT + 14:g}" cy="{line - 4:g}" r="5" fill="{colour}"/>'
                if one.shape == "points"
                else f'<line x1="{LEFT:g}" y1="{line - 4:g}" x2="{LEFT + 28:g}" y2="{line - 4:g}" stroke="{colour}" '
                f'stroke-width="3" stroke-dasharray="{dash}"/>'
            )
            parts.append(f'{mark}<text x="{LEFT + 34:g}" y="{line:g}">{escape(one.name)}</text>')
            named += 1
    for px, py, text in notes:
        across, level = at(px, py)
        anchor = beside(x, px)
        parts.append(
            f'<text x="{across + (-7 if anchor == "end" else 7):.1f}" y="{level - 7:.1f}" text-anchor="{anchor}">{escape(text)}</text>'
        )
    return "".join([*parts, "</svg>"])


def _merged(limits: Sequence[tuple[str, float]], y: Axis) -> list[tuple[str, float]]:
    """Level lines that would lie on each other under one name."""
    out: list[tuple[str, float]] = []
    for name, level in limits:
        near = next((n for n, (_, other) in enumerate(out) if abs(y.share(level) - y.share(other)) < SAME_LEVEL), None)
        if near is None:
            out.append((name, level))
        else:
            out[near] = (f"{out[near][0]}, {name}", out[near][1])
    return out


def _drawn(one: Series, at: Callable[[float, float], tuple[float, float]], colour: str, dash: str) -> list[str]:
    out: list[str] = []
    run: list[tuple[float, float]] = []
    runs = [run]
    for px, py in one.points:
        if py is None:
            run = []
            runs.append(run)
            continue
        here = at(px, py)
        if one.shape == "stairs" and run:
            run.append((here[0], run[-1][1]))
        run.append(here)
    if one.shape == "bars":
        half = BAR / 2
        for px, py in one.points:
            if py is not None:
                (x0, y0), (x1, y1) = at(px - half, py), at(px + half, 0.0)
                out.append(
                    f'<rect x="{x0:.1f}" y="{y0:.1f}" width="{x1 - x0:.1f}" height="{y1 - y0:.1f}" fill="{colour}"/>'
                )
        return out
    for run in runs:
        if len(run) > 1 and one.shape != "points":
            line = " ".join(f"{a:.1f},{b:.1f}" for a, b in run)
            out.append(
                f'<polyline points="{line}" fill="none" stroke="{colour}" stroke-width="3" stroke-dasharray="{dash}"/>'
            )
        if one.shape in ("points", "marked") or len(run) == 1:
            out += [f'<circle cx="{a:.1f}" cy="{b:.1f}" r="5" fill="{colour}" stroke="{PAPER}"/>' for a, b in run]
    return out
