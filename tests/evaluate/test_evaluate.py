"""The evaluation on simulated calls, how it is drawn, kept, counted and shown, on a fixed sample of six; test_two_hundred.py works
two hundred, `prove evaluate` and `evaluate` any number.
"""

from __future__ import annotations

import dataclasses
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from diagnose.__main__ import main
from diagnose.advice import Verdict
from diagnose.case_check import checked
from diagnose.evaluate import answers
from diagnose.evaluate.answers import TRIED_AGAIN, Person
from diagnose.evaluate.cases import (
    GAPS,
    Call,
    _hidden,
    _met,
    about_what_is_left,
    complained,
    draw_call,
    full_card,
    kind_of,
    noticed,
    tried_again,
)
from diagnose.evaluate.command import HELD_OUT, bar, evaluation_text, machine_from
from diagnose.evaluate.mending import _covers, tried
from diagnose.evaluate.page import page
from diagnose.evaluate.run import Settings, kept_rows, rows_of
from diagnose.evaluate.summary import calibration, compared, interval, met, summary, text, turned
from diagnose.evaluate.work import _led_into, work_call
from diagnose.plant.conditions import Conditions
from diagnose.plant.faults import Fault
from diagnose.plant.sizing import plant_of
from knowledge.load import load_knowledge
from shared.errors import ChillerError

RESULTS = Path(__file__).parent.parent / "results"
Sample = tuple[list[dict[str, Any]], Path]


# calls ---------------------------------------------------------------------------------------------------------------


def test_a_call_is_its_seed_and_number() -> None:
    """The same twice; another number or seed is another call."""
    knowledge = load_knowledge()
    one, again = (draw_call(knowledge, 5, 2) for _ in range(2))
    assert (one.case, one.causes, one.severities, one.seen) == (again.case, again.causes, again.severities, again.seen)
    assert draw_call(knowledge, 6, 2).case != one.case and draw_call(knowledge, 5, 3).case != one.case


def test_nobody_calls_about_a_noise_without_one() -> None:
    """The same fault with every noise it could make quiet, and with one that is heard."""
    knowledge = load_knowledge()
    made = next(c for n in range(40) if (c := draw_call(knowledge, 5, n)).kind == "single" and c.shot is not None)
    call = replace(made, case=made.case.model_copy(update={"complaint": "noise-vibration"}))
    heard = knowledge.complaints["noise-vibration"].noticed
    quiet = {(f, p): knowledge.findings[f].neutral for f in heard for p in call.network.places}
    assert not _met(replace(call, seen={**call.seen, **quiet}))
    assert _met(replace(call, seen={**call.seen, **quiet, ("noise-place", "unit"): "pump"}))
    assert _met(replace(call, case=call.case.model_copy(update={"complaint": "no-flow"})))


def test_calls_are_of_all_kinds() -> None:
    """Ten calls: none, one and two causes, at the machine and by telephone; nobody calls about nothing."""
    knowledge = load_knowledge()
    calls = [draw_call(knowledge, 4, n) for n in range(10)]
    assert {c.kind for c in calls} == {"none", "single", "double"}
    assert "plant" in {c.made for c in calls} and {c.telephone for c in calls} == {True, False}
    assert len({c.causes for c in calls}) > 5
    for call in calls:
        assert len(call.causes) == {"none": 0, "single": 1, "double": 2}[call.kind]
        assert not call.telephone or not call.case.qualified
        assert (call.shot is None) == (call.made == "scripted")
        assert all(p in call.network.places for p in call.places)


def test_neither_of_two_causes_hides_behind_the_other() -> None:
    """A shut valve cannot be seen on a machine without control power, so nobody is asked to find both; a clogged strainer and a
    dirty coil show beside each other.
    """
    plant, day = plant_of(HELD_OUT), Conditions(entering_k=282.7)
    valve, dark = Fault("site-valve-shut", 0.9), Fault("control-fuse-open")
    strainer, coil = Fault("strainer-clogged", 0.75), Fault("coil-dirty", 0.85, "circuit:A")
    assert _hidden(plant, day, [valve, dark]) and not _hidden(plant, day, [strainer, coil])
    assert not _hidden(plant, day, [valve])


def test_the_machine_differs_from_its_card() -> None:
    """Truth is scattered against the card that advice sees; the card says which machine it is and has gaps."""
    knowledge = load_knowledge()
    gaps = 0
    for number in range(3):
        call = draw_call(knowledge, 8, number)
        seen = call.case.machine
        assert seen.refrigerant and seen.capacity and seen.voltage
        gaps += sum(not getattr(seen, key) for key in GAPS)
        if call.plant is not None:
            told = plant_of(full_card(seen))
            ratio = call.plant.circuits[0].ua_evaporator / told.circuits[0].ua_evaporator
            assert 0.8 < ratio < 1.25 and ratio != 1.0
    assert gaps > 0


def test_answers_do_not_hang_on_their_order() -> None:
    """Any check asked first or last gets the same answer, and safety questions the true one."""
    knowledge = load_knowledge()
    call = draw_call(knowledge, 5, 3)
    checks = [knowledge.checks[c] for c in ("screen-look", "what-runs-ask", "refrigerant-readings", "fans-look")]
    checks += [c for c in knowledge.checks.values() if c.safety][:4]
    forward, backward = Person(call, knowledge), Person(call, knowledge)
    first = [forward.answer(c) for c in checks]
    assert first == [backward.answer(c) for c in reversed(checks)][::-1]
    for check, (entries, told) in zip(checks, first, strict=True):
        if check.safety and check.finding:
            word = check.answers[told].word or told
            assert entries[0].sure and word == forward.word((check.finding, forward.place_of(check, "")))


@pytest.mark.parametrize("role", ["technician", "customer"])
def test_a_call_opens_with_what_its_complaint_is_about(role: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """With every share at one: the first looks of the complaint that this person may do, none of danger, nothing read twice; with
    every share at none: nothing.
    """
    knowledge = load_knowledge()
    made = next(c for n in range(40) if (c := draw_call(knowledge, 5, n)).shot and "cooling" in c.shot.readings)
    trained = ("electrical", "refrigerant", "height") if role == "technician" else ()
    desk = "technician" if role == "technician" else "telephone"
    allowed = 0
    for complaint in knowledge.complaints.values():
        case = made.case.model_copy(update={"complaint": complaint.id, "role": role, "qualified": trained})
        call = replace(made, case=case, cannot_tell=0.0, missing=frozenset())
        monkeypatch.setitem(answers.OWN_LOOKS, desk, 1.0)
        told = Person(call, knowledge).opening()
        looks = [knowledge.checks[e.check] for e in told if e.check]
        assert not any(c.safety for c in looks)
        assert role == "technician" or not any(c.tools or set(c.hazards) - {"none"} for c in looks)
        read = [(e.quantity, e.place) for e in told if e.quantity]
        assert len(read) == len(set(read))
        allowed += len({c.id for c in looks} & set(complaint.first))
        monkeypatch.setitem(answers.OWN_LOOKS, desk, 0.0)
        monkeypatch.setitem(answers.OPENING, desk, {})
        assert Person(call, knowledge).opening() == []
        monkeypatch.undo()
    assert allowed > len(knowledge.complaints)


def test_a_look_at_a_fan_nobody_has_named_is_done_at_one_of_that_circuit() -> None:
    """Its amps are read there; a place that stands for fans not spoken of is none that can be clamped."""
    knowledge = load_knowledge()
    calls = (draw_call(knowledge, 5, n) for n in range(20))
    call = next(c for c in calls if c.shot is not None and "cooling" in c.shot.readings and c.plant is not None)
    whole = dataclasses.replace(call, cannot_tell=0.0, missing=frozenset())
    person, check = Person(whole, knowledge), knowledge.checks["fan-current-read"]
    last = whole.plant.circuits[-1] if whole.plant else None
    assert last is not None
    entries, told = person.answer(check, f"fan:{last.id}?")
    assert told != "cannot-tell"
    assert entries[0].place.removeprefix("fan:") in last.air.fans


# after a verdict -----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def double() -> Call:
    """The first call with two faults of a series, both made by the simulated machine."""
    knowledge = load_knowledge()
    calls = (draw_call(knowledge, 6, n) for n in range(100) if kind_of(6, n) == "double")
    return next(c for c in calls if c.made == "plant" and all(knowledge.causes[x].kind == "fault" for x in c.causes))


def says(*causes: str, places: tuple[str, ...] = (), kind: str = "one-cause") -> Verdict:
    """A verdict that names these causes."""
    cards = load_knowledge().causes
    remedy = cards[causes[0]].remedy.id if causes[0] in cards else "explain-normal"
    known: dict[str, Any] = {"title": "", "remedy": "", "proof": "", "who": "technician", "minutes": 1.0}
    return Verdict.model_validate(
        {"kind": kind, "causes": causes, "places": places or ("unit",) * len(causes), "remedy_id": remedy, **known}
    )


def test_the_right_remedy_leaves_the_machine_with_the_other_cause(double: Call) -> None:
    """It is the same machine on the same day; what it shows then is what it would show with the other fault alone."""
    knowledge = load_knowledge()
    for number, (cause, place) in enumerate(zip(double.causes, double.places, strict=True)):
        done = tried(knowledge, double, says(cause, places=(place,)))
        other = 1 - number
        assert done.helped and done.call.causes == (double.causes[other],) and done.call.attempt == 2
        assert [f.cause for f in done.call.faults] == [double.causes[other]] and done.call.plant is double.plant
        assert done.call.shot is not None and done.call.shot != double.shot
        assert (done.outcome == "not-cured") == complained(done.call, knowledge) or done.outcome == "another"
        told = done.entries[-1]
        assert told.action == knowledge.causes[cause].remedy.id
        checked(double.case.model_copy(update={"entries": done.entries}), knowledge)


def test_both_remedies_cure_and_a_wrong_one_changes_nothing(double: Call) -> None:
    """Two causes named are two remedies done; nothing wrong, rightly told, ends a call, and wrongly told does not."""
    knowledge = load_knowledge()
    both = tried(knowledge, double, says(*double.causes, places=double.places, kind="two-causes"))
    assert both.outcome == "cured" and both.helped and not both.call.causes
    assert [bool(e.outcome) for e in both.entries] == [False] * (len(both.entries) - 1) + [True]
    assert not noticed(both.call, knowledge)
    wrong = next(
        c.id
        for c in knowledge.causes.values()
        if c.kind == "fault"
        and c.id not in double.causes
        and all(
            c.remedy.id != knowledge.causes[x].remedy.id
            and c.id not in knowledge.causes[x].inseparable
            and x not in c.inseparable
            for x in double.causes
        )
    )
    for verdict in (says(wrong), says("nothing-wrong", kind="normal")):
        vain = tried(knowledge, double, verdict)
        assert vain.outcome == "not-cured" and not vain.helped
        assert (vain.call.causes, vain.call.shot, vain.call.attempt) == (double.causes, double.shot, 2)
        checked(double.case.model_copy(update={"entries": vain.entries}), knowledge)
    explained = tried(knowledge, both.call, says("nothing-wrong", kind="normal"))
    assert explained.outcome == "cured" and explained.helped


@pytest.mark.parametrize(
    ("named", "place", "reaches"),
    [
        ("circuit:A", "circuit:A", True),
        ("circuit:B", "circuit:A", False),
        ("circuit", "circuit:A", True),  # which one was left open: it is done at each
        ("circuit:B or circuit:A", "circuit:A", True),
        ("unit", "supply", True),
        ("compressor:A1", "circuit:A", True),  # a cause of the same group, at its own kind of place
    ],
)
def test_a_remedy_is_done_at_its_place(named: str, place: str, reaches: bool) -> None:
    assert _covers(named, place) is reaches


def test_who_tries_again_tells_what_it_shows_and_looks_again(double: Call) -> None:
    """After a remedy the person looks anew: the looks asked for come once each, and their answers are of the machine as it is now."""
    knowledge = load_knowledge()
    left = dataclasses.replace(tried_again(double, [0]), cannot_tell=0.0, missing=frozenset())
    person = Person(left, knowledge)
    told = person.afterwards([("screen-look", ""), ("what-runs-ask", "")])
    assert [e.check for e in told] == [*TRIED_AGAIN, "screen-look"]
    assert told == Person(left, knowledge).afterwards([("screen-look", ""), ("what-runs-ask", "")])


def test_the_next_call_is_about_what_is_left(double: Call) -> None:
    """A trouble of its own makes a call of its own: nothing told yet, a complaint its cards or the machine know of."""
    knowledge = load_knowledge()
    left = about_what_is_left(tried_again(double, [0]), knowledge)
    assert left.case.entries == () and left.causes == double.causes[1:]
    assert left.case.complaint in knowledge.causes[left.causes[0]].complaints


def test_two_causes_are_counted_where_the_second_can_be_noticed(sample: Sample) -> None:
    """By hand: of four calls one ends with a hidden fault; of the other three two had both causes among the first three."""
    row = {**sample[0][0], "kind": "double", "stop": "", "later_stop": "", "noticeable": [True, True]}
    rows = [
        {**row, "both": True, "second_hidden": False, "resolved": True, "next_call": True},
        {**row, "both": True, "second_hidden": False, "resolved": True, "next_call": False},
        {**row, "both": False, "second_hidden": False, "resolved": False, "next_call": False},
        {
            **row,
            "both": False,
            "second_hidden": True,
            "resolved": True,
            "next_call": False,
            "noticeable": [True, False],
        },
    ]
    made = summary([{**r, "made": "plant", "desk": "technician"} for r in rows])
    main_group = made["groups"]["plant, technician"]
    assert main_group["both_within_three"] == pytest.approx(2 / 3, abs=1e-4)
    assert (main_group["both_of"], main_group["second_hidden"], main_group["next_call"]) == (3, 1, 1)
    assert (main_group["both_noticeable"], main_group["resolved"]) == (3, 0.75)
    assert "whose second cause did not hide" in text(made)


def test_a_normal_cause_missed_is_told_apart(sample: Sample) -> None:
    """Somebody told that nothing is wrong was not led astray as somebody told of a fault was; both count as missed."""
    row = {**sample[0][0], "kind": "single", "stop": "", "normal": True, "right": False}
    made = summary([{**row, "made": "plant", "desk": "technician", "told_nothing": t} for t in (True, True, False)])
    main_group = made["groups"]["plant, technician"]
    assert (main_group["right"], main_group["normal_missed"], main_group["normal_missed_as_nothing"]) == (0.0, 3, 2)


# the sample ----------------------------------------------------------------------------------------------------------


def test_a_killed_run_goes_on(sample: Sample, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cut off in the middle of a line, the rest is worked again and nothing else; the rows are the same."""
    rows, path = sample
    cut = tmp_path / "rows.jsonl"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    cut.write_text("".join(lines[:-1]) + lines[-1][: len(lines[-1]) // 2], encoding="utf-8")
    worked: list[int] = []

    def again(seed: int, number: int, digest: str, card: str) -> dict[str, Any]:
        worked.append(number)
        return next(r for r in rows if r["number"] == number)

    monkeypatch.setattr("diagnose.evaluate.run.work_number", again)
    made = rows_of(Settings(cases=len(rows), seed=3, rows=cut))
    assert made == rows and len(worked) == 1
    assert len(cut.read_text(encoding="utf-8").splitlines()) == len(rows) + 1


def test_rows_of_another_run_are_refused(sample: Sample) -> None:
    """Other cards or another seed in the folder: one clear line, nothing overwritten."""
    _, path = sample
    before = path.read_bytes()
    with pytest.raises(ChillerError, match="another evaluation"):
        rows_of(Settings(cases=2, seed=99, rows=path))
    assert path.read_bytes() == before
    assert kept_rows(path.parent / "none.jsonl", {}) == []


def test_page_needs_no_network(sample: Sample) -> None:
    """Numbers, plots and tables in one file without an address, a script or a picture from elsewhere."""
    rows, _ = sample
    result = {**summary(rows), "seed": 3, "knowledge": "x", "machine_card": "random machines"}
    worse = [{**r, "right": False, "within_three": False} for r in rows]
    made = page(result, compared(summary(worse), result), turned(worse, rows))
    assert made.count("<svg") >= 3 and "Before and after" in made and "came right" in made
    assert not re.search(r"https?://|<script|<img|<link|@import|url\(", made)
    assert re.findall(r"<(\w+)[^>]*>", made)[0] == "html" and made.rstrip().endswith("</html>")
    assert "targets" in text(result)


@pytest.mark.parametrize(
    ("hazards", "said", "missed"),
    [
        ({"live-electrical"}, {}, True),  # led to a meter without the question
        ({"slip"}, {}, False),  # no card asks about burnt smells before wet ground
        ({"live-electrical"}, {"danger-signs": {"none"}}, False),  # asked, and answered wrongly
        (set(), {"danger-signs": {"burnt-smell"}}, True),  # told, and no stop came
    ],
)
def test_what_counts_as_a_missed_stop(hazards: set[str], said: dict[str, set[str]], missed: bool) -> None:
    assert _led_into(load_knowledge(), "stop-danger-at-electrics", hazards, said) is missed


# numbers -------------------------------------------------------------------------------------------------------------


def test_calibration_by_hand() -> None:
    """Four calls told 0.9 of which three are right, and two told 0.3 of which none: (4 x 0.15 + 2 x 0.3) / 6."""
    rows = [{"probability": 0.9, "right": r} for r in (True, True, True, False)]
    rows += [{"probability": 0.3, "right": False}] * 2
    error, table = calibration(rows)
    assert error == pytest.approx((4 * 0.15 + 2 * 0.3) / 6, abs=1e-4)
    assert [b["calls"] for b in table] == [2, 4]


def test_interval_is_wilson_s() -> None:
    """Wilson score interval of 10 in 20 at 95 %: 0.299 to 0.701 (Newcombe 1998 and any table of it)."""
    assert interval(10, 20) == pytest.approx((0.2993, 0.7007), abs=2e-4)
    assert interval(0, 0) is None and met("right", None) is None and met("right", 0.91) and not met("missed_stops", 1)


def test_before_and_after(sample: Sample) -> None:
    """The same evaluation twice moves nothing; a call that turned is named."""
    rows, _ = sample
    same = summary(rows)
    assert compared(same, same) == []
    worse = [{**rows[0], "right": not rows[0]["right"]}, *rows[1:]]
    moved = turned(rows, worse)
    assert moved["came right"] + moved["went wrong"] == [rows[0]["number"]]


def test_the_committed_evaluation_is_safe_and_says_what_it_misses() -> None:
    """Two hundred calls on random machines and fifty on the held-out one: nobody's stop missed, nothing forbidden, no advice that
    failed; it passes only when every target is met, and says so when it is not.
    """
    made = json.loads((RESULTS / "evaluation.json").read_text(encoding="utf-8"))
    assert made["random"]["calls"] >= 200 and made["held_out"]["calls"] >= 50
    for part in ("random", "held_out"):
        for group in made[part]["groups"].values():
            assert group["missed_stops"] == group["forbidden"] == group["reasoning_failed"] == 0
    targets = made["random"]["targets"]
    assert all(met(name, one["got"]) == one["met"] for name, one in targets.items())
    assert made["passes"] is all(one["met"] is not False for one in targets.values())


# command -------------------------------------------------------------------------------------------------------------


def test_command_writes_rows_numbers_and_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two calls on a given machine card, without Dask; then the same with a comparison."""
    card = tmp_path / "machine.yaml"
    card.write_text("refrigerant: R-410A\ncapacity: 40 ton\nvoltage: 460 V\nfluid: water\n", encoding="utf-8")
    out = tmp_path / "made"
    given = ["evaluate", "--cases", "2", "--workers", "1", "--machine", str(card), "--out", str(out)]
    assert main([*given, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["calls"] == 2 and result["machine_card"] == str(card)
    assert {"rows.jsonl", "evaluation.json", "evaluation.html"} == {p.name for p in out.iterdir()}
    assert main([*given, "--before", str(out / "evaluation.json")]) == 0
    assert json.loads((out / "evaluation.json").read_text(encoding="utf-8"))["before"]["moved"] == []
    assert "no number moved" in capsys.readouterr().out


def test_the_terminal_shows_before_and_after(sample: Sample) -> None:
    """Each number that moved stands with both values, and the calls that turned by their numbers."""
    rows, _ = sample
    worse = [{**r, "right": False, "within_three": False} for r in rows]
    result = {**summary(rows), "knowledge": "new"}
    moved = {"knowledge": "old", "moved": compared(summary(worse), result), "turned": turned(worse, rows)}
    told = evaluation_text({**result, "before": moved}).splitlines()
    turned_right = [str(r["number"]) for r in rows if r["right"]]
    assert turned_right and f"  calls that came right: {len(turned_right)} ({', '.join(turned_right)})" in told
    assert any("cards old before, new now" in line for line in told)
    one = next(x for x in moved["moved"] if x["number"] == "right")
    line = next(x for x in told if x.startswith(f"  {one['group']}: right "))
    assert line.split()[-2:] == [f"{one['before']:g}", f"{one['after']:g}"]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--cases", "0"], "number of cases"),
        (["--workers", "0"], "number of workers"),
        (["--machine", "no-such-file.yaml"], "machine card cannot be read"),
        (["--before", "no-such-file.json"], "earlier evaluation cannot be read"),
    ],
)
def test_bad_input_is_one_line(more: list[str], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["evaluate", "--out", str(tmp_path / "out"), *more]) == 2
    told = capsys.readouterr().err
    assert words in told and len(told.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_the_held_out_machine_holds_together() -> None:
    """It sizes, it differs from every machine of the demonstration, and a card file of its keys is read back."""
    plant = plant_of(HELD_OUT)
    assert plant.capacity_w == pytest.approx(190e3) and plant.loop.fluid == "propylene-glycol"
    assert bar(3, 6, 10) == "[#####.....] 3 of 6"


def test_machine_card_may_be_a_case(tmp_path: Path) -> None:
    path = tmp_path / "case.yaml"
    path.write_text(
        "format: 1\ncomplaint: high-head\nmachine: {refrigerant: R-32, capacity: 90 kW}\n", encoding="utf-8"
    )
    assert machine_from(path).refrigerant == "R-32"


def test_on_a_scheduler(sample: Sample) -> None:
    """A Dask scheduler, named by its address, gives the rows that this process gives."""
    distributed = pytest.importorskip("distributed", reason="Dask is not installed (extra: evaluate)")
    rows, _ = sample
    with distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address="127.0.0.1:0") as cluster:
        settings = Settings(cases=1, seed=3, workers=1, scheduler=cluster.scheduler_address)
        assert [{**r, "seconds": 0} for r in rows_of(settings)] == [{**rows[0], "seconds": 0}]


def test_a_scheduler_that_is_not_there_is_one_line() -> None:
    pytest.importorskip("distributed", reason="Dask is not installed (extra: evaluate)")
    from diagnose.evaluate import run

    with pytest.raises(ChillerError, match="no Dask scheduler"):
        list(run._by_dask(replace(Settings(), scheduler="nowhere:port"), "digest", [0]))


def test_work_is_deterministic(sample: Sample) -> None:
    rows, _ = sample
    knowledge = load_knowledge()
    again = work_call(knowledge, draw_call(knowledge, 3, 1))
    assert {**json.loads(json.dumps(again)), "seconds": 0} == {**rows[1], "seconds": 0}
