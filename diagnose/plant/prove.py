"""Proof of the simulated machine in numbers: random machines, days and faults solve and are physical; how fast they solve.

Every function returns a plain dict for a result file. The comparison with published machines is made by the tests, where the published
figures are; here is what can be asked of any machine.
"""

from __future__ import annotations

import platform
import statistics
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from diagnose.case import Machine
from diagnose.plant.conditions import Conditions
from diagnose.plant.draws import draw
from diagnose.plant.faults import EFFECTS, Fault, shows_on
from diagnose.plant.physical import violations
from diagnose.plant.simulate import simulate
from diagnose.plant.sizing import plant_of
from diagnose.prove.result import Options, code_digest

FULL = 20_000
CHUNK = 500
REFERENCE = Machine(
    refrigerant="R-410A",
    capacity="60 tons",
    voltage="460 V",
    frequency="60 Hz",
    fluid="water",
    circuits=2,
    compressors=4,
)


def _piece(seed: int, first: int, count: int) -> dict[str, Any]:
    """Draws ``first`` to ``first + count``: counts, and the numbers of those that are wrong."""
    states: Counter[str] = Counter()
    trips: Counter[str] = Counter()
    holds: Counter[str] = Counter()
    causes: Counter[str] = Counter()
    wrong: list[dict[str, Any]] = []
    for number in range(first, first + count):
        one = draw(seed, number)
        causes.update(f.cause for f in one.faults)
        try:
            shot = simulate(one.plant, one.conditions, one.faults, number)
        except Exception as error:  # a crash is what this proof is looking for: it is counted, with its draw
            wrong.append({"draw": number, "what": [f"crash: {type(error).__name__}: {error}"[:200]]})
            continue
        states[shot.state] += 1
        trips.update({t.name for t in shot.trips})
        if shot.hold:
            holds[shot.hold] += 1
        found = violations(one.plant, shot)
        if found:
            wrong.append({"draw": number, "what": found, "faults": [f.cause for f in one.faults]})
    return {"states": states, "trips": trips, "holds": holds, "causes": causes, "wrong": wrong}


def prove_draws(seed: int = 1, draws: int = FULL, processes: int = 1) -> dict[str, Any]:
    """Random draws: how they end, and every one that crashed or is not physical (none when it passes)."""
    pieces = [(seed, n, min(CHUNK, draws - n)) for n in range(0, draws, CHUNK)]
    if processes > 1:
        with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
            made = list(pool.map(_piece, *zip(*pieces, strict=True)))
    else:
        made = [_piece(*piece) for piece in pieces]
    total: dict[str, Counter[str]] = {key: Counter() for key in ("states", "trips", "holds", "causes")}
    wrong: list[dict[str, Any]] = []
    for piece in made:
        for key, counter in total.items():
            counter.update(piece[key])
        wrong += piece["wrong"]
    return {
        "draws": draws,
        "passes": not wrong,
        "wrong": wrong[:50],
        "wrong_count": len(wrong),
        "states": dict(total["states"].most_common()),
        "trips": dict(total["trips"].most_common()),
        "holds": dict(total["holds"].most_common()),
        "causes_drawn": len(total["causes"]),
    }


def _timed(work: list[tuple[Conditions, tuple[Fault, ...]]]) -> dict[str, float]:
    """Processor time of each simulation, warm; milliseconds."""
    plant = plant_of(REFERENCE)
    for conditions, faults in work[:3]:
        simulate(plant, conditions, faults)
    taken = []
    for conditions, faults in work:
        start = time.process_time()
        simulate(plant, conditions, faults)
        taken.append(1000.0 * (time.process_time() - start))
    taken.sort()
    return {
        "median_ms": round(statistics.median(taken), 2),
        "p95_ms": round(taken[int(0.95 * (len(taken) - 1))], 2),
        "most_ms": round(taken[-1], 2),
        "runs": len(taken),
    }


def measure_speed() -> dict[str, Any]:
    """One core, warm, two-circuit 60 ton machine: healthy steady states over the days of a year, and every fault it can have at
    three severities. Targets: 20 ms healthy, 40 ms faulty.
    """
    plant = plant_of(REFERENCE)
    days = [(Conditions(air_k=280.0 + n, entering_k=282.0 + 0.2 * n), ()) for n in range(36)]
    able = [e.cause for e in EFFECTS.values() if shows_on(plant, e)]
    faults = [(Conditions(), (Fault(cause, s),)) for cause in able for s in (0.35, 0.7, 1.0)]
    return {
        "machine": f"{platform.machine()}, Python {platform.python_version()}",
        "healthy": _timed(list(days)),
        "faulty": _timed(list(faults)),
        "targets_ms": {"healthy": 20.0, "faulty": 40.0},
    }


def plant_digest() -> str:
    """Digest of what the proof ran on: the code of the plant and of the property tables, with the tables."""
    here = Path(__file__).parent
    return code_digest((here, here.parent / "properties"))


def prove_plant(options: Options) -> tuple[str, dict[str, Any]]:
    """Both together, in the form of the prove command; "" for the cards' digest: only ids of cards are used. The code's digest
    is taken before the run, so that a file edited meanwhile makes the result stale.
    """
    code = plant_digest()
    return "", {
        "code": code,
        **prove_draws(options.seed, options.draws or FULL, options.processes),
        "speed": measure_speed(),
    }


def plant_text(result: dict[str, Any]) -> str:
    """The result for people."""
    speed = result["speed"]
    lines = [
        f"plant: {result['draws']} random machines, days and faults ({result['causes_drawn']} causes): "
        + ("all physical or a named trip" if result["passes"] else f"{result['wrong_count']} wrong"),
        "states: " + ", ".join(f"{k} {v}" for k, v in result["states"].items()),
        "trips: " + ", ".join(f"{k} {v}" for k, v in result["trips"].items()),
    ]
    for key in ("healthy", "faulty"):
        one = speed[key]
        lines.append(
            f"{key}: median {one['median_ms']} ms, p95 {one['p95_ms']} ms, most {one['most_ms']} ms "
            f"(target {speed['targets_ms'][key]:g}; {one['runs']} runs)"
        )
    lines += [f"draw {one['draw']}: {'; '.join(one['what'])}" for one in result["wrong"][:10]]
    return "\n".join(lines)
