"""Which looks may be offered: authority, hazard, machine state, relevance, and what each would let us judge."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from diagnose.belief import Belief
from diagnose.case import Case
from diagnose.derive import INPUTS
from diagnose.grade import band_rows, choose_band
from diagnose.network import Key, Network
from diagnose.places import ALL_CIRCUITS
from diagnose.plan import (
    Candidate,
    check_cost,
    may_do,
)
from diagnose.readings import RESTING, place_of, spoken_circuits
from diagnose.setups import Changed, otherwise
from diagnose.work import Work
from knowledge.models import Check, Setup
from shared.quantities import DERIVED, QUANTITIES


@dataclass
class Gates:
    """What the rules forbid on top of the cards."""

    hazards: set[str] = field(default_factory=set)
    states: set[str] = field(default_factory=set)
    remedies: set[str] = field(default_factory=set)
    ask_first: list[str] = field(default_factory=list)
    settle: list[str] = field(default_factory=list)


def gates_of(work: Work) -> Gates:
    gates = Gates()
    for conclusion in work.conclusions.of("gate", "hold-point", "stop", "contradiction"):
        then = conclusion.rule.then
        gates.hazards |= set(then.forbid_hazards)
        gates.states |= set(then.forbid_states)
        gates.remedies |= set(then.forbid_remedies)
        if then.ask_first and then.ask_first not in gates.ask_first:
            gates.ask_first.append(then.ask_first)
        gates.settle += [s for s in then.settle if s not in gates.settle]
    gates.settle += [s for s in work.graded.settle if s not in gates.settle]
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


def may_change(work: Work, setup: Setup, gates: Gates) -> bool:
    """Whether the set-up may be changed now: one change at a time, no stop, no safety question open, nothing that forbids it.

    Who may do it at all, hazards and states are `allowed`, as for every look.
    """
    closed = work.changed or gates.ask_first or work.conclusions.of("stop")
    return not closed and setup.id not in gates.remedies


def _word_of(work: Work, check_id: str) -> str | None:
    """The answer word given to a check, None when it was not answered, "" for cannot tell."""
    for entry in reversed(work.case.entries):
        if entry.check == check_id and not (entry.again and entry.answer == "cannot-tell"):
            return (
                ""
                if entry.answer == "cannot-tell"
                else (work.knowledge.checks[check_id].answers[entry.answer].word or entry.answer)
            )
    return None


def unmet_needs(work: Work, needs: Mapping[str, Sequence[str]]) -> list[str] | None:
    """Safety questions still to be asked before a step; None when an answer forbids the step. Unknown is not yes."""
    ask = []
    for check_id, words in needs.items():
        word = _word_of(work, check_id)
        if word is None or word == "":
            ask.append(check_id)
        elif word not in words:
            return None
    return ask


def tells_for(work: Work, network: Network) -> Callable[[Check, str], list[Key]]:
    """Findings at places that a check at a place will let us judge, given what was read already and the machine card."""
    rows = band_rows(work.knowledge)
    possible = _possible_quantities(work)

    def judged(check: Check, name: str, where: str) -> bool:
        table = work.readings.resting if check.state in RESTING else work.readings.running
        have = {q for (q, p) in table if p == where or p == read_place(q, where, network)}
        quantities = possible & {
            quantity
            for quantity, alternatives in INPUTS.items()
            if any(a & set(check.reads) and a <= have | set(check.reads) for a in alternatives)
        }
        return choose_band(rows.get(name, ()), work.facts, quantities) is not None

    def tells(check: Check, place: str) -> list[Key]:
        keys: list[Key] = []
        near = network.places.get(place, network.places["unit"])
        for name in [check.finding] if check.finding else check.tells:
            finding = work.knowledge.findings[name or ""]
            where = place if near.kind == finding.place else network.place_for(finding.place, near)
            if not finding.weighed or where is None or not network.touches((finding.id, where)):
                continue
            if check.reads and ((finding.id, where) in work.dropped or not judged(check, finding.id, where)):
                continue
            keys.append((finding.id, where))
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
        "set_point_over_card": machine.get("set_point") or "set_point" in machine.card,
        "frequency_ratio": machine.get("frequency"),
        "drive_frequency_ratio": machine.get("frequency"),
        "compressor_current_ratio": machine.get("compressor_plate_current"),
        "fan_current_ratio": machine.get("fan_plate_current"),
        "condenser_split_over_clean": "condenser_split" in machine.card,
        "subcooling_over_card": "subcooling" in machine.card,
    }
    out -= {name for name, have in needs.items() if not have}
    if not machine.refrigerant:
        out -= {
            "suction_saturation",
            "suction_over_set",
            "superheat",
            "subcooling",
            "subcooling_over_card",
            "approach",
            "condenser_split",
            "condenser_split_over_clean",
            "condensing_temperature",
            "discharge_excess",
            "standing_excess",
            "freeze_margin",
        }
    return out


def relevant_checks(work: Work, network: Network, belief: Belief, gates: Gates) -> set[str]:
    """Checks that belong to this call: by their families, or because they confirm or clear a suspect that counts, give
    away an instrument that may lie, or settle a contradiction. A far-off look is not worth its minute."""
    knowledge = work.knowledge
    counts = knowledge.words.verdict["relevant"]
    out = {c.id for c in knowledge.checks.values() if work.case.complaint in c.families}
    marginals = belief.causes()
    for index in np.flatnonzero(marginals >= counts):
        cause = knowledge.causes[network.instances[index].cause]
        out |= {*cause.confirm, *cause.clear}
    shows = {f for mode, p in belief.modes().items() if p >= counts for f, _ in belief.inference.modes[mode].shows}
    liars = {
        r.quantity for mode, p in belief.modes().items() if p >= counts for r in belief.inference.modes[mode].readings
    }
    out |= {c.id for c in knowledge.checks.values() if c.finding in shows or c.again and set(c.reads) & liars}
    return out | set(gates.settle) | set(gates.ask_first)


def candidates(work: Work, network: Network, gates: Gates, relevant: set[str]) -> list[Candidate]:
    """Looks that may be offered, each with its full cost, how likely an answer comes, and safety questions to ask before."""
    knowledge, case = work.knowledge, work.case
    spoken = spoken_circuits(case, work.topology)
    entries = [e for e in case.entries if e.check]
    done = {(e.check, place_of(e, knowledge.checks[e.check].place, work.topology, spoken)) for e in entries}
    asked = {e.check for e in entries}
    vague = {
        name for name, place in done if place.endswith("??")
    }  # answered for no compressor in particular: not asked of each
    missed = missed_checks(work)
    silent = {c.id for c in missed if not c.reads}
    in_vain = {one for c in missed for one in _taken_with(c)}
    open_access = opened_access(work)
    out: list[Candidate] = []
    for check in knowledge.checks.values():
        if (
            check.id not in relevant
            or check.id in vague
            or not allowed(check, case, gates)
            or not fits_machine(check, work.facts)
        ):
            continue
        if otherwise(check, work.changed) or isinstance(check, Setup) and not may_change(work, check, gates):
            continue
        unmet = unmet_needs(work, check.needs)
        if unmet is None or asked & set(unmet):
            continue
        for place in _check_places(check, network):
            if (check.id, place) in done or (check.id, place.replace(":*", ":A")) in done:
                continue
            if place.startswith("circuit:") and (check.id, ALL_CIRCUITS) in done:
                continue
            if check.reads and _already_read(work, check, place, network):
                continue
            cost = check_cost(knowledge, check, open_access, work.state)
            cover = check.access if check.access and check.access not in open_access else ""
            saves = cost - check_cost(knowledge, check, (cover,), work.state) if cover else 0.0
            cost += sum(check_cost(knowledge, knowledge.checks[u], (), work.state) for u in unmet)
            chance, settles = _answer_chance(work, check), check.id in gates.settle
            # who could not tell it of one compressor will hardly tell it of the next; who has no gauge has none for this look either
            if check.id in silent or in_vain & _taken_with(check):
                chance *= knowledge.words.verdict["answer-chance-elsewhere"]
            out.append(Candidate(check, place, cost, chance, tuple(unmet), cover, saves, settles, _eases(work, check)))
    return [replace(one, blocks=_blocked(one.check, out)) if one.eases else one for one in out]


def second_looks(work: Work, network: Network, gates: Gates, relevant: set[str]) -> list[Candidate]:
    """Looks answered in words that may be made once more, since an answer may be a slip; a third time where two differ.

    Readings are not among them: a number that cannot be is settled by another instrument.
    """
    knowledge, case, spoken = work.knowledge, work.case, spoken_circuits(work.case, work.topology)
    said: dict[tuple[str, str], list[str]] = {}
    for entry in case.entries:
        check = knowledge.checks.get(entry.check)
        if check is None or check.safety or check.reads or isinstance(check, Setup):
            continue
        where = check.id, place_of(entry, check.place, work.topology, spoken)
        if entry.answer in check.answers:
            said[where] = [*(said.get(where, []) if entry.again else []), entry.answer]
        elif entry.again:
            said.pop(where, None)  # who could not tell it the second time is not asked a third
    open_access = opened_access(work)
    out = []
    for (name, place), answers in said.items():
        check = knowledge.checks[name]
        settled = len(answers) > 2 or len(answers) == 2 and len(set(answers)) == 1
        if settled or name not in relevant or place not in _check_places(check, network):
            continue
        if not allowed(check, case, gates) or not fits_machine(check, work.facts) or otherwise(check, work.changed):
            continue
        if unmet_needs(work, check.needs) == []:
            cost = check_cost(knowledge, check, open_access, work.state)
            out.append(Candidate(check, place, cost, _answer_chance(work, check), said=tuple(answers)))
    return out


def _taken_with(check: Check) -> set[tuple[str, bool]]:
    """(quantity, whether with a tool) of a look that takes readings: a display that shows nothing says nothing about gauges."""
    return {(quantity, bool(check.tools)) for quantity in check.reads}


def _blocked(setup: Check, among: Sequence[Candidate]) -> frozenset[tuple[str, str]]:
    """Looks that cannot be made while the set-up stands changed."""
    assert isinstance(setup, Setup)
    changed = (Changed(setup, "", "gone"),)
    return frozenset((c.check.id, c.place) for c in among if c.check.id != setup.id and otherwise(c.check, changed))


def _eases(work: Work, check: Check) -> dict[str, float]:
    """What a minute counts after the answer that means that the site is cooled meanwhile."""
    if not isinstance(check, Setup) or check.cools == "no":
        return {}
    table = work.knowledge.words.verdict
    return {check.outcomes["gone"]: table["cooled-meanwhile" if check.cools == "full" else "cooled-in-part"]}


def unanswered(work: Work, network: Network, gates: Gates, among: Sequence[int]) -> list[Candidate]:
    """Looks that confirm one of these instances, may be done here, and got no answer but "cannot tell" when they were asked."""
    told = {e.check for e in work.case.entries if e.check and e.answer != "cannot-tell"}
    silent = {c.id for c in missed_checks(work)} - told
    wanted = [c for i in among for c in work.knowledge.causes[network.instances[i].cause].confirm if c in silent]
    out = []
    for check in (work.knowledge.checks[name] for name in dict.fromkeys(wanted)):
        free = allowed(check, work.case, gates) and fits_machine(check, work.facts)
        free = free and not otherwise(check, work.changed)
        free = free and (not isinstance(check, Setup) or may_change(work, check, gates))
        if check.finding and free and unmet_needs(work, check.needs) == []:
            cost = check_cost(work.knowledge, check, opened_access(work), work.state)
            out.append(Candidate(check, _check_places(check, network)[0], cost))
    return out


def opened_access(work: Work) -> set[str]:
    """Covers off and gauges on, as far as what was done, read or told shows."""
    case = work.case
    asked = {e.check for e in case.entries if e.check and e.answer != "cannot-tell"}
    read = {e.quantity for e in case.entries if e.quantity and e.source == "today"}
    told = {e.finding for e in case.entries if e.finding}
    return {
        check.access
        for check in work.knowledge.checks.values()
        if check.access and (check.id in asked or read & set(check.reads) or told & set(check.tells))
    }


def fits_machine(check: Check, facts: Mapping[str, str]) -> bool:
    """A check for another kind of machine (a drive, an electronic valve) is not asked where the card says otherwise."""
    return all(name not in facts or facts[name] in words for name, words in check.when.items())


def missed_checks(work: Work) -> list[Check]:
    """The check of each "cannot tell" of this call; none where a reading it takes, or a finding it tells, was given all the same.

    A note beside it is a reason that lies in the machine (nothing to be seen in this state), not in who looks.
    """
    given = {e.quantity for e in work.case.entries if e.quantity} | {e.finding for e in work.case.entries if e.finding}
    asked = [e for e in work.case.entries if e.check and e.answer == "cannot-tell" and not e.note]
    checks = [work.knowledge.checks[e.check] for e in asked]
    return [c for c in checks if not given & {*c.reads, *c.tells}]


def _answer_chance(work: Work, check: Check) -> float:
    """How likely this look gets an answer: by how this person answered so far, less after "cannot tell" about the same system.

    The table's chance counts as much as ``answer-chance-weight`` questions that were asked before.
    """
    table = work.knowledge.words.verdict
    missed = missed_checks(work)
    asked = sum(bool(e.check) for e in work.case.entries)
    weight = table["answer-chance-weight"]
    share = (weight * table["answer-chance"] + max(asked - len(missed), 0)) / (weight + asked)
    failed = sum(c.system == check.system for c in missed)
    return float(share * table["answer-chance-after-miss"] ** failed)


def _already_read(work: Work, check: Check, place: str, network: Network) -> bool:
    """A reading check is done when its readings were given in its state, or when all it tells is graded from numbers."""
    if check.again:
        return False
    table = work.readings.resting if check.state in RESTING else work.readings.running
    if all((q, read_place(q, place, network)) in table for q in check.reads):
        return True
    near = network.places.get(place, network.places["unit"])
    for name in check.tells:
        finding = work.knowledge.findings[name]
        where = place if near.kind == finding.place else network.place_for(finding.place, near)
        known = work.graded.evidence.get((name, where or ""))
        if known is None or known.derived is None:
            return False
    return bool(check.tells)


def read_place(quantity: str, place: str, network: Network) -> str:
    """Where a quantity is read when its check is done at ``place``."""
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
