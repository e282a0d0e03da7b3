"""Minutes of the machine's life: a loop with thermal mass, a control with timers, circuits that settle at once.

Two time scales are reported for water chillers: pressure and flow settle in one to three minutes, temperatures far slower (Lei and
Zaheeruddin 2005, abstract). So the refrigerant is quasi-steady and only fluid and metal are integrated:
(M cp + metal) dT/dt = load + pump heat - cooling, one node, explicit steps. A circuit's pressures move from rest to their balance with
one time constant, which dates its trips. The circuits are solved again only when the compressors change or the loop has moved.

Low pressure resets itself a few times and then locks out; high pressure, freeze and overloads lock out at once (common practice).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from diagnose.plant import controller, cycle
from diagnose.plant.conditions import Conditions
from diagnose.plant.cycle import Start
from diagnose.plant.faults import Fault, apply_faults
from diagnose.plant.health import Health
from diagnose.plant.machine_state import PUMP_MOTOR_EFFICIENCY, MachineState, solve_machine, weather_k
from diagnose.plant.parameters import Plant
from diagnose.plant.supply import SupplyState, solve_supply, start_dip_pct, trip_seconds

SETTLES_S = (
    40.0  # time constant of a circuit's pressures after a start: assumption inside the reported one to three minutes
)
MOVED_K = 0.25  # the circuits are solved again when the loop has moved this far
LOW_RESETS = 3
NEAR_FREEZE_K = 1.0  # one stage a step is let go this close to the freeze limit: common practice
LOAD_FADES_K, LOAD_ENDS_K = 300.15, 318.15  # a warm loop takes less from its load, a hot one nothing: assumption
PUMP_HEAT = (
    1.0 / PUMP_MOTOR_EFFICIENCY
)  # all of a pump motor's input ends in the fluid or beside it: taken into the fluid


@dataclass(frozen=True, slots=True)
class Moment:
    """One step. entering_k: the loop; cooling_w, load_w, pump_w: what moved its heat during the step."""

    t_s: float
    entering_k: float
    leaving_k: float
    running: tuple[str, ...]
    state: str
    cooling_w: float
    load_w: float
    pump_w: float


@dataclass(frozen=True, slots=True)
class Event:
    """Something the control did. what: start, stop, trip, reset, lock-out, pump-on, flow-proved; why: a word or a trip name."""

    t_s: float
    what: str
    place: str
    why: str = ""


@dataclass
class March:
    """A run in time. starts: by compressor. heat_j_per_k: what the loop holds."""

    moments: list[Moment] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    starts: dict[str, int] = field(default_factory=dict)
    heat_j_per_k: float = 0.0

    def trips(self) -> list[Event]:
        """Trips in their order."""
        return [e for e in self.events if e.what == "trip"]

    @property
    def steadiness(self) -> str:
        """steady, pull-down or cycling, told from the last third of the run."""
        late = self.moments[-max(len(self.moments) // 3, 2) :]
        since = late[0].t_s
        if sum(1 for e in self.events if e.what in ("start", "trip") and e.t_s >= since) >= 2:
            return "cycling"
        drift_k = (late[-1].entering_k - late[0].entering_k) / max(late[-1].t_s - since, 1.0) * 600.0
        return "steady" if abs(drift_k) < 0.6 else "pull-down" if drift_k < 0.0 else "warming"


class _Control:
    """Timers and latches."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.on: list[str] = []
        self.changed_s = dict.fromkeys(plant.compressors, -1e9)
        self.stage_s = -1e9
        self.out: dict[str, str] = {}  # compressor or circuit place -> why locked out
        self.wait_s: dict[str, float] = {}  # circuit place -> time it may start again
        self.low: dict[str, int] = {}
        self.hot_s: dict[str, float] = {}


def march(
    plant: Plant,
    conditions: Conditions,
    faults: Iterable[Fault] = (),
    minutes: float = 60.0,
    start_k: float | None = None,
    step_s: float = 10.0,
) -> March:
    """Run the machine from rest. start_k: loop temperature then (default: the return of the conditions).

    The load is ``load_share`` of nameplate capacity, fading as the loop gets warm.
    """
    return march_health(plant, conditions, apply_faults(plant, faults), minutes, start_k, step_s)


def march_health(
    plant: Plant,
    conditions: Conditions,
    health: Health,
    minutes: float,
    start_k: float | None = None,
    step_s: float = 10.0,
) -> March:
    """As `march`, with the health given."""
    return _Marcher(plant, conditions, health, step_s).run(minutes, start_k)


class _Marcher:
    def __init__(self, plant: Plant, conditions: Conditions, health: Health, step_s: float) -> None:
        self.plant, self.health, self.step = plant, health, step_s
        self.conditions = replace(conditions, hold="march")
        self.control = _Control(plant)
        self.made = March(starts=dict.fromkeys(plant.compressors, 0))
        self.set_point = (conditions.set_point_k or plant.control.set_point_k) + health.control.set_point_add_k
        self.last: MachineState | None = None
        self.last_key: tuple[object, ...] = ()
        self.last_k = 0.0
        self.starts: dict[str, Start] = {}
        self.pump_s = -1.0
        self.pump_out = False
        self.proved_s = -1.0
        self.pump_hot_s = 0.0
        self.whole_out = ""

    def run(self, minutes: float, start_k: float | None) -> March:
        plant, h = self.plant, self.health
        fluid = start_k if start_k is not None else self.conditions.entering_k + h.loop.entering_add_k
        density = 1000.0 * 4187.0
        mass = density * plant.loop.volume_m3 * h.loop.volume_factor + plant.loop.metal_j_per_k * h.loop.volume_factor
        self.made.heat_j_per_k = mass
        load = self.conditions.load_share * plant.capacity_w * h.loop.load_factor
        hold = controller.first_hold(plant, h.control, self._idle())
        for number in range(round(minutes * 60.0 / self.step)):
            t = number * self.step
            pumping = hold is None and not h.control.pump_open_at and not self.pump_out
            if pumping and self.pump_s < 0.0:
                self.pump_s = t
                self._tell(t, "pump-on", f"pump:{plant.loop.in_use}")
            state = self._solve(fluid, pumping)
            self._pump(t, state, pumping)
            if pumping and not self.pump_out:
                self._stages(t, state)
                state = self._solve(fluid, pumping)
                self._safeties(t, state)
            else:
                self._all_off(t, "pump")
            state = self._solve(fluid, pumping and not self.pump_out)
            running = tuple(self.control.on)
            cooling = state.cooling_w if running else 0.0
            pump_w = sum(p.shaft_w for p in state.loop.pumps.values()) * PUMP_HEAT
            leaving = state.leaving_k if running else fluid
            kind = (
                "cooling"
                if running
                else "pump-only"
                if state.loop.pumps
                else "powered"
                if state.supply.alive
                else "standing"
            )
            heat = load * min(max((LOAD_ENDS_K - fluid) / (LOAD_ENDS_K - LOAD_FADES_K), 0.0), 1.0)
            self.made.moments.append(Moment(t, fluid, leaving, running, kind, cooling, heat, pump_w))
            fluid += (heat + pump_w - cooling) * self.step / mass
        return self.made

    # layers --------------------------------------------------------------------------------------------------------

    def _idle(self) -> SupplyState:
        c, p = self.conditions, self.plant
        return solve_supply(p.supply, self.health.supply, 0.0, False, c.board_volts, c.hertz, c.site_other_va)

    def _solve(self, fluid_k: float, pumping: bool) -> MachineState:
        running = {c.id: tuple(n for n in c.compressors if n in self.control.on) for c in self.plant.circuits}
        key = (tuple(sorted(self.control.on)), pumping)
        if self.last is None or key != self.last_key or abs(fluid_k - self.last_k) > MOVED_K:
            self.last = solve_machine(self.plant, self.health, self.conditions, running, pumping, fluid_k, self.starts)
            self.starts = {c.id: cycle.start_from(c.balance) for c in self.last.circuits if c.balance}
            self.last_key, self.last_k = key, fluid_k
        return self.last

    def _tell(self, t: float, what: str, place: str, why: str = "") -> None:
        self.made.events.append(Event(t, what, place, why))

    # pump and flow proof -------------------------------------------------------------------------------------------

    def _pump(self, t: float, state: MachineState, pumping: bool) -> None:
        if not pumping:
            return
        plant, h = self.plant, self.health.control
        main = plant.loop.in_use
        plate = plant.supply.pump if main == "onboard" else plant.supply.site_pump
        over = (
            state.motors[f"pump:{main}"].most
            * plate.duty_a
            / (plant.control.pump_overload_a * h.pump_overload * h.pump_relay)
        )
        seconds = trip_seconds(over, plant.control.overload_class * h.pump_overload_class)
        if seconds is not None:
            self.pump_hot_s += self.step / seconds
            if self.pump_hot_s >= 1.0:
                self.pump_out = True
                self._tell(t, "trip", f"pump:{main}", controller.OVERLOAD)
                self._all_off(t, "pump")
                return
        proved = controller.flow_proved(plant, h, state.loop.flow_m3s)
        if proved and self.proved_s < 0.0 and t - self.pump_s >= 0.0:
            self.proved_s = t
            self._tell(t, "flow-proved", "unit")
        if not proved and t - self.pump_s >= plant.control.flow_delay_s:
            if self.proved_s >= 0.0 or not any(e.why == controller.FLOW for e in self.made.events):
                self._tell(t, "trip", "unit", controller.FLOW)
            self.proved_s = -1.0
            self._all_off(t, "flow")

    def _all_off(self, t: float, why: str) -> None:
        for name in list(self.control.on):
            self._stop(t, name, why)

    def _stop(self, t: float, name: str, why: str) -> None:
        self.control.on.remove(name)
        self.control.changed_s[name] = t
        self._tell(t, "stop", f"compressor:{name}", why)

    # stages --------------------------------------------------------------------------------------------------------

    def _stages(self, t: float, state: MachineState) -> None:
        plant, h, k = self.plant, self.health.control, self.control
        c = plant.control
        ready = self.proved_s >= 0.0 and t - self.proved_s >= c.start_delay_s * h.stage_factor
        if not ready or h.waiting or self.whole_out or h.normal == "satisfied":
            if self.whole_out:
                self._all_off(t, self.whole_out)
            return
        band = c.band_k * h.band_factor
        leaving = (state.leaving_k if k.on else state.entering_k) + h.leaving_shift_k + h.control_shift_k
        if k.on and leaving < c.freeze_k + h.freeze_add_k + NEAR_FREEZE_K and leaving < self.set_point:
            self._stop(
                t, k.on[-1], "near the freeze limit"
            )  # a control lets go before it trips, whatever the timers say
            k.stage_s = t
            return
        if t - k.stage_s < c.stage_delay_s * h.stage_factor:
            return
        total = len(plant.compressors)
        most = max(1, math.floor(total * h.load_limit + 1e-9))
        if leaving > self.set_point + 0.5 * band and len(k.on) < most:
            name = next((n for n in controller.stage_order(plant) if self._may_start(t, n)), None)
            if name is not None:
                self._start(t, name)
        elif leaving < self.set_point - 0.5 * band and k.on:
            name = k.on[-1]
            if t - k.changed_s[name] >= c.least_on_s * h.stage_factor:
                self._stop(t, name, "satisfied")
                k.stage_s = t

    def _circuit_of(self, name: str) -> str:
        return next(c.id for c in self.plant.circuits if name in c.compressors)

    def _may_start(self, t: float, name: str) -> bool:
        k, h = self.control, self.health
        place = f"circuit:{self._circuit_of(name)}"
        branch = h.supply.branch(f"compressor:{name}")
        if name in k.on or name in k.out or place in k.out or name in h.control.resting or branch.dead:
            return False
        if t < k.wait_s.get(place, -1.0):
            return False
        least_off = self.plant.control.least_off_s * h.control.stage_factor
        return t - k.changed_s[name] >= least_off

    def _start(self, t: float, name: str) -> None:
        plant, k, h = self.plant, self.control, self.health
        branch = h.supply.branch(f"compressor:{name}")
        k.stage_s = t
        if branch.earth or branch.locked:
            k.out[name] = controller.EARTH if branch.earth else controller.OVERLOAD
            self._tell(t, "trip", f"compressor:{name}", k.out[name])
            return
        start_va = math.sqrt(3.0) * plant.supply.volts * plant.supply.compressor.locked_a
        if start_dip_pct(plant.supply, h.supply, start_va) > controller.DIP_DROPS_OUT_PCT:
            self._tell(t, "trip", "supply", controller.PHASE)
            self._all_off(t, "dip")
            k.changed_s[name] = t
            return
        k.on.append(name)
        k.changed_s[name] = t
        self.made.starts[name] += 1
        self._tell(t, "start", f"compressor:{name}")

    # safeties ------------------------------------------------------------------------------------------------------

    def _safeties(self, t: float, state: MachineState) -> None:
        plant, h, k = self.plant, self.health.control, self.control
        if k.on and controller.monitor_sees(plant.control, h, state.supply, plant.supply.volts):
            self._tell(t, "trip", "supply", controller.PHASE)
            self._all_off(t, controller.PHASE)
            return
        rest_k = weather_k(self.health, self.conditions)
        for circuit in state.circuits:
            if not circuit.running or not all(n in k.on for n in circuit.running):
                continue
            place = f"circuit:{circuit.id}"
            since = t - max(k.changed_s[n] for n in circuit.running)
            first = t - min(k.changed_s[n] for n in circuit.running)
            low, high = controller.pressure_limits(plant, h, circuit.id)
            name = ""
            b, fluid = circuit.balance, circuit.hardware.fluid
            if b is None:
                due = (
                    SETTLES_S
                    if circuit.failed and circuit.failed.name == controller.HIGH
                    else plant.control.low_pressure_bypass_s
                )
                name = circuit.failed.name if circuit.failed and since >= due else ""
            else:
                rest = fluid.line(min(max(rest_k, fluid.low_k + 1.0), fluid.high_k - 1.0)).p_pa
                near = 1.0 - math.exp(-max(first, 0.0) / SETTLES_S)
                if rest + (b.p_discharge_pa - rest) * near > high:
                    name = controller.HIGH
                elif b.p_suction_pa < low and first >= plant.control.low_pressure_bypass_s:
                    name = controller.LOW
            if name and not h.jumpered:
                self._circuit_out(t, place, circuit.running, name)
                continue
            self._compressors(t, state, circuit.running, b.t2_k if b is not None else 0.0)
        leaving = state.leaving_k + h.leaving_shift_k
        if k.on and leaving < plant.control.freeze_k + h.freeze_add_k and not h.jumpered:
            self.whole_out = controller.FREEZE
            self._tell(t, "trip", "unit", controller.FREEZE)
            self._all_off(t, controller.FREEZE)

    def _circuit_out(self, t: float, place: str, names: tuple[str, ...], name: str) -> None:
        k = self.control
        self._tell(t, "trip", place, name)
        for one in names:
            if one in k.on:
                self._stop(t, one, name)
        count = k.low.get(place, 0) + 1
        k.low[place] = count
        if name == controller.LOW and count <= LOW_RESETS:
            k.wait_s[place] = t + self.plant.control.least_off_s
            return
        k.out[place] = name
        self._tell(t, "lock-out", place, name)

    def _compressors(self, t: float, state: MachineState, names: tuple[str, ...], discharge_k: float) -> None:
        plant, k, h = self.plant, self.control, self.health.control
        for name in names:
            place = f"compressor:{name}"
            motor = state.motors[place]
            setting = plant.control.compressor_overload_a * h.compressor_overload.get(name, 1.0)
            seconds = trip_seconds(motor.most * plant.supply.compressor.duty_a / setting, plant.control.overload_class)
            if motor.stalled:
                seconds = 6.0
            if seconds is not None:
                k.hot_s[name] = k.hot_s.get(name, 0.0) + self.step / seconds
                if k.hot_s[name] >= 1.0:
                    k.out[name] = controller.OVERLOAD
            if discharge_k > plant.control.discharge_limit_k and t - k.changed_s[name] > 240.0:
                k.out[name] = controller.PROTECTION
            if name in k.out and name in k.on:
                self._tell(t, "trip", place, k.out[name])
                self._stop(t, name, k.out[name])
