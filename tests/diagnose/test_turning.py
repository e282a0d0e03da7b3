"""What would change the verdict: every "then" is what the same reasoning gives once the evidence is really so."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from diagnose.advice import Advice
from diagnose.advise import advise
from diagnose.case import Case, Entry
from diagnose.case_check import checked, read_case_file
from diagnose.replay import read_call
from diagnose.turning import WhatIf
from diagnose.work import prepare, reason
from knowledge.load import Knowledge, load_knowledge

ROOT = Path(__file__).parents[1]
EXACT = 1e-9  # the same sum taken in two orders


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def example(name: str, base: Knowledge) -> Case:
    return checked(read_case_file(ROOT / "examples" / f"{name}.yaml"), base)


def what_if(case: Case, base: Knowledge) -> WhatIf:
    work = prepare(case, base)
    return WhatIf(work, *reason(work))


@pytest.mark.parametrize("name", ["low-suction-drier", "signs-only"])
def test_taking_a_finding_back_equals_working_without_it(name: str, base: Knowledge) -> None:
    """With liars that move it, in a tree with the complaint or not: each finding left out, against a fresh posterior."""
    case = example(name, base)
    what = what_if(case, base)
    for key in what.inference.likelihoods:
        if key[0].startswith("complaint:"):
            continue
        work = prepare(case, base)
        del work.graded.evidence[key]
        _, _, want = reason(work)
        got = what.after({key: None})
        assert np.abs(got.causes - want.causes()).max() < EXACT
        assert got.nothing == pytest.approx(want.nothing(), abs=EXACT)
        assert got.modes == pytest.approx(want.modes(), abs=EXACT)


def answered(case: Case, check: str, answer: str, place: str, sure: str) -> Case:
    entry = Entry.model_validate(
        {"check": check, "answer": answer, "place": place if ":" in place else "", "sure": sure}
    )
    return case.model_copy(update={"entries": (*case.entries, entry)})


def spoken(advice: Advice) -> set[tuple[str, str]]:
    """Rules that change more than the finding itself."""
    kinds = ("state", "not-judged", "derived-finding", "contradiction")
    return {(f.rule, f.place) for f in advice.fired if f.kind in kinds}


@pytest.mark.parametrize(
    "path",
    [ROOT / "examples" / "low-suction.yaml", *sorted((ROOT / "calls").glob("call-0[24].yaml"))],
    ids=lambda p: p.stem,
)
def test_each_answer_does_what_was_said(path: Path, base: Knowledge) -> None:
    """Who leads after an answer, and how likely, is what `advise` then gives, unless another kind of rule speaks."""
    case = example(path.stem, base) if path.parent.name == "examples" else read_call(path, base).case
    before = advise(case, base, explain=True)
    compared = 0
    for step in before.next:
        for choice in step.answers:
            if choice.leads is None or step.kind == "reconfigure":  # a set-up also ages what was read before it
                continue
            sure = base.checks[step.id].usually
            after = advise(answered(case, step.id, choice.id, step.place, sure), base)
            if spoken(after) != spoken(before) or after.stop != before.stop or after.state != before.state:
                continue
            compared += 1
            lead = after.suspects[0]
            assert (lead.cause, lead.place) == (choice.leads.cause, choice.leads.place)
            assert lead.probability == pytest.approx(choice.leads.probability, abs=1e-6)
    assert compared or not any(c.leads for s in before.next for c in s.answers)


def test_what_dethrones_the_leader_does(base: Knowledge) -> None:
    """A drier drop turned to none puts another suspect first, as working with that word does; explaining changes nothing else."""
    case = example("low-suction-drier", base)
    plain, full = advise(case, base), advise(case, base, explain=True)
    assert plain.turns == () and full.turns
    assert full.suspects == plain.suspects and full.verdict == plain.verdict
    assert [s.id for s in full.next] == [s.id for s in plain.next]
    turn = full.turns[0]
    assert turn.finding == "drier-drop" and turn.leads.cause != full.suspects[0].cause
    assert turn.leader_then < 0.5 < full.suspects[0].probability


def test_what_was_proved_falls_with_the_finding_it_rests_on(base: Knowledge) -> None:
    """A loaded screen with a high drop proves the strainer; the screen seen clean instead, the proof is gone with it."""
    case = Case.model_validate(
        {
            "complaint": "strainer-suspected",
            "role": "technician",
            "entries": [
                {"check": "strainer-pull", "answer": "dirty"},
                {"finding": "strainer-drop", "word": "high"},
            ],
        }
    )
    what = what_if(case, base)
    assert what.named(what.leader).cause == "strainer-clogged" and what.leader.p >= 0.99
    key = ("strainer-screen", "unit")
    turned = {key: what.turned(key, "clean")}
    then = what.after(turned)
    work = prepare(
        case.model_copy(update={"entries": (Entry(check="strainer-pull", answer="clean"), case.entries[1])}), base
    )
    assert np.abs(then.causes - reason(work)[2].causes()).max() < EXACT
    assert then.of(what.leader) < 0.5


def test_after_a_remedy_all_is_worked_out_again(base: Knowledge) -> None:
    """The belief after a remedy is filtered; leaving a finding out then equals reasoning without it."""
    case = Case.model_validate(
        {
            "complaint": "no-flow",
            "role": "technician",
            "entries": [
                {"finding": "strainer-drop", "word": "high"},
                {"action": "clean-strainer", "outcome": "not-cured"},
                {"finding": "strainer-drop", "word": "high"},
                {"finding": "pump-rise", "word": "high"},
            ],
        }
    )
    what = what_if(case, base)
    key = next(k for k in what.inference.likelihoods if k[0] == "pump-rise")
    work = prepare(case, base)
    del work.graded.evidence[key]
    assert np.abs(what.after({key: None}).causes - reason(work)[2].causes()).max() < EXACT


def test_the_chain_follows_what_was_seen(base: Knowledge) -> None:
    """Clogged strainer, low flow, low suction, cut-out: over the effects that carry the evidence of this call."""
    case = Case.model_validate(
        {
            "complaint": "low-suction",
            "role": "technician",
            "entries": [
                {"finding": "strainer-drop", "word": "high"},
                {"finding": "evaporator-drop", "word": "low"},
                {"finding": "suction", "word": "low", "place": "circuit:A"},
            ],
        }
    )
    advice = advise(case, base)
    chain = next(s.chain for s in advice.suspects if s.cause == "strainer-clogged")
    flow, suction = base.effects["fluid-flow"].title, base.effects["suction"].title
    assert [link.split(" (seen")[0] for link in chain] == [
        base.causes["strainer-clogged"].title,
        f"{flow}: low",
        f"{suction}: low",
        base.complaints["low-suction"].title,
    ]
    assert base.findings["evaporator-drop"].texts["low"] in chain[1]
    assert base.findings["suction"].texts["low"] in chain[2]


def test_a_healthy_effect_is_no_link(base: Knowledge) -> None:
    """With the flow seen right, a circuit cause is told over suction alone."""
    case = Case.model_validate(
        {
            "complaint": "low-suction",
            "role": "technician",
            "entries": [
                {"finding": "evaporator-drop", "word": "normal"},
                {"finding": "suction", "word": "low", "place": "circuit:A"},
                {"finding": "superheat", "word": "high", "place": "circuit:A"},
            ],
        }
    )
    for suspect in advise(case, base).suspects[:3]:
        assert not any(link.startswith(base.effects["fluid-flow"].title) for link in suspect.chain)
