"""What the look-ahead predicts for each answer is what the reasoning then gives, to 1e-9; `prove ahead` does it in full.

A fixed sample of the answers to the open checks of all sample calls as first told. The
reference is the whole reasoning with the answer entered: readings, grading, rules in the engine, belief over all joint states.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.case import Entry
from diagnose.predicted import LookAhead, speaking
from diagnose.prove.ahead import SAME, compare_all, distance, sample_calls
from diagnose.replay import read_call
from diagnose.rules import run_stratum
from diagnose.specimens import specimen_facts
from diagnose.work import prepare, reason
from knowledge.load import Knowledge, load_knowledge

ROOT = Path(__file__).parents[2]
EVERY = 240
MAY_DIFFER = {"a rule spoke: contradiction", "a rule spoke: not-judged", "a rule spoke: state",
              "a part of the machine is spoken of for the first time"}  # fmt: skip


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def test_predicted_belief_is_the_belief_that_comes(base: Knowledge, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every 240th answer over all calls as first told; none differs, and hardly any is left out."""
    monkeypatch.chdir(ROOT)
    found = compare_all(base, sample_calls(base), EVERY, most=0)
    assert len(found) >= 15
    assert all(c.difference <= SAME for c in found if not c.reason), [c for c in found if not c.reason]
    assert {c.reason for c in found if c.reason} <= MAY_DIFFER
    assert sum(bool(c.reason) for c in found) <= max(1.0, 0.1 * len(found))


def test_an_answer_that_silences_a_derived_finding_is_foreseen(base: Knowledge) -> None:
    """The split over warm air is wide until the air figure turns out to be the weather's: then its inputs speak for themselves."""
    call = read_call(ROOT / "tests/calls/call-12.yaml", base)
    work = prepare(call.case, base)
    assert "wide-split-over-warm-air" in {c.rule.id for c in work.conclusions.of("derived-finding")}
    found = LookAhead(work, *reason(work)).after(base.checks["air-figure-ask"], "unit")
    silencing = [a for a in found if a.answer != "at-coil"]
    assert len(silencing) >= 3
    for after in silencing:
        entry = Entry(check="air-figure-ask", answer=after.answer, sure=base.checks["air-figure-ask"].usually)
        then = prepare(call.case.model_copy(update={"entries": (*call.case.entries, entry)}), base)
        assert "wide-split-over-warm-air" not in {c.rule.id for c in then.conclusions.of("derived-finding")}
        assert distance(after.belief, reason(then)[2]) <= SAME


def test_a_wrong_belief_would_be_noticed(base: Knowledge) -> None:
    """The comparison is no formality: the answers of one check lead to beliefs far more than 1e-9 apart."""
    call = read_call(ROOT / "tests/calls/call-01.yaml", base)
    work = prepare(call.case, base)
    ahead = LookAhead(work, *reason(work))
    check = next(c for c in base.checks.values() if c.answers and ahead.after(c, "unit"))
    one, *others = ahead.after(check, "unit")
    assert all(distance(one.belief, other.belief) > 1e-6 for other in others)
    assert sum(a.chance for a in (one, *others)) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("stratum", ["derived-finding", "conclusive"])
def test_rules_as_data_speak_as_in_the_engine(base: Knowledge, stratum: str) -> None:
    """On every rule card's own specimens, those it fires on and those it stays quiet on, both ways say the same."""
    spoken = 0
    for rule in base.rules.values():
        if rule.kind != stratum:
            continue
        for specimen in (*rule.fires_on, *rule.quiet_on):
            seen, known = specimen_facts(specimen, base)
            plain = [(c.rule.id, c.circuit) for c in speaking(stratum, base, seen, known)]
            assert plain == [(c.rule.id, c.circuit) for c in run_stratum(stratum, base, seen, known)], rule.id
            spoken += bool(plain)
    assert spoken >= 20


def test_no_look_ahead_across_a_remedy(base: Knowledge) -> None:
    """Where a remedy was done the belief is carried over from before it, and nothing is predicted."""
    case = read_call(ROOT / "tests/calls/call-01.yaml", base).case
    check = base.checks["site-valves-walk"]
    work = prepare(case, base)
    assert LookAhead(work, *reason(work)).after(check, "unit")
    remedy = base.causes["strainer-clogged"].remedy.id
    done = case.model_copy(update={"entries": (*case.entries, Entry(action=remedy, outcome="not-cured"))})
    work = prepare(done, base)
    assert not LookAhead(work, *reason(work)).after(check, "unit")
