"""Remedies as steps: the safety question first, and the quick one that may be tried before a verdict. Limits are the table's."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from diagnose.advise import advise
from diagnose.case import Case, Entry
from diagnose.looks import Gates, gates_of
from diagnose.network import Network
from diagnose.plan import Plan, Worlds, keep_worlds
from diagnose.plan_search import Choice
from diagnose.remedies import asked_before, worth_trying
from diagnose.suspects import likelihoods_by_cause
from diagnose.verdict import Lead, lead_of
from diagnose.work import Work, prepare, reason
from knowledge.load import Knowledge, load_knowledge

QUALIFIED = ["electrical", "refrigerant", "height"]


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def told(*answers: tuple[str, str], complaint: str = "no-control-power") -> Case:
    """A technician's call with these checks answered."""
    entries = [{"check": c, "answer": a} for c, a in answers]
    return Case.model_validate(
        {"complaint": complaint, "role": "technician", "qualified": QUALIFIED, "entries": entries}
    )


def test_the_safety_question_comes_before_the_remedy(base: Knowledge) -> None:
    """An emergency stop found pressed is released only once it is known that nothing smells burnt; the verdict stands before."""
    seen = (("estop-look", "pressed"), ("screen-look", "dark"))
    before = advise(told(*seen), base)
    assert before.verdict is not None and before.verdict.causes == ("emergency-stop-pressed",)
    assert before.next[0].id == "danger-signs-ask"
    assert not [s for s in before.next if s.kind == "repair"]
    after = advise(told(*seen, ("danger-signs-ask", "none")), base)
    assert [s.id for s in after.next if s.kind == "repair"] == [before.verdict.remedy_id]
    silent = told(*seen).model_copy(
        update={"entries": (*told(*seen).entries, Entry(check="danger-signs-ask", answer="cannot-tell"))}
    )
    assert not [s for s in advise(silent, base).next if s.kind == "repair"]


def test_a_remedy_that_an_answer_forbids_is_not_offered(base: Knowledge) -> None:
    """Raising the set point waits for ice; with ice found it is forbidden, and without an answer it is asked."""
    remedy = next(c.remedy for c in base.causes.values() if c.remedy.id == "raise-set-point")
    (check,) = remedy.needs
    wrong = next(a for a, card in base.checks[check].answers.items() if (card.word or a) not in remedy.needs[check])
    right = next(a for a, card in base.checks[check].answers.items() if (card.word or a) in remedy.needs[check])
    assert asked_before(prepare(told(), base), [remedy]) == [check]
    assert asked_before(prepare(told((check, right)), base), [remedy]) == []
    assert asked_before(prepare(told((check, wrong)), base), [remedy]) is None
    customer = told().model_copy(update={"role": "customer", "qualified": ()})
    assert asked_before(prepare(customer, base), [remedy]) == []  # left to whoever does it


@dataclass
class Made:
    """A call in which the search says: do the remedy of ``cause``, of which ``p`` is believed."""

    work: Work
    network: Network
    lead: Lead
    plan: Plan
    worlds: Worlds
    gates: Gates

    def tried(self) -> str:
        """Id of the step, "" for none."""
        step = worth_trying(self.work, self.network, self.lead, self.plan, self.worlds, self.gates)
        return step.id if step is not None else ""


def made(base: Knowledge, cause: str, p: float = 0.65, case: Case | None = None) -> Made:
    work = prepare(case or told(complaint="warm-supply"), base)
    network, inference, belief = reason(work)
    worlds = keep_worlds(belief, work.case.role, work.case.qualified)
    lead = lead_of(work, network, inference, belief, likelihoods_by_cause(network, inference), belief)
    top = next(n for n, i in enumerate(network.instances) if i.cause == cause)
    name = f"{base.causes[cause].remedy.id}@{network.instances[top].place.id}"
    if name not in worlds.remedies:
        worlds.remedies.append(name)
    choice = Choice("act", worlds.remedies.index(name), 40.0, 45.0, np.zeros(0), {})
    return Made(work, network, replace(lead, top=top, p_top=p), Plan(45.0, choice, []), worlds, gates_of(work))


def quick(base: Knowledge, needs: bool) -> str:
    """A fault with a remedy of at most five minutes that can be undone, with or without a safety question."""
    return next(
        c.id
        for c in base.causes.values()
        if c.kind == "fault" and c.remedy.reversible and c.remedy.minutes <= 5 and bool(c.remedy.needs) is needs
        and not c.remedy.hand_over_to and not c.remedy.needs_qualified
    )  # fmt: skip


def test_a_quick_remedy_may_be_tried_before_a_verdict(base: Knowledge) -> None:
    """From 0.6 on, when the search says so, and never else: a look is better, it takes longer, it cannot be undone."""
    cause = quick(base, needs=False)
    one = made(base, cause)
    assert one.tried() == base.causes[cause].remedy.id
    assert made(base, cause, p=0.59).tried() == ""
    looking = Choice("look", 0, 40.0, 45.0, np.zeros(0), {})
    assert replace(one, plan=replace(one.plan, choice=looking)).tried() == ""
    slow = next(
        c.id for c in base.causes.values() if c.kind == "fault" and c.remedy.minutes > 5 and c.remedy.reversible
    )
    for_good = next(c.id for c in base.causes.values() if c.kind == "fault" and not c.remedy.reversible)
    assert made(base, slow).tried() == "" and made(base, for_good).tried() == ""


def test_trying_is_gated_like_everything(base: Knowledge) -> None:
    """Forbidden by a rule, by an open safety question of the call or of the remedy, or by who stands there: not tried."""
    cause = quick(base, needs=False)
    one = made(base, cause)
    remedy = base.causes[cause].remedy
    assert replace(one, gates=Gates(remedies={remedy.id})).tried() == ""
    assert replace(one, gates=Gates(ask_first=["danger-signs-ask"])).tried() == ""
    customer = told(complaint="warm-supply").model_copy(update={"role": "customer", "qualified": ()})
    if remedy.who == "technician":
        assert made(base, cause, case=customer).tried() == ""
    assert made(base, quick(base, needs=True)).tried() == ""
