"""A trainee's session: every allowed check can be done, what is unsafe is stopped and explained, the same seed gives the same work."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from diagnose.advise import advise
from diagnose.case_check import case_problems
from diagnose.looks import allowed, gates_of
from diagnose.training.draw import draw_scenario, fitting
from diagnose.training.session import MARKS, Session, attempt, look, name_cause, offers, start
from diagnose.work import prepare
from knowledge.load import Knowledge
from knowledge.scenarios import Scenario
from shared.errors import ChillerError

MAKE = Callable[..., Scenario]


def test_the_same_seed_gives_the_same_answers_in_any_order(base: Knowledge) -> None:
    """Two sessions with the looks in opposite order get the same entries; another seed gives other readings."""
    one = base.scenarios["slow-leak-on-b"]
    checks = ["pump-look", "evaporator-drop-read", "fluid-temps-read", "oil-stain-look", "low-pressure-trip-look"]

    def entries(seed: int, order: list[str]) -> dict[str, object]:
        session = start(one, seed)
        for c in order:
            session = look(session, base, c)
        return {h.check: h.entries for h in session.happenings}

    assert entries(1, checks) == entries(1, checks[::-1])
    assert entries(1, checks)["evaporator-drop-read"] != entries(2, checks)["evaporator-drop-read"]


def test_readings_come_from_the_machine_and_the_planner_understands_them(base: Knowledge) -> None:
    """The entries of a session are a case that holds together, and its readings name the circuit in trouble."""
    session = look(start(base.scenarios["slow-leak-on-b"]), base, "refrigerant-readings")
    assert case_problems(session.case, base) == []
    assert {e.place for e in session.case.entries if e.quantity} == {"circuit:B"}
    advice = advise(session.case, base)
    assert any(d.quantity == "superheat" and d.value > 15 for d in advice.derived)


def test_a_check_for_a_technician_is_stopped_at_a_customers_machine(base: Knowledge) -> None:
    """Not done, no answer, no minutes, three marks, and who may do it is said."""
    session = look(start(base.scenarios["phone-pump-by-hand"]), base, "supply-volts-read")
    one = session.happenings[-1]
    assert (one.kind, one.barrier, one.marks, one.entries, one.minutes) == ("stopped", "authority", 3, (), 0)
    assert "a technician qualified for electrical work" in one.why and "anyone on site" in one.why


def test_a_missing_qualification_stops_too(base: Knowledge, scenario: MAKE) -> None:
    """A technician without the refrigerant ticket connects no gauges."""
    session = look(start(scenario(qualified=[])), base, "refrigerant-readings")
    assert session.happenings[-1].barrier == "authority"


def test_a_safety_question_comes_first_and_its_answer_decides(base: Knowledge, scenario: MAKE) -> None:
    """A look that needs a lock-out is stopped until it is asked; asked and answered, it goes on."""
    needy = next(
        c for c in base.checks.values() if c.needs and set(c.needs_qualified) <= {"electrical"} and c.place == "pump"
    )
    session = look(start(scenario()), base, needy.id)
    assert session.happenings[-1].barrier == "ask-first" and session.marks == MARKS["ask-first"]
    for question in needy.needs:
        session = look(session, base, question)
    session = look(session, base, needy.id)
    assert session.happenings[-1].kind == "look", session.happenings[-1].why


def test_after_an_ending_stop_only_handing_over_is_left(base: Knowledge) -> None:
    """Burnt smell: the next look is stopped, going on with a repair costs marks, stopping does not."""
    session = look(start(base.scenarios["phone-burnt-smell"]), base, "danger-signs-ask")
    further = look(session, base, "monitor-lamp-look")
    assert further.happenings[-1].barrier == "stop" and "Hand over" in further.happenings[-1].why
    assert name_cause(session, base, ("lug-loose-burnt",), "repair").marks == MARKS["stop"]
    assert name_cause(session, base, (), "stop").marks == 0


def test_no_walk_gets_an_answer_that_the_gates_forbid(base: Knowledge) -> None:
    """Random choices over shipped scenarios, half of them by telephone: what was done was allowed by card and gates."""
    rng = random.Random(7)
    done = stopped = 0
    phone = [s for s in base.scenarios.values() if s.role == "customer"]
    every = list(base.scenarios.values())
    for n in range(8):
        session = start(rng.choice(phone if n % 2 else every), n)
        for check in rng.sample(sorted(base.checks), 15):
            if session.late:
                break
            before = prepare(session.case, base)
            session = look(session, base, check)
            if session.happenings[-1].kind == "stopped":
                stopped += 1
                assert session.happenings[-1].why and session.happenings[-1].marks > 0
                continue
            done += 1
            assert allowed(base.checks[check], before.case, gates_of(before))
        assert not case_problems(session.case, base)
    assert done > 15 and stopped > 25


def test_remedies_cure_what_they_mend_and_nothing_else(base: Knowledge) -> None:
    """In vain: minutes and no change. The right one: cured, and the machine answers as a sound one."""
    session = start(base.scenarios["inlet-valve-left-shut"])
    vain = attempt(session, base, base.causes["strainer-clogged"].remedy.id)
    if vain.happenings[-1].kind == "stopped":
        vain = attempt(look(session, base, "pump-locked-out"), base, base.causes["strainer-clogged"].remedy.id)
    assert vain.happenings[-1].outcome == "not-cured" and vain.minutes > 0
    cured = attempt(session, base, base.causes["suction-valve-shut"].remedy.id)
    assert cured.happenings[-1].outcome == "cured" and cured.minutes == 0
    assert "open" in look(cured, base, "unit-valves-look").happenings[-1].entries[0].answer
    assert look(session, base, "unit-valves-look").happenings[-1].entries[0].answer != "open"


def test_of_two_causes_one_cured_is_better_only(base: Knowledge) -> None:
    """The second remedy makes it whole."""
    session = look(start(base.scenarios["low-dial-and-open-loop"]), base, "pump-locked-out")
    first = attempt(session, base, base.causes["overload-set-low"].remedy.id)
    assert first.happenings[-1].outcome == "better", first.happenings[-1].why
    second = attempt(first, base, base.causes["pump-run-out"].remedy.id)
    assert second.happenings[-1].outcome == "cured", second.happenings[-1].why


def test_a_lying_instrument_lies_until_it_is_put_right(base: Knowledge) -> None:
    """What it shows is off by its lie; a second gauge tells; put right, it shows what is there."""
    session = start(base.scenarios["suction-gauge-low"])
    lied = look(session, base, "refrigerant-readings", "circuit:A").happenings[-1]
    assert not lied.honest and lied.true != lied.told
    told = look(session, base, "second-refrigerant-gauge", "circuit:A").happenings[-1]
    assert told.entries[0].answer == "differ"
    cured = attempt(session, base, "instrument:suction-gauge")
    assert cured.happenings[-1].outcome == "cured"
    after = look(cured, base, "refrigerant-readings", "circuit:A").happenings[-1]
    assert after.honest and after.told != lied.told


def test_a_wrong_story_is_told_and_marked_for_the_debrief(base: Knowledge) -> None:
    """The author's answer is what the trainee hears; the honest one is kept beside it."""
    one = look(start(base.scenarios["phone-strainer-denied"]), base, "strainer-history-ask").happenings[-1]
    assert one.told == "Last week, they told me." and not one.honest and one.true != one.told


def test_time_ends_the_work_but_not_the_naming(base: Knowledge, scenario: MAKE) -> None:
    """After the time allowed no look is done; a cause can still be named, then nothing more."""
    session = start(scenario(minutes="5"))
    session = look(look(session, base, "pump-look"), base, "fluid-temps-read")
    assert session.late
    with pytest.raises(ChillerError, match="time is up"):
        look(session, base, "pump-listen")
    ended = name_cause(session, base, ("suction-valve-shut",), "repair")
    for again in (lambda: look(ended, base, "pump-look"), lambda: name_cause(ended, base, (), "stop")):
        with pytest.raises(ChillerError, match="over"):
            again()


def test_bad_choices_are_refused_with_one_line(base: Knowledge) -> None:
    """Unknown check, place, remedy, cause; too many causes; a repair of nothing."""
    session = start(base.scenarios["slow-leak-on-b"])
    for bad in (
        lambda: look(session, base, "no-such"),
        lambda: look(session, base, "frost-look", "circuit:Z"),
        lambda: attempt(session, base, "no-such"),
        lambda: name_cause(session, base, ("no-such",), "repair"),
        lambda: name_cause(session, base, (), "repair"),
        lambda: name_cause(session, base, tuple(list(base.causes)[:4]), "repair"),
    ):
        with pytest.raises(ChillerError):
            bad()
    assert session.happenings == ()


def test_a_session_survives_being_written_and_read(base: Knowledge) -> None:
    """As JSON, with everything that was done."""
    session = look(
        look(start(base.scenarios["rag-in-the-pump"], 3, "guided", "Kim"), base, "pump-look"), base, "lugs-look"
    )
    assert Session.model_validate_json(session.model_dump_json(exclude_defaults=True)) == session


def test_drawing_is_by_seed_difficulty_and_topic(base: Knowledge) -> None:
    """The same seed draws the same; every topic and difficulty can be drawn; what was done is avoided while others are left."""
    assert draw_scenario(base.scenarios, 5).id == draw_scenario(base.scenarios, 5).id
    hard = fitting(base.scenarios, "hard", "instrument")
    assert hard and all(s.difficulty == "hard" and "instrument" in s.topics for s in hard)
    left = draw_scenario(base.scenarios, 1, "hard", "instrument", done=[s.id for s in hard[1:]])
    assert left == hard[0]
    for bad in ({"difficulty": "odd"}, {"topic": "odd"}):
        with pytest.raises(ChillerError):
            draw_scenario(base.scenarios, 1, **bad)


def test_every_remedy_of_the_base_is_on_offer_once(base: Knowledge) -> None:
    """And every kind of instrument that may lie."""
    table = offers(base)
    assert {c.remedy.id for c in base.causes.values()} <= set(table)
    assert {f"instrument:{i.id}" for i in base.instruments.values() if i.lies} <= set(table)


def test_a_dark_screen_is_told_by_whoever_looks_for_its_alarms(base: Knowledge) -> None:
    """No alarm can be read, and that the screen is dark is an answer of its own."""
    one = look(start(base.scenarios["control-fuse-gone"]), base, "alarm-list-read").happenings[-1]
    assert [(e.check, e.answer) for e in one.entries] == [("alarm-list-read", "cannot-tell"), ("screen-look", "dark")]


def test_people_look_first_where_the_machine_itself_names_trouble(base: Knowledge) -> None:
    """The circuit that tripped; the compressor that does not come; else the first."""
    tripped = start(base.scenarios["slow-leak-on-b"]).world(base)
    dead = start(base.scenarios["contactor-coil-of-a2"]).world(base)
    sound = start(base.scenarios["pump-switch-left-off"]).world(base)
    assert tripped.usual_place("circuit") == "circuit:B" and tripped.usual_place("compressor") == "compressor:B1"
    assert dead.usual_place("compressor") == "compressor:A2" and sound.usual_place("compressor") == "compressor:A1"
