"""The training desk without a browser: join, look, be stopped, name it, read the debrief; trainer's board, CSV, own scenario."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from typing import Any

import pytest

from diagnose.store import Person
from diagnose.training import keeping
from diagnose.training.keeping import Assignment
from diagnose.training.overview import as_csv
from ui import office
from ui.training import trainer

SCENARIO = "two-leads-swapped"


def opened(**changes: Any) -> str:
    """A class on one scenario; its code."""
    given = Assignment(**{"scenario": SCENARIO, "seed": 3, "mode": "exam", **changes})
    return keeping.open_class(office.records(), "Monday group", given, by="Trainer")


def joined(desk: Any, code: str, name: str = "Kim") -> Any:
    """A trainee's screen after joining."""
    screen = desk(desk="exercise")
    screen.do(next(f for f in screen.app.text_input if f.key == "by").set_value(name))
    screen.do(screen.field("tr-code").set_value(code.lower()))
    screen.tap("Join")
    assert screen.address("train"), screen.text
    return screen


def choose(screen: Any, check: str) -> None:
    """Find a check by words, open it, do it."""
    title = office.knowledge().checks[check].title
    screen.do(screen.field("find").set_value(title))
    screen.tap(title)
    screen.tap("Do it")


def truth(screen: Any) -> bool:
    """Whether the screen gives away what is wrong."""
    return office.knowledge().causes["phases-reversed"].title in screen.text


def test_a_whole_exercise_from_joining_to_the_debrief(desk: Any) -> None:
    """Exam mode: no ranking, nothing given away before the cause is named; every step says that it was saved."""
    screen = joined(desk, opened())
    assert "We moved it to the other generator" in screen.text and "0 of 45 min" in screen.text
    assert "What it may be" not in screen.text and not truth(screen)
    choose(screen, "monitor-lamp-look")
    assert "Step 1 saved" in screen.text and "Sequence" in screen.text and "0 of 45 min" not in screen.text
    assert not truth(screen)
    screen.tap("Name the cause")
    screen.do(screen.app.multiselect[0].set_value(["phases-reversed"]))
    screen.tap("Do what cures it")
    assert screen.heading.endswith("of 100") and truth(screen) and "Belief over the minutes" in screen.text
    assert "The planner's path" in screen.text


def test_a_reload_and_a_new_process_find_it_where_it_was(desk: Any, new_process: Callable[[], None]) -> None:
    """By its address alone."""
    screen = joined(desk, opened())
    choose(screen, "monitor-lamp-look")
    train = screen.address("train")
    new_process()
    again = desk(desk="exercise", train=train)
    assert "Step 1 saved" in again.text and again.heading == screen.heading


def test_what_is_unsafe_is_stopped_and_explained_on_the_screen(desk: Any) -> None:
    """A caller's machine: a meter is not for the caller. Marks are shown, nothing was measured."""
    screen = joined(desk, opened(scenario="phone-pump-by-hand"))
    choose(screen, "supply-volts-read")
    assert "<h2>Stopped</h2>" in screen.text and "safety marks: 3" in screen.text and "anyone on site" in screen.text


def test_guided_mode_shows_ranking_and_proposals(desk: Any) -> None:
    """And the proposal can be done from there."""
    screen = joined(desk, opened(mode="guided"))
    assert "What it may be" in screen.text and "Worth their minutes" in screen.text
    first = next(b for b in screen.app.button if "-proposed-" in b.key)
    screen.press(first)
    screen.tap("Do it")
    assert "Step 1 saved" in screen.text


def test_a_place_is_chosen_where_there_are_several(desk: Any) -> None:
    """Two circuits: two rows; the answer is that of the chosen one."""
    screen = joined(desk, opened(scenario="slow-leak-on-b"))
    title = office.knowledge().checks["low-pressure-trip-look"].title
    screen.do(screen.field("find").set_value(title))
    screen.tap(title)
    assert "Do it: circuit A" in screen.labels and "Do it: circuit B" in screen.labels
    screen.tap("Do it: circuit A")
    kept = keeping.kept(office.records(), screen.address("train"))
    assert [(h.place, h.entries[0].answer) for h in kept.session.happenings] == [("circuit:A", "no")]


def test_a_remedy_can_be_tried(desk: Any) -> None:
    """Found by what it would mend; it says whether it cured."""
    screen = joined(desk, opened(scenario="inlet-valve-left-shut"))
    screen.tap("Try a remedy")
    screen.do(next(f for f in screen.app.text_input if f.key.endswith("-fix")).set_value("suction valve shut"))
    screen.tap(office.knowledge().causes["suction-valve-shut"].remedy.text[:40])
    screen.tap("Do it")
    assert "It runs as it should" in screen.text


def test_a_wrong_code_is_said_and_nothing_begins(desk: Any) -> None:
    """One line, what was given, what to do."""
    screen = desk(desk="exercise")
    screen.do(screen.field("tr-code").set_value("ZZZZZZ"))
    screen.tap("Join")
    assert "no such class" in screen.text and not screen.address("train")
    gone = desk(desk="exercise", train="nothing-behind-this")
    assert "no such exercise" in gone.text


def test_picking_and_drawing_alone(desk: Any) -> None:
    """A listed one, or one drawn by difficulty and topic."""
    screen = desk(desk="exercise")
    screen.do(screen.box("Topic").set_value("compressor"))
    assert "Or pick one of 3" in screen.text
    screen.tap("Draw one for me")
    kept = keeping.kept(office.records(), screen.address("train"))
    assert "compressor" in kept.session.scenario.topics and kept.session.mode == "guided"


def test_the_board_shows_who_is_where_and_each_debrief(desk: Any) -> None:
    """Names with markup stay text; the CSV has a row for each."""
    code = opened()
    one = joined(desk, code, "<b>Ann</b>")
    choose(one, "monitor-lamp-look")
    joined(desk, code, "Bo")
    board = desk(desk="training", **{"class": code})
    assert f"Code: {code}" in board.text and "&lt;b&gt;Ann&lt;/b&gt;" in board.text and "<b>Ann</b>" not in board.text
    assert "at work" in board.text and "not started" in board.text
    rows = list(csv.DictReader(io.StringIO(as_csv(trainer._lines(code)))))
    assert [r["trainee"] for r in rows] == ["<b>Ann</b>", "Bo"] and rows[0]["looks"] == "1"
    board.tap("at work: debrief")
    assert board.heading.endswith("of 100") and truth(board)


def test_opening_a_class_on_the_screen(desk: Any) -> None:
    """Title, exercise, mode; a class without a title is refused."""
    screen = desk(desk="training")
    screen.tap("Open the class")
    assert "a class needs a title" in screen.text
    screen.do(screen.field("tr-title").set_value("Tuesday"))
    screen.do(screen.box("Exercise").set_value(SCENARIO))
    assert "phases-reversed" not in screen.text
    screen.open("tr-inside")
    assert "phases-reversed" in screen.text and "Two leads are swapped at the source" in screen.text
    screen.tap("Open the class")
    assert screen.heading == "Tuesday" and len(screen.address("class")) == 6


def test_a_scenario_is_written_checked_and_kept(desk: Any) -> None:
    """Every problem is said; corrected, it is kept and can be chosen for a class."""
    screen = desk(desk="training", write="1")
    screen.tap("Check and keep it")
    assert "Nothing was kept" in screen.text and "title" in screen.text and "points" in screen.text
    for name, value in (
        ("tw-id", "valve-at-the-yard"),
        ("tw-title", "Flow alarm in the yard"),
        ("tw-severity-0", "0.97"),
        ("tw-minutes", "40"),
    ):
        screen.do(screen.field(name).set_value(value))
    areas = {a.key: a for a in screen.app.text_area}
    screen.do(areas["tw-words"].set_value("No flow since they parked there."))
    screen.do({a.key: a for a in screen.app.text_area}["tw-points"].set_value("Walk the hoses.\nLook at handles."))
    screen.do(screen.box("Complaint").set_value("no-flow"))
    screen.do(screen.box("Cause 1").set_value("suction-valve-shut"))
    screen.app.session_state["tw-topics"] = ["no-flow"]
    screen.tap("Check and keep it")
    assert "Kept: Flow alarm in the yard" in screen.text, screen.text
    made = keeping.all_scenarios(office.records(), office.knowledge())["valve-at-the-yard"]
    assert made.faults[0].severity == 0.97 and made.points == ("Walk the hoses.", "Look at handles.")
    assert "Flow alarm in the yard" in screen.box("Exercise").options


def test_a_technicians_sign_in_opens_the_exercise_but_not_the_trainers_desk(
    desk: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The training desk proper shows what is wrong; a trainee must not get there by its address."""
    code = opened()
    person = Person("tim", "Tim", "technician")
    monkeypatch.setattr("ui.signin.person", lambda store: person)
    refused = desk(desk="training", **{"class": code})
    assert refused.heading == "Not your desk"
    assert joined(desk, code).heading == "What do you look at next?"
