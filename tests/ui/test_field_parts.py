"""Parts of the field desk: who is at the machine, calculators, timers, steppers, drawings, the way out when nothing fits."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from importlib import resources
from typing import Any

import pytest

from diagnose.calculators.registry import CALCULATORS
from diagnose.case import Case, Entry
from diagnose.work import said_words
from knowledge.facts import STOP_WORDS
from ui import drawings, office
from ui.field import calculate
from ui.steppers import _STEPS, start_text

Draw = Callable[..., Any]
CALL = "demo-weak-flow"


def entries(call: str = CALL) -> list[Any]:
    return list(office.records().call(call).case.entries)


# who is at the machine


def test_who_is_at_the_machine_is_changed_in_mid_call_and_decides_what_is_offered(desk: Draw) -> None:
    app = desk(call=CALL)
    before = office.records().call(CALL)
    assert before.case.role == "technician"
    app.open("drawer-who")
    app.do(next(g for g in app.app.get("button_group") if g.key.endswith("who-role")).set_value("customer"))
    app.tap("This is who is there now")
    after = office.records().call(CALL)
    assert (after.case.role, after.case.qualified) == ("customer", ())
    assert after.events[-1].kind == "amend" and after.case.entries == before.case.entries
    assert (
        "at the machine now: Somebody of the site" in app.text or "At the machine now: Somebody of the site" in app.text
    )
    checks = office.knowledge().checks
    offered = [s.id for s in office.advice_of(after).next if s.id in checks]
    assert all(checks[check].who == "customer" for check in offered)
    app.tap("Take back")
    assert office.records().call(CALL).case.role == "technician", "an event like any other"


# nothing fits


def test_none_of_these_fits_is_an_outcome_with_its_reason(desk: Draw) -> None:
    app = desk(call=CALL)
    app.open("drawer-none-fits")
    app.app.text_area(next(a.key for a in app.app.text_area if "none-words" in a.key)).set_value(
        "the needle falls at night"
    )
    app.tap("None of these fits: close this call so")
    call = office.records().call(CALL)
    assert (call.line.state, call.line.outcome) == ("closed", "none-fits")
    assert call.events[-1].body["note"] == "the needle falls at night"
    assert "Closed: none of the causes fits" in app.text


# timers


def test_a_timer_is_an_entry_that_weighs_nothing_and_can_be_taken_back(desk: Draw) -> None:
    app = desk(call=CALL)
    suspects = office.advice_of(office.records().call(CALL)).suspects
    app.open("drawer-timer")
    app.tap("3 min, from now")
    call = office.records().call(CALL)
    assert entries()[-1].note == "Timer started: 3 min."
    assert [s.probability for s in office.advice_of(call).suspects] == pytest.approx([s.probability for s in suspects])
    running = [json.loads(c.proto.json) for c in app.app.get("bidi_component") if f"wait-{CALL}" in c.proto.id]
    assert running and 170 < running[0]["left_s"] <= 180
    app.tap("Take back")
    assert not [c for c in app.app.get("bidi_component") if f"wait-{CALL}" in c.proto.id]


# calculators


def test_any_calculator_is_two_taps_away_and_knows_what_the_call_knows(desk: Draw) -> None:
    app = desk(call=CALL)
    app.open("drawer-calc")
    titles = {one.title for one in CALCULATORS.values()}
    assert titles <= set(app.labels), "all of them, at one tap from the drawer"
    app.tap("Flow from the evaporator's pressure drop")
    assert app.heading == "Flow from the evaporator&#x27;s pressure drop"
    assert app.field("evaporator_drop").value == "2.2 psi", "read in this call"
    assert re.search(r"class='echo' role='status'>\d+\.?\d* gpm", app.text), "with flow and drop of the machine card"
    count = len(entries())
    app.tap("Keep this in the call")
    note, reading = entries()[-2:]
    assert len(entries()) == count + 2
    assert (
        note.note.startswith("Worked out, Flow from the evaporator's pressure drop: flow ")
        and "evaporator drop 2.2 psi" in note.note
    )
    assert reading.quantity == "flow" and reading.value.endswith("gpm")
    assert app.heading != "Flow from the evaporator&#x27;s pressure drop", "back in the call"


def test_a_calculator_says_what_it_still_needs_and_what_it_cannot_read(desk: Draw) -> None:
    app = desk(call=CALL, calc="superheat")
    assert "Still needed: suction pressure, suction line temperature at the compressor." in app.text
    app.field("-suction_pressure").set_value("118 psig")
    app.field("-suction_line").set_value("50 gpm")
    app.tap("Work it out")
    assert "Check this: " in app.text and not any("Keep this in the call" in label for label in app.labels)
    app.field("-suction_line").set_value("50 F")
    app.tap("Work it out")
    assert re.search(r"role='status'>10\.\d+ °F ± \d", app.text)


def test_a_calculator_that_there_is_not_is_one_line(desk: Draw) -> None:
    assert "unknown calculator" in desk(call=CALL, calc="nonsense").text


def test_what_calculators_keep_never_sounds_like_danger() -> None:
    """A kept result is a note, and notes are searched for words of danger."""
    texts = [f"{one.title} {' '.join(i.key for i in one.inputs)} {' '.join(o.key for o in one.outputs)}".replace("_", " ")
             for one in CALCULATORS.values()]  # fmt: skip
    for text in [*texts, "Timer started: 3 min.", "Handed over by telephone to Kim."]:
        assert said_words(Case(complaint="no-flow", entries=(Entry(note=text),))) == [], text
    assert STOP_WORDS


def test_every_calculator_can_be_filled_from_any_demonstration_call(desk: Draw) -> None:
    desk()
    cases = [office.records().call(line.id).case for line in office.records().calls()]
    assert cases and any(
        calculate.known(case, given) for case in cases for one in CALCULATORS.values() for given in one.inputs
    )


# steppers and drawings


def test_a_stepper_begins_at_the_last_reading_the_card_or_a_round_figure() -> None:
    case = Case.model_validate({"complaint": "no-flow", "machine": {"card": {"pump_discharge": "41 psig"}},
                                "entries": [{"quantity": "pump_suction", "value": "about 12 psig"}]})  # fmt: skip
    assert start_text(case, "pump_suction", "psig") == "12 psig"
    assert start_text(case, "pump_discharge", "psig") == "41 psig"
    assert start_text(case, "strainer_in", "bar") == "3 bar"


def test_a_reading_has_steppers_for_the_unit_that_was_chosen(desk: Draw) -> None:
    app = desk(call=CALL)
    data = [json.loads(c.proto.json) for c in app.app.get("bidi_component") if c.proto.id.endswith("-steps")]
    assert data and all(
        (by := [float(n) for n in d["steps"].split()]) == sorted(by)
        and any(d["start"].endswith(unit) for unit in _STEPS)
        for d in data
    )
    fields = {re.sub(r"[^a-zA-Z0-9_-]", "-", f.key) for f in app.app.text_input}
    assert {d["field"] for d in data} <= fields, "each stands for a field of the screen"


def test_drawings_are_our_own_and_safe_and_belong_to_checks_that_are_there() -> None:
    checks = office.knowledge().checks
    for name, belongs in drawings.DRAWINGS.items():
        svg, says = drawings.drawing(name)
        root = ElementTree.fromstring(svg)
        assert root.get("role") == "img" and len(says) > 40
        assert root.get("aria-labelledby") == f"d-{name}-t d-{name}-d"
        for part in root.iter():
            tag = part.tag.split("}")[-1]
            assert tag in ("svg", "title", "desc", "path", "circle", "rect", "text", "g"), (name, tag)
            assert not [a for a in part.attrib if a.startswith("on") or "href" in a], name
        assert belongs and set(belongs) <= set(checks), name
    files = {f.name.removesuffix(".svg") for f in resources.files(drawings).iterdir() if f.name.endswith(".svg")}
    assert files == set(drawings.DRAWINGS), "no drawing lies about unused"
    assert len({c for belongs in drawings.DRAWINGS.values() for c in belongs}) == sum(
        map(len, drawings.DRAWINGS.values())
    )


def test_a_drawing_stands_with_its_check(desk: Draw) -> None:
    app = desk(call=CALL)
    assert [c for c in app.app.get("bidi_component") if "drawing-gauge-ports" in c.proto.id]
    assert "gauge 2 between strainer and pump" in app.text
