"""A machine card becomes a simulated machine, by sizing every part at the AHRI 550/590 rating point.

Rating: air 95 F, fluid 54/44 F, plain water. Evaporating 3.3 C dew (38 F), condensing 49.2 C dew (121 F), superheat 5.5 K, subcooling
8 K or less where a blend's bubble point leaves no room. From these follow swept volume, UA of both exchangers, valve area and
charge, all in closed form or one bracket. A card never gives them; what it gives (flow, drop, curve, pump, currents, cut-outs,
volts) is used, and every value it lacks is filled from the table below and listed in `Plant.assumed`.

Assumed per kW of cooling: condenser air 0.143 kg/s, fans 0.033 kW; condenser 0.32 L, liquid line 0.054 L, evaporator 0.216 L, gas lines 0.03 L of
refrigerant space. Others: 10 F of fluid difference; drop 7 psi; pump rise 38 psi, shut-off 1.25 times that; strainer 2 psi, valves 1.5 psi,
hoses a quarter of the rise; 6 gallons a ton in the loop; two circuits with two scrolls from 100 kW, one circuit below; a fan each
40 kW; running current 0.72 of the compressor's plate; generator of twice the load.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from diagnose.calculators.electrical import SQRT3
from diagnose.calculators.flow import GRAVITY
from diagnose.case import Machine
from diagnose.machine import MachineData, read_machine
from diagnose.places import Topology, topology_of
from diagnose.plant import condenser, cycle, evaporator
from diagnose.plant.ahri_map import CompressorMap
from diagnose.plant.compressor import ScrollCurve, total_efficiency, volumetric_efficiency
from diagnose.plant.conditions import RATING
from diagnose.plant.cycle import AirSide, FluidSide, Hardware
from diagnose.plant.loop import fluid_at
from diagnose.plant.machine_state import COMPRESSOR_MOTOR_EFFICIENCY, PUMP_MOTOR_EFFICIENCY
from diagnose.plant.parameters import (
    AirParameters,
    CircuitParameters,
    ControlParameters,
    LoopParameters,
    MotorPlate,
    Plant,
    PumpCurve,
    SupplyParameters,
)
from diagnose.plant.roots import brent
from diagnose.plant.valve import RATED_OPENING, ExpansionValve
from diagnose.properties.surface import surface

PSI = 6894.757
F = 5.0 / 9.0
EVAPORATING_K, CONDENSING_K = 276.45, 322.35
SUPERHEAT_K, SUBCOOLING_K, MOST_OF_REACH = 5.5, 8.0, 0.55
SPLIT_K = 10.0 * F
AIR_KG_S_W, FAN_SHARE = 0.143e-3, 0.033
CONDENSER_M3_W, LIQUID_M3_W, EVAPORATOR_M3_W, GAS_M3_W = 0.32e-6, 0.054e-6, 0.216e-6, 0.03e-6
FLUID_SHARE, AIR_SHARE = 0.5, 0.8
FAN_MOTOR_EFFICIENCY = 0.80
POWER_FACTOR = 0.838  # of the motor circuit at its duty point
PLATE_SHARE, LOCKED = 0.72, 6.1
LOOP_M3_W = 6.0 * 3.785e-3 / 3516.85  # six gallons a ton
RECEIVER_M3_W = 0.10e-6
CUT_OUT_K, LOW_CUT_OUT_K, LOW_CUT_OUT_GLYCOL_K = 338.15, 265.15, 253.15


@dataclass(frozen=True, slots=True)
class Rated:
    """One circuit sized at rating. power_w: compressors; flow_kg_s: refrigerant."""

    swept_m3s: float
    ua_evaporator: float
    ua_condenser: float
    valve: ExpansionValve
    charge_kg: float
    power_w: float
    flow_kg_s: float


class _Notes:
    def __init__(self) -> None:
        self.lines: list[str] = []

    def __call__(self, what: str, value: str) -> None:
        self.lines.append(f"{what}: {value}")


def size_circuit(
    refrigerant: str,
    capacity_w: float,
    kind: str,
    curve: ScrollCurve,
    receiver_m3: float = 0.0,
    *,
    evaporating_k: float = EVAPORATING_K,
    condensing_k: float = CONDENSING_K,
    air_k: float = RATING.air_k,
    superheat_k: float = SUPERHEAT_K,
    subcooling_k: float = SUBCOOLING_K,
    most_of_reach: float = MOST_OF_REACH,
) -> Rated:
    """Parts of one circuit that reach its rating. kind: thermostatic, electronic or orifice."""
    fluid = surface(refrigerant)
    low, high = fluid.line(evaporating_k), fluid.line(condensing_k)
    isobar = fluid.isobar(high)
    subcooling = min(subcooling_k, most_of_reach * (high.t_bubble_k - air_k))
    h1, s1, rho1 = fluid.gas(low, superheat_k)
    liquid_k = high.t_bubble_k - subcooling
    h3, rho3 = fluid.liquid(liquid_k)
    flow = capacity_w / (h1 - h3)
    ratio = high.p_pa / low.p_pa
    swept = flow / rho1 / volumetric_efficiency(curve, ratio)
    work = (isobar.enthalpy_at_entropy(s1) - h1) / total_efficiency(curve, ratio)
    h2 = h1 + work * (1.0 - curve.shell_loss)
    t2 = isobar.temperature(h2)
    rate = AIR_KG_S_W * capacity_w * 1006.0

    def short(ua: float) -> float:
        out = condenser.condense(fluid, high, flow, h2, t2, air_k, condenser.transfer(ua, rate))
        return subcooling - out.subcooling_k + 100.0 * out.quality

    a, b = 0.02 * capacity_w, 3.0 * capacity_w
    ua_condenser = brent(short, a, b, short(a), short(b), 1e-9 * capacity_w)
    entering = RATING.entering_k
    water_rate = capacity_w / SPLIT_K
    quality = (h3 - low.liquid_j_per_kg) / (low.gas_j_per_kg - low.liquid_j_per_kg)
    boiling = low.t_dew_k - 0.5 * (1.0 - quality) * (low.t_dew_k - low.t_bubble_k)
    sensible = flow * (h1 - low.gas_j_per_kg)
    cp = (h1 - low.gas_j_per_kg) / superheat_k

    def missing(ua: float) -> float:
        zone = evaporator.gas_zone(superheat_k, entering - low.t_dew_k, flow, cp, evaporator.GAS_ZONE_SHARE * ua)
        duty = evaporator.boiling_duty_w(1.0 - zone, ua, water_rate, entering - sensible / water_rate, boiling)
        return capacity_w - duty - sensible

    ua_evaporator = brent(missing, a, b, missing(a), missing(b), 1e-9 * capacity_w)
    full = flow / math.sqrt(2.0 * rho3 * (high.p_pa - low.p_pa))
    area = full if kind == "orifice" else full / RATED_OPENING
    valve = ExpansionValve(kind, area, superheat_k)
    hardware = Hardware(
        fluid,
        curve,
        swept,
        valve,
        1.0,
        CONDENSER_M3_W * capacity_w,
        LIQUID_M3_W * capacity_w,
        EVAPORATOR_M3_W * capacity_w,
        GAS_M3_W * capacity_w,
        receiver_m3,
    )
    side = FluidSide(entering, water_rate, ua_evaporator)
    air = AirSide(air_k, rate, rate, ua_condenser, AIR_SHARE)
    charge = cycle.held_at(hardware, side, air, condensing_k, evaporating_k, superheat_k)
    return Rated(swept, ua_evaporator, ua_condenser, valve, charge, flow * work, flow)


def _circuits(machine: Machine, capacity_w: float, note: _Notes) -> Topology:
    topology = topology_of(machine)
    ids = topology.circuits
    if not ids:
        count = 2 if capacity_w >= 100e3 else 1
        ids = tuple("ABCD"[:count])
        note("circuits", f"{count}")
    compressors = {c: tuple(topology.compressors.get(c, ())) for c in ids}
    if any(not v for v in compressors.values()):
        each = max((machine.compressors or 0) // len(ids), 0) or (2 if capacity_w / len(ids) >= 40e3 else 1)
        note("compressors", f"{each} a circuit")
        compressors = {c: compressors[c] or tuple(f"{c}{n + 1}" for n in range(each)) for c in ids}
    fans = {c: tuple(topology.fans.get(c, ())) for c in ids}
    if any(not v for v in fans.values()):
        each = max((machine.fans or 0) // len(ids), 0) or max(1, round(capacity_w / len(ids) / 40e3))
        if not machine.fans:
            note("fans", f"{each} a circuit")
        number = 0
        named = {}
        for c in ids:
            named[c] = fans[c] or tuple(str(number + n + 1) for n in range(each))
            number += len(named[c])
        fans = named
    return Topology(ids, compressors, fans, topology.pumps, topology.main_pump)


def _loop(data: MachineData, machine: Machine, capacity_w: float, topology: Topology, note: _Notes) -> LoopParameters:
    water = fluid_at("water", 0.0, "volume", 280.0)
    design = data.get("design_flow")
    if design is None:
        design = capacity_w / (water.density * water.heat_capacity * SPLIT_K)
        note("design flow", f"{design * 1e3:.2f} L/s, 10 F at the nameplate capacity")
    drop, exponent = data.get("design_drop"), 1.75
    if len(data.curve) >= 2:
        (q0, p0), (q1, p1) = data.curve[0], data.curve[-1]
        exponent = min(max(math.log(p1 / p0) / math.log(q1 / q0), 1.5), 2.1)
        if drop is None:
            drop = p0 * (design / q0) ** exponent
    if drop is None:
        drop = 7.0 * PSI
        note("evaporator drop", "7 psi at design flow")
    rise = data.get("pump_design_rise")
    shut = data.get("pump_shutoff_rise")
    if rise is None:
        rise = shut / 1.25 if shut is not None else max(38.0 * PSI, 2.2 * drop)
        note("pump rise at design flow", f"{rise / PSI:.0f} psi")
    if shut is None or shut <= 1.02 * rise:
        shut = 1.25 * rise
        note("pump shut-off rise", f"{shut / PSI:.0f} psi")
    strainer = data.get("strainer_clean_drop")
    if strainer is None:
        strainer = 2.0 * PSI
        note("clean strainer", "2 psi at design flow")
    elif (at := data.get("strainer_clean_flow")) is not None:
        strainer *= (design / at) ** 2
    valve = 1.5 * PSI
    rest = rise - drop - strainer - valve
    if rest < 0.2 * rise:
        rise = (drop + strainer + valve) / 0.8
        shut = max(shut, 1.15 * rise)
        rest = 0.2 * rise
        note("pump rise", f"raised to {rise / PSI:.0f} psi: the card's rise leaves nothing for hoses and load")
    hose = min(0.25 * rise, 0.6 * rest)
    load = (rest - hose) / 1.1  # site valves take a tenth of the load's drop
    weight = water.density * GRAVITY
    duty_m, shut_m = rise / weight, shut / weight
    pump = PumpCurve(shut_m, 0.35 * (shut_m - duty_m) / design, 0.65 * (shut_m - duty_m) / design**2, design)
    fluid = data.fluid or "water"
    percent = data.glycol_percent
    if fluid != "water" and percent == 0.0:
        percent = 30.0
        note("glycol", "30 %")
    volume = data.get("loop_volume")
    if volume is None:
        volume = LOOP_M3_W * capacity_w
        note("loop volume", f"{volume * 1e3:.0f} L, 6 gallons a ton")
    in_use = topology.main_pump
    return LoopParameters(
        fluid,
        percent,
        data.glycol_basis,
        design,
        drop,
        strainer,
        hose,
        load,
        valve,
        pump,
        pump,
        topology.pumps,
        in_use,
        machine.tank_at if machine.tank_at != "unknown" else "unit-suction",
        15.0 * PSI,
        volume,
        0.12 * volume * 4.19e6,
        machine.pump_drive == "yes",
        evaporator_exponent=exponent,
    )


def _currents(power_w: float, volts: float) -> float:
    return power_w / (SQRT3 * volts * POWER_FACTOR)


def plant_of(machine: Machine, chart: CompressorMap | None = None) -> Plant:
    """The simulated machine of a card. chart: a compressor map (AHRI 540) of ONE compressor, where there is one.

    Raises PlaceError for counts that contradict each other; other problems of the card are skipped, as `read_machine` does.
    """
    data, note = read_machine(machine), _Notes()
    refrigerant = data.refrigerant or "R-410A"
    if not data.refrigerant:
        note("refrigerant", refrigerant)
    flow = data.get("design_flow")
    capacity = data.get("capacity")
    if capacity is None:
        water = fluid_at("water", 0.0, "volume", 280.0)
        capacity = flow * water.density * water.heat_capacity * SPLIT_K if flow else 211e3
        note("capacity", f"{capacity / 1e3:.0f} kW" + (", 10 F at design flow" if flow else ", 60 tons"))
    topology = _circuits(machine, capacity, note)
    kind = machine.expansion or "thermostatic"
    if machine.expansion is None:
        note("expansion device", kind)
    volts = data.get("voltage") or 460.0
    hertz = data.get("frequency") or (50.0 if 370.0 <= volts <= 420.0 else 60.0)
    if data.get("voltage") is None:
        note("supply", f"{volts:.0f} V, {hertz:.0f} Hz")
    curve = ScrollCurve()
    share = capacity / len(topology.circuits)
    receiver = RECEIVER_M3_W * share if machine.receiver == "yes" else 0.0
    rated = size_circuit(refrigerant, share, kind, curve, receiver)
    loop = _loop(data, machine, capacity, topology, note)
    # UA belongs to 10 F of water; another design flow moves the working point along the flow exponent
    ratio = loop.design_m3s * 4.19e6 * SPLIT_K / capacity
    ua_design = (
        evaporator.overall_ua(rated.ua_evaporator, FLUID_SHARE, ratio)
        if not 0.97 < ratio < 1.03
        else rated.ua_evaporator
    )
    drive = machine.fan_drive == "yes"
    fan_w = FAN_SHARE * share
    volume = AIR_KG_S_W * share / 1.1455
    circuits = []
    for name in topology.circuits:
        compressors, fans = topology.compressors[name], topology.fans[name]
        air = AirParameters(
            fans, volume, fan_w, rated.ua_condenser, AIR_SHARE, 299.15, 307.15, 0.10 if drive else 0.15, drive=drive
        )
        circuits.append(
            CircuitParameters(
                name,
                compressors,
                rated.swept_m3s / len(compressors),
                curve,
                ua_design,
                FLUID_SHARE,
                rated.valve,
                rated.charge_kg,
                CONDENSER_M3_W * share,
                LIQUID_M3_W * share,
                EVAPORATOR_M3_W * share,
                GAS_M3_W * share,
                receiver,
                air,
                chart,
            )
        )
    supply = _supply(data, machine, volts, hertz, rated, loop, topology, fan_w, note)
    return Plant(
        refrigerant,
        capacity,
        data.atmosphere_pa,
        loop,
        tuple(circuits),
        supply,
        _control(data, refrigerant, loop, supply, note),
        tuple(note.lines),
    )


def _supply(
    data: MachineData,
    machine: Machine,
    volts: float,
    hertz: float,
    rated: Rated,
    loop: LoopParameters,
    topology: Topology,
    fan_w: float,
    note: _Notes,
) -> SupplyParameters:
    first = topology.circuits[0]
    count = sum(len(v) for v in topology.compressors.values())
    each = rated.power_w / len(topology.compressors[first])
    duty = _currents(each, volts)
    plate = data.get("compressor_plate_current")
    if plate is not None:
        duty = min(duty, 0.95 * plate) if 0.5 * plate < duty < 1.6 * plate else PLATE_SHARE * plate
    else:
        plate = duty / PLATE_SHARE
        note("compressor plate", f"{plate:.1f} A, running current 0.72 of it")
    compressor = MotorPlate(each * COMPRESSOR_MOTOR_EFFICIENCY, duty, plate, LOCKED * duty)
    pump_shaft = 1000.0 * GRAVITY * loop.design_m3s * loop.pump.shutoff_m / 1.25 / loop.pump.efficiency
    pump_duty = _currents(pump_shaft / PUMP_MOTOR_EFFICIENCY, volts)
    pump_plate = data.get("pump_plate_current")
    if pump_plate is None:
        pump_plate = pump_duty / 0.85
        note("pump plate", f"{pump_plate:.1f} A")
    else:
        pump_duty = 0.85 * pump_plate
    pump = MotorPlate(pump_shaft, pump_duty, pump_plate, LOCKED * pump_duty)
    one_fan = fan_w / len(topology.fans[first])
    fan_duty = _currents(one_fan, volts)
    fan_plate = data.get("fan_plate_current") or fan_duty / 0.88
    if data.get("fan_plate_current") is not None:
        fan_duty = 0.88 * fan_plate
    fan = MotorPlate(one_fan * FAN_MOTOR_EFFICIENCY, fan_duty, fan_plate, LOCKED * fan_duty)
    va = SQRT3 * volts * (count * duty + pump_duty + fan_duty * sum(len(v) for v in topology.fans.values()))
    source = machine.supply or "utility"
    if machine.supply is None:
        note("source", source)
    elif source == "generator":
        note("generator", f"{2.0 * va / 1e3:.0f} kVA, twice the load")
    full_amps = va / (SQRT3 * volts)
    ohm = 0.012 * volts / SQRT3 / full_amps
    return SupplyParameters(
        volts,
        hertz,
        source,
        2.0 * va,
        0.02 if source == "generator" else 0.0,
        0.2,
        0.006 * volts / SQRT3 / full_amps,
        ohm,
        compressor,
        pump,
        pump,
        fan,
        control_volts=230.0 if hertz == 50.0 else 120.0,
    )


def _control(
    data: MachineData, refrigerant: str, loop: LoopParameters, supply: SupplyParameters, note: _Notes
) -> ControlParameters:
    fluid = surface(refrigerant)
    set_point = data.get("set_point") or 279.82
    if data.get("set_point") is None:
        note("set point", "44 F")
    glycol = loop.fluid != "water"
    high = data.get("high_pressure_cutout")
    if high is None:
        high = fluid.line(min(CUT_OUT_K, fluid.high_k - 1.0)).p_pa - 101325.0
        note("high-pressure cut-out", f"{high / PSI:.0f} psig")
    low = data.get("low_pressure_cutout")
    if low is None:
        low_k = min(LOW_CUT_OUT_GLYCOL_K if glycol else LOW_CUT_OUT_K, set_point - 14.0)
        low = fluid.line(max(low_k, fluid.low_k + 1.0)).p_pa - 101325.0
        note("low-pressure cut-out", f"{low / PSI:.0f} psig")
    return ControlParameters(
        set_point,
        2.0,
        set_point - 4.0 if glycol else min(276.48, set_point - 1.5),
        low,
        high,
        394.3 if refrigerant in ("R-32",) else 380.4,
        0.6,
        15.0,
        180.0,
        30.0,
        90.0,
        300.0,
        180.0,
        data.get("monitor_limit") or 3.0,
        0.10,
        5.0,
        supply.pump.plate_a,
        1.1 * supply.compressor.plate_a,
    )
