"""simulate(plant, conditions, faults, seed): the machine as somebody would find it, with every reading that could be taken.

The control is walked in its own order; the first thing that stops it decides the state. When cooling runs, the circuits are solved and
the safeties asked; a circuit that trips is shown at the moment of its trip, and stands afterwards. No random number is drawn outside the
instruments, so two seeds differ only in what the instruments show.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

from diagnose.plant import controller, cycle
from diagnose.plant.conditions import Conditions
from diagnose.plant.controller import Hold, Trip
from diagnose.plant.cycle import Balance, Start
from diagnose.plant.faults import Fault, apply_faults
from diagnose.plant.health import Health
from diagnose.plant.instruments import Taken
from diagnose.plant.machine_state import PUMP_MOTOR_EFFICIENCY, CircuitState, MachineState, finish, solve_machine
from diagnose.plant.parameters import Plant
from diagnose.plant.readings import read_machine_state
from diagnose.plant.roots import rising_root
from diagnose.plant.snapshot import Key, Snapshot
from diagnose.plant.supply import solve_supply, start_dip_pct, trip_seconds

FIRST_MINUTES, PULL_DOWN_K = 5.0, 5.6
PROTECTION_S, THERMAL_S = 240.0, 900.0
LATER = 10.0
EARLY_SUBCOOLING_K = 5.0  # liquid on the way to a trip that no balance describes: assumption
SEEN_AT_TRIP = 0.6  # suction over the cut-out that is still seen during the bypass of the low-pressure switch
ACCELERATION_S = 2.5  # time a pump motor takes to start, at locked current


def simulate(plant: Plant, conditions: Conditions, faults: Iterable[Fault] = (), seed: int = 0) -> Snapshot:
    """The machine under these conditions with these faults. Deterministic by seed; never raises on physics.

    Raises ChillerError for a fault that is not in the table or a place the machine does not have.
    """
    faults = tuple(faults)
    return simulate_health(plant, conditions, apply_faults(plant, faults), seed)


def simulate_health(plant: Plant, conditions: Conditions, health: Health, seed: int = 0) -> Snapshot:
    """As `simulate`, with the health given."""
    return _Run(plant, conditions, health, seed).run()


def entering_for_load(
    plant: Plant, conditions: Conditions, health: Health, running: Mapping[str, tuple[str, ...]]
) -> float:
    """Return temperature at which these compressors carry the load; the nearest one when none does."""
    load = conditions.load_share * plant.capacity_w * health.loop.load_factor
    low, high = conditions.set_point_k or plant.control.set_point_k, 313.15
    starts: dict[str, Start] = {}

    def surplus(entering: float) -> float:
        state = solve_machine(plant, health, conditions, running, True, entering, starts)
        starts.update({c.id: cycle.start_from(c.balance) for c in state.circuits if c.balance})
        return state.cooling_w - load

    return rising_root(surplus, low - 5.0, high, 1e-3, conditions.entering_k, 2.0).x


class _Run:
    def __init__(self, plant: Plant, conditions: Conditions, health: Health, seed: int) -> None:
        self.plant, self.health, self.seed = plant, health, seed
        add = health.loop.entering_add_k
        self.conditions = replace(conditions, entering_k=conditions.entering_k + add) if add else conditions
        self.trips: list[Trip] = []
        self.notes: list[str] = []
        self.readings: dict[str, dict[Key, Taken]] = {}
        self.balance: dict[str, float] = {}
        self.lamps: dict[str, str] = {}
        self.hold = ""

    # helpers ----------------------------------------------------------------------------------------------------

    def _state(self, running: Mapping[str, tuple[str, ...]], pumping: bool, entering_k: float) -> MachineState:
        return solve_machine(self.plant, self.health, self.conditions, running, pumping, entering_k)

    def _read(self, name: str, state: MachineState) -> None:
        self.readings[name] = read_machine_state(
            self.plant, self.health, self.conditions, state, name, self.seed, self.trips
        )

    def _done(self, state: str, running: tuple[str, ...] = (), steadiness: str = "steady") -> Snapshot:
        trips = tuple(sorted(self.trips, key=lambda t: t.after_s))
        alarms = tuple(dict.fromkeys(t.name for t in trips))
        self.lamps["alarm"] = "on" if alarms and self.lamps.get("screen") == "on" else "off"
        return Snapshot(
            state,
            steadiness,
            running,
            trips,
            alarms,
            self.hold,
            self.lamps,
            self.readings,
            self.balance,
            tuple(dict.fromkeys(self.notes)),
        )

    # the walk ---------------------------------------------------------------------------------------------------

    def run(self) -> Snapshot:
        plant, health, conditions = self.plant, self.health, self.conditions
        idle = solve_supply(
            plant.supply, health.supply, 0.0, False, conditions.board_volts, conditions.hertz, conditions.site_other_va
        )
        h = health.control
        volts = controller.control_volts(plant, h, idle)
        alive = volts >= controller.PULLS_IN * plant.supply.control_volts
        seen = controller.monitor_sees(plant.control, h, idle, plant.supply.volts)
        self.lamps.update(
            power="on" if idle.alive else "off",
            screen="on" if alive else "off",
            **{"phase-monitor": "off" if not idle.alive else ("fault" if seen else "on")},
        )
        rest = self._state({}, False, conditions.entering_k)
        self._read("standing" if not idle.alive else "powered", rest)
        if idle.alive:
            self.readings["standing"] = self.readings["powered"]
        hold = controller.first_hold(plant, h, idle)
        if hold is not None and hold.name == "no-power":
            self.hold = hold.name
            self.lamps.update(flow="off", pump="off", cooling="off")
            return self._done("standing")
        wanted = conditions.wanted
        if hold is not None or wanted in ("powered", "standing"):
            return self._held(hold)
        return self._pump()

    def _held(self, hold: Hold | None) -> Snapshot:
        self.lamps.update(flow="off", pump="off", cooling="off")
        if hold is not None:
            self.hold = hold.name
            if hold.trip is not None:
                self.trips.append(hold.trip)
        return self._done("powered")

    def _pump(self) -> Snapshot:
        plant, health = self.plant, self.health
        h, c = health.control, plant.control
        if h.pump_open_at:
            self.hold = h.pump_open_at
            self.lamps.update(flow="off", pump="off", cooling="off")
            if h.pump_open_at in ("pump-switched-off", "drive-no-run-order", "pump-contactor-dead"):
                self.trips.append(
                    Trip(controller.FLOW, "unit", "flow-proof", c.flow_delay_s, "no flow after the pump was called")
                )
            return self._done("powered")
        state = self._state({}, True, self.conditions.entering_k)
        self._read("pump-only", state)
        main = plant.loop.in_use
        motor = state.motors[f"pump:{main}"]
        branch = health.supply.branch("pump")
        plate = plant.supply.pump if main == "onboard" else plant.supply.site_pump
        if branch.earth:
            self.trips.append(
                Trip(controller.EARTH, f"pump:{main}", "earth-leakage", 0.5, "earth fault in the pump circuit")
            )
            self.hold = "earth-fault"
            self.lamps.update(flow="off", pump="off", cooling="off")
            return self._done("powered")
        over = motor.most * plate.duty_a / (c.pump_overload_a * h.pump_overload * h.pump_relay)
        seconds = trip_seconds(over, c.overload_class * h.pump_overload_class)
        starting = trip_seconds(
            plate.locked_a / (c.pump_overload_a * h.pump_overload * h.pump_relay),
            c.overload_class * h.pump_overload_class,
        )
        if starting is not None and starting < ACCELERATION_S and not plant.loop.pump_drive:
            seconds = starting
        pump_trip = None
        if seconds is not None and seconds < 3600.0:
            pump_trip = Trip(
                controller.OVERLOAD,
                f"pump:{main}",
                "pump-overload",
                seconds,
                f"pump at {over:.2f} times its overload setting",
            )
        proved = controller.flow_proved(plant, h, state.loop.flow_m3s)
        point = state.loop.pumps.get(main)
        flickers = point is not None and point.uneasy > 0.35 and not h.proof
        turning = motor.most > 0.05
        self.lamps.update(flow="flickers" if flickers else ("on" if proved else "off"), pump="on" if turning else "off")
        self.balance["flow_m3s"] = state.loop.flow_m3s
        if point is not None:
            self.balance["suction_margin_m"] = point.margin_m
        if pump_trip is not None and (seconds or 0.0) < LATER * 60.0:
            # nothing else has time to happen: the pump is gone before or shortly after cooling starts
            self.trips.append(pump_trip)
            self._read("pump-only", state)  # with its time
            self.trips.append(
                Trip(controller.FLOW, "unit", "flow-proof", pump_trip.after_s + c.flow_delay_s, "the pump stopped")
            )
            self.hold = "pump-overload"
            self.lamps.update(flow="off", pump="off", cooling="off")
            return self._done("powered")
        if pump_trip is not None:
            self.trips.append(pump_trip)
        if not proved:
            self.hold = "flow-proof"
            self.trips.append(Trip(controller.FLOW, "unit", "flow-proof", c.flow_delay_s, "the flow proof is not made"))
            self.lamps["cooling"] = "off"
            return self._done("pump-only" if turning else "powered")
        if flickers:
            self.trips.append(
                Trip(controller.FLOW, "unit", "flow-proof", 120.0, "the flow proof drops out by turns", False)
            )
        if self.conditions.wanted == "pump-only":
            self.lamps["cooling"] = "off"
            return self._done("pump-only")
        return self._cooling()

    def _cooling(self) -> Snapshot:
        plant, health, conditions = self.plant, self.health, self.conditions
        h = health.control
        if h.waiting:
            self.hold = h.waiting
            self.lamps["cooling"] = "off"
            return self._done("pump-only")
        stages = self._stages()
        if stages == 0:
            self.hold = "set-point-satisfied"
            self.lamps["cooling"] = "off"
            return self._done("pump-only")
        running, resting = self._starts(stages)
        if not any(running.values()):
            self.hold = "no-compressor"
            self.lamps["cooling"] = "off"
            return self._done("pump-only")
        dip = self._dip()
        if dip is not None:
            self.trips.append(dip)
            self.hold = "dip-at-start"
            self.lamps["cooling"] = "off"
            return self._dark() if dip.device == "site-breaker" else self._done("pump-only")
        entering = self._settled()
        if conditions.hold == "load":
            entering = entering_for_load(plant, conditions, health, running)
        state = self._state(running, True, entering)
        self._under_load(state)
        if any(t.device == "phase-monitor" for t in self.trips):
            self._read("cooling", state)
            self.lamps.update(cooling="off", **{"phase-monitor": "fault"})
            self.hold = "phase-monitor"
            return self._done("powered")
        state = self._safeties(state)
        self._examine(state)
        self._read("cooling", state)
        tripped = {t.place for t in self.trips}
        lost = {c.id for c in state.circuits if f"circuit:{c.id}" in tripped}
        whole = "unit" in {t.place for t in self.trips if t.name == controller.FREEZE}
        left = tuple(
            c
            for circuit in state.circuits
            for c in circuit.running
            if circuit.id not in lost and not whole and f"compressor:{c}" not in tripped
        )
        self.lamps["cooling"] = "on" if left else "off"
        if not left:
            self.hold = "tripped"
            return self._done("pump-only")
        return self._done("cooling", left, self._steadiness(state, bool(lost)))

    def _dark(self) -> Snapshot:
        """The breaker ahead of the unit has opened: nothing is fed any more. What ran before was read before."""
        supply = replace(self.health.supply, dead="unit")
        dead = _Run(self.plant, self.conditions, replace(self.health, supply=supply), self.seed).run()
        self.lamps.update(dead.lamps)
        self.readings["standing"] = dead.readings["standing"]
        self.readings.pop("powered", None)
        return self._done("standing")

    def _settled(self) -> float:
        """Return temperature once the control has had its way: it follows a set point moved down, a sensor that reads wrong and
        a load that is small.
        """
        conditions, h = self.conditions, self.health.control
        set_point = conditions.set_point_k or self.plant.control.set_point_k
        entering = conditions.entering_k
        load = self.health.loop.load_factor
        if load < 1.0:
            entering = set_point + (entering - set_point) * max(load, 1.0 / len(self.plant.compressors))
        moved = min(h.set_point_add_k, 0.0) - h.leaving_shift_k - h.control_shift_k
        return max(entering + moved, self.plant.control.set_point_k - 12.0)

    def _stages(self) -> int:
        plant, health, conditions = self.plant, self.health, self.conditions
        total = len(plant.compressors)
        set_point = conditions.set_point_k or plant.control.set_point_k
        if conditions.hold == "load":
            load = conditions.load_share * health.loop.load_factor
            if health.control.normal == "satisfied" or load <= 0.0:
                return 0
            most = max(1, math.ceil(total * health.control.load_limit - 1e-9))
            return max(1, min(most, math.ceil(load * total - 0.25)))
        if conditions.stages is not None:
            return min(max(conditions.stages, 0), total)
        if health.control.normal == "satisfied":
            return 0
        return controller.wanted_stages(plant, health.control, self._settled(), set_point)

    def _starts(self, stages: int) -> tuple[dict[str, tuple[str, ...]], dict[str, str]]:
        """Compressors that come on, and why the others of the wanted ones do not."""
        plant, health = self.plant, self.health
        resting = dict(health.control.resting)
        on: list[str] = []
        for name in controller.stage_order(plant)[:stages]:
            place = f"compressor:{name}"
            branch = health.supply.branch(place)
            if name in resting:
                if resting[name] == "module-lock-out":
                    why = "its protection module is in lock-out"
                    self.trips.append(Trip(controller.PROTECTION, place, controller.MODULE, 0.5, why))
                continue
            if branch.dead:
                resting[name] = "not fed"
                continue
            if branch.earth:
                resting[name] = "earth fault"
                self.trips.append(Trip(controller.EARTH, place, "earth-leakage", 0.5, "compressor motor to earth"))
                continue
            if branch.locked:
                resting[name] = "locked"
                setting = plant.control.compressor_overload_a * health.control.compressor_overload.get(name, 1.0)
                over = plant.supply.compressor.locked_a / setting
                seconds = trip_seconds(over, plant.control.overload_class) or PROTECTION_S
                self.trips.append(Trip(controller.OVERLOAD, place, "compressor-overload", seconds, "locked rotor"))
                continue
            on.append(name)
        return {c.id: tuple(n for n in c.compressors if n in on) for c in plant.circuits}, resting

    def _dip(self) -> Trip | None:
        plant, h = self.plant, self.health.supply
        start_va = math.sqrt(3.0) * plant.supply.volts * plant.supply.compressor.locked_a
        dip = start_dip_pct(plant.supply, h, start_va)
        self.balance["start_dip_pct"] = dip
        if h.breaker_a > 0.0:
            peak = plant.supply.compressor.locked_a * 1.0
            if peak > 5.0 * h.breaker_a:
                return Trip(controller.POWER, "supply", "site-breaker", 0.2, "the site breaker opens on the start")
        if dip > controller.DIP_DROPS_OUT_PCT:
            return Trip(
                controller.PHASE,
                "supply",
                "contactors",
                0.3,
                f"contactors fall out on a start dip of {dip:.0f} %",
                False,
            )
        return None

    def _under_load(self, state: MachineState) -> None:
        """The phase monitor again, with the load on."""
        seen = controller.monitor_sees(self.plant.control, self.health.control, state.supply, self.plant.supply.volts)
        if seen:
            self.trips.append(
                Trip(
                    controller.PHASE,
                    "supply",
                    "phase-monitor",
                    self.plant.control.monitor_delay_s + 30.0,
                    f"{seen} with the load on",
                    False,
                )
            )

    def _safeties(self, state: MachineState) -> MachineState:
        plant, health = self.plant, self.health
        c, h = plant.control, health.control
        circuits: list[CircuitState] = []
        for circuit in state.circuits:
            low, high = controller.pressure_limits(plant, h, circuit.id)
            place = f"circuit:{circuit.id}"
            b, failed = circuit.balance, circuit.failed
            if not circuit.running or (b is None and failed is None):
                circuits.append(circuit)
                continue
            name = failed.name if failed else ""
            if b is not None and b.p_discharge_pa > high:
                name = "high-pressure"
            elif b is not None and b.p_suction_pa < low:
                name = "low-pressure"
            if name and h.jumpered and b is not None:
                self.notes.append(f"{place}: {name} would have tripped; a safety is jumpered")
                name = ""
            if name == "high-pressure":
                self.trips.append(Trip(controller.HIGH, place, "high-pressure-switch", 90.0, self._why(failed, "head")))
                shown = self._at_head(circuit, high)
            elif name == "low-pressure":
                self.trips.append(
                    Trip(
                        controller.LOW,
                        place,
                        "low-pressure-switch",
                        c.low_pressure_bypass_s,
                        self._why(failed, "suction"),
                        False,
                    )
                )
                shown = self._at_suction(circuit, low)
            else:
                shown = circuit
                if b is not None and b.t2_k > c.discharge_limit_k:
                    self.trips.append(
                        Trip(
                            controller.PROTECTION, place, "discharge-thermostat", PROTECTION_S, "discharge gas too hot"
                        )
                    )
            circuits.append(shown)
        final = finish(plant, health, state.supply, state.loop, tuple(circuits), state.entering_k, True, state.load_va)
        self._compressor_motors(final)
        if final.leaving_k + h.leaving_shift_k < c.freeze_k + h.freeze_add_k and not h.jumpered:
            self.trips.append(
                Trip(controller.FREEZE, "unit", "freeze-limit", 150.0, "leaving fluid at the freeze limit")
            )
        for circuit in final.circuits:
            if circuit.balance:
                wall = circuit.balance.evaporator_inlet_k + 0.4 * (final.leaving_k - circuit.balance.evaporator_inlet_k)
                if wall < final.loop.fluid.freeze_k:
                    self.notes.append(f"circuit:{circuit.id}: plate wall below the fluid's freeze point")
        return final

    def _why(self, failed: cycle.NoBalance | None, what: str) -> str:
        return failed.why if failed else f"steady {what} beyond the cut-out"

    def _at_head(self, circuit: CircuitState, high_pa: float) -> CircuitState:
        fluid = circuit.hardware.fluid
        limit = min(fluid.dew_k(high_pa), fluid.high_k - 0.5)
        liquid_k = circuit.balance.subcooling_k if circuit.balance else EARLY_SUBCOOLING_K
        found = cycle.at_discharge(circuit.hardware, circuit.fluid_side, circuit.air.side, limit, liquid_k)
        return replace(circuit, balance=found if isinstance(found, Balance) else circuit.balance, failed=circuit.failed)

    def _at_suction(self, circuit: CircuitState, low_pa: float) -> CircuitState:
        if circuit.balance is not None and circuit.balance.p_suction_pa > SEEN_AT_TRIP * low_pa:
            return circuit
        te = circuit.hardware.fluid.dew_k(max(0.8 * low_pa, 3e4))
        found = cycle.at_suction(circuit.hardware, circuit.fluid_side, circuit.air.side, te)
        return replace(circuit, balance=found)

    def _compressor_motors(self, state: MachineState) -> None:
        plant, h = self.plant, self.health.control
        for circuit in state.circuits:
            for name in circuit.running:
                place = f"compressor:{name}"
                motor = state.motors[place]
                setting = plant.control.compressor_overload_a * h.compressor_overload.get(name, 1.0)
                seconds = trip_seconds(
                    motor.most * plant.supply.compressor.duty_a / setting, plant.control.overload_class
                )
                if motor.stalled:
                    self.trips.append(
                        Trip(controller.OVERLOAD, place, "compressor-overload", 6.0, "cannot turn its load")
                    )
                elif seconds is not None and seconds < 3600.0:
                    self.trips.append(
                        Trip(
                            controller.OVERLOAD,
                            place,
                            "compressor-overload",
                            seconds,
                            f"at {motor.most:.2f} times running current",
                        )
                    )
                elif motor.loss > 1.9:
                    self.trips.append(
                        Trip(controller.PROTECTION, place, "winding-protector", PROTECTION_S, "winding too hot")
                    )
                if name in self.health.cycle[circuit.id].stalled:
                    self.trips.append(
                        Trip(
                            controller.PROTECTION,
                            place,
                            "winding-protector",
                            THERMAL_S,
                            "turns without pumping, no gas to cool it",
                        )
                    )

    def _steadiness(self, state: MachineState, lost: bool) -> str:
        conditions, plant = self.conditions, self.plant
        if lost or any(not t.latched for t in self.trips):
            return "cycling"
        if conditions.minutes < FIRST_MINUTES:
            return "starting"
        set_point = conditions.set_point_k or plant.control.set_point_k
        if state.entering_k > set_point + 10.0 / 1.8 + PULL_DOWN_K:
            return "pull-down"
        load = conditions.load_share * self.health.loop.load_factor
        if (
            load < 0.4 / len(plant.compressors)
            or self.health.loop.volume_factor < 0.5
            or self.health.control.stage_factor < 0.5
        ):
            return "cycling"
        return "steady"

    def _examine(self, state: MachineState) -> None:
        self.balance.update(
            cooling_w=state.cooling_w,
            power_w=state.power_w,
            cop=state.cooling_w / state.power_w if state.power_w > 0.0 else 0.0,
            entering_k=state.entering_k,
            leaving_k=state.leaving_k,
            capacity_rate=state.loop.capacity_rate,
            resistance_pa=state.loop.resistance_pa,
            pump_w=sum(p.shaft_w for p in state.loop.pumps.values()) / PUMP_MOTOR_EFFICIENCY,
            pump_rise_pa=sum(p.rise_pa for p in state.loop.pumps.values()),
        )
        for circuit in state.circuits:
            b = circuit.balance
            if b is None:
                continue
            self.notes += b.notes
            for key in (
                "discharge_dew_k",
                "condensing_dew_k",
                "evaporating_dew_k",
                "suction_dew_k",
                "evaporator_inlet_k",
                "superheat_k",
                "outlet",
                "subcooling_k",
                "opening",
                "charge_kg",
                "flow_kg_s",
                "device_kg_s",
                "condensing_bubble_k",
                "p_liquid_pa",
                "power_w",
                "cooling_w",
                "rejected_w",
                "shell_w",
                "s1",
                "s2",
                "t1_k",
                "t2_k",
                "t3_k",
                "ratio",
                "p_suction_pa",
                "p_evaporator_pa",
                "p_condenser_pa",
                "p_discharge_pa",
                "air_in_k",
                "air_out_k",
                "leaving_k",
                "quality_3",
                "flash",
            ):
                self.balance[f"{circuit.id}.{key}"] = float(getattr(b, key))
            self.balance[f"{circuit.id}.bypass"] = circuit.hardware.bypass
            self.balance[f"{circuit.id}.nominal_charge_kg"] = circuit.hardware.charge_kg
            self.balance[f"{circuit.id}.steady"] = 0.0 if cycle.AT_TRIP in b.notes else 1.0
            self.balance[f"{circuit.id}.flooded"] = 1.0 if cycle.FLOODED in b.notes else 0.0
