"""The refrigerant circuit in balance with its fluid and its air.

Unknowns, one bracket each, nested: the evaporator outlet (superheat, or wet by so much) closes the flow through the expansion
device; the discharge dew temperature closes the charge; the evaporating dew temperature closes the heat into the evaporator.
Everything else follows in closed form, so subcooling is a result of the charge, never an input.

No sign change is an answer: no condensing point below the end of the table is a high-pressure trip, no evaporating point
above the bottom is a low-pressure trip. Both come back as a `NoBalance`, never as an exception.

Quasi-steady: refrigerant settles in a minute or three, fluid and metal far slower. Pressures absolute [Pa], temperatures [K].
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

from diagnose.plant import charge as inventory
from diagnose.plant import compressor as scroll
from diagnose.plant import condenser, evaporator
from diagnose.plant import valve as device
from diagnose.plant.ahri_map import RICE_FACTOR, CompressorMap, MapPoint, map_efficiencies
from diagnose.plant.roots import Root, rising_root
from diagnose.properties.surface import Line, Surface

LOWEST_K = 234.15  # -39 C: bottom of the gas tables; a real control has tripped long before
BELOW_CRITICAL_K = 0.2  # the tables end at 0.95 of the critical pressure already
WETTEST = -60.0  # evaporator outlet parameter: quality 0.4
INNER_K, OUTER_K, OUTLET_K = 1e-7, 1e-6, 1e-3
MIDDLE_STEPS = 3
CLOSES = 8e-4
GAS_COSTS = (
    0.8  # share of condensing UA lost per share of gas in the pressure, at most 0.3: 10 to 30 % is assumed usual
)


@dataclass(frozen=True, slots=True)
class AirSide:
    """What the coil gets. air_k: at the coil without recirculation; capacity_rate: m cp [W/K] at full fans; ua: W/K then.

    low_k, high_k: condensing temperatures between which head control brings the fans from ``least`` to full flow;
    recirculation: share of leaving air that comes back in.
    """

    air_k: float
    capacity_rate: float
    design_rate: float
    ua_design: float
    air_share: float
    recirculation: float = 0.0
    low_k: float = 0.0
    high_k: float = 0.0
    least: float = 1.0
    fouling: float = 1.0

    def fan_share(self, condensing_k: float) -> float:
        """Air flow over full flow that head control allows at a condensing temperature; smooth."""
        if self.least >= 1.0 or self.high_k <= self.low_k:
            return 1.0
        x = min(max((condensing_k - self.low_k) / (self.high_k - self.low_k), 0.0), 1.0)
        return self.least + (1.0 - self.least) * x * x * (3.0 - 2.0 * x)


@dataclass(frozen=True, slots=True)
class FluidSide:
    """What the evaporator gets. capacity_rate: m cp [W/K]; ua: W/K of the boiling zone at this flow, whole plate."""

    entering_k: float
    capacity_rate: float
    ua: float


@dataclass(frozen=True, slots=True)
class Hardware:
    """The circuit itself; faults of this layer have been applied.

    swept_m3s: all running scrolls at this frequency. leak: share leaking back inside the scroll; reheat: how much of the leak
    also costs efficiency. suction_k, discharge_k, liquid_k: resistances, drop = K m2/rho [1/m4]. gas_pa: partial pressure of
    gas that does not condense. bypass: share of the compressor flow passed from discharge to the evaporator inlet.
    sensor_shift_k: superheat the valve sees in excess of the true one.
    """

    fluid: Surface
    curve: scroll.ScrollCurve
    swept_m3s: float
    valve: device.ExpansionValve
    charge_kg: float
    condenser_m3: float
    liquid_line_m3: float
    evaporator_m3: float
    gas_m3: float
    receiver_m3: float = 0.0
    chart: CompressorMap | None = None
    chart_swept_m3s: float = 0.0
    least_opening: float = 0.06
    most_opening: float = 1.0
    leak: float = 0.0
    reheat: float = 1.0
    suction_k: float = 0.0
    discharge_k: float = 0.0
    liquid_k: float = 0.0
    gas_pa: float = 0.0
    bypass: float = 0.0
    sensor_shift_k: float = 0.0


AT_TRIP = "the moment of the trip, not a balance"
FLOODED = "the evaporator is flooded as far as the model goes"


class NoBalance(NamedTuple):
    """A circuit that cannot run like this. name: high-pressure or low-pressure; why: one sentence."""

    name: str
    why: str


@dataclass(frozen=True, slots=True)
class Balance:
    """A solved circuit. Suffix 1 compressor inlet, 2 discharge, 3 condenser outlet, 4 evaporator inlet.

    outlet: evaporator outlet parameter, superheat [K] above 0, wet below (quality 1 + outlet/100). device_kg_s: what the expansion
    device passes at this opening; equal to the flow through the condenser in a balance.
    """

    discharge_dew_k: float
    condensing_dew_k: float
    condensing_bubble_k: float
    suction_dew_k: float
    evaporating_dew_k: float
    evaporator_inlet_k: float
    p_discharge_pa: float
    p_condenser_pa: float
    p_liquid_pa: float
    p_evaporator_pa: float
    p_suction_pa: float
    outlet: float
    superheat_k: float
    subcooling_k: float
    quality_3: float
    quality_4: float
    flash: float
    t1_k: float
    t2_k: float
    t3_k: float
    after_drier_k: float
    h1: float
    h2: float
    h3: float
    s1: float
    s2: float
    flow_kg_s: float
    device_kg_s: float
    power_w: float
    shell_w: float
    cooling_w: float
    rejected_w: float
    opening: float
    charge_kg: float
    fan_share: float
    air_in_k: float
    air_out_k: float
    leaving_k: float
    ratio: float
    notes: tuple[str, ...] = ()


class _Point(NamedTuple):
    """One evaluation at a suction dew temperature; residual rises with it."""

    residual: float
    te: Line
    ts: Line
    tc: Line
    m: float
    h1: float
    s1: float
    rho1: float
    h2: float
    t2: float
    ratio: float
    power: float
    out: condenser.Condensed
    air_in: float
    zone: float
    h4: float
    inside: bool


class Start(NamedTuple):
    """Where to look first: the solution of a neighbouring condition."""

    discharge_k: float
    evaporating_k: float
    outlet: float


class _Solver:
    def __init__(self, hardware: Hardware, fluid_side: FluidSide, air: AirSide, start: Start | None) -> None:
        self.hw, self.water, self.air = hardware, fluid_side, air
        self.fluid = hardware.fluid
        self.te_guess = start.evaporating_k if start else fluid_side.entering_k - 9.0
        self.td_guess: float | None = start.discharge_k if start else None
        self.outlet_guess = start.outlet if start else None
        self.top_k = self.fluid.high_k - BELOW_CRITICAL_K
        self.low_k = max(LOWEST_K, self.fluid.low_k + 0.1)
        self.point: _Point | None = None
        self.side = 0
        self.opening = hardware.most_opening
        self.forced_k: float | None = None

    # one level of discharge pressure -------------------------------------------------------------------------------

    def set_discharge(self, discharge_k: float) -> None:
        hw, air = self.hw, self.air
        self.discharge = self.fluid.line(discharge_k)
        self.isobar = self.fluid.isobar(self.discharge)
        self.share = air.fan_share(discharge_k)
        self.rate = air.capacity_rate * self.share
        ua = condenser.overall_ua(air.ua_design, air.air_share, self.rate / air.design_rate) * air.fouling
        if hw.gas_pa > 0.0:
            ua *= 1.0 - min(GAS_COSTS * hw.gas_pa / self.discharge.p_pa, 0.3)
        self.zones = condenser.transfer(ua, self.rate)
        if hw.discharge_k == 0.0:
            p = self.discharge.p_pa - hw.gas_pa
            self.condensing = self.discharge if hw.gas_pa == 0.0 else self._line_at(p)

    def _line_at(self, p_pa: float) -> Line:
        return self.fluid.line(min(max(self.fluid.dew_k(max(p_pa, 1e3)), self.fluid.low_k), self.fluid.high_k))

    def evaluate(self, te_k: float, outlet: float) -> _Point:
        hw, water, fluid, discharge = self.hw, self.water, self.fluid, self.discharge
        te = fluid.line(te_k)
        if outlet >= 0.0:
            h1, s1, rho1 = fluid.gas(te, outlet)
        else:
            quality = 1.0 + 0.01 * outlet
            latent = te.gas_j_per_kg - te.liquid_j_per_kg
            h1 = te.gas_j_per_kg - (1.0 - quality) * latent
            s1 = te.gas_j_per_kg_k - (1.0 - quality) * latent / te.t_dew_k
            rho1 = inventory.mixed_kg_m3(te.gas_kg_m3, te.liquid_kg_m3, quality)
        ts = te
        inside = True
        if hw.suction_k > 0.0:
            rate = hw.swept_m3s * scroll.volumetric_efficiency(hw.curve, discharge.p_pa / te.p_pa) * (1.0 - hw.leak)
            p = te.p_pa / (1.0 + hw.suction_k * rate * rate * rho1 / te.p_pa)
            ts = self._line_at(p)
            if h1 >= ts.gas_j_per_kg:
                h1, s1, rho1 = fluid.gas(ts, fluid.superheat_of(ts, h1))
            else:  # same enthalpy, lower pressure: drier, with more entropy
                quality = (h1 - ts.liquid_j_per_kg) / (ts.gas_j_per_kg - ts.liquid_j_per_kg)
                s1 = ts.gas_j_per_kg_k - (ts.gas_j_per_kg - h1) / ts.t_dew_k
                rho1 = inventory.mixed_kg_m3(ts.gas_kg_m3, ts.liquid_kg_m3, max(quality, 0.05))
        ratio = max(discharge.p_pa / ts.p_pa, 1.0001)
        if hw.chart is None:
            eta_v = scroll.volumetric_efficiency(hw.curve, ratio)
            eta_t = scroll.total_efficiency(hw.curve, ratio)
        else:
            found: MapPoint = map_efficiencies(
                hw.chart, hw.curve, fluid, hw.chart_swept_m3s, ts.t_dew_k, discharge.t_dew_k
            )
            eta_v, eta_t, inside = found.volumetric, found.efficiency, found.inside
            map_rho = fluid.gas(ts, hw.chart.superheat_k)[2]
            eta_v *= (1.0 + RICE_FACTOR * (rho1 / map_rho - 1.0)) * map_rho / rho1
        m = hw.swept_m3s * rho1 * eta_v * (1.0 - hw.leak)
        work = max(self.isobar.enthalpy_at_entropy(s1) - h1, 1.0) / (eta_t * (1.0 - hw.reheat * hw.leak))
        power = m * work
        h2 = h1 + work * (1.0 - hw.curve.shell_loss)
        t2 = self.isobar.temperature(h2)
        if hw.discharge_k > 0.0:
            rho2 = discharge.gas_kg_m3 * discharge.t_dew_k / max(t2, discharge.t_dew_k)
            p = discharge.p_pa - hw.discharge_k * m * m / rho2 - hw.gas_pa
            tc = self._line_at(max(p, ts.p_pa))
        else:
            tc = self.condensing
        mc = m * (1.0 - hw.bypass)
        out, air_in = self._condense(tc, mc, h2, t2)
        h4 = (1.0 - hw.bypass) * out.enthalpy + hw.bypass * h2
        # evaporator
        q4 = min(max((h4 - te.liquid_j_per_kg) / (te.gas_j_per_kg - te.liquid_j_per_kg), 0.0), 1.0)
        glide = te.t_dew_k - te.t_bubble_k
        boiling = te.t_dew_k - 0.5 * (1.0 - q4) * glide
        zone, sensible = 0.0, 0.0
        if outlet > 0.0:
            sensible = m * (h1 - te.gas_j_per_kg)
            zone = evaporator.gas_zone(
                outlet,
                water.entering_k - te.t_dew_k,
                m,
                (h1 - te.gas_j_per_kg) / outlet,
                evaporator.GAS_ZONE_SHARE * water.ua,
            )
        duty = sensible + evaporator.boiling_duty_w(
            1.0 - zone, water.ua, water.capacity_rate, water.entering_k - sensible / water.capacity_rate, boiling
        )
        return _Point(
            m * (h1 - h4) - duty, te, ts, tc, m, h1, s1, rho1, h2, t2, ratio, power, out, air_in, zone, h4, inside
        )

    def _condense(self, tc: Line, flow: float, h2: float, t2: float) -> tuple[condenser.Condensed, float]:
        air = self.air
        if self.forced_k is not None:
            t = tc.t_bubble_k - self.forced_k
            return condenser.Condensed(self.fluid.liquid(t)[0], t, 0.0, self.forced_k, 0.1, 0.8, 0.1), air.air_k
        if air.recirculation <= 0.0:
            return condenser.condense(self.fluid, tc, flow, h2, t2, air.air_k, self.zones), air.air_k
        back = air.recirculation / (1.0 - air.recirculation)
        heat = flow * (h2 - tc.liquid_j_per_kg)
        air_in = air.air_k
        out = condenser.Condensed(h2, t2, 1.0, 0.0, 1.0, 0.0, 0.0)
        for _ in range(MIDDLE_STEPS):
            air_in = air.air_k + back * heat / self.rate
            out = condenser.condense(self.fluid, tc, flow, h2, t2, air_in, self.zones)
            heat = flow * (h2 - out.enthalpy)
        return out, air_in

    # the two inner brackets ----------------------------------------------------------------------------------------

    def inner(self, outlet: float) -> Root:
        """Evaporating temperature at the present discharge level and evaporator outlet."""
        high = self.water.entering_k - max(outlet, 0.0) - 1e-6
        if high <= self.low_k:
            self.point = self.evaluate(self.low_k, 0.0)
            return Root(self.low_k, -1)

        def residual(te_k: float) -> float:
            self.point = self.evaluate(te_k, outlet)
            return self.point.residual

        root = rising_root(residual, self.low_k, high, INNER_K, self.te_guess, 0.4)
        self.te_guess = root.x
        residual(root.x)
        return root

    def held_kg(self) -> float:
        """Refrigerant in the circuit at the present point."""
        hw, p = self.hw, self.point
        assert p is not None
        tc, te, out = p.tc, p.te, p.out
        gas_zone = tc.gas_kg_m3 * tc.t_dew_k / (0.5 * (max(p.t2, tc.t_dew_k) + tc.t_dew_k))
        two = inventory.two_phase_kg_m3(tc.gas_kg_m3, tc.liquid_kg_m3, out.quality, 1.0)
        liquid = self.fluid.liquid(0.5 * (tc.t_bubble_k + out.t_k))[1]
        share = max(out.gas_share + out.two_phase + out.liquid, 1.0)
        coil = (out.gas_share * gas_zone + out.two_phase * two + out.liquid * liquid) / share
        if out.quality > 0.0:
            line = inventory.mixed_kg_m3(tc.gas_kg_m3, tc.liquid_kg_m3, min(out.quality, 1.0))
        else:
            line = self.fluid.liquid(out.t_k)[1]
        quality_4 = (p.h4 - te.liquid_j_per_kg) / (te.gas_j_per_kg - te.liquid_j_per_kg)
        leaving = min((p.h1 - te.liquid_j_per_kg) / (te.gas_j_per_kg - te.liquid_j_per_kg), 1.0)
        quality_4 = min(max(quality_4, 0.0), leaving)
        boiling = inventory.two_phase_kg_m3(te.gas_kg_m3, te.liquid_kg_m3, quality_4, leaving)
        zone = min(p.zone, 1.0)
        plate = (1.0 - zone) * boiling + zone * 0.5 * (te.gas_kg_m3 + p.rho1)
        tank = hw.receiver_m3 * (
            tc.gas_kg_m3 + (tc.liquid_kg_m3 - tc.gas_kg_m3) * inventory.receiver_level(out.subcooling_k)
        )
        return (
            hw.condenser_m3 * coil
            + hw.liquid_line_m3 * line
            + hw.evaporator_m3 * plate
            + hw.gas_m3 * min(p.rho1, 2.0 * te.gas_kg_m3)
            + tank
        )

    def middle(self, outlet: float) -> Root:
        """Discharge level that holds the charge, at an evaporator outlet."""
        low = max(self.air.air_k + 0.3, self.low_k + 1.0)
        guess = self.td_guess if self.td_guess is not None else self.air.air_k + 14.0
        width = 1.0 if self.td_guess is not None else 5.0

        def residual(discharge_k: float) -> float:
            self.set_discharge(discharge_k)
            self.side = self.inner(outlet).side
            return self.held_kg() - self.hw.charge_kg

        root = rising_root(residual, low, self.top_k, OUTER_K, min(max(guess, low), self.top_k), width)
        self.td_guess = root.x
        residual(root.x)
        return root

    # the expansion device ------------------------------------------------------------------------------------------

    def passed(self, opening: float) -> tuple[float, float, float]:
        """Flow the device passes at the present point at an opening; temperature and quality before it."""
        hw, p = self.hw, self.point
        assert p is not None
        flow = p.m * (1.0 - hw.bypass)
        h3, p3 = p.out.enthalpy, p.tc.p_pa + hw.gas_pa
        density = self._inlet_density(p.tc, p.out)
        t, quality = p.out.t_k, p.out.quality
        if hw.liquid_k > 0.0:
            p3 -= hw.liquid_k * flow * flow / density
            if p3 <= p.te.p_pa:
                return 0.0, p.te.t_bubble_k, 1.0
            line = self._line_at(p3)
            if h3 > line.liquid_j_per_kg:
                quality = (h3 - line.liquid_j_per_kg) / (line.gas_j_per_kg - line.liquid_j_per_kg)
                t = line.t_bubble_k + quality * (line.t_dew_k - line.t_bubble_k)
                density = inventory.mixed_kg_m3(line.gas_kg_m3, line.liquid_kg_m3, min(quality, 1.0))
        return device.flow_kg_s(hw.valve.area_m2, opening, density, p.tc.liquid_kg_m3, p3 - p.te.p_pa), t, quality

    def _inlet_density(self, tc: Line, out: condenser.Condensed) -> float:
        if out.quality > 0.0:
            return inventory.mixed_kg_m3(tc.gas_kg_m3, tc.liquid_kg_m3, min(out.quality, 1.0))
        return self.fluid.liquid(out.t_k)[1]

    def solve(self) -> Balance | NoBalance:
        hw = self.hw
        low, high = min(hw.least_opening, hw.most_opening), hw.most_opening
        trip: NoBalance | None = None

        def surplus(outlet: float, opening: float | None) -> float:
            """Flow the device passes beyond what the compressor draws; rises with the outlet."""
            nonlocal trip
            root = self.middle(outlet)
            trip = self._trip(root)
            assert self.point is not None
            u = hw.valve.opening(outlet + hw.sensor_shift_k, low, high) if opening is None else opening
            self.opening = u
            return self.passed(u)[0] - self.point.m * (1.0 - hw.bypass)

        top = self.water.entering_k - self.low_k - 1.0
        if hw.valve.kind == "orifice":
            guess = self.outlet_guess if self.outlet_guess is not None else hw.valve.superheat_k
            root = rising_root(lambda x: surplus(x, high), WETTEST, top, OUTLET_K, guess, 0.5)
        elif hw.valve.kind == "thermostatic":
            guess = self.outlet_guess if self.outlet_guess is not None else hw.valve.superheat_k - hw.sensor_shift_k
            root = rising_root(lambda x: surplus(x, None), WETTEST, top, OUTLET_K, guess, 0.25)
        else:
            held = hw.valve.superheat_k - hw.sensor_shift_k
            root = Root(held, 0)
            short, spare = surplus(held, high) < 0.0, surplus(held, low) > 0.0
            if short or spare:
                u = high if short else low
                guess = self.outlet_guess if self.outlet_guess is not None else held
                root = rising_root(lambda x: surplus(x, u), WETTEST, top, OUTLET_K, guess, 1.0)
            else:
                assert self.point is not None
                full = self.passed(1.0)[0]
                self.opening = self.point.m * (1.0 - hw.bypass) / full if full > 0.0 else high
        surplus(root.x, None if hw.valve.kind == "thermostatic" else self.opening)
        if trip is not None:
            return trip
        if root.side > 0:
            return NoBalance("low-pressure", "the expansion device passes too little at any superheat")
        return self._result(root)

    def _trip(self, root: Root) -> NoBalance | None:
        if root.side > 0 or root.x >= self.top_k - 1e-6:
            return NoBalance("high-pressure", "no condensing temperature below the critical point rejects this heat")
        if self.side < 0:
            return NoBalance("low-pressure", "the compressor draws more than the evaporator can boil off")
        if root.side < 0:
            return NoBalance("low-pressure", "too little refrigerant for any balance")
        return None

    def _result(self, root: Root, note: str = "") -> Balance:
        hw, p = self.hw, self.point
        assert p is not None
        mc = p.m * (1.0 - hw.bypass)
        device_flow, after, quality = self.passed(self.opening)
        te = p.te
        quality_4 = (p.h4 - te.liquid_j_per_kg) / (te.gas_j_per_kg - te.liquid_j_per_kg)
        inlet_k = te.t_bubble_k + min(max(quality_4, 0.0), 1.0) * (te.t_dew_k - te.t_bubble_k)
        if p.h1 >= p.ts.gas_j_per_kg:
            superheat = self.fluid.superheat_of(p.ts, p.h1)
            t1 = p.ts.t_dew_k + superheat
        else:
            wet = (p.h1 - p.ts.liquid_j_per_kg) / (p.ts.gas_j_per_kg - p.ts.liquid_j_per_kg)
            superheat, t1 = 0.0, p.ts.t_bubble_k + max(wet, 0.0) * (p.ts.t_dew_k - p.ts.t_bubble_k)
        cooling = p.m * (p.h1 - p.h4)
        rejected = mc * (p.h2 - p.out.enthalpy)
        to_air = rejected
        if (
            self.forced_k is not None
        ):  # on the way to a trip the coil takes what it can, the rest still warms up the circuit
            to_air = min(rejected, self.zones[1] * max(p.tc.t_dew_k - p.air_in, 0.0))
        if p.t2 > self.discharge.t_dew_k:
            s2 = self.fluid.gas(self.discharge, p.t2 - self.discharge.t_dew_k)[1]
        else:
            s2 = self.discharge.gas_j_per_kg_k - (self.discharge.gas_j_per_kg - p.h2) / self.discharge.t_dew_k
        notes = [note] if note else []
        if not scroll.LEAST_RATIO <= p.ratio <= scroll.MOST_RATIO:
            notes.append("pressure ratio outside the compressor's curve")
        if not p.inside:
            notes.append("outside the compressor map: its shape continued, not the map")
        if root.side < 0:
            notes.append(FLOODED)
        return Balance(
            self.discharge.t_dew_k,
            p.tc.t_dew_k,
            p.tc.t_bubble_k,
            p.ts.t_dew_k,
            te.t_dew_k,
            inlet_k,
            self.discharge.p_pa,
            p.tc.p_pa,
            p.tc.p_pa + hw.gas_pa,
            te.p_pa,
            p.ts.p_pa,
            root.x,
            superheat,
            p.out.subcooling_k,
            p.out.quality,
            quality_4,
            quality,
            t1,
            p.t2,
            p.out.t_k,
            after,
            p.h1,
            p.h2,
            p.out.enthalpy,
            p.s1,
            s2,
            p.m,
            device_flow,
            p.power,
            p.power * hw.curve.shell_loss,
            cooling,
            rejected,
            self.opening,
            self.held_kg(),
            self.share,
            p.air_in,
            p.air_in + to_air / self.rate,
            self.water.entering_k - cooling / self.water.capacity_rate,
            p.ratio,
            tuple(notes),
        )


def solve(hardware: Hardware, fluid_side: FluidSide, air: AirSide, start: Start | None = None) -> Balance | NoBalance:
    """Balance of one circuit. start: a neighbour's solution; a start that leads nowhere is dropped and the wide brackets
    are searched.
    """
    found = _Solver(hardware, fluid_side, air, start).solve()
    if start is not None and not closes(found, hardware):
        found = _Solver(hardware, fluid_side, air, None).solve()
    if isinstance(found, Balance) and not closes(found, hardware):
        # a restriction can leave two branches; the other one is looked for from the far side
        found = _Solver(hardware, fluid_side, air, Start(hardware.fluid.high_k - 4.0, LOWEST_K + 25.0, 10.0)).solve()
    if isinstance(found, Balance) and not closes(found, hardware):
        name = "high-pressure" if hardware.discharge_k > 0.0 else "low-pressure"
        return NoBalance(name, "no steady balance: the circuit jumps between two states")
    return found


def closes(found: Balance | NoBalance, hardware: Hardware) -> bool:
    """Whether a solution holds its charge and passes one flow through compressor and device, and its pressures fall."""
    if isinstance(found, NoBalance):
        return False
    through = found.flow_kg_s * (1.0 - hardware.bypass)
    return (
        abs(found.charge_kg / hardware.charge_kg - 1.0) < CLOSES
        and (FLOODED in found.notes or abs(found.device_kg_s / through - 1.0) < CLOSES)
        and found.p_condenser_pa > found.p_evaporator_pa
    )


def held_at(
    hardware: Hardware,
    fluid_side: FluidSide,
    air: AirSide,
    discharge_k: float,
    evaporating_k: float,
    superheat_k: float,
) -> float:
    """Refrigerant [kg] a circuit holds at a given working point: how a machine is charged when it is sized."""
    solver = _Solver(hardware, fluid_side, air, None)
    solver.set_discharge(discharge_k)
    solver.point = solver.evaluate(evaporating_k, superheat_k)
    return solver.held_kg()


def at_discharge(
    hardware: Hardware, fluid_side: FluidSide, air: AirSide, discharge_k: float, subcooling_k: float
) -> Balance | NoBalance:
    """The moment a circuit's head passes ``discharge_k`` on its way up: evaporator in balance, condenser and charge not yet."""
    solver = _Solver(hardware, fluid_side, air, None)
    solver.forced_k = min(subcooling_k, 0.6 * max(discharge_k - air.air_k, 1.0))
    glide = hardware.fluid.line(discharge_k)
    least = air.air_k + 1.5 + 0.5 * (glide.t_dew_k - glide.t_bubble_k)  # a head that trips at rest: just above the air
    solver.set_discharge(min(max(discharge_k, least), solver.top_k))
    outlet = max(hardware.valve.superheat_k, 1.0)
    if solver.inner(outlet).side < 0:
        return NoBalance("low-pressure", "the compressor draws more than the evaporator can boil off")
    solver.opening = hardware.most_opening
    return solver._result(Root(outlet, 0), AT_TRIP)


def at_suction(hardware: Hardware, fluid_side: FluidSide, air: AirSide, evaporating_k: float) -> Balance:
    """The moment a starved circuit's suction passes ``evaporating_k`` on its way down: head from what charge there is."""
    solver = _Solver(hardware, fluid_side, air, None)
    te = min(max(evaporating_k, solver.low_k), fluid_side.entering_k - 2.0)
    outlet = max(fluid_side.entering_k - te - 1.5, 0.5)

    def residual(discharge_k: float) -> float:
        solver.set_discharge(discharge_k)
        solver.point = solver.evaluate(te, outlet)
        return solver.held_kg() - hardware.charge_kg

    root = rising_root(residual, max(air.air_k, te) + 1.0, solver.top_k, 1e-4, air.air_k + 8.0, 4.0)
    residual(root.x)
    solver.opening = hardware.most_opening
    found = solver._result(Root(outlet, 0), AT_TRIP)
    assert solver.point is not None
    fed = solver.passed(hardware.most_opening)[0]
    duty = min(found.cooling_w, fed * (found.h1 - solver.point.h4), found.cooling_w - solver.point.residual)
    return replace(found, cooling_w=duty, leaving_k=fluid_side.entering_k - max(duty, 0.0) / fluid_side.capacity_rate)


def start_from(balance: Balance) -> Start:
    """The warm start a solution gives to its neighbours."""
    return Start(balance.discharge_dew_k, balance.evaporating_dew_k, balance.outlet)
