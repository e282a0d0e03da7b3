"""Faults: a cause card's id at a place with a severity, applied to the health of a plant, alone or together."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from diagnose.plant.effects import air, control, cycle, instruments, loop, supply
from diagnose.plant.effects.model import At, Effect
from diagnose.plant.effects.scripted import SCRIPTED
from diagnose.plant.health import Health, healthy
from diagnose.plant.parameters import Plant
from shared.errors import ChillerError

EFFECTS: dict[str, Effect] = {
    e.cause: e
    for table in (loop.EFFECTS, air.EFFECTS, supply.EFFECTS, cycle.EFFECTS, control.EFFECTS, instruments.EFFECTS)
    for e in table
}


@dataclass(frozen=True, slots=True)
class Fault:
    """cause: id of a cause card; severity 0 to 1; place: "circuit:B", "compressor:A1", ... ("" = the first of its kind)."""

    cause: str
    severity: float = 0.6
    place: str = ""


def places(plant: Plant, kind: str) -> tuple[str, ...]:
    """Places of a kind on this machine."""
    if kind == "circuit":
        return tuple(f"circuit:{c.id}" for c in plant.circuits)
    if kind == "compressor":
        return tuple(f"compressor:{c}" for c in plant.compressors)
    if kind == "pump":
        return (f"pump:{plant.loop.in_use}",)
    return (kind,)


def shows_on(plant: Plant, effect: Effect) -> bool:
    """Whether this machine has what the effect needs."""
    needs, p = effect.needs, plant
    kind = p.circuits[0].valve.kind
    return {
        "": True,
        "onboard pump in use": p.loop.in_use == "onboard",
        "both pumps": len(p.loop.pumps) > 1,
        "site pump in use": p.loop.in_use == "site",
        "glycol in the loop": p.loop.fluid != "water" and p.loop.percent > 0.0,
        "fan drive": p.circuits[0].air.drive,
        "generator supply": p.supply.source == "generator",
        "60 Hz machine": p.supply.hertz == 60.0,
        "50 Hz machine": p.supply.hertz == 50.0,
        "superheat-controlling valve": kind != "orifice",
        "thermostatic valve": kind == "thermostatic",
        "electronic valve": kind == "electronic",
    }[needs]


def apply_faults(plant: Plant, faults: Iterable[Fault]) -> Health:
    """Health of the plant with all faults in, in their order.

    Raises ChillerError for a cause without an effect, a severity outside 0..1 or a place this machine does not have.
    """
    health = healthy(plant)
    for fault in faults:
        effect = EFFECTS.get(fault.cause)
        if effect is None:
            how = "it is scripted: " + SCRIPTED[fault.cause] if fault.cause in SCRIPTED else "no such cause"
            raise ChillerError("fault cannot be simulated", given=fault.cause, allowed="a cause with an effect", do=how)
        if not 0.0 <= fault.severity <= 1.0:
            raise ChillerError("severity of a fault", given=fault.severity, allowed="0 to 1")
        known = places(plant, effect.place)
        place = fault.place or known[0]
        if place not in known:
            raise ChillerError(f"place of {fault.cause}", given=place, allowed=", ".join(known))
        if fault.severity > 0.0:
            health = effect.apply(health, At(plant, place.partition(":")[2], fault.severity))
    return health
