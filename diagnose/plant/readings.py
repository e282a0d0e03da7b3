"""From a moment of the machine to the readings a technician could take there, each through its instrument.

Keys are quantity names of `shared.quantities` at places of the machine. A circuit that stands is equalised: its pressure is that of its
refrigerant at air temperature, and what does not condense comes on top. Fluid temperatures of a standing loop are those it was left at.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.plant.conditions import Conditions
from diagnose.plant.controller import Trip, control_volts
from diagnose.plant.cycle import Balance
from diagnose.plant.health import Health
from diagnose.plant.instruments import Taken, Value, take
from diagnose.plant.machine_state import CircuitState, MachineState, weather_k
from diagnose.plant.parameters import CircuitParameters, Plant
from diagnose.plant.snapshot import Key
from diagnose.plant.supply import load_side_volts

SUMP_OVER_DISCHARGE_K = -25.0  # running sump under the discharge line (assumption)
HEATED_K = 12.0  # heated sump of a standing compressor over the air (assumption)
ASKED_WITHIN_K = 1.0  # a superheat this near its set point asks for no other opening (assumption)
NOMINAL_OHM, OPEN_OHM = 1.2, 1e8  # winding of a 10 A motor


class _Taker:
    def __init__(self, health: Health, seed: int, air_k: float) -> None:
        self.health, self.seed, self.air_k = health, seed, air_k
        self.made: dict[Key, Taken] = {}

    def __call__(self, quantity: str, place: str, true: Value, unrest: float = 0.0) -> None:
        self.made[quantity, place] = take(quantity, place, true, self.health.instruments, self.seed, self.air_k, unrest)


def read_machine_state(
    plant: Plant,
    health: Health,
    conditions: Conditions,
    state: MachineState,
    name: str,
    seed: int,
    trips: Sequence[Trip] = (),
) -> dict[Key, Taken]:
    """All readings of one moment. name: machine state it belongs to."""
    weather = weather_k(health, conditions)
    taker = _Taker(health, seed, weather)
    running = [c for c in state.circuits if c.running and c.balance is not None]
    _fluid(plant, health, conditions, state, name, taker)
    coil = [c.balance.air_in_k for c in running if c.balance] or [c.air.side.air_k for c in state.circuits]
    taker("entering_air", "unit", sum(coil) / len(coil))
    taker("weather_air", "unit", weather)
    if running:
        out = [c.balance.air_out_k for c in running if c.balance]
        taker("leaving_air", "unit", sum(out) / len(out))
    for circuit in state.circuits:
        _circuit(plant, health, state, circuit, weather, taker)
    _supply(plant, health, state, taker)
    for trip in (t for t in trips if t.place.startswith("pump:")):  # the pump's clock
        taker.made.setdefault(
            ("time_to_trip", "unit"), take("time_to_trip", "unit", trip.after_s, health.instruments, seed, weather)
        )
    return taker.made


def _fluid(plant: Plant, health: Health, conditions: Conditions, state: MachineState, name: str, taker: _Taker) -> None:
    loop, p = state.loop, plant.loop
    main = loop.pumps.get(p.in_use)
    unrest = 0.05 * main.uneasy if main else 0.0
    taker("entering_fluid", "unit", state.entering_k)
    taker("leaving_fluid", "unit", state.leaving_k if name == "cooling" else state.entering_k)
    for tap in ("strainer_in", "strainer_out", "evaporator_in", "evaporator_out", "expansion_tank"):
        taker(tap, "unit", loop.taps[tap], unrest)
    taker("evaporator_drop", "unit", loop.evaporator_pa, unrest)
    taker("strainer_drop", "unit", loop.strainer_pa, unrest)
    taker("flow", "unit", loop.flow_m3s, unrest)
    taker("glycol_percent", "unit", loop.fluid.percent)
    taker("loop_volume", "unit", p.volume_m3 * health.loop.volume_factor)
    taker("set_point", "unit", (conditions.set_point_k or plant.control.set_point_k) + health.control.set_point_add_k)
    for pump in dict.fromkeys((*p.pumps, p.in_use)):
        point = loop.pumps.get(pump)
        place = f"pump:{pump}"
        if point is not None:
            taker("pump_suction", place, point.suction_pa, unrest)
            taker("pump_discharge", place, point.discharge_pa, unrest)
        else:
            taker("pump_suction", place, loop.taps["onboard_suction"] if pump == "onboard" else loop.fill_pa)
            taker("pump_discharge", place, loop.taps["onboard_discharge"] if pump == "onboard" else loop.fill_pa)
    if name in ("standing", "powered"):
        taker("fill_pressure", "unit", loop.fill_pa)
    if name == "cooling":
        taker("time_running", "unit", conditions.minutes * 60.0)
        on = sum(len(c.running) for c in state.circuits)
        taker("machine_load", "unit", 100.0 * on / len(plant.compressors))


def _circuit(
    plant: Plant, health: Health, state: MachineState, circuit: CircuitState, weather_k: float, taker: _Taker
) -> None:
    place, gauge = f"circuit:{circuit.id}", plant.atmosphere_pa
    b = circuit.balance
    parameters = next(c for c in plant.circuits if c.id == circuit.id)
    if b is None or not circuit.running:
        fluid = circuit.hardware.fluid
        volume = (
            parameters.condenser_m3
            + parameters.evaporator_m3
            + parameters.liquid_line_m3
            + parameters.gas_m3
            + parameters.receiver_m3
        )
        line = fluid.line(min(max(weather_k, fluid.low_k + 1.0), fluid.high_k - 1.0))
        density = circuit.hardware.charge_kg / volume
        p = line.p_pa * min(1.0, density / line.gas_kg_m3) + 0.35 * circuit.hardware.gas_pa
        for quantity in ("suction_pressure", "liquid_pressure", "discharge_pressure"):
            taker(quantity, place, p - gauge)
        for quantity in ("suction_line", "liquid_line", "discharge_line"):
            taker(quantity, place, weather_k)
        for name in parameters.compressors:
            taker("sump", f"compressor:{name}", weather_k + (HEATED_K if state.supply.alive else 0.0))
        return
    taker("suction_pressure", place, b.p_suction_pa - gauge)
    taker("liquid_pressure", place, b.p_liquid_pa - gauge)
    taker("discharge_pressure", place, b.p_discharge_pa - gauge)
    taker("suction_line", place, b.t1_k)
    taker("discharge_line", place, b.t2_k - 1.0)
    taker("liquid_line", place, b.t3_k)
    taker("drier_in", place, b.after_drier_k if health.cycle[circuit.id].liquid_ahead else b.t3_k)
    taker("drier_out", place, b.after_drier_k)
    if parameters.valve.kind == "electronic":
        taker("valve_opening", place, 100.0 * _asked_opening(health.cycle[circuit.id].follows, parameters, b))
    for name in parameters.compressors:
        hot = name in circuit.running
        taker("sump", f"compressor:{name}", b.t2_k + SUMP_OVER_DISCHARGE_K if hot else weather_k + HEATED_K)


def _asked_opening(follows: bool, parameters: CircuitParameters, balance: Balance) -> float:
    """Opening on the display: what the driver asks for. It drives a valve that does not follow to the end of its travel."""
    off = balance.superheat_k - parameters.valve.superheat_k
    if follows or abs(off) < ASKED_WITHIN_K:
        return balance.opening
    return 1.0 if off > 0.0 else 0.0


def _supply(plant: Plant, health: Health, state: MachineState, taker: _Taker) -> None:
    p, supply = plant.supply, state.supply
    swing = supply.swing
    taker("board_voltage", "supply", supply.board_volts(), 0.4 * swing)
    taker("line_voltage", "supply", supply.unit_volts(), 0.4 * swing)
    taker("frequency", "supply", supply.hertz, 0.3 * swing)
    taker("control_voltage", "unit", control_volts(plant, health.control, supply), 0.4 * swing)
    main = plant.loop.in_use
    plates = {"onboard": p.pump, "site": p.site_pump}
    pump_branch = health.supply.branch("pump")
    setting = plant.control.pump_overload_a * health.control.pump_overload
    for pump in dict.fromkeys((*plant.loop.pumps, main)):
        place, plate = f"pump:{pump}", plates[pump]
        motor = state.motors[place]
        taker("line_current", place, tuple(i * plate.duty_a for i in motor.currents))
        taker("motor_plate_current", place, plate.plate_a)
        if pump == main:
            taker("overload_setting", place, setting)
            base = NOMINAL_OHM * 10.0 / plate.duty_a
            ohms = [base, base, base]
            if pump_branch.shorted > 0.0:
                ohms[0] *= 1.0 - 0.5 * pump_branch.shorted
            if pump_branch.winding_open:
                ohms[pump_branch.open_phase] = OPEN_OHM
            taker("winding_resistance", place, (ohms[0], ohms[1], ohms[2]))
            if plant.loop.pump_drive:
                turning = state.loop.pumps.get(pump)
                taker("drive_frequency", place, p.hertz * health.loop.pump_speed if turning else 0.0)
    faulty = next((b for k, b in health.supply.branches.items() if b.open_phase >= 0 or b.ohm > 0.0), pump_branch)
    on = any(m.most > 0.0 for m in state.motors.values())
    if on:
        taker("load_voltage", "supply", load_side_volts(supply, faulty, True))
    for circuit in plant.circuits:
        for one in circuit.compressors:
            motor = state.motors[f"compressor:{one}"]
            taker("line_current", f"compressor:{one}", tuple(i * p.compressor.duty_a for i in motor.currents))
        for one in circuit.air.fans:
            motor = state.motors[f"fan:{one}"]
            taker("fan_current", f"fan:{one}", tuple(i * p.fan.duty_a for i in motor.currents))
    total = [0.0, 0.0, 0.0]
    for place, motor in state.motors.items():
        kind = place.split(":")[0]
        if place == "pump:site":
            continue
        plate = p.compressor if kind == "compressor" else p.fan if kind == "fan" else p.pump
        for n in range(3):
            total[n] += motor.currents[n] * plate.duty_a
    taker("line_current", "supply", (total[0], total[1], total[2]))
