"""One moment of the whole machine: the layers put together, from the pump to the compressors' amps, no safeties yet.

Layers 1 to 4 in their order: supply (frequency and volts), loop, air, refrigerant circuits, then the currents at the motors. Circuits share
the fluid in parallel: each takes its part of the flow through its own plate and the outlets mix; a circuit that stands lets its part
through uncooled. Circuits that are alike are solved once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from diagnose.plant import cycle, evaporator
from diagnose.plant.air import AirState, solve_air
from diagnose.plant.conditions import Conditions
from diagnose.plant.cycle import Balance, FluidSide, Hardware, NoBalance, Start
from diagnose.plant.health import CycleHealth, Health
from diagnose.plant.loop import LoopState, fluid_at, solve_loop
from diagnose.plant.motor import OFF, MotorState
from diagnose.plant.parameters import CircuitParameters, Plant
from diagnose.plant.supply import SupplyState, run_motor, solve_supply
from diagnose.properties.surface import Surface, surface

PUMP_MOTOR_EFFICIENCY, COMPRESSOR_MOTOR_EFFICIENCY = 0.86, 0.90
LEAST_RATE = 20.0  # W/K: standing fluid still conducts a little
WARMER_PER_K = 0.014  # compressor power per K of air, for the supply's load before the circuits are solved


@dataclass(frozen=True, slots=True)
class CircuitState:
    """One circuit: what runs, its balance (None: stands), why it has none, its air."""

    id: str
    running: tuple[str, ...]
    balance: Balance | None
    failed: NoBalance | None
    air: AirState
    hardware: Hardware
    fluid_side: FluidSide


@dataclass(frozen=True, slots=True)
class MachineState:
    """The layers at one moment. motors: place -> currents over duty; power_w: everything electrical."""

    supply: SupplyState
    loop: LoopState
    circuits: tuple[CircuitState, ...]
    motors: dict[str, MotorState]
    entering_k: float
    leaving_k: float
    cooling_w: float
    power_w: float
    load_va: float


def weather_k(health: Health, conditions: Conditions) -> float:
    """Outdoor air away from the unit: the day's, unless the weather itself is the cause."""
    own = [a.weather_k for a in health.air.values() if a.weather_k is not None]
    return own[0] if own else conditions.air_k


def turning_pumps(plant: Plant, health: Health, supply: SupplyState, running: bool) -> dict[str, float]:
    """Pumps that turn and their speed over rated."""
    h = health.loop
    if not running:
        return {}
    made: dict[str, float] = {}
    ratio = supply.hertz / plant.supply.hertz if supply.alive else 0.0
    main = plant.loop.in_use
    branch = health.supply.branch("pump")
    dead = branch.dead or h.pump_jammed or h.pump_sheared or branch.locked
    if main == "onboard":
        if not dead:
            made["onboard"] = (1.0 if plant.loop.pump_drive else ratio) * h.pump_speed
        if h.both_running and "site" in plant.loop.pumps:
            made["site"] = h.site_speed
    else:
        if not dead:
            made["site"] = h.site_speed * h.pump_speed
        if h.both_running:
            made["onboard"] = ratio
    return made


def hardware_of(
    plant: Plant, circuit: CircuitParameters, h: CycleHealth, running: tuple[str, ...], frequency_ratio: float
) -> Hardware:
    """Layer 4's own record: the circuit with its faults, and the scrolls that run."""
    fluid = surface(h.refrigerant or plant.refrigerant)
    pumping = [c for c in running if c not in h.stalled]
    swept = circuit.swept_m3s * len(pumping) * frequency_ratio
    leak = sum(h.leak.get(c, 0.0) for c in pumping) / len(pumping) if pumping else 0.0
    rated_flow = circuit.swept_m3s * len(circuit.compressors)
    high = circuit.valve
    least, most = 0.06, 1.0
    if high.kind == "orifice":
        least = most = 1.0
    if h.least is not None:
        least = h.least * (1.0 if high.kind != "orifice" else 1.6)
        most = max(most, least)
    if h.most is not None:
        most = h.most / (1.0 if high.kind != "orifice" else 0.62)
        least = min(least, most)
    if h.fixed is not None:
        least = most = h.fixed / (1.0 if high.kind != "orifice" else 0.62)
    if high.kind == "orifice":
        least = most = least if h.least is not None else most
    return Hardware(
        fluid,
        circuit.curve,
        swept,
        circuit.valve,
        circuit.charge_kg * h.charge,
        circuit.condenser_m3,
        circuit.liquid_line_m3,
        circuit.evaporator_m3,
        circuit.gas_m3,
        circuit.receiver_m3,
        circuit.chart,
        circuit.swept_m3s,
        least,
        most,
        leak,
        1.0,
        _resistance(h.suction_pa, rated_flow, fluid, 276.45, gas=True),
        _resistance(h.discharge_pa, rated_flow, fluid, 322.35, gas=True, low=276.45),
        _resistance(h.liquid_pa, rated_flow, fluid, 314.0, gas=False, low=276.45),
        h.gas_pa,
        h.bypass,
        h.sensor_shift_k,
    )


def _resistance(drop_pa: float, swept_m3s: float, fluid: Surface, at_k: float, gas: bool, low: float = 0.0) -> float:
    """K [1/m4] that gives a drop at about the rated flow."""
    if drop_pa <= 0.0:
        return 0.0
    flow = 0.92 * swept_m3s * fluid.line(low or at_k).gas_kg_m3
    density = fluid.line(at_k).gas_kg_m3 if gas else fluid.liquid(at_k)[1]
    return drop_pa * density / flow**2


def _signature(circuit: CircuitParameters, health: Health, running: tuple[str, ...]) -> tuple[object, ...]:
    h = health.cycle[circuit.id]
    plain = replace(
        circuit,
        id="",
        compressors=("",) * len(circuit.compressors),
        air=replace(circuit.air, fans=("",) * len(circuit.air.fans)),
    )
    leaks = tuple(sorted(h.leak.get(c, 0.0) for c in running if c not in h.stalled))
    rest = replace(h, leak={}, stalled=())
    pumping = sum(1 for c in running if c not in h.stalled)
    return (plain, repr(rest), leaks, pumping, health.air[circuit.id])


def solve_machine(
    plant: Plant,
    health: Health,
    conditions: Conditions,
    running: Mapping[str, tuple[str, ...]],
    pumping: bool,
    entering_k: float,
    starts: Mapping[str, Start] | None = None,
) -> MachineState:
    """All layers with these compressors on. running: circuit id -> compressor ids; entering_k: return fluid."""
    on = [c for ids in running.values() for c in ids]
    p = plant.supply
    share = (len(on) / len(plant.compressors)) * max(0.4, 1.0 + WARMER_PER_K * (conditions.air_k - 308.15))
    pump_va = math.sqrt(3.0) * p.volts * p.pump.duty_a if pumping else 0.0
    fans = sum(len(c.air.fans) for c in plant.circuits if running.get(c.id))
    load_va = (
        math.sqrt(3.0) * p.volts * (len(plant.compressors) * share * p.compressor.duty_a + fans * p.fan.duty_a)
        + pump_va
    )
    supply = solve_supply(
        p,
        health.supply,
        load_va,
        bool(on) or pumping,
        conditions.board_volts,
        conditions.hertz,
        conditions.site_other_va,
    )
    ratio = supply.hertz / p.hertz if supply.alive else 0.0
    loop = _loop(plant, health, supply, pumping, entering_k)
    states: list[CircuitState] = []
    known: dict[tuple[object, ...], tuple[Balance | NoBalance | None, AirState, Hardware, FluidSide]] = {}
    rate = max(loop.capacity_rate, LEAST_RATE) / len(plant.circuits)
    flow_ratio = loop.flow_m3s / plant.loop.design_m3s
    for circuit in plant.circuits:
        ids = running.get(circuit.id, ())
        key = _signature(circuit, health, ids)
        if key not in known:
            air = solve_air(
                circuit.air,
                health.air[circuit.id],
                weather_k(health, conditions),
                plant.atmosphere_pa,
                ratio,
                1.0 if ids and supply.alive else 0.0,
            )
            ua = evaporator.overall_ua(circuit.ua_evaporator, circuit.fluid_share, flow_ratio, loop.fluid.film)
            side = FluidSide(
                entering_k, rate, ua * health.cycle[circuit.id].evaporator_ua * health.loop.evaporator_film
            )
            hardware = hardware_of(plant, circuit, health.cycle[circuit.id], ids, ratio)
            found: Balance | NoBalance | None = None
            if hardware.swept_m3s > 0.0:
                found = cycle.solve(hardware, side, air.side, (starts or {}).get(circuit.id))
            known[key] = (found, air, hardware, side)
        found, air, hardware, side = known[key]
        states.append(
            CircuitState(
                circuit.id,
                ids,
                found if isinstance(found, Balance) else None,
                found if isinstance(found, NoBalance) else None,
                air,
                hardware,
                side,
            )
        )
    return finish(plant, health, supply, loop, tuple(states), entering_k, pumping, load_va)


def _loop(plant: Plant, health: Health, supply: SupplyState, pumping: bool, entering_k: float) -> LoopState:
    p, h = plant.loop, health.loop
    percent = p.percent if h.percent is None else h.percent
    name = h.fluid or p.fluid
    if name == "water":
        percent = 0.0
    fluid = fluid_at(name, percent, p.basis, entering_k - 2.8)
    return solve_loop(p, h, turning_pumps(plant, health, supply, pumping), fluid, entering_k, plant.atmosphere_pa)


def finish(
    plant: Plant,
    health: Health,
    supply: SupplyState,
    loop: LoopState,
    circuits: tuple[CircuitState, ...],
    entering_k: float,
    pumping: bool,
    load_va: float,
) -> MachineState:
    """Mix the fluid, work out the motors."""
    cooling = sum(c.balance.cooling_w for c in circuits if c.balance)
    rate = max(loop.capacity_rate, LEAST_RATE)
    leaving = entering_k - cooling / rate
    motors = motor_currents(plant, health, supply, loop, circuits, pumping)
    power = sum(c.balance.power_w + c.air.fan_w * c.balance.fan_share**3 for c in circuits if c.balance)
    power += sum(p.shaft_w / PUMP_MOTOR_EFFICIENCY for p in loop.pumps.values())
    return MachineState(supply, loop, circuits, motors, entering_k, leaving, cooling, power, load_va)


def motor_currents(
    plant: Plant,
    health: Health,
    supply: SupplyState,
    loop: LoopState,
    circuits: tuple[CircuitState, ...],
    pumping: bool,
) -> dict[str, MotorState]:
    """Currents of every motor over its duty current, by place."""
    p, made = plant.supply, {}
    known: dict[tuple[object, ...], MotorState] = {}
    main = plant.loop.in_use
    for name in dict.fromkeys((*plant.loop.pumps, main)):
        place = f"pump:{name}"
        branch = health.supply.branch("pump") if name == main else health.supply.branch(place)
        plate = p.pump if name == "onboard" else p.site_pump
        point = loop.pumps.get(name)
        h = health.loop
        if point is not None:
            made[place] = run_motor(p, supply, plate, branch, point.shaft_w)
        elif pumping and name == main:
            if h.pump_jammed or branch.locked:
                made[place] = run_motor(p, supply, plate, branch, plate.shaft_w, standing=True)
            elif h.pump_sheared:
                made[place] = run_motor(p, supply, plate, branch, 0.08 * plate.shaft_w)
            else:
                made[place] = OFF
        else:
            made[place] = OFF
    for circuit, parameters in zip(circuits, plant.circuits, strict=True):
        pumping_ids = [c for c in circuit.running if c not in health.cycle[circuit.id].stalled]
        for name in parameters.compressors:
            place = f"compressor:{name}"
            branch = health.supply.branch(place)
            if name not in circuit.running:
                made[place] = OFF
                continue
            if name in health.cycle[circuit.id].stalled:
                shaft = 0.12 * p.compressor.shaft_w
            elif circuit.balance is not None:
                shaft = circuit.balance.power_w * COMPRESSOR_MOTOR_EFFICIENCY / max(len(pumping_ids), 1)
            else:
                shaft = p.compressor.shaft_w
            key = ("compressor", round(shaft, 3), branch)
            if key not in known:
                known[key] = run_motor(p, supply, p.compressor, branch, shaft)
            made[place] = known[key]
        share = circuit.balance.fan_share if circuit.balance else 1.0
        for number, name in enumerate(parameters.air.fans):
            place = f"fan:{name}"
            branch = health.supply.branch(place)
            if not circuit.running or number < round(health.air[circuit.id].fans_out):
                made[place] = OFF
                continue
            load = circuit.air.motor_load * share**3
            key = ("fan", round(load, 4), branch)
            if key not in known:
                known[key] = run_motor(p, supply, p.fan, branch, load * p.fan.shaft_w)
            made[place] = known[key]
    return made
