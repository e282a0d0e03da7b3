"""What no machine can show, asked of every simulation: order of temperatures and pressures, balances, readings inside their scales."""

from __future__ import annotations

import math

from diagnose.plant.parameters import Plant
from diagnose.plant.snapshot import Snapshot
from shared.quantities import QUANTITIES

CLOSES = 1e-3  # balances: 0.1 %
SLACK_K = 1e-3
STATES = ("cooling", "pump-only", "powered", "standing")


def _circuit(shot: Snapshot, name: str) -> list[str]:
    def value(key: str) -> float:
        return shot.balance[f"{name}.{key}"]

    found = []
    if value("leaving_k") < value("evaporator_inlet_k") - SLACK_K:
        found.append("leaving fluid below the evaporator inlet")
    if 0.5 * (value("condensing_dew_k") + value("condensing_bubble_k")) <= value("air_in_k"):
        found.append("condensing at or below the entering air")
    if value("t1_k") > shot.balance["entering_k"] + SLACK_K:
        found.append("suction line above the entering fluid")
    if value("s2") < value("s1") - 0.01:
        found.append("entropy falls in the compressor")
    order = [value(f"p_{p}_pa") for p in ("suction", "evaporator", "condenser", "liquid", "discharge")]
    if any(b < a * (1.0 - 1e-9) for a, b in zip(order, order[1:], strict=False)) or order[2] <= order[1]:
        found.append("pressures out of order")
    if value("air_out_k") > value("t2_k") + SLACK_K:
        found.append("leaving air above the discharge gas")
    if value("steady") != 1.0:
        return found
    gap = value("cooling_w") + value("power_w") - value("shell_w") - value("rejected_w")
    if abs(gap) > CLOSES * value("rejected_w"):
        found.append("energy does not close")
    if abs(value("charge_kg") / value("nominal_charge_kg") - 1.0) > CLOSES:
        found.append("refrigerant lost or made")
    through = value("flow_kg_s") * (1.0 - value("bypass"))
    if value("flooded") != 1.0 and abs(value("device_kg_s") - through) > CLOSES * through:
        found.append("compressor and expansion device pass different flows")
    return found


def violations(plant: Plant, shot: Snapshot) -> list[str]:
    """Everything impossible about a snapshot; empty when it is physical or answers with a named trip or hold."""
    found: list[str] = []
    if shot.state not in STATES:
        found.append(f"unknown state {shot.state}")
    if shot.state != "cooling" and not shot.hold:
        found.append("does not cool and says no reason")
    for state, taken in shot.all_readings():
        quantity = QUANTITIES[taken.quantity]
        for one in taken.shown if isinstance(taken.shown, tuple) else (taken.shown,):
            if not math.isfinite(one) or not quantity.low <= one <= quantity.high:
                found.append(f"{taken.quantity} off its scale ({state})")
    for circuit in plant.circuits:
        if f"{circuit.id}.s1" in shot.balance:
            found += _circuit(shot, circuit.id)
    ring, rise = shot.balance.get("resistance_pa", 0.0), shot.balance.get("pump_rise_pa", 0.0)
    if ring > 0.0 and abs(rise - ring) > CLOSES * ring:
        found.append("pump and loop disagree")
    if "cooling_w" in shot.balance and "flow_m3s" in shot.balance and shot.balance["capacity_rate"] > 50.0:
        heat = shot.balance["capacity_rate"] * (shot.balance["entering_k"] - shot.balance["leaving_k"])
        if abs(heat - shot.balance["cooling_w"]) > CLOSES * max(heat, 1.0):
            found.append("fluid and refrigerant disagree about the heat")
    return sorted(set(found))
