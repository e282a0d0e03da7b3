"""Changes of set-up: what they leave behind, what counts once, what protects all the same, and who is never offered one.

What is expected follows from the theory of evidence (an observation counts once; nothing taken away, nothing learnt twice) and
from the rules of the design; no published source.
"""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.advice import Advice
from diagnose.advise import advise
from diagnose.ask import ask
from diagnose.case import Case
from diagnose.case_check import case_problems, checked, parse_case, read_case_file
from diagnose.looks import allowed, gates_of
from diagnose.report import html_report
from diagnose.setups import episodes
from diagnose.text import advice_text
from diagnose.work import prepare, reason
from knowledge.load import Knowledge, load_knowledge

SAME = 1e-9
EVERYTHING = ["electrical", "refrigerant", "height"]
FEW = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def call(*entries: dict[str, Any], complaint: str = "high-head", **more: Any) -> Case:
    """A call on a machine of two circuits, by somebody who may do everything."""
    case = {
        "complaint": complaint,
        "role": "technician",
        "qualified": EVERYTHING,
        "machine": {"refrigerant": "R-410A", "circuits": 2, "fan_drive": "yes"},
        "entries": list(entries),
        **more,
    }
    return checked(parse_case(case), load_knowledge())


HEAD = {"quantity": "liquid_pressure", "value": "470 psig", "place": "circuit:B", "state": "cooling"}
AIR = {"quantity": "entering_air", "value": "90 F", "state": "cooling"}
COIL = {"check": "coil-look", "answer": "clean"}
CHANGE = {"action": "fan-bypass-try", "outcome": "gone", "place": "circuit:B"}
BACK = {"action": "fan-bypass-try", "outcome": "undone", "place": "circuit:B"}


def believed(case: Case) -> np.ndarray[Any, Any]:
    """Marginals of all causes."""
    return reason(prepare(case, load_knowledge()))[2].causes()


def test_what_came_of_it_is_weighed_once_whether_it_stands_or_was_put_back() -> None:
    """Told as a look, as a change that stands, or as one put back: the same belief, since nothing was taken away."""
    look = {"check": "fan-bypass-try", "answer": "head-falls", "place": "circuit:B"}
    as_look = believed(call(AIR, HEAD, COIL, look))
    assert np.abs(believed(call(AIR, HEAD, COIL, CHANGE)) - as_look).max() < SAME
    assert np.abs(believed(call(AIR, HEAD, COIL, CHANGE, BACK)) - as_look).max() < SAME


def test_the_same_told_again_after_it_was_put_back_says_nothing_new() -> None:
    """The reading was left behind with its weight; the same word again is the same draw. Another word is news."""
    back = believed(call(AIR, HEAD, COIL, CHANGE, BACK))
    again = {**HEAD, "value": "471 psig"}
    assert np.abs(believed(call(AIR, HEAD, COIL, CHANGE, BACK, again)) - back).max() < SAME
    other = {**HEAD, "value": "330 psig"}
    assert np.abs(believed(call(AIR, HEAD, COIL, CHANGE, BACK, other)) - back).max() > 1e-4


def test_only_what_the_card_names_is_left_behind(base: Knowledge) -> None:
    """The head is no reading of now while the fans run on the bypass; what the coil looks like is."""
    now = prepare(call(AIR, HEAD, COIL, CHANGE), base)
    assert [q for q, _ in now.readings.running] == ["entering_air"]
    asked = {e.check for e in now.case.entries}
    assert {"coil-look", "fan-bypass-try"} <= asked
    assert [c.setup.id for c in now.changed] == ["fan-bypass-try"]


def test_what_was_proved_before_a_change_is_proved_once(base: Knowledge) -> None:
    """A conclusive rule that spoke before speaks again on what still holds; its factor enters once."""
    source = {"check": "hot-air-source-look", "answer": "generator-or-exhaust"}
    stopped = {"check": "hot-source-off-try", "answer": "head-falls"}
    proved = call(source, stopped)
    assert any(f.kind == "conclusive" for f in advise(proved, base).fired)
    assert np.abs(believed(call(source, stopped, CHANGE, BACK)) - believed(call(source, stopped, CHANGE))).max() < SAME
    look = {"check": "fan-bypass-try", "answer": "head-falls", "place": "circuit:B"}
    assert np.abs(believed(call(source, stopped, CHANGE)) - believed(call(source, stopped, look))).max() < SAME


def test_told_meanwhile_is_kept_with_its_condition_and_not_judged(base: Knowledge) -> None:
    """Neither reading nor answer moves the belief while the set-up makes it otherwise; both are shown with the condition."""
    stands = call(AIR, HEAD, COIL, CHANGE)
    fans = {"check": "fans-look", "answer": "one-stopped", "place": "circuit:B"}
    more = call(AIR, HEAD, COIL, CHANGE, {**HEAD, "value": "300 psig"}, fans)
    assert np.abs(believed(more) - believed(stands)).max() < SAME
    work = prepare(more, base)
    assert [r.condition for r in work.readings.conditioned] == [base.setups["fan-bypass-try"].title]
    waiting = [n for n in advise(more, base).not_judged if n.finding == "fans"]
    assert waiting and "put back" in waiting[0].until
    # put back, the answer is asked again and counts then
    free = advise(call(AIR, HEAD, COIL, CHANGE, fans, BACK), base)
    assert not [n for n in free.not_judged if n.finding == "fans"]


def test_what_protects_forgets_nothing_by_a_change(base: Knowledge) -> None:
    """A stop that stood before a change stands after it, and one met while it stands is heard, though nothing else is judged."""
    water = {"refrigerant": "R-410A", "circuits": 2, "fluid": "water"}
    cold = {"quantity": "suction_pressure", "value": "85 psig", "place": "circuit:B", "state": "cooling"}
    other = {"action": "one-circuit-alone", "outcome": "gone"}
    before = advise(call(cold, complaint="low-suction", machine=water), base)
    assert before.stop is not None
    for entries in ((cold, other), (other, cold), (other, cold, {"action": "one-circuit-alone", "outcome": "undone"})):
        after = advise(call(*entries, complaint="low-suction", machine=water), base)
        assert after.stop is not None and after.stop.rule == before.stop.rule
        assert not [s for s in after.next if s.kind == "reconfigure" and not s.puts_back]


def test_it_is_given_as_an_action_with_its_outcomes_and_its_way_back(base: Knowledge) -> None:
    """With the remedy of a verdict far off the other circuit keeps the site cooled; the step says what stays in force."""
    advice = _drier(base)
    assert advice.verdict is not None and advice.verdict.causes == ("drier-restricted",)
    step = next(s for s in advice.next if s.kind == "reconfigure")
    card = base.setups["one-circuit-alone"]
    assert step.id == card.id and [c.id for c in step.answers] == ["unchanged", "gone"]
    assert sum(c.probability for c in step.answers) == pytest.approx(1.0, abs=1e-6)
    assert card.stays in step.cautions[0] and card.undo in step.ask
    assert step.expected_cost_minutes < next(s for s in advice.next if s.kind == "repair").expected_cost_minutes


def _drier(base: Knowledge, *more: dict[str, Any]) -> Advice:
    """The example of the README in which a drier is held for plugged, with more told."""
    case = read_case_file(Path(__file__).parents[1] / "examples/low-suction-drier.yaml")
    data = case.model_dump(mode="json", exclude_defaults=True)
    return advise(checked(parse_case({**data, "entries": [*data["entries"], *more]}), base), base)


def test_left_changed_is_said_until_it_is_put_back(base: Knowledge) -> None:
    """What keeps the site cooled stands until the end, at the foot of the steps; what only told something is put back first."""
    made = {"action": "one-circuit-alone", "outcome": "gone"}
    stands = _drier(base, made)
    assert [one.setup for one in stands.left_changed] == ["one-circuit-alone"] and stands.left_changed[0].undo
    assert stands.next[-1].puts_back and not stands.next[0].puts_back
    assert any("Left changed" in d for d in stands.doubts)
    in_vain = _drier(base, {**made, "outcome": "unchanged"})
    assert in_vain.next[0].puts_back and in_vain.next[0].answers[0].id == "undone"
    back = _drier(base, made, {**made, "outcome": "undone"})
    assert not back.left_changed and not [s for s in back.next if s.puts_back]
    # one change at a time, and the one that was made is not proposed again
    assert not [s for a in (stands, in_vain, back) for s in a.next if s.kind == "reconfigure" and s.asks]


def test_text_report_and_terminal_say_so(base: Knowledge, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What is left changed stands in the text, on the page and at the end of a call in the terminal, where it is also told."""
    path = tmp_path / "call.json"
    case = read_case_file(Path(__file__).parents[1] / "examples/low-suction-drier.yaml")
    path.write_text(json.dumps(case.model_dump(mode="json", exclude_defaults=True)), encoding="utf-8")
    typed = iter(["gone", "quit"])
    assert ask(base, path, path, lambda _: next(typed)) == 0
    kept = read_case_file(path)
    assert (kept.entries[-1].action, kept.entries[-1].outcome) == ("one-circuit-alone", "gone")
    card = base.setups["one-circuit-alone"]
    assert f"LEFT CHANGED: {card.title}" in capsys.readouterr().out
    advice = advise(kept, base)
    page = html_report(kept, advice, base)
    assert "Left changed" in advice_text(advice) and "<h2>Left changed</h2>" in page
    assert "the trouble is gone: The other circuit runs on without it" in page


def test_cured_while_something_is_changed_is_no_proof(base: Knowledge) -> None:
    """The trouble being gone with another set-up in place speaks for the remedy only once it was put back."""
    made = {"action": "one-circuit-alone", "outcome": "gone"}
    cured = {"action": "replace-drier", "outcome": "cured", "place": "circuit:B"}
    plain, covered = _drier(base, cured), _drier(base, made, cured)
    assert covered.left_changed
    leader = {s.cause: s.probability for s in covered.suspects}
    assert leader.get("drier-restricted", 0.0) >= {s.cause: s.probability for s in plain.suspects}.get(
        "drier-restricted", 0.0
    )


def test_a_remedy_between_is_weighed_as_before(base: Knowledge) -> None:
    """A change and its putting back after a remedy add nothing to what the remedy told."""
    vain = {"action": "clean-coil", "outcome": "not-cured", "place": "circuit:B"}
    if case_problems(parse_case(call(AIR, HEAD).model_dump() | {"entries": [vain]}), base):
        vain = {"action": base.causes["coil-dirty"].remedy.id, "outcome": "not-cured"}
    look = {"check": "fan-bypass-try", "answer": "no-change", "place": "circuit:B"}
    told = believed(call(AIR, HEAD, vain, look))
    nothing = {**CHANGE, "outcome": "unchanged"}
    assert np.abs(believed(call(AIR, HEAD, vain, nothing, BACK)) - told).max() < SAME


def test_nobody_could_tell_and_told_later(base: Knowledge) -> None:
    """Changed without a word of what came of it is a cannot tell; the word may come later and counts as if told at once."""
    silent, later = {**CHANGE, "outcome": ""}, call(AIR, HEAD, COIL, {**CHANGE, "outcome": ""}, CHANGE)
    assert np.abs(believed(call(AIR, HEAD, COIL, silent)) - believed(call(AIR, HEAD, COIL))).max() < SAME
    assert np.abs(believed(later) - believed(call(AIR, HEAD, COIL, CHANGE))).max() < SAME
    assert len(episodes(later, base)) == 2


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        ({"action": "fan-bypass-try", "outcome": "cured"}, "gone, unchanged, undone"),
        ({"action": "fan-bypass-try", "outcome": "moved"}, "gone, unchanged, undone"),
        ({"action": "fan-bypass-try", "outcome": "undone"}, "not changed at this point"),
        ({"action": "clean-strainer", "outcome": "gone"}, "cured, not-cured, better"),
        ({"action": "fan-bypass-trial"}, "fan-bypass-try"),
    ],
)
def test_bad_entries_get_one_line(entry: dict[str, str], says: str, base: Knowledge) -> None:
    """Given, allowed, do."""
    problems = case_problems(parse_case({"complaint": "high-head", "entries": [entry]}), base)
    assert len(problems) == 1 and says in problems[0]


def test_no_change_while_a_stop_a_question_or_another_change_stands(base: Knowledge) -> None:
    """Handing over at a week and changing for nothing: still none is offered then."""
    words = base.words.model_copy(update={"hand_over_minutes": dict.fromkeys(base.words.hand_over_minutes, 10_000.0)})
    tempted = dataclasses.replace(base, words=words, memo={})
    burnt = call(AIR, HEAD, COIL, words="It smells burnt at the panel")
    assert gates_of(prepare(burnt, tempted)).ask_first
    for case in (burnt, call(AIR, HEAD, COIL, CHANGE)):
        assert not [s for s in advise(case, tempted).next if s.kind == "reconfigure" and s.asks]


# never beyond authority ------------------------------------------------------------------------------------------------------


def made_and_asked(base: Knowledge) -> st.SearchStrategy[list[dict[str, Any]]]:
    """Changes made in any order among answers of the looks about them, by whoever was there then."""
    setups = sorted(base.setups)
    made = st.sampled_from(setups).flatmap(
        lambda s: st.sampled_from([*base.setups[s].outcomes, ""]).map(lambda o: {"action": s, "outcome": o})
    )
    questions = sorted(
        {c for s in setups for c in base.setups[s].needs} | {"circuits-compare", "pump-look", "coil-look"}
    )
    asked = st.sampled_from(questions).flatmap(
        lambda q: st.sampled_from(sorted(base.checks[q].answers)).map(lambda a: {"check": q, "answer": a})
    )
    return st.lists(st.one_of(made, asked), max_size=4, unique_by=lambda e: e.get("check") or e["action"])


@FEW
@given(
    made_and_asked(load_knowledge()),
    st.sampled_from(["high-head", "no-flow", "pump-trip", "phase-fault", "low-suction"]),
    st.sampled_from(["customer", "agent", "technician"]),
    st.sets(st.sampled_from(EVERYTHING)),
)
def test_no_path_offers_it_to_someone_not_qualified(
    entries: list[dict[str, Any]], complaint: str, role: str, qualified: set[str]
) -> None:
    """Every change or putting back that is offered is a technician's with each qualification of its card, no gate against it; and
    neither what is changed nor how it is put back is told to anybody else, in any text of the advice."""
    base = load_knowledge()
    case = call(*entries, complaint=complaint, role=role, qualified=sorted(qualified))
    advice = advise(case, base)
    gates = gates_of(prepare(case, base))
    for step in advice.next:
        if step.kind == "reconfigure":
            card = base.setups[step.id]
            assert role == "technician" and set(card.needs_qualified) <= qualified
            assert allowed(card, case, gates)
    said = json.dumps(advice.model_dump(mode="json"), ensure_ascii=False)
    for card in base.setups.values():
        if role != "technician" or not set(card.needs_qualified) <= qualified:
            assert card.technician not in said and card.undo not in said
    if role != "technician":
        assert not [s for s in advice.next if s.kind == "reconfigure"]
