"""What the plan proposes and what it never does: no empty question, nothing beyond authority or gate for any price, one cover
paid once, what was seen before a remedy no reading of now.

The costs are those of the cards; the expectations follow from the design, not from a published source.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from diagnose.advise import advise
from diagnose.case import Case, Entry
from diagnose.looks import allowed, candidates, gates_of, tells_for
from diagnose.plan import Predictor, answer_table, check_cost, information, keep_worlds, plan_next
from diagnose.plan_search import Acting
from diagnose.predicted import LookAhead
from diagnose.prove.ahead import distance
from diagnose.replay import read_call
from diagnose.work import prepare, reason
from knowledge.load import Knowledge, load_knowledge

ROOT = Path(__file__).parents[2]
CALLS = sorted((ROOT / "tests/calls").glob("*.yaml"))[::4]


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


@pytest.mark.parametrize("path", CALLS, ids=lambda p: p.stem)
def test_no_question_that_can_change_nothing(path: Path, base: Knowledge) -> None:
    """Every look proposed can change the belief by more than 1e-4, or is a safety question, or settles a contradiction."""
    case = read_call(path, base).case
    advice = advise(case, base)
    work = prepare(case, base)
    ahead, gates = LookAhead(work, *reason(work)), gates_of(work)
    spoken = {*gates.ask_first, *gates.settle}
    for step in advice.next:
        check = base.checks.get(step.id)
        if step.kind != "observe" or check is None or check.safety or check.reads or check.id in spoken:
            continue
        if any(check.id in other.needs for other in base.checks.values()):
            continue  # asked before another step
        place = next(p.id for p in work.places.values() if step.place in (p.id, p.kind))
        beliefs = [a.belief for a in ahead.after(check, place)]
        assert beliefs and max(distance(b, ahead.belief) for b in beliefs) > 1e-4, check.id


def dear(base: Knowledge) -> Knowledge:
    """The same cards where care costs nothing and handing over costs a week: every temptation to overstep."""
    words = base.words.model_copy(
        update={
            "hazard_minutes": dict.fromkeys(base.words.hazard_minutes, 0.0),
            "hand_over_minutes": dict.fromkeys(base.words.hand_over_minutes, 10_000.0),
        }
    )
    return dataclasses.replace(base, words=words, memo={})


@pytest.mark.parametrize("path", CALLS, ids=lambda p: p.stem)
@pytest.mark.parametrize("role", ["customer", "technician"])
def test_no_price_buys_authority_or_a_gate(path: Path, role: str, base: Knowledge) -> None:
    """With care for nothing and handing over at a week, what a person may not do or a rule forbids is still not proposed."""
    case = read_call(path, base).case.model_copy(update={"role": role, "qualified": ()})
    tempted = dear(base)
    work = prepare(case, tempted)
    gates = gates_of(work)
    for step in advise(case, tempted).next:
        check = base.checks.get(step.id)
        if step.kind == "observe" and check is not None:
            assert allowed(check, case, gates) or check.id in gates.ask_first
            assert not check.needs_qualified
            assert role == "technician" or check.who != "technician"
        if step.kind == "repair":
            assert role == "technician" and not step.needs_qualified


def test_a_cover_is_paid_once(base: Knowledge) -> None:
    """Three looks behind one cover: once the first was done, the others no longer pay opening, tools and care."""
    behind = [c for c in base.checks.values() if c.access == "panel-cover" and c.who == "technician" and c.answers]
    assert len(behind) >= 3
    case = Case.model_validate(
        {
            "complaint": "compressor-wont-start",
            "role": "technician",
            "qualified": ["electrical", "refrigerant", "height"],
        }
    )
    first, *others = sorted(behind, key=lambda c: c.id)
    done = case.model_copy(update={"entries": (Entry(check=first.id, answer=next(iter(first.answers))),)})
    costs = []
    for one in (case, done):
        work = prepare(one, base)
        network, _, _ = reason(work)
        found = candidates(work, network, gates_of(work), {c.id for c in behind})
        costs.append({c.check.id: c for c in found})
    both = [c for c in others if c.id in costs[0] and c.id in costs[1] and not c.needs]
    assert len(both) >= 2
    for check in both:
        closed, opened = costs[0][check.id], costs[1][check.id]
        assert closed.cover == "panel-cover" and opened.cover == ""
        assert (
            closed.saves == pytest.approx(closed.cost - opened.cost)
            and closed.saves >= base.words.access_minutes["panel-cover"]
        )
        assert check_cost(base, check, ["panel-cover"], "any") < check_cost(base, check, [], "any")


def test_answers_are_foreseen_as_they_will_be_weighed(base: Knowledge) -> None:
    """P(answer | word) is in proportion to the likelihood the answer gets once given; all answers of a word sum to at most 1."""
    for check in base.checks.values():
        finding = base.findings.get(check.finding or "")
        if finding is None or not check.answers:
            continue
        words = finding.ordered or finding.words
        answers, table = answer_table(base, check, words)
        assert table.shape == (len(words), len(answers)) and (table > 0).all()
        assert (table.sum(axis=1) <= 1.0 + 1e-12).all()
        right = base.words.answer_right[check.usually]["saw"]
        for answer, column in zip(answers, table.T, strict=True):
            meant = check.answers[answer].word or answer
            odds = right * (len(words) - 1) / (1.0 - right)
            assert column[words.index(meant)] / np.delete(column, words.index(meant)) == pytest.approx(odds)


def test_information_by_hand() -> None:
    """Two states even, an answer right nine times in ten: 1 - H(0.9) = 0.531 bits; a silent answer 0; same need, 0."""
    sure = np.array([[0.9, 0.1], [0.1, 0.9]])
    silent = np.full((2, 2), 0.5)
    apart = Acting(np.array([[0], [1]]), np.eye(2), np.array([1.0, 1.0]), np.array([9.0, 9.0]))
    alike = Acting(np.array([[0], [0]]), np.eye(1), np.array([1.0]), np.array([9.0, 9.0]))
    p = np.array([0.5, 0.5])
    assert information([sure, silent], p, apart) == pytest.approx([0.5310, 0.0], abs=1e-4)
    assert information([sure], p, alike) == pytest.approx([0.0], abs=1e-12)


def test_normal_is_no_cheap_guess(base: Knowledge) -> None:
    """Explaining costs more minutes where calling it normal wrongly costs more, and a look then is worth more.

    Not without end: where it costs too much, handing over is cheaper than both.
    """
    case = Case.model_validate({"complaint": "is-this-normal", "role": "technician"})
    values = []
    for minutes in (0.0, 60.0):
        words = base.words.model_copy(update={"verdict": {**base.words.verdict, "wrong-normal-minutes": minutes}})
        other = dataclasses.replace(base, words=words, memo={})
        work = prepare(case, other)
        network, inference, belief = reason(work)
        worlds = keep_worlds(belief, case.role, case.qualified)
        looks = candidates(
            work, network, gates_of(work), {c.id for c in base.checks.values() if "is-this-normal" in c.families}
        )
        plan = plan_next(looks, Predictor(inference, worlds), network, tells_for(work, network))
        values.append(plan.base - min(s.value for s in plan.scored))
    assert values[1] > values[0]


def test_what_was_seen_before_a_remedy_is_no_reading_of_now(base: Knowledge) -> None:
    """After a remedy the strainer drop of before is not graded again; the belief has kept what it said."""
    remedy = base.causes["strainer-clogged"].remedy.id
    seen = Entry(finding="strainer-drop", word="high")
    case = Case.model_validate({"complaint": "no-flow", "role": "technician"}).model_copy(update={"entries": (seen,)})
    after = case.model_copy(update={"entries": (seen, Entry(action=remedy, outcome="not-cured"))})
    assert ("strainer-drop", "unit") in prepare(case, base).graded.evidence
    work = prepare(after, base)
    assert ("strainer-drop", "unit") not in work.graded.evidence
    advice = advise(after, base)
    strainer = next((s.probability for s in advice.suspects if s.cause == "strainer-clogged"), 0.0)
    before = next(s.probability for s in advise(case, base).suspects if s.cause == "strainer-clogged")
    assert strainer < 0.25 * before
