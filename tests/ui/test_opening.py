"""The list of calls, and a new call from the first tap to its first question."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from ui import office

Draw = Callable[..., Any]


def test_the_list_shows_open_calls_of_an_invented_fleet(desk: Draw) -> None:
    app = desk()
    app.open("drawer-closed")
    rows = [label for label in app.labels if "(invented)" in label]
    assert app.heading == "Calls" and len(rows) == len(office.records().calls())
    app.tap("D-12 Heron")
    assert "D-12 Heron" in app.text and app.answers, "one tap from the list to the question"


def test_a_new_call_from_the_first_tap_to_its_first_question(desk: Draw) -> None:
    app = desk()
    app.tap("New call")
    assert app.heading == "Which machine?"
    app.tap("D-31 Gannet")
    assert app.heading == "What is wrong?"
    app.do(app.app.text_area[0].set_value("the pump stops by itself, overload"))
    first = next(b for b in app.app.button if b.key.startswith("new-c-"))
    assert first.key == "new-c-pump-trip", "what shares words with what was said comes first"
    app.press(first)
    app.do(next(c for c in app.app.checkbox if "electrical" in c.label).check())
    app.do(app.field("by").set_value("Robin Example"))
    app.tap("Open the call")
    call = next(line for line in office.records().calls("open") if not line.invented)
    case = office.records().case(call.id)
    assert (case.complaint, case.role, case.qualified) == ("pump-trip", "technician", ("electrical",))
    assert case.words == "the pump stops by itself, overload" and case.machine.name.startswith("D-31")
    assert call.opened_by == "Robin Example"
    app.tap("I cannot tell")
    assert office.records().case(call.id).entries[-1].by == "Robin Example"


def test_the_choices_stand_in_the_address(desk: Draw) -> None:
    app = desk(new="1", machine="demo-wren", complaint="high-head")
    assert app.heading == "Who is at the machine?"
    app.tap("Back")
    assert app.heading == "What is wrong?"


def test_tapping_open_twice_opens_one_call(desk: Draw) -> None:
    app = desk(new="1", machine="demo-wren", complaint="high-head")
    before = len(office.records().calls())
    app.app.session_state["new-key"] = "one-form"
    app.tap("Open the call")
    again = desk(new="1", machine="demo-wren", complaint="high-head")
    again.app.session_state["new-key"] = "one-form"
    again.tap("Open the call")
    assert len(office.records().calls()) == before + 1


def test_somebody_without_qualification_is_offered_nothing_that_needs_one(desk: Draw) -> None:
    app = desk(new="1", machine="demo-bittern", complaint="phase-fault")
    app.tap("Open the call")
    call = office.records().call(next(c.id for c in office.records().calls() if not c.invented))
    assert call.case.qualified == ()
    steps = office.advice_of(call).next
    assert steps and not any(step.needs_qualified for step in steps)


def test_a_bad_nameplate_is_told_line_by_line_and_nothing_is_opened(desk: Draw) -> None:
    app = desk(new="1", machine="other", complaint="no-flow")
    before = len(office.records().calls())
    app.field("new-n-voltage").set_value("460 gpm")
    app.field("new-n-refrigerant").set_value("R-999")
    app.tap("Open the call")
    assert len(office.records().calls()) == before
    assert "Nothing was opened" in app.text and "machine.voltage" in app.text and "R-999" in app.text


def test_nothing_known_of_the_machine_is_no_obstacle(desk: Draw) -> None:
    app = desk(new="1", machine="none", complaint="no-flow")
    app.tap("Open the call")
    assert app.answers or "-read-" in str([f.key for f in app.app.text_input])


def test_an_address_with_nonsense_starts_at_the_beginning(desk: Draw) -> None:
    assert desk(new="1", machine="<b>", complaint="x").heading == "Which machine?"
    assert desk(new="1", machine="none", complaint="../../etc/passwd").heading == "What is wrong?"
