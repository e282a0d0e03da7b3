"""Layer 3, the three-phase supply: what the board, the unit's terminals and each motor see, and what the motors draw.

Source behind a small resistance, feeder with a resistance in each leg, branches behind contactors. Voltages are phasors of three
legs to neutral; line voltages close the triangle, so there is no zero sequence. A generator's frequency droops with load, its voltage
follows below 95 % of its frequency, and the start of a motor dips it by x s/(1 + x s), s = start kVA over its own (X'd; ISO 8528-5 G2
allows -20 %). With one leg open running motors feed the dead terminal back: it reads near normal.

Load currents are taken as balanced at one power factor for the drop along the feeder; the unbalance of the motors themselves comes
from symmetrical components afterwards (one pass: the drop is a few percent, its unbalance a few percent of that).
"""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

from diagnose.calculators.electrical import generator_dip_pct
from diagnose.plant import motor
from diagnose.plant.health import Branch, SupplyHealth
from diagnose.plant.motor import A, MotorState
from diagnose.plant.parameters import MotorPlate, SupplyParameters

LOAD_PF = 0.85
BACK_FED = 0.92  # voltage a running motor holds on an open leg, over normal
GHOST = 0.03  # what a meter shows on an open leg with nothing running
ROLL_OFF = 0.95  # below this frequency ratio a generator's voltage falls with its frequency
STIFF = 2.0  # rating of the transformer behind a site's utility board over a generator for this unit: assumption


@dataclass(frozen=True, slots=True)
class SupplyState:
    """Phasors to neutral at board and unit [V], frequency [Hz], whether anything is there, the leg without contact (-1: none),
    swing: share by which the voltage wanders.
    """

    board: tuple[complex, complex, complex]
    unit: tuple[complex, complex, complex]
    hertz: float
    alive: bool
    open_leg: int
    reversed: bool
    swing: float

    def unit_volts(self) -> tuple[float, float, float]:
        """L1-L2, L2-L3, L3-L1 at the unit."""
        return line_volts(self.unit)

    def board_volts(self) -> tuple[float, float, float]:
        """L1-L2, L2-L3, L3-L1 at the board."""
        return line_volts(self.board)


def line_volts(legs: tuple[complex, complex, complex]) -> tuple[float, float, float]:
    """Line-to-line magnitudes of three phasors to neutral."""
    a, b, c = legs
    return abs(a - b), abs(b - c), abs(c - a)


def sequences(legs: tuple[complex, complex, complex]) -> tuple[complex, complex]:
    """Positive and negative sequence of three phasors; the zero sequence drops out."""
    a, b, c = legs
    return (a + A * b + A * A * c) / 3.0, (a + A * A * b + A * c) / 3.0


def negative_share(legs: tuple[complex, complex, complex]) -> float:
    """|V2|/|V1|: the true measure of unbalance."""
    first, second = sequences(legs)
    low, high = sorted((abs(first), abs(second)))
    return low / high if high > 0.0 else 0.0


def _open(legs: list[complex], leg: int, running: bool) -> None:
    """The leg's terminal after contact is lost: fed back by running motors, or floating under the meter."""
    others = [legs[i] for i in range(3) if i != leg]
    middle = 0.5 * (others[0] + others[1])
    own = legs[leg] - middle
    legs[leg] = middle + own * BACK_FED if running else others[0] + GHOST * (middle - others[0])


def solve_supply(
    p: SupplyParameters,
    h: SupplyHealth,
    load_va: float,
    running: bool,
    volts: float | None = None,
    hertz: float | None = None,
    other_va: float = 0.0,
) -> SupplyState:
    """State of the supply with a load [VA]. volts, hertz: of the source when not the plate's; running: motors turn."""
    nominal = volts if volts is not None else p.volts
    f = (hertz if hertz is not None else p.hertz) * h.hertz
    level = h.volts
    rating = p.generator_va * h.generator
    if p.source == "generator":
        share = (load_va + other_va) / rating
        f *= 1.0 - p.droop * min(share, 2.0)
        if share > 1.0:
            f *= max(1.0 - 0.25 * (share - 1.0), 0.6)
            level *= max(1.0 - 0.3 * (share - 1.0), 0.5)
        ratio = f / (hertz if hertz is not None else p.hertz)
        if ratio < ROLL_OFF:
            level *= ratio / ROLL_OFF
    if h.dead:
        zero = (0j, 0j, 0j)
        dead = zero if h.dead != "unit" else _legs(nominal * level, h)
        return SupplyState(dead, zero, 0.0 if h.dead != "unit" else f, False, -1, False, 0.0)
    legs = list(_legs(nominal * level, h))
    current = load_va / (math.sqrt(3.0) * max(nominal * level, 1.0))
    lag = cmath.exp(-1j * math.acos(LOAD_PF))
    pull = [current * lag * leg / abs(leg) for leg in legs]
    board = [leg - p.source_ohm * i for leg, i in zip(legs, pull, strict=True)]
    if h.open_board >= 0:
        _open(board, h.open_board, running)
    ohm = [p.feeder_ohm * h.feeder + (h.lug_ohm if n == h.lug_leg else 0.0) for n in range(3)]
    unit = [leg - r * i for leg, r, i in zip(board, ohm, pull, strict=True)]
    if h.open_unit >= 0:
        _open(unit, h.open_unit, running)
    if h.reversed:
        unit[0], unit[1] = unit[1], unit[0]
        board[0], board[1] = board[1], board[0]
    lost = h.open_board if h.open_board >= 0 else h.open_unit
    return SupplyState((board[0], board[1], board[2]), (unit[0], unit[1], unit[2]), f, True, lost, h.reversed, h.swing)


def _legs(volts: float, h: SupplyHealth) -> tuple[complex, complex, complex]:
    size = [volts / math.sqrt(3.0)] * 3
    size[h.leg] *= 1.0 - h.leg_low
    return size[0] + 0j, size[1] * A * A, size[2] * A


def run_motor(
    p: SupplyParameters, state: SupplyState, plate: MotorPlate, branch: Branch, shaft_w: float, standing: bool = False
) -> MotorState:
    """What a motor draws for a shaft power [W]; standing: fed but held. Currents over the duty current of its plate.

    Torque, not power, is what pumps and scrolls ask for: it goes with shaft power over frequency.
    """
    if not state.alive or branch.dead:
        return motor.OFF
    hertz = max(state.hertz / p.hertz, 0.3)
    torque = branch.drag * shaft_w / plate.shaft_w / hertz
    legs: list[complex] = list(state.unit)
    base = p.volts / math.sqrt(3.0)
    if state.open_leg >= 0 or branch.open_phase >= 0:
        leg = branch.open_phase if branch.open_phase >= 0 else state.open_leg
        others = [legs[i] for i in range(3) if i != leg]
        line = abs(others[0] - others[1]) / p.volts
        if standing or branch.locked:
            return motor.run_on_two(line, hertz, 1e3, leg)
        return motor.run_on_two(line, hertz, torque, leg)
    if branch.ohm > 0.0:
        drawn = plate.duty_a * min(torque, 1.5)
        legs[branch.ohm_phase] *= max(1.0 - branch.ohm * drawn / base, 0.5)
    for n in range(3):
        legs[n] *= max(1.0 - branch.lead_ohm * plate.duty_a * min(torque, 1.5) / base, 0.5)
    first, second = sequences((legs[0], legs[1], legs[2]))
    if abs(first) < abs(second):
        first, second = second, first
    first, second = first / base, second / base
    if branch.taps != 1.0:
        first, second = first * branch.taps, second * branch.taps
    if branch.star:
        first, second = first / math.sqrt(3.0), second / math.sqrt(3.0)
    found = motor.locked(first, second, hertz) if standing or branch.locked else motor.run(first, second, hertz, torque)
    scale = branch.taps / (math.sqrt(3.0) if branch.star else 1.0)
    lines = [i * scale for i in found.currents]
    if branch.shorted > 0.0:
        lines[0] *= 1.0 + 1.6 * branch.shorted
        lines[1] *= 1.0 + 0.9 * branch.shorted
    return MotorState((lines[0], lines[1], lines[2]), found.slip, found.loss, found.stalled, found.power_factor)


def load_side_volts(state: SupplyState, branch: Branch, running: bool) -> tuple[float, float, float]:
    """Line volts behind a motor's contactor: a dead pole is fed back by the winding while the motor turns."""
    if branch.dead or not state.alive:
        return 0.0, 0.0, 0.0
    legs: list[complex] = list(state.unit)
    if branch.open_phase >= 0:
        _open(legs, branch.open_phase, running)
    if branch.ohm > 0.0:
        legs[branch.ohm_phase] *= max(1.0 - 0.002 - branch.ohm * 0.05, 0.5)
    return line_volts((legs[0], legs[1], legs[2]))


def start_dip_pct(p: SupplyParameters, h: SupplyHealth, start_va: float) -> float:
    """Voltage dip [%] at the start of the largest motor, other loads starting with it; a utility board is stiffer."""
    step = start_va + h.start_add_va
    if p.source == "generator":
        return generator_dip_pct(step, p.generator_va * h.generator, p.reactance)
    current = start_va / (math.sqrt(3.0) * p.volts)
    feeder = (p.source_ohm + p.feeder_ohm * h.feeder) * current * math.sqrt(3.0) / p.volts
    others = p.reactance * h.start_add_va / (STIFF * p.generator_va)
    return 100.0 * min(0.9, feeder + others / (1.0 + others))


def trip_seconds(over: float, trip_class: float, factor: float = 1.12) -> float | None:
    """Seconds until an overload relay of a class opens at a current over its setting; None: it holds.

    Thermal image with the class time at 7.2 times the setting (IEC 60947-4-1 defines the class there; from memory).
    """
    if over <= factor:
        return None
    tau = trip_class / -math.log(1.0 - (factor / 7.2) ** 2)
    return float(-tau * math.log(1.0 - (factor / over) ** 2))
