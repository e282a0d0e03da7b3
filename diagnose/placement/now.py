"""What is to be done now: one step of a placement. Pure."""

from __future__ import annotations

from collections.abc import Collection

from diagnose.placement.plan import Outlook, StepState, lacking_facts
from diagnose.placement.record import Placement
from knowledge.load import Knowledge

BACK = "return"


def going_back(placement: Placement, knowledge: Knowledge) -> bool:
    """Whether the machine is on its way back: the last thing done was a step of the return."""
    last = next((e for e in reversed(placement.entries) if e.outcome == "done"), None)
    step = knowledge.steps.get(last.step) if last is not None else None
    return step is not None and step.stage == BACK


def gone_back(seen: Outlook) -> bool:
    """Whether the return is done, step by step."""
    steps = [s for s in seen.steps if s.card.stage == BACK]
    return bool(steps) and all(s.state in ("done", "left") for s in steps)


def may_do(one: StepState, placement: Placement) -> bool:
    """Whether whoever is here is qualified for a step."""
    return set(one.card.needs_qualified) <= set(placement.qualified)


def current(
    seen: Outlook, placement: Placement, knowledge: Knowledge, in_trouble: Collection[str] = ()
) -> StepState | None:
    """The step to show, None where everything waits or is done. in_trouble: steps whose trouble call is open.

    What was not right comes again once its call is closed; then the return, if it has begun; then what may be done next, by
    whoever is here if there is any such step; then what was left out and is now missing; rounds last. The return is never
    proposed before somebody begins it.
    """
    wrong = [s for s in seen.steps if s.state == "not-right" and s.card.id not in in_trouble]
    if again := [s for s in wrong if s.card.not_right]:
        return again[0]
    if going_back(placement, knowledge):
        return next((s for s in seen.next if s.card.stage == BACK), None)
    ahead = [s for s in seen.next if s.card.stage != BACK and not s.card.again]
    if ahead:
        return next((s for s in ahead if may_do(s, placement)), ahead[0])
    if wrong:
        return wrong[0]
    missing = {
        (fact, word)
        for s in seen.steps
        if s.state == "waits" and s.card.stage != BACK
        for fact, words in s.card.requires.items()
        if lacking_facts(s.card, seen.facts)
        for word in words
        if seen.facts[fact] not in words
    }
    left = (s for s in seen.steps if s.state == "left" and missing & set(s.card.sets.items()))
    return next(left, None) or next((s for s in seen.next if s.card.again), None)
