"""What may be said on the telephone: checks that somebody untrained may do, and when to stop asking and hand over.

The person at the other end is taken as somebody of the site, whatever the call says of who is at the machine: who is heard and
not seen is qualified for nothing. The planner's own gates stand behind this and hold as well.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from diagnose.advice import Advice, Step
from diagnose.case import Case
from diagnose.store import Call, Event
from knowledge.load import Knowledge

# Ten minutes without progress, or two questions running that nobody can answer: common practice, no source.
MOST_MINUTES_WITHOUT_PROGRESS = 10
MOST_CANNOT_TELL = 2


def heard_case(case: Case) -> Case:
    """The case as the telephone desk reasons on it: nobody trained at the machine."""
    role = "customer" if case.role == "technician" else case.role
    return case.model_copy(update={"role": role, "qualified": ()})


def may_be_said(step: Step, knowledge: Knowledge) -> bool:
    """Whether a step may be shown at the telephone desk. What no card stands behind may not, except handing over.

    A look needs a card for everybody with a text to read out; a remedy must be everybody's on every cause it is for.
    """
    if step.kind == "hand-over":
        return True
    if step.kind == "reconfigure":
        return False  # nobody changes the set-up by ear
    check = knowledge.checks.get(step.id)
    if check is not None:
        return check.who == "customer" and not check.needs_qualified and bool(check.telephone)
    if step.kind != "repair":
        return False
    remedies = [c.remedy for c in knowledge.causes.values() if c.remedy.id == step.id]
    return bool(remedies) and all(r.who == "customer" and not r.needs_qualified for r in remedies)


def may_be_asked(quantity: str, knowledge: Knowledge) -> bool:
    """Whether a reading may be asked for on the telephone: some check for everybody reads it."""
    return any(quantity in c.reads and c.who == "customer" and c.telephone for c in knowledge.checks.values())


def sayable(advice: Advice, knowledge: Knowledge) -> tuple[Step, ...]:
    """The next steps that may be said, in order."""
    return tuple(step for step in advice.next if may_be_said(step, knowledge))


def _tells(event: Event) -> bool:
    body = event.body
    answered = body.get("check") and body.get("answer") != "cannot-tell"
    return event.kind == "entry" and bool(answered or body.get("quantity") or body.get("action") or body.get("finding"))


def last_progress(call: Call, waits_until: Iterable[datetime] = ()) -> datetime:
    """When the call last learnt something: an answer, a reading, something done, the end of a wait; else when it was opened."""
    told = [event.at for event in call.standing() if _tells(event)]
    return max([call.line.opened_at, *told, *waits_until])


def stuck(call: Call, now: datetime, waits_until: Iterable[datetime] = ()) -> str:
    """Why the asking should end and the call be handed over, in words; "" while it gets on."""
    checks = [event for event in call.standing() if event.kind == "entry" and event.body.get("check")]
    latest = checks[-MOST_CANNOT_TELL:]
    if len(latest) == MOST_CANNOT_TELL and not any(_tells(event) for event in latest):
        return "two questions in a row that nobody can answer"
    if now - last_progress(call, waits_until) >= timedelta(minutes=MOST_MINUTES_WITHOUT_PROGRESS):
        return "ten minutes without progress"
    return ""
