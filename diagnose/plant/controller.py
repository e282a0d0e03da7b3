"""Layer 5, the control: what lets the machine run, in the order a real control asks, and what trips it.

Order: supply, phase monitor, control voltage, run string (emergency stop, switch, remote enable, ...), pump, flow proof, start delay, call
for cooling, compressors one by one, then the safeties: high pressure at once, low pressure after its bypass, freeze, discharge
temperature, overloads by their time. Trip names are the words of the alarm list.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from diagnose.calculators.electrical import unbalance_pct
from diagnose.plant.health import ControlHealth
from diagnose.plant.parameters import ControlParameters, Plant
from diagnose.plant.supply import SupplyState

#: words of the alarm list
PHASE, POWER, FLOW, HIGH, LOW = "phase-or-voltage", "power-failed", "flow", "high-pressure", "low-pressure"
FREEZE, OVERLOAD = "freeze", "motor-overload"
PROTECTION, EARTH = "compressor-protection", "earth-fault"
MODULE = "protection-module"  # device name of the module of a compressor: its contact lies in the control's string
VOLUME_HEAT = 4.19e6  # rho cp of water [J/(m3 K)]
PULLS_IN = 0.80  # contactor coils: share of control volts (common practice, no source)
DIP_DROPS_OUT_PCT = 30.0  # ISO 8528-5 texts: more can drop out starters


@dataclass(frozen=True, slots=True)
class Trip:
    """What opened. name: alarm word; place; device; after_s: seconds after the start; why: one sentence; latched: by hand."""

    name: str
    place: str
    device: str
    after_s: float
    why: str
    latched: bool = True


@dataclass(frozen=True, slots=True)
class Hold:
    """The first thing that keeps the machine from running. name: what; trip: it is an alarm, else a wait or an open contact."""

    name: str
    why: str
    trip: Trip | None = None


def monitor_sees(p: ControlParameters, h: ControlHealth, supply: SupplyState, volts: float) -> str:
    """What the phase monitor opens on: "", lost, reversed, unbalance, under, over; a blind one sees nothing."""
    if h.monitor == "failed":
        return "failed"
    if h.monitor == "wired-behind":
        return "lost"
    if h.monitor == "bridged" or not supply.alive:
        return ""
    seen = supply.unit_volts()
    mean = sum(seen) / 3.0
    if mean <= 0.0:
        return "lost"
    if min(seen) < 0.6 * mean or unbalance_pct(seen) > 12.0:
        return "lost"
    if supply.reversed:
        return "reversed"
    limit = p.monitor_pct * h.monitor_factor
    if unbalance_pct(seen) > limit:
        return "unbalance"
    wide = p.monitor_volts_share * h.monitor_factor
    if mean * (1.0 - supply.swing) < (1.0 - wide) * volts:
        return "under"
    if mean * (1.0 + supply.swing) > (1.0 + wide) * volts:
        return "over"
    return ""


def control_volts(plant: Plant, h: ControlHealth, supply: SupplyState) -> float:
    """Control voltage: a transformer across L1 and L2."""
    if not supply.alive:
        return 0.0
    return plant.supply.control_volts * h.control_volts * supply.unit_volts()[0] / plant.supply.volts


def first_hold(plant: Plant, h: ControlHealth, supply: SupplyState) -> Hold | None:
    """What stands in the way before the pump may run."""
    if not supply.alive:
        return Hold("no-power", "no voltage at the unit")
    seen = monitor_sees(plant.control, h, supply, plant.supply.volts)
    if h.monitor == "timing":
        return Hold("monitor-timing", "the phase monitor still counts its delay")
    if seen:
        why = {
            "lost": "a phase is lost",
            "reversed": "phases in the wrong order",
            "unbalance": "voltages unbalanced",
            "under": "voltage low",
            "over": "voltage high",
            "failed": "the monitor's contact stays open",
        }[seen]
        return Hold(
            "phase-monitor", why, Trip(PHASE, "supply", "phase-monitor", plant.control.monitor_delay_s, why, False)
        )
    share = control_volts(plant, h, supply) / plant.supply.control_volts
    if share < PULLS_IN:
        return Hold("control-voltage", f"control voltage at {100 * share:.0f} %")
    if h.open_at:
        return Hold(h.open_at, f"run string open: {h.open_at.replace('-', ' ')}")
    return None


def flow_proved(plant: Plant, h: ControlHealth, flow_m3s: float) -> bool:
    """Whether the flow proof is made."""
    if h.proof:
        return h.proof == "made"
    return flow_m3s >= plant.control.flow_share * h.proof_factor * plant.loop.design_m3s


def wanted_stages(plant: Plant, h: ControlHealth, entering_k: float, set_point_k: float) -> int:
    """Compressors the control would keep on for this return, at design flow: what brings the leaving fluid to its set point.

    At less than design flow fewer would do; a control finds that out by and by, and until then trips on freezing or suction.
    """
    total = len(plant.compressors)
    over = entering_k + h.leaving_shift_k + h.control_shift_k - set_point_k - h.set_point_add_k
    if over <= 0.3:
        return 0
    rate = plant.loop.design_m3s * VOLUME_HEAT
    wanted = math.ceil(over * rate / plant.capacity_w * total - 0.25)
    return max(1, min(wanted, math.floor(total * h.load_limit + 1e-9)))


def stage_order(plant: Plant) -> list[str]:
    """Compressors in the order they come on: circuits in turn."""
    most = max(len(c.compressors) for c in plant.circuits)
    return [c.compressors[n] for n in range(most) for c in plant.circuits if n < len(c.compressors)]


def pressure_limits(plant: Plant, h: ControlHealth, circuit: str) -> tuple[float, float]:
    """Absolute suction below which and discharge above which a circuit trips [Pa], faults of switches and transducers in."""
    p = plant.control
    low = p.low_pressure_pa + h.low_pressure_add_pa.get(circuit, 0.0) - h.suction_shift_pa.get(circuit, 0.0)
    high = p.high_pressure_pa + h.high_pressure_add_pa.get(circuit, 0.0) - max(h.head_shift_pa.get(circuit, 0.0), 0.0)
    return low + plant.atmosphere_pa, high + plant.atmosphere_pa
