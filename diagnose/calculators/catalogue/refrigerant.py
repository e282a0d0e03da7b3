"""Refrigerant side: saturation, superheat, subcooling, discharge, ratio, approach, split, evaporator
inlet.
"""

from __future__ import annotations

from diagnose.calculators import altitude, heat_transfer, refrigerant
from diagnose.calculators.catalogue.common import (
    ALTITUDE,
    DISCHARGE_LINE,
    DISCHARGE_PRESSURE,
    LEAVING_FLUID,
    LIQUID_LINE,
    LIQUID_PRESSURE,
    REFRIGERANT,
    SUCTION_LINE,
    SUCTION_PRESSURE,
    pressure,
    spread_of,
    temperature,
)
from diagnose.calculators.model import Calculator, Input, Output, Results, Spread, Values
from diagnose.properties.saturation import p_bubble_pa, p_dew_pa, t_bubble_k, t_dew_k
from shared.errors import CalculatorError
from shared.quantities import Kind

TABLE = "saturation tables from CoolProp 8.0.0, 2 K grid"
TABLE_LIMITS = "saturation -70 C to 80 C or 0.95 of critical pressure; gauge readings need the site's altitude"
GLIDE_BLENDS = ("R-407C", "R-454B")
NOTHING_PROVED_F = {
    True: 2.0,
    False: 1.0,
}  # laboratory gauges read -0.5 F in solid liquid; a blend doubles it
STEADY_ONLY = "judged only in steady running: see the steady-state calculator"


def _saturation(v: Values) -> Results:
    absolute = v.absolute("pressure")
    dew, bubble = t_dew_k(v.text("refrigerant"), absolute), t_bubble_k(v.text("refrigerant"), absolute)
    return {"dew": dew, "bubble": bubble, "glide": dew - bubble, "absolute_pressure": absolute}


def _saturation_pressure(v: Values) -> Results:
    name, t_k = v.text("refrigerant"), v.number("temperature")
    atmosphere = altitude.site_atmosphere_pa(v.number("altitude"))
    dew, bubble = p_dew_pa(name, t_k), p_bubble_pa(name, t_k)
    return {
        "bubble_pressure": bubble - atmosphere,
        "dew_pressure": dew - atmosphere,
        "bubble_pressure_absolute": bubble,
        "dew_pressure_absolute": dew,
    }


def _superheat(v: Values) -> Results:
    suction = v.absolute("suction_pressure")
    return {
        "superheat": refrigerant.superheat_k(v.text("refrigerant"), suction, v.number("suction_line")),
        "suction_dew": t_dew_k(v.text("refrigerant"), suction),
    }


def _superheat_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    value = float(results["superheat"])
    if value < 0.0:
        sure = value + 2.0 * spread_of(spread, "superheat") < 0.0
        return [
            "below zero: liquid in the suction line, or a wrong gauge, clamp or refrigerant"
            if sure
            else "below zero within its uncertainty: read again with better instruments"
        ]
    return []


def _subcooling(v: Values) -> Results:
    liquid = v.absolute("liquid_pressure")
    return {
        "subcooling": refrigerant.subcooling_k(v.text("refrigerant"), liquid, v.number("liquid_line")),
        "liquid_bubble": t_bubble_k(v.text("refrigerant"), liquid),
    }


def _subcooling_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    limit = NOTHING_PROVED_F[v.text("refrigerant") in GLIDE_BLENDS]
    if abs(float(results["subcooling"])) * 1.8 < limit:
        return [f"within {limit:g} F of zero proves nothing: neither solid liquid nor bubbles"]
    return []


def _discharge_superheat(v: Values) -> Results:
    name, discharge = v.text("refrigerant"), v.absolute("discharge_pressure")
    line = v.number("discharge_line")
    results = {
        "discharge_superheat": refrigerant.discharge_superheat_k(name, discharge, line),
        "discharge_dew": t_dew_k(name, discharge),
    }
    if v.has("suction_pressure") != v.has("suction_line"):
        raise CalculatorError(
            "half of the suction state", allowed="suction_pressure and suction_line together, or neither"
        )
    if v.has("suction_pressure"):
        ideal = refrigerant.isentropic_discharge_k(
            name, v.absolute("suction_pressure"), v.number("suction_line"), discharge
        )
        results["isentropic_discharge"] = ideal
        results["above_isentropic"] = line - ideal
    return results


def _discharge_superheat_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    above = results.get("above_isentropic")
    if isinstance(above, float) and above + 2.0 * spread_of(spread, "above_isentropic") < 0.0:
        return ["colder than a loss-free compression: wet compression, or a wrong sensor"]
    return []


def _ratio(v: Values) -> Results:
    return {
        "compression_ratio": refrigerant.compression_ratio(
            v.absolute("suction_pressure"), v.absolute("discharge_pressure")
        )
    }


def _discharge_temperature(v: Values) -> Results:
    state = (
        v.text("refrigerant"),
        v.absolute("suction_pressure"),
        v.number("suction_line"),
        v.absolute("discharge_pressure"),
    )
    return {
        "discharge_temperature": refrigerant.discharge_temperature_k(*state, v.number("efficiency")),
        "isentropic_discharge": refrigerant.isentropic_discharge_k(*state),
    }


def _approach(v: Values) -> Results:
    name, suction, leaving = v.text("refrigerant"), v.absolute("suction_pressure"), v.number("leaving_fluid")
    results = {
        "approach": heat_transfer.approach_k(name, suction, leaving),
        "suction_dew": t_dew_k(name, suction),
    }
    if v.has("liquid_line"):
        inlet = heat_transfer.evaporator_inlet_k(name, suction, v.number("liquid_line"))
        results["evaporator_inlet"] = inlet
        results["leaving_above_inlet"] = leaving - inlet
    return results


def _approach_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    notes = []
    above = results.get("leaving_above_inlet")
    if isinstance(above, float) and above + 2.0 * spread_of(spread, "leaving_above_inlet") < 0.0:
        notes.append("fluid leaves colder than the refrigerant enters: impossible, one reading is wrong")
    if v.text("refrigerant") in GLIDE_BLENDS:
        notes.append("glide blend: the dew point is at the warm end, an approach near zero may be healthy")
    return notes


def _condensing_pressure(v: Values) -> float:
    if v.has("discharge_pressure") == v.has("liquid_pressure"):
        raise CalculatorError("one condensing pressure is needed", allowed="discharge_pressure or liquid_pressure")
    return v.absolute("discharge_pressure" if v.has("discharge_pressure") else "liquid_pressure")


def _split(v: Values) -> Results:
    name, condensing = v.text("refrigerant"), _condensing_pressure(v)
    return {
        "condenser_split": heat_transfer.condenser_split_k(name, condensing, v.number("entering_air")),
        "condensing": heat_transfer.condensing_k(name, condensing),
    }


def _inlet(v: Values) -> Results:
    state = v.text("refrigerant"), v.absolute("suction_pressure"), v.number("liquid_line")
    return {
        "evaporator_inlet": heat_transfer.evaporator_inlet_k(*state),
        "inlet_quality": heat_transfer.inlet_quality(*state),
    }


def _inlet_model(v: Values, results: Results) -> dict[str, float]:
    # a blend's glide is not quite proportional to the vapour share: up to 0.7 K on R-407C, rectangular
    return {"evaporator_inlet": 0.4 if v.text("refrigerant") == "R-407C" else 0.0}


_CONDENSING = (
    pressure("discharge_pressure", "discharge pressure", required=False, instrument="dial-800-psi"),
    pressure(
        "liquid_pressure",
        "liquid pressure, where no discharge pressure was read",
        required=False,
        instrument="dial-800-psi",
    ),
)
_OPTIONAL_SUCTION = (
    pressure("suction_pressure", "suction pressure, for the isentropic floor", required=False),
    temperature("suction_line", "suction line, for the isentropic floor", required=False),
)

CALCULATORS = (
    Calculator(
        "saturation",
        "Saturation temperatures at a pressure",
        (REFRIGERANT, pressure("pressure", "pressure"), ALTITUDE),
        (
            Output("dew", Kind.TEMPERATURE, "dew temperature: superheat belongs to it"),
            Output("bubble", Kind.TEMPERATURE, "bubble temperature: subcooling belongs to it"),
            Output("glide", Kind.TEMPERATURE_DIFFERENCE, "dew minus bubble"),
            Output("absolute_pressure", Kind.ABSOLUTE_PRESSURE, "absolute pressure"),
        ),
        TABLE_LIMITS,
        TABLE,
        _saturation,
    ),
    Calculator(
        "saturation-pressure",
        "Saturation pressures at a temperature",
        (REFRIGERANT, temperature("temperature", "saturation temperature"), ALTITUDE),
        (
            Output("bubble_pressure", Kind.GAUGE_PRESSURE, "gauge reading at the bubble point"),
            Output("dew_pressure", Kind.GAUGE_PRESSURE, "gauge reading at the dew point"),
            Output("bubble_pressure_absolute", Kind.ABSOLUTE_PRESSURE, "the same, absolute"),
            Output("dew_pressure_absolute", Kind.ABSOLUTE_PRESSURE, "the same, absolute"),
        ),
        TABLE_LIMITS,
        TABLE,
        _saturation_pressure,
    ),
    Calculator(
        "superheat",
        "Suction superheat",
        (REFRIGERANT, SUCTION_PRESSURE, SUCTION_LINE, ALTITUDE),
        (
            Output("superheat", Kind.TEMPERATURE_DIFFERENCE, "suction line minus dew temperature"),
            Output("suction_dew", Kind.TEMPERATURE, "evaporating (dew) temperature"),
        ),
        f"{TABLE_LIMITS}; {STEADY_ONLY}",
        f"definition; {TABLE}",
        _superheat,
        _superheat_notes,
    ),
    Calculator(
        "subcooling",
        "Liquid subcooling",
        (REFRIGERANT, LIQUID_PRESSURE, LIQUID_LINE, ALTITUDE),
        (
            Output("subcooling", Kind.TEMPERATURE_DIFFERENCE, "bubble temperature minus liquid line"),
            Output("liquid_bubble", Kind.TEMPERATURE, "bubble temperature at liquid pressure"),
        ),
        f"{TABLE_LIMITS}; pressure at the LIQUID port; {STEADY_ONLY}",
        f"definition; {TABLE}",
        _subcooling,
        _subcooling_notes,
    ),
    Calculator(
        "discharge-superheat",
        "Discharge superheat, and its floor",
        (REFRIGERANT, DISCHARGE_PRESSURE, DISCHARGE_LINE, *_OPTIONAL_SUCTION, ALTITUDE),
        (
            Output("discharge_superheat", Kind.TEMPERATURE_DIFFERENCE, "discharge line minus dew temperature"),
            Output("discharge_dew", Kind.TEMPERATURE, "dew temperature at discharge pressure"),
            Output("isentropic_discharge", Kind.TEMPERATURE, "lowest discharge temperature with dry gas"),
            Output("above_isentropic", Kind.TEMPERATURE_DIFFERENCE, "discharge line above that floor"),
        ),
        f"{TABLE_LIMITS}; superheat up to 140 K",
        f"definition; equal entropy; {TABLE}",
        _discharge_superheat,
        _discharge_superheat_notes,
    ),
    Calculator(
        "compression-ratio",
        "Compression ratio",
        (SUCTION_PRESSURE, DISCHARGE_PRESSURE, ALTITUDE),
        (Output("compression_ratio", Kind.RATIO, "absolute over absolute"),),
        "discharge at or above suction; absolute pressures, so altitude counts",
        "definition",
        _ratio,
    ),
    Calculator(
        "discharge-temperature",
        "Discharge temperature to expect",
        (
            REFRIGERANT,
            SUCTION_PRESSURE,
            SUCTION_LINE,
            DISCHARGE_PRESSURE,
            Input(
                "efficiency",
                Kind.RATIO,
                "isentropic efficiency, 0.60 to 0.75 near the design point",
                required=False,
                default="0.7",
            ),
            ALTITUDE,
        ),
        (
            Output("discharge_temperature", Kind.TEMPERATURE, "expected at this efficiency"),
            Output("isentropic_discharge", Kind.TEMPERATURE, "loss-free: the floor"),
        ),
        f"{TABLE_LIMITS}; dry suction gas; no heat lost from the shell; efficiency 0.3 to 1",
        f"h2 = h1 + (h2s - h1)/efficiency; {TABLE}; efficiency: common practice",
        _discharge_temperature,
    ),
    Calculator(
        "approach",
        "Evaporator approach",
        (
            REFRIGERANT,
            SUCTION_PRESSURE,
            LEAVING_FLUID,
            temperature("liquid_line", "liquid line, to find the evaporator inlet", required=False),
            ALTITUDE,
        ),
        (
            Output("approach", Kind.TEMPERATURE_DIFFERENCE, "leaving fluid minus dew temperature"),
            Output("suction_dew", Kind.TEMPERATURE, "evaporating (dew) temperature"),
            Output("evaporator_inlet", Kind.TEMPERATURE, "refrigerant temperature entering the evaporator"),
            Output("leaving_above_inlet", Kind.TEMPERATURE_DIFFERENCE, "leaving fluid above that"),
        ),
        f"{TABLE_LIMITS}; {STEADY_ONLY}",
        f"definition; {TABLE}",
        _approach,
        _approach_notes,
    ),
    Calculator(
        "condenser-split",
        "Condenser split",
        (
            REFRIGERANT,
            *_CONDENSING,
            temperature("entering_air", "air entering the coil, not the weather", instrument="air-probe"),
            ALTITUDE,
        ),
        (
            Output(
                "condenser_split",
                Kind.TEMPERATURE_DIFFERENCE,
                "condensing (mean of dew and bubble) minus entering air",
            ),
            Output("condensing", Kind.TEMPERATURE, "condensing temperature"),
        ),
        f"{TABLE_LIMITS}; only with all condenser fans at full speed; {STEADY_ONLY}",
        f"definition; {TABLE}",
        _split,
    ),
    Calculator(
        "evaporator-inlet",
        "Refrigerant temperature entering the evaporator",
        (REFRIGERANT, SUCTION_PRESSURE, LIQUID_LINE, ALTITUDE),
        (
            Output("evaporator_inlet", Kind.TEMPERATURE, "the coldest place in the plate"),
            Output("inlet_quality", Kind.RATIO, "share of vapour, by mass"),
        ),
        f"{TABLE_LIMITS}; pressure drop in the plate not counted; {STEADY_ONLY}",
        f"enthalpy kept through the valve, glide proportional to quality; {TABLE}",
        _inlet,
        model_sd=_inlet_model,
    ),
)
