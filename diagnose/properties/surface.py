"""Fast look-ups on one refrigerant's committed tables, for solving a whole circuit thousands of times.

Idea: everything is asked by DEW temperature (it stands for the pressure) and superheat. On the 2 K grid of the tables each
interval keeps cubic polynomials through its four nearest points, made when first touched; a look-up is then a handful of
multiplications. One pressure level that is asked again and again (the discharge side) is frozen as an `Isobar`.

Valid: dew temperature from -40 C to the end of the table (0.95 of the critical pressure), superheat 0 to 140 K; beyond 140 K
the last interval is extended. Below the dew point (entropy or enthalpy less than the dew value) an isobar answers for the
wet mixture of a pure fluid. Nothing here raises on range: the callers keep inside and say so in their own words.

Enthalpy J/kg, entropy J/(kg K), density kg/m3, temperature K, pressure Pa absolute. Source: CoolProp 8.0.0 tables.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

from diagnose.properties.gas import gas_table
from diagnose.properties.saturation import p_dew_pa, refrigerant_name, saturation_table, t_bubble_k
from diagnose.properties.tables import read_table

Cubic = tuple[float, float, float, float]
Piece = list[Cubic]


class Line(NamedTuple):
    """State of both saturation lines at one pressure, given by its dew temperature."""

    t_dew_k: float
    p_pa: float
    gas_j_per_kg: float
    gas_j_per_kg_k: float
    gas_kg_m3: float
    t_bubble_k: float
    liquid_j_per_kg: float
    liquid_kg_m3: float


def _four(grid: Sequence[float], x: float) -> int:
    return min(max(bisect_right(grid, x) - 2, 0), len(grid) - 4)


def _cubic(x: Sequence[float], y: Sequence[float], origin: float) -> Cubic:
    """Coefficients in (x - origin) of the cubic through four points, from Newton's divided differences."""
    a = [p - origin for p in x]
    d0 = y[0]
    d1 = (y[1] - y[0]) / (a[1] - a[0])
    d12 = (y[2] - y[1]) / (a[2] - a[1])
    d23 = (y[3] - y[2]) / (a[3] - a[2])
    d2 = (d12 - d1) / (a[2] - a[0])
    d3 = ((d23 - d12) / (a[3] - a[1]) - d2) / (a[3] - a[0])
    s01, p01 = a[0] + a[1], a[0] * a[1]
    return (
        d0 - d1 * a[0] + d2 * p01 - d3 * p01 * a[2],
        d1 - d2 * s01 + d3 * (p01 + s01 * a[2]),
        d2 - d3 * (s01 + a[2]),
        d3,
    )


class Isobar:
    """Gas at one pressure: enthalpy from entropy and temperature from enthalpy, both ways on sixteen points."""

    __slots__ = ("line", "_h", "_s", "_t", "_back")

    def __init__(self, line: Line, h: list[float], s: list[float], t: list[float]) -> None:
        self.line, self._h, self._s, self._t = line, h, s, t
        self._back: dict[int, Cubic] = {}

    def enthalpy_at_entropy(self, entropy: float) -> float:
        """Enthalpy [J/kg] of an entropy: dh = T ds, so the curve is a Hermite cubic with the temperatures as slopes."""
        s, h, t = self._s, self._h, self._t
        if entropy <= s[0]:
            return h[0] + t[0] * (entropy - s[0])
        i = min(bisect_right(s, entropy) - 1, len(s) - 2)
        step = s[i + 1] - s[i]
        u = (entropy - s[i]) / step
        v = u - 1.0
        return (
            (1.0 + 2.0 * u) * v * v * h[i]
            + u * v * v * step * t[i]
            + u * u * (3.0 - 2.0 * u) * h[i + 1]
            + u * u * v * step * t[i + 1]
        )

    def temperature(self, enthalpy: float) -> float:
        """Temperature [K] of an enthalpy; the dew temperature when the state is wet."""
        h = self._h
        if enthalpy <= h[0]:
            return self._t[0]
        i = _four(h, enthalpy)
        made = self._back.get(i)
        if made is None:
            made = self._back[i] = _cubic(h[i : i + 4], self._t[i : i + 4], h[i])
        x = enthalpy - h[i]
        return made[0] + x * (made[1] + x * (made[2] + x * made[3]))


class Surface:
    """Look-ups of one refrigerant; make it with `surface(name)`, which keeps one per refrigerant."""

    def __init__(self, refrigerant: str) -> None:
        self.name = refrigerant_name(refrigerant)
        gas, sat, raw = gas_table(self.name), saturation_table(self.name), read_table(self.name.lower())
        self._dew = list(gas.dew_k)
        self._superheat = [float(x) for x in gas.superheat_k]
        self.low_k, self.high_k = self._dew[0], self._dew[-1]
        first = sat.temperature_k.index(self._dew[0])
        density = raw["gas"]["density_kg_m3"]
        liquid_density = raw["liquid_kg_m3"]
        self._liquid_t = list(sat.temperature_k)
        self._liquid_h = list(sat.liquid_j_per_kg)
        self._liquid_d = [float(x) for x in liquid_density]
        p = [p_dew_pa(self.name, t) for t in self._dew]
        bubble = [t_bubble_k(self.name, x) for x in p]
        # rows of the dew line: ln p, gas enthalpy, gas entropy, ln gas density, bubble temperature
        self._rows = [
            [math.log(x) for x in p],
            list(sat.vapour_j_per_kg[first : first + len(p)]),
            [row[0] for row in gas.entropy],
            [math.log(row[0]) for row in density],
            bubble,
        ]
        self._rise = gas.rise_j_per_kg
        self._entropy = gas.entropy
        # p/(rho T) hardly moves over the surface, so it interpolates far better than density
        self._z = [
            [x / (d * (t + sh)) for d, sh in zip(row, self._superheat, strict=True)]
            for x, t, row in zip(p, self._dew, density, strict=True)
        ]
        self._line_cubics: dict[int, list[Cubic]] = {}
        self._liquid_cubics: dict[int, tuple[Cubic, Cubic]] = {}
        self._patches: dict[tuple[int, int], tuple[Piece, ...]] = {}

    def liquid(self, t_k: float) -> tuple[float, float]:
        """Enthalpy [J/kg] and density [kg/m3] of saturated liquid at a temperature; stands for subcooled liquid too."""
        i = _four(self._liquid_t, t_k)
        made = self._liquid_cubics.get(i)
        if made is None:
            x = self._liquid_t[i : i + 4]
            made = self._liquid_cubics[i] = (
                _cubic(x, self._liquid_h[i : i + 4], x[0]),
                _cubic(x, self._liquid_d[i : i + 4], x[0]),
            )
        d = t_k - self._liquid_t[i]
        h, r = made
        return h[0] + d * (h[1] + d * (h[2] + d * h[3])), r[0] + d * (r[1] + d * (r[2] + d * r[3]))

    def liquid_heat_capacity(self, t_k: float) -> float:
        """dh/dT [J/(kg K)] along the saturated liquid."""
        self.liquid(t_k)
        i = _four(self._liquid_t, t_k)
        h = self._liquid_cubics[i][0]
        d = t_k - self._liquid_t[i]
        return h[1] + d * (2.0 * h[2] + d * 3.0 * h[3])

    def line(self, t_dew_k: float) -> Line:
        """Both saturation lines at the pressure of a dew temperature."""
        dew = self._dew
        i = _four(dew, t_dew_k)
        made = self._line_cubics.get(i)
        if made is None:
            made = self._line_cubics[i] = [_cubic(dew[i : i + 4], row[i : i + 4], dew[i]) for row in self._rows]
        d = t_dew_k - dew[i]
        lp, h, s, lr, tb = [c[0] + d * (c[1] + d * (c[2] + d * c[3])) for c in made]
        liquid_h, liquid_d = self.liquid(tb)
        return Line(t_dew_k, math.exp(lp), h, s, math.exp(lr), tb, liquid_h, liquid_d)

    def dew_k(self, p_pa: float) -> float:
        """Dew temperature of a pressure: inverse of `line`, by Newton on ln p; clamped to the table."""
        target = math.log(p_pa)
        low, high = self._rows[0][0], self._rows[0][-1]
        if target <= low:
            return self.low_k
        if target >= high:
            return self.high_k
        i = bisect_right(self._rows[0], target) - 1
        i = min(i, len(self._dew) - 2)
        share = (target - self._rows[0][i]) / (self._rows[0][i + 1] - self._rows[0][i])
        t = self._dew[i] + share * (self._dew[i + 1] - self._dew[i])
        for _ in range(4):
            j = _four(self._dew, t)
            made = self._line_cubics.get(j)
            if made is None:
                self.line(t)
                made = self._line_cubics[j]
            c = made[0]
            d = t - self._dew[j]
            error = c[0] + d * (c[1] + d * (c[2] + d * c[3])) - target
            t -= error / (c[1] + d * (2.0 * c[2] + d * 3.0 * c[3]))
            if abs(error) < 1e-13:
                break
        return t

    def _patch(self, i: int, j: int) -> tuple[Piece, ...]:
        """Bicubic pieces on four dew rows from i and four superheats from j, one per property."""
        dew, sh = self._dew[i : i + 4], self._superheat[j : j + 4]
        pieces = []
        for table in (self._rise, self._entropy, self._z):
            across = [_cubic(sh, table[i + k][j : j + 4], sh[0]) for k in range(4)]
            pieces.append([_cubic(dew, [across[k][n] for k in range(4)], dew[0]) for n in range(4)])
        made = tuple(pieces)
        self._patches[i, j] = made
        return made

    def gas(self, line: Line, superheat_k: float) -> tuple[float, float, float]:
        """Enthalpy, entropy and density of gas at the pressure of ``line`` and a superheat."""
        i, j = _four(self._dew, line.t_dew_k), _four(self._superheat, superheat_k)
        made = self._patches.get((i, j)) or self._patch(i, j)
        x, y = line.t_dew_k - self._dew[i], superheat_k - self._superheat[j]
        values = []
        for piece in made:
            a, b, c, d = (k[0] + x * (k[1] + x * (k[2] + x * k[3])) for k in piece)
            values.append(a + y * (b + y * (c + y * d)))
        rise, entropy, z = values
        if superheat_k <= 0.0:
            return line.gas_j_per_kg, line.gas_j_per_kg_k, line.gas_kg_m3
        return line.gas_j_per_kg + rise, entropy, line.p_pa / (z * (line.t_dew_k + superheat_k))

    def superheat_of(self, line: Line, enthalpy: float) -> float:
        """Superheat [K] of a gas enthalpy at a pressure: inverse of `gas`; 0 when wet."""
        if enthalpy <= line.gas_j_per_kg:
            return 0.0
        low, high = 0.0, 140.0
        sh = min((enthalpy - line.gas_j_per_kg) / 1100.0, 139.0)
        for _ in range(40):
            h = self.gas(line, sh)[0]
            if abs(h - enthalpy) < 1e-4:
                break
            low, high = (sh, high) if h < enthalpy else (low, sh)
            slope = (self.gas(line, sh + 0.01)[0] - h) / 0.01
            new = sh - (h - enthalpy) / slope
            sh = new if low < new < high else 0.5 * (low + high)
        return sh

    def isobar(self, line: Line) -> Isobar:
        """The gas side of one pressure, frozen for repeated use."""
        i = _four(self._dew, line.t_dew_k)
        dew = self._dew
        x = line.t_dew_k
        w = []
        for a in range(4):
            weight = 1.0
            for b in range(4):
                if a != b:
                    weight *= (x - dew[i + b]) / (dew[i + a] - dew[i + b])
            w.append(weight)
        r, e = self._rise[i : i + 4], self._entropy[i : i + 4]
        base = line.gas_j_per_kg
        h = [base + w[0] * a + w[1] * b + w[2] * c + w[3] * d for a, b, c, d in zip(*r, strict=True)]
        s = [w[0] * a + w[1] * b + w[2] * c + w[3] * d for a, b, c, d in zip(*e, strict=True)]
        return Isobar(line, h, s, [x + sh for sh in self._superheat])


@cache
def surface(refrigerant: str) -> Surface:
    """The look-ups of one refrigerant (any spelling), built on first use."""
    return Surface(refrigerant)
