"""Three-phase induction motors on a supply that need not be balanced: symmetrical components on one equivalent circuit.

Per unit of rated volts, duty torque and duty current. Slip s for the positive sequence, 2 - s for the negative; deep bars raise the
rotor resistance at the high frequency of the second. Without neutral there is no zero sequence. Line currents Ia = I1 + I2,
Ib = a2 I1 + a I2, Ic = a I1 + a2 I2.

Constants for 10 to 50 hp four-pole motors (R1 0.03-0.05, X1+X2 0.11-0.2, R2 0.02-0.03, Xm 1.8-3, slip 1.5-3 %) are from memory; they
give the published 14-17 % current unbalance at 3 % voltage unbalance and 23-29 % at 5 % (a separate calculation; NEMA MG 1
says 6 to 10 times).
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from functools import cache

from diagnose.plant.roots import brent

R1, R2, X1, X2, XM = 0.035, 0.024, 0.085, 0.085, 2.4
DEEP_BAR = 3.2  # rotor resistance at twice the frequency over that at slip frequency: assumption
DUTY_SLIP = 0.02
A = cmath.exp(2j * math.pi / 3.0)


def _rotor(slip: float) -> float:
    """Rotor resistance: grows with rotor frequency."""
    return R2 * (1.0 + (DEEP_BAR - 1.0) * min(abs(slip), 2.0) / 2.0)


def impedance(slip: float, hertz: float) -> complex:
    """Impedance of one sequence [pu] at a slip and a frequency ratio."""
    rotor = complex(_rotor(slip) / slip, X2 * hertz)
    magnetising = 1j * XM * hertz
    return complex(R1, X1 * hertz) + rotor * magnetising / (rotor + magnetising)


def _torque(v: float, slip: float, hertz: float) -> float:
    """Torque [pu of synchronous power at rated frequency] of one sequence voltage."""
    rotor = complex(_rotor(slip) / slip, X2 * hertz)
    magnetising = 1j * XM * hertz
    stator = v / (complex(R1, X1 * hertz) + rotor * magnetising / (rotor + magnetising))
    through = abs(stator * magnetising / (rotor + magnetising))
    return through * through * _rotor(slip) / slip / hertz


@cache
def duty() -> tuple[float, float, float]:
    """Torque, current and power factor at the duty point in circuit units: the bases of everything else."""
    z = impedance(DUTY_SLIP, 1.0)
    return _torque(1.0, DUTY_SLIP, 1.0), 1.0 / abs(z), math.cos(cmath.phase(z))


@dataclass(frozen=True, slots=True)
class MotorState:
    """currents: three lines over duty current; slip; loss: copper loss over that of the duty point; stalled: cannot turn
    its load; power_factor of the positive sequence.
    """

    currents: tuple[float, float, float]
    slip: float
    loss: float
    stalled: bool
    power_factor: float

    @property
    def most(self) -> float:
        """Largest line current over duty."""
        return max(self.currents)


OFF = MotorState((0.0, 0.0, 0.0), 1.0, 0.0, False, 0.0)


def _state(i1: complex, i2: complex, slip: float, stalled: bool, pf: float) -> MotorState:
    base = duty()[1]
    lines = (abs(i1 + i2) / base, abs(A * A * i1 + A * i2) / base, abs(A * i1 + A * A * i2) / base)
    negative = (R1 + _rotor(2.0 - slip)) / (R1 + _rotor(slip))
    loss = (abs(i1) ** 2 + negative * abs(i2) ** 2) / base**2
    return MotorState(lines, slip, loss, stalled, pf)


def _slip(v1: float, v2: float, hertz: float, torque: float) -> tuple[float, bool]:
    """Slip at which the motor carries a torque (over duty torque); False second when it can."""
    wanted = torque * duty()[0]

    def net(s: float) -> float:
        back = _torque(v2, 2.0 - s, hertz) if v2 > 0.0 else 0.0
        return _torque(v1, s, hertz) - back

    peak = _peak_slip(hertz)
    top = net(peak)
    if top < wanted:
        return 1.0, True
    low = 1e-4
    return brent(lambda s: net(s) - wanted, low, peak, net(low) - wanted, top - wanted, 1e-9), False


def _peak_slip(hertz: float) -> float:
    """Slip of the breakdown torque."""
    return R2 * 1.15 / math.hypot(R1, (X1 + X2) * hertz)


def run(v1: complex, v2: complex, hertz: float, torque: float) -> MotorState:
    """A motor that turns. v1, v2: sequence voltages over rated (positive, negative); torque over duty torque.

    A load beyond the breakdown torque stalls the motor: locked currents.
    """
    slip, stalled = _slip(abs(v1), abs(v2), hertz, torque)
    if stalled:
        return locked(v1, v2, hertz)
    z1 = impedance(slip, hertz)
    i1, i2 = v1 / z1, v2 / impedance(2.0 - slip, hertz)
    return _state(i1, i2, slip, False, math.cos(cmath.phase(z1)))


def locked(v1: complex, v2: complex, hertz: float) -> MotorState:
    """A motor that is fed and stands."""
    z = impedance(1.0, hertz)
    return _state(v1 / z, v2 / z, 1.0, True, math.cos(cmath.phase(z)))


def run_on_two(line: float, hertz: float, torque: float, open_phase: int) -> MotorState:
    """Single phasing of a running motor: I1 = -I2 through Z(s) + Z(2-s) across one line voltage (over rated).

    A torque beyond what is left stalls it: 0.87 of the locked current in two lines.
    """
    wanted = torque * duty()[0]

    def currents(s: float) -> complex:
        return line / (impedance(s, hertz) + impedance(2.0 - s, hertz))

    def net(s: float) -> float:
        i = abs(currents(s))
        return _torque(i * abs(impedance(s, hertz)), s, hertz) - _torque(
            i * abs(impedance(2.0 - s, hertz)), 2.0 - s, hertz
        )

    best = max((0.02 * k for k in range(1, 9)), key=net)
    if net(best) < wanted:
        slip, stalled = 1.0, True
    else:
        slip, stalled = (
            brent(lambda s: net(s) - wanted, 1e-4, best, net(1e-4) - wanted, net(best) - wanted, 1e-9),
            False,
        )
    base = duty()[1]
    through = abs(currents(slip)) * math.sqrt(3.0) / base  # line current of I1 = -I2
    lines = [through, through, through]
    lines[open_phase] = 0.0
    i = abs(currents(slip))
    negative = (R1 + _rotor(2.0 - slip)) / (R1 + _rotor(slip))
    loss = i * i * (1.0 + negative) / base**2
    return MotorState(
        (lines[0], lines[1], lines[2]), slip, loss, stalled, math.cos(cmath.phase(impedance(max(slip, 1e-3), hertz)))
    )
