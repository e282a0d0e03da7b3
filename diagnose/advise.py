"""advise(case, knowledge) -> Advice: pure, the heart of the tool.

Readings -> findings -> rules -> belief -> plan -> advice. It reads no clock, file, environment, locale or random number. If
rules, belief or cards fail it fails closed: hand over, and says so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from diagnose.advice import Advice, Choice, Derived, Fired, NotJudged, Reason, Step, Stop, Suspect, Verdict
from diagnose.belief import Belief, Inference, Pass, inference_from
from diagnose.case import Case
from diagnose.derive import Derivation, derive_all
from diagnose.grade import Evidence, Graded, Grader, band_rows, choose_band
from diagnose.machine import MachineData, read_machine
from diagnose.network import Array, Key, Network, network_for
from diagnose.places import Place, Topology, circuit_of, places_for, spell, topology_of
from diagnose.plan import (
    Candidate,
    Predictor,
    Scored,
    Worlds,
    acting_cost,
    check_cost,
    hand_over_cost,
    keep_worlds,
    may_do,
    score_checks,
)
from diagnose.readings import Readings, default_state, place_of, read_all, spoken_circuits
from diagnose.rules import Conclusion, Conclusions, run_stratum, seen_words
from diagnose.rules_engine import Known
from knowledge.facts import STOP_WORDS
from knowledge.load import Knowledge
from knowledge.models import Cause, Check, Remedy
from shared.errors import ChillerError
from shared.quantities import DERIVED, QUANTITIES
from shared.units import SHOWN, show, spread_in_unit, to_unit

SHOWN_SUSPECTS = 12
EXPLAINED_SUSPECTS = 6
SHOWN_STEPS = 6
STEADINESS = ("steady", "pull-down", "cycling", "starting")
DEFAULT_FACTS = {"expansion": "thermostatic", "coil": "tube-fin", "pump-in-use": "onboard"}
CONFIDENT = 0.97


@dataclass
class Work:
    """Everything computed for one case on the way to its advice."""

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
    dropped: set[Key] = field(default_factory=set)
    added: dict[Key, Array] = field(default_factory=dict)
    doubts: list[str] = field(default_factory=list)


def advise(case: Case, knowledge: Knowledge, *, rules: bool = True) -> Advice:
    """The advice that follows from a case. The case must have passed `diagnose.case_check`.

    rules=False switches the rule stage off (for the ablation proof only): gates of the cards still hold.
    """
    try:
        work = prepare(case, knowledge, rules=rules)
        network, inference, belief = reason(work)
        return _draw(work, network, inference, belief)
    except ChillerError:
        raise
    except Exception as error:
        return _closed(case, knowledge, error)


def _closed(case: Case, knowledge: Knowledge, error: Exception) -> Advice:
    why = f"the reasoning failed ({type(error).__name__}: {error}); nothing is advised but to hand over"
    return Advice(
        knowledge=knowledge.digest,
        complaint=case.complaint,
        state="unknown",
        steadiness="unknown",
        verdict=Verdict(
            kind="hand-over",
            causes=(),
            places=(),
            title="Hand over: the tool failed",
            remedy="Leave the unit off and safe; call a qualified technician.",
            remedy_id="hand-over",
            proof="",
            who="technician",
            minutes=0.0,
        ),
        doubts=(why,),
    )


# stage 1 and 2: facts, readings, findings, rules -----------------------------------------------------------------------


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
    """Everything up to the belief: readings, derived values, findings in the machine's state, rules."""
    machine = read_machine(case.machine)
    topology = topology_of(case.machine)
    spoken_ids = [f"circuit:{c}" for c in spoken_circuits(case, topology)]
    readings = read_all(case, machine, topology, knowledge)
    spoken_ids += [r.place for r in readings.all if ":" in r.place]
    for entry in case.entries:
        finding = _finding_of(entry.check, entry.finding, knowledge)
        if finding is not None and entry.answer != "cannot-tell":
            place = place_of(entry, knowledge.findings[finding].place, topology, spoken_circuits(case, topology))
            if ":" in place:
                spoken_ids.append(place)
    places = places_for(topology, [p for p in spoken_ids if not p.endswith(":*")])
    derivation = derive_all(machine, readings, topology)
    facts = {**DEFAULT_FACTS, **machine.facts, "several-circuits": "yes" if topology.several else "no"}
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
    )
    first = Grader(case, knowledge, topology, readings, derivation, facts, state, steadiness).grade()
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
        first = Grader(case, knowledge, topology, readings, derivation, facts, work.state, work.steadiness).grade()
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
        seen = [s for s in seen_words(graded.evidence, work.knowledge) if (s.finding, s.place) not in work.dropped]
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
    for conclusion in work.conclusions.of("not-judged"):
        for key in list(work.graded.evidence):
            if (
                key[0] in conclusion.rule.then.findings
                and (not conclusion.circuit or circuit_of(key[1]) in ("", conclusion.circuit))
                and (not work.graded.evidence[key].answered or work.graded.evidence[key].derived is not None)
            ):
                work.dropped.add(key)
    _run(work, ("derived-finding",), work.graded)
    for conclusion in work.conclusions.of("derived-finding"):
        _derive_finding(work, conclusion)
    _run(work, ("contradiction", "conclusive", "gate", "stop"), work.graded)


def _derive_finding(work: Work, conclusion: Conclusion) -> None:
    """A derived word feeds the graph in place of its inputs, never beside them; it is as sure as its least sure input."""
    then = conclusion.rule.then
    finding = work.knowledge.findings[then.finding or ""]
    near = work.places.get(conclusion.place, work.places["unit"])
    place = next((p.id for p in work.places.values() if p.kind == finding.place and p.touches(near)), "unit")
    words = finding.ordered or finding.words
    sure = work.knowledge.words.answer_right["sure"]["read"]
    for condition in conclusion.rule.when:
        for key, one in work.graded.evidence.items():
            if condition.finding == key[0] and (
                not conclusion.circuit or circuit_of(key[1]) in ("", conclusion.circuit)
            ):
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


# stage 3: belief ---------------------------------------------------------------------------------------------------------


def cause_factors(work: Work, network: Network) -> Array:
    """Likelihood of each instance from what was proved (conclusive rules) and from remedies that did not cure."""
    words = work.knowledge.words
    factor = np.ones(len(network.instances))
    for conclusion in work.conclusions.of("conclusive"):
        for index, instance in enumerate(network.instances):
            if instance.cause == conclusion.rule.then.cause and (
                not conclusion.circuit or instance.place.circuit in ("", conclusion.circuit)
            ):
                factor[index] *= words.conclusive if conclusion.rule.then.holds else 1.0 / words.conclusive
    for entry in work.case.entries:
        if entry.action and entry.outcome == "not-cured":
            for index, instance in enumerate(network.instances):
                remedy = work.knowledge.causes[instance.cause].remedy
                if remedy.id == entry.action:
                    factor[index] *= 1.0 - words.cures[remedy.cures]
    return np.clip(factor, 1e-9, 1e9)


def reason(work: Work) -> tuple[Network, Inference, Belief]:
    """Posterior over causes and lying instruments."""
    network = network_for(work.knowledge, work.places, work.case.context, work.facts)
    drop = tuple(work.dropped)
    inference = inference_from(
        network, work.graded, work.case.complaint, drop, work.added, cause_factors(work, network)
    )
    return network, inference, inference.posterior()


# stage 4: plan -------------------------------------------------------------------------------------------------------------


@dataclass
class Gates:
    """What the rules forbid on top of the cards."""

    hazards: set[str] = field(default_factory=set)
    states: set[str] = field(default_factory=set)
    remedies: set[str] = field(default_factory=set)
    ask_first: list[str] = field(default_factory=list)
    settle: list[str] = field(default_factory=list)


def _gates(work: Work) -> Gates:
    gates = Gates()
    for conclusion in work.conclusions.of("gate", "hold-point", "stop", "contradiction"):
        then = conclusion.rule.then
        gates.hazards |= set(then.forbid_hazards)
        gates.states |= set(then.forbid_states)
        gates.remedies |= set(then.forbid_remedies)
        if then.ask_first and then.ask_first not in gates.ask_first:
            gates.ask_first.append(then.ask_first)
        gates.settle += [s for s in then.settle if s not in gates.settle]
    answered = {e.check for e in work.case.entries if e.check}
    gates.ask_first = [c for c in gates.ask_first if c not in answered]
    if gates.ask_first:
        gates.hazards |= {h for c in work.knowledge.checks.values() for h in c.hazards if h != "none"}
    return gates


def allowed(check: Check, case: Case, gates: Gates) -> bool:
    """Whether this look may be offered at all: authority and qualification by the card, hazards and states by the gates."""
    if not may_do(check.who, check.needs_qualified, case.role, case.qualified):
        return False
    if set(check.hazards) & gates.hazards:
        return False
    running = {"cooling", "steady"} if "cooling" in gates.states else set()
    running |= {"pump-only", "pump-on"} if "pump-only" in gates.states else set()
    return check.state not in gates.states and check.state not in running


def _word_of(work: Work, check_id: str) -> str | None:
    """The answer word given to a check, None when it was not answered, "" for cannot tell."""
    for entry in reversed(work.case.entries):
        if entry.check == check_id:
            return (
                ""
                if entry.answer == "cannot-tell"
                else (work.knowledge.checks[check_id].answers[entry.answer].word or entry.answer)
            )
    return None


def _unmet(work: Work, needs: Mapping[str, Sequence[str]]) -> list[str] | None:
    """Safety questions still to be asked before a step; None when an answer forbids the step. Unknown is not yes."""
    ask = []
    for check_id, words in needs.items():
        word = _word_of(work, check_id)
        if word is None or word == "":
            ask.append(check_id)
        elif word not in words:
            return None
    return ask


def _tells(work: Work, network: Network) -> Callable[[Check, str], list[Key]]:
    rows = band_rows(work.knowledge)
    possible = _possible_quantities(work)

    def tells(check: Check, place: str) -> list[Key]:
        names = [check.finding] if check.finding else list(check.tells)
        keys: list[Key] = []
        for name in names:
            if not name:
                continue
            finding = work.knowledge.findings[name]
            if not finding.weighed:
                continue
            if check.reads and choose_band(rows.get(name, ()), work.facts, possible) is None:
                continue
            near = network.places.get(place, network.places["unit"])
            where = place if near.kind == finding.place else network.place_for(finding.place, near)
            if where is None or (name, where) in work.dropped and check.reads:
                continue
            if network.touches((name, where)):
                keys.append((name, where))
        return keys

    return tells


def _possible_quantities(work: Work) -> set[str]:
    """Derived quantities that could be computed on this machine card, whatever is read."""
    machine = work.machine
    out = set(DERIVED)
    needs = {
        "pump_rise_index": machine.get("pump_design_rise")
        or machine.get("pump_shutoff_rise")
        or "pump_rise" in machine.card
        or {"pump_suction", "pump_discharge"} <= set(machine.card),
        "evaporator_drop_ratio": machine.get("design_drop") or "evaporator_drop" in machine.card or machine.curve,
        "flow_ratio": machine.get("design_flow"),
        "flow_curve_over_meter": machine.get("design_flow"),
        "voltage_ratio": machine.get("voltage"),
        "frequency_ratio": machine.get("frequency"),
        "drive_frequency_ratio": machine.get("frequency"),
        "compressor_current_ratio": machine.get("compressor_plate_current"),
        "fan_current_ratio": machine.get("fan_plate_current"),
        "condenser_split_over_clean": "condenser_split" in machine.card,
    }
    out -= {name for name, have in needs.items() if not have}
    if not machine.refrigerant:
        out -= {
            "suction_saturation",
            "suction_over_set",
            "superheat",
            "subcooling",
            "approach",
            "condenser_split",
            "condenser_split_over_clean",
            "condensing_temperature",
            "discharge_excess",
            "standing_excess",
            "freeze_margin",
        }
    return out


def _candidates(work: Work, network: Network, gates: Gates) -> tuple[list[Candidate], list[Candidate]]:
    """Looks that may be offered now, and those that wait for a safety question."""
    knowledge, case = work.knowledge, work.case
    done = {
        (e.check, place_of(e, knowledge.checks[e.check].place, work.topology, spoken_circuits(case, work.topology)))
        for e in case.entries
        if e.check
    }
    read = {(r.quantity, r.place) for r in work.readings.all if r.source == "today" and not r.condition}
    open_access = {knowledge.checks[e.check].access for e in case.entries if e.check} - {None}
    now: list[Candidate] = []
    waiting: list[Candidate] = []
    for check in knowledge.checks.values():
        if not allowed(check, case, gates):
            continue
        unmet = _unmet(work, check.needs)
        if unmet is None:
            continue
        for place in _check_places(check, network):
            if (check.id, place) in done or (check.id, place.replace(":*", ":A")) in done:
                continue
            if check.reads and _already_read(work, check, place, network, read):
                continue
            cost = check_cost(knowledge, check, (a for a in open_access if a), work.state)
            cost += sum(check_cost(knowledge, knowledge.checks[u], (), work.state) for u in unmet)
            if unmet:
                now += [
                    Candidate(knowledge.checks[u], "unit", cost)
                    for u in unmet
                    if allowed(knowledge.checks[u], case, gates) and (u, "unit") not in done
                ]
            (waiting if unmet else now).append(Candidate(check, place, cost))
    unique = {(c.check.id, c.place): c for c in now}
    return list(unique.values()), waiting


def _already_read(work: Work, check: Check, place: str, network: Network, read: set[tuple[str, str]]) -> bool:
    """A reading check is done when its readings were given, or when all it tells is already graded from numbers."""
    if all((q, _read_place(q, place, network)) in read for q in check.reads):
        return True
    near = network.places.get(place, network.places["unit"])
    for name in check.tells:
        finding = work.knowledge.findings[name]
        where = place if near.kind == finding.place else network.place_for(finding.place, near)
        known = work.graded.evidence.get((name, where or ""))
        if known is None or known.derived is None:
            return False
    return bool(check.tells)


def _read_place(quantity: str, place: str, network: Network) -> str:
    kind = QUANTITIES[quantity].place
    if kind in ("unit", "supply"):
        return kind
    if kind == "any":
        return place if ":" in place else "supply"
    return (
        place
        if place.split(":")[0] == kind
        else network.place_for(kind, network.places.get(place, network.places["unit"]))
    ) or place


def _check_places(check: Check, network: Network) -> list[str]:
    own = [p for p in network.places.values() if p.kind == check.place]
    spoken = [p for p in own if not p.folded]
    chosen = spoken or own
    return [p.id for p in chosen]


# stage 5: drawing -------------------------------------------------------------------------------------------------------------


def _draw(work: Work, network: Network, inference: Inference, belief: Belief) -> Advice:
    knowledge, case = work.knowledge, work.case
    gates = _gates(work)
    stops = work.conclusions.of("stop")
    stop = _stop(stops)
    worlds = keep_worlds(belief, case.role, case.qualified)
    hand_over = hand_over_cost(knowledge, "technician") + knowledge.words.verdict["next-person-minutes"]
    base_costs, first = acting_cost(worlds.p[None, :], worlds, hand_over)
    base = float(base_costs[0])
    marginals = belief.causes()
    suspects = _suspects(work, network, inference, belief, marginals)
    scored: list[Scored] = []
    if stop is None or not stop.ends:
        now, waiting = _candidates(work, network, gates)
        predictor = Predictor(inference, worlds)
        scored = score_checks(now, predictor, network, hand_over, base, _tells(work, network))
    useful = scored
    lead = _lead(work, network, belief, marginals)
    verdict = None if stop is not None and stop.ends else _verdict(work, network, belief, lead, useful, base, gates)
    if stop is not None and stop.ends:
        verdict = Verdict(
            kind="hand-over",
            causes=(),
            places=(),
            title="Stop and hand over",
            remedy=stop.make_safe,
            remedy_id="stop",
            proof="",
            who=stop.hand_over_to,
            minutes=hand_over_cost(knowledge, stop.hand_over_to),
        )
    steps = _steps(work, network, useful, worlds, gates, verdict, stop, base)
    spent = sum(
        knowledge.checks[e.check].minutes + knowledge.checks[e.check].wait_minutes for e in case.entries if e.check
    )
    return Advice(
        knowledge=knowledge.digest,
        complaint=case.complaint,
        state=work.state,
        steadiness=work.steadiness,
        stop=stop,
        verdict=verdict,
        suspects=tuple(suspects),
        next=tuple(steps),
        doubts=tuple(dict.fromkeys(work.doubts)),
        not_judged=tuple(_not_judged(work)),
        derived=tuple(_derived(work)),
        fired=tuple(_fired(c) for c in work.conclusions.fired),
        contradictions=tuple(_contradictions(work)),
        checks_done=sum(1 for e in case.entries if e.check),
        minutes_spent=spent,
        episode=1 + sum(1 for e in case.entries if e.action),
    )


def _stop(stops: Sequence[Conclusion]) -> Stop | None:
    """The stop that counts: people before the machine, an ending one first; reasons of all are told."""
    if not stops:
        return None
    ordered = sorted(stops, key=lambda c: (c.rule.then.protects != "people", not c.rule.then.ends, c.rule.id))
    lead = ordered[0].rule.then
    reasons = list(dict.fromkeys(c.rule.then.reason for c in ordered))
    safe = list(dict.fromkeys(c.rule.then.make_safe for c in ordered if c.rule.then.protects == lead.protects))
    return Stop(
        reason=" ".join(reasons),
        make_safe=" ".join(safe),
        hand_over_to=lead.hand_over_to,
        protects=lead.protects or "people",
        ends=any(c.rule.then.ends for c in ordered),
        rule=ordered[0].rule.id,
    )


def _not_judged(work: Work) -> list[NotJudged]:
    out = [NotJudged(finding=f, place=p, why=w, until=u) for f, p, w, u in work.graded.not_judged]
    for conclusion in work.conclusions.of("not-judged"):
        then = conclusion.rule.then
        here = [k for k in work.dropped if k[0] in then.findings]
        for finding, place in sorted(here) or [(f, conclusion.place) for f in then.findings]:
            out.append(NotJudged(finding=finding, place=place, why=then.reason, until=then.release))
    return list({(n.finding, n.place): n for n in reversed(out)}.values())[::-1]


def _derived(work: Work) -> list[Derived]:
    out = []
    for value in [*work.derivation.values.values(), *work.derivation.conditioned]:
        metric = any(s.metric for s in value.sources)
        unit = SHOWN[value.kind][1 if metric else 0]
        title = DERIVED[value.quantity].title + (f" ({value.condition})" if value.condition else "")
        out.append(
            Derived(
                quantity=value.quantity,
                place=value.place,
                value=round(to_unit(value.value, value.kind, unit), 6),
                unit=unit,
                uncertainty=round(spread_in_unit(value.sd, value.kind, unit), 6),
                text=f"{title}: {show(value.value, value.kind, metric)}",
                **{"from": tuple(dict.fromkeys(s.quantity for s in value.sources))},
                word=work.graded.words_of.get((value.quantity, value.place), ""),
            )
        )
    return out


def _fired(conclusion: Conclusion) -> Fired:
    then = conclusion.rule.then
    return Fired(
        rule=conclusion.rule.id,
        kind=conclusion.rule.kind,
        title=conclusion.rule.title,
        because=conclusion.rule.because,
        place=conclusion.place,
        hold_point=f"{then.hold} Until: {then.release}" if conclusion.rule.kind == "hold-point" else "",
        **{"from": conclusion.because},
    )


def _contradictions(work: Work) -> list[str]:
    said = [f"{c.rule.then.reason} ({'; '.join(c.because)})" for c in work.conclusions.of("contradiction")]
    return list(dict.fromkeys([*(text[0].upper() + text[1:] for text in work.graded.impossible), *said]))


# suspects -------------------------------------------------------------------------------------------------------------------------


def _suspects(work: Work, network: Network, inference: Inference, belief: Belief, marginals: Array) -> list[Suspect]:
    knowledge = work.knowledge
    rows: list[tuple[float, str, int]] = [(float(p), "", i) for i, p in enumerate(marginals)]
    rows.append((belief.nothing(), "nothing", -1))
    instrument: dict[str, float] = {}
    for mode, p in belief.modes().items():
        instrument[mode] = p
    rows += [(p, mode, -2) for mode, p in instrument.items()]
    rows.sort(key=lambda r: (-r[0], r[1], r[2]))
    weights = _weights(network, inference, marginals)
    out: list[Suspect] = []
    for p, name, index in rows[:SHOWN_SUSPECTS]:
        if index >= 0:
            instance = network.instances[index]
            cause = knowledge.causes[instance.cause]
            for_, against = _reasons(work, weights, index) if len(out) < EXPLAINED_SUSPECTS else ((), ())
            out.append(
                Suspect(
                    cause=cause.id,
                    place=instance.place.id if not instance.place.folded else instance.place.kind,
                    title=cause.title,
                    kind=cause.kind,
                    probability=min(p, 1.0),
                    **{"for": for_},
                    against=against,
                    not_checked=_not_checked(work, cause),
                    chain=_chain(work, cause),
                    shows=cause.shows,
                    wrong_when=cause.wrong_when,
                )
            )
        elif name == "nothing":
            out.append(
                Suspect(
                    cause="nothing-wrong", place="unit", title="Nothing is wrong", kind="nothing-wrong", probability=p
                )
            )
        else:
            liar = inference.modes[name]
            shows = tuple(work.knowledge.findings[f].title for f, _ in liar.shows)
            out.append(
                Suspect(
                    cause=f"instrument:{name}",
                    place=liar.readings[0].place,
                    title=liar.title[0].upper() + liar.title[1:],
                    kind="instrument",
                    probability=p,
                    not_checked=shows,
                )
            )
    return out


def _weights(network: Network, inference: Inference, marginals: Array) -> dict[Key, Array]:
    """log10 likelihood ratio of each finding for each single cause against the rest, all instruments honest."""
    n = len(network.instances)
    first = np.arange(n + 1, dtype=np.int64)
    prior = np.concatenate([[max(1e-6, 1.0 - float(marginals.sum()))], marginals])
    prior = np.maximum(prior, 1e-9)
    out: dict[Key, Array] = {}
    for key, likelihood in inference.likelihoods.items():
        one = Inference(network, {key: likelihood}, {}, {}, {})
        joint = np.ones(n + 1)
        run = Pass(first, np.zeros(n + 1, dtype=np.int64), {key: likelihood}, {})
        for root in one.roots():
            joint = joint * one._message(root, run)[:, 0]
        total, mass = float((prior * joint).sum()), float(prior.sum())
        rest = (total - prior * joint) / np.maximum(mass - prior, 1e-9)
        out[key] = np.log10(np.maximum(joint, 1e-12) / np.maximum(rest, 1e-12))[1:]
    return out


def _reasons(work: Work, weights: Mapping[Key, Array], index: int) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    found = []
    for key, weight in weights.items():
        w = float(weight[index])
        if abs(w) < 0.1:
            continue
        if key[0].startswith("complaint:"):
            text = f"the call: {work.knowledge.complaints[work.case.complaint].title.lower()}"
        else:
            evidence = work.graded.evidence[key]
            text = "; ".join(evidence.texts) + (
                f" at {spell(key[1])}" if ":" in key[1] and not key[1].startswith("pump") else ""
            )
        found.append(Reason(finding=key[0], place=key[1], text=text, weight=round(w, 3)))
    found.sort(key=lambda r: -abs(r.weight))
    return tuple(r for r in found if r.weight > 0)[:8], tuple(r for r in found if r.weight < 0)[:8]


def _not_checked(work: Work, cause: Cause) -> tuple[str, ...]:
    answered = {e.check for e in work.case.entries if e.check}
    return tuple(
        work.knowledge.checks[c].title for c in cause.confirm if c in work.knowledge.checks and c not in answered
    )[:4]


def _chain(work: Work, cause: Cause) -> tuple[str, ...]:
    chain = [cause.title]
    effects = [e for e in cause.brings if e.effect]
    if effects:
        top = effects[0]
        chain.append(f"{work.knowledge.effects[top.effect or ''].title}: {next(iter(top.gives))}")
        below = next(
            (e for e in work.knowledge.effects.values() if e.parent == top.effect and next(iter(top.gives)) in e.given),
            None,
        )
        if below is not None:
            chain.append(f"{below.title}: {next(iter(below.given[next(iter(top.gives))]))}")
    chain.append(work.knowledge.complaints[work.case.complaint].title)
    return tuple(chain)


# verdict and steps --------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Lead:
    """The leading explanation: the top instance, the second, the pair, an instrument, nothing wrong, all as probabilities."""

    top: int
    p_top: float
    second: int
    p_second: float
    p_pair: float
    instrument: str
    p_instrument: float
    p_nothing: float
    same_remedy: tuple[int, ...]
    p_same: float


def _lead(work: Work, network: Network, belief: Belief, marginals: Array) -> Lead:
    order = np.argsort(-marginals, kind="stable")
    top, second = (int(order[0]), int(order[1])) if len(order) > 1 else (0, 0)
    p = belief.hypotheses()
    a, b = sorted((top + 1, second + 1))
    where = np.flatnonzero((belief.over.first == a) & (belief.over.second == b))
    pair = float(p[where].sum())
    modes = belief.modes()
    instrument = max(modes, key=lambda m: modes[m]) if modes else ""
    by_instrument: dict[str, float] = {}
    for name, q in modes.items():
        by_instrument[inference_mode_instrument(belief, name)] = (
            by_instrument.get(inference_mode_instrument(belief, name), 0.0) + q
        )
    cause = work.knowledge.causes[network.instances[top].cause]
    same = [
        i
        for i, inst in enumerate(network.instances)
        if i != top
        and inst.place == network.instances[top].place
        and (
            inst.cause in cause.inseparable
            or cause.id in work.knowledge.causes[inst.cause].inseparable
            or work.knowledge.causes[inst.cause].remedy.id == cause.remedy.id
        )
    ]
    group = np.isin(belief.over.first, [top + 1, *(i + 1 for i in same)]) | np.isin(
        belief.over.second, [top + 1, *(i + 1 for i in same)]
    )
    return Lead(
        top,
        float(marginals[top]),
        second,
        float(marginals[second]),
        pair,
        instrument,
        by_instrument.get(inference_mode_instrument(belief, instrument), 0.0) if instrument else 0.0,
        belief.nothing(),
        tuple(same),
        float(p[group].sum()),
    )


def inference_mode_instrument(belief: Belief, mode: str) -> str:
    """The instrument a mode is about."""
    return belief.inference.modes[mode].instrument


def _remedy_of(work: Work, network: Network, index: int) -> tuple[Cause, Remedy, str]:
    instance = network.instances[index]
    cause = work.knowledge.causes[instance.cause]
    return cause, cause.remedy, instance.place.id if not instance.place.folded else instance.place.kind


def _verdict(
    work: Work, network: Network, belief: Belief, lead: Lead, useful: Sequence[Scored], base: float, gates: Gates
) -> Verdict | None:
    table = work.knowledge.words.verdict
    best = min((s.value for s in useful), default=float("inf"))
    looking_pays = best < base * 0.995
    if gates.ask_first:
        return None
    confirm = _confirming(work, network, lead, useful)
    if lead.p_pair >= table["two-causes"] and not (looking_pays and lead.p_pair < CONFIDENT and confirm):
        return _two(work, network, lead)
    cause, remedy, place = _remedy_of(work, network, lead.top)
    quick = remedy.reversible and remedy.minutes <= table["quick-minutes"]
    needed = table["one-cause-quick"] if quick else table["one-cause"]
    if cause.kind == "normal":
        needed = table["normal"]
    settled = lead.p_top >= CONFIDENT or not looking_pays
    if lead.p_top >= needed and (settled and (lead.p_top >= CONFIDENT or quick or not confirm)):
        return _one(work, cause, remedy, place, "normal" if cause.kind == "normal" else "one-cause")
    if lead.p_instrument >= table["one-cause"] and not (looking_pays and lead.p_instrument < CONFIDENT):
        return _instrument(work, belief, lead)
    if lead.p_nothing >= table["normal"] and not looking_pays:
        return Verdict(
            kind="normal",
            causes=("nothing-wrong",),
            places=("unit",),
            title="Nothing found wrong",
            remedy="Explain what is normal; watch one full cycle and record the readings.",
            remedy_id="explain-normal",
            proof="Readings stay in their bands for an hour.",
            who="technician",
            minutes=10,
        )
    if lead.p_same >= needed and lead.same_remedy and not looking_pays:
        made = _one(work, cause, remedy, place, "inseparable")
        names = [network.instances[i].cause for i in lead.same_remedy]
        return made.model_copy(update={"causes": (cause.id, *names[:2]), "places": (place,) * (1 + len(names[:2]))})
    if useful:
        return None
    return _unresolved(work, network, lead)


def _confirming(work: Work, network: Network, lead: Lead, useful: Sequence[Scored]) -> list[Scored]:
    """Allowed looks that would confirm the leading cause and were not done: one of them comes before any part is replaced."""
    cause, remedy, _ = _remedy_of(work, network, lead.top)
    answered = {e.check for e in work.case.entries if e.check}
    read = {e.quantity for e in work.case.entries if e.quantity}
    for check_id in cause.confirm:
        check = work.knowledge.checks.get(check_id)
        if check is not None and (check_id in answered or check.reads and set(check.reads) & read):
            return []
    return [s for s in useful if s.candidate.check.id in cause.confirm]


def _one(work: Work, cause: Cause, remedy: Remedy, place: str, kind: str) -> Verdict:
    may = may_do(remedy.who, remedy.needs_qualified, work.case.role, work.case.qualified)
    who = remedy.hand_over_to or (
        remedy.who
        if may
        else "electrician"
        if "electrical" in remedy.needs_qualified
        else "refrigerant-technician"
        if "refrigerant" in remedy.needs_qualified
        else "technician"
    )
    return Verdict(
        kind=kind,
        causes=(cause.id,),
        places=(place,),
        title=cause.title,
        remedy=remedy.text,
        remedy_id=remedy.id,
        proof=cause.proof,
        who=who,
        minutes=remedy.minutes,
        cautions=cause.cautions,
        parts=remedy.parts,
    )


def _two(work: Work, network: Network, lead: Lead) -> Verdict:
    first, second = _remedy_of(work, network, lead.top), _remedy_of(work, network, lead.second)
    return Verdict(
        kind="two-causes",
        causes=(first[0].id, second[0].id),
        places=(first[2], second[2]),
        title=f"Two causes at once: {first[0].title} and {second[0].title}",
        remedy=f"1. {first[1].text} 2. {second[1].text}",
        remedy_id=first[1].id,
        proof=f"{first[0].proof} {second[0].proof}",
        who=first[1].who,
        minutes=first[1].minutes + second[1].minutes,
        cautions=(*first[0].cautions, *second[0].cautions),
        parts=(*first[1].parts, *second[1].parts),
    )


def _instrument(work: Work, belief: Belief, lead: Lead) -> Verdict:
    mode = belief.inference.modes[lead.instrument]
    card = work.knowledge.instruments[mode.kind]
    return Verdict(
        kind="one-cause",
        causes=(f"instrument:{lead.instrument}",),
        places=(mode.readings[0].place,),
        title=mode.title[0].upper() + mode.title[1:],
        remedy=card.remedy,
        remedy_id=f"instrument:{mode.instrument}",
        proof=card.proof,
        who="technician",
        minutes=12,
    )


def _unresolved(work: Work, network: Network, lead: Lead) -> Verdict:
    """No allowed look tells more: hand over to who may look further, with what would tell."""
    cause, remedy, _ = _remedy_of(work, network, lead.top)
    names = (network.instances[lead.top].cause, network.instances[lead.second].cause)
    missing = [
        work.knowledge.checks[c] for n in names for c in work.knowledge.causes[n].confirm if c in work.knowledge.checks
    ]
    beyond = [c for c in missing if not may_do(c.who, c.needs_qualified, work.case.role, work.case.qualified)]
    would = "; ".join(dict.fromkeys(c.title for c in (beyond or missing)))[:300]
    if beyond or work.case.role != "technician":
        to = (
            "electrician"
            if any("electrical" in c.needs_qualified for c in beyond)
            else ("refrigerant-technician" if any("refrigerant" in c.needs_qualified for c in beyond) else "technician")
        )
        return Verdict(
            kind="hand-over",
            causes=names,
            places=("unit", "unit"),
            title="Hand over to someone who may look further",
            remedy=f"Leave the unit safe; hand over to: {to}.",
            remedy_id="hand-over",
            proof="",
            who=to,
            minutes=hand_over_cost(work.knowledge, to),
            would_tell=would,
        )
    return Verdict(
        kind="cannot-tell",
        causes=names,
        places=("unit", "unit"),
        title="Cannot tell with what is known",
        remedy=f"Most likely: {cause.title}. What would tell: {would}",
        remedy_id=remedy.id,
        proof=cause.proof,
        who=remedy.who,
        minutes=remedy.minutes,
        would_tell=would,
    )


def _steps(
    work: Work,
    network: Network,
    useful: Sequence[Scored],
    worlds: Worlds,
    gates: Gates,
    verdict: Verdict | None,
    stop: Stop | None,
    base: float,
) -> list[Step]:
    knowledge, case = work.knowledge, work.case
    steps: list[Step] = []
    if stop is not None and stop.ends:
        return [_hand_over(work, stop.hand_over_to, stop.make_safe)]
    answered = {e.check for e in case.entries if e.check}
    for check_id in gates.ask_first:
        check = knowledge.checks[check_id]
        if may_do(check.who, check.needs_qualified, case.role, case.qualified):
            steps.append(
                _observe(
                    work,
                    Scored(Candidate(check, "unit", check.minutes), base, 0.0),
                    network,
                    worlds,
                    "Safety comes first.",
                )
            )
    if verdict is not None and verdict.kind not in ("hand-over",) and verdict.remedy_id not in gates.remedies:
        steps.append(
            Step(
                id=verdict.remedy_id,
                kind="repair",
                title=verdict.title,
                ask=verdict.remedy,
                minutes=verdict.minutes,
                expected_cost_minutes=base,
                who=verdict.who,
                cautions=verdict.cautions[:2],
                why=f"Proof of cure: {verdict.proof}",
            )
        )
    lead_cause = network.instances[int(np.argmax(_instance_mass(network, worlds)))].cause if network.instances else ""
    confirm = set(knowledge.causes[lead_cause].confirm) if lead_cause else set()
    settle = [c for c in gates.settle if c not in answered]

    def rank(one: Scored) -> tuple[float, float, str]:
        bonus = 0.0
        if one.candidate.check.id in settle:
            bonus -= 0.25 * base
        return one.value + bonus, -one.information, one.candidate.check.id

    for one in sorted(useful, key=rank)[:SHOWN_STEPS]:
        steps.append(
            _observe(
                work,
                one,
                network,
                worlds,
                "Confirms the leading suspect before anything is replaced. "
                if one.candidate.check.id in confirm and verdict is None
                else "",
            )
        )
    if verdict is None and not steps:
        steps.append(_hand_over(work, "technician", "Leave the unit safe."))
    if verdict is not None and verdict.kind == "hand-over":
        steps.insert(0, _hand_over(work, verdict.who, verdict.remedy))
    return steps[: SHOWN_STEPS + 2]


def _instance_mass(network: Network, worlds: Worlds) -> Array:
    out = np.zeros(len(network.instances) + 1)
    for p, world in zip(worlds.p, worlds.worlds, strict=True):
        out[worlds.over.first[world.row]] += p
        out[worlds.over.second[world.row]] += p
    result: Array = out[1:]
    return result


def _hand_over(work: Work, to: str, make_safe: str) -> Step:
    return Step(
        id="hand-over",
        kind="hand-over",
        title=f"Hand over to: {to}",
        ask=make_safe,
        minutes=0.0,
        expected_cost_minutes=hand_over_cost(work.knowledge, to),
        who="customer",
        why="What decides now is beyond what may be done here.",
    )


def _observe(work: Work, one: Scored, network: Network, worlds: Worlds, lead_in: str) -> Step:
    check, place = one.candidate.check, one.candidate.place
    customer = work.case.role != "technician"
    ask = check.telephone if customer and check.telephone else check.technician
    choices = tuple(
        Choice(id=a, text=card.text, probability=round(min(one.outcomes.get(a, 0.0), 1.0), 6))
        for a, card in check.answers.items()
    )
    shown_place = network.places[place].kind if place in network.places and network.places[place].folded else place
    return Step(
        id=check.id,
        kind="observe",
        title=check.title
        + (f" ({spell(place)})" if ":" in place and shown_place == place and not place.startswith("pump") else ""),
        ask=ask,
        answers=choices,
        reads=check.reads,
        place=shown_place,
        minutes=check.minutes + check.wait_minutes,
        expected_cost_minutes=round(one.value, 3),
        who=check.who,
        needs_qualified=check.needs_qualified,
        hazards=check.hazards,
        cautions=check.cautions[:2],
        tools=check.tools,
        state=check.state,
        why=lead_in + check.why,
        listen_for=check.listen_for,
        telephone=check.telephone,
    )
