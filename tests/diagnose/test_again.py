"""A look made once more: both answers count, whoever looks again may make the same slip, and it is proposed where much hangs on it."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.advice import Step
from diagnose.advise import advise
from diagnose.again import said_again, told_before
from diagnose.ask import _entry
from diagnose.case import Case, Entry
from diagnose.grade import told, told_again
from diagnose.looks import gates_of, second_looks
from diagnose.prove.drawing import MACHINE
from diagnose.replay import Call, Truth, entries_for
from diagnose.work import prepare, reason
from knowledge.load import Knowledge, load_knowledge

QUALIFIED = ["electrical", "refrigerant", "height"]
WORDS = ("left", "right", "gone")
chance = st.floats(0.4, 0.99)
answers = st.lists(st.tuples(st.sampled_from(WORDS), chance), min_size=1, max_size=3)


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def call(*entries: dict[str, object], complaint: str = "pump-trip") -> Case:
    machine = {"refrigerant": "R-410A", "circuits": {"A": {"compressors": ["A1", "A2"], "fans": ["1"]}}}
    return Case.model_validate(
        {"complaint": complaint, "role": "technician", "qualified": QUALIFIED, "machine": machine, "entries": entries}
    )


def by_enumeration(given: list[tuple[str, float]], slip: float) -> list[float]:
    """P(all answers | true word), summed over who of the later looks repeats which earlier answer and who looks afresh."""
    out = []
    for true in WORDS:
        total = 0.0
        for copies in itertools.product(*(range(-1, n) for n in range(len(given)))):
            p = 1.0
            for n, (copied, (word, right)) in enumerate(zip(copies, given, strict=True)):
                fresh = right if word == true else (1.0 - right) / (len(WORDS) - 1)
                if copied < 0:
                    p *= fresh * (1.0 - slip if n else 1.0)
                else:
                    p *= slip / n * (given[copied][0] == word)
            total += p
        out.append(total)
    return out


@given(answers, st.floats(0.0, 1.0))
def test_several_looks_weigh_what_enumeration_gives(given: list[tuple[str, float]], slip: float) -> None:
    assert told_again(WORDS, given, slip) == pytest.approx(by_enumeration(given, slip), rel=1e-9)


def test_two_that_agree_are_surer_and_two_that_differ_leave_it_open() -> None:
    once = told("left", WORDS, 0.97)
    agree = told_again(WORDS, [("left", 0.97), ("left", 0.97)], 0.2)
    differ = told_again(WORDS, [("left", 0.97), ("right", 0.97)], 0.2)
    assert once[0] / once[1] < agree[0] / agree[1] < (once[0] / once[1]) ** 2
    assert differ[0] == pytest.approx(differ[1])
    assert told_again(WORDS, [("left", 0.97), ("left", 0.97)], 1.0) == pytest.approx(once)


def test_both_answers_count_only_where_it_was_looked_at_once_more(base: Knowledge) -> None:
    finding = base.findings[base.checks["pump-listen"].finding or ""]

    def known(*said: tuple[str, bool]) -> tuple[float, ...]:
        entries: list[dict[str, object]] = [{"check": "pump-listen", "answer": a, "again": again} for a, again in said]
        (evidence,) = [e for k, e in prepare(call(*entries), base).graded.evidence.items() if k[0] == finding.id]
        return evidence.likelihood

    assert known(("gravel", False), ("silent", False)) == known(("silent", False))
    both = known(("gravel", False), ("silent", True))
    words = finding.ordered or finding.words
    assert both[words.index("gravel")] == pytest.approx(both[words.index("silent")])
    assert max(known(("gravel", False), ("gravel", True))) / min(known(("gravel", False), ("gravel", True))) > max(
        known(("gravel", False))
    ) / min(known(("gravel", False)))
    assert known(("gravel", True)) == known(("gravel", False))  # a first look whatever it is called


def offered(base: Knowledge, case: Case) -> dict[str, tuple[str, ...]]:
    work = prepare(case, base)
    network, _, _ = reason(work)
    return {c.check.id: c.said for c in second_looks(work, network, gates_of(work), set(base.checks))}


def test_what_may_be_looked_at_once_more(base: Knowledge) -> None:
    one = {"check": "pump-listen", "answer": "gravel"}
    safety = next(c for c in base.checks.values() if c.safety and c.answers and c.id == "danger-signs-ask")
    told_so = [
        one,
        {"check": safety.id, "answer": "none"},
        {"check": "pump-look", "answer": "cannot-tell"},
        {"check": "pump-current-read", "answer": "cannot-tell"},
    ]
    assert offered(base, call(*told_so)) == {"pump-listen": ("gravel",)}
    assert offered(base, call(one, {**one, "again": True})) == {}
    differs = {**one, "answer": "silent", "again": True}
    assert offered(base, call(one, differs)) == {"pump-listen": ("gravel", "silent")}
    assert offered(base, call(one, differs, {**one, "again": True})) == {}
    in_vain = {**one, "answer": "cannot-tell", "again": True}
    assert offered(base, call(one, in_vain)) == {}, "who cannot tell it the second time is not asked a third"
    assert offered(base, call(one, {**differs, "again": False})) == {"pump-listen": ("silent",)}  # it was corrected


def test_nobody_without_training_is_sent_to_look_again_where_he_may_not(base: Knowledge) -> None:
    entries = [{"check": c.id, "answer": next(iter(c.answers))} for c in base.checks.values() if c.answers]
    case = call(*entries).model_copy(update={"role": "customer", "qualified": ()})
    work = prepare(case, base)
    network, _, _ = reason(work)
    found = second_looks(work, network, gates_of(work), set(base.checks))
    assert all(c.check.who == "customer" and not c.check.needs_qualified for c in found)


def a_step(**more: object) -> Step:
    """The shape of a step that asks for a second look."""
    given: dict[str, object] = {
        "id": "pump-listen", "kind": "observe", "title": "", "ask": "", "minutes": 1.0, "expected_cost_minutes": 1.0, "who": "customer",
        "why": "", "answers": ({"id": "gravel", "text": ""}, {"id": "silent", "text": ""}), "again": True, **more,
    }  # fmt: skip
    return Step.model_validate(given)


def test_the_answer_to_a_second_look_is_told_as_one() -> None:
    typed = _entry("2", a_step())
    assert typed is not None and typed.again and typed.answer == "silent"
    assert (unsure := _entry("?", a_step())) is not None and unsure.again
    case = call({"check": "pump-listen", "answer": "gravel"})
    kept = Call("x", case, {"pump-listen": {"answer": "gravel", "line": "x"}}, Truth((), "normal"))
    assert [e.again for e in entries_for(a_step(), kept)[0]] == [True]
    assert [e.again for e in entries_for(a_step(again=False), kept)[0]] == [False]


def test_again_belongs_to_a_check() -> None:
    with pytest.raises(ValueError, match="again belongs to a check"):
        Entry(quantity="fill_pressure", value="12 psig", again=True)


def test_drawn_people_say_the_same_again_as_often_as_the_table_says() -> None:
    before = told_before(
        a_step(), [Entry(check="pump-listen", answer="gravel"), Entry(check="pump-listen", answer="cannot-tell")]
    )
    assert [e.answer for e in before] == ["gravel"] and told_before(a_step(again=False), before) == []
    dice = random.Random(7)
    said = [said_again(before, 0.2, dice) for _ in range(4000)]
    same = [e for e in said if e is not None]
    assert 0.17 < len(same) / len(said) < 0.23
    assert all(e.again and e.answer == "gravel" for e in same)
    assert said_again([], 1.0, dice) is None


# calls in which a verdict would fall now, on answers of which one does not go well with the others
LATE = (
    ("breaker-open", (("danger-signs-ask", "none"), ("which-device-tripped", "breaker"), ("fault-timing-ask", "in-wet"),
                      ("trip-pattern-ask", "hot-hours"), ("breaker-moment-ask", "at-motor-start"), ("breaker-size-read", "as-plate"),
                      ("monitor-lamp-look", "dark"), ("main-switch-look", "tripped"))),
    ("ice-on-pipe", (("ice-check", "yes"), ("burst-plate-ask", "no"), ("alarm-list-read", "low-pressure"),
                     ("circuit-onset-ask", "suddenly"), ("compressor-hot-ask", "usual"), ("flow-compare", "curve-higher"),
                     ("what-runs-ask", "all"))),
)  # fmt: skip


def test_it_is_proposed_before_anybody_acts_on_an_answer_that_may_be_a_slip(
    base: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    proposed = 0
    for complaint, looks in LATE:
        told_so = [{"check": c, "answer": a, "sure": base.checks[c].usually} for c, a in looks]
        case = Case.model_validate(
            {"complaint": complaint, "qualified": QUALIFIED, "machine": MACHINE, "entries": told_so}
        )
        advice = advise(case, base)
        if advice.verdict is not None or not advice.next[0].again:
            continue
        proposed += 1
        step = advice.next[0]
        assert step.title.startswith("Once more: ") and "Told before: " in step.why and not base.checks[step.id].safety
        assert step.id in dict(looks)
        with monkeypatch.context() as without:
            without.setattr("diagnose.advise.second_looks", lambda *given: [])
            assert advise(case, base).verdict is not None, "it stands only before a verdict"
        same = Entry(check=step.id, answer=dict(looks)[step.id], sure=base.checks[step.id].usually, again=True)
        after = advise(case.model_copy(update={"entries": (*case.entries, same)}), base)
        assert not [s for s in after.next if s.again and s.id == step.id], "who says it twice is believed"
        assert after.suspects[0].cause == advise(case, base).suspects[0].cause
    assert proposed


def test_no_second_look_stands_among_the_first_ones(base: Knowledge) -> None:
    case = call({"check": "pump-listen", "answer": "gravel"})
    for _ in range(4):
        advice = advise(case, base)
        assert not [s for s in advice.next if s.again] or advice.next[0].again
        case = case.model_copy(
            update={"entries": (*case.entries, Entry(check=advice.next[0].id, answer="cannot-tell"))}
        )
