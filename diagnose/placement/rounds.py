"""Rounds of a placement: what was read, under which conditions, and what the machine of the card would have shown then.

A figure is compared with what the healthy machine of the card should show at the same air, return, volts and stages; what is left is
its residual, a logarithm for a ratio, kelvin for a difference. The residual of a machine that stays as it is hardly moves from day
to day, though no machine is quite as its card says. Which compressors ran is told by their currents, else by the share of load;
where neither tells, only what hangs on the fluid alone is compared.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache

from diagnose.case import Case, Machine
from diagnose.derive import Derivation, air_at_coil, derive_all
from diagnose.expected import FULL_PCT, HEALTHY_VOLTS, NEAR_FULL, WIDE, lacking
from diagnose.machine import read_machine
from diagnose.placement.record import Done, Placement
from diagnose.places import topology_of
from diagnose.plant.conditions import Conditions
from diagnose.plant.expected import RATING_SPLIT_K
from diagnose.plant.health import Health, healthy
from diagnose.plant.machine_state import MachineState, solve_machine
from diagnose.plant.parameters import Plant
from diagnose.plant.sizing import plant_of
from diagnose.readings import read_all
from knowledge.load import Knowledge
from knowledge.watches import FIGURES
from shared.errors import ChillerError

ROUND, BASELINE = "stay-round", "base-steady"
CASE = "is-this-normal"
PLATE_EXPONENT = 1.75  # drop of hoses and plates over flow, see diagnose.plant.loop
RUNS_SHARE = 0.2  # a compressor below this share of the largest current stands
LEAST_K = 0.5  # a temperature difference below this has no ratio
MOST_KEPT = 4096
ALL_FANS = 0.999  # share of the fans' air from which none is held back
FLUID_ONLY = ("strainer_resistance", "flow_by_drop", "pump_current")

FANS_HELD = "fans-held"

Key = tuple[str, str]
Running = tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True)
class Figure:
    """One figure of one moment. measured: SI; expected: of the healthy machine then, None = nothing can be expected; residual.

    regime: figures of different regimes are not compared with each other ("fans-held": the control holds the head, so the split
    tells of the control and hardly of the coil).
    """

    figure: str
    place: str
    measured: float
    expected: float | None
    residual: float
    regime: str = ""


@dataclass(frozen=True)
class Round:
    """What one entry read. number: of the entry; at: its moment. figures: by (figure, place). why: what could not be compared.

    told: the watched figures as read, SI, also those that could not be compared. strainer: drop of the strainer [Pa] and the flow by
    the evaporator drop [m3/s] it was read at, None where one is missing.
    """

    number: int
    at: datetime
    by: str
    conditions: Conditions | None
    running: Running
    full: bool
    figures: Mapping[Key, Figure]
    why: tuple[str, ...] = ()
    told: Mapping[Key, float] = field(default_factory=dict)
    strainer: tuple[float, float] | None = None


@lru_cache(maxsize=64)
def sized(card: str) -> Plant:
    """The simulated machine of a card, by its JSON."""
    return plant_of(Machine.model_validate_json(card))


def card_of(machine: Machine) -> str:
    """What of a machine card decides about its readings."""
    return machine.model_dump_json(exclude={"name", "serial", "card"})


def moment_of(text: str) -> datetime | None:
    """The moment of an entry, without its zone; None where none was told."""
    try:
        return datetime.fromisoformat(text).replace(tzinfo=None) if text else None
    except ValueError:
        return None


def entry_case(placement: Placement, done: Done) -> Case:
    """The readings of one entry as a call, so that they are read and derived like any other."""
    entries = [
        {"quantity": r.quantity, "value": r.value, "place": r.place, "state": "cooling", "steadiness": "steady"}
        for r in done.readings
        if not r.at
    ]
    return Case.model_validate(
        {
            "complaint": CASE,
            "machine": placement.machine,
            "qualified": placement.qualified,
            "context": ("running-site",),
            "entries": [{k: v for k, v in e.items() if v != ""} for e in entries],
        }
    )


def round_of(placement: Placement, number: int, knowledge: Knowledge) -> Round | None:
    """The round of an entry; None without a moment. Readings that do not belong to this machine are told, never raised.

    Kept in the memory of the base: a screen asks for the same rounds again and again.
    """
    done = placement.entries[number]
    at = moment_of(done.at)
    if at is None:
        return None
    memo: dict[tuple[int, str, str], Round] = knowledge.memo.setdefault("rounds", {})
    key = (number, card_of(placement.machine), done.model_dump_json())
    if key not in memo:
        if len(memo) >= MOST_KEPT:
            memo.clear()
        memo[key] = _round_of(placement, done, number, at, knowledge)
    return memo[key]


def _round_of(placement: Placement, done: Done, number: int, at: datetime, knowledge: Knowledge) -> Round:
    try:
        work = _derived(placement, done, knowledge)
    except ChillerError as error:
        return Round(number, at, done.by, None, (), False, {}, (error.line(),))
    return _round(placement.machine, work, number, at, done.by)


def _derived(placement: Placement, done: Done, knowledge: Knowledge) -> Derivation:
    case = entry_case(placement, done)
    machine = read_machine(case.machine)
    topology = topology_of(case.machine)
    return derive_all(machine, read_all(case, machine, topology, knowledge), topology)


def _round(machine: Machine, work: Derivation, number: int, at: datetime, by: str) -> Round:
    told = measured_of(work)
    why: list[str] = []
    conditions: Conditions | None = None
    running: Running = ()
    full = sure = False
    if lacking(machine):
        why.append(f"nothing can be expected without: {', '.join(lacking(machine)).replace('_', ' ')}")
    else:
        plant = sized(card_of(machine))
        conditions = _conditions(work, plant)
        running, sure = _running(work, plant)
        full = sum(len(ids) for _, ids in running) == len(plant.compressors)
        if conditions is None:
            why.append("air at the coil or entering fluid not read: only what hangs on the fluid alone is compared")
        elif not sure:
            why.append("which compressors ran was not told: read their amps or the share of load")
    expected: Mapping[Key, float] = {}
    if not lacking(machine):
        expected = shown_by(card_of(machine), conditions or Conditions(), running)
    figures = {}
    for key, value in told.items():
        if key[0] not in FLUID_ONLY and (conditions is None or not sure or key not in expected):
            continue
        regime = FANS_HELD if key[0] == "condenser_split" and (FANS_HELD, key[1]) in expected else ""
        made = compared(key, value, expected.get(key), regime)
        if made is not None:
            figures[key] = made
    drop, flow = work.values.get(("strainer_drop", "unit")), work.values.get(("flow_by_drop", "unit"))
    strainer = (drop.value, flow.value) if drop is not None and flow is not None else None
    return Round(number, at, by, conditions, running, full and sure, figures, tuple(why), told, strainer)


def compared(key: Key, measured: float, expected: float | None, regime: str = "") -> Figure | None:
    """A figure with its residual; None where it has no ratio."""
    if FIGURES[key[0]][1] == "difference":
        return Figure(*key, measured, expected, measured - (expected or 0.0), regime)
    least = LEAST_K if key[0] in ("fluid_split", "condenser_split") else 0.0
    if measured <= least or (expected is not None and expected <= least):
        return None
    return Figure(*key, measured, expected, math.log(measured / (expected or 1.0)), regime)


def measured_of(work: Derivation) -> dict[Key, float]:
    """The watched figures that these readings allow, SI."""
    made: dict[Key, float] = {}
    for name in ("condenser_split", "subcooling", "superheat", "approach"):
        for (quantity, place), value in work.values.items():
            if quantity == name:
                made[name, place] = value.value
    entering, leaving = work.run("entering_fluid", "unit"), work.run("leaving_fluid", "unit")
    if entering is not None and leaving is not None:
        made["fluid_split", "unit"] = entering.values[0] - leaving.values[0]
    drop, strainer = _drop(work), work.values.get(("strainer_drop", "unit"))
    if drop is not None and drop > 0.0:
        made["flow_by_drop", "unit"] = drop ** (1.0 / PLATE_EXPONENT)
        if strainer is not None and strainer.value > 0.0:
            made["strainer_resistance", "unit"] = strainer.value / drop ** (2.0 / PLATE_EXPONENT)
    for (quantity, place), reading in work.readings.running.items():
        kind = place.split(":")[0]
        if quantity == "line_current" and kind in ("pump", "compressor") and sum(reading.values) > 0.0:
            made[f"{kind}_current", place] = sum(reading.values) / len(reading.values)
    return made


def _drop(work: Derivation) -> float | None:
    drop = work.run("evaporator_drop", "unit")
    if drop is not None:
        return drop.values[0]
    inlet, outlet = work.run("evaporator_in", "unit"), work.run("evaporator_out", "unit")
    return inlet.values[0] - outlet.values[0] if inlet is not None and outlet is not None else None


def _conditions(work: Derivation, plant: Plant) -> Conditions | None:
    entering, air = work.run("entering_fluid", "unit"), air_at_coil(work) or work.any("weather_air", "unit")
    if entering is None or air is None:
        return None
    for name, reading in (("air_k", air), ("entering_k", entering)):
        if not WIDE[name][0] <= reading.values[0] <= WIDE[name][1]:
            return None
    volts, board = work.any("line_voltage", "supply"), None
    if volts is not None:
        mean = sum(volts.values) / len(volts.values)
        board = mean if HEALTHY_VOLTS[0] <= mean / plant.supply.volts <= HEALTHY_VOLTS[1] else None
    return Conditions(air_k=air.values[0], entering_k=entering.values[0], board_volts=board)


def _running(work: Derivation, plant: Plant) -> tuple[Running, bool]:
    """Compressors that ran, and whether that was told: by their currents, else by the share of load, else by a warm return."""
    amps = {
        place.partition(":")[2]: sum(r.values) / len(r.values)
        for (q, place), r in work.readings.running.items()
        if q == "line_current" and place.startswith("compressor:")
    }
    everything = tuple((c.id, c.compressors) for c in plant.circuits)
    if set(plant.compressors) <= set(amps):
        least = RUNS_SHARE * max(amps.values())
        on = tuple((c.id, tuple(n for n in c.compressors if amps[n] > least)) for c in plant.circuits)
        return (on, True) if any(ids for _, ids in on) else (everything, False)
    load = work.run("machine_load", "unit")
    if load is not None:
        return everything, load.values[0] >= FULL_PCT
    entering = work.run("entering_fluid", "unit")
    warm = entering is not None and entering.values[0] - plant.control.set_point_k >= NEAR_FULL * RATING_SPLIT_K
    return everything, warm


@lru_cache(maxsize=4096)
def shown_by(card: str, conditions: Conditions, running: Running) -> Mapping[Key, float]:
    """What the healthy machine of a card shows, by (figure, place); figures of circuits without a balance are missing."""
    plant = sized(card)
    return model_figures(plant, *_solved(plant, healthy(plant), conditions, running))


def _solved(plant: Plant, health: Health, conditions: Conditions, running: Running) -> tuple[MachineState, Running]:
    return solve_machine(plant, health, conditions, dict(running), True, conditions.entering_k), running


def faulty_figures(plant: Plant, health: Health, conditions: Conditions, running: Running) -> dict[Key, float]:
    """The same of a machine that is not healthy."""
    return model_figures(plant, *_solved(plant, health, conditions, running))


def model_figures(plant: Plant, state: MachineState, running: Running) -> dict[Key, float]:
    """The watched figures of one solved moment, SI, by (figure, place)."""
    made: dict[Key, float] = {}
    loop, supply = state.loop, plant.supply
    if loop.evaporator_pa > 0.0:
        made["flow_by_drop", "unit"] = loop.evaporator_pa ** (1.0 / PLATE_EXPONENT)
        made["strainer_resistance", "unit"] = loop.strainer_pa / loop.evaporator_pa ** (2.0 / PLATE_EXPONENT)
    main = plant.loop.in_use
    plate = supply.pump if main == "onboard" else supply.site_pump
    made["pump_current", f"pump:{main}"] = sum(state.motors[f"pump:{main}"].currents) / 3.0 * plate.duty_a
    whole = True
    for circuit in state.circuits:
        b = circuit.balance
        if not circuit.running:
            continue
        if b is None:
            whole = False
            continue
        place = f"circuit:{circuit.id}"
        made["condenser_split", place] = 0.5 * (b.condensing_dew_k + b.condensing_bubble_k) - b.air_in_k
        if b.fan_share < ALL_FANS:
            made[FANS_HELD, place] = 1.0
        made["superheat", place] = b.superheat_k
        made["subcooling", place] = b.subcooling_k
        made["approach", place] = state.leaving_k - b.suction_dew_k
        for name in circuit.running:
            amps = sum(state.motors[f"compressor:{name}"].currents) / 3.0
            made["compressor_current", f"compressor:{name}"] = amps * supply.compressor.duty_a
    if whole and any(ids for _, ids in running):
        made["fluid_split", "unit"] = state.entering_k - state.leaving_k
    return made
