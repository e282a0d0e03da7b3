"""Three-phase supply and motors: unbalance, derating, lost phase, power, generator step, circuit sizes,
line drop.

Volts line to line [V], amps [A], power [W], percent [%]. Readings at live terminals are work for a qualified
electrical person; the nameplate and the local code always win over a number from here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from diagnose.calculators.limits import require_finite, require_positive, require_within
from diagnose.properties.tables import linear
from shared.errors import CalculatorError

SQRT3 = math.sqrt(3.0)


def _three(values: Sequence[float], what: str) -> tuple[float, float, float]:
    if len(values) != 3:
        raise CalculatorError(f"{what} needs three phases", given=f"{len(values)} values", allowed="three, as L1,L2,L3")
    for value in values:
        require_finite(**{what: value})
        if value < 0.0:
            raise CalculatorError(f"{what} below zero", given=f"{value:g}", allowed="zero or above")
    return values[0], values[1], values[2]


def unbalance_pct(values: Sequence[float]) -> float:
    """Unbalance [%]: 100 x the LARGEST deviation from the mean, either side, over the mean.

    Three line-to-line voltages (or three line currents), loaded, at the terminals. Not the maximum minus
    the mean (blind to one low leg), not the spread, and the mean is not rounded. Source: NEMA MG 1, part
    14.36. Check value: 462, 468, 450 V: 2.17 % (start-up manual).

    >>> round(unbalance_pct((462.0, 468.0, 450.0)), 2)
    2.17
    """
    phases = _three(values, "unbalance")
    mean = math.fsum(phases) / 3.0
    if mean <= 0.0:
        raise CalculatorError(
            "all three phases read zero",
            given=", ".join(f"{v:g}" for v in phases),
            allowed="a mean above zero",
            do="nothing to compare: is the supply on?",
        )
    return 100.0 * max(abs(v - mean) for v in phases) / mean


def negative_sequence_pct(line_voltages: Sequence[float]) -> float:
    """Negative over positive sequence voltage [%] from three line-to-line voltages (no zero sequence there).

    The true measure of heating; NEMA's percent can differ by 15 %. Source: closed form of the closed voltage
    triangle, b = sum V^4/(sum V^2)^2, sqrt((1 - sqrt(3 - 6 b))/(1 + sqrt(3 - 6 b))) (IEC 61000-4-30 gives
    the same). Raises CalculatorError when the three cannot form a triangle.
    """
    a, b, c = _three(line_voltages, "voltage")
    if 2.0 * max(a, b, c) > a + b + c + 1e-9 * max(a, b, c) or a + b + c == 0.0:
        raise CalculatorError(
            "three line-to-line voltages that cannot belong together",
            given=f"{a:g}, {b:g}, {c:g} V",
            allowed="the largest at most the sum of the others",
            do="measure again, line to line",
        )
    beta = (a**4 + b**4 + c**4) / (a**2 + b**2 + c**2) ** 2
    root = math.sqrt(max(0.0, 3.0 - 6.0 * beta))
    return 100.0 * math.sqrt(max(0.0, 1.0 - root) / (1.0 + root))


_DERATING = ((0.0, 1.0, 2.0, 3.0, 4.0, 5.0), (1.0, 1.0, 0.95, 0.89, 0.82, 0.76))


def derating_factor(unbalance_percent: float) -> float:
    """Share of rated load an OPEN motor may carry at a voltage unbalance [%] of 0 to 5.

    Above 5 % NEMA recommends not to run: CalculatorError. Hermetic compressors have no such allowance: 2 %
    at the compressor, off above it (start-up manuals). Source: NEMA MG 1, figure 14-1; read as 1 % 1.00, 2
    % 0.95, 3 % 0.89, 4 % 0.82, 5 % 0.76, straight between.

    >>> derating_factor(3.0)
    0.89
    """
    require_within("voltage unbalance for running a motor", unbalance_percent, 0.0, 5.0, "%")
    return linear(_DERATING[0], _DERATING[1], unbalance_percent)


def extra_temperature_rise_pct(unbalance_percent: float) -> float:
    """Extra winding temperature rise [%], about 2 u^2. Source: NEMA MG 1 commentary, common practice."""
    require_within("voltage unbalance", unbalance_percent, 0.0, 20.0, "%")
    return 2.0 * unbalance_percent**2


def deviation_pct(actual: float, rated: float) -> float:
    """Deviation [%] of a value from its rating, sign kept.

    Voltage +/-10 %, frequency +/-5 %, sum of the absolutes up to 10 % (NEMA MG 1-2011, condensed).

    >>> round(deviation_pct(414.0, 460.0), 6)
    -10.0
    """
    require_finite(actual=actual)
    require_positive(rated=rated)
    return 100.0 * (actual - rated) / rated


def lowest_leg_pct(currents: Sequence[float]) -> float:
    """Lowest line current over the mean of the other two [%]: near 0 = that line carries nothing."""
    low, *others = sorted(_three(currents, "current"))
    mean = math.fsum(others) / 2.0
    if mean <= 0.0:
        raise CalculatorError("no current in any line", allowed="a motor that is running")
    return 100.0 * low / mean


SINGLE_PHASE_RUNNING = (1.5, 2.1)
"""Running current of the two live lines over balanced current; 1.5 to 1.75 in manuals, up to 2.1 at
constant torque.
"""


def single_phase_current_a(balanced_a: float) -> float:
    """Current [A] of the two live lines when a running motor loses one phase: sqrt 3 x the balanced current.

    Holds at equal power and power factor; real motors 1.5 to 2.1. Source: P = sqrt3 V I pf against P = V I
    pf. A drive's input fault leaves motor amps balanced, and a back-fed open phase can show over 92 %
    voltage.

    >>> round(single_phase_current_a(10.0), 1)
    17.3
    """
    require_positive(balanced_a=balanced_a)
    return SQRT3 * balanced_a


def single_phase_locked_rotor_a(locked_rotor_a: float) -> float:
    """Current [A] of two lines at standstill with one phase lost: 0.866 x locked rotor current. It does not
    start.

    Source: line voltage over two phase impedances in series, (V/2Z)/(V/sqrt3 Z) = sqrt3/2.
    """
    require_positive(locked_rotor_a=locked_rotor_a)
    return SQRT3 / 2.0 * locked_rotor_a


def three_phase_power_w(voltage_v: float, current_a: float, power_factor: float) -> float:
    """Real power [W]: sqrt3 V I pf, from the means of the three lines.

    power_factor 0.05 to 1. Check value: 208 V, 29.22 A, pf 0.95 is 10 kW (test suite of the `fluids`
    library).

    >>> round(three_phase_power_w(208.0, 29.22, 0.95) / 1e3, 2)
    10.0
    """
    require_within("power factor", power_factor, 0.05, 1.0, "")
    return three_phase_apparent_va(voltage_v, current_a) * power_factor


def three_phase_apparent_va(voltage_v: float, current_a: float) -> float:
    """Apparent power [VA]: sqrt3 V I."""
    require_within("voltage", voltage_v, 0.0, 1000.0, "V")
    require_within("current", current_a, 0.0, 5000.0, "A")
    return SQRT3 * voltage_v * current_a


def start_step_va(voltage_v: float, locked_rotor_a: float) -> float:
    """Step of apparent power [VA] a motor puts on the supply when it starts across the line: sqrt3 V LRA.

    Take the LARGEST step: the last compressor starts on top of those running. Source: definition.
    """
    require_positive(voltage_v=voltage_v, locked_rotor_a=locked_rotor_a)
    return three_phase_apparent_va(voltage_v, locked_rotor_a)


def generator_dip_pct(start_va: float, generator_va: float, reactance: float = 0.2) -> float:
    """Voltage dip [%] of a generator on a motor start: x s/(1 + x s), s = start over generator rating.

    reactance: per unit transient reactance X'd, 0.15 to 0.25 typical (0.05 to 0.5 allowed); the
    sub-transient one gives the instant value. Purely reactive start current, no load before: the dip is an
    estimate, sd about a fifth. Check values: s = 1, 13 to 20 %; s = 2, 23 to 33 % over x 0.15 to 0.25
    (worked from the same circuit). ISO 8528-5 class G2 allows -20 %; more than 30 % can drop out starters.

    >>> round(generator_dip_pct(100e3, 100e3, 0.25), 1)
    20.0
    """
    require_positive(start_va=start_va, generator_va=generator_va)
    require_within("generator reactance", reactance, 0.05, 0.5, "per unit")
    step = reactance * start_va / generator_va
    return 100.0 * step / (1.0 + step)


STANDARD_DEVICES_A = (
    15,
    20,
    25,
    30,
    35,
    40,
    45,
    50,
    60,
    70,
    80,
    90,
    100,
    110,
    125,
    150,
    175,
    200,
    225,
    250,
    300,
    350,
    400,
    450,
    500,
    600,
    700,
    800,
    1000,
    1200,
    1600,
    2000,
    2500,
    3000,
    4000,
    5000,
    6000,
)
"""Standard ratings of fuses and fixed-trip breakers [A]. Source: NEC 240.6(A)."""


def _loads(largest_a: float, others_a: Sequence[float]) -> float:
    require_positive(largest_a=largest_a)
    for other in others_a:
        require_within("other load", other, 0.0, 5000.0, "A")
        if other > largest_a:
            raise CalculatorError(
                "an other load is larger than the largest motor",
                given=f"{other:g} A over {largest_a:g} A",
                allowed="the largest motor first",
            )
    return math.fsum(others_a)


def minimum_circuit_ampacity_a(largest_a: float, others_a: Sequence[float]) -> float:
    """MCA [A]: 1.25 x the LARGEST motor + all others at 1.0 (not 1.25 on every motor).

    largest_a: rated-load current; others_a: the rest, each one (a second equal compressor belongs here).
    Source: NEC 440.33. The machine's nameplate always wins.

    >>> minimum_circuit_ampacity_a(20.0, (2.5,))
    27.5
    """
    return 1.25 * largest_a + _loads(largest_a, others_a)


def standard_device_down_a(limit_a: float) -> int:
    """Largest standard device not above ``limit_a``; 15 A at least (NEC 240.6(A))."""
    require_within("protection limit", limit_a, 0.0, float(STANDARD_DEVICES_A[-1]), "A")
    return max((s for s in STANDARD_DEVICES_A if s <= limit_a), default=STANDARD_DEVICES_A[0])


def maximum_overcurrent_a(largest_a: float, others_a: Sequence[float], factor: float = 2.25) -> int:
    """MOCP [A]: factor x largest + others, DOWN to a standard size, but never below the MCA (then one size
    up).

    factor 1.75, or up to 2.25 where the motor does not start on it. Source: NEC 440.22.
    Check value: 20 A + 2.5 A at 225 %: 47.5, so 45 A (worked example in a code text).

    >>> maximum_overcurrent_a(20.0, (2.5,))
    45
    """
    require_within("protection factor", factor, 1.0, 2.25, "")
    size = standard_device_down_a(factor * largest_a + _loads(largest_a, others_a))
    needed = minimum_circuit_ampacity_a(largest_a, others_a)
    return size if size >= needed else min(s for s in STANDARD_DEVICES_A if s >= needed)


RESISTIVITY = {"copper": 12.9 * 5.067075e-10 / 0.3048, "aluminium": 21.2 * 5.067075e-10 / 0.3048}
"""Ohm metre at 75 C; K = 12.9 and 21.2 ohm circular mil per foot (NEC chapter 9, table 8 resistances)."""


def line_drop_v(current_a: float, length_m: float, area_m2: float, conductor: str = "copper") -> float:
    """Line-to-line voltage drop [V] of a three-phase run: sqrt3 I L rho/A (sqrt3 I L K/CM).

    length_m: one way; resistance only, so large cables at low power factor drop more. Advice, not code: 3 %
    branch, 5 % total. Source: Ohm's law, K at 75 C.

    >>> round(line_drop_v(100.0, 100.0, 35e-6), 1)
    10.6
    """
    require_within("current", current_a, 0.0, 5000.0, "A")
    require_positive(length_m=length_m, area_m2=area_m2)
    if conductor not in RESISTIVITY:
        raise CalculatorError("unknown conductor", given=conductor, allowed=", ".join(RESISTIVITY))
    return SQRT3 * current_a * length_m * RESISTIVITY[conductor] / area_m2
