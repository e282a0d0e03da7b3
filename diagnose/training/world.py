"""What is really there: a simulated machine with its faults, and the answer that every look at it would give.

Numbers come from the simulated machine, through instruments that may lie. Words come from it too where it knows them: by the bands of
the base applied to true values, and from its lamps and alarms. What it cannot know (smells, stories, what is seen in an opened
part, causes that it does not make) follows the cause's card: what a cause usually shows it shows here, what it shows only at times is drawn by the
seed. So the same seed gives the same answers in every order of asking.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from diagnose.case import Case, Entry, Machine
from diagnose.demo import fleet
from diagnose.looks import read_place
from diagnose.machine import MachineData, read_machine
from diagnose.network import Array, Key, Network, network_for
from diagnose.places import Place, Topology, circuit_of, places_for, spell, topology_of
from diagnose.plant.conditions import RATING, Conditions
from diagnose.plant.faults import EFFECTS, Fault, apply_faults, places
from diagnose.plant.health import Health, Lie
from diagnose.plant.instruments import KINDS, Taken
from diagnose.plant.parameters import Plant
from diagnose.plant.scatter import scattered
from diagnose.plant.simulate import simulate_health
from diagnose.plant.sizing import plant_of
from diagnose.plant.snapshot import Snapshot
from diagnose.readings import width
from diagnose.training.face import denied, effect_words, face_words
from diagnose.work import Work, prepare
from knowledge.load import Knowledge
from knowledge.models import Check
from knowledge.scenarios import Scenario, ScenarioFault
from shared.quantities import QUANTITIES
from shared.units import SHOWN, parse, show, to_unit

MACHINES_DIFFER = 0.05  # parts of one build against its card, for training; evaluation takes twice that
SECOND_INSTRUMENT = 7919  # added to the seed: another instrument of the same kind errs otherwise
RUNS = ("cooling", "pump-only")
DARK = "the screen is dark"


@dataclass(frozen=True)
class Told:
    """What a look gave. entries: for the case. text: as shown. true: what an honest answer would have been. note: why nothing came."""

    entries: tuple[Entry, ...]
    text: str
    true: str = ""
    honest: bool = True
    note: str = ""


@dataclass(frozen=True)
class Present:
    """A fault that is still there, at its place."""

    number: int
    cause: str
    place: str


def machine_of(scenario: Scenario) -> Machine:
    """The machine card: of the invented fleet, with the scenario's changes, or its own. Raises KeyError, ValidationError."""
    card: dict[str, Any] = (
        dict(fleet()[scenario.machine]) if isinstance(scenario.machine, str) else dict(scenario.machine)
    )
    return Machine.model_validate({**card, **scenario.changes})


def opening_case(scenario: Scenario) -> Case:
    """The call as it comes in: complaint, words, person and machine, nothing looked at yet."""
    return Case(
        id=scenario.id,
        complaint=scenario.complaint,
        words=scenario.words,
        role=scenario.role,
        qualified=scenario.qualified,
        machine=machine_of(scenario),
        context=scenario.context,
    )


@dataclass
class World:
    """A scenario at a seed. mended: numbers of the faults, and instruments, that were put right meanwhile."""

    scenario: Scenario
    knowledge: Knowledge
    seed: int
    mended: frozenset[str] = frozenset()
    machine: Machine = field(init=False)
    data: MachineData = field(init=False)
    plant: Plant = field(init=False)
    topology: Topology = field(init=False)
    words: dict[Key, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.machine = machine_of(self.scenario)
        self.data = read_machine(self.machine)
        self.plant = scattered(plant_of(self.machine), self.seed, MACHINES_DIFFER)
        self.topology = topology_of(self.machine)

    # what is wrong ----------------------------------------------------------------------------------------------------

    @cached_property
    def present(self) -> tuple[Present, ...]:
        """Faults still there, each with its place."""
        out = []
        for number, fault in enumerate(self.scenario.faults):
            if f"fault:{number}" not in self.mended:
                out.append(Present(number, fault.cause, self.place_of_fault(fault)))
        return tuple(out)

    def place_of_fault(self, fault: ScenarioFault) -> str:
        """Place of a fault: as the card says, else the first of its kind."""
        kind = self.knowledge.causes[fault.cause].place
        if fault.place:
            return fault.place
        own = [p.id for p in self.places.values() if p.kind == kind]
        return own[0] if own else kind

    @property
    def lying(self) -> tuple[str, ...]:
        """Instruments that still lie, as they are named among suspects."""
        return tuple(
            f"instrument:{lie.instrument}" for lie in self.scenario.lies if f"lie:{lie.instrument}" not in self.mended
        )

    @cached_property
    def health(self) -> Health:
        """Health of the simulated machine with the faults that it can make."""
        made = []
        for one in self.present:
            fault = self.scenario.faults[one.number]
            cause = fault.acts_as or fault.cause
            if cause in EFFECTS:
                kind = EFFECTS[cause].place
                same = kind == self.knowledge.causes[fault.cause].place
                place = one.place if same and ":" in one.place else ""
                made.append(Fault(cause, fault.severity, place if place in places(self.plant, kind) else ""))
        return apply_faults(self.plant, made)

    @property
    def scripted(self) -> tuple[Present, ...]:
        """Faults whose readings nothing moves: only their card answers for them."""
        return tuple(p for p in self.present if (self.scenario.faults[p.number].acts_as or p.cause) not in EFFECTS)

    @cached_property
    def conditions(self) -> Conditions:
        """The day in SI."""
        day = self.scenario.conditions
        set_point = self.plant.control.set_point_k
        entering = _si(day.entering, "entering_fluid") if day.entering else set_point + RATING.entering_k - 279.82
        return Conditions(
            air_k=_si(day.air, "weather_air"),
            entering_k=entering,
            hold="load" if day.load_percent is not None else "entering",
            load_share=(day.load_percent or 100.0) / 100.0,
            wanted=day.wanted,
            board_volts=_si(day.volts, "line_voltage") if day.volts else None,
            hertz=_si(day.hertz, "frequency") if day.hertz else None,
            minutes=day.minutes,
            stages=day.stages,
        )

    def _lies(self) -> tuple[Lie, ...]:
        out = []
        for one in self.scenario.lies:
            if f"lie:{one.instrument}" in self.mended:
                continue
            card = self.knowledge.instruments[one.instrument]
            lie = next(x for x in card.lies if x.mode == one.mode)
            sign = -1.0 if lie.bias.strip().startswith("-") else 1.0
            text = lie.bias.strip().lstrip("-")
            for name in (one.quantity,) if one.quantity else card.quantities:
                kind = QUANTITIES[name].kind
                if text.endswith("%"):
                    out.append(Lie(name, one.place, gain=1.0 + sign * width(text, kind, 1.0)))
                else:
                    out.append(Lie(name, one.place, offset=sign * width(text, kind, 1.0)))
        return tuple(out)

    @cached_property
    def shot(self) -> Snapshot:
        """The machine as it is found, through the instruments in use."""
        instruments = replace(self.health.instruments, lies=(*self._lies(), *self.health.instruments.lies))
        return simulate_health(self.plant, self.conditions, replace(self.health, instruments=instruments), self.seed)

    @cached_property
    def honest(self) -> Snapshot:
        """The same through other, honest instruments."""
        sound = replace(self.health.instruments, lies=())
        return simulate_health(
            self.plant, self.conditions, replace(self.health, instruments=sound), self.seed + SECOND_INSTRUMENT
        )

    # places and the network -------------------------------------------------------------------------------------------

    @cached_property
    def places(self) -> dict[str, Place]:
        """Every place of the machine, none folded where the card names its parts."""
        spoken = [f"circuit:{c.id}" for c in self.plant.circuits]
        for circuit in self.plant.circuits:
            spoken += [f"compressor:{c}" for c in circuit.compressors]
            spoken += [f"fan:{f}" for f in self.topology.fans.get(circuit.id, ())]
        spoken += [f"pump:{p}" for p in self.topology.pumps]
        return places_for(self.topology, spoken)

    @cached_property
    def work(self) -> Work:
        """The call as it came in, prepared: machine facts for the network."""
        return prepare(opening_case(self.scenario), self.knowledge, rules=False)

    @cached_property
    def network(self) -> Network:
        """The network of this machine."""
        return network_for(self.knowledge, self.places, self.scenario.context, self.work.facts)

    def _instances(self, those: Iterable[Present]) -> list[int]:
        found = []
        for one in those:
            for number, instance in enumerate(self.network.instances, 1):
                if instance.cause == one.cause and one.place in (instance.place.id, "", instance.place.kind):
                    found.append(number)
                    break
        return found

    # words ------------------------------------------------------------------------------------------------------------

    @cached_property
    def graded(self) -> dict[Key, str]:
        """Findings that numbers decide, as the bands of the base put true values into words."""
        return self.grade(self.shot, true=True)

    def grade(self, shot: Snapshot, *, true: bool) -> dict[Key, str]:
        entries = [*self._entries(shot, RUNS, true), *self._entries(shot, ("standing", "powered"), true)]
        case = opening_case(self.scenario).model_copy(update={"entries": tuple(entries), "words": ""})
        evidence = prepare(case, self.knowledge, rules=False).graded.evidence
        out = {}
        for key, one in evidence.items():
            finding = self.knowledge.findings[key[0]]
            scale = finding.ordered or finding.words
            out[key] = scale[int(np.argmax(one.likelihood))]
        return out

    def _entries(self, shot: Snapshot, names: Sequence[str], true: bool) -> list[Entry]:
        state = next((n for n in names if n in shot.readings), "")
        entries = []
        for (quantity, place), taken in shot.readings.get(state, {}).items():
            value = taken.true if true else taken.shown
            values = value if isinstance(value, tuple) else (value,)
            low, high = QUANTITIES[quantity].low, QUANTITIES[quantity].high
            if any(not low <= v <= high for v in values) or place not in self.places:
                continue
            texts = tuple(_exact(v, quantity) for v in values)
            entries.append(
                Entry.model_validate(
                    {
                        "quantity": quantity,
                        "value": texts if len(texts) > 1 else texts[0],
                        "place": place if ":" in place else "",
                        "state": state,
                        "steadiness": "steady" if state in RUNS else None,
                    }
                )
            )
        return entries

    @cached_property
    def missing(self) -> tuple[str, ...]:
        """Compressors that are called and do not come: whoever stands there sees which."""
        dead = [k for k, b in self.health.supply.branches.items() if b.dead or b.earth or b.locked]
        if any(self.knowledge.causes[p.cause].kind == "fault" for p in self.present):
            dead += [f"compressor:{name}" for name in self.health.control.resting]
        return tuple(dict.fromkeys(k for k in dead if k.startswith("compressor:")))

    @cached_property
    def _faces(self) -> dict[Key, str]:
        return face_words(self.shot, [c.id for c in self.plant.circuits], self.health.control.monitor, self.missing)

    @cached_property
    def _effects(self) -> dict[Key, str]:
        return effect_words(self.shot, self.graded, self.health.supply.reversed, self.health.loop.pump_reversed)

    def word(self, finding: str, place: str) -> str:
        """The true word of a finding at a place."""
        return self._word((finding, place))

    def _word(self, key: Key) -> str:
        found = self.words.get(key)
        if found is None:
            found = self.words[key] = self._seen(key) or self._by_card(key)
        return found

    def _seen(self, key: Key) -> str:
        """The machine's own word; "" where it does not know, or is healthy while a scripted cause speaks for itself."""
        known = (self._effects if key[0].startswith("effect:") else {**self.graded, **self._faces}).get(key, "")
        if not known or key[1] not in self.places:
            return ""
        node = self.network.node(key)
        if known not in node.words:
            return ""
        touched = any(node.local[i] for i in self._instances(self.scripted))
        return "" if known == node.words[node.zero] and touched else known

    def _by_card(self, key: Key) -> str:
        shows = next((s for s in self._given_away() if s[0] == key[0] and s[1] in (key[1], "")), None)
        if shows is not None:
            return shows[2]
        node = self.network.node(key)
        above = 0
        if node.parent is not None:
            above = self.network.node(node.parent).words.index(self._word(node.parent))
        # where the machine made the effects above, they already hold what its own faults do to them
        those = self.scripted if key[0].startswith("effect:") and key in self._effects else self.present
        pulls: Array = np.ones((1, node.width))
        for number in self._instances(those):
            pulls = pulls * node.contributions[node.local[number]]
        p = node.chances(pulls, node.from_parent[[above]])[0, 0].copy()
        impossible = denied(key[0], key[1], self.shot)
        if impossible in node.words:
            p[node.words.index(impossible)] = 0.0
            p /= p.sum()
        top = int(np.argmax(p))
        if p[top] >= self.knowledge.words.strength["usually"]:
            return node.words[top]
        rng = random.Random(f"{self.seed}:{key[0]}:{key[1]}")
        return rng.choices(node.words, [float(x) for x in p])[0]

    def _given_away(self) -> list[tuple[str, str, str]]:
        """(finding, place, word) by which an instrument that lies is found out."""
        out = []
        for one in self.scenario.lies:
            if f"lie:{one.instrument}" not in self.mended:
                card = self.knowledge.instruments[one.instrument]
                shows = {**card.shows, **next((lie.shows for lie in card.lies if lie.mode == one.mode), {})}
                out += [
                    (f, one.place if self.knowledge.findings[f].place == "circuit" else "", w) for f, w in shows.items()
                ]
        return out

    # looks ------------------------------------------------------------------------------------------------------------

    def places_for_check(self, check: Check) -> tuple[str, ...]:
        """Places where this look can be done."""
        return tuple(p.id for p in self.places.values() if p.kind == check.place)

    def usual_place(self, kind: str) -> str:
        """Where somebody would look first: where the machine itself names trouble, else the first of its kind."""
        own = [p.id for p in self.places.values() if p.kind == kind]
        named = [*self.missing, *(t.place for t in self.shot.trips)] + [
            f"circuit:{c}" for t in self.shot.trips if (c := circuit_of(t.place))
        ]
        for place in named:
            if place in own:
                return place
            inside = next((p for p in own if circuit_of(p) and circuit_of(p) == circuit_of(place)), "")
            if inside:
                return inside
        return own[0] if own else kind

    def look(self, check: Check, place: str = "") -> Told:
        """What the look gives: the author's own answer, readings or a word, or why nothing can be told."""
        where = place if place in self.places else self.usual_place(check.place)
        given = self.scenario.answers.get(f"{check.id}@{where}") or self.scenario.answers.get(check.id)
        if given is not None and given.readings:
            return self._authors_readings(check, where)
        told = self._readings(check, where) if check.reads else self._answer(check, where)
        if given is None or given.answer is None:
            return told
        entry = self._entry(check, where, given.answer).model_copy(update={"sure": given.sure})
        text = given.says or self._text_of(check, given.answer)
        return Told((entry,), text, told.text, given.honest)

    def _entry(self, check: Check, where: str, answer: str) -> Entry:
        return Entry.model_validate(
            {
                "check": check.id,
                "answer": answer,
                "place": where if ":" in where else "",
                "sure": check.usually if answer != "cannot-tell" else "sure",
                "who": "saw" if self.scenario.role == "technician" else "customer-says",
            }
        )

    def _text_of(self, check: Check, answer: str) -> str:
        return "Cannot tell." if answer == "cannot-tell" else check.answers[answer].text

    def _nothing(self, check: Check, where: str, why: str) -> Told:
        return Told((self._entry(check, where, "cannot-tell"),), f"Cannot tell: {why}.", note=why)

    def _lit(self) -> bool:
        return self.shot.lamps.get("screen") == "on"

    def table_for(self, check: Check) -> str:
        """The state in which the look finds the machine; "" when it cannot be brought into the one it needs."""
        have = self.shot.readings
        need = check.state
        if need in ("cooling", "steady"):
            return "cooling" if "cooling" in have else ""
        if need == "pump-on":
            return next((n for n in RUNS if n in have), "")
        if need == "pump-only":
            return "pump-only" if "pump-only" in have else ""
        if need in ("standing", "isolated"):
            return "standing" if "standing" in have else self.shot.state
        # anything else is looked at as far as the machine gets before it stops
        return next((n for n in (*RUNS, "powered", "standing") if n in have), self.shot.state)

    def _answer(self, check: Check, where: str) -> Told:
        if not self.table_for(check):
            return self._nothing(
                check, where, f"this needs the machine {_wanted(check.state)}, and it does not get that far"
            )
        if check.id in ("alarm-list-read", "screen-status-read") and not self._lit():
            told = self._nothing(check, where, DARK)
            seen = Entry(check="screen-look", answer="dark", who=told.entries[0].who)  # nobody keeps that back
            return replace(told, entries=(*told.entries, seen))
        finding = self.knowledge.findings[check.finding or ""]
        near = self.places.get(where, self.places["unit"])
        at = where if near.kind == finding.place else self.network.place_for(finding.place, near)
        true = self.word(finding.id, at or where)
        meant = {a: card.word or a for a, card in check.answers.items()}
        right = [a for a, w in meant.items() if w == true]
        if not right:
            return self._nothing(check, where, "none of the possible answers fits what is there")
        answer = right[0] if len(right) == 1 else random.Random(f"{self.seed}:{check.id}:{where}").choice(right)
        text = self._text_of(check, answer)
        return Told((self._entry(check, where, answer),), text, text)

    def _readings(self, check: Check, where: str) -> Told:
        state = self.table_for(check)
        if not state:
            return self._nothing(
                check, where, f"this needs the machine {_wanted(check.state)}, and it does not get that far"
            )
        shot = self.honest if check.again else self.shot
        table, true = shot.readings.get(state, {}), self.honest.readings.get(state, {})
        entries, shown, honest = [], [], []
        lies = (
            {(x.quantity, x.place) for x in (*self._lies(), *self.health.instruments.lies)}
            if not check.again
            else set()
        )
        lied = False
        for quantity in check.reads:
            place = read_place(quantity, where, self.network)
            taken = table.get((quantity, place))
            if taken is None or (quantity == "set_point" and not self._lit()):
                continue
            entries.append(self._reading(check, taken, state, place))
            title = QUANTITIES[quantity].title
            shown.append(f"{title} {self._shown(taken.shown, quantity)}")
            sound = true.get((quantity, place), taken)
            honest.append(f"{title} {self._shown(sound.true, quantity)}")
            lied = lied or bool({(quantity, place), (quantity, "")} & lies)
        if not entries:
            return self._nothing(check, where, "there is nothing to read it on")
        done = self._entry(check, where, "cannot-tell").model_copy(update={"note": "answered by readings"})
        at = f"{spell(where)}: " if ":" in where else ""
        return Told((*entries, done), at + "; ".join(shown), at + "; ".join(honest), not lied)

    def _reading(self, check: Check, taken: Taken, state: str, place: str) -> Entry:
        values = taken.shown if isinstance(taken.shown, tuple) else (taken.shown,)
        texts = tuple(self._value(v, taken.quantity) for v in values)
        circuit = circuit_of(place)
        tripped = any(t.place in (place, "unit") or circuit and circuit_of(t.place) == circuit for t in self.shot.trips)
        steady = self.shot.steadiness if self.shot.state == "cooling" and state == "cooling" and not tripped else None
        return Entry.model_validate(
            {
                "quantity": taken.quantity,
                "value": texts if len(texts) > 1 else texts[0],
                "place": place if ":" in place else "",
                "state": state,
                "steadiness": steady,
                "instrument": (check.instrument or f"second, for {check.id}") if check.again else "",
                "who": "saw" if self.scenario.role == "technician" else "customer-says",
            }
        )

    def _authors_readings(self, check: Check, where: str) -> Told:
        given = self.scenario.answers.get(f"{check.id}@{where}") or self.scenario.answers[check.id]
        state = self.table_for(check) or self.shot.state
        entries = []
        for quantity, text in given.readings.items():
            place = read_place(quantity, where, self.network)
            parts = tuple(p.strip() for p in text.split("/"))
            entries.append(
                Entry.model_validate(
                    {
                        "quantity": quantity,
                        "value": parts if len(parts) > 1 else parts[0],
                        "place": place if ":" in place else "",
                        "state": state,
                        "sure": given.sure,
                        "who": "saw" if self.scenario.role == "technician" else "customer-says",
                    }
                )
            )
        done = self._entry(check, where, "cannot-tell").model_copy(update={"note": "answered by readings"})
        said = given.says or "; ".join(f"{QUANTITIES[q].title} {t}" for q, t in given.readings.items())
        true = self._readings(check, where).true
        return Told((*entries, done), said, true or said, given.honest)

    def _value(self, si: float, quantity: str) -> str:
        kind = QUANTITIES[quantity].kind
        unit = SHOWN[kind][1 if self.data.metric else 0]
        step = KINDS[quantity].quantum if quantity in KINDS else 0.0
        digits = 0 if step and abs(to_unit(si + step, kind, unit) - to_unit(si, kind, unit)) >= 0.95 else 1
        value = to_unit(si, kind, unit)
        if abs(value) < 10 and digits == 1:
            digits = 2
        return f"{value:.{digits}f} {unit}"

    def _shown(self, value: float | tuple[float, ...], quantity: str) -> str:
        kind = QUANTITIES[quantity].kind
        values = value if isinstance(value, tuple) else (value,)
        return " / ".join(show(v, kind, self.data.metric) for v in values)

    # remedies ---------------------------------------------------------------------------------------------------------

    def mends(self, remedy: str, place: str = "") -> frozenset[str]:
        """Marks of the faults and instruments that a remedy puts right here."""
        out = set()
        for one in self.present:
            card = self.knowledge.causes[one.cause]
            if card.remedy.id == remedy and place in ("", one.place, card.place):
                out.add(f"fault:{one.number}")
        for lie in self.scenario.lies:
            if remedy == f"instrument:{lie.instrument}":
                out.add(f"lie:{lie.instrument}")
        return frozenset(out - self.mended)

    def after(self, marks: Iterable[str]) -> World:
        """The same machine with these put right."""
        return World(self.scenario, self.knowledge, self.seed, self.mended | frozenset(marks))

    @property
    def sound(self) -> bool:
        """Whether nothing that was wrong is left: no fault, no lying instrument."""
        faults = [p for p in self.present if self.knowledge.causes[p.cause].kind == "fault"]
        return not faults and not self.lying


def _wanted(state: str) -> str:
    return {"steady": "cooling steadily", "cooling": "cooling", "pump-on": "with its pump running"}.get(
        state, "with only its pump running"
    )


def _si(text: str, quantity: str) -> float:
    return parse(text, QUANTITIES[quantity].kind).value


def _exact(si: float, quantity: str) -> str:
    kind = QUANTITIES[quantity].kind
    unit = SHOWN[kind][0]
    return f"{to_unit(si, kind, unit):.5f} {unit}"


def world_of(scenario: Scenario, knowledge: Knowledge, seed: int, mended: Sequence[str] = ()) -> World:
    """A world from a small cache on the knowledge: a session asks the same one again and again."""
    key = ("training", scenario.model_dump_json(), seed, tuple(sorted(mended)))
    cache: dict[Any, World] = knowledge.memo.setdefault("training-worlds", {})
    found = cache.get(key)
    if found is None:
        found = World(scenario, knowledge, seed, frozenset(mended))
        if len(cache) >= 64:
            cache.clear()
        cache[key] = found
    return found


def complaint_shows(world: World) -> str:
    """How the machine, or an instrument on it, shows the complaint: a sentence, "" when nothing does (people call all the same)."""
    shot = world.shot
    by_alarm = _alarmed(world.scenario.complaint, shot)
    if by_alarm or world.scenario.complaint not in _READ:
        return by_alarm
    seen = world.grade(shot, true=False) if world.lying else world.graded
    findings, sentence = _READ[world.scenario.complaint]
    return sentence if any(seen.get(k) in findings.get(k[0], ()) for k in seen) else ""


# complaints that numbers show: the words of findings, and how it is said
_READ: dict[str, tuple[dict[str, tuple[str, ...]], str]] = {
    "low-suction": ({"suction": ("low",)}, "the suction is low"),
    "high-head": ({"head": ("high",)}, "the head is high"),
    "warm-supply": ({"leaving-fluid": ("above",)}, "it does not cool to its set point"),
    "strainer-suspected": (
        {"strainer-drop": ("high",), "evaporator-drop": ("low", "none", "high")},
        "pressure drops are off",
    ),
}


def _alarmed(complaint: str, shot: Snapshot) -> str:
    alarms = set(shot.alarms)
    devices = {t.device for t in shot.trips}

    stopped, dark = shot.state != "cooling", shot.lamps.get("screen") == "off"
    tests = {
        "no-flow": ("flow" in alarms, "the flow proof is not made"),
        "pump-trip": ("pump-overload" in devices or shot.hold in ("earth-fault", "pump-overload"), "the pump trips"),
        "phase-fault": ("phase-or-voltage" in alarms, "the monitor or the contactors drop out"),
        "low-suction": ("low-pressure" in alarms, "it trips on low pressure"),
        "high-head": ("high-pressure" in alarms, "it trips on high pressure"),
        "freeze-trip": ("freeze" in alarms, "the freeze limit opens"),
        "warm-supply": (stopped or bool(alarms), "it does not cool"),
        "compressor-wont-start": (stopped or bool(alarms), "cooling does not run"),
        "no-control-power": (dark, "the screen is dark"),
        "blank-after-storm": (dark or stopped, "it does not come back"),
        "worked-yesterday": (stopped or bool(alarms), "it does not run today"),
        "generator-shuts-down": (
            bool({"phase-or-voltage", "power-failed"} & alarms) or shot.hold == "no-power",
            "the supply fails",
        ),
        "breaker-open": (
            bool({"earth-fault", "power-failed"} & alarms) or shot.hold in ("no-power", "earth-fault"),
            "the feed is off",
        ),
        "reset-repeatedly": (bool(alarms), "it trips again"),
    }
    true, sentence = tests.get(complaint, (False, ""))
    return sentence if true else ""
