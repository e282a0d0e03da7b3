"""From which severity a fault tells: a valve half shut shows nothing, and a case drawn there has no answer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

from diagnose.plant.conditions import RATING, Conditions
from diagnose.plant.faults import EFFECTS, Fault, apply_faults
from diagnose.plant.health import SOUND, healthy
from diagnose.plant.instruments import KINDS
from diagnose.plant.parameters import Plant
from diagnose.plant.simulate import simulate
from diagnose.plant.snapshot import Snapshot
from diagnose.plant.valve import RATED_OPENING

GRID = 20


def differs(one: Snapshot, other: Snapshot, times: float = 2.0) -> bool:
    """Whether a person could tell two machines apart: state, hold, trips, lamps, or a reading beyond ``times`` its accuracy.

    Both snapshots must have the same seed: the instruments then err alike.
    """
    if stands_as(one) != stands_as(other):
        return True
    table = one.readings.get(one.state, {})
    for key, taken in other.readings.get(other.state, {}).items():
        mine = table.get(key)
        if mine is None:
            return True
        instrument = KINDS[taken.quantity]
        a = taken.shown if isinstance(taken.shown, tuple) else (taken.shown,)
        b = mine.shown if isinstance(mine.shown, tuple) else (mine.shown,)
        for x, y in zip(a, b, strict=True):
            width = instrument.accuracy * (max(abs(x), abs(y)) if instrument.share else 1.0) + instrument.quantum
            if abs(x - y) > times * width:
                return True
    return False


def stands_as(one: Snapshot) -> tuple[object, ...]:
    """What anybody sees of a machine without an instrument."""
    return (one.state, one.steadiness, one.hold, one.alarms, one.running, one.lamps)


def apart(others: Sequence[Snapshot], one: Snapshot, times: float = 2.0) -> bool:
    """Whether a person could tell a machine from every one of ``others``, healthy machines of the same card: it stands as none
    of them does, or a reading lies outside all of theirs by ``times`` its accuracy.
    """
    if all(stands_as(one) != stands_as(x) for x in others):
        return True
    tables = [x.readings.get(x.state, {}) for x in others]
    for key, taken in one.readings.get(one.state, {}).items():
        shown = [t[key].shown for t in tables if key in t]
        if not shown:
            continue
        known = [v if isinstance(v, tuple) else (v,) for v in shown]
        instrument = KINDS[taken.quantity]
        for n, x in enumerate(taken.shown if isinstance(taken.shown, tuple) else (taken.shown,)):
            low, high = min(v[n] for v in known), max(v[n] for v in known)
            width = instrument.accuracy * (max(abs(x), abs(low), abs(high)) if instrument.share else 1.0)
            if not low - times * (width + instrument.quantum) <= x <= high + times * (width + instrument.quantum):
                return True
    return False


def telling_severity(
    plant: Plant, conditions: Conditions, cause: str, place: str = "", others: Sequence[Snapshot] = ()
) -> float | None:
    """Least severity, on a grid of twentieths, from which the fault can be told from the same machine healthy, or from all
    ``others`` where those are given; None: never.

    Bisection: what tells at one severity is taken to tell at all higher ones.
    """
    base = simulate(plant, conditions)

    def tells(step: int) -> bool:
        shot = simulate(plant, conditions, [Fault(cause, step / GRID, place)])
        return apart((base, *others), shot) if others else differs(base, shot)

    if not tells(GRID):
        return None
    if EFFECTS[cause].switch:
        return 1 / GRID  # it is there or not: at every severity the same machine
    low, high = 0, GRID
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if tells(middle) else (middle, high)
    return high / GRID


NAMED = ("control.open_at", "control.pump_open_at", "control.resting")  # the name of an open contact is no reading

UNSET = {"air.weather_k": RATING.air_k, "cycle.fixed": RATED_OPENING, "cycle.most": 1.0, "cycle.least": 0.0}


def changed_fields(before: Any, after: Any, path: str = "") -> Iterator[str]:
    """Health values that differ, as name and direction or word; places are left out."""
    if is_dataclass(before):
        for f in fields(before):
            name = f"{path}.{f.name}" if path else f.name
            yield from changed_fields(getattr(before, f.name), getattr(after, f.name), name)
    elif isinstance(before, dict):
        for key, value in after.items():
            if path == "supply.branches":
                yield from changed_fields(before.get(key, SOUND), value, f"{path}.{key.partition(':')[0]}")
            elif key in before:
                yield from changed_fields(before[key], value, path)
            else:
                yield path if path in NAMED else f"{path} {_direction(0.0, value)}"
    elif before != after:
        usual = UNSET.get(path) if before is None else before
        yield path if path in NAMED else f"{path} {_direction(usual, after)}"


def _direction(before: Any, after: Any) -> str:
    if isinstance(after, tuple):
        return ",".join(getattr(x, "quantity", "set") for x in after)
    if isinstance(after, (bool, str)) or before is None:
        return str(after) if isinstance(after, str) else "set"
    return "up" if after > before else "down"


def same_effect(plant: Plant) -> list[tuple[str, ...]]:
    """Groups of causes that act through the same values of the simulated machine in the same direction: at matching severities
    every reading is equal, so only looking, asking or opening something can separate them. Open contacts of one string are one
    group: only the control's display or a meter along the string tells them apart.
    """
    groups: dict[tuple[str, ...], list[str]] = {}
    base = healthy(plant)
    for cause in EFFECTS:
        door = tuple(sorted(set(changed_fields(base, apply_faults(plant, [Fault(cause, 0.8)])))))
        groups.setdefault(door, []).append(cause)
    return sorted(tuple(sorted(g)) for g in groups.values() if len(g) > 1)
