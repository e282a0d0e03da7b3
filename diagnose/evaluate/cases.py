"""One simulated call, a function of (seed, number) and the cards: machine, day, what is wrong, who calls and how.

One call in ten has nothing wrong, one in ten two causes, one in four comes by telephone from somebody without training. Causes are
drawn by the priors of their cards in the context of the call; causes the simulated machine can make come at a severity that a person
could tell from healthy machines of the same card (`diagnose.plant.telling`), on a day on which the machine shows something to call about; the rest is
answered from the cards. The machine itself has its parts moved by up to a tenth against the card that the advice sees, and that card
has gaps.
"""

from __future__ import annotations

import random
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from diagnose.case import Case, Machine
from diagnose.machine import read_machine
from diagnose.network import Network, network_for
from diagnose.noticed import met, noticed_keys
from diagnose.places import places_for, topology_of
from diagnose.plant.conditions import Conditions
from diagnose.plant.draws import draw_machine
from diagnose.plant.faults import EFFECTS, Fault, apply_faults, shows_on
from diagnose.plant.parameters import Plant
from diagnose.plant.scatter import scattered
from diagnose.plant.seen import Key, seen_words
from diagnose.plant.simulate import simulate, simulate_health
from diagnose.plant.sizing import plant_of
from diagnose.plant.snapshot import Snapshot
from diagnose.plant.telling import differs, stands_as, telling_severity
from diagnose.work import DEFAULT_FACTS
from knowledge.load import Knowledge

SEED_BASE = 900_000  # evaluation has its own seeds: no proof, exercise or test draws from them
NOTHING, DOUBLE = 0.10, 0.10
TELEPHONE = 0.25
# share of the looks that get no answer: about the table of words' own for a technician, more by telephone (common practice, no source)
CANNOT_TELL = {"technician": (0.05, 0.15), "telephone": (0.10, 0.30)}
MISSING = 0.10  # chance that an instrument is not at hand
#: circumstances of a call: common practice, no source
STAGES = {"running-site": 6.0, "first-start": 2.5, "just-moved": 1.5}
SOMETIMES, SOMETIMES_SHARE = ("electrical-work", "fluid-work", "refrigerant-work", "dusty-site", "old-loop"), 0.12
#: words nobody meets at a compressor that runs: cards know them of machines that stand
NOT_RUNNING: dict[str, tuple[str, ...]] = {
    "compressor-sound": ("silent", "hums", "clicks-off"),
    "compressor-contactor": ("no-coil-voltage", "stays-out"),
}
KEY_KNOWN = 0.8  # chance that a value of the machine card is known
SPREAD = 0.10
SIBLINGS = 6  # healthy machines of the same card that a fault must stand out from
#: the machine of this trade holds its superheat; a fixed orifice is for comparisons
SUPERHEAT_VALVES = ("thermostatic", "electronic")
PSI, GPM = 6894.757, 6.30902e-5
INSTRUMENTS: dict[str, tuple[str, ...]] = {
    "refrigerant gauges": ("suction_pressure", "liquid_pressure", "discharge_pressure"),
    "pipe clamp": ("suction_line", "liquid_line", "discharge_line", "drier_in", "drier_out"),
    "ammeter": ("line_current", "fan_current"),
    "voltmeter": ("line_voltage", "board_voltage", "load_voltage", "control_voltage"),
    "flow meter": ("flow",),
    "fluid gauges": ("strainer_in", "strainer_out", "strainer_drop", "evaporator_in", "evaporator_out"),
    "evaporator drop": ("evaporator_drop",),
    "air thermometer": ("entering_air", "leaving_air", "weather_air"),
    "frequency meter": ("frequency", "drive_frequency"),
}


@dataclass(frozen=True)
class Call:
    """One call. case: as it opens. network: of this machine, no place folded. instances: numbers of what is wrong in it.

    plant, day, faults and noise make the simulated machine; shot and seen are what it shows, None and {} where a cause is answered
    from its card. missing: quantities nobody can read here. attempt: 1, and one more after each remedy that was tried.
    """

    seed: int
    number: int
    case: Case
    kind: str
    made: str
    causes: tuple[str, ...]
    places: tuple[str, ...]
    severities: tuple[float, ...]
    network: Network
    instances: tuple[int, ...]
    plant: Plant
    day: Conditions
    faults: tuple[Fault, ...]
    noise: int
    shot: Snapshot | None
    seen: dict[Key, str]
    cannot_tell: float
    missing: frozenset[str]
    attempt: int = 1

    @property
    def telephone(self) -> bool:
        """Whether somebody without training is led through it."""
        return self.case.role != "technician"


def _kind(rng: random.Random) -> str:
    x = rng.random()
    return "none" if x < NOTHING else "double" if x < NOTHING + DOUBLE else "single"


def full_card(machine: Machine) -> Machine:
    """The card with everything a complete one has, from the machine sized by what it gives."""
    plant = plant_of(machine)
    loop, supply, control = plant.loop, plant.supply, plant.control
    head = plant.loop.pump
    weight = 9810.0 / PSI
    duty = head.shutoff_m - head.slope * head.rated_m3s - head.bend * head.rated_m3s**2
    made: dict[str, Any] = {
        "design_flow": f"{loop.design_m3s / GPM:.1f} gpm",
        "design_drop": f"{loop.evaporator_pa / PSI:.2f} psi",
        "strainer_clean_drop": f"{loop.strainer_pa / PSI:.2f} psi",
        "pump_shutoff_rise": f"{head.shutoff_m * weight:.1f} psi",
        "pump_design_rise": f"{duty * weight:.1f} psi",
        "pump_plate_current": f"{(supply.pump if loop.in_use == 'onboard' else supply.site_pump).plate_a:.1f} A",
        "compressor_plate_current": f"{supply.compressor.plate_a:.1f} A",
        "fan_plate_current": f"{supply.fan.plate_a:.1f} A",
        "low_pressure_cutout": f"{control.low_pressure_pa / PSI:.0f} psig",
        "high_pressure_cutout": f"{control.high_pressure_pa / PSI:.0f} psig",
        "set_point": f"{(control.set_point_k - 273.15) * 1.8 + 32.0:.1f} degF",
        "design_entering": f"{(control.set_point_k - 273.15) * 1.8 + 42.0:.1f} degF",
    }
    given = machine.model_dump(exclude_defaults=True)
    return Machine.model_validate({**made, **given})


#: what the card of a real machine may lack; what says which machine it is stays
GAPS = (
    "design_drop",
    "strainer_clean_drop",
    "pump_shutoff_rise",
    "pump_design_rise",
    "pump_plate_current",
    "fan_plate_current",
    "low_pressure_cutout",
    "high_pressure_cutout",
    "altitude",
    "design_entering",
)


def _with_gaps(machine: Machine, rng: random.Random) -> Machine:
    lost = [key for key in GAPS if rng.random() > KEY_KNOWN]
    return machine.model_copy(update={key: Machine.model_fields[key].default for key in lost})


def _machine(rng: random.Random, machine: Machine | None) -> tuple[Machine, Plant, Plant]:
    """(card, machine as its card says, machine as it is). A random one that would not even start when healthy, on a generator that
    drops its contactors, stands on no site and is drawn again.
    """
    while True:
        card = full_card(machine or draw_machine(rng, SUPERHEAT_VALVES))
        nominal = plant_of(card)
        plant = scattered(nominal, rng.randrange(1 << 30), SPREAD)
        mild = Conditions(air_k=298.15, entering_k=plant.control.set_point_k + 5.6)
        if machine is not None or simulate(plant, mild).state == "cooling":
            return card, nominal, plant


def _day(rng: random.Random, plant: Plant) -> Conditions:
    """A usual day near full load: air 5 to 38 C, the return 4.2 to 7 K over the set point."""
    return Conditions(
        air_k=rng.uniform(278.15, 311.15), entering_k=plant.control.set_point_k + rng.uniform(4.2, 7.0), minutes=60.0
    )


def _context(rng: random.Random, machine: Machine, day: Conditions) -> tuple[str, ...]:
    made = [rng.choices(list(STAGES), list(STAGES.values()))[0]]
    made += [machine.supply] if machine.supply else []
    made += ["site-pump"] if machine.pump_in_use == "site" else []
    made += ["hot-weather"] if day.air_k > 307.0 else ["cold-snap"] if day.air_k < 280.0 else []
    for name in SOMETIMES:
        made += [name] if rng.random() < SOMETIMES_SHARE else []
    return tuple(made)


def _network(knowledge: Knowledge, machine: Machine, plant: Plant, context: Sequence[str]) -> Network:
    topology = topology_of(machine)
    spoken = [f"circuit:{c.id}" for c in plant.circuits] + [f"compressor:{c}" for c in plant.compressors]
    spoken += [f"fan:{f}" for c in plant.circuits for f in c.air.fans]
    facts = {**DEFAULT_FACTS, **read_machine(machine).facts, **topology.facts}
    if "site-pump" in context:
        facts["pump-in-use"] = "site"
    return network_for(knowledge, places_for(topology, spoken), context, facts)


def _draw_causes(rng: random.Random, network: Network, plant: Plant, count: int) -> list[int]:
    """Instance numbers by prior; causes that this machine cannot have are drawn again, no cause twice."""
    odds = [float(o) for o in network.odds]
    drawn: list[int] = []
    while len(drawn) < count:
        number = rng.choices(range(1, len(odds) + 1), odds)[0]
        cause = network.instances[number - 1].cause
        able = cause not in EFFECTS or shows_on(plant, EFFECTS[cause])
        if able and all(network.instances[n - 1].cause != cause for n in drawn):
            drawn.append(number)
    return drawn


def _faults(
    rng: random.Random, network: Network, plant: Plant, nominal: Plant, day: Conditions, drawn: Sequence[int]
) -> list[Fault] | None:
    """Faults of the simulated machine at severities that tell, also from healthy machines that are not quite as their card
    says; None when one of the causes shows nothing by itself here, or nothing beside the other.
    """
    faults = []
    seeds = [rng.randrange(1 << 30) for _ in range(SIBLINGS)]
    simulated = any(network.instances[n - 1].cause in EFFECTS for n in drawn)
    others = [simulate(scattered(nominal, seed, SPREAD), day) for seed in seeds] if simulated else []
    for number in drawn:
        one = network.instances[number - 1]
        if one.cause not in EFFECTS:
            continue
        place = one.place.id if ":" in one.place.id else ""
        least = telling_severity(plant, day, one.cause, place, others)
        if least is None:
            return None
        faults.append(Fault(one.cause, max(rng.uniform(least, 1.0), 0.05), place))
    return None if _hidden(plant, day, faults) else faults


def _hidden(plant: Plant, day: Conditions, faults: Sequence[Fault]) -> bool:
    """Whether one of two faults shows nothing beside the other: behind a machine without control power no strainer is clogged."""
    if len(faults) < 2:
        return False
    both = simulate(plant, day, faults)
    return any(not differs(simulate(plant, day, [f for f in faults if f is not one]), both) for one in faults)


# what the machine shows when somebody calls about this: (complaint, alarms of which one must be there, other sign)
SHOWS: dict[str, tuple[str, ...]] = {
    "no-flow": ("flow",),
    "pump-trip": ("motor-overload", "flow"),
    "phase-fault": ("phase-or-voltage",),
    "low-suction": ("low-pressure", "freeze"),
    "freeze-trip": ("freeze",),
    "high-head": ("high-pressure",),
}
ODD = 0.04  # share of calls about what the machine does not show


NO_TROUBLE = "is-this-normal"  # asked of a machine that runs; nothing has to be wrong


def _sign(complaint: str, shot: Snapshot, seen: dict[Key, str]) -> bool | None:
    """Whether the machine shows what a complaint is about; None where it cannot (a noise, a leak)."""
    alarms = set(shot.alarms)
    if complaint in SHOWS and alarms & set(SHOWS[complaint]):
        return True
    words = {(name, word) for (name, _), word in seen.items()}
    signs = {
        "low-suction": ("effect:suction", "low") in words,
        "high-head": ("effect:head", "high") in words,
        "strainer-suspected": ("effect:fluid-flow", "low") in words or ("effect:fluid-flow", "none") in words,
        "no-control-power": ("screen-lit", "dark") in words,
        "blank-after-storm": ("screen-lit", "dark") in words,
        "compressor-wont-start": shot.state != "cooling" or bool(alarms),
        "warm-supply": bool(alarms) or shot.state != "cooling" or ("stages", "fewer") in words,
        "reset-repeatedly": bool(alarms),
        "short-cycling": shot.steadiness == "cycling",
        "breaker-open": shot.hold in ("no-power", "earth-fault", "dip-at-start"),
        "worked-yesterday": shot.state != "cooling" or bool(alarms),
        "generator-shuts-down": bool(alarms & {"phase-or-voltage", "power-failed"}) or shot.hold == "no-power",
        NO_TROUBLE: shot.state == "cooling",
    }
    return signs.get(complaint, False if complaint in SHOWS else None)


def _complaint(
    rng: random.Random, knowledge: Knowledge, causes: Sequence[str], shot: Snapshot | None, seen: dict[Key, str]
) -> str | None:
    """By the strengths of the cards; None when the simulated machine does not show what that call is about: nobody calls then.

    A complaint the machine does not show stays possible (`ODD`), and none becomes likelier because another does not show.
    """
    strength, weights = knowledge.words.strength, dict.fromkeys(knowledge.complaints, 0.0)
    for cause in causes:
        for complaint, word in knowledge.causes[cause].complaints.items():
            weights[complaint] += strength[word]
    if not causes:
        weights = {c.id: strength[c.when_nothing_is_wrong] for c in knowledge.complaints.values()}
    names = sorted(c for c, w in weights.items() if w > 0.0)
    complaint = rng.choices(names, [weights[c] for c in names])[0]
    if shot is not None and causes and _sign(complaint, shot, seen) is False and rng.random() >= ODD:
        return None
    return complaint


def kind_of(seed: int, number: int) -> str:
    """Whether call ``number`` of a series has no cause, one, or two: none, single, double."""
    return _kind(random.Random(f"evaluate:{SEED_BASE + seed}:{number}"))


def draw_call(knowledge: Knowledge, seed: int, number: int, machine: Machine | None = None) -> Call:
    """Call ``number`` of a series. machine: on this card instead of a random one."""
    rng = random.Random(f"evaluate:{SEED_BASE + seed}:{number}")
    kind = _kind(rng)
    telephone = rng.random() < TELEPHONE
    card, nominal, plant = _machine(rng, machine)
    told = _with_gaps(card, rng)
    missing = {q for quantities in INSTRUMENTS.values() if rng.random() < MISSING for q in quantities}
    cannot_tell = rng.uniform(*CANNOT_TELL["telephone" if telephone else "technician"])
    while True:
        day = _day(rng, plant)
        context = _context(rng, card, day)
        network = _network(knowledge, card, plant, context)
        drawn = _draw_causes(rng, network, plant, {"none": 0, "single": 1, "double": 2}[kind])
        causes = tuple(network.instances[n - 1].cause for n in drawn)
        faults = _faults(rng, network, plant, nominal, day, drawn)
        if faults is None:
            continue
        scripted = len(faults) < len(drawn)
        noise = number if scripted else rng.randrange(1 << 30)
        shot, seen = (None, {}) if scripted else _moment(network, plant, day, faults, noise)
        complaint = _complaint(rng, knowledge, causes, shot, seen)
        if complaint is None:
            continue
        case = Case.model_validate(
            {
                "complaint": complaint,
                "role": "customer" if telephone else "technician",
                "qualified": () if telephone else ("electrical", "refrigerant", "height"),
                "machine": told.model_dump(exclude_defaults=True),
                "context": context,
            }
        )
        call = Call(
            seed,
            number,
            case,
            kind,
            "scripted" if scripted else "plant",
            causes,
            tuple(network.instances[n - 1].place.id for n in drawn),
            tuple(round(f.severity, 3) for f in faults),
            network,
            tuple(drawn),
            plant,
            day,
            tuple(faults),
            noise,
            shot,
            seen,
            cannot_tell,
            frozenset(missing),
        )
        if _met(call) or rng.random() < ODD:
            return call


def _met(call: Call) -> bool:
    """Whether the caller met what such callers notice (no noise call without a noise); where nothing is wrong anybody may call."""
    keys = noticed_keys(call.network, call.case.complaint, call.instances)
    words: dict[Key, str] = {}
    return not keys or any(met(call.network, key, true_word(call, words, key)) for key in keys)


def true_word(call: Call, words: dict[Key, str], key: Key) -> str:
    """The true word of an effect or finding at a place: what the machine shows, else drawn from the cards, once, into ``words``."""
    found = words.get(key) or call.seen.get(key)
    if found is None:
        found = _drawn(call, words, key)
    words[key] = found
    return found


def _drawn(call: Call, words: dict[Key, str], key: Key) -> str:
    node = call.network.node(key)
    above = 0
    if node.parent is not None:
        above = call.network.node(node.parent).words.index(true_word(call, words, node.parent))
    wrong = [np.array([n], dtype=np.int64) for n in (*call.instances, 0, 0)[:2]]
    row = node.table()[int(node.signature(*wrong)[0]), above]
    weights = [float(p) for p in row]
    if call.shot is not None and key[1].removeprefix("compressor:") in call.shot.running:
        weights = [0.0 if w in NOT_RUNNING.get(key[0], ()) else p for w, p in zip(node.words, weights, strict=True)]
    return random.Random(f"{call.seed}:{call.number}:word:{':'.join(key)}").choices(node.words, weights)[0]


def _moment(
    network: Network, plant: Plant, day: Conditions, faults: Sequence[Fault], noise: int
) -> tuple[Snapshot, dict[Key, str]]:
    """The machine with these faults, and the words of the moment at places that the network has."""
    health = apply_faults(plant, faults)
    shot = simulate_health(plant, day, health, noise)
    return shot, {k: w for k, w in seen_words(plant, health, day, shot).items() if k[1] in network.places}


# after a remedy ------------------------------------------------------------------------------------------------------


def tried_again(call: Call, mended: Collection[int] = ()) -> Call:
    """The same machine on the same day when it is tried again. mended: numbers of the causes of the call that were put right."""
    left = [n for n in range(len(call.causes)) if n not in mended]
    causes = tuple(call.causes[n] for n in left)
    faults = tuple(f for f in call.faults if f.cause in causes)
    shot, seen = call.shot, call.seen
    if mended:
        made = len(faults) == len(causes)
        shot, seen = _moment(call.network, call.plant, call.day, faults, call.noise) if made else (None, {})
    return replace(
        call,
        causes=causes,
        places=tuple(call.places[n] for n in left),
        instances=tuple(call.instances[n] for n in left),
        severities=tuple(round(f.severity, 3) for f in faults),
        faults=faults,
        shot=shot,
        seen=seen,
        attempt=call.attempt + 1,
    )


def complained(call: Call, knowledge: Knowledge) -> bool:
    """Whether what is wrong still makes the complaint of the call."""
    complaint = call.case.complaint
    return noticed(call, knowledge) if complaint == NO_TROUBLE else _reported(call, knowledge, complaint)


def noticed(call: Call, knowledge: Knowledge) -> bool:
    """Whether anybody would notice that something is wrong: the machine stands otherwise than a healthy one would on this day (state,
    lamps, alarms, what runs), or it shows what people call about for these causes at least sometimes.
    """
    if not call.causes:
        return False
    if call.shot is not None and stands_as(simulate(call.plant, call.day, (), call.noise)) != stands_as(call.shot):
        return True
    strength = knowledge.words.strength
    listed = [one for c in call.causes for one in knowledge.causes[c].complaints.items()]
    often = {complaint for complaint, word in listed if strength[word] >= strength["sometimes"]}
    return any(_reported(call, knowledge, c) for c in often - {NO_TROUBLE})


def about_what_is_left(call: Call, knowledge: Knowledge) -> Call:
    """The next call about the same machine: the complaint is about what is left, nothing is told yet."""
    rng = random.Random(f"evaluate:{SEED_BASE + call.seed}:{call.number}:next:{call.attempt}")
    complaint = None
    while complaint is None:
        complaint = _complaint(rng, knowledge, call.causes, call.shot, call.seen)
    return replace(call, case=call.case.model_copy(update={"complaint": complaint, "entries": ()}))


def _reported(call: Call, knowledge: Knowledge, complaint: str) -> bool:
    """Whether a complaint would be made: the simulated machine shows it, and would not if it were healthy; where it cannot show it,
    the cards know of it.
    """
    sign = None if call.shot is None else _sign(complaint, call.shot, call.seen)
    if sign is None:
        return any(complaint in knowledge.causes[c].complaints for c in call.causes)
    return sign and not _sign(complaint, *_moment(call.network, call.plant, call.day, (), call.noise))
