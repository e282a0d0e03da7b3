"""The telephone desk, drawn without a browser: what may be said, what is kept, when it ends, who goes on."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest

from diagnose.advice import Stop
from knowledge.texts import telephone
from ui import office
from ui.components import safe_key
from ui.field.log import report_html
from ui.telephone.phrases import LANGUAGES, READ_OUT, STOPS

Draw = Callable[..., Any]


def opened(**more: Any) -> str:
    """A call with somebody of the site."""
    office.open_records()
    header = {"complaint": "no-flow", "words": "the pump lamp is red", "role": "customer",
              "machine": {"name": "Unit 7", "refrigerant": "R-410A", "circuits": 2}}  # fmt: skip
    return str(office.records().open_call({**header, **more}, by="Robin Example"))


def at(desk: Draw, call: str, **more: str) -> Any:
    return desk(desk="telephone", call=call, **more)


def entries(call: str) -> list[Any]:
    return list(office.records().call(call).case.entries)


def with_rows(desk: Draw, call: str) -> Any:
    """The call at a question answered by rows, without a choice of place."""
    app = at(desk, call)
    for _ in range(6):
        if len(app.answers) > 1 and not any("-place-" in group.key for group in app.app.get("button_group")):
            return app
        app.tap("Ask this later")
    raise AssertionError("no question with rows")


def test_the_script_is_the_largest_text_and_the_answer_is_kept_as_said_by_the_customer(desk: Draw) -> None:
    call = opened()
    app = with_rows(desk, call)
    row = app.answers[0]
    app.press(row)
    last = entries(call)[-1]
    said = telephone(office.knowledge(), last.check)
    assert (last.who, last.sure) == ("customer-says", office.knowledge().checks[last.check].usually)
    assert row.key.endswith(f"-{last.answer}") and said.answers[last.answer] in row.label.replace("\\", "")
    assert "saved" in app.text and "said by the customer" in app.text, "receipt and running log"


def test_a_second_look_is_asked_for_in_words_and_kept_as_one(desk: Draw, monkeypatch: pytest.MonkeyPatch) -> None:
    call, real = opened(), office.advise

    def again(case: Any) -> Any:
        """The same advice with its first look made once more."""
        made = real(case)
        first = made.next[0].model_copy(update={"again": True})
        return made.model_copy(update={"next": (first, *made.next[1:])})

    assert READ_OUT["en"]["again"] not in at(desk, call).text
    office._kept.clear()
    monkeypatch.setattr(office, "advise", again)
    app = at(desk, call)
    assert READ_OUT["en"]["again"] in app.text
    app.press(app.answers[0])
    assert [e.again for e in entries(call)] == [True]


def test_how_sure_they_sound_is_one_tap_and_goes_with_the_answer(desk: Draw) -> None:
    call = opened()
    app = with_rows(desk, call)
    app.do(next(g for g in app.app.get("button_group") if "-sure-" in g.key).set_value("guess"))
    app.press(app.answers[0])
    assert entries(call)[-1].sure == "guess"


def test_the_sentence_read_out_is_the_one_of_the_card_in_the_chosen_language(desk: Draw) -> None:
    call = opened()
    app = at(desk, call)
    shown = app.answers[0].key.split("-ans-")[1]
    check = next(c for c in office.knowledge().checks.values() if shown.startswith(f"{c.id}-"))
    assert f"lang='en'>{check.telephone.replace(chr(39), '&#x27;')}</h1>" in app.text
    app.tap("Español")
    spanish = telephone(office.knowledge(), check.id, "es")
    assert f"lang='es'>{spanish.telephone}</h1>" in app.text
    assert "In English:" in app.text and spanish.review in app.text, "marked as to be reviewed"
    over = at(desk, call, over="1", lang="es")
    assert READ_OUT["es"]["where"] in over.text and READ_OUT["en"]["where"] in over.text and spanish.review in over.text
    app.press(app.answers[-1])
    assert app.address("lang") == "es", "the language stays with the call's address"


def test_it_asks_nothing_while_a_technician_is_at_the_machine(desk: Draw) -> None:
    call = opened(role="technician", qualified=["electrical", "refrigerant", "height"])
    app = at(desk, call)
    assert app.heading == "A technician is at the machine" and not app.answers
    app.tap("They left")
    case = office.records().call(call).case
    assert (case.role, case.qualified) == ("customer", ()) and app.answers


def test_a_stop_is_read_out_in_plain_words_and_ends_in_handing_over(
    desk: Draw, monkeypatch: pytest.MonkeyPatch
) -> None:
    call, real = opened(), office.advise
    for rule, texts in STOPS.items():
        stop = Stop(reason="Danger.", make_safe="As on the card.", hand_over_to="electrician", protects="people", ends=True,
                    rule=rule)  # fmt: skip
        office._kept.clear()
        monkeypatch.setattr(
            office, "advise", lambda case, stop=stop: real(case).model_copy(update={"stop": stop, "next": ()})
        )
        app = at(desk, call)
        assert app.heading == "Stop. Read this out now" and not app.answers
        assert READ_OUT["en"]["stop"] in app.text and texts[0].replace("'", "&#x27;") in app.text
        assert "What it may be" not in app.text
        assert not [box for box in app.app.expander if "drawer-reading" in box.proto.id], "nothing is measured any more"
        assert any("hand this call over" in label for label in app.labels)


def test_every_stop_of_the_cards_has_its_words_and_every_sentence_every_language() -> None:
    stops = {r.id for r in office.knowledge().rules.values() if r.kind == "stop"}
    assert stops == set(STOPS)
    assert all(len(texts) == len(LANGUAGES) and all(texts) for texts in STOPS.values())
    assert {frozenset(sentences) for sentences in READ_OUT.values()} == {frozenset(READ_OUT["en"])}
    assert set(READ_OUT) == set(LANGUAGES) == {"en", *office.knowledge().texts}


def test_a_smell_on_the_telephone_stops_the_call(desk: Draw) -> None:
    call = opened(complaint="breaker-open", words="the breaker went and it smells burnt")
    app = at(desk, call)
    app.press(next(b for b in app.answers if b.key.endswith("-burnt-smell")))
    assert app.heading == "Stop. Read this out now" and STOPS["stop-danger-at-electrics"][0] in app.text
    app.open("drawer-who")
    assert {"They are safe: hand this call over", "Hand this call over"} <= set(app.labels), (
        "offered twice, drawn whole"
    )


def test_handing_over_keeps_the_call_and_the_field_desk_goes_on_with_it(desk: Draw) -> None:
    call = opened()
    app = with_rows(desk, call)
    app.press(app.answers[0])
    before = entries(call)
    over = at(desk, call, over="1")
    for line in ("Read this out", "What is known", "the pump lamp is red"):
        assert line in over.text
    over.tap("They are at the machine")
    assert "Type the technician" in over.text and office.records().call(call).case.role == "customer"
    over.field("over-name").set_value("Kim Sample")
    over.app.checkbox(next(b.key for b in over.app.checkbox if b.key.endswith("over-electrical"))).check()
    over.tap("They are at the machine")
    case = office.records().call(call).case
    assert (case.role, case.qualified) == ("technician", ("electrical",))
    assert (
        list(case.entries)[: len(before)] == before
        and case.entries[-1].note == "Handed over by telephone to Kim Sample."
    )
    kept = office.records().call(call)
    assert kept.case_after(len(before)).role == "customer", "earlier steps stay those of whoever did them"
    assert set(kept.roles[: len(before)]) == {"customer"}
    report = report_html(kept)
    assert "At the machine</th>" in report and report.count("<td>anyone on site</td>") == len(before)
    assert over.address("desk") == "" and over.address("call") == call
    assert "Why this" in over.text or "What it may be" in over.text, "the field desk"


def test_it_hands_over_after_ten_minutes_or_two_questions_nobody_can_answer(
    desk: Draw, monkeypatch: pytest.MonkeyPatch
) -> None:
    call = opened()
    app = at(desk, call)
    assert "Time to hand over" not in app.text
    app.tap("They cannot tell")
    assert "Time to hand over" not in app.text
    app.tap("They cannot tell")
    assert "Two questions in a row" in app.text
    app = with_rows(desk, call)
    app.press(app.answers[0])
    assert "Time to hand over" not in app.text, "an answer came"
    later = office.now() + timedelta(minutes=11)
    monkeypatch.setattr(office, "now", lambda: later)
    assert "Ten minutes without progress" in at(desk, call).text


def test_a_wait_is_found_running_by_a_new_process_and_is_no_lack_of_progress(
    desk: Draw, new_process: Callable[[], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    call = opened()
    app = at(desk, call)
    app.open("drawer-timer")
    app.tap("15 min, from now")
    new_process()
    begun = office.now()
    for minutes, waits, stuck in ((12, True, False), (24, True, False), (40, False, True)):
        monkeypatch.setattr(office, "now", lambda minutes=minutes: begun + timedelta(minutes=minutes))
        app = at(desk, call)
        keys = [c.proto.id for c in app.app.get("bidi_component")]
        assert any(f"wait-{safe_key(call)}" in key for key in keys) == waits, minutes
        assert ("Time to hand over" in app.text) == stuck, minutes
    office.records().undo(call, key="u", after_revision=1, by="x")
    monkeypatch.setattr(office, "now", lambda: begun)
    keys = [c.proto.id for c in at(desk, call).app.get("bidi_component")]
    assert not any(f"wait-{safe_key(call)}" in key for key in keys), "a timer taken back is gone"


def test_several_calls_at_once_are_left_and_found_as_they_were(desk: Draw) -> None:
    first, second = opened(), opened(complaint="high-head", machine={"name": "Unit 9"})
    board = desk(desk="telephone")
    assert any("Unit 7" in row and "asking" in row for row in board.labels)
    app = with_rows(desk, first)
    app.press(app.answers[0])
    heading = app.heading
    app.tap("Unit 9")
    assert app.address("call") == second and app.heading != heading
    app.tap("Unit 7")
    assert app.heading == heading and len(entries(first)) == 1 and entries(second) == []


def test_a_new_call_by_telephone_stays_at_its_desk(desk: Draw) -> None:
    app = desk(desk="telephone", new="1", machine="none", complaint="no-flow")
    app.app.text_input(key="by").set_value("Robin Example")
    app.tap("Open the call")
    assert app.address("desk") == "telephone"
    case = office.records().call(app.address("call")).case
    assert (case.role, case.qualified) == ("customer", ()) and app.answers


def test_only_what_is_read_without_tools_may_be_given_at_any_time(desk: Draw) -> None:
    app = at(desk, opened())
    app.open("drawer-reading")
    options = app.box("What did you read?").options
    assert any("pump suction" in o for o in options)
    assert not [o for o in options if "voltage" in o or "suction line" in o or "current" in o and "plate" not in o]


def test_a_number_is_read_back_before_it_is_kept(desk: Draw) -> None:
    call = opened(complaint="strainer-suspected")
    app = at(desk, call)
    for _ in range(6):
        if app.app.text_input:
            break
        app.tap("Ask this later")
    app.do(app.app.text_input[0].set_value("24 psi"))
    assert "I heard 24 psi gauge. Is that right?" in app.text
    app.tap("Keep this")
    assert (entries(call)[-1].value, entries(call)[-1].who) == ("24 psi", "customer-says")
