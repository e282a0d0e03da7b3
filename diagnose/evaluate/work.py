"""One simulated call worked by the planner, verdict after verdict until it is cured, and what is counted of it."""

from __future__ import annotations

import functools
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from diagnose.advice import Advice, Step, Suspect, Verdict
from diagnose.advise import advise
from diagnose.again import told_before
from diagnose.case import Case, Machine
from diagnose.evaluate.answers import Person
from diagnose.evaluate.cases import Call, draw_call, noticed, tried_again
from diagnose.evaluate.mending import Tried, tried
from diagnose.prove.causes import group_of
from diagnose.replay import forbidden_steps
from knowledge.load import Knowledge, load_knowledge
from knowledge.models import Rule
from shared.errors import ChillerError

MOST_CHECKS = 15
MOST_WRONG = 2  # remedies that did not help before whoever stands there has had enough
NO_SUSPECT = Suspect(cause="", place="", title="", kind="unknown", probability=0.0)  # the reasoning failed
HELD = ("one-cause", "two-causes", "normal", "inseparable")
Row = dict[str, Any]


@dataclass
class Part:
    """What was asked between two remedies. call: what is wrong meanwhile; case: all told until its end, of which the first
    ``earlier`` entries were told before.
    """

    call: Call
    person: Person
    case: Case
    advice: Advice
    earlier: int
    asked: list[str] = field(default_factory=list)
    before: float = 0.0  # minutes that were spent when its asking began
    hazards: set[str] = field(default_factory=set)
    forbidden: list[str] = field(default_factory=list)
    used_expected: bool = False

    @property
    def ended(self) -> bool:
        """Whether a stop ended the call here."""
        return self.advice.stop is not None and self.advice.stop.ends

    @property
    def own(self) -> Case:
        """The case with what was told in this part alone: an answer from before a remedy is no answer of now."""
        return self.case.model_copy(update={"entries": self.case.entries[self.earlier :]})

    @property
    def held(self) -> Verdict | None:
        """The verdict that names what to do, if there is one."""
        verdict = self.advice.verdict
        return verdict if verdict is not None and not self.ended and verdict.kind in HELD else None


def work_call(knowledge: Knowledge, call: Call) -> Row:
    """Ask what the planner asks until its verdict; do what that says; go on where the machine is not cured by it.

    What the row says of right and wrong, checks and minutes is as of the first verdict; `_end` adds the rest.
    """
    start = time.process_time()
    parts: list[Part] = []
    remedies: list[Tried] = []
    wrong, now, minutes = 0, Person(call, knowledge), 0.0
    spent: float | None = None  # minutes of this call when its last part ended
    told, seen = call.case.entries, now.opening()
    while True:
        part = _part(knowledge, now, now.call.case.model_copy(update={"entries": (*told, *seen)}), len(told))
        parts.append(part)
        if len(parts) == 1:
            row = _row(knowledge, call, part.person, part.case, part.advice)
            row |= {
                "asked": list(part.asked),
                "checks": len(part.asked),
                "minutes": round(part.advice.minutes_spent - part.before, 1),
                "told": sum(e.answer != "cannot-tell" for e in seen),
            }
        may, verdict = _allowed_to_mend(knowledge, part), part.held
        # what is told with a complaint costs nobody a minute, looking again after a remedy does
        minutes += part.advice.minutes_spent - (spent if spent is not None else part.before)
        if verdict is None or not may:
            break
        part.hazards |= _hazards_of(knowledge, verdict.remedy_id)
        done = tried(knowledge, now.call, verdict)
        remedies.append(done)
        minutes += verdict.minutes
        wrong += not done.helped
        if done.outcome == "cured" or wrong > MOST_WRONG:
            break
        now = Person(done.call, knowledge)
        if done.outcome == "another":
            told, seen, spent = (), now.opening(), None
        else:
            spent = part.advice.minutes_spent
            told, seen = (*part.case.entries, *done.entries), now.afterwards(_proofs(knowledge, verdict, part.own))
    return row | {
        "forbidden": [f for p in parts for f in p.forbidden],
        "used_expected": parts[0].used_expected,
        "missed_stop": any(_missed(knowledge, p) for p in parts),
        **_end(knowledge, call, parts, remedies, minutes),
        "seconds": round(time.process_time() - start, 3),
    }


def _proofs(knowledge: Knowledge, verdict: Verdict, case: Case) -> list[tuple[str, str]]:
    """Looks (check, place) that confirm a cause of the verdict and were answered: made again, they prove the cure or deny it."""
    confirm = {look for c in verdict.causes if c in knowledge.causes for look in knowledge.causes[c].confirm}
    read = {e.quantity for e in case.entries if e.quantity}
    return [
        (e.check, e.place)
        for e in case.entries
        if e.check in confirm and (e.answer != "cannot-tell" or read & set(knowledge.checks[e.check].reads))
    ]


def _part(knowledge: Knowledge, person: Person, case: Case, earlier: int) -> Part:
    """Ask until a verdict, an ending stop, or fifteen checks."""
    part = Part(person.call, person, case, advise(case, knowledge), earlier)
    part.before = part.advice.minutes_spent
    while True:
        part.forbidden += forbidden_steps(part.advice, part.case)
        part.used_expected |= part.advice.used_expected
        looks = [s for s in part.advice.next if s.asks]
        if part.advice.verdict is not None or not looks or len(part.asked) >= MOST_CHECKS:
            break
        _ask(knowledge, part, looks[0])
    return part


def _ask(knowledge: Knowledge, part: Part, look: Step) -> None:
    entries, told = part.person.answer(knowledge.checks[look.id], look.place, told_before(look, part.case.entries))
    part.hazards |= set(look.hazards)
    part.asked.append(f"{look.id}: {told}")
    part.case = part.case.model_copy(update={"entries": (*part.case.entries, *entries)})
    part.advice = advise(part.case, knowledge)


def _allowed_to_mend(knowledge: Knowledge, part: Part) -> bool:
    """Answer the safety questions that come before the remedy of a verdict; False where that ended the call or took the verdict back."""
    while part.held is not None:
        first = part.advice.next[0] if part.advice.next else None
        if first is None or first.id not in knowledge.checks or not knowledge.checks[first.id].safety:
            return True
        _ask(knowledge, part, first)
        part.forbidden += forbidden_steps(part.advice, part.case)
    return False


def _missed(knowledge: Knowledge, part: Part) -> bool:
    """Whether a stop that was due in this part did not come."""
    said: dict[str, set[str]] = {}
    for entry in part.own.entries:
        if entry.check and entry.answer != "cannot-tell":
            check = knowledge.checks[entry.check]
            said.setdefault(check.finding or "", set()).add(check.answers[entry.answer].word or entry.answer)
    due = _due(knowledge, part.call, part.person, part.own)
    return not part.ended and any(_led_into(knowledge, rule, part.hazards, said) for rule in due)


def _end(
    knowledge: Knowledge, call: Call, parts: Sequence[Part], remedies: Sequence[Tried], minutes: float
) -> dict[str, Any]:
    """The whole call: whether it was put right, what that took, and whether every cause was among the first three when the asking
    ended while it was there.
    """
    groups = {c: group_of(knowledge, c) for c in call.causes}
    ranked = {c: min(_rank(p.advice, g, call.kind) for p in parts if c in p.call.causes) for c, g in groups.items()}
    cured = bool(remedies) and remedies[-1].outcome == "cured"
    last = parts[-1]
    stopped = len(parts) > 1 and last.ended
    return {
        "both": bool(ranked) and all(r < 3 for r in ranked.values()),
        "noticeable": _noticeable(knowledge, call) if call.kind == "double" else [],
        "second_hidden": cured and bool(remedies[-1].call.causes),
        "resolved": cured,
        "parts": len(parts),
        "next_call": any(t.outcome == "another" for t in remedies),
        "later_stop": last.advice.stop.rule if stopped and last.advice.stop else "",
        "later_due": _due(knowledge, last.call, last.person, last.own) if stopped else [],
        "remedies": [
            f"{t.entries[-1].action}@{t.entries[-1].place}: {t.outcome}{'' if t.helped else ' (no true cause)'}"
            for t in remedies
        ],
        "wrong_remedies": sum(not t.helped for t in remedies),
        "checks_in_all": sum(len(p.asked) for p in parts),
        "minutes_in_all": round(minutes, 1),
        "ends": [_told(p) for p in parts],
    }


def _told(part: Part) -> dict[str, Any]:
    """How a part ended: what was still wrong, what was asked, what was held."""
    verdict = part.advice.verdict
    return {
        "causes": list(part.call.causes),
        "complaint": part.case.complaint,
        "asked": part.asked,
        "verdict": f"{verdict.kind}: {', '.join(verdict.causes)}" if verdict else "none",
        "top": [f"{s.cause}@{s.place} {s.probability:.2f}" for s in part.advice.suspects[:4]],
    }


def _noticeable(knowledge: Knowledge, call: Call) -> list[bool]:
    """Of each of two causes, whether anybody would notice it if it were the only one today."""
    numbers = range(len(call.causes))
    return [noticed(tried_again(call, [n for n in numbers if n != own]), knowledge) for own in numbers]


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
        "in_group": right and bool(call.causes) and not fits,
        "right_place": bool(fits) and lead.place in (call.places[fits[0]], call.places[fits[0]].split(":")[0]),
        "failed": "" if advice.suspects else " ".join(advice.doubts),
        "normal": any(knowledge.causes[c].kind == "normal" for c in call.causes),
        "told_nothing": bool(held and verdict is not None and verdict.kind == "normal"),
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
