"""Readings at one minute of a march: the machine between two balances, and thermometers that follow late.

A circuit that has just started stands between its rest and its balance, by the time constant of the march. A thermometer in a well
follows with a lag, a clamp on a pipe with a longer one; here the lag is worked out where it matters, on the fluid (assumptions: 20 s).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from diagnose.plant.conditions import Conditions
from diagnose.plant.health import Health
from diagnose.plant.instruments import Taken, Value, take
from diagnose.plant.machine_state import solve_machine, weather_k
from diagnose.plant.march import SETTLES_S, March, Moment
from diagnose.plant.parameters import Plant
from diagnose.plant.readings import read_machine_state
from diagnose.plant.snapshot import Key
from shared.errors import ChillerError

WELL_LAG_S = 20.0
SETTLING = (
    "suction_pressure",
    "liquid_pressure",
    "discharge_pressure",
    "suction_line",
    "liquid_line",
    "discharge_line",
    "drier_in",
    "drier_out",
)


def _lagged(made: March, index: int, name: str) -> float:
    """A fluid temperature as a thermometer in its well shows it: a running exponential mean."""
    value = float(getattr(made.moments[0], name))
    for before, now in zip(made.moments[:index], made.moments[1 : index + 1], strict=True):
        share = 1.0 - math.exp(-(now.t_s - before.t_s) / WELL_LAG_S)
        value += share * (float(getattr(now, name)) - value)
    return value


def _running_since(made: March, moment: Moment) -> dict[str, float]:
    """Seconds each running compressor has run."""
    started = {e.place.partition(":")[2]: e.t_s for e in made.events if e.what == "start" and e.t_s <= moment.t_s}
    return {name: moment.t_s - started.get(name, -1e9) for name in moment.running}


def readings_at(
    plant: Plant, conditions: Conditions, health: Health, made: March, t_s: float, seed: int = 0
) -> dict[Key, Taken]:
    """What a technician would read at a time of the march. Raises ChillerError for a time it does not cover."""
    index = max((n for n, m in enumerate(made.moments) if m.t_s <= t_s + 1e-9), default=-1)
    if index < 0 or t_s < 0.0 or t_s > made.moments[-1].t_s + 60.0:
        last = made.moments[-1].t_s if made.moments else 0.0
        raise ChillerError("time outside the run", given=f"{t_s:g} s", allowed=f"0 to {last:g} s")
    moment = made.moments[index]
    pumping = moment.state in ("cooling", "pump-only")
    running = {c.id: tuple(n for n in c.compressors if n in moment.running) for c in plant.circuits}
    now = solve_machine(plant, health, conditions, running, pumping, moment.entering_k)
    shown = read_machine_state(plant, health, conditions, now, moment.state, seed)
    rest = read_machine_state(
        plant,
        health,
        conditions,
        solve_machine(plant, health, conditions, {}, pumping, moment.entering_k),
        "powered",
        seed,
    )
    air = weather_k(health, conditions)
    since = _running_since(made, moment)
    changed: dict[Key, Value] = {
        ("entering_fluid", "unit"): _lagged(made, index, "entering_k"),
        ("leaving_fluid", "unit"): _lagged(made, index, "leaving_k"),
        ("time_running", "unit"): max(since.values(), default=0.0),
    }
    for circuit in plant.circuits:
        on = [since[n] for n in circuit.compressors if n in since]
        if not on:
            continue
        near = 1.0 - math.exp(-max(on) / SETTLES_S)
        for name in SETTLING:
            changed.update(_between(shown, rest, (name, f"circuit:{circuit.id}"), near))
    for key, value in changed.items():
        if key in shown:
            shown[key] = take(key[0], key[1], value, health.instruments, seed, air)
    return shown


def _between(shown: Mapping[Key, Taken], rest: Mapping[Key, Taken], key: Key, near: float) -> dict[Key, Value]:
    if key not in shown or key not in rest:
        return {}
    there, here = rest[key].true, shown[key].true
    if isinstance(there, tuple) or isinstance(here, tuple):
        return {}
    return {key: there + near * (here - there)}
