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
MOST_FANS = 96


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

    @property
    def said(self) -> str:
        """The id, or only the kind where nobody has said which one it is."""
        return self.kind if self.folded else self.id

    def touches(self, other: Place) -> bool:
        """Whether a cause here can show there: one is part of the other, or one of them belongs to the whole unit."""
        if self.kind == other.kind:
            return self.id == other.id
        return not self.circuit or not other.circuit or self.circuit == other.circuit


FEW_COMPRESSORS = 4  # of more than these one alone takes only a small share of the whole machine's duty


@dataclass(frozen=True, slots=True)
class Topology:
    """circuits: ids in order, empty when nobody told how many. compressors, fans: circuit -> ids, empty where not told.

    fan_count: fans of the whole machine, 0 = not told.
    """

    circuits: tuple[str, ...]
    compressors: dict[str, tuple[str, ...]]
    fans: dict[str, tuple[str, ...]]
    pumps: tuple[str, ...]
    main_pump: str
    fan_count: int = 0

    @property
    def several(self) -> bool:
        """More than one circuit, as far as is known."""
        return len(self.circuits) > 1

    @property
    def facts(self) -> dict[str, str]:
        """What is known of the parts, as facts a card may ask for; what nobody told is left out, except `several-circuits`."""
        made = {"several-circuits": "yes" if self.several else "no"}
        if self.circuits:
            made["circuits"] = "several" if self.several else "one"
        each = [len(names) for names in self.compressors.values() if names]
        made["compressors"], made["twins"] = "unknown", "unknown"
        if each:
            made["tandem"] = "yes" if max(each) > 1 else "no"
            made["twins"] = "none" if max(each) == 1 else "one" if max(each) == 2 else "more"
            made["compressors"] = "one" if sum(each) == 1 else "few" if sum(each) <= FEW_COMPRESSORS else "many"
        return made


def _letters(count: int) -> tuple[str, ...]:
    return tuple("ABCDEFGHIJKL"[:count])


def _pumps(machine: Machine) -> tuple[tuple[str, ...], str]:
    """Pumps of the machine and the one in use."""
    pumps = machine.pumps or (("site",) if machine.pump_in_use == "site" else ("onboard",))
    main = machine.pump_in_use or pumps[0]
    if main not in pumps:
        raise PlaceError(
            "pump in use is not one of the pumps", given=main, allowed=", ".join(pumps), do="correct one of the two"
        )
    return tuple(dict.fromkeys(pumps)), main


def _once(kind: str, table: dict[str, tuple[str, ...]], told: int | None) -> None:
    """Each compressor or fan is listed once, and as many as the count says."""
    listed = [one for ids in table.values() for one in ids]
    twice = next((one for one in listed if listed.count(one) > 1), None)
    if twice is not None:
        raise PlaceError(
            f"{kind} listed twice", given=twice, allowed="each id once", do="name them by circuit, e.g. A1, B1"
        )
    if told is not None and listed and told != len(listed):
        raise PlaceError(
            f"{kind} count",
            given=told,
            allowed=f"{len(listed)}, as listed under circuits",
            do="correct one of the two",
        )


def _within(what: str, given: int | None, most: int) -> None:
    if given is not None and not 1 <= given <= most:
        raise PlaceError(what, given=given, allowed=f"1 to {most}", do="correct the machine card")


def topology_of(machine: Machine) -> Topology:
    """Circuits, compressors, fans and pumps of a machine card; raises PlaceError on counts that contradict each other."""
    pumps, main = _pumps(machine)
    _within("number of compressors", machine.compressors, 48)
    _within("number of fans", machine.fans, MOST_FANS)
    if isinstance(machine.circuits, dict):
        ids = tuple(machine.circuits)
        for one in ids:
            if not re.fullmatch(r"[A-Za-z0-9]{1,8}", one):
                raise PlaceError(
                    "circuit id", given=one, allowed="letters or digits, e.g. A or 1", do="rename the circuit"
                )
            if [c.lower() for c in ids].count(one.lower()) > 1:
                raise PlaceError("circuit given twice", given=one, allowed="each id once", do="rename the circuit")
        compressors = {c: t.compressors for c, t in machine.circuits.items()}
        fans = {c: t.fans for c, t in machine.circuits.items()}
        _once("compressor", compressors, machine.compressors)
        _once("fan", fans, machine.fans)
        fan_count = machine.fans or sum(len(v) for v in fans.values())
        return Topology(ids, compressors, fans, pumps, main, fan_count)
    _within("number of circuits", machine.circuits, MOST_CIRCUITS)
    count = machine.circuits or 0
    if machine.compressors is not None and machine.compressors < count:
        raise PlaceError(
            "fewer compressors than circuits",
            given=f"{machine.compressors} compressors, {count} circuits",
            allowed="at least one compressor a circuit",
            do="correct the machine card",
        )
    ids = _letters(count)
    each, over = divmod(machine.compressors or 0, count) if count else (0, 0)
    # an odd one out may sit in any circuit: then nobody knows the ids
    compressors = {c: tuple(f"{c}{n + 1}" for n in range(0 if over else each)) for c in ids}
    return Topology(ids, compressors, {}, pumps, main, machine.fans or 0)


ALL_CIRCUITS = "circuit:*"  # an answer given for all alike, and the folded place of those nobody spoke of
_FORM = re.compile(r"^(?P<kind>[a-z][a-z -]*?)\s*[: ]\s*(?P<id>[A-Za-z0-9?*-]{1,12})$")
_NO_ID = ("unit", "loop", "all", "both", "supply", "circuit", "compressor", "fan", "pump")
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
    if text.lower() in _NO_ID:
        said_kind, said_id = "unit", ""
    if said_kind and said_kind not in _KINDS and said_kind != "loop":
        raise PlaceError(
            "unknown place",
            given=text,
            allowed="unit, supply, circuit:A, compressor:A1, fan:1, pump:onboard, pump:site",
            do="correct the place",
        )
    if not said_kind and _is_part(said_id, topology):
        said_kind = "fan" if kind == "fan" else "compressor"
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
        said_id = _spelt(said_id, said_kind, topology)
        owner = _owner(said_id, said_kind, topology)
        if kind == said_kind:
            return f"{kind}:{owner}{said_id}" if owner and not said_id.startswith(owner) else f"{kind}:{said_id}"
        circuit = owner
    if kind == "circuit":
        return f"circuit:{circuit or _default_circuit(topology, spoken_circuits)}"
    if kind in ("compressor", "fan"):
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
    if said.isdigit() and 1 <= int(said) <= MOST_CIRCUITS:
        return "ABCDEFGHIJKL"[int(said) - 1]
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9]{0,7}|[?*]", said):
        raise PlaceError(
            "unknown circuit", given=text, allowed="circuit:A, circuit:B ... or 1 to 12", do="correct the place"
        )
    return said.upper()


def _spelt(said: str, kind: str, topology: Topology) -> str:
    """The id as the machine card writes it, "A1" for "a1"."""
    table = topology.compressors if kind == "compressor" else topology.fans
    listed = (one for ids in table.values() for one in ids)
    same = next((one for one in listed if one.lower() == said.lower()), "")
    return same or (said.upper() if re.fullmatch(r"[a-z]\d{1,2}", said) else said)


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


_OTHER_SIDE = {
    "circuit": ("pump",),
    "compressor": ("pump", "fan"),
    "fan": ("pump", "compressor"),
    "pump": ("circuit", "compressor", "fan"),
}


def check_place(text: str, kind: str, topology: Topology) -> None:
    """Refuse a place this machine does not have, or one where a thing of ``kind`` cannot be; raises PlaceError.

    kind: kind of place of the check, finding or quantity, "any" where the place itself tells. `normalise` stays lenient
    for the reasoning; what people wrote is judged here.
    """
    text = text.strip()
    match = _FORM.match(text.lower()) if text else None
    said, name = (match["kind"], text[match.start("id") :].strip()) if match else ("", text)
    if not text or text.lower() in (*_NO_ID, "onboard", "site"):
        return
    if said in ("instrument", "chiller"):
        return
    if (
        said in ("unit", "loop")
        or said
        and said not in _KINDS
        or not said
        and not re.fullmatch(r"[A-Za-z0-9?*]{1,8}", name)
    ):
        raise PlaceError(
            "unknown place",
            given=text,
            allowed="unit, supply, circuit:A, compressor:A1, fan:1, pump:onboard, pump:site",
            do="correct the place",
        )
    if said in _OTHER_SIDE.get(kind, ()):
        raise PlaceError(
            f"this belongs to a {kind}", given=text, allowed=f"a {kind}, e.g. {_EXAMPLE[kind]}", do="correct the place"
        )
    if said == "supply" and name.upper() not in ("L1", "L2", "L3"):
        raise PlaceError(
            "unknown leg of the supply",
            given=text,
            allowed="supply, supply:L1, supply:L2, supply:L3",
            do="correct the place",
        )
    if said == "pump" and name.lower() not in ("onboard", "site"):
        raise PlaceError("unknown pump", given=text, allowed="pump:onboard, pump:site", do="correct the place")
    if said == "circuit":
        _circuit_id(name, topology, text)
    if said in ("compressor", "fan"):
        _part(said, name, topology, text)
    if not said:
        _bare(name, topology, text)


_EXAMPLE = {"circuit": "circuit:A", "compressor": "compressor:A1", "fan": "fan:1", "pump": "pump:onboard"}


def _part(kind: str, name: str, topology: Topology, text: str) -> None:
    """A compressor or fan id: "A1", "1", "A?" where only the circuit is known, "?"."""
    table = topology.compressors if kind == "compressor" else topology.fans
    listed = [one for ids in table.values() for one in ids]
    count = len(listed) if kind == "compressor" else topology.fan_count
    circuit = next((c for c in topology.circuits if name.lower().startswith(c.lower()) and len(name) > len(c)), "")
    short = name[len(circuit) :]
    known = {one.lower() for one in listed}
    if name in ("?", "*") or circuit and short in ("?", "*") or {name.lower(), short.lower()} & known:
        return
    number = short if circuit or not topology.circuits else name
    plain = re.fullmatch(r"[A-Za-z]?(\d{1,2}|[?*])" if not topology.circuits else r"\d{1,2}", number)
    if (
        plain
        and not (circuit and known and table.get(circuit))
        and not (count and number.isdigit() and int(number) > count)
    ):
        return
    allowed = ", ".join(f"{kind}:{one}" for one in listed[:12]) or (
        f"{kind}:1 to {kind}:{count}" if count else f"{kind}:A1, {kind}:1"
    )
    raise PlaceError(
        f"this machine has no such {kind}", given=text, allowed=allowed, do="correct the place or the card"
    )


def _bare(name: str, topology: Topology, text: str) -> None:
    """An id without its kind: a circuit, or a compressor such as "A1"."""
    if _is_part(name, topology):
        _part("compressor", name, topology, text)
        return
    if len(name) > 1 and not name.isdigit() and not topology.circuits:
        raise PlaceError("unknown place", given=text, allowed="circuit:A, compressor:A1, fan:1", do="correct the place")
    _circuit_id(name, topology, text)


def _is_part(name: str, topology: Topology) -> bool:
    """Whether an id without its kind is that of a compressor or fan ("A1"), not of a circuit."""
    return bool(re.fullmatch(r"[A-Za-z]\d{1,2}", name)) and name.lower() not in [c.lower() for c in topology.circuits]


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
