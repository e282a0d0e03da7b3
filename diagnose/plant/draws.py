"""Random machines, days and faults, each a function of its seed: for proofs, for trainers, for evaluation."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from diagnose.case import Machine
from diagnose.plant.conditions import Conditions
from diagnose.plant.faults import EFFECTS, Fault, places, shows_on
from diagnose.plant.parameters import Plant
from diagnose.plant.scatter import scattered
from diagnose.plant.sizing import plant_of
from diagnose.properties.saturation import REFRIGERANTS


@dataclass(frozen=True, slots=True)
class Draw:
    """One random case."""

    machine: Machine
    plant: Plant
    conditions: Conditions
    faults: tuple[Fault, ...]


VALVES = ("thermostatic", "electronic", "orifice")


def draw_machine(rng: random.Random, valves: Sequence[str] = VALVES) -> Machine:
    """A machine card, more or less complete. valves: kinds of expansion device to choose from."""
    capacity = rng.uniform(70e3, 700e3)
    circuits = rng.choice((1, 2, 2, 2, 3, 4))
    glycol = rng.random() < 0.35
    volts, hertz = rng.choice(((460, 60), (460, 60), (480, 60), (400, 50), (208, 60), (380, 50)))
    return Machine(
        refrigerant=rng.choice(REFRIGERANTS),
        capacity=f"{capacity / 1e3:.0f} kW",
        voltage=f"{volts} V",
        frequency=f"{hertz} Hz",
        fluid=rng.choice(("propylene-glycol", "ethylene-glycol")) if glycol else "water",
        glycol_percent=f"{rng.choice((20, 30, 35, 40))} %" if glycol else "",
        altitude=rng.choice(("", "", "500 m", "1500 m", "2400 m")),
        tank_at=rng.choice(("unit-suction", "load", "unknown")),
        expansion=rng.choice(valves),
        supply=rng.choice(("generator", "utility")),
        pumps=("onboard", "site"),
        pump_in_use=rng.choice(("onboard", "onboard", "site")),
        pump_drive=rng.choice(("yes", "no")),
        fan_drive=rng.choice(("yes", "no")),
        receiver=rng.choice(("yes", "no", "no")),
        circuits=circuits,
        compressors=circuits * rng.choice((1, 2, 3)),
        design_drop=f"{rng.uniform(4.0, 12.0):.1f} psi",
        set_point="" if not glycol else f"{rng.uniform(25.0, 44.0):.0f} degF",
    )


def draw_conditions(rng: random.Random, plant: Plant) -> Conditions:
    """A day and a return temperature near what the machine is set for."""
    set_point = plant.control.set_point_k
    return Conditions(
        air_k=rng.uniform(263.15, 319.15),
        entering_k=set_point + rng.uniform(2.0, 16.0),
        hold=rng.choice(("entering", "entering", "entering", "load")),
        load_share=rng.uniform(0.15, 1.2),
        minutes=rng.choice((2.0, 20.0, 90.0)),
        stages=rng.choice((None, None, None, 1)),
    )


def draw_faults(rng: random.Random, plant: Plant, most: int = 3) -> tuple[Fault, ...]:
    """None to ``most`` faults that this machine can have, at any severity."""
    able = [e for e in EFFECTS.values() if shows_on(plant, e)]
    made = []
    for effect in rng.sample(able, rng.randint(0, most)):
        made.append(Fault(effect.cause, rng.uniform(0.05, 1.0), rng.choice(places(plant, effect.place))))
    return tuple(made)


def draw(seed: int, number: int) -> Draw:
    """Case ``number`` of a series."""
    rng = random.Random(f"draw:{seed}:{number}")
    machine = draw_machine(rng)
    plant = scattered(plant_of(machine), rng.randrange(1 << 30))
    return Draw(machine, plant, draw_conditions(rng, plant), draw_faults(rng, plant))
