"""One simulated call worked by the planner to its verdict, and what is counted of it."""

from __future__ import annotations

import functools
import time
from typing import Any

from diagnose.advice import Advice, Suspect
from diagnose.advise import advise
from diagnose.case import Case, Machine
from diagnose.evaluate.answers import Person
from diagnose.evaluate.cases import Call, draw_call
from diagnose.prove.causes import group_of
from diagnose.replay import forbidden_steps
from knowledge.load import Knowledge, load_knowledge
from knowledge.models import Rule
from shared.errors import ChillerError

MOST_CHECKS = 15
NO_SUSPECT = Suspect(cause="", place="", title="", kind="unknown", probability=0.0)  # the reasoning failed
HELD = ("one-cause", "two-causes", "normal", "inseparable")
Row = dict[str, Any]


def work_call(knowledge: Knowledge, call: Call) -> Row:
    """Ask what the planner asks until its verdict, an ending stop, or fifteen checks."""
    start = time.process_time()
    person = Person(call, knowledge)
    asked: list[str] = []
    forbidden: list[str] = []
    case, used = call.case.model_copy(update={"entries": tuple(person.opening())}), False
    hazards: set[str] = set()
    advice = advise(case, knowledge)
    told_before = advice.minutes_spent
    while True:
        forbidden += forbidden_steps(advice, case)
        used = used or advice.used_expected
        looks = [s for s in advice.next if s.asks]
        if advice.verdict is not None or not looks or len(asked) >= MOST_CHECKS:
            break
        entries, told = person.answer(knowledge.checks[looks[0].id], looks[0].place)
        hazards |= set(looks[0].hazards)
        asked.append(f"{looks[0].id}: {told}")
        case = case.model_copy(update={"entries": (*case.entries, *entries)})
        advice = advise(case, knowledge)
    row = _row(knowledge, call, person, case, advice)
    ended = advice.stop is not None and advice.stop.ends
    verdict = advice.verdict
    if verdict is not None and not ended and verdict.kind in HELD:
        hazards |= _hazards_of(knowledge, verdict.remedy_id)
    said: dict[str, set[str]] = {}
    for entry in case.entries:
        if entry.check and entry.answer != "cannot-tell":
            check = knowledge.checks[entry.check]
            said.setdefault(check.finding or "", set()).add(check.answers[entry.answer].word or entry.answer)
    row |= {
        "asked": asked,
        "checks": len(asked),
        "minutes": round(advice.minutes_spent - told_before, 1),
        "forbidden": forbidden,
        "used_expected": used,
        "missed_stop": not ended and any(_led_into(knowledge, rule, hazards, said) for rule in row["due"]),
        "seconds": round(time.process_time() - start, 3),
    }
    return row


def _hazards_of(knowledge: Knowledge, remedy: str) -> set[str]:
    return {h for c in knowledge.causes.values() if c.remedy.id == remedy for h in c.remedy.hazards}


def _led_into(knowledge: Knowledge, rule_id: str, hazards: set[str], said: dict[str, set[str]]) -> bool:
    """Whether a stop was missed: the danger was told and no stop came, or somebody was led to a hazard of the kind before which
    cards ask this rule's safety question, without its having been asked. A wrong answer of the person is no miss of the tool.
    """
    conditions = [(c.finding, c.words) for c in knowledge.rules[rule_id].when if c.finding]
    if all(said.get(finding or "", set()) & set(words) for finding, words in conditions):
        return True
    findings = {f for f, _ in conditions}
    if findings & set(said):
        return False
    questions = {c.id for c in knowledge.checks.values() if c.finding in findings}
    kinds = {h for c in knowledge.checks.values() if questions & set(c.needs) for h in c.hazards}
    return bool(hazards & (kinds - {"none"}))


def _row(knowledge: Knowledge, call: Call, person: Person, case: Case, advice: Advice) -> Row:
    groups = [group_of(knowledge, c) for c in call.causes]
    ranks = [_rank(advice, g, call.kind) for g in groups] or [_rank(advice, frozenset(), "none")]
    lead, verdict = (advice.suspects or (NO_SUSPECT,))[0], advice.verdict
    held = verdict is not None and verdict.kind in HELD
    ended = advice.stop is not None and advice.stop.ends
    named = set(verdict.causes) if verdict else set()
    right = min(ranks) == 0
    fits = [i for i, c in enumerate(call.causes) if lead.cause == c]
    due = _due(knowledge, call, person, case)
    return {
        "number": call.number,
        "kind": call.kind,
        "made": call.made,
        "desk": "telephone" if call.telephone else "technician",
        "causes": list(call.causes),
        "places": list(call.places),
        "severities": list(call.severities),
        "complaint": call.case.complaint,
        "state": call.shot.state if call.shot else "",
        "lead": lead.cause,
        "lead_place": lead.place,
        "probability": round(lead.probability, 4),
        "right": right,
        "within_three": min(ranks) < 3,
        "both": all(r < 3 for r in ranks),
        "in_group": right and bool(call.causes) and not fits,
        "right_place": bool(fits) and lead.place in (call.places[fits[0]], call.places[fits[0]].split(":")[0]),
        "failed": "" if advice.suspects else " ".join(advice.doubts),
        "verdict": verdict.kind if verdict else "none",
        "wrong_verdict": bool(held and call.kind != "none" and not any(named & g for g in groups)),
        "stop": advice.stop.rule if advice.stop is not None and ended else "",
        "due": due,
        "wrong_stop": ended and not due,
        "top": [f"{s.cause}@{s.place} {s.probability:.2f}" for s in advice.suspects[:4]],
    }


def _rank(advice: Advice, group: frozenset[str], kind: str) -> int:
    """Place of the first suspect that is right; nothing at fault counts where nothing is."""
    for number, one in enumerate(advice.suspects):
        if one.cause in group or (kind == "none" and one.kind in ("nothing-wrong", "normal")):
            return number
    return 99


def _due(knowledge: Knowledge, call: Call, person: Person, case: Case) -> list[str]:
    """Rules that would end the call for the safety of people by what anybody there would notice (safety questions) or did find."""
    noticed = {c.finding for c in knowledge.checks.values() if c.safety}
    noticed |= {knowledge.checks[e.check].finding for e in case.entries if e.check and e.answer != "cannot-tell"}
    facts = {"role": call.case.role, "complaint": call.case.complaint}
    facts |= {
        f"qualified-{q}": "yes" if q in call.case.qualified else "no" for q in ("electrical", "refrigerant", "height")
    }
    facts |= {f"context-{c}": "yes" for c in call.case.context}
    return [
        rule.id
        for rule in knowledge.rules.values()
        if rule.kind == "stop"
        and rule.then.ends
        and {c.finding for c in rule.when if c.finding} <= noticed
        and _speaks(rule, person, facts)
    ]


def _speaks(rule: Rule, person: Person, facts: dict[str, str]) -> bool:
    def holds(finding: str | None, fact: str | None, words: tuple[str, ...]) -> bool:
        if finding is None:
            return facts.get(fact or "", "") in words
        kind = person.knowledge.findings[finding].place
        return any(person.word((finding, p.id)) in words for p in person.network.places.values() if p.kind == kind)

    met = all(holds(c.finding, c.fact, c.words) for c in rule.when)
    return met and not any(holds(c.finding, c.fact, c.words) for c in rule.unless)


# in a process of its own ---------------------------------------------------------------------------------------------


@functools.cache
def _cards(digest: str) -> Knowledge:
    """The cards, loaded once a process; those that were loaded first are worked to the end."""
    knowledge = load_knowledge()
    if knowledge.digest != digest:
        raise ChillerError("the cards changed while the evaluation ran", do="run it again into another folder")
    return knowledge


@functools.cache
def _machine(card: str) -> Machine | None:
    return Machine.model_validate_json(card) if card else None


def work_number(seed: int, number: int, digest: str, card: str = "") -> Row:
    """Draw and work call ``number``: what a worker does. card: JSON of a machine card, "" for a random machine."""
    knowledge = _cards(digest)
    return work_call(knowledge, draw_call(knowledge, seed, number, _machine(card)))
