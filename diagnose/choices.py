"""What a person may choose from: the places of a machine for a kind of thing."""

from __future__ import annotations

from diagnose.case import Machine
from diagnose.places import ALL_CIRCUITS, spell, topology_of
from shared.quantities import QUANTITIES

UNKNOWN_CIRCUITS = ("A", "B", "C", "D")  # offered when nobody told how many there are: the most a unit has


def place_choices(machine: Machine, kind: str) -> tuple[str, ...]:
    """Place ids of this machine for a kind of place; one means there is nothing to choose.

    kind: unit, supply, circuit, compressor, fan, pump, or "any" (whatever a clamp can be put around).
    Raises PlaceError on a machine card that contradicts itself.

    >>> place_choices(Machine(circuits=2), "circuit")
    ('circuit:A', 'circuit:B')
    >>> place_choices(Machine(circuits=2), "unit")
    ('unit',)
    """
    topology = topology_of(machine)
    circuits = topology.circuits or UNKNOWN_CIRCUITS
    if kind == "circuit":
        return tuple(f"circuit:{c}" for c in circuits)
    if kind == "pump":
        return tuple(f"pump:{p}" for p in topology.pumps)
    if kind == "compressor":
        named = [c for circuit in circuits for c in topology.compressors.get(circuit, ())]
        return tuple(f"compressor:{c}" for c in named or [f"{circuit}1" for circuit in circuits])
    if kind == "fan":
        named = [f for circuit in circuits for f in topology.fans.get(circuit, ())]
        count = machine.fans or 4
        return tuple(f"fan:{f}" for f in named or [str(n + 1) for n in range(count)])
    if kind == "any":
        parts = [
            *place_choices(machine, "pump"),
            *place_choices(machine, "compressor"),
            *place_choices(machine, "fan"),
        ]
        return ("supply", *parts)
    return (kind,)


def answer_places(machine: Machine, kind: str) -> tuple[tuple[str, str], ...]:
    """(place id, label) an answer about a kind of thing may be for: each one, all alike, or one not known which.

    >>> answer_places(Machine(circuits=2), "circuit")[-2:]
    (('circuit:*', 'All alike'), ('circuit:?', 'One, unsure which'))
    """
    spots = place_choices(machine, kind)
    named = tuple((spot, spell(spot)[0].upper() + spell(spot)[1:]) for spot in spots)
    if kind == "circuit" and len(spots) > 1:
        return (*named, (ALL_CIRCUITS, "All alike"), ("circuit:?", "One, unsure which"))
    return named


def quantity_places(machine: Machine, quantity: str) -> tuple[str, ...]:
    """Place ids at which a quantity may be read on this machine. Raises KeyError on an unknown quantity."""
    return place_choices(machine, QUANTITIES[quantity].place)
