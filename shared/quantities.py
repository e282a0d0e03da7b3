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
    Quantity(
        "evaporator_out", "evaporator fluid outlet pressure", Kind.GAUGE_PRESSURE, "unit", -1.01 * _BAR, 25 * _BAR
    ),
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
    Quantity(
        "board_voltage",
        "line to line voltage upstream, at the site board or generator",
        Kind.VOLTAGE,
        "supply",
        0.0,
        1000.0,
        phases=True,
    ),
    Quantity(
        "load_voltage",
        "line to line voltage at the load side of the contactor",
        Kind.VOLTAGE,
        "supply",
        0.0,
        1000.0,
        phases=True,
    ),
    Quantity(
        "line_current",
        "line current of the motor or feeder named by the place",
        Kind.CURRENT,
        "any",
        0.0,
        3000.0,
        phases=True,
    ),
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


@dataclass(frozen=True, slots=True)
class DerivedQuantity:
    """Something computed from readings and the machine card; bands grade it into words."""

    name: str
    title: str
    kind: Kind
    place: str


_TD, _R, _P = Kind.TEMPERATURE_DIFFERENCE, Kind.RATIO, Kind.PERCENT
_DERIVED = [
    DerivedQuantity("suction_saturation", "evaporating temperature (dew)", Kind.TEMPERATURE, "circuit"),
    DerivedQuantity(
        "condensing_temperature", "condensing temperature (mean of dew and bubble)", Kind.TEMPERATURE, "circuit"
    ),
    DerivedQuantity("suction_over_set", "evaporating temperature over the leaving set point", _TD, "circuit"),
    DerivedQuantity("superheat", "superheat", _TD, "circuit"),
    DerivedQuantity("subcooling", "subcooling", _TD, "circuit"),
    DerivedQuantity("subcooling_over_card", "subcooling over the figure on the machine card", _TD, "circuit"),
    DerivedQuantity("approach", "evaporator approach", _TD, "circuit"),
    DerivedQuantity("condenser_split", "condensing over entering air", _TD, "circuit"),
    DerivedQuantity("condenser_split_over_clean", "condensing over air, above the clean figure", _TD, "circuit"),
    DerivedQuantity("compression_ratio", "compression ratio", _R, "circuit"),
    DerivedQuantity("discharge_superheat", "discharge superheat", _TD, "circuit"),
    DerivedQuantity("discharge_excess", "discharge line over the expected", _TD, "circuit"),
    DerivedQuantity("drier_drop", "temperature drop across the drier", _TD, "circuit"),
    DerivedQuantity("standing_excess", "standing saturation over the air temperature", _TD, "circuit"),
    DerivedQuantity("evaporator_inlet", "refrigerant at the evaporator inlet", Kind.TEMPERATURE, "circuit"),
    DerivedQuantity("freeze_margin", "coldest refrigerant over the fluid's freeze point", _TD, "circuit"),
    DerivedQuantity("suction_over_fluid", "suction line over entering fluid", _TD, "circuit"),
    DerivedQuantity("liquid_over_air", "liquid line over entering air", _TD, "circuit"),
    DerivedQuantity(
        "low_pressure_margin", "suction over the low-pressure cut-out", Kind.PRESSURE_DIFFERENCE, "circuit"
    ),
    DerivedQuantity("head_margin", "high-pressure cut-out over head", Kind.PRESSURE_DIFFERENCE, "circuit"),
    DerivedQuantity("pressure_split", "discharge or liquid pressure over suction", Kind.PRESSURE_DIFFERENCE, "circuit"),
    DerivedQuantity("air_rise", "air temperature rise through the condenser", _TD, "circuit"),
    DerivedQuantity("fluid_split", "entering minus leaving fluid", _TD, "unit"),
    DerivedQuantity("fluid_split_ratio", "fluid temperature difference against design", _R, "unit"),
    DerivedQuantity("evaporator_drop_ratio", "evaporator pressure drop against its design drop", _R, "unit"),
    DerivedQuantity("flow_by_drop", "flow from the evaporator pressure drop", Kind.FLOW, "unit"),
    DerivedQuantity("flow_by_drop_ratio", "flow from pressure drop against design", _R, "unit"),
    DerivedQuantity("flow_ratio", "flow by meter against design", _R, "unit"),
    DerivedQuantity("flow_curve_over_meter", "flow from pressure drop against flow by meter", _R, "unit"),
    DerivedQuantity("capacity", "heat removed from the fluid", Kind.POWER, "unit"),
    DerivedQuantity("capacity_ratio", "heat removed against the plate", _R, "unit"),
    DerivedQuantity("strainer_drop", "strainer pressure drop", Kind.PRESSURE_DIFFERENCE, "unit"),
    DerivedQuantity("strainer_ratio", "strainer loss factor against clean", _R, "unit"),
    DerivedQuantity("gauges_at_rest", "difference of two gauges at rest", Kind.PRESSURE_DIFFERENCE, "unit"),
    DerivedQuantity("pump_rise", "pump pressure rise", Kind.PRESSURE_DIFFERENCE, "unit"),
    DerivedQuantity("pump_rise_index", "pump rise between nothing (0), card (1) and shut-off (2)", _R, "unit"),
    DerivedQuantity(
        "pump_suction_change", "pump suction against card or standing fill", Kind.PRESSURE_DIFFERENCE, "unit"
    ),
    DerivedQuantity("fill_pressure", "standing fill pressure", Kind.GAUGE_PRESSURE, "unit"),
    DerivedQuantity("entering_over_design", "entering fluid over design", _TD, "unit"),
    DerivedQuantity("leaving_over_set", "leaving fluid over set point", _TD, "unit"),
    DerivedQuantity("set_point", "leaving fluid set point", Kind.TEMPERATURE, "unit"),
    DerivedQuantity("set_point_over_card", "set point over that of the machine card", _TD, "unit"),
    DerivedQuantity("leaving_rate", "rate of the leaving fluid", Kind.RATE, "unit"),
    DerivedQuantity("air_over_weather", "air at the coil over the weather", _TD, "unit"),
    DerivedQuantity("air_spread", "difference between air readings around the coil", _TD, "unit"),
    DerivedQuantity("weather_air", "outdoor air", Kind.TEMPERATURE, "unit"),
    DerivedQuantity("glycol_margin", "lowest air over the fluid's freeze point", _TD, "unit"),
    DerivedQuantity("control_voltage_ratio", "control voltage against its nominal", _R, "unit"),
    DerivedQuantity("pump_current_ratio", "pump current against plate", _R, "pump"),
    DerivedQuantity("pump_current_unbalance", "pump current unbalance", _P, "pump"),
    DerivedQuantity("overload_dial_ratio", "overload dial against motor plate", _R, "pump"),
    DerivedQuantity("current_to_dial", "pump current against overload dial", _R, "pump"),
    DerivedQuantity("drive_frequency_ratio", "drive frequency against plate", _R, "pump"),
    DerivedQuantity("cooling_time", "time since cooling started", Kind.TIME, "unit"),
    DerivedQuantity("time_to_trip", "time from start to trip", Kind.TIME, "unit"),
    DerivedQuantity("load_unbalance", "voltage unbalance at the load side of the contactor", _P, "supply"),
    DerivedQuantity("voltage_ratio", "mean line voltage against plate", _R, "supply"),
    DerivedQuantity("voltage_unbalance", "voltage unbalance at the unit", _P, "supply"),
    DerivedQuantity("upstream_unbalance", "voltage unbalance upstream", _P, "supply"),
    DerivedQuantity("voltage_drop_ratio", "voltage lost between board and unit", _P, "supply"),
    DerivedQuantity("frequency_ratio", "supply frequency against plate", _R, "supply"),
    DerivedQuantity("unbalance_amplification", "current unbalance over voltage unbalance", _R, "supply"),
    DerivedQuantity("compressor_current_ratio", "compressor current against plate", _R, "compressor"),
    DerivedQuantity("compressor_current_unbalance", "compressor current unbalance", _P, "compressor"),
    DerivedQuantity("fan_current_ratio", "fan current against plate", _R, "fan"),
    DerivedQuantity("sump_over_air", "sump over outdoor air", _TD, "compressor"),
    DerivedQuantity("superheat_of_expected", "superheat against today's expected", _R, "circuit"),
    DerivedQuantity("subcooling_of_expected", "subcooling against today's expected", _R, "circuit"),
    DerivedQuantity("approach_of_expected", "evaporator approach against today's expected", _R, "circuit"),
    DerivedQuantity("split_of_expected", "condensing over air against today's expected", _R, "circuit"),
    DerivedQuantity("suction_over_expected", "evaporating temperature over today's expected", _TD, "circuit"),
    DerivedQuantity("head_over_expected", "condensing temperature over today's expected", _TD, "circuit"),
    DerivedQuantity("fluid_split_of_expected", "fluid temperature difference against today's expected", _R, "unit"),
    DerivedQuantity("compressor_current_of_expected", "compressor current against today's expected", _R, "compressor"),
    DerivedQuantity("valve_opening", "electronic valve opening", _P, "circuit"),
]

DERIVED: dict[str, DerivedQuantity] = {d.name: d for d in _DERIVED}
