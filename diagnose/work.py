"""From a case to graded findings, rules' conclusions and the belief: stages one to three of advise."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from diagnose.belief import COMPLAINS, QUIET, Belief, Inference, inference_from
from diagnose.case import Case, Entry
from diagnose.derive import Derivation, derive_all
from diagnose.episodes import Remedied, filtered
from diagnose.expected import add_expected
from diagnose.grade import Evidence, Graded, Grader
from diagnose.machine import MachineData, read_machine
from diagnose.network import Array, Key, Network, network_for
from diagnose.places import Place, Topology, circuit_of, places_for, topology_of
from diagnose.readings import Readings, default_state, place_of, read_all, spoken_circuits
from diagnose.rules import Conclusion, Conclusions, run_stratum, seen_words
from diagnose.rules_engine import Known
from diagnose.setups import Changed, episodes
from knowledge.facts import STOP_WORDS
from knowledge.load import Knowledge
from knowledge.models import Condition
from shared.quantities import QUANTITIES

STEADINESS = ("steady", "pull-down", "cycling", "starting")
DEFAULT_FACTS = {"expansion": "thermostatic", "coil": "tube-fin", "pump-in-use": "onboard"}


@dataclass
class Work:
    """Everything computed for one case on the way to its advice.

    earlier: the episodes before this one. changed: set-ups that stand in it; begun: the action that began it.
    """

    case: Case
    knowledge: Knowledge
    machine: MachineData
    topology: Topology
    places: dict[str, Place]
    readings: Readings
    derivation: Derivation
    facts: dict[str, str]
    state: str
    steadiness: str
    known: list[Known]
    graded: Graded
    conclusions: Conclusions
    whole: Case
    earlier: list[Work] = field(default_factory=list)
    changed: tuple[Changed, ...] = ()
    begun: Entry | None = None
    dropped: set[Key] = field(default_factory=set)
    doubts: list[str] = field(default_factory=list)


def said_words(case: Case) -> list[str]:
    """Stop words met in the caller's own words and notes; they weigh nothing, their safety question comes next."""
    text = " ".join([case.words, *(e.note for e in case.entries)]).lower()
    found = []
    for word, spellings in STOP_WORDS.items():
        for spelling in spellings:
            at = text.find(spelling)
            while at >= 0:
                before = text[max(0, at - 14) : at]
                if not any(before.rstrip().endswith(no) for no in ("no", "not", "without", "no sign of", "n't")):
                    found.append(word)
                    break
                at = text.find(spelling, at + 1)
            if found and found[-1] == word:
                break
    return found


def _cannot_tell_run(case: Case) -> int:
    run = 0
    for entry in reversed(case.entries):
        if entry.check and entry.answer == "cannot-tell":
            run += 1
        elif entry.check or entry.quantity:
            break
    return run


def prepare(case: Case, knowledge: Knowledge, *, rules: bool = True) -> Work:
    """Everything up to the belief, for each episode of the call; the last one is what holds now."""
    machine = read_machine(case.machine)
    topology = topology_of(case.machine)
    places = _places(case, knowledge, machine, topology)
    parts = episodes(case, knowledge)
    works = [_prepare(part.case, case, knowledge, machine, topology, places, rules=rules) for part in parts]
    for one, part in zip(works, parts, strict=True):
        one.changed, one.begun = part.changed, part.begun
        if rules and part.watched is not None:
            _watch(one, _prepare(part.watched, case, knowledge, machine, topology, places, rules=True))
    works[-1].earlier = works[:-1]
    return works[-1]


def _places(case: Case, knowledge: Knowledge, machine: MachineData, topology: Topology) -> dict[str, Place]:
    """Places of the machine, with every place anybody spoke of in the whole call unfolded."""
    spoken = [f"circuit:{c}" for c in spoken_circuits(case, topology)]
    spoken += [r.place for r in read_all(case, machine, topology, knowledge).all if ":" in r.place]
    for entry in case.entries:
        finding = _finding_of(entry.check, entry.finding, knowledge)
        if finding is not None and entry.answer != "cannot-tell":
            place = place_of(entry, knowledge.findings[finding].place, topology, spoken_circuits(case, topology))
            if ":" in place:
                spoken.append(place)
    return places_for(topology, [p for p in spoken if not p.endswith(":*")])


def _prepare(
    case: Case,
    whole: Case,
    knowledge: Knowledge,
    machine: MachineData,
    topology: Topology,
    places: dict[str, Place],
    *,
    rules: bool,
) -> Work:
    """Readings, derived values, findings in the machine's state and rules of one episode."""
    readings = read_all(case, machine, topology, knowledge)
    derivation = derive_all(machine, readings, topology)
    add_expected(derivation, case.machine)
    facts = {**DEFAULT_FACTS, **machine.facts, **topology.facts}
    for context in case.context:
        if context in ("generator", "utility"):
            facts.setdefault("supply", context)
        if context == "site-pump":
            facts["pump-in-use"] = "site"
    state = next((e.state for e in reversed(case.entries) if e.state), None) or default_state(case, knowledge)
    steadiness = next((e.steadiness for e in reversed(case.entries) if e.steadiness), None) or "unknown"
    known = _known(case, facts)
    work = Work(
        case,
        knowledge,
        machine,
        topology,
        places,
        readings,
        derivation,
        facts,
        state,
        steadiness,
        known,
        Graded(),
        Conclusions(),
        whole,
    )
    first = Grader(case, knowledge, topology, places, readings, derivation, facts, state, steadiness).grade()
    if rules:
        _run(work, ("state",), first)
        for conclusion in work.conclusions.of("state"):
            word = conclusion.rule.then.state
            if word in STEADINESS:
                work.steadiness = word if steadiness == "unknown" else work.steadiness
            else:
                work.state = word
    work.known += [Known("state", work.state), Known("steadiness", work.steadiness)]
    if (work.state, work.steadiness) != (state, steadiness):
        first = Grader(
            case, knowledge, topology, places, readings, derivation, facts, work.state, work.steadiness
        ).grade()
    work.graded = first
    if rules:
        _strata(work)
    _say_doubts(work)
    return work


def _finding_of(check_id: str, finding_id: str, knowledge: Knowledge) -> str | None:
    if finding_id:
        return finding_id
    check = knowledge.checks.get(check_id) if check_id else None
    return check.finding if check else None


def _known(case: Case, facts: Mapping[str, str]) -> list[Known]:
    known = [Known("role", "customer" if case.role == "agent" else case.role), Known("complaint", case.complaint)]
    if case.role == "agent":
        known.append(Known("role", "agent"))
    known += [
        Known(f"qualified-{q}", "yes" if q in case.qualified else "no") for q in ("electrical", "refrigerant", "height")
    ]
    known += [Known(f"context-{c}", "yes") for c in case.context]
    known += [Known(name, word) for name, word in facts.items()]
    known += [Known("said", word) for word in said_words(case)]
    known.append(Known("cannot-tell-run", "yes" if _cannot_tell_run(case) >= 2 else "no"))
    return known


def _run(work: Work, strata: Iterable[str], graded: Graded) -> None:
    for stratum in strata:
        words = seen_words(graded.evidence, work.knowledge, stratum)
        seen = [s for s in words if (s.finding, s.place) not in work.dropped]
        for conclusion in run_stratum(stratum, work.knowledge, seen, work.known):
            work.conclusions.fired.append(conclusion)
            work.known.append(
                Known(
                    {
                        "hold-point": "held",
                        "not-judged": "not-judged",
                        "gate": "gate",
                        "contradiction": "contradiction",
                    }.get(stratum, stratum),
                    conclusion.rule.id,
                )
            )


def _strata(work: Work) -> None:
    _run(work, ("hold-point", "not-judged"), work.graded)
    work.dropped |= not_judged_keys(work)
    _run(work, ("derived-finding",), work.graded)
    for conclusion in work.conclusions.of("derived-finding"):
        derive_finding(work, conclusion)
    _run(work, ("contradiction", "conclusive", "gate", "stop"), work.graded)


def _watch(work: Work, watched: Work) -> None:
    """Adds what protects, as it follows from all that was told since the last remedy."""
    own = {(c.rule.id, c.circuit) for c in work.conclusions.fired}
    more = [c for c in watched.conclusions.of("hold-point", "gate", "stop") if (c.rule.id, c.circuit) not in own]
    work.conclusions.fired += more


def not_judged_keys(work: Work) -> set[Key]:
    """Findings that the rules which spoke do not let us judge now; what was answered in words stays."""
    return {
        key
        for conclusion in work.conclusions.of("not-judged")
        for key, one in work.graded.evidence.items()
        if key[0] in conclusion.rule.then.findings
        and (not conclusion.circuit or circuit_of(key[1]) in ("", conclusion.circuit))
        and (not one.answered or one.derived is not None)
    }


def _speaks_for(condition: Condition, where: str, circuit: str) -> bool:
    """Whether a finding on circuit ``where`` ("" = of the whole machine) is one a condition means in a conclusion about ``circuit``."""
    if not circuit or not where:
        return True
    return (where == circuit) != (condition.place == "other")


def derive_finding(work: Work, conclusion: Conclusion) -> None:
    """A derived word feeds the graph in place of its inputs, never beside them; it is as sure as its least sure input."""
    then = conclusion.rule.then
    finding = work.knowledge.findings[then.finding or ""]
    near = work.places.get(conclusion.place, work.places["unit"])
    place = next((p.id for p in work.places.values() if p.kind == finding.place and p.touches(near)), "unit")
    words = finding.ordered or finding.words
    sure = work.knowledge.words.answer_right["sure"]["read"]
    for condition in conclusion.rule.when:
        for key, one in work.graded.evidence.items():
            if condition.finding == key[0] and _speaks_for(condition, circuit_of(key[1]), conclusion.circuit):
                sure = min(sure, sum(p for w, p in one.words(work.knowledge.findings[key[0]]) if w in condition.words))
                if key[0] in then.findings:
                    work.dropped.add(key)
    likelihood = tuple(sure if w == then.word else (1.0 - sure) / (len(words) - 1) for w in words)
    key = (finding.id, place)
    work.graded.evidence[key] = Evidence(
        finding.id, place, likelihood, {}, (finding.texts[then.word or ""],), work.state, None, True
    )


def _say_doubts(work: Work) -> None:
    doubts = work.doubts
    if work.steadiness == "unknown" and any(
        v.quantity in ("superheat", "subcooling", "approach", "condenser_split")
        for v in work.derivation.values.values()
    ):
        doubts.append(
            "Steady running is assumed, not told: judge superheat, subcooling and split only after 10 to 15 minutes of unchanged stages."
        )
    if work.topology.several and any(p.endswith(":?") for p in work.places):
        doubts.append("Which circuit the refrigerant readings belong to was not told.")
    if (
        work.machine.facts.get("tank-at", "unknown") == "unknown"
        and ("pump_suction_change", "unit") in work.derivation.values
    ):
        doubts.append(
            "Where the expansion tank is tied in was not told: which gauge moved then says little about the side of the block."
        )
    doubts += [note[0].upper() + note[1:] for note in dict.fromkeys(work.derivation.notes)]
    for reading in work.readings.all:
        if reading.metric and reading.kind.value == "gauge-pressure" and "gauge" in reading.echo:
            doubts.append(
                f"{QUANTITIES[reading.quantity].title.capitalize()} is taken as gauge pressure: {reading.echo}."
            )
            break


def cause_factors(work: Work, network: Network, worth: float | None = None) -> Array:
    """Likelihood of each instance from what was proved in this episode (conclusive rules). worth: odds of a proof, if not the table's."""
    worth = worth or work.knowledge.words.conclusive
    factor = np.ones(len(network.instances))
    for conclusion in work.conclusions.of("conclusive"):
        for index, instance in enumerate(network.instances):
            if instance.cause == conclusion.rule.then.cause and (
                not conclusion.circuit or instance.place.circuit in ("", conclusion.circuit)
            ):
                factor[index] *= worth if conclusion.rule.then.holds else 1.0 / worth
    return np.clip(factor, 1e-9, 1e9)


def if_proofs_slip(work: Work, network: Network, belief: Belief) -> Belief:
    """The belief with what was proved in this episode weighed as one answer that may be a slip: whether to look once more goes by it.

    What was seen or proved must not be argued away by what is usual; but on one answer alone nobody should act while a cheap look at
    the same cause is open.
    """
    if not work.conclusions.of("conclusive"):
        return belief
    worth = work.knowledge.words.verdict["proof-that-may-slip"]
    extra = np.concatenate([[1.0], cause_factors(work, network, worth) / cause_factors(work, network)])
    over = belief.over
    joint = belief.joint * (extra[over.first] * extra[over.second])
    return Belief(belief.inference, belief.names, joint / joint.sum(), over)


def reason(work: Work) -> tuple[Network, Inference, Belief]:
    """Posterior over causes and lying instruments, across all episodes of the call."""
    network = network_for(work.knowledge, work.places, work.case.context, work.facts)
    works = [*work.earlier, work]
    inferences = []
    for one in works:
        factors = cause_factors(one, network)
        inferences.append(
            inference_from(network, one.graded, work.case.complaint, tuple(one.dropped), factors, _heard(one))
        )
    if len(works) == 1:
        return network, inferences[0], inferences[0].posterior()
    begun = [one.begun for one in works if one.begun is not None]
    remedied = [Remedied(e.action, e.place, mends=e.action not in work.knowledge.setups) for e in begun]
    belief = filtered(network, inferences, remedied)
    return network, inferences[-1], belief


def _heard(work: Work) -> Array | None:
    """What the complaint says in one episode: it is there at first and where a remedy did not cure, or only made it better, gone
    where one cured.

    While a changed set-up stands its being gone proves nothing, and after a change it is not asked: the outcome says it.
    """
    if work.begun is None or work.begun.outcome in ("not-cured", "better"):
        return COMPLAINS
    return QUIET if work.begun.outcome == "cured" and not work.changed else None
