"""The field desk, drawn without a browser: what is stored, what is shown, what cannot happen."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from diagnose.advice import Advice, Choice, Derived, LeftChanged, NotJudged, Reason, Step, Stop, Suspect, Verdict
from diagnose.store import closing_of
from diagnose.store.closing import PROOFS
from knowledge.outcomes import NOT_FOUND
from ui import office
from ui.field.log import report_html

Draw = Callable[..., Any]
CALL = "demo-weak-flow"
EVIL = "<script>alert(1)</script><img src=x onerror=alert(2)> **bold** [x](javascript:alert(3)) $x$ :red[y]"


def suspect(title: str = "Strainer clogged", probability: float = 0.6, **more: Any) -> Suspect:
    return Suspect(cause="strainer-clogged", place="unit", title=title, kind="fault", probability=probability, **more)


def step(check: str = "unit-valves-look", **more: Any) -> Step:
    card = office.knowledge().checks[check]
    given: dict[str, Any] = {
        "id": check, "kind": "observe", "title": "Look at the valves", "ask": "Look.", "minutes": 3.0,
        "expected_cost_minutes": 20.0, "who": "customer", "why": "It is cheap.",
        "answers": [Choice(id=a, text=c.text) for a, c in card.answers.items()],
    }  # fmt: skip
    return Step(**{**given, **more})


def advice(**more: Any) -> Advice:
    given = {
        "knowledge": "fixture", "complaint": "strainer-suspected", "state": "cooling", "steadiness": "steady",
        "suspects": (suspect(),), "next": (step(),), "checks_done": 3, "minutes_spent": 14.0,
    }  # fmt: skip
    return Advice(**{**given, **more})


@pytest.fixture
def fixed(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Lets the reasoning say what a test wants drawn."""

    def put(**more: Any) -> None:
        made = advice(**more)
        office._kept.clear()
        monkeypatch.setattr(office, "advise", lambda case: made)

    return put


def entries(call: str = CALL) -> list[Any]:
    return list(office.records().call(call).case.entries)


def first_with_rows(desk: Draw, call: str = CALL) -> Any:
    """The call at a question answered by rows (one asked for numbers is put aside)."""
    app = desk(call=call)
    for _ in range(6):
        rows = [b for b in app.answers if not b.key.endswith("cannot-tell")]
        if rows and not any("-place-" in group.key for group in app.app.get("button_group")):
            return app
        app.tap("Skip for now")
    raise AssertionError("no question with rows")


def test_an_answer_is_stored_as_asked_and_receipted(desk: Draw) -> None:
    app = first_with_rows(desk)
    before = len(entries())
    row = app.answers[0]
    app.press(row)
    last = entries()[-1]
    assert len(entries()) == before + 1
    assert f"-ans-{last.check}-" in row.key and row.key.endswith(f"-{last.answer}")
    assert re.search(rf"Answer {before + 1} saved \d\d:\d\d", app.text)


def test_a_second_look_is_kept_as_one(desk: Draw, fixed: Callable[..., None]) -> None:
    fixed(next=(step(title="Once more: Look at the valves", again=True),))
    app = desk(call=CALL)
    assert "Once more: Look at the valves" in app.heading
    app.press(app.answers[0])
    last = entries()[-1]
    assert (last.check, last.again) == ("unit-valves-look", True)
    fixed(next=(step(again=True),))
    app = desk(call=CALL)
    app.press(next(b for b in app.answers if b.key.endswith("cannot-tell")))
    assert (entries()[-1].answer, entries()[-1].again) == ("cannot-tell", True)
    assert "looked at once more" in report_html(office.records().call(CALL))


def test_another_device_goes_on_where_the_call_is(desk: Draw, new_process: Callable[[], None]) -> None:
    app = first_with_rows(desk)
    app.press(app.answers[0])
    new_process()
    other = desk(call=CALL)
    assert other.heading == app.heading
    assert "Answer 4 saved" in other.text


def test_a_tap_on_an_old_screen_stores_nothing(desk: Draw) -> None:
    """Two devices show the same question; the second taps after the first has answered."""
    first, second = first_with_rows(desk), desk(call=CALL)
    first.press(first.answers[0])
    count = len(entries())
    second.press(second.answers[-1])
    assert len(entries()) == count
    assert "Answer 4 saved" in second.text, "the second device now shows what is"


def test_an_answer_arrives_in_a_session_that_never_drew_the_screen(desk: Draw, new_process: Callable[[], None]) -> None:
    """After a restart the phone still shows the old screen; its tap comes with a fresh session."""
    key = first_with_rows(desk).answers[0].key
    new_process()
    fresh = desk(call=CALL)
    count = len(entries())
    fresh.press(fresh.app.button(key))
    assert len(entries()) == count + 1


def test_undo_brings_the_question_back(desk: Draw) -> None:
    app = first_with_rows(desk)
    question, count = app.heading, len(entries())
    app.press(app.answers[0])
    app.tap("Take back")
    assert len(entries()) == count
    assert app.heading == question
    assert "Taken back" in app.text
    assert [e.kind for e in office.records().call(CALL).events][-2:] == ["entry", "undo"]


def test_equal_cases_are_worked_out_once(desk: Draw, monkeypatch: pytest.MonkeyPatch) -> None:
    app = first_with_rows(desk)
    count, real = [0], office.advise

    def counted(case: Any) -> Advice:
        count[0] += 1
        return real(case)

    monkeypatch.setattr(office, "advise", counted)
    app.press(app.answers[0])
    app.tap("Take back")
    desk(call=CALL)
    assert count == [1], "only the new case; taking back and the other device find it known"


def test_skip_weighs_nothing_and_the_next_one_comes(desk: Draw) -> None:
    app = desk(call=CALL)
    question, digest = app.heading, office.records().call(CALL).case_digest
    app.tap("Skip for now")
    assert app.heading != question
    assert office.records().call(CALL).case_digest == digest
    app.open("drawer-jump")
    assert any("put aside" in b.label for b in app.app.button), "it can still be chosen"


def test_cannot_tell_is_an_answer(desk: Draw) -> None:
    app = desk(call=CALL)
    app.tap("I cannot tell")
    assert entries()[-1].answer == "cannot-tell"


def test_any_check_of_the_list_can_be_taken_next(desk: Draw) -> None:
    app = desk(call=CALL)
    app.open("drawer-jump")
    jump = next(b for b in app.app.button if "-jump-" in b.key)
    title = jump.label.replace("\\", "").rsplit(" (", 1)[0]
    app.press(jump)
    assert title in app.heading


def reads() -> Step:
    return step("read-fluid-gauges", answers=(), reads=("pump_suction", "line_voltage"))


def test_a_comma_reading_is_echoed_large_and_kept(desk: Draw, fixed: Callable[..., None]) -> None:
    fixed(next=(reads(),))
    app = desk(call=CALL)
    field = app.field("pump_suction")
    app.do(field.set_value("2,4 bar"))
    assert "class='echo' role='status'>2.4 bar gauge<" in app.text
    app.tap("Keep this")
    assert (entries()[-1].quantity, entries()[-1].value) == ("pump_suction", "2,4 bar")
    assert "2.4 bar gauge" in app.text


@pytest.mark.parametrize(
    ("typed", "told"),
    [("240 bar", "cannot be that"), ("2,4,1 bar", "more than one separator"), ("2.4", "no unit"), ("2.4 V", "unit of voltage"),
     ("nan psi", "no number"), ("1e400 psi", "finite"), ("<b>7</b>", "no number"), ("", "no value typed")],
)  # fmt: skip
def test_a_bad_reading_is_one_clear_line_and_nothing_is_stored(
    desk: Draw, fixed: Callable[..., None], typed: str, told: str
) -> None:
    fixed(next=(reads(),))
    app = desk(call=CALL)
    revision = office.records().call(CALL).revision
    app.field("pump_suction").set_value(typed)
    app.tap("Keep this")
    assert office.records().call(CALL).revision == revision
    lines = re.findall(r"<p[^>]*role='alert'>(.*?)</p>", app.text)
    assert len(lines) == 1 and told in lines[0] and lines[0].startswith("Nothing was stored"), lines
    assert "<b>7" not in lines[0]


def test_a_reading_of_the_display_is_kept_as_one(desk: Draw, fixed: Callable[..., None]) -> None:
    display = {"reads": ("suction_pressure",), "instrument": "display", "place": "circuit:A"}
    fixed(next=(step("suction-display-read", answers=(), **display),))
    app = desk(call=CALL)
    app.field("suction_pressure").set_value("118 psig")
    app.tap("Keep this")
    assert (entries()[-1].value, entries()[-1].instrument) == ("118 psig", "display A")
    assert "display A" in report_html(office.records().call(CALL))


def test_a_unit_chosen_once_holds_until_another_is_typed(desk: Draw, fixed: Callable[..., None]) -> None:
    fixed(next=(step("strainer-drop-read", answers=(), reads=("strainer_in", "strainer_out")),))
    app = desk(call=CALL)
    app.do(next(g for g in app.app.get("button_group") if g.key.endswith("-unit")).set_value("bar"))
    app.field("strainer_in").set_value("1,9")
    app.field("strainer_out").set_value("21 psig")
    app.tap("Keep this")
    assert [e.value for e in entries()[-2:]] == ["1,9 bar", "21 psig"]
    app.field("strainer_in").set_value("1,8")
    app.tap("Keep this")
    assert entries()[-1].value == "1,8 bar", "remembered on the next screen"


def test_three_legs_are_three_values(desk: Draw, fixed: Callable[..., None]) -> None:
    fixed(next=(reads(),))
    app = desk(call=CALL)
    legs = [f for f in app.app.text_input if "line_voltage" in f.key]
    for leg, value in zip(legs, ("461", "459,5 V", "460 V"), strict=True):
        leg.set_value(value)
    app.tap("Keep this")
    assert entries()[-1].value == ("461 V", "459,5 V", "460 V")


def test_two_legs_are_refused(desk: Draw, fixed: Callable[..., None]) -> None:
    fixed(next=(reads(),))
    app = desk(call=CALL)
    for leg in [f for f in app.app.text_input if "line_voltage" in f.key][:2]:
        leg.set_value("460 V")
    count = len(entries())
    app.tap("Keep this")
    assert len(entries()) == count and "one value or three" in app.text


def test_a_reading_at_any_time_at_its_place(desk: Draw) -> None:
    app = desk(call="demo-hot-deck")
    app.open("drawer-reading")
    box = app.box("What did you read?")
    app.do(box.set_value("suction_pressure"))
    app.do(app.box("Where?").set_value("circuit:B"))
    app.field("any-value").set_value("9,1 bar")
    app.tap("Keep this reading")
    last = entries("demo-hot-deck")[-1]
    assert (last.quantity, last.place, last.value) == ("suction_pressure", "circuit:B", "9,1 bar")


def test_a_step_for_some_circuit_asks_which(desk: Draw, fixed: Callable[..., None]) -> None:
    fixed(next=(step("coil-look", place="circuit"),))
    app, count = desk(call="demo-hot-deck"), len(entries("demo-hot-deck"))
    app.press(app.answers[0])
    assert len(entries("demo-hot-deck")) == count and "Choose where" in app.text
    where = next(g for g in app.app.get("button_group") if "-place-" in g.key)
    app.do(where.set_value("circuit:B"))
    app.press(app.answers[0])
    assert entries("demo-hot-deck")[-1].place == "circuit:B"


def test_stop_stands_first_and_above_everything(desk: Draw, fixed: Callable[..., None]) -> None:
    stop = Stop(reason="Burnt smell at the panel.", make_safe="Isolate upstream.", hand_over_to="electrician",
                protects="people", ends=True, rule="stop-x")  # fmt: skip
    over = step(id="hand-over", kind="hand-over", title="Hand over", answers=())
    fixed(stop=stop, next=(over,))
    app = desk(call=CALL)
    text = app.text
    assert text.index("Stop. Burnt smell") < text.index("<h1>") and "Isolate upstream." in text
    assert not [b for b in app.answers if not b.key.endswith("cannot-tell")], "no check is offered"
    app.tap("Handed over")
    assert office.records().call(CALL).line.outcome == "handed-over"


def test_the_signal_word_comes_before_the_step_and_only_where_somebody_can_be_hurt(
    desk: Draw, fixed: Callable[..., None]
) -> None:
    fixed(next=(step(hazards=("live-electrical",), cautions=("Keep clear.",), needs_qualified=("electrical",)),))
    text = desk(call=CALL).text
    assert text.index("<b>WARNING</b>") < text.index("Look.") and "qualified for electrical work" in text
    fixed(next=(step(hazards=(), cautions=("One reset only.",)),))
    text = desk(call=CALL).text
    assert "One reset only." in text and not re.search("DANGER|WARNING|CAUTION|NOTICE", text)


def test_likelihood_is_a_word_with_whole_tenths(desk: Draw, fixed: Callable[..., None]) -> None:
    fixed(suspects=(suspect(probability=0.617), suspect("Hose kinked", 0.28)))
    text = desk(call=CALL).text
    assert "likely, about 6 in 10" in text and "possible, about 3 in 10" in text
    seen = re.sub(r"<[^>]*>", "", text)
    assert "61" not in seen and "%" not in seen


def test_for_and_against_and_what_is_not_judged(desk: Draw, fixed: Callable[..., None]) -> None:
    reason = {"finding": "strainer-drop", "place": "unit", "weight": 1.0}
    fixed(
        suspects=(suspect(**{"for": (Reason(text="the drop is high", **reason),)}, against=(
            Reason(text="the suction is normal", **reason),), not_checked=("Pull the screen",)),),
        not_judged=(NotJudged(finding="superheat", place="circuit:A", why="just started.", until="10 minutes steady"),),
        contradictions=("The line is warmer than the fluid.",),
        doubts=("Steady running is assumed.",),
        derived=(Derived(quantity="superheat", place="circuit:A", value=5, unit="delta_degF", uncertainty=1, text="x"),),
    )  # fmt: skip
    text = desk(call=CALL).text
    for line in ("<b>Fits:</b> the drop is high", "<b>Does not fit:</b> the suction is normal",
                 "<b>Not checked:</b> Pull the screen", "These contradict each other", "The line is warmer",
                 "Not judged yet", "10 minutes steady", "Steady running is assumed."):  # fmt: skip
        assert line in text, line


def verdict(kind: str = "one-cause") -> Verdict:
    return Verdict(kind=kind, causes=("strainer-clogged",), places=("unit",), title="Strainer clogged",
                   remedy="Pull and wash the screen.", remedy_id="clean-strainer", proof="Drop back at clean.",
                   who="technician", minutes=25, cautions=("Show zero first.",), parts=("gasket",))  # fmt: skip


def test_the_whole_way_from_verdict_to_closed(desk: Draw, fixed: Callable[..., None]) -> None:
    fixed(verdict=verdict(), next=(step(id="clean-strainer", kind="repair", answers=()), step()))
    app = desk(call=CALL)
    text = app.text
    assert text.index("Show zero first.") < text.index("Pull and wash the screen.") < text.index("Drop back at clean.")
    app.tap("I did it: cured")
    assert (entries()[-1].action, entries()[-1].outcome) == ("clean-strainer", "cured")
    assert "Prove it" in app.text
    assert app.box("What was it?").value == "strainer-clogged", "the remedy that cured names it"
    app.tap("Proved")
    line = office.records().call(CALL).line
    assert (line.state, line.outcome) == ("closed", "cured")
    assert "Closed: cured and proved" in app.text and not app.answers
    closing = closing_of(office.records().call(CALL))
    assert closing is not None and closing.found == ("strainer-clogged",) and closing.proof == PROOFS["gone"]
    told = f"Confirmed: Strainer clogged. Proved by: {PROOFS['gone']}."
    assert told in app.text and told in report_html(office.records().call(CALL))
    app.open("drawer-report")
    app.tap("Open this call again")
    assert office.records().call(CALL).open


def test_what_was_done_is_kept_with_its_place(desk: Draw, fixed: Callable[..., None]) -> None:
    """The one place that the verdict names; of two causes both remedies, and closing asks for both."""
    named = {"places": ("circuit:A",), "causes": ("drier-restricted",), "remedy_id": "replace-drier"}
    fixed(verdict=verdict().model_copy(update=named), next=())
    app = desk(call=CALL)
    app.tap("I did it: not cured")
    assert (entries()[-1].action, entries()[-1].place, entries()[-1].outcome) == (
        "replace-drier",
        "circuit:A",
        "not-cured",
    )
    fixed(verdict=verdict().model_copy(update={**named, "places": ("circuit:A or circuit:B",)}), next=())
    app = desk(call=CALL)
    app.tap("I did it: not cured")
    assert entries()[-1].place == "", "it leaves open which one"
    both = {"kind": "two-causes", "places": ("circuit:A", "unit"), "causes": ("drier-restricted", "strainer-clogged")}
    fixed(verdict=verdict().model_copy(update={**named, **both}), next=())
    app = desk(call=CALL)
    app.tap("I did it: cured")
    told = [(e.action, e.place, e.outcome) for e in entries()[-2:]]
    assert told == [("replace-drier", "circuit:A", ""), ("clean-strainer", "", "cured")]
    assert "Replace drier; Clean strainer" in app.text
    assert app.box("What was it?").value == "strainer-clogged"
    assert app.box("And a second one?").value == "drier-restricted"


def change(**more: Any) -> Step:
    """A change of set-up as advised: the site pump instead of the onboard one."""
    card = office.knowledge().setups["other-pump-run"]
    given: dict[str, Any] = {
        "id": card.id, "kind": "reconfigure", "title": card.title, "ask": card.technician, "minutes": card.minutes,
        "expected_cost_minutes": 90.0, "who": "technician", "why": card.why, "cautions": [f"Stays in force: {card.stays}"],
        "answers": [Choice(id=o, text=card.answers[a].text) for o, a in card.outcomes.items()],
    }  # fmt: skip
    return Step(**{**given, **more})


def test_a_change_of_set_up_is_a_question_with_its_outcomes(desk: Draw, fixed: Callable[..., None]) -> None:
    """Protections first, then rows for what came of it; stored as an action of the call."""
    fixed(next=(change(),))
    app = desk(call=CALL)
    card = office.knowledge().setups["other-pump-run"]
    assert "Change the set-up" in app.text and app.text.index(card.stays[:30]) < app.text.index(card.technician[:30])
    app.tap("The trouble is gone")
    last = entries()[-1]
    assert (last.action, last.outcome, last.place) == ("other-pump-run", "gone", "unit")
    assert "The trouble is gone" in report_html(office.records().call(CALL)) or "the trouble is gone" in report_html(
        office.records().call(CALL)
    )


def test_what_is_left_changed_is_never_closed_over_silently(desk: Draw, fixed: Callable[..., None]) -> None:
    """The way back is one tap from the verdict, the reminder stands before anything that closes, and closing keeps it."""
    card = office.knowledge().setups["other-pump-run"]
    left = LeftChanged(setup=card.id, place="unit", title=card.title, outcome="gone", undo=card.undo)
    back = change(title=f"Put back: {card.title}", ask=card.undo, answers=[Choice(id="undone", text="It is put back")])
    fixed(verdict=verdict("hand-over"), next=(back,), left_changed=(left,))
    app = desk(call=CALL)
    assert "Left changed" in app.text and card.undo in app.text
    app.tap("Put back")
    assert app.heading.startswith("Put back")
    app.tap("Back to the proposed step")
    app.tap("Handed over: close this call")
    closing = closing_of(office.records().call(CALL))
    assert closing is not None and f"left changed: {card.title}" in closing.note


def test_another_cause_than_the_likely_one_can_be_told(desk: Draw, fixed: Callable[..., None]) -> None:
    """What the person says was found counts, with what proved it; a second one where two remedies helped."""
    fixed(verdict=verdict(), next=(step(id="clean-strainer", kind="repair", answers=()), step()))
    store = office.records()
    office.open_records()
    number = store.call(CALL).revision
    store.append(CALL, {"action": "open-vents", "outcome": "better"}, key="x", after_revision=number, by="Ann")
    app = desk(call=CALL)
    app.tap("I did it: cured")
    app.do(app.box("What was it?").select("start-up-screen-left"))
    app.do(app.box("And a second one?").select("air-bound"))
    app.do(app.box("What proved it?").select("opened"))
    app.tap("Proved")
    closing = closing_of(store.call(CALL))
    assert closing is not None and closing.found == ("start-up-screen-left", "air-bound")
    assert closing.proof == PROOFS["opened"]


@pytest.mark.parametrize("address", [{}, {"desk": "telephone"}])
def test_what_is_normal_is_kept_with_its_explanation(
    desk: Draw, fixed: Callable[..., None], address: dict[str, str]
) -> None:
    """The explanation the tool gave is the confirmed one, at the field desk and on the telephone."""
    remedy = office.knowledge().causes["start-delay-running"].remedy.id
    told = verdict("normal").model_copy(update={"causes": ("start-delay-running",), "remedy_id": remedy})
    fixed(verdict=told, next=(step(id=remedy, kind="repair", answers=()),))
    office.open_records()
    call = office.records().open_call({"complaint": "compressor-wont-start", "role": "customer"}, by="Ann")
    app = desk(call=call, **address)
    app.tap("Explained: close this call as normal")
    closing = closing_of(office.records().call(call))
    assert closing is not None and (closing.outcome, closing.found) == ("normal", ("start-delay-running",))
    assert closing.proof == PROOFS["explained"]


@pytest.mark.parametrize(("outcome", "told"), [("left", (NOT_FOUND,)), ("not-cured", (NOT_FOUND,)), ("cured", None)])
def test_closing_from_the_drawer_asks_what_it_was(
    desk: Draw, fixed: Callable[..., None], outcome: str, told: tuple[str, ...] | None
) -> None:
    """Not found unless somebody says otherwise; a cure whose cause nothing names has to be told before the row works."""
    fixed()
    app = desk(call=CALL)
    app.open("drawer-report")
    assert next(b for b in app.app.button if "Close this call" in b.label).disabled
    app.do(app.box("How did it end?").select(outcome))
    closed = next(b for b in app.app.button if "Close this call" in b.label)
    assert closed.disabled == (told is None)
    if told is None:
        app.do(app.box("What was it?").select(NOT_FOUND))
    app.tap("Close this call")
    closing = closing_of(office.records().call(CALL))
    assert closing is not None and (closing.outcome, closing.causes) == (outcome, (NOT_FOUND,))
    assert "The cause was not found." in app.text


def test_a_verdict_does_not_end_the_looking(desk: Draw, fixed: Callable[..., None]) -> None:
    fixed(verdict=verdict(), next=(step(id="clean-strainer", kind="repair", answers=()), step()))
    app = desk(call=CALL)
    app.open("drawer-jump")
    app.tap("Look at the valves")
    assert "<h1>Look at the valves</h1>" in app.text
    app.press(app.answers[1])
    assert entries()[-1].check == "unit-valves-look"


def test_no_text_of_a_person_becomes_markup(desk: Draw) -> None:
    call = office.records().call(CALL) if not office.records().is_empty() else None
    assert call is None
    office.open_records()
    store = office.records()
    made = store.open_call({"complaint": "no-flow", "words": EVIL, "machine": {"name": EVIL[:190]}}, by=EVIL)
    store.append(made, {"note": EVIL}, key="n", after_revision=0, by=EVIL)
    app = desk(call=made)
    app.open("drawer-told")
    for text in (app.text, report_html(store.call(made))):
        assert "<script>alert" not in text and "<img" not in text
        assert "&lt;script&gt;alert(1)" in text
    home = desk()
    label = next(b.label for b in home.app.button if "alert" in b.label)
    assert "\\<script\\>" in label and "\\[x\\]\\(javascript" in label.replace("\\:", ":")


def test_an_answer_taken_back_is_struck_out_in_the_report(desk: Draw) -> None:
    app = first_with_rows(desk)
    app.press(app.answers[0])
    app.tap("Take back")
    report = report_html(office.records().call(CALL))
    assert "Taken back" in report and "class='undone'" in report


def test_an_address_without_a_call(desk: Draw) -> None:
    app = desk(call="nobody-knows")
    assert "No such call" in app.text and not app.answers


def test_reasoning_that_fails_offers_hand_over_only(desk: Draw, monkeypatch: pytest.MonkeyPatch) -> None:
    from diagnose import advise as module

    monkeypatch.setattr(module, "prepare", lambda *a, **k: 1 / 0)
    app = desk(call=CALL)
    assert "Hand over" in app.text
    assert not app.answers and any("Handed over" in b.label for b in app.app.button)


def test_a_store_that_fails_while_answering_says_so(desk: Draw, monkeypatch: pytest.MonkeyPatch) -> None:
    from shared.errors import StoreError

    app = first_with_rows(desk)

    def full(*args: Any, **kwargs: Any) -> None:
        raise StoreError("the store does not answer: disk is full", do="try again")

    monkeypatch.setattr(type(office.records()), "append", full)
    app.press(app.answers[0])
    assert "disk is full" in app.text and "saved" not in app.text.split("disk is full")[0][-80:]
