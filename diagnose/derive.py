"""From readings to derived quantities, each with its uncertainty and its sensitivity to every reading.

The sensitivities let a lying instrument move everything computed from it together without solving anything again.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from diagnose.calculators.capacity import capacity_w
from diagnose.calculators.electrical import unbalance_pct
from diagnose.calculators.flow import flow_from_curve, glycol_drop_factor
from diagnose.calculators.heat_transfer import condenser_split_k, condensing_k, evaporator_inlet_k
from diagnose.calculators.refrigerant import (
    compression_ratio,
    discharge_superheat_k,
    discharge_temperature_k,
    subcooling_k,
    superheat_k,
)
from diagnose.machine import GLIDE, MachineData
from diagnose.places import Topology, circuit_of
from diagnose.properties.fluids import density_kg_m3, freeze_point_k, viscosity_pa_s
from diagnose.properties.saturation import t_bubble_k, t_dew_k
from diagnose.readings import Reading, Readings, Variable
from shared.errors import ChillerError
from shared.quantities import DERIVED, Kind
from shared.units import PSI_PA

F = 5.0 / 9.0
DEFAULT_SET_POINT_K = 273.15 + 6.67  # 44 F, the rating point of air-cooled chillers (AHRI 550/590)
DEFAULT_SPLIT_K = 10 * F  # 54 F in, 44 F out at rating
NO_SUBCOOLING_K = 1.0  # hardly any is left: that is a word of its own, whatever the card says
SHUTOFF_OVER_DESIGN = 1.25  # shut-off head over duty head when the card is silent: 1.1 to 1.3, from memory
SHUTOFF_SPREAD = 0.08  # standard deviation of that ratio from pump to pump, a little under half of its range
DEFAULT_STRAINER_PA = (
    2 * PSI_PA
)  # clean strainer at design flow when the card is silent: a maker's note, common practice
LEAST_FLOW_RATIO = 0.3  # below this share of design flow a loss factor says nothing
SCROLL_EFFICIENCY = 0.68  # isentropic, motor included: 0.60-0.75, published scroll tests near ratio 3
CURVE_TEMPERATURE_K = 280.0
CONTROL_NOMINALS = (24.0, 120.0, 230.0)
# liquid before the valve where nobody read it, and what 10 K of it do to a blend's inlet; common practice, no source
USUAL_LIQUID_K, USUAL_INLET_SD_K = 308.15, 0.6
STALE_AIR_SD_K = 2.0  # standing pressure compared with air read at another moment


# the readings each derived quantity is computed from, as alternatives; what a look will let us judge follows from it
INPUTS: dict[str, tuple[frozenset[str], ...]] = {
    name: tuple(frozenset(alternative.split()) for alternative in alternatives)
    for name, alternatives in {
        "suction_saturation": ("suction_pressure",),
        "suction_over_set": ("suction_pressure",),
        "superheat": ("suction_pressure suction_line",),
        "subcooling": ("liquid_pressure liquid_line",),
        "subcooling_over_card": ("liquid_pressure liquid_line",),
        "condensing_temperature": ("liquid_pressure", "discharge_pressure"),
        "condenser_split": ("liquid_pressure entering_air", "discharge_pressure entering_air"),
        "condenser_split_over_clean": ("liquid_pressure entering_air", "discharge_pressure entering_air"),
        "approach": ("leaving_fluid suction_pressure",),
        "compression_ratio": ("suction_pressure liquid_pressure", "suction_pressure discharge_pressure"),
        "discharge_excess": (
            "suction_pressure suction_line discharge_line liquid_pressure",
            "suction_pressure suction_line discharge_line discharge_pressure",
        ),
        "drier_drop": ("drier_in drier_out",),
        "standing_excess": ("liquid_pressure entering_air", "suction_pressure entering_air"),
        "freeze_margin": ("suction_pressure",),
        "air_rise": ("leaving_air entering_air",),
        "fluid_split_ratio": ("entering_fluid leaving_fluid",),
        "evaporator_drop_ratio": ("evaporator_drop", "evaporator_in evaporator_out"),
        "flow_ratio": ("flow",),
        "flow_curve_over_meter": ("flow evaporator_drop", "flow evaporator_in evaporator_out"),
        "strainer_ratio": ("strainer_drop", "strainer_in strainer_out"),
        "pump_rise_index": ("pump_suction pump_discharge",),
        "pump_suction_change": ("pump_suction",),
        "fill_pressure": ("fill_pressure", "expansion_tank"),
        "entering_over_design": ("entering_fluid",),
        "leaving_over_set": ("leaving_fluid",),
        "set_point": ("set_point",),
        "set_point_over_card": ("set_point",),
        "leaving_rate": ("leaving_fluid",),
        "air_over_weather": ("entering_air weather_air",),
        "air_spread": ("entering_air",),
        "weather_air": ("weather_air", "entering_air"),
        "control_voltage_ratio": ("control_voltage",),
        "pump_current_ratio": ("line_current",),
        "pump_current_unbalance": ("line_current",),
        "compressor_current_ratio": ("line_current",),
        "compressor_current_unbalance": ("line_current",),
        "fan_current_ratio": ("fan_current",),
        "overload_dial_ratio": ("overload_setting",),
        "current_to_dial": ("line_current overload_setting",),
        "drive_frequency_ratio": ("drive_frequency",),
        "time_to_trip": ("time_to_trip",),
        "cooling_time": ("time_running",),
        "load_unbalance": ("load_voltage",),
        "voltage_ratio": ("line_voltage",),
        "voltage_unbalance": ("line_voltage",),
        "upstream_unbalance": ("board_voltage",),
        "voltage_drop_ratio": ("board_voltage line_voltage",),
        "frequency_ratio": ("frequency",),
        "unbalance_amplification": ("line_voltage line_current",),
        "valve_opening": ("valve_opening",),
        "glycol_margin": ("weather_air",),
        "superheat_of_expected": ("suction_pressure suction_line entering_fluid entering_air",),
        "subcooling_of_expected": ("liquid_pressure liquid_line entering_fluid entering_air",),
        "approach_of_expected": ("suction_pressure leaving_fluid entering_fluid entering_air",),
        "split_of_expected": (
            "liquid_pressure entering_fluid entering_air",
            "discharge_pressure entering_fluid entering_air",
        ),
        "suction_over_expected": ("suction_pressure entering_fluid entering_air",),
        "head_over_expected": (
            "liquid_pressure entering_fluid entering_air",
            "discharge_pressure entering_fluid entering_air",
        ),
        "fluid_split_of_expected": ("entering_fluid leaving_fluid entering_air",),
        "compressor_current_of_expected": ("line_current entering_fluid entering_air",),
    }.items()
}


@dataclass(frozen=True)
class DerivedValue:
    """value and standard uncertainty in SI; partials: change per unit of each variable. told: how people read it, where the
    number alone would not say it.
    """

    quantity: str
    place: str
    value: float
    sd: float
    kind: Kind
    partials: dict[Variable, float]
    sources: tuple[Reading, ...]
    own_sd: float = 0.0
    condition: str = ""
    told: str = ""

    @property
    def state(self) -> str:
        """State of the machine when it was read (of the first source)."""
        return self.sources[0].state if self.sources else ""


@dataclass
class Derivation:
    """Collects derived values and the notes on what could not be computed."""

    machine: MachineData
    readings: Readings
    topology: Topology
    values: dict[tuple[str, str], DerivedValue] = field(default_factory=dict)
    conditioned: list[DerivedValue] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def add(
        self,
        name: str,
        place: str,
        sources: Sequence[Reading | None],
        function: Callable[[Sequence[float]], float],
        own_sd: float = 0.0,
        condition: str = "",
    ) -> float | None:
        """Evaluate ``function`` on the flattened values of ``sources``; None when a source is missing or it is refused."""
        if any(s is None for s in sources):
            return None
        have = tuple(s for s in sources if s is not None)
        flat = [(s.variable(i), v, sd) for s in have for i, (v, sd) in enumerate(zip(s.values, s.sd, strict=True))]
        centre = [v for _, v, _ in flat]
        try:
            value = function(centre)
        except ChillerError as error:
            self.notes.append(f"{DERIVED[name].title}: {error.line()}")
            return None
        except (ValueError, ZeroDivisionError, OverflowError):
            return None
        if not math.isfinite(value):
            return None
        partials: dict[Variable, float] = {}
        variance = own_sd**2
        for index, (variable, v, sd) in enumerate(flat):
            step = sd or max(abs(v) * 1e-4, 1e-6)
            slope = _slope(function, centre, index, step, value)
            partials[variable] = partials.get(variable, 0.0) + slope
            variance += (slope * sd) ** 2
        made = DerivedValue(
            name, place, value, math.sqrt(variance), DERIVED[name].kind, partials, have, own_sd, condition
        )
        if condition:
            self.conditioned.append(made)
        else:
            self.values[name, place] = made
        return value

    def run(self, quantity: str, place: str) -> Reading | None:
        """The reading that counts now in the running machine."""
        return self.readings.running.get((quantity, place))

    def rest(self, quantity: str, place: str) -> Reading | None:
        """The reading that counts now in the machine at rest."""
        return self.readings.resting.get((quantity, place))

    def any(self, quantity: str, place: str) -> Reading | None:
        """Running reading, else at rest."""
        return self.run(quantity, place) or self.rest(quantity, place)


def _slope(
    function: Callable[[Sequence[float]], float], centre: list[float], index: int, step: float, value: float
) -> float:
    up, down = list(centre), list(centre)
    up[index] += step
    down[index] -= step
    high = low = None
    with contextlib.suppress(ValueError, ZeroDivisionError, OverflowError):
        high = function(up)
    with contextlib.suppress(ValueError, ZeroDivisionError, OverflowError):
        low = function(down)
    if high is not None and low is not None:
        return (high - low) / (2 * step)
    if high is not None:
        return (high - value) / step
    return (value - low) / step if low is not None else 0.0


def derive_all(machine: MachineData, readings: Readings, topology: Topology) -> Derivation:
    """All derived quantities that these readings allow."""
    work = Derivation(machine, readings, topology)
    _fluid(work)
    for place in dict.fromkeys(p for (_, p) in (*readings.running, *readings.resting) if p.startswith("circuit:")):
        _circuit(work, place)
    _supply(work)
    _motors(work)
    return work


# refrigerant circuits ------------------------------------------------------------------------------------------------


def _circuit(work: Derivation, place: str) -> None:
    machine, atmosphere = work.machine, work.machine.atmosphere_pa
    refrigerant = machine.refrigerant
    drier_in, drier_out = work.run("drier_in", place), work.run("drier_out", place)
    work.add("drier_drop", place, [drier_in, drier_out], lambda v: v[0] - v[1])
    suction, line = work.run("suction_pressure", place), work.run("suction_line", place)
    liquid, liquid_line = work.run("liquid_pressure", place), work.run("liquid_line", place)
    discharge, discharge_line = work.run("discharge_pressure", place), work.run("discharge_line", place)
    opening = work.any("valve_opening", place)
    work.add("valve_opening", place, [opening], lambda v: v[0])
    head = liquid or discharge
    air = air_at_coil(work)
    entering, leaving = work.run("entering_fluid", "unit"), work.run("leaving_fluid", "unit")
    work.add("pressure_split", place, [head, suction], lambda v: v[0] - v[1])
    low_cut, high_cut = machine.get("low_pressure_cutout"), machine.get("high_pressure_cutout")
    if low_cut is not None:
        work.add("low_pressure_margin", place, [suction], lambda v: v[0] - low_cut)
    if high_cut is not None:
        work.add("head_margin", place, [head], lambda v: high_cut - v[0])
    work.add(
        "compression_ratio",
        place,
        [suction, discharge or liquid],
        lambda v: compression_ratio(v[0] + atmosphere, v[1] + atmosphere),
    )
    work.add("suction_over_fluid", place, [line, entering], lambda v: v[0] - v[1])
    work.add("liquid_over_air", place, [liquid_line, air], lambda v: v[0] - v[1])
    work.add("air_rise", place, [work.run("leaving_air", "unit"), air], lambda v: v[0] - v[1])
    if not refrigerant:
        if suction or head:
            work.notes.append("refrigerant not told: pressures cannot be turned into temperatures; read the nameplate")
        return
    work.add("suction_saturation", place, [suction], lambda v: t_dew_k(refrigerant, v[0] + atmosphere))
    set_point = _set_point(work)
    if set_point is not None:
        work.add("suction_over_set", place, [suction], lambda v: t_dew_k(refrigerant, v[0] + atmosphere) - set_point)
    work.add("superheat", place, [suction, line], lambda v: superheat_k(refrigerant, v[0] + atmosphere, v[1]))
    left = work.add(
        "subcooling", place, [liquid, liquid_line], lambda v: subcooling_k(refrigerant, v[0] + atmosphere, v[1])
    )
    usual = machine.card.get("subcooling")
    if usual and left is not None and left > NO_SUBCOOLING_K:
        work.add(
            "subcooling_over_card",
            place,
            [liquid, liquid_line],
            lambda v: subcooling_k(refrigerant, v[0] + atmosphere, v[1]) - usual[0],
        )
    work.add("condensing_temperature", place, [head], lambda v: condensing_k(refrigerant, v[0] + atmosphere))
    split = work.add(
        "condenser_split", place, [head, air], lambda v: condenser_split_k(refrigerant, v[0] + atmosphere, v[1])
    )
    clean = machine.card.get("condenser_split")
    if clean and split is not None:
        work.add(
            "condenser_split_over_clean",
            place,
            [head, air],
            lambda v: condenser_split_k(refrigerant, v[0] + atmosphere, v[1]) - clean[0],
        )
    work.add("approach", place, [leaving, suction], lambda v: v[0] - t_dew_k(refrigerant, v[1] + atmosphere))
    gas = discharge or liquid
    work.add(
        "discharge_superheat",
        place,
        [gas, discharge_line],
        lambda v: discharge_superheat_k(refrigerant, v[0] + atmosphere, v[1]),
    )
    work.add(
        "discharge_excess",
        place,
        [suction, line, gas, discharge_line],
        lambda v: (
            v[3] - discharge_temperature_k(refrigerant, v[0] + atmosphere, v[1], v[2] + atmosphere, SCROLL_EFFICIENCY)
        ),
    )
    _freeze(work, place, suction, liquid_line)
    _standing(work, place, air)


def _freeze(work: Derivation, place: str, suction: Reading | None, liquid_line: Reading | None) -> None:
    machine, atmosphere, refrigerant = work.machine, work.machine.atmosphere_pa, work.machine.refrigerant
    freeze = _freeze_point(machine)
    if liquid_line is not None:
        work.add(
            "evaporator_inlet",
            place,
            [suction, liquid_line],
            lambda v: evaporator_inlet_k(refrigerant, v[0] + atmosphere, v[1]),
        )
    elif refrigerant not in GLIDE:
        work.add("evaporator_inlet", place, [suction], lambda v: t_dew_k(refrigerant, v[0] + atmosphere))
    else:
        # liquid fed at 35 C, give or take 10 K: between dew and bubble, where the bubble point would take a sound machine for iced
        work.add(
            "evaporator_inlet",
            place,
            [suction],
            lambda v: evaporator_inlet_k(refrigerant, v[0] + atmosphere, USUAL_LIQUID_K),
            own_sd=USUAL_INLET_SD_K,
        )
    inlet = work.values.get(("evaporator_inlet", place))
    if inlet is not None and freeze is not None:
        work.values["freeze_margin", place] = DerivedValue(
            "freeze_margin",
            place,
            inlet.value - freeze,
            inlet.sd,
            Kind.TEMPERATURE_DIFFERENCE,
            inlet.partials,
            inlet.sources,
            inlet.own_sd,
        )


def _freeze_point(machine: MachineData) -> float | None:
    if machine.fluid == "water":
        return 273.15
    if machine.fluid and machine.glycol_percent > 0:
        try:
            return freeze_point_k(machine.fluid, machine.glycol_percent, machine.glycol_basis)
        except ChillerError:
            return None
    return None


def _standing(work: Derivation, place: str, running_air: Reading | None) -> None:
    atmosphere, refrigerant = work.machine.atmosphere_pa, work.machine.refrigerant
    standing = (
        work.rest("liquid_pressure", place)
        or work.rest("discharge_pressure", place)
        or work.rest("suction_pressure", place)
    )
    air = work.rest("entering_air", "unit") or work.rest("weather_air", "unit")
    own_sd = 0.0
    if air is None:
        air, own_sd = running_air or work.run("weather_air", "unit"), STALE_AIR_SD_K
    work.add(
        "standing_excess", place, [standing, air], lambda v: t_bubble_k(refrigerant, v[0] + atmosphere) - v[1], own_sd
    )


def air_at_coil(work: Derivation) -> Reading | None:
    """Air entering the coil: one reading, or the mean of readings taken at several sides."""
    plain = work.run("entering_air", "unit")
    sides = [
        r for r in work.readings.conditioned if r.quantity == "entering_air" and r.state in ("cooling", "pump-only")
    ]
    if plain is not None or not sides:
        return plain or work.rest("entering_air", "unit")
    latest = {r.condition.lower(): r for r in sides}
    values = [r.values[0] for r in latest.values()]
    first = sides[-1]
    return Reading(
        first.entry,
        "entering_air",
        "unit",
        first.state,
        first.steadiness,
        (sum(values) / len(values),),
        first.sd,
        first.kind,
        first.echo,
        first.minutes,
        first.timed,
        first.instrument,
        first.instrument_kind,
        "",
        "today",
        first.named,
        first.metric,
    )


def _set_point(work: Derivation) -> float | None:
    told = work.any("set_point", "unit")
    if told is not None:
        return told.values[0]
    given = work.machine.get("set_point")
    if given is not None:
        return given
    return DEFAULT_SET_POINT_K if work.machine.fluid in ("", "water") else None


# fluid side -----------------------------------------------------------------------------------------------------------


def _design_split(machine: MachineData) -> float:
    if "fluid_split" in machine.card:
        return machine.card["fluid_split"][0]
    capacity, flow = machine.get("capacity"), machine.get("design_flow")
    if capacity and flow:
        try:
            fluid, percent, basis = machine.fluid or "water", machine.glycol_percent, machine.glycol_basis
            return capacity / capacity_w(flow, CURVE_TEMPERATURE_K + 1.0, CURVE_TEMPERATURE_K, fluid, percent, basis)
        except ChillerError:
            return DEFAULT_SPLIT_K
    return DEFAULT_SPLIT_K


def glycol_factor(machine: MachineData) -> float:
    """Drop with this fluid over drop with water at the same flow; curves are for water unless the card says otherwise."""
    if machine.fluid in ("", "water") or not machine.glycol_percent:
        return 1.0
    try:
        rho = density_kg_m3(machine.fluid, machine.glycol_percent, machine.glycol_basis, CURVE_TEMPERATURE_K)
        mu = viscosity_pa_s(machine.fluid, machine.glycol_percent, machine.glycol_basis, CURVE_TEMPERATURE_K)
        return glycol_drop_factor(
            rho / density_kg_m3("water", 0.0, "volume", CURVE_TEMPERATURE_K),
            mu / viscosity_pa_s("water", 0.0, "volume", CURVE_TEMPERATURE_K),
        )
    except ChillerError:
        return 1.0


def _signed_root(ratio: float) -> float:
    return math.copysign(math.sqrt(abs(ratio)), ratio)


def _fluid(work: Derivation) -> None:
    machine = work.machine
    inlet, outlet = work.run("evaporator_in", "unit"), work.run("evaporator_out", "unit")
    drop = work.run("evaporator_drop", "unit")
    sources: list[Reading | None] = [drop] if drop is not None else [inlet, outlet]

    def fall(v: Sequence[float]) -> float:
        return v[0] if len(v) == 1 else v[0] - v[1]

    factor = glycol_factor(machine)
    design_flow, design_drop = machine.get("design_flow"), machine.get("design_drop")
    if design_drop is None and "evaporator_drop" in machine.card:
        design_drop = machine.card["evaporator_drop"][0]
    if design_drop is None and machine.curve and design_flow:
        design_drop = _drop_on_curve(machine.curve, design_flow)
    own = 0.12 if factor != 1.0 else 0.0
    if design_drop:
        expected = design_drop * factor
        work.add("evaporator_drop_ratio", "unit", sources, lambda v: fall(v) / expected, own_sd=own * 0.8)
        if design_flow:
            work.add(
                "flow_by_drop",
                "unit",
                sources,
                lambda v: design_flow * _signed_root(fall(v) / expected),
                own_sd=0.5 * own * design_flow,
            )
            work.add(
                "flow_by_drop_ratio", "unit", sources, lambda v: _signed_root(fall(v) / expected), own_sd=0.5 * own
            )
    elif len(machine.curve) >= 2:
        work.add("flow_by_drop", "unit", sources, lambda v: flow_from_curve(max(fall(v), 0.0) / factor, machine.curve))
    meter = work.run("flow", "unit")
    if design_flow:
        work.add("flow_ratio", "unit", [meter], lambda v: v[0] / design_flow)
    if design_flow and design_drop and meter is not None and meter.values[0] > 0.1 * design_flow:
        expected_drop = design_drop * factor
        work.add(
            "flow_curve_over_meter",
            "unit",
            [*sources, meter],
            lambda v: design_flow * _signed_root(fall(v[:-1]) / expected_drop) / v[-1],
            own_sd=0.5 * own,
        )
    _temperatures(work, meter)
    _strainer(work)
    _pump(work)
    _air_side(work)


def _drop_on_curve(curve: tuple[tuple[float, float], ...], flow: float) -> float | None:
    if len(curve) == 1:
        return curve[0][1] * (flow / curve[0][0]) ** 2
    below = max((p for p in curve if p[0] <= flow), default=curve[0])
    above = min((p for p in curve if p[0] > below[0]), default=curve[-1])
    if above[0] == below[0]:
        below = curve[-2]
    exponent = math.log(above[1] / below[1]) / math.log(above[0] / below[0])
    return float(below[1] * (flow / below[0]) ** exponent)


def _temperatures(work: Derivation, meter: Reading | None) -> None:
    machine = work.machine
    entering, leaving = work.run("entering_fluid", "unit"), work.run("leaving_fluid", "unit")
    split = work.add("fluid_split", "unit", [entering, leaving], lambda v: v[0] - v[1])
    design = _design_split(machine)
    if split is not None and entering is not None and entering.state == "cooling":
        work.add("fluid_split_ratio", "unit", [entering, leaving], lambda v: (v[0] - v[1]) / design)
    set_point = _set_point(work)
    design_in = machine.get("design_entering") or ((set_point or DEFAULT_SET_POINT_K) + design)
    work.add(
        "entering_over_design", "unit", [entering or work.rest("entering_fluid", "unit")], lambda v: v[0] - design_in
    )
    if set_point is not None:
        work.add("leaving_over_set", "unit", [leaving], lambda v: v[0] - set_point)
    told, ordered = work.any("set_point", "unit"), machine.get("set_point") or machine.card.get("set_point", (None,))[0]
    if told is not None:
        work.add("set_point", "unit", [told], lambda v: v[0])
        if ordered is not None:
            work.add("set_point_over_card", "unit", [told], lambda v: v[0] - ordered)
    fluid = machine.fluid or "water"

    def heat(flow: float, hot: float, cold: float) -> float:
        return capacity_w(flow, hot, cold, fluid, machine.glycol_percent, machine.glycol_basis)

    if meter is not None:
        work.add("capacity", "unit", [meter, entering, leaving], lambda v: heat(v[0], v[1], v[2]))
    else:
        flow = work.values.get(("flow_by_drop", "unit"))
        design_flow, design_drop = machine.get("design_flow"), machine.get("design_drop")
        if flow is not None and design_flow and design_drop:
            expected, count = design_drop * glycol_factor(machine), sum(len(s.values) for s in flow.sources)
            work.add(
                "capacity",
                "unit",
                [*flow.sources, entering, leaving],
                lambda v: heat(
                    design_flow * _signed_root((v[0] if count == 1 else v[0] - v[1]) / expected), v[-2], v[-1]
                ),
            )
    plate = machine.get("capacity")
    made = work.values.get(("capacity", "unit"))
    if plate and made is not None:
        work.values["capacity_ratio", "unit"] = DerivedValue(
            "capacity_ratio",
            "unit",
            made.value / plate,
            made.sd / plate,
            Kind.RATIO,
            {k: p / plate for k, p in made.partials.items()},
            made.sources,
        )
    for quantity in ("leaving_fluid", "entering_fluid"):
        series = [r for r in work.readings.series.get((quantity, "unit"), []) if r.timed and r.source == "today"]
        if len(series) >= 2 and series[-1].minutes - series[-2].minutes >= 4:
            first, last = series[-2], series[-1]
            seconds = (last.minutes - first.minutes) * 60.0
            # the same sensor read twice: its fixed error cancels, a tenth of its uncertainty stays as noise
            noise = 0.1 * math.hypot(first.sd[0], last.sd[0]) / seconds
            value = (last.values[0] - first.values[0]) / seconds
            work.values["leaving_rate", "unit"] = DerivedValue(
                "leaving_rate", "unit", value, noise, Kind.RATE, {}, (last, first), noise
            )
            return


def _strainer(work: Derivation) -> None:
    machine = work.machine
    before, after, direct = (work.run(q, "unit") for q in ("strainer_in", "strainer_out", "strainer_drop"))
    sources: list[Reading | None] = (
        [direct] if direct is not None and (before is None or direct.entry > before.entry) else [before, after]
    )

    def fall(v: Sequence[float]) -> float:
        return v[0] if len(v) == 1 else v[0] - v[1]

    if work.add("strainer_drop", "unit", sources, fall) is None:
        sources = [direct]
        if work.add("strainer_drop", "unit", sources, fall) is None:
            return
    design_flow = machine.get("design_flow")
    clean = machine.get("strainer_clean_drop") or machine.card.get("strainer_drop", (DEFAULT_STRAINER_PA,))[0]
    clean_flow = machine.get("strainer_clean_flow") or design_flow
    ratio = work.values.get(("flow_by_drop_ratio", "unit")) or work.values.get(("flow_ratio", "unit"))
    share = 1.0
    if ratio is not None and clean_flow and design_flow:
        share = ratio.value * design_flow / clean_flow
        if share < LEAST_FLOW_RATIO:
            return
        share = min(share, 1.3)
    # the flow enters through its value only: its error moves the loss factor less than the gauges do
    work.add("strainer_ratio", "unit", sources, lambda v: fall(v) / clean / share**2)
    rest_in, rest_out = work.rest("strainer_in", "unit"), work.rest("strainer_out", "unit")
    work.add("gauges_at_rest", "unit", [rest_in, rest_out], lambda v: v[0] - v[1])


def pump_rise_index(
    rise: float, design: float | None, shutoff: float | None, ratio: float = SHUTOFF_OVER_DESIGN
) -> float:
    """0 nothing, 1 the card's rise, 2 the shut-off rise; linear between. One of design and shutoff must be known; the other is it
    by ``ratio``.
    """
    if design is None:
        assert shutoff is not None
        design = shutoff / ratio
    if shutoff is None:
        shutoff = design * ratio
    return rise / design if rise <= design else 1.0 + (rise - design) / (shutoff - design)


def _pump(work: Derivation) -> None:
    machine, place = work.machine, f"pump:{work.topology.main_pump}"
    suction, discharge = work.run("pump_suction", place), work.run("pump_discharge", place)
    rise = work.add("pump_rise", "unit", [discharge, suction], lambda v: v[0] - v[1])
    card = machine.card
    design = machine.get("pump_design_rise") or card.get("pump_rise", (None,))[0]
    if design is None and "pump_suction" in card and "pump_discharge" in card:
        design = card["pump_discharge"][0] - card["pump_suction"][0]
    before = [work.readings.references.get((q, place)) for q in ("pump_discharge", "pump_suction")]
    if design is None and before[0] is not None and before[1] is not None:
        design = before[0].values[0] - before[1].values[0]
    if design is not None and design <= 0.0:
        design = None  # two gauges told the wrong way round say nothing of the pump
    shutoff = machine.get("pump_shutoff_rise")
    if rise is not None and (design or shutoff):
        guessed = 0.0
        if design is None:  # how far the index moves with the ratio that stands in for the duty rise
            ratios = (SHUTOFF_OVER_DESIGN - SHUTOFF_SPREAD, SHUTOFF_OVER_DESIGN + SHUTOFF_SPREAD)
            low, high = (pump_rise_index(rise, None, shutoff, ratio) for ratio in ratios)
            guessed = abs(high - low) / 2.0
        work.add(
            "pump_rise_index",
            "unit",
            [discharge, suction],
            lambda v: pump_rise_index(v[0] - v[1], design, shutoff),
            own_sd=guessed,
        )
    rest = work.rest("pump_suction", place) or work.rest("fill_pressure", "unit") or work.run("fill_pressure", "unit")
    if rest is None and machine.facts.get("tank-at") == "unit-suction":
        rest = work.any("expansion_tank", "unit")
    if "pump_suction" in card:
        reference = card["pump_suction"][0]
        work.add("pump_suction_change", "unit", [suction], lambda v: v[0] - reference)
    else:
        work.add("pump_suction_change", "unit", [suction, rest], lambda v: v[0] - v[1])
    fill = (
        work.rest("fill_pressure", "unit")
        or work.run("fill_pressure", "unit")
        or work.rest("pump_suction", place)
        or work.any("expansion_tank", "unit")
    )
    work.add("fill_pressure", "unit", [fill], lambda v: v[0])
    time = work.any("time_to_trip", "unit")
    work.add("time_to_trip", "unit", [time], lambda v: v[0])
    work.add("cooling_time", "unit", [work.any("time_running", "unit")], lambda v: v[0])


def _air_side(work: Derivation) -> None:
    air, weather = air_at_coil(work), work.run("weather_air", "unit") or work.rest("weather_air", "unit")
    work.add("air_over_weather", "unit", [air, weather], lambda v: v[0] - v[1])
    work.add("weather_air", "unit", [weather or air], lambda v: v[0])
    sides = [r for r in work.readings.conditioned if r.quantity == "entering_air"]
    if plain := work.run("entering_air", "unit"):
        sides.append(plain)
    if len({r.condition for r in sides}) >= 2:
        hottest, coldest = max(sides, key=lambda r: r.values[0]), min(sides, key=lambda r: r.values[0])
        work.add("air_spread", "unit", [hottest, coldest], lambda v: v[0] - v[1])
    freeze = _freeze_point(work.machine)
    if freeze is not None:
        work.add("glycol_margin", "unit", [weather], lambda v: v[0] - freeze)


# supply and motors ------------------------------------------------------------------------------------------------------


def _supply(work: Derivation) -> None:
    machine, plate = work.machine, work.machine.get("voltage")
    volts, board, load = (work.any(q, "supply") for q in ("line_voltage", "board_voltage", "load_voltage"))
    if plate:
        work.add("voltage_ratio", "supply", [volts], lambda v: _voltage_level(v) / plate)
    if volts is not None and len(volts.values) == 3:
        work.add("voltage_unbalance", "supply", [volts], _unbalance)
    if board is not None and len(board.values) == 3:
        work.add("upstream_unbalance", "supply", [board], _unbalance)
    if load is not None and len(load.values) == 3:
        work.add("load_unbalance", "supply", [load], _unbalance)
    if volts is not None and board is not None:
        split = len(board.values)
        work.add(
            "voltage_drop_ratio",
            "supply",
            [board, volts],
            lambda v: (
                100.0 * (sum(v[:split]) / split - sum(v[split:]) / (len(v) - split)) / max(sum(v[:split]) / split, 1.0)
            ),
        )
    for one in work.readings.conditioned:
        if one.quantity == "line_voltage" and one.place == "supply" and len(one.values) == 3:
            work.add("voltage_unbalance", "supply", [one], _unbalance, condition=one.condition)
    rated = machine.get("frequency")
    frequency = work.any("frequency", "supply")
    if rated:
        work.add("frequency_ratio", "supply", [frequency], lambda v: v[0] / rated)
    control = work.any("control_voltage", "unit")
    if control is not None:
        nominal = min(CONTROL_NOMINALS, key=lambda n: abs(math.log(max(control.values[0], 0.5) / n)))
        if control.values[0] < 8.0:
            nominal = CONTROL_NOMINALS[0]
        work.add("control_voltage_ratio", "unit", [control], lambda v: v[0] / nominal)


LOST_SHARE = 0.8  # a pair below this share of the highest pair has lost a phase: common practice, no source


def _voltage_level(v: Sequence[float]) -> float:
    """Mean of the line voltages; with a phase missing the one whole pair, since the loss is told by the balance."""
    return max(v) if min(v) < LOST_SHARE * max(v) else sum(v) / len(v)


def _unbalance(v: Sequence[float]) -> float:
    mean = sum(v) / len(v)
    return unbalance_pct(tuple(v)) if mean > 0 else 0.0


def _motors(work: Derivation) -> None:
    machine = work.machine
    for (quantity, place), reading in {**work.readings.resting, **work.readings.running}.items():
        if quantity != "line_current":
            continue
        kind = place.split(":")[0]
        plate = machine.get(
            {"pump": "pump_plate_current", "compressor": "compressor_plate_current", "fan": "fan_plate_current"}.get(
                kind, ""
            )
        )
        if kind == "pump":
            told = work.any("motor_plate_current", place)
            plate = told.values[0] if told is not None else plate
        if plate and kind in ("pump", "compressor", "fan"):
            size = plate
            work.add(f"{kind}_current_ratio", place, [reading], lambda v, size=size: _carrying(v) / size)  # type: ignore[misc]
        if len(reading.values) == 3 and kind in ("pump", "compressor"):
            work.add(f"{kind}_current_unbalance", place, [reading], _unbalance)
            volts = work.values.get(("voltage_unbalance", "supply"))
            current = work.values.get((f"{kind}_current_unbalance", place))
            if volts is not None and current is not None and volts.value > 0.3:
                ratio = current.value / volts.value
                spread = ratio * math.hypot(current.sd / max(current.value, 0.1), volts.sd / volts.value)
                work.values["unbalance_amplification", "supply"] = DerivedValue(
                    "unbalance_amplification",
                    "supply",
                    ratio,
                    spread,
                    Kind.RATIO,
                    {},
                    (reading, *volts.sources),
                    spread,
                )
    _overload(work)
    frequency = machine.get("frequency")
    for place in work.readings.places_of("drive_frequency"):
        drive = work.any("drive_frequency", place)
        if frequency:
            work.add("drive_frequency_ratio", place, [drive], lambda v: v[0] / frequency)
    weather = work.any("weather_air", "unit") or work.any("entering_air", "unit")
    for place in work.readings.places_of("sump"):
        work.add("sump_over_air", place, [work.any("sump", place), weather], lambda v: v[0] - v[1])


def _carrying(v: Sequence[float]) -> float:
    """Mean current of the legs that carry: a dead leg shows in the balance, not in the level."""
    top = max(v)
    legs = [x for x in v if x > 0.2 * top] if top > 0 else [0.0]
    return sum(legs) / len(legs)


def _overload(work: Derivation) -> None:
    for place in work.readings.places_of("overload_setting"):
        dial, current = work.any("overload_setting", place), work.any("line_current", place)
        told = work.any("motor_plate_current", place)
        plate = work.machine.get("pump_plate_current") if place.startswith("pump:") else None
        if told is not None:
            work.add("overload_dial_ratio", place, [dial, told], lambda v: v[0] / v[1])
        elif plate:
            size = plate
            work.add("overload_dial_ratio", place, [dial], lambda v, size=size: v[0] / size)  # type: ignore[misc]
        if current is not None:
            work.add("current_to_dial", place, [current, dial], lambda v: _carrying(v[:-1]) / v[-1])


def circuit_places(work: Derivation) -> list[str]:
    """Circuits for which anything was derived."""
    return sorted({p for (_, p) in work.values if circuit_of(p)})
