"""The loop of a placement: hoses, fill, pull-down."""

from __future__ import annotations

import math

from diagnose.calculators.catalogue.common import FLUID_TEMPERATURE, MIXTURE, mixture, mixture_density
from diagnose.calculators.model import Calculator, Input, Output, Results, Spread, Values
from diagnose.properties.fluids import density_kg_m3, heat_capacity_j_per_kg_k
from shared.errors import CalculatorError
from shared.quantities import Kind

HOSE_MS = 9.0 * 0.3048  # 9 ft/s in a hose: common practice, no source
GRAVITY = 9.80665
TOP_PA = 4.5 * 6894.757  # over the highest point: 4 to 5 psi, common practice


def _hose(v: Values) -> Results:
    area = math.pi * v.number("inside_diameter") ** 2 / 4.0
    limit = HOSE_MS * area
    return {"flow_at_limit": limit, "share_of_limit": v.number("flow") / limit}


def _hose_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    if float(results["share_of_limit"]) > 1.0:
        return ["too fast for this hose: take a wider one, or two side by side"]
    return []


def _fill(v: Values) -> Results:
    return {"fill_pressure": mixture_density(v) * GRAVITY * v.number("height") + v.number("at_the_top")}


def _pull_down(v: Values) -> Results:
    warm, cold = v.number("from_temperature"), v.number("to_temperature")
    left = v.number("capacity") - v.number("heat_load")
    if warm <= cold:
        raise CalculatorError(
            "nothing to pull down", given="the loop is not warmer than wanted", do="correct one of the two"
        )
    if left <= 0.0:
        raise CalculatorError(
            "the load takes all the cooling",
            allowed="a load under the capacity",
            do="take load off while it pulls down",
        )
    middle = 0.5 * (warm + cold)
    heat = v.number("loop_volume") * density_kg_m3(*mixture(v), middle) * heat_capacity_j_per_kg_k(*mixture(v), middle)
    return {"time": heat * (warm - cold) / left, "rate": left / heat}


CALCULATORS = (
    Calculator(
        "hose-flow",
        "Flow that a hose carries",
        (
            Input("flow", Kind.FLOW, "flow wanted"),
            Input("inside_diameter", Kind.LENGTH, "inside diameter of the hose"),
        ),
        (
            Output("flow_at_limit", Kind.FLOW, "flow at 9 ft/s"),
            Output("share_of_limit", Kind.RATIO, "flow wanted over that; up to 1"),
        ),
        "9 ft/s is common practice for hoses; drop over the length is not in it",
        "Q = v A",
        _hose,
        _hose_notes,
    ),
    Calculator(
        "fill-pressure",
        "Fill pressure at the gauge, pump off",
        (
            Input("height", Kind.LENGTH, "highest point of the loop above the gauge"),
            Input(
                "at_the_top", Kind.PRESSURE_DIFFERENCE, "pressure wanted at the top", required=False, default="4.5 psi"
            ),
            *MIXTURE,
            FLUID_TEMPERATURE,
        ),
        (Output("fill_pressure", Kind.GAUGE_PRESSURE, "at the gauge"),),
        "loop at rest; 4 to 5 psi at the top is common practice",
        "hydrostatics: 0.433 psi per ft of water",
        _fill,
    ),
    Calculator(
        "pull-down-time",
        "Time to pull a warm loop down",
        (
            Input("loop_volume", Kind.VOLUME, "fluid volume of the loop"),
            Input("from_temperature", Kind.TEMPERATURE, "fluid temperature now"),
            Input("to_temperature", Kind.TEMPERATURE, "fluid temperature wanted"),
            Input("capacity", Kind.POWER, "cooling of the machine on the way, all stages"),
            Input("heat_load", Kind.POWER, "heat coming in meanwhile", required=False, default="0 kW"),
            *MIXTURE,
        ),
        (Output("time", Kind.TIME, "until there"), Output("rate", Kind.RATE, "fall of the loop")),
        "one well-mixed loop; capacity taken as constant (it is higher while the fluid is warm)",
        "energy balance: V rho cp dT = (P - load) t",
        _pull_down,
    ),
)
