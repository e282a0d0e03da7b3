"""The debrief: true cause, both paths, belief by the tool's own reasoning, a score whose parts can be told; the overview as CSV."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from diagnose.__main__ import main
from diagnose.advise import advise
from diagnose.training.command import rehearsed
from diagnose.training.debrief import debrief, planner_path
from diagnose.training.overview import as_csv, line_of
from diagnose.training.plot import belief_svg, belief_words
from diagnose.training.scoring import CAUSE, GUESSED, cause_share, worth
from diagnose.training.session import attempt, look, name_cause, start
from diagnose.training.text import debrief_text
from knowledge.load import Knowledge

SAMPLE = (
    "overload-dial-too-low",
    "two-leads-swapped",
    "coil-full-of-seed-fluff",
    "phone-burnt-smell",
    "timer-still-counting",
    "control-fuse-gone",
)


def test_belief_in_the_debrief_is_the_tools_own(base: Knowledge) -> None:
    """After each look the leader and its belief are those that `advise` gives for the same entries, to 1e-9."""
    session = start(base.scenarios["pump-contactor-pole"])
    for check in ("which-device-tripped", "overload-dial-read", "pump-current-read"):
        session = look(session, base, check)
    one = debrief(session, base)
    assert len(one.beliefs) == 4
    for number, belief in enumerate(one.beliefs):
        advice = advise(session.case_after(number), base)
        assert abs(advice.suspects[0].probability - belief.leader_p) < 1e-9
        told = sum(s.probability for s in advice.suspects if s.cause == "contactor-pole-lost")
        assert told == pytest.approx(belief.true, abs=1e-9) or told == 0.0
    assert one.beliefs[-1].true > one.beliefs[0].true and one.steps[-1].on_path
    assert sum(s.minutes for s in one.steps) == one.minutes


def test_right_and_proved_beats_guessed_beats_wrong(base: Knowledge) -> None:
    """And the parts add up to the score."""
    begun = start(base.scenarios["overload-dial-too-low"])
    worked = begun
    for check in ("which-device-tripped", "overload-dial-read", "pump-plate-read", "pump-current-read"):
        worked = look(worked, base, check)
    ends = {
        "proved": name_cause(worked, base, ("overload-set-low",), "repair"),
        "guessed": name_cause(begun, base, ("overload-set-low",), "repair"),
        "wrong": name_cause(worked, base, ("motor-earth-fault",), "repair"),
    }
    made = {name: debrief(s, base) for name, s in ends.items()}
    for one in made.values():
        assert one.score == round(sum(p.got for p in one.points)) and sum(p.most for p in one.points) == 100
    assert made["proved"].score > made["guessed"].score > made["wrong"].score
    assert made["guessed"].points[0].got == CAUSE * GUESSED and "guess" in made["guessed"].points[0].why
    assert made["wrong"].points[0].got == 0


def test_naming_is_weighed_by_what_is_there(base: Knowledge) -> None:
    """Half of two causes is half; a wrong name beside the right one costs; one declared inseparable is as good."""
    begun = start(base.scenarios["low-dial-and-open-loop"])
    assert cause_share(name_cause(begun, base, ("overload-set-low",), "repair"), base) == 0.5
    both = ("overload-set-low", "pump-run-out")
    assert cause_share(name_cause(begun, base, both, "repair"), base) == 1.0
    assert cause_share(name_cause(begun, base, (*both, "coil-dirty"), "repair"), base) == 0.75
    assert worth("pump-bypass-left-open", "bypass-wrong", base) == 1.0
    assert worth("nothing-wrong", "start-delay-running", base) == 0.7
    assert worth("coil-dirty", "start-delay-running", base) == 0.0


def test_stopping_in_time_is_what_counts_where_it_must_stop(base: Knowledge) -> None:
    """Named or not: full points for the cause; going on costs ending and safety."""
    session = look(start(base.scenarios["phone-burnt-smell"]), base, "danger-signs-ask")
    assert debrief(name_cause(session, base, (), "stop"), base).score == 100
    assert debrief(name_cause(session, base, ("lug-loose-burnt",), "repair"), base).score < 80


def test_unsafe_steps_cost_safety_points(base: Knowledge) -> None:
    """And the debrief says why it was stopped."""
    session = look(start(base.scenarios["phone-pump-by-hand"]), base, "supply-volts-read")
    one = debrief(name_cause(session, base, ("suction-valve-shut",), "hand-over"), base)
    safety = next(p for p in one.points if p.what == "safety")
    assert safety.got == 8.0 and one.marks == 3
    assert "a technician" in one.steps[0].why and "a technician" in debrief_text(one)


def test_a_wrong_answer_is_shown_as_wrong(base: Knowledge) -> None:
    """The lesson says what an honest answer would have been."""
    session = look(start(base.scenarios["suction-gauge-low"]), base, "refrigerant-readings", "circuit:A")
    session = attempt(session, base, "instrument:suction-gauge")
    one = debrief(name_cause(session, base, ("instrument:suction-gauge",), "repair"), base)
    assert "honest one would have been" in one.steps[0].lesson and one.steps[1].lesson.startswith("This was the cure")
    assert one.points[0].got == CAUSE


def test_the_planner_ends_most_of_a_fixed_sample_right(base: Knowledge) -> None:
    """Its own path, with the simulated answers; the share over all is told by `train rehearse`."""
    result = rehearsed([base.scenarios[s] for s in SAMPLE], base, 1)
    assert result["right"] > len(SAMPLE) / 2, result
    path = planner_path(base.scenarios["overload-dial-too-low"], base, 1)
    assert path.minutes == sum(s.minutes for s in path.steps) and len(path.beliefs) == len(path.steps) + 1


def test_the_plot_is_valid_and_has_words(base: Knowledge) -> None:
    """SVG that parses, three lines, nothing fetched, the same said in a sentence; markup in a name stays text."""
    evil = base.scenarios["two-leads-swapped"].model_copy(update={"title": "<script>alert(1)</script>"})
    session = look(start(evil, trainee="<b>x</b>"), base, "monitor-lamp-look")
    one = debrief(session, base)
    root = ET.fromstring(belief_svg(one))
    lines = [e for e in root.iter() if e.tag.endswith("polyline")]
    assert len(lines) == 3 and all(e.get("points") for e in lines)
    assert belief_words(one) in "".join(root.itertext())
    assert "href" not in belief_svg(one) and "<script" not in belief_svg(one)


def test_the_overview_is_csv_that_no_spreadsheet_runs(base: Knowledge) -> None:
    """One row a session; a name that looks like a formula is only text."""
    done = name_cause(
        start(base.scenarios["timer-still-counting"], trainee="=1+1"), base, ("start-delay-running",), "explain"
    )
    rows = list(csv.DictReader(io.StringIO(as_csv([line_of(done, base), line_of(start(done.scenario), base)]))))
    assert rows[0]["trainee"] == "'=1+1" and rows[0]["state"] == "finished" and float(rows[0]["score"]) > 0
    assert rows[1]["state"] == "not started" and rows[1]["score"] == "0"


def test_the_command_plays_keeps_goes_on_and_debriefs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two sittings of one exercise in one file; then debrief and class; bad input is one line and exit 2."""
    kept = tmp_path / "kim.json"

    def sit(*lines: str) -> list[str]:
        left = iter(lines)
        monkeypatch.setattr("builtins.input", lambda _: next(left))
        args = ["train", "play", "-o", str(kept), "--trainee", "Kim"]
        assert main(args if kept.exists() else [*args, "two-leads-swapped"]) == 0
        return capsys.readouterr().out.splitlines()

    first = sit("look monitor-lamp-look", "phase sequence", "quit")
    assert any("Sequence" in line for line in first) and not any("phases-reversed" in line for line in first)
    second = sit("look no-such", "name phases-reversed repair")
    assert any("no such check" in line for line in second) and any(line.startswith("Score") for line in second)
    assert main(["train", "debrief", str(kept), "--json"]) == 0 and '"score"' in capsys.readouterr().out
    assert main(["train", "class", str(kept), "--csv"]) == 0 and "Kim" in capsys.readouterr().out
    kept.write_text("{}")
    assert main(["train", "debrief", str(kept)]) == 2 and "scenario" in capsys.readouterr().err
    assert main(["train", "show", "no-such"]) == 2 and "train list" in capsys.readouterr().err
    assert main(["train", "show", "two-leads-swapped"]) == 0 and "phases-reversed" not in capsys.readouterr().out
