"""Layer 1, the fluid loop: where the pump curve meets the system curve, and the pressure at every tap.

The ring: unit inlet, suction valve, strainer, pump, check or triple-duty valve, evaporator, outlet valve, supply hose, load with
site valves, (site pump,) return hose, unit inlet. A closed loop has no static head. Hoses and plate follow Q^1.75 with viscosity
to the 0.25 (Blasius), valves and strainers Q^2 with density only. Pressures hang on the expansion tank, wherever it is joined.

Pump: H = H0 n2 - a n Q - b Q2; gas in the fluid costs 9 times its share of the head and the prime beyond 5 to 8 %; too little net
suction head takes the rest. A reversed pump has no standard figure: 0.55 of the shut-off head, twice the slope (assumption).
Pressures gauge [Pa], flow [m3/s], head [m], power [W].
"""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.calculators.flow import GRAVITY
from diagnose.plant.health import LoopHealth
from diagnose.plant.parameters import LoopParameters, PumpCurve
from diagnose.plant.roots import rising_root
from diagnose.properties.fluids import (
    WATER,
    density_kg_m3,
    freeze_point_k,
    heat_capacity_j_per_kg_k,
    viscosity_pa_s,
    water_vapour_pressure_pa,
)

REFERENCE_K = 283.15  # plain water of the design drops
SHUT = 1e-3  # a shut valve still passes this share of its flow coefficient: the bracket needs a flow
GAS_LOSS, GAS_HOLDS, GAS_LOST = 9.0, 0.05, 0.08
IDLE_PUMP_PA_SHARE = 0.35  # drop of a standing pump at design flow over the plate's: assumption
CROSSOVER_OF_LOAD = 0.25  # resistance of an open crossover over the load's: assumption
SEALED_BYPASS = 0.10  # resistance of an open pump bypass over the whole ring's: assumption
SHUTOFF_POWER = 0.45  # shaft power at shut-off over duty


@dataclass(frozen=True, slots=True)
class Fluid:
    """The fluid at one temperature. friction, mass: factors on drops of plain water; film: fluid-side heat transfer factor."""

    name: str
    percent: float
    density: float
    heat_capacity: float
    friction: float
    mass: float
    film: float
    freeze_k: float


def conductivity_ratio(name: str, percent: float) -> float:
    """Heat conductivity over plain water's near 5 C (from memory: 30 % glycol about 0.82 ethylene, 0.78 propylene)."""
    if name == WATER:
        return 1.0
    return 1.0 - percent * (0.006 if name == "ethylene-glycol" else 0.0073)


def fluid_at(name: str, percent: float, basis: str, t_k: float) -> Fluid:
    """Properties and factors of a fluid; clamped a little above its freeze point (a frozen loop is another fault).

    film: Nu ~ Re^0.7 Pr^0.35, to the power 0.6: the bare ratio is harsher than published unit factors (0.95-0.97 of the
    capacity at 30 % propylene glycol).
    """
    freeze = freeze_point_k(name, percent, basis)
    top = 333.0 if name != WATER and percent > 0.0 else 372.0
    t = min(max(t_k, freeze + 0.2), top)
    if name != WATER:
        t = max(t, 238.3)
    rho, cp = density_kg_m3(name, percent, basis, t), heat_capacity_j_per_kg_k(name, percent, basis, t)
    mu = viscosity_pa_s(name, percent, basis, t)
    rho_0, cp_0 = (
        density_kg_m3(WATER, 0.0, basis, REFERENCE_K),
        heat_capacity_j_per_kg_k(WATER, 0.0, basis, REFERENCE_K),
    )
    mu_0 = viscosity_pa_s(WATER, 0.0, basis, REFERENCE_K)
    mass = rho / rho_0
    k = conductivity_ratio(name, percent)
    film = float(mass**0.7 * (mu_0 / mu) ** 0.35 * (cp / cp_0) ** 0.35 * k**0.65) ** 0.6
    return Fluid(name, percent, rho, cp, mass**0.75 * (mu / mu_0) ** 0.25, mass, film, freeze)


@dataclass(frozen=True, slots=True)
class PumpPoint:
    """A running pump: flow through it, pressure rise, gauge pressure before and after, shaft power; suction margin [m]."""

    flow_m3s: float
    rise_pa: float
    suction_pa: float
    discharge_pa: float
    shaft_w: float
    margin_m: float
    uneasy: float


@dataclass(frozen=True, slots=True)
class LoopState:
    """Flow through the evaporator, drops, gauge pressures at the taps, running pumps; resistance_pa: of the
    whole ring, equal to the pumps' rise.
    """

    fluid: Fluid
    flow_m3s: float
    evaporator_pa: float
    strainer_pa: float
    taps: dict[str, float]
    pumps: dict[str, PumpPoint]
    fill_pa: float
    resistance_pa: float = 0.0

    @property
    def capacity_rate(self) -> float:
        """m cp through the evaporator [W/K]."""
        return self.flow_m3s * self.fluid.density * self.fluid.heat_capacity


def _resistance(open_share: float) -> float:
    return 1.0 / max(open_share, SHUT) ** 2


def head_m(curve: PumpCurve, flow_m3s: float, speed: float) -> float:
    """Head of a pump at a flow and a speed ratio; affinity holds by its form."""
    return curve.shutoff_m * speed * speed - curve.slope * speed * flow_m3s - curve.bend * flow_m3s * flow_m3s


def gas_factor(gas: float) -> float:
    """Head left with a volume share of gas in the fluid."""
    held = max(1.0 - GAS_LOSS * gas, 0.0)
    x = min(max((gas - GAS_HOLDS) / (GAS_LOST - GAS_HOLDS), 0.0), 1.0)
    return held * (1.0 - 0.9 * x * x * (3.0 - 2.0 * x))


def shaft_power_w(curve: PumpCurve, flow_m3s: float, speed: float, density: float) -> float:
    """Shaft power [W] of a pump: 0.45 of the duty power at shut-off, straight line to the duty point (assumption)."""
    duty = density * GRAVITY * curve.rated_m3s * head_m(curve, curve.rated_m3s, 1.0) / curve.efficiency
    share = min(flow_m3s / (curve.rated_m3s * max(speed, 1e-6)), 1.6)
    return float(duty * speed**3 * (SHUTOFF_POWER + (1.0 - SHUTOFF_POWER) * share))


@dataclass(frozen=True, slots=True)
class _Ring:
    """Drops [Pa] of every piece at unit flow Q: coefficient times (Q/design)^exponent."""

    design: float
    suction_valve: float
    strainer: float
    check: float
    evaporator: float
    outlet: float
    supply: float
    load: float
    site: float
    back: float
    idle: float
    hose_exponent: float
    plate_exponent: float

    def square(self, k: float, q: float) -> float:
        return k * (q / self.design) ** 2

    def hose(self, k: float, q: float) -> float:
        return k * float((q / self.design) ** self.hose_exponent)

    def plate(self, q: float) -> float:
        return self.evaporator * float((q / self.design) ** self.plate_exponent)

    def total(self, q: float) -> float:
        squares = self.suction_valve + self.strainer + self.check + self.outlet + self.load + self.site + self.idle
        return self.square(squares, q) + self.hose(self.supply + self.back, q) + self.plate(q)


def _ring(p: LoopParameters, h: LoopHealth, fluid: Fluid, idle_in_path: bool) -> _Ring:
    load = p.load_pa * h.load_resistance * _resistance(h.load_open)
    if h.crossover_open > 0.0:
        cross = p.load_pa * CROSSOVER_OF_LOAD / h.crossover_open**2
        load = 1.0 / (load**-0.5 + cross**-0.5) ** 2
    strainer = p.strainer_pa * _resistance(h.strainer_open) * (1.0 - 0.8 * h.strainer_gone)
    ease = 1.0 if h.load_resistance >= 1.0 else h.load_resistance
    return _Ring(
        p.design_m3s,
        0.4 * p.valve_pa * fluid.mass * _resistance(h.suction_valve_open),
        strainer * fluid.mass,
        0.3 * p.valve_pa * fluid.mass * _resistance(h.check_open),
        p.evaporator_pa * fluid.friction * _resistance(h.evaporator_open),
        0.3 * p.valve_pa * fluid.mass * _resistance(h.outlet_valve_open),
        0.5 * p.hose_pa * fluid.friction * ease * _resistance(h.supply_hose_open),
        load * fluid.mass,
        0.1 * p.load_pa * fluid.mass * _resistance(h.site_valve_open),
        0.5 * p.hose_pa * fluid.friction * ease * _resistance(h.return_hose_open),
        IDLE_PUMP_PA_SHARE * p.evaporator_pa * fluid.mass if idle_in_path else 0.0,
        p.hose_exponent,
        p.evaporator_exponent,
    )


def solve_loop(
    p: LoopParameters, h: LoopHealth, speeds: dict[str, float], fluid: Fluid, fluid_k: float, atmosphere_pa: float
) -> LoopState:
    """Balance of pumps and ring. speeds: pump id -> speed ratio, those that turn; an empty one is a standing loop."""
    fill = max(p.fill_pa - h.fill_lost_pa, -0.2 * atmosphere_pa)
    turning = {name: n for name, n in speeds.items() if n > 0.01}
    idle = h.idle_pump_in_path and "onboard" not in turning
    ring = _ring(p, h, fluid, idle)
    if not turning:
        return _standing(fluid, fill)
    weight = fluid.density * GRAVITY
    vapour = water_vapour_pressure_pa(min(max(fluid_k, 273.16), 373.0))
    tank = h.tank_at or p.tank_at
    if tank == "unknown":
        tank = "unit-suction"
    if tank == "unit-suction" and "site" in turning:
        tank = "load"  # a site pump has its tank at its own suction
    most = 2.5 * p.design_m3s * max(turning.values())

    def curve(name: str) -> PumpCurve:
        return p.pump if name == "onboard" else p.site_pump

    def raw_rise(name: str, through: float, n: float) -> float:
        c = curve(name)
        mine = name == p.in_use
        shape = PumpCurve(
            c.shutoff_m * (h.pump_head if mine else 1.0) * (h.site_head if name == "site" else 1.0),
            c.slope * (h.pump_bend if mine else 1.0),
            c.bend * (h.pump_bend if mine else 1.0),
            c.rated_m3s,
        )
        if mine and h.pump_reversed:
            shape = PumpCurve(0.55 * shape.shutoff_m, 2.0 * shape.slope, 2.0 * shape.bend, c.rated_m3s)
        return weight * head_m(shape, through, n) * gas_factor(h.gas)

    def through(q: float) -> float:
        """Flow through the pump: what goes round a bypass comes on top."""
        extra = 0.0
        if h.pump_bypass_open > 0.0 and "onboard" in turning:
            k = SEALED_BYPASS * ring.total(p.design_m3s) / h.pump_bypass_open**2
            extra = p.design_m3s * (max(ring.total(q), 0.0) / k) ** 0.5
        return q + extra + (h.idle_pass * q if "site" in turning else 0.0)

    def raw(q: float, name: str) -> float:
        return raw_rise(name, through(q), turning[name]) if name in turning else 0.0

    def needed_m(name: str, q: float) -> float:
        c = curve(name)
        return c.needed_m * (0.3 + 0.7 * (through(q) / c.rated_m3s) ** 2)

    def held(name: str, q: float, end_pa: float) -> float:
        """Rise of a pump whose own rise comes off its suction, since the tank holds the pressure ``end_pa`` after it: the full one,
        or what the falling suction leaves, rise = raw (reach - rise) / needed.
        """
        full = raw(q, name)
        reach = max(end_pa + atmosphere_pa - vapour, 0.0)
        needed = weight * needed_m(name, q)
        return full if full <= reach - needed else full * reach / (needed + full)

    def unit_inlet(q: float) -> float:
        """Gauge pressure where the return hose ends."""
        if tank == "discharge":
            return fill - held("onboard", q, fill) + ring.square(ring.suction_valve + ring.strainer + ring.idle, q)
        if tank == "unit-suction":
            return fill
        return fill + raw(q, "site") - ring.hose(ring.back, q) - ring.square(ring.site, q)

    def before_pump(q: float, name: str) -> float:
        """Gauge pressure at the pump's suction."""
        if name != "site":
            return unit_inlet(q) - ring.square(ring.suction_valve + ring.strainer, q)
        if tank != "discharge":
            return fill
        end = unit_inlet(q) + ring.hose(ring.back, q) + ring.square(ring.site, q)
        return end - held(name, q, end)

    def suction_factor(q: float, name: str) -> tuple[float, float]:
        """Share of the head left by the net suction head, and the margin [m]."""
        available = (before_pump(q, name) + atmosphere_pa - vapour) / weight
        needed = needed_m(name, q)
        if available >= needed:
            return 1.0, available - needed
        return max(available, 0.0) / needed, available - needed

    def rises(q: float) -> dict[str, float]:
        made = {}
        for name, n in turning.items():
            made[name] = raw_rise(name, through(q), n) * suction_factor(q, name)[0]
        return made

    root = rising_root(
        lambda q: ring.total(q) - sum(rises(q).values()),
        1e-5 * p.design_m3s,
        most,
        1e-9 * p.design_m3s,
        0.9 * p.design_m3s * min(max(turning.values()), 1.2),
        0.2 * p.design_m3s,
    )
    q = root.x
    made = rises(q)
    points, onboard_rise = {}, made.get("onboard", 0.0)
    drag = -ring.square(ring.idle, q)
    for name, n in turning.items():
        factor, margin = suction_factor(q, name)
        suction = max(before_pump(q, name), vapour - atmosphere_pa)
        power = shaft_power_w(curve(name), through(q), n, fluid.density)
        power *= (0.4 + 0.6 * factor * gas_factor(h.gas)) * (h.pump_drag if name == p.in_use else 1.0)
        if name == p.in_use and h.pump_reversed:
            power *= 0.8
        uneasy = min(1.0, max(0.0, 1.0 - factor) + min(1.0, 12.0 * h.gas))
        points[name] = PumpPoint(through(q), made[name], suction, suction + made[name], power, margin, uneasy)
    inlet = unit_inlet(q)
    strainer_in = inlet - ring.square(ring.suction_valve, q)
    strainer_out = strainer_in - ring.square(ring.strainer, q)
    pump_out = strainer_out + onboard_rise + drag
    evaporator_in = pump_out - ring.square(ring.check, q)
    floor = vapour - atmosphere_pa
    taps = {
        "strainer_in": max(strainer_in, floor),
        "strainer_out": max(strainer_out, floor),
        "onboard_suction": max(strainer_out, floor),
        "onboard_discharge": max(pump_out, floor),
        "evaporator_in": evaporator_in,
        "evaporator_out": evaporator_in - ring.plate(q),
        "expansion_tank": fill,
    }
    return LoopState(fluid, q, ring.plate(q), ring.square(ring.strainer, q), taps, points, fill, ring.total(q))


def _standing(fluid: Fluid, fill: float) -> LoopState:
    taps = dict.fromkeys(
        (
            "strainer_in",
            "strainer_out",
            "onboard_suction",
            "onboard_discharge",
            "evaporator_in",
            "evaporator_out",
            "expansion_tank",
        ),
        fill,
    )
    return LoopState(fluid, 0.0, 0.0, 0.0, taps, {}, fill)
