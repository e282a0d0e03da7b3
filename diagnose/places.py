"""Where things are on the machine: unit, supply, pumps, circuits with their compressors and fans.

A card is written for a KIND of place and stands for each such place. Circuits and compressors nobody has spoken of stay
folded into one place that counts for all of them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from diagnose.case import Machine
from shared.errors import ChillerError, shorten

SINGLE = ("unit", "supply")
MOST_CIRCUITS = 12


class PlaceError(ChillerError):
    """A place that this machine does not have."""


@dataclass(frozen=True, slots=True)
class Place:
    """kind; id as used in cases ("circuit:B"); circuit it belongs to ("" = none or unknown); count of places it stands for."""

    kind: str
    id: str
    circuit: str = ""
    count: int = 1
    folded: bool = False

    def touches(self, other: Place) -> bool:
        """Whether a cause here can show there: one is part of the other, or one of them belongs to the whole unit."""
        if self.kind == other.kind:
            return self.id == other.id
        return not self.circuit or not other.circuit or self.circuit == other.circuit


@dataclass(frozen=True, slots=True)
class Topology:
    """circuits: ids in order, empty when nobody told how many. compressors: circuit -> ids."""

    circuits: tuple[str, ...]
    compressors: dict[str, tuple[str, ...]]
    fans: dict[str, tuple[str, ...]]
    pumps: tuple[str, ...]
    main_pump: str

    @property
    def several(self) -> bool:
        """More than one circuit, as far as is known."""
        return len(self.circuits) > 1


def _letters(count: int) -> tuple[str, ...]:
    return tuple("ABCDEFGHIJKL"[:count])


def topology_of(machine: Machine) -> Topology:
    """Circuits, compressors, fans and pumps of a machine card; raises PlaceError on counts that contradict each other."""
    pumps = machine.pumps or (("site",) if machine.pump_in_use == "site" else ("onboard",))
    main = machine.pump_in_use or pumps[0]
    if main not in pumps:
        pumps = (*pumps, main)
    if isinstance(machine.circuits, dict):
        ids = tuple(machine.circuits)
        for one in ids:
            if not re.fullmatch(r"[A-Za-z0-9]{1,8}", one):
                raise PlaceError(
                    "circuit id", given=one, allowed="letters or digits, e.g. A or 1", do="rename the circuit"
                )
        compressors = {c: t.compressors for c, t in machine.circuits.items()}
        fans = {c: t.fans for c, t in machine.circuits.items()}
        total = sum(len(v) for v in compressors.values())
        if machine.compressors is not None and total and machine.compressors != total:
            raise PlaceError(
                "compressor count",
                given=machine.compressors,
                allowed=f"{total}, as listed under circuits",
                do="correct one of the two",
            )
        return Topology(ids, compressors, fans, pumps, main)
    count = machine.circuits or 0
    if count < 0 or count > MOST_CIRCUITS:
        raise PlaceError(
            "number of circuits", given=count, allowed=f"1 to {MOST_CIRCUITS}", do="correct the machine card"
        )
    if machine.compressors is not None and not (0 < machine.compressors <= 48):
        raise PlaceError(
            "number of compressors", given=machine.compressors, allowed="1 to 48", do="correct the machine card"
        )
    if machine.compressors is not None and count and machine.compressors < count:
        raise PlaceError(
            "fewer compressors than circuits",
            given=f"{machine.compressors} compressors, {count} circuits",
            allowed="at least one compressor a circuit",
            do="correct the machine card",
        )
    ids = _letters(count)
    each = (machine.compressors or 0) // count if count else 0
    compressors = {c: tuple(f"{c}{n + 1}" for n in range(each)) for c in ids}
    return Topology(ids, compressors, {}, pumps, main)


_FORM = re.compile(r"^(?P<kind>[a-z][a-z -]*?)\s*[: ]\s*(?P<id>[A-Za-z0-9?*-]{1,12})$")
_KINDS = ("circuit", "compressor", "fan", "pump", "supply", "unit", "instrument", "chiller")


def normalise(text: str, kind: str, topology: Topology, spoken_circuits: Iterable[str] = ()) -> str:
    """Place id for what a case says, e.g. "B", "circuit B", "circuit:2", "" with the kind of the thing spoken of.

    kind: the kind of place the finding or quantity belongs to. Raises PlaceError.
    """
    text = text.strip()
    if kind in SINGLE:
        return kind
    match = _FORM.match(text.lower()) if text else None
    said_kind, said_id = (match["kind"], text[match.start("id") :].strip()) if match else ("", text)
    if text.lower() in ("unit", "loop", "supply", "all", "both"):
        said_kind, said_id = "unit", ""
    if said_kind and said_kind not in _KINDS and said_kind != "loop":
        raise PlaceError(
            "unknown place",
            given=text,
            allowed="unit, supply, circuit:A, compressor:A1, fan:1, pump:onboard, pump:site",
            do="correct the place",
        )
    if kind == "pump":
        if said_kind in ("pump", "") and said_id.lower() in ("onboard", "site"):
            return f"pump:{said_id.lower()}"
        if said_kind == "pump" and said_id:
            raise PlaceError("unknown pump", given=text, allowed="pump:onboard, pump:site", do="correct the place")
        return f"pump:{topology.main_pump}"
    circuit = ""
    if said_kind == "circuit" or (said_kind == "" and said_id and said_id.lower() not in ("pump", "onboard", "site")):
        circuit = _circuit_id(said_id, topology, text)
    if said_kind in ("compressor", "fan"):
        owner = _owner(said_id, said_kind, topology)
        if kind == said_kind:
            return f"{kind}:{owner}{said_id}" if owner and not said_id.startswith(owner) else f"{kind}:{said_id}"
        circuit = owner
    if kind == "circuit":
        return f"circuit:{circuit or _default_circuit(topology, spoken_circuits)}"
    if kind in ("compressor", "fan"):
        if said_kind == "" and re.fullmatch(r"[A-Za-z]\d{1,2}", said_id):
            return f"{kind}:{said_id.upper()}"
        return f"{kind}:{circuit or _default_circuit(topology, spoken_circuits)}?"
    return text or kind


def _circuit_id(said: str, topology: Topology, text: str) -> str:
    for one in topology.circuits:
        if said.lower() == one.lower():
            return one
    if topology.circuits:
        if said.isdigit() and 1 <= int(said) <= len(topology.circuits):
            return topology.circuits[int(said) - 1]
        if len(said) == 1 and said.isalpha() and all(c.isdigit() for c in topology.circuits):
            number = ord(said.upper()) - ord("A")
            if number < len(topology.circuits):
                return topology.circuits[number]
        if said in ("?", "*"):
            return said
        raise PlaceError(
            "this machine has no such circuit",
            given=text,
            allowed=", ".join(f"circuit:{c}" for c in topology.circuits),
            do="correct the place or the machine card",
        )
    return "ABCDEFGHIJKL"[int(said) - 1] if said.isdigit() and 1 <= int(said) <= MOST_CIRCUITS else said.upper()


def _owner(said: str, kind: str, topology: Topology) -> str:
    table = topology.compressors if kind == "compressor" else topology.fans
    for circuit, ids in table.items():
        if said in ids or said.upper() in ids:
            return circuit
    if said[:1].isalpha():
        return next((c for c in topology.circuits if c.lower() == said[0].lower()), said[0].upper())
    return topology.circuits[0] if len(topology.circuits) == 1 else ""


def _default_circuit(topology: Topology, spoken: Iterable[str]) -> str:
    spoken = sorted(set(spoken))
    if len(topology.circuits) == 1:
        return topology.circuits[0]
    if len(spoken) == 1:
        return spoken[0]
    return "?" if topology.circuits else "A"


def circuit_of(place_id: str) -> str:
    """The circuit a place id belongs to, "" for unit-wide places."""
    kind, _, name = place_id.partition(":")
    if kind == "circuit":
        return name
    if kind in ("compressor", "fan"):
        return name[0] if name and (name[0].isalpha() or name[0] in "?*") else ""
    return ""


def places_for(topology: Topology, spoken: Iterable[str]) -> dict[str, Place]:
    """All places the reasoning needs: the spoken ones, and one folded place for the rest of each kind."""
    spoken = sorted(set(spoken))
    places = {"unit": Place("unit", "unit"), "supply": Place("supply", "supply")}
    for pump in dict.fromkeys((topology.main_pump, *(p.split(":")[1] for p in spoken if p.startswith("pump:")))):
        places[f"pump:{pump}"] = Place("pump", f"pump:{pump}")
    named = list(dict.fromkeys(c for p in spoken if (c := circuit_of(p))))
    known = len(topology.circuits) or max(1, len(named))
    rest = known - len(named)
    for name in named:
        places[f"circuit:{name}"] = Place("circuit", f"circuit:{name}", name)
    if rest > 0:
        name = topology.circuits[0] if known == 1 and topology.circuits else ("A" if known == 1 else "*")
        places[f"circuit:{name}"] = Place("circuit", f"circuit:{name}", name, rest, folded=known > 1)
    for circuit in [p for p in places.values() if p.kind == "circuit"]:
        for kind, table in (("compressor", topology.compressors), ("fan", topology.fans)):
            own = [p for p in spoken if p.startswith(f"{kind}:") and circuit_of(p) == circuit.circuit]
            for one in own:
                places[one] = Place(kind, one, circuit.circuit)
            left = max(1, len(table.get(circuit.circuit, ())) or 1) - len([p for p in own if not p.endswith("?")])
            if left > 0 and f"{kind}:{circuit.circuit}?" not in places:
                places[f"{kind}:{circuit.circuit}?"] = Place(
                    kind, f"{kind}:{circuit.circuit}?", circuit.circuit, left * circuit.count, folded=True
                )
    for one in spoken:
        if one not in places:
            kind = one.split(":")[0]
            if kind in ("compressor", "fan"):
                places[one] = Place(kind, one, circuit_of(one))
    return places


def spell(place_id: str) -> str:
    """A place as people say it."""
    kind, _, name = place_id.partition(":")
    if kind in SINGLE or not name:
        return kind
    if kind == "pump":
        return f"{name} pump"
    if kind in ("compressor", "fan") and name.endswith("?"):
        return f"{kind} in circuit {shorten(name[0])}" if name[0] not in "?*" else kind
    if name in "?*":
        return "circuit"
    return f"{kind} {name}"
