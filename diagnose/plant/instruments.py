"""Layer 6, the instruments: reading = quantise(true (1 + gain) + offset + noise), and the ways they lie.

Noise is drawn from the seed and the name of the reading, so one reading does not change when another is added. A clamp on a pipe
reads a little toward the air. Every reading keeps the true value beside it: for the examiner, never for the trainee.
Accuracies are those of the instrument cards or better; a test compares them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import blake2b

from diagnose.plant.health import InstrumentHealth, Lie

PSI = 6894.757
F = 5.0 / 9.0
CLAMP_TOWARD_AIR = 0.01  # insulated probe on a refrigerant line; bare or loose 0.1 to 0.25 (assumption)

Value = float | tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Taken:
    """One reading. true, shown: SI, a tuple for three phases; instrument: kind of instrument."""

    quantity: str
    place: str
    true: Value
    shown: Value
    instrument: str


@dataclass(frozen=True, slots=True)
class Instrument:
    """accuracy: +/- in SI, or a share of the reading; quantum: smallest step shown; least, most: ends of its scale."""

    name: str
    accuracy: float
    quantum: float
    share: bool = False
    least: float = -math.inf
    most: float = math.inf


_GAUGE = Instrument("fluid-gauge", 1.0 * PSI, 0.5 * PSI, least=-14.5 * PSI)
_DIFFERENCE = Instrument("differential-gauge", 0.3 * PSI, 0.1 * PSI)
_SUCTION = Instrument("suction-gauge", 1.5 * PSI, 0.5 * PSI, least=-14.5 * PSI)
_HEAD = Instrument("head-gauge", 3.0 * PSI, 1.0 * PSI, least=-14.5 * PSI)
_CLAMP = Instrument("pipe-clamp", 1.2 * F, 0.1 * F, most=470.0)
_FLUID = Instrument("fluid-thermometer", 0.6 * F, 0.1 * F)
_AIR = Instrument("air-thermometer", 1.0 * F, 0.5 * F)
_VOLT = Instrument("voltmeter", 0.001, 0.1, True)
_AMP = Instrument("ammeter", 0.010, 0.1, True)

KINDS: dict[str, Instrument] = {
    **dict.fromkeys(("pump_suction", "pump_discharge", "evaporator_in", "evaporator_out"), _GAUGE),
    **dict.fromkeys(("strainer_in", "strainer_out", "expansion_tank", "fill_pressure"), _GAUGE),
    **dict.fromkeys(("evaporator_drop", "strainer_drop"), _DIFFERENCE),
    "suction_pressure": _SUCTION,
    **dict.fromkeys(("liquid_pressure", "discharge_pressure"), _HEAD),
    **dict.fromkeys(("suction_line", "liquid_line", "discharge_line", "drier_in", "drier_out"), _CLAMP),
    **dict.fromkeys(("entering_fluid", "leaving_fluid"), _FLUID),
    **dict.fromkeys(("entering_air", "leaving_air", "weather_air"), _AIR),
    "flow": Instrument("flow-meter", 0.03, 6.3e-6, True),
    **dict.fromkeys(("line_voltage", "board_voltage", "load_voltage", "control_voltage"), _VOLT),
    **dict.fromkeys(("line_current", "fan_current"), _AMP),
    **dict.fromkeys(("frequency", "drive_frequency"), Instrument("frequency-meter", 0.1, 0.1, least=0.0)),
    **dict.fromkeys(("overload_setting", "motor_plate_current"), Instrument("dial-and-plate", 0.01, 0.1, True)),
    "glycol_percent": Instrument("refractometer", 1.0, 1.0, least=0.0, most=99.0),
    "sump": Instrument("sump-thermometer", 2.0 * F, 1.0 * F, most=400.0),
    "set_point": Instrument("set-point-display", 0.0, 0.1 * F),
    "valve_opening": Instrument("display", 0.0, 1.0),
    "winding_resistance": Instrument("ohmmeter", 0.01, 0.001, True),
    "machine_load": Instrument("display", 0.0, 1.0),
    "time_running": Instrument("clock", 0.0, 1.0),
    "time_to_trip": Instrument("clock", 0.0, 1.0),
    "loop_volume": Instrument("estimate", 0.05, 0.0, True),
}

CLAMPED = ("suction_line", "liquid_line", "discharge_line", "drier_in", "drier_out")


def _quantise(value: float, quantum: float) -> float:
    return round(value / quantum) * quantum if quantum > 0.0 else value


def _shown(true: float, instrument: Instrument, lie: Lie | None, air_k: float, clamped: bool, noise: float) -> float:
    value = true
    if clamped:
        value += CLAMP_TOWARD_AIR * (air_k - value)
    if lie is not None:
        if lie.stuck is not None:
            return _quantise(lie.stuck, instrument.quantum)
        value += lie.toward_air * (air_k - value)
        value = value * lie.gain + lie.offset
    value = min(max(value, instrument.least), instrument.most)
    size = instrument.accuracy * (abs(value) if instrument.share else 1.0)
    return max(_quantise(value + noise * size, instrument.quantum), instrument.least)


def _draws(name: str) -> Iterator[float]:
    """Numbers from -1 to 1 that belong to a name: the same on every machine and in every order of reading."""
    digest = blake2b(name.encode(), digest_size=48).digest()
    for n in range(0, 48, 4):
        yield int.from_bytes(digest[n : n + 4], "big") / 2147483647.5 - 1.0


def take(
    quantity: str, place: str, true: Value, health: InstrumentHealth, seed: int, air_k: float, unrest: float = 0.0
) -> Taken:
    """Read one true value. unrest: extra noise as a share of the value (air in the pump, a hunting generator)."""
    instrument = KINDS[quantity]
    lie = next((x for x in health.lies if x.quantity == quantity and (not x.place or x.place == place)), None)
    # a fixed error of the instrument, uniform within its accuracy, and the unrest of the moment
    draw = _draws(f"{seed}:{quantity}:{place}")
    values = true if isinstance(true, tuple) else (true,)
    shown = []
    for value in values:
        noise = next(draw)
        value += unrest * (next(draw) + next(draw) + next(draw)) * abs(value)  # three uniforms: variance 1
        shown.append(_shown(value, instrument, lie, air_k, quantity in CLAMPED, noise))
    if isinstance(true, tuple):
        return Taken(quantity, place, true, tuple(shown), instrument.name)
    return Taken(quantity, place, true, shown[0], instrument.name)
