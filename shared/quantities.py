"""Quantity kinds and the fixed list of quantities a reading may name.

A KIND decides which units are allowed: gauge pressure is not absolute pressure, a temperature is not a
temperature difference. Inside the tool every number is in the kind's SI base unit (see ``SI_UNIT``).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What a number is a measure of; decides its units."""

    TEMPERATURE = "temperature"
    TEMPERATURE_DIFFERENCE = "temperature-difference"
    GAUGE_PRESSURE = "gauge-pressure"
    ABSOLUTE_PRESSURE = "absolute-pressure"
    PRESSURE_DIFFERENCE = "pressure-difference"
    FLOW = "flow"
    VOLTAGE = "voltage"
    CURRENT = "current"
    FREQUENCY = "frequency"
    PERCENT = "percent"
    RATIO = "ratio"
    POWER = "power"
    APPARENT_POWER = "apparent-power"
    LENGTH = "length"
    AREA = "area"
    VOLUME = "volume"
    TIME = "time"
    SPEED = "speed"
    DENSITY = "density"
    RESISTANCE = "resistance"
    FLOW_COEFFICIENT = "flow-coefficient"
    RATE = "temperature-rate"
    COUNT = "count"
    CHOICE = "choice"


SI_UNIT: dict[Kind, str] = {
    Kind.TEMPERATURE: "K",
    Kind.TEMPERATURE_DIFFERENCE: "K",
    Kind.GAUGE_PRESSURE: "Pa",
    Kind.ABSOLUTE_PRESSURE: "Pa",
    Kind.PRESSURE_DIFFERENCE: "Pa",
    Kind.FLOW: "m3/s",
    Kind.VOLTAGE: "V",
    Kind.CURRENT: "A",
    Kind.FREQUENCY: "Hz",
    Kind.PERCENT: "%",
    Kind.RATIO: "1",
    Kind.POWER: "W",
    Kind.APPARENT_POWER: "VA",
    Kind.LENGTH: "m",
    Kind.AREA: "m2",
    Kind.VOLUME: "m3",
    Kind.TIME: "s",
    Kind.SPEED: "rpm",
    Kind.DENSITY: "kg/m3",
    Kind.RESISTANCE: "ohm",
    Kind.FLOW_COEFFICIENT: "Kv",
    Kind.RATE: "K/s",
    Kind.COUNT: "1",
    Kind.CHOICE: "",
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """One measurable thing on the machine.

    low, high: limits in SI outside which the value cannot be a reading of this quantity (a slip of the
    pen, a wrong unit). place: the kind of place it belongs to ("any": the place tells what was clamped). phases: three values (L1, L2, L3) allowed.
    """

    name: str
    title: str
    kind: Kind
    place: str
    low: float
    high: float
    phases: bool = False


def _t(low_c: float, high_c: float) -> tuple[float, float]:
    return low_c + 273.15, high_c + 273.15


_BAR = 1e5
_GPM = 6.30902e-5

_ALL = [
    # refrigerant side, per circuit; gauge limits from a deep vacuum to the pressure class of R-410A and R-32
    Quantity("suction_pressure", "suction pressure", Kind.GAUGE_PRESSURE, "circuit", -1.01 * _BAR, 35 * _BAR),
    Quantity("liquid_pressure", "liquid pressure", Kind.GAUGE_PRESSURE, "circuit", -1.01 * _BAR, 60 * _BAR),
    Quantity("discharge_pressure", "discharge pressure", Kind.GAUGE_PRESSURE, "circuit", -1.01 * _BAR, 60 * _BAR),
    Quantity("suction_line", "suction line temperature", Kind.TEMPERATURE, "circuit", *_t(-60, 80)),
    Quantity("liquid_line", "liquid line temperature", Kind.TEMPERATURE, "circuit", *_t(-40, 110)),
    Quantity("discharge_line", "discharge line temperature", Kind.TEMPERATURE, "circuit", *_t(-40, 200)),
    Quantity("drier_in", "liquid line before the drier", Kind.TEMPERATURE, "circuit", *_t(-40, 110)),
    Quantity("drier_out", "liquid line after the drier", Kind.TEMPERATURE, "circuit", *_t(-40, 110)),
    Quantity("entering_air", "air entering the condenser", Kind.TEMPERATURE, "unit", *_t(-50, 75)),
    Quantity("leaving_air", "air leaving the condenser", Kind.TEMPERATURE, "unit", *_t(-50, 100)),
    Quantity("weather_air", "outdoor air away from the unit", Kind.TEMPERATURE, "unit", *_t(-50, 60)),
    Quantity("sump", "compressor sump temperature", Kind.TEMPERATURE, "compressor", *_t(-50, 130)),
    # fluid side
    Quantity("entering_fluid", "entering fluid temperature", Kind.TEMPERATURE, "unit", *_t(-40, 90)),
    Quantity("leaving_fluid", "leaving fluid temperature", Kind.TEMPERATURE, "unit", *_t(-40, 90)),
    Quantity("set_point", "leaving fluid set point", Kind.TEMPERATURE, "unit", *_t(-40, 60)),
    Quantity("evaporator_in", "evaporator fluid inlet pressure", Kind.GAUGE_PRESSURE, "unit", -1.01 * _BAR, 25 * _BAR),
    Quantity("evaporator_out", "evaporator fluid outlet pressure", Kind.GAUGE_PRESSURE, "unit", -1.01 * _BAR, 25 * _BAR),
    Quantity("evaporator_drop", "evaporator pressure drop", Kind.PRESSURE_DIFFERENCE, "unit", -2 * _BAR, 10 * _BAR),
    Quantity("strainer_in", "pressure before the strainer", Kind.GAUGE_PRESSURE, "unit", -1.01 * _BAR, 25 * _BAR),
    Quantity("strainer_out", "pressure after the strainer", Kind.GAUGE_PRESSURE, "unit", -1.01 * _BAR, 25 * _BAR),
    Quantity("strainer_drop", "strainer pressure drop", Kind.PRESSURE_DIFFERENCE, "unit", -2 * _BAR, 10 * _BAR),
    Quantity("pump_suction", "pump suction pressure", Kind.GAUGE_PRESSURE, "pump", -1.01 * _BAR, 25 * _BAR),
    Quantity("pump_discharge", "pump discharge pressure", Kind.GAUGE_PRESSURE, "pump", -1.01 * _BAR, 25 * _BAR),
    Quantity("expansion_tank", "expansion tank pressure", Kind.GAUGE_PRESSURE, "unit", -1.01 * _BAR, 25 * _BAR),
    Quantity("fill_pressure", "standing fill pressure, pump off", Kind.GAUGE_PRESSURE, "unit", -1.01 * _BAR, 25 * _BAR),
    Quantity("flow", "fluid flow by meter", Kind.FLOW, "unit", -1 * _GPM, 5000 * _GPM),
    Quantity("glycol_percent", "glycol in the fluid", Kind.PERCENT, "unit", 0.0, 100.0),
    Quantity("loop_volume", "fluid volume of the loop", Kind.VOLUME, "unit", 0.0, 2000.0),
    # supply and motors
    Quantity("line_voltage", "line to line voltage", Kind.VOLTAGE, "supply", 0.0, 1000.0, phases=True),
    Quantity("board_voltage", "line to line voltage upstream, at the site board or generator", Kind.VOLTAGE, "supply",
             0.0, 1000.0, phases=True),
    Quantity("load_voltage", "line to line voltage at the load side of the contactor", Kind.VOLTAGE, "supply", 0.0,
             1000.0, phases=True),
    Quantity("line_current", "line current of the motor or feeder named by the place", Kind.CURRENT, "any", 0.0,
             3000.0, phases=True),
    Quantity("fan_current", "fan motor current", Kind.CURRENT, "fan", 0.0, 200.0, phases=True),
    Quantity("frequency", "supply frequency", Kind.FREQUENCY, "supply", 0.0, 120.0),
    Quantity("drive_frequency", "drive output frequency", Kind.FREQUENCY, "pump", 0.0, 120.0),
    Quantity("overload_setting", "overload relay dial", Kind.CURRENT, "pump", 0.0, 1000.0),
    Quantity("motor_plate_current", "motor plate current", Kind.CURRENT, "pump", 0.0, 1000.0),
    Quantity("control_voltage", "control voltage", Kind.VOLTAGE, "unit", 0.0, 300.0),
    Quantity("winding_resistance", "winding resistance", Kind.RESISTANCE, "pump", 0.0, 1e9, phases=True),
    Quantity("time_running", "time since cooling started", Kind.TIME, "unit", 0.0, 3.2e8),
    Quantity("time_to_trip", "time from start to trip", Kind.TIME, "unit", 0.0, 3.2e7),
    Quantity("machine_load", "share of full load", Kind.PERCENT, "unit", 0.0, 150.0),
    Quantity("valve_opening", "electronic valve opening", Kind.PERCENT, "circuit", 0.0, 100.0),
]

QUANTITIES: dict[str, Quantity] = {q.name: q for q in _ALL}
