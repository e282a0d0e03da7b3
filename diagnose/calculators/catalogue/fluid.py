"""Fluid side: flow, drops, strainers, meters, capacity, pumps, glycol."""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.calculators import capacity, flow, glycol, pump
from diagnose.calculators.catalogue.common import (
    ALTITUDE,
    BASIS,
    ENTERING_FLUID,
    FLUID,
    FLUID_TEMPERATURE,
    GLYCOL,
    LEAVING_FLUID,
    MIXTURE,
    basis_note,
    mixture,
    mixture_density,
    pressure,
    relative_pct,
)
from diagnose.calculators.model import Calculator, Input, Output, Results, Spread, Values
from diagnose.properties.fluids import (
    FLUIDS,
    density_kg_m3,
    freeze_point_k,
    mass_percent,
    viscosity_pa_s,
    volume_percent,
    water_vapour_pressure_pa,
)
from shared.errors import CalculatorError
from shared.quantities import Kind
from shared.readings import RECTANGULAR

FLOW_JUDGED_PCT = 15.0
"""A flow whose expanded uncertainty is wider than this is shown, not judged (common practice)."""
FREEZE_SPREAD_K = 1.5
"""Printed freeze points differ by this much."""


def _flow_basis(v: Values) -> tuple[float, float | None]:
    """Flow at the measured drop on the curve's own fluid, and the exponent where one law holds."""
    drop = v.number("evaporator_drop") / _curve_factor(v)
    if v.has("curve_flow") or v.has("curve_drop"):
        flows, drops = v.many("curve_flow"), v.many("curve_drop")
        if len(flows) != len(drops):
            raise CalculatorError(
                "curve flows and drops differ in number",
                given=f"{len(flows)} and {len(drops)}",
                allowed="one drop for each flow",
            )
        return flow.flow_from_curve(drop, list(zip(flows, drops, strict=True))), None
    if not (v.has("rated_flow") and v.has("rated_drop")):
        raise CalculatorError(
            "no curve and no rated point",
            allowed="rated_flow and rated_drop, or curve_flow and curve_drop",
            do="read the plate or the drop curve of this evaporator",
        )
    first = v.number("rated_flow"), v.number("rated_drop")
    if v.has("second_flow") != v.has("second_drop"):
        raise CalculatorError("half of the second point", allowed="second_flow and second_drop together, or neither")
    if v.has("second_flow") and v.has("second_drop"):
        second = v.number("second_flow"), v.number("second_drop")
        return flow.flow_two_points(drop, *first, *second), flow.flow_exponent(*first, *second)
    return flow.flow_square_law(drop, *first), 0.5


def _curve_factor(v: Values) -> float:
    """Drop of this fluid over drop of water at the same flow, where the curve is for water."""
    if v.text("curve_for") == "same" or v.number("glycol_percent") == 0.0:
        return 1.0
    t_k = v.number("fluid_temperature")
    water = ("water", 0.0, "volume")
    warm = max(t_k, 275.15)  # water's own properties end at its freeze point
    return flow.glycol_drop_factor(
        density_kg_m3(*mixture(v), t_k) / density_kg_m3(*water, warm),
        viscosity_pa_s(*mixture(v), t_k) / viscosity_pa_s(*water, warm),
    )


def _flow_from_drop(v: Values) -> Results:
    value, exponent = _flow_basis(v)
    results = {"flow": value}
    if exponent is not None:
        results["exponent"] = exponent
    if v.has("rated_flow"):
        results["share_of_rated"] = 100.0 * value / v.number("rated_flow")
    return results


def _flow_from_drop_model(v: Values, results: Results) -> dict[str, float]:
    if _curve_factor(v) == 1.0:
        return {}
    share = flow.GLYCOL_BAND / 2.0 / RECTANGULAR  # flow goes with the square root of the drop
    return {key: share * float(results[key]) for key in ("flow", "share_of_rated") if key in results}


def _flow_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    notes = []
    if v.number("glycol_percent") > 0.0:
        notes.append(
            "curve taken for the same fluid"
            if v.text("curve_for") == "same"
            else "water curve corrected for glycol, band +/-12 % of the drop"
        )
    wide = relative_pct(float(results["flow"]), spread.get("flow"))
    if wide > FLOW_JUDGED_PCT:
        size = f"+/-{wide:.0f} % of flow" if wide < 1000 else "the drop is within the instrument's own error"
        notes.append(f"{size}: not judged; move ONE gauge between the taps or use a differential meter")
    elif "exponent" in results and 0.0 < float(results.get("share_of_rated", 100.0)) < 50.0:
        notes.append("far below the rated point: a plate follows an exponent nearer 0.55, the true flow is higher")
    return notes + basis_note(v)


def _drop(inlet: str, outlet: str, result: str) -> Calculator:
    name = result.replace("_", "-")
    where = name.split("-")[0]

    def compute(v: Values) -> Results:
        return {
            result: flow.drop_between_gauges_pa(
                v.number(inlet), v.number(outlet), v.number("outlet_above_inlet"), mixture_density(v)
            )
        }

    def notes(v: Values, results: Results, spread: Spread) -> list[str]:
        said = []
        wide = relative_pct(float(results[result]), spread.get(result))
        if v.text("gauges") == "two" and wide / 2.0 > FLOW_JUDGED_PCT:
            said.append(
                f"two gauges on a small drop: +/-{min(wide / 2.0, 100.0):.0f} % of flow, not judged; "
                "move ONE gauge between the taps"
            )
        if float(results[result]) < 0.0:
            said.append("negative: taps exchanged, flow reversed, or the gauges differ at rest")
        return said

    def usual(words: Mapping[str, str]) -> Mapping[str, str]:
        return {inlet: "same-dial-100-psi", outlet: "same-dial-100-psi"} if words.get("gauges") == "one" else {}

    return Calculator(
        name,
        f"Pressure drop over the {where} from gauge readings",
        (
            Input(inlet, Kind.GAUGE_PRESSURE, "pressure before it", instrument="dial-100-psi"),
            Input(outlet, Kind.GAUGE_PRESSURE, "pressure after it", instrument="dial-100-psi"),
            Input(
                "outlet_above_inlet",
                Kind.LENGTH,
                "how much higher the outlet gauge sits",
                required=False,
                default="0 m",
            ),
            Input(
                "gauges",
                Kind.CHOICE,
                "one gauge moved between the taps, or two",
                required=False,
                default="two",
                choices=("one", "two"),
            ),
            *MIXTURE,
            FLUID_TEMPERATURE,
        ),
        (Output(result, Kind.PRESSURE_DIFFERENCE, "friction drop, height taken out"),),
        "pump running for a drop; heights within 50 m",
        "hydrostatics: 0.433 psi per ft of water",
        compute,
        notes,
        usual=usual,
    )


def _valve_flow(v: Values) -> Results:
    return {"flow": flow.valve_flow_m3s(v.number("flow_coefficient"), v.number("drop"), mixture_density(v))}


def _valve_coefficient(v: Values) -> Results:
    return {"flow_coefficient": flow.valve_kv(v.number("flow"), v.number("drop"), mixture_density(v))}


def _strainer(v: Values) -> Results:
    loading = flow.strainer_loading(
        v.number("strainer_drop"), v.number("flow"), v.number("clean_drop"), v.number("clean_flow")
    )
    results = {
        "resistance_ratio": loading,
        "clean_drop_now": v.number("clean_drop") * (v.number("flow") / v.number("clean_flow")) ** 2,
    }
    if loading > 0.0:
        results["open_share"] = 100.0 * min(1.0, loading**-0.5)
    return results


def _meter(v: Values) -> Results:
    return {
        "flow": flow.meter_flow_m3s(
            v.text("meter"),
            v.number("flow"),
            mixture_density(v),
            v.number("calibrated_density"),
            v.number("float_density"),
        )
    }


def _meter_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    return ["check that the meter's sound speed is set for this fluid"] if v.text("meter") == "ultrasonic" else []


def _capacity(v: Values) -> Results:
    entering, leaving = v.number("entering_fluid"), v.number("leaving_fluid")
    power = capacity.capacity_w(v.number("flow"), entering, leaving, *mixture(v))
    return {
        "capacity": power,
        "capacity_tons": power / capacity.TON_W,
        "fluid_difference": entering - leaving,
        "heat_factor": capacity.heat_factor(*mixture(v), 0.5 * (entering + leaving)),
    }


def _capacity_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    notes = basis_note(v)
    if float(results["fluid_difference"]) < 0.0:
        notes.append("leaving fluid is the warmer one: no cooling, or the two thermometers are exchanged")
    return notes


def _flow_for_capacity(v: Values) -> Results:
    return {
        "flow": capacity.flow_for_capacity_m3s(
            v.number("cooling"), v.number("entering_fluid"), v.number("leaving_fluid"), *mixture(v)
        )
    }


def _pump_head(v: Values) -> Results:
    density = mixture_density(v)
    velocity = 0.0
    if v.has("suction_diameter") and v.has("discharge_diameter") and v.has("flow"):
        velocity = pump.velocity_head_m(v.number("flow"), v.number("discharge_diameter")) - pump.velocity_head_m(
            v.number("flow"), v.number("suction_diameter")
        )
    suction, discharge = v.number("pump_suction"), v.number("pump_discharge")
    return {
        "pump_head": pump.pump_head_m(suction, discharge, density, v.number("discharge_above_suction"), velocity),
        "pump_rise": discharge - suction,
    }


def _pump_power(v: Values) -> Results:
    state = v.number("flow"), v.number("head"), mixture_density(v)
    return {
        "water_power": pump.water_power_w(*state),
        "shaft_power": pump.shaft_power_w(*state, v.number("efficiency") / 100.0),
    }


def _affinity(v: Values) -> Results:
    ratio = v.number("new_speed") / v.number("speed")
    flow_factor, head_factor, power_factor = pump.affinity(ratio)
    results = {
        "speed_ratio": ratio,
        "flow_factor": flow_factor,
        "head_factor": head_factor,
        "power_factor": power_factor,
    }
    for key, factor in (("flow", flow_factor), ("head", head_factor), ("power", power_factor)):
        if v.has(key):
            results[f"new_{key}"] = v.number(key) * factor
    return results


def _npsh(v: Values) -> Results:
    t_k = v.number("fluid_temperature")
    velocity = 0.0
    if v.has("suction_diameter") and v.has("flow"):
        velocity = pump.velocity_head_m(v.number("flow"), v.number("suction_diameter"))
    vapour = water_vapour_pressure_pa(max(t_k, 273.15))
    available = pump.npsh_at_gauge_m(
        v.absolute("pump_suction"), vapour, mixture_density(v), v.number("gauge_above_pump"), velocity
    )
    return _with_margin(v, available)


def _with_margin(v: Values, available: float) -> Results:
    results = {"npsh_available": available}
    if v.has("npsh_required"):
        results["npsh_margin"] = available - v.number("npsh_required")
    return results


def _npsh_surface(v: Values) -> Results:
    t_k = v.number("fluid_temperature")
    available = pump.npsh_from_surface_m(
        v.absolute("surface_pressure"),
        v.number("level_above_pump"),
        v.number("suction_loss"),
        water_vapour_pressure_pa(max(t_k, 273.15)),
        mixture_density(v),
    )
    return _with_margin(v, available)


def _npsh_notes(v: Values, results: Results, spread: Spread) -> list[str]:
    notes = ["water's vapour pressure used: on the safe side"] if v.number("glycol_percent") > 0.0 else []
    margin = results.get("npsh_margin")
    if isinstance(margin, float) and margin < 0.5:
        notes.append("less than 0.5 m above the required NPSH: cavitation must be expected")
    return notes


def _freeze(v: Values) -> Results:
    return {"freeze_point": freeze_point_k(*mixture(v))}


def _freeze_model(v: Values, results: Results) -> dict[str, float]:
    spread = 0.0 if v.number("glycol_percent") == 0.0 else FREEZE_SPREAD_K / RECTANGULAR
    return {
        key: spread
        for key in results
        if key in ("freeze_point", "lowest_refrigerant", "lowest_ambient", "minimum_leaving")
    }


def _protection(v: Values) -> Results:
    mix = mixture(v)
    return {
        "minimum_leaving": glycol.minimum_leaving_k(*mix, v.number("leaving_above_inlet")),
        "freeze_point": freeze_point_k(*mix),
        "lowest_refrigerant": glycol.lowest_refrigerant_k(*mix),
        "lowest_ambient": glycol.lowest_ambient_k(*mix),
    }


def _concentrate(v: Values) -> Results:
    present, wanted = v.number("glycol_percent"), v.number("wanted_percent")
    volumes = {}
    for key, drain in (("drain_and_fill", True), ("add_on_top", False)):
        if drain or v.number("concentrate_percent") != wanted:
            volumes[key] = glycol.concentrate_volume_m3(
                v.number("loop_volume"), present, wanted, v.number("concentrate_percent"), drain
            )
    return volumes


def _percent_basis(v: Values) -> Results:
    fluid, percent = v.text("fluid"), v.number("glycol_percent")
    if v.text("basis") == "volume":
        return {"volume_percent": percent, "mass_percent": mass_percent(fluid, percent)}
    return {"volume_percent": volume_percent(fluid, percent), "mass_percent": percent}


def _optional(key: str, kind: Kind, text: str, instrument: str = "") -> Input:
    return Input(key, kind, text, required=False, instrument=instrument)


_FLOW = Input("flow", Kind.FLOW, "flow by meter", instrument="flow-meter")
_DROP = Input("drop", Kind.PRESSURE_DIFFERENCE, "pressure drop over the valve", instrument="differential-meter")
_SUCTION_DIAMETER = _optional("suction_diameter", Kind.LENGTH, "inside diameter at the suction gauge")
_NPSH_OUT = (
    Output("npsh_available", Kind.LENGTH, "net positive suction head available"),
    Output("npsh_margin", Kind.LENGTH, "available minus required"),
)
_NPSH_REQUIRED = _optional("npsh_required", Kind.LENGTH, "required NPSH at this flow, from the pump curve")
_GLYCOL_FLUID = Input("fluid", Kind.CHOICE, "which glycol", choices=FLUIDS[1:], normal=FLUID.normal)
_GLYCOL_PERCENT = Input("glycol_percent", Kind.PERCENT, "glycol in the fluid", instrument="refractometer")
_GLYCOL_LIMITS = "0 to 60 %; one glycol, no mix; inhibitors not counted"
_GLYCOL_SOURCE = "CoolProp 8.0.0 tables AEG, APG (volume), MEG, MPG (mass)"

CALCULATORS = (
    Calculator(
        "flow-from-drop",
        "Flow from the evaporator's pressure drop",
        (
            Input("evaporator_drop", Kind.PRESSURE_DIFFERENCE, "measured drop", instrument="differential-meter"),
            _optional("rated_flow", Kind.FLOW, "flow on the plate"),
            _optional("rated_drop", Kind.PRESSURE_DIFFERENCE, "drop at that flow"),
            _optional("second_flow", Kind.FLOW, "second point of the curve: flow"),
            _optional("second_drop", Kind.PRESSURE_DIFFERENCE, "second point of the curve: drop"),
            Input("curve_flow", Kind.FLOW, "curve: flows", required=False, many=0),
            Input(
                "curve_drop",
                Kind.PRESSURE_DIFFERENCE,
                "curve: drops, in the same order",
                required=False,
                many=0,
            ),
            *MIXTURE,
            FLUID_TEMPERATURE,
            Input(
                "curve_for",
                Kind.CHOICE,
                "fluid the plate or curve is for",
                required=False,
                default="same",
                choices=("same", "water"),
            ),
        ),
        (
            Output("flow", Kind.FLOW, "flow"),
            Output("exponent", Kind.RATIO, "exponent of flow on drop"),
            Output("share_of_rated", Kind.PERCENT, "flow over rated flow"),
        ),
        "clean evaporator; a curve is refused below 0.5 and above 1.2 times its flows; two points: exponent 0.4 to 0.7",
        "square law, power law or log-log curve; glycol: Blasius friction",
        _flow_from_drop,
        _flow_notes,
        _flow_from_drop_model,
    ),
    _drop("evaporator_in", "evaporator_out", "evaporator_drop"),
    _drop("strainer_in", "strainer_out", "strainer_drop"),
    Calculator(
        "valve-flow",
        "Flow through a valve of known Cv or Kv",
        (
            Input("flow_coefficient", Kind.FLOW_COEFFICIENT, "Kv or Cv at this opening"),
            _DROP,
            *MIXTURE,
            FLUID_TEMPERATURE,
        ),
        (Output("flow", Kind.FLOW, "flow"),),
        "turbulent, no flashing; density only, no viscosity correction",
        "IEC 60534-2-1 / ISA 75.01; Cv = 1.156 Kv",
        _valve_flow,
    ),
    Calculator(
        "valve-coefficient",
        "Flow coefficient from flow and drop",
        (_FLOW, _DROP, *MIXTURE, FLUID_TEMPERATURE),
        (Output("flow_coefficient", Kind.FLOW_COEFFICIENT, "Kv or Cv"),),
        "turbulent, no flashing",
        "IEC 60534-2-1 / ISA 75.01; Cv = 1.156 Kv",
        _valve_coefficient,
    ),
    Calculator(
        "strainer-loading",
        "Strainer against clean",
        (
            Input("strainer_drop", Kind.PRESSURE_DIFFERENCE, "measured drop", instrument="differential-meter"),
            _FLOW,
            Input("clean_drop", Kind.PRESSURE_DIFFERENCE, "drop when clean"),
            Input("clean_flow", Kind.FLOW, "flow of that clean drop"),
        ),
        (
            Output("resistance_ratio", Kind.RATIO, "resistance over clean; 2 to 3 = clogging"),
            Output("clean_drop_now", Kind.PRESSURE_DIFFERENCE, "drop a clean screen would have at this flow"),
            Output("open_share", Kind.PERCENT, "open share, if resistance goes with 1/share^2"),
        ),
        "same fluid; makers publish no clogging law, so the open share is an estimate",
        "K = dP/Q^2; 2 to 3 times clean: common practice",
        _strainer,
    ),
    Calculator(
        "meter-correction",
        "Flow-meter reading on another fluid",
        (
            Input("meter", Kind.CHOICE, "kind of meter", choices=flow.METERS),
            _FLOW,
            *MIXTURE,
            FLUID_TEMPERATURE,
            Input(
                "calibrated_density",
                Kind.DENSITY,
                "density the meter was calibrated for",
                required=False,
                default="998.2 kg/m3",
            ),
            Input(
                "float_density",
                Kind.DENSITY,
                "density of a variable-area meter's float",
                required=False,
                default="8000 kg/m3",
            ),
        ),
        (Output("flow", Kind.FLOW, "true flow"),),
        "density effect only; viscosity matters for small variable-area meters",
        "energy balance of each meter",
        _meter,
        _meter_notes,
    ),
    Calculator(
        "capacity",
        "Cooling capacity from flow and fluid temperatures",
        (_FLOW, ENTERING_FLUID, LEAVING_FLUID, *MIXTURE),
        (
            Output("capacity", Kind.POWER, "heat taken from the fluid"),
            Output("capacity_tons", Kind.RATIO, "the same in tons of 12,000 Btu/h"),
            Output("fluid_difference", Kind.TEMPERATURE_DIFFERENCE, "entering minus leaving"),
            Output("heat_factor", Kind.RATIO, "Btu/h per gpm and F; water 500"),
        ),
        "flow through this evaporator; freeze point to 60 C",
        "Q rho cp dT",
        _capacity,
        _capacity_notes,
    ),
    Calculator(
        "flow-from-capacity",
        "Flow that a known capacity implies",
        (
            Input("cooling", Kind.POWER, "cooling at these conditions, from the machine's data"),
            ENTERING_FLUID,
            LEAVING_FLUID,
            *MIXTURE,
        ),
        (Output("flow", Kind.FLOW, "flow"),),
        "steady running; as good as the capacity figure",
        "Q = P/(rho cp dT)",
        _flow_for_capacity,
        lambda v, results, spread: basis_note(v),
    ),
    Calculator(
        "pump-head",
        "Pump head from its two gauges",
        (
            Input("pump_suction", Kind.GAUGE_PRESSURE, "suction gauge", instrument="dial-100-psi"),
            Input("pump_discharge", Kind.GAUGE_PRESSURE, "discharge gauge", instrument="dial-100-psi"),
            Input(
                "discharge_above_suction",
                Kind.LENGTH,
                "how much higher the discharge gauge sits",
                required=False,
                default="0 m",
            ),
            _optional("flow", Kind.FLOW, "flow, for the velocity heads", "flow-meter"),
            _SUCTION_DIAMETER,
            _optional("discharge_diameter", Kind.LENGTH, "inside diameter at the discharge gauge"),
            *MIXTURE,
            FLUID_TEMPERATURE,
        ),
        (
            Output("pump_head", Kind.LENGTH, "head in the pumped fluid"),
            Output("pump_rise", Kind.PRESSURE_DIFFERENCE, "discharge minus suction"),
        ),
        "velocity heads only where both diameters and the flow are given",
        "Bernoulli",
        _pump_head,
    ),
    Calculator(
        "pump-power",
        "Water and shaft power of a pump",
        (
            _FLOW,
            Input("head", Kind.LENGTH, "head"),
            Input("efficiency", Kind.PERCENT, "pump efficiency", required=False, default="70 %"),
            *MIXTURE,
            FLUID_TEMPERATURE,
        ),
        (
            Output("water_power", Kind.POWER, "power given to the fluid"),
            Output("shaft_power", Kind.POWER, "power at the shaft"),
        ),
        "efficiency 5 to 100 %; the default of 70 % is common practice",
        "rho g Q H",
        _pump_power,
    ),
    Calculator(
        "affinity",
        "Pump at another speed",
        (
            Input("speed", Kind.SPEED, "speed now"),
            Input("new_speed", Kind.SPEED, "new speed"),
            _optional("flow", Kind.FLOW, "flow now", "flow-meter"),
            _optional("head", Kind.LENGTH, "head now"),
            _optional("power", Kind.POWER, "power now"),
        ),
        (
            Output("speed_ratio", Kind.RATIO, "new over old"),
            Output("flow_factor", Kind.RATIO, "on flow"),
            Output("head_factor", Kind.RATIO, "on head"),
            Output("power_factor", Kind.RATIO, "on power"),
            Output("new_flow", Kind.FLOW, "flow at the new speed"),
            Output("new_head", Kind.LENGTH, "head there"),
            Output("new_power", Kind.POWER, "power there"),
        ),
        "ratio 0.1 to 3; same pump and fluid; a system without static head",
        "affinity laws n, n^2, n^3",
        _affinity,
    ),
    Calculator(
        "npsh",
        "NPSH available from the suction gauge",
        (
            pressure("pump_suction", "suction gauge, pump running", instrument="dial-100-psi"),
            Input("fluid_temperature", Kind.TEMPERATURE, "fluid temperature at the pump"),
            Input("gauge_above_pump", Kind.LENGTH, "gauge above the impeller", required=False, default="0 m"),
            _optional("flow", Kind.FLOW, "flow, for the velocity head", "flow-meter"),
            _SUCTION_DIAMETER,
            _NPSH_REQUIRED,
            *MIXTURE,
            ALTITUDE,
        ),
        _NPSH_OUT,
        "wants required + 0.5 m; gauge beside the pump",
        "definition (Hydraulic Institute)",
        _npsh,
        _npsh_notes,
    ),
    Calculator(
        "npsh-from-surface",
        "NPSH available from the liquid surface",
        (
            Input(
                "surface_pressure",
                Kind.GAUGE_PRESSURE,
                "pressure on the surface; open tank 0",
                required=False,
                default="0 psig",
                absolute=True,
            ),
            Input("level_above_pump", Kind.LENGTH, "surface above the impeller; negative for a lift"),
            Input("suction_loss", Kind.LENGTH, "head lost before the pump"),
            Input("fluid_temperature", Kind.TEMPERATURE, "fluid temperature at the pump"),
            _NPSH_REQUIRED,
            *MIXTURE,
            ALTITUDE,
        ),
        _NPSH_OUT,
        "wants required + 0.5 m",
        "definition (Hydraulic Institute)",
        _npsh_surface,
        _npsh_notes,
    ),
    Calculator(
        "freeze-point",
        "Freeze point of the loop",
        (_GLYCOL_FLUID, _GLYCOL_PERCENT, BASIS),
        (Output("freeze_point", Kind.TEMPERATURE, "first ice crystals"),),
        f"{_GLYCOL_LIMITS}; sources differ by 1 to 2 C",
        _GLYCOL_SOURCE,
        _freeze,
        lambda v, results, spread: basis_note(v),
        _freeze_model,
    ),
    Calculator(
        "minimum-leaving",
        "Lowest leaving temperature the fluid allows",
        (
            FLUID,
            GLYCOL,
            BASIS,
            Input(
                "leaving_above_inlet",
                Kind.TEMPERATURE_DIFFERENCE,
                "leaving fluid above refrigerant inlet at full load",
                required=False,
                default="10 delta_degF",
            ),
        ),
        (
            Output("minimum_leaving", Kind.TEMPERATURE, "lowest leaving fluid temperature"),
            Output("freeze_point", Kind.TEMPERATURE, "freeze point"),
            Output(
                "lowest_refrigerant",
                Kind.TEMPERATURE,
                "coldest refrigerant inlet: freeze point + 5 F; water 32 F",
            ),
            Output("lowest_ambient", Kind.TEMPERATURE, "lowest ambient of the standing loop: freeze point + 10 F"),
        ),
        f"{_GLYCOL_LIMITS}; margins are common practice; plain water never under 40 F",
        _GLYCOL_SOURCE,
        _protection,
        lambda v, results, spread: basis_note(v),
        _freeze_model,
    ),
    Calculator(
        "glycol-concentrate",
        "Glycol or water to add to a loop",
        (
            Input("loop_volume", Kind.VOLUME, "fluid volume of the loop"),
            Input("glycol_percent", Kind.PERCENT, "volume percent now", instrument="refractometer"),
            Input("wanted_percent", Kind.PERCENT, "volume percent wanted"),
            Input(
                "concentrate_percent",
                Kind.PERCENT,
                "volume percent of what is added; 0 for water",
                required=False,
                default="100 %",
            ),
        ),
        (
            Output("drain_and_fill", Kind.VOLUME, "drain this much first, then fill the same"),
            Output("add_on_top", Kind.VOLUME, "added on top, where the loop has room"),
        ),
        "volume percent; mixing shrinks the volume by under 1 %",
        "mass balance of the glycol",
        _concentrate,
    ),
    Calculator(
        "glycol-basis",
        "Volume percent and mass percent",
        (_GLYCOL_FLUID, _GLYCOL_PERCENT, BASIS),
        (
            Output("volume_percent", Kind.PERCENT, "by volume"),
            Output("mass_percent", Kind.PERCENT, "by mass"),
        ),
        "volumes before mixing, near 20 C",
        "neat densities 1113 and 1036 kg/m3, from memory",
        _percent_basis,
    ),
)
