"""What this machine, healthy, should show today: value and band of the readings and figures a technician compares.

The machine is the one its card describes, sized at rating; the day is given (air, return, set point, volts). The band is what machines of
one card differ by: each part moved by a tenth (UA of both exchangers, swept volume, condenser air, pump head, plate drop; efficiency by
half of that, superheat setting by 2 K, motors by half a tenth), taken as even spreads, twice the standard deviation of their sum. Instruments come on top; their errors are not in it.

The bands are those at the machine's own rating, worked out once a card; the value and its slopes belong to the day, three solutions.
Slopes say how the figure moves with the return and the air, so that a lying thermometer need not solve the machine again.
Full load: all compressors on. A day on which even the healthy machine trips gives nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import lru_cache
from typing import NamedTuple

from diagnose.case import Machine
from diagnose.plant.conditions import RATING, Conditions
from diagnose.plant.health import healthy
from diagnose.plant.machine_state import MachineState, solve_machine
from diagnose.plant.parameters import CircuitParameters, Plant, SupplyParameters
from diagnose.plant.sizing import plant_of
from diagnose.plant.valve import ExpansionValve

SPREAD = 0.10
COVERS = 2.0  # standard deviations
STEP_K = 0.5
RATING_SPLIT_K = RATING.entering_k - 279.82  # 54 F in, 44 F out
SETTING_K = 2.0  # a valve's superheat as set on site (assumption: thermostatic bands are quoted 8 to 15 F wide)
NEEDED = ("refrigerant", "capacity")


class Expected(NamedTuple):
    """value, band: SI, +/- half-width. slopes: change of the value per K of ``entering_k`` and of ``air_k``."""

    value: float
    band: float
    slopes: dict[str, float]


def missing_for_expected(machine: Machine) -> tuple[str, ...]:
    """Card values without which expected readings are not this machine's: name them to the person, use general bands."""
    lacking = [key for key in NEEDED if not getattr(machine, key)]
    if "capacity" in lacking and machine.design_flow:
        lacking.remove("capacity")
    return tuple(lacking)


def _circuit_part(change: Callable[[CircuitParameters, float], CircuitParameters]) -> Callable[[Plant, float], Plant]:
    return lambda plant, by: replace(plant, circuits=tuple(change(c, by) for c in plant.circuits))


def _loop_part(**fields: str) -> Callable[[Plant, float], Plant]:
    def change(plant: Plant, by: float) -> Plant:
        loop = plant.loop
        if "pump" in fields:
            loop = replace(loop, pump=replace(loop.pump, shutoff_m=loop.pump.shutoff_m * by))
            loop = replace(loop, site_pump=replace(loop.site_pump, shutoff_m=loop.site_pump.shutoff_m * by))
        if "plate" in fields:
            loop = replace(loop, evaporator_pa=loop.evaporator_pa * by)
        return replace(plant, loop=loop)

    return change


def _set_wider(valve: ExpansionValve, by: float) -> ExpansionValve:
    """A valve set SETTING_K wider at a tenth; an orifice bored that much larger."""
    if valve.kind == "orifice":
        return replace(valve, area_m2=valve.area_m2 * by)
    more = SETTING_K * (by - 1.0) / SPREAD
    return replace(valve, superheat_k=valve.superheat_k + more, static_k=valve.static_k + more)


def _motors(supply: SupplyParameters, by: float) -> SupplyParameters:
    made = {name: getattr(supply, name) for name in ("compressor", "pump", "site_pump", "fan")}
    return replace(supply, **{name: replace(plate, duty_a=plate.duty_a * by) for name, plate in made.items()})


PARTS: dict[str, tuple[Callable[[Plant, float], Plant], float]] = {
    "evaporator": (_circuit_part(lambda c, by: replace(c, ua_evaporator=c.ua_evaporator * by)), SPREAD),
    "condenser": (_circuit_part(lambda c, by: replace(c, air=replace(c.air, ua=c.air.ua * by))), SPREAD),
    "air": (_circuit_part(lambda c, by: replace(c, air=replace(c.air, volume_m3s=c.air.volume_m3s * by))), SPREAD),
    "swept": (_circuit_part(lambda c, by: replace(c, swept_m3s=c.swept_m3s * by)), SPREAD),
    "efficiency": (
        _circuit_part(lambda c, by: replace(c, curve=replace(c.curve, efficiency=c.curve.efficiency * by))),
        0.5 * SPREAD,
    ),
    "charge": (_circuit_part(lambda c, by: replace(c, charge_kg=c.charge_kg * by)), 0.3 * SPREAD),
    "setting": (_circuit_part(lambda c, by: replace(c, valve=_set_wider(c.valve, by))), SPREAD),
    "motors": (lambda plant, by: replace(plant, supply=_motors(plant.supply, by)), 0.5 * SPREAD),
    "pump": (_loop_part(pump="head"), SPREAD),
    "plate": (_loop_part(plate="drop"), SPREAD),
}


def figures(plant: Plant, state: MachineState) -> dict[str, float]:
    """The compared figures of one solved moment, SI, by quantity name; empty when a circuit has no balance.

    Currents carry the motor's kind: ``line_current@compressor``, ``line_current@pump``.
    """
    b = state.circuits[0].balance
    if b is None or any(c.balance is None for c in state.circuits):
        return {}
    gauge, loop = plant.atmosphere_pa, state.loop
    condensing = 0.5 * (b.condensing_dew_k + b.condensing_bubble_k)
    main = plant.loop.in_use
    point = loop.pumps.get(main)
    p = plant.supply
    first = plant.circuits[0]
    compressor = state.motors[f"compressor:{first.compressors[0]}"]
    pump = state.motors[f"pump:{main}"]
    fan = state.motors[f"fan:{first.air.fans[0]}"]
    pump_plate = p.pump if main == "onboard" else p.site_pump
    return {
        "suction_pressure": b.p_suction_pa - gauge,
        "liquid_pressure": b.p_liquid_pa - gauge,
        "discharge_pressure": b.p_discharge_pa - gauge,
        "suction_line": b.t1_k,
        "liquid_line": b.t3_k,
        "discharge_line": b.t2_k,
        "suction_saturation": b.suction_dew_k,
        "condensing_temperature": condensing,
        "superheat": b.superheat_k,
        "subcooling": b.subcooling_k,
        "approach": state.leaving_k - b.suction_dew_k,
        "condenser_split": condensing - b.air_in_k,
        "compression_ratio": b.ratio,
        "air_rise": b.air_out_k - b.air_in_k,
        "leaving_fluid": state.leaving_k,
        "fluid_split": state.entering_k - state.leaving_k,
        "capacity": state.cooling_w,
        "flow": loop.flow_m3s,
        "evaporator_drop": loop.evaporator_pa,
        "strainer_drop": loop.strainer_pa,
        "pump_rise": point.rise_pa if point else 0.0,
        "line_current@compressor": compressor.most * p.compressor.duty_a,
        "line_current@pump": pump.most * pump_plate.duty_a,
        "fan_current": fan.most * p.fan.duty_a,
        "compressor_current_ratio": compressor.most * p.compressor.duty_a / p.compressor.plate_a,
        "pump_current_ratio": pump.most * pump_plate.duty_a / pump_plate.plate_a,
    }


def solved(plant: Plant, conditions: Conditions) -> MachineState:
    """The healthy machine with all compressors on, at the return of the conditions."""
    running = {c.id: c.compressors for c in plant.circuits}
    return solve_machine(plant, healthy(plant), conditions, running, True, conditions.entering_k)


def spreads_of(plant: Plant, conditions: Conditions) -> dict[str, float]:
    """+/- half-width by which machines of one card differ, each part moved in turn; {} without a healthy balance."""
    base = figures(plant, solved(plant, conditions))
    variance = dict.fromkeys(base, 0.0)
    for change, width in PARTS.values():
        high = figures(plant, solved(change(plant, 1.0 + width), conditions))
        for name in base:
            variance[name] += ((high[name] - base[name]) if high else 0.0) ** 2 / 3.0
    return {name: COVERS * math.sqrt(v) for name, v in variance.items()}


def expected_of(
    plant: Plant, conditions: Conditions, spreads: Mapping[str, float] | None = None
) -> dict[str, Expected]:
    """Expected figures of a plant; empty when it has no healthy balance under these conditions. spreads: of `spreads_of`,
    where they are known already: they hardly move with the day.
    """
    base = figures(plant, solved(plant, conditions))
    if not base:
        return {}
    if spreads is None:
        spreads = spreads_of(plant, conditions)
    slopes: dict[str, dict[str, float]] = {name: {} for name in base}
    for key in ("entering_k", "air_k"):
        moved_to = replace(conditions, **{key: getattr(conditions, key) + STEP_K})
        there = figures(plant, solved(plant, moved_to))
        for name in base:
            slopes[name][key] = (there[name] - base[name]) / STEP_K if there else 0.0
    return {name: Expected(value, spreads.get(name, 0.0), slopes[name]) for name, value in base.items()}


@lru_cache(maxsize=64)
def _sized(card: str) -> tuple[Plant, dict[str, float]]:
    """The machine of a card and its spreads at its own rating: once a card."""
    plant = plant_of(Machine.model_validate_json(card))
    rating = Conditions(entering_k=plant.control.set_point_k + RATING_SPLIT_K)
    return plant, spreads_of(plant, rating)


@lru_cache(maxsize=512)
def _cached(card: str, conditions: Conditions) -> dict[str, Expected]:
    return expected_of(_sized(card)[0], conditions, _sized(card)[1])


def expected_readings(machine: Machine, conditions: Conditions) -> dict[str, Expected]:
    """Healthy value and band by quantity name, for a card and a day; empty when the card lacks what makes it this machine's
    (`missing_for_expected`) or the healthy machine has no balance under these conditions. Pure; answers are kept, the last
    512 days of 64 machines. Raises ChillerError for a card that contradicts itself.
    """
    if missing_for_expected(machine):
        return {}
    return dict(_cached(machine.model_dump_json(exclude={"name", "serial", "card"}), conditions))
