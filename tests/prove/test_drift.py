"""Early words on simulated placements: ten small ones here, three hundred and three hundred in `prove drift`."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from diagnose.placement.rounds import moment_of
from diagnose.placement.trend import trend_of
from diagnose.prove import drift
from diagnose.prove.drift import AHEAD_H, CAUSES, drift_text, plan_of, prove_drift, row_of, summary
from diagnose.prove.drift_runs import MISSING, READ, ROUND_HOURS, draw_run
from diagnose.prove.result import Options
from knowledge.load import Knowledge, load_knowledge


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def test_ten_runs_hold_what_the_proof_promises(base: Knowledge) -> None:
    """Five with a fault, five without, on machines of one circuit, the healthy ones for four days (a seed whose runs are quick)."""
    rows = []
    for number in range(5):
        rows.append(row_of(base, draw_run(base, 14, number, CAUSES[number % 3], circuits=1)))
        rows.append(row_of(base, draw_run(base, 14, number, "", days=4, circuits=1)))
    made = summary(rows)
    assert made["passes"], drift_text({"days": 10, "hours_wanted": AHEAD_H, **made})
    assert made["runs"] == {"faulty": 5, "healthy": 5}


def test_a_run_is_a_record_as_a_desk_keeps_it(base: Knowledge) -> None:
    run, same = (draw_run(base, 3, 0, "", days=3, circuits=1) for _ in range(2))
    assert run == same
    first, *rounds = run.placement.entries
    hours = [(moment_of(e.at) - moment_of(first.at)).total_seconds() / 3600.0 for e in rounds]  # type: ignore[operator]
    assert all(h % ROUND_HOURS == 0 for h in hours) and hours == sorted(set(hours))
    assert 0 < len(hours) < 3 * 24 // ROUND_HOURS  # some are missing, on average MISSING of them
    assert 0.0 < MISSING < 1.0
    assert {r.quantity for e in rounds for r in e.readings} == set(READ)
    # the machine is not the one of its card, and its instruments are not exact
    figures = trend_of(run.placement, base, ahead=False).baseline.round.figures.values()  # type: ignore[union-attr]
    assert max(abs(f.residual) for f in figures) > 0.01


def test_the_count_can_fail() -> None:
    """A word after the trip, one too late, none at all, and a healthy machine that got one."""
    common = {"trip": "flow", "rounds": 9, "redrawn": [], "baseline": "kept", "words": []}
    told = {
        **common,
        "number": 0,
        "cause": CAUSES[0],
        "trip_h": 100.0,
        "first_h": 60.0,
        "any_h": 60.0,
        "days": [1.0, 1.5, 2.0, 1.7],
    }
    late = {**told, "number": 1, "first_h": 100.0 - AHEAD_H + 1.0, "any_h": 93.0, "days": [3.0, 4.0, 5.0, 0.3]}
    none = {**told, "number": 2, "first_h": None, "any_h": None, "days": None}
    quiet = {**common, "number": 0, "cause": "", "trip_h": None, "first_h": None, "any_h": None}
    false = {**quiet, "number": 1, "any_h": 40.0, "words": ["starving@circuit:A"]}
    made = summary([told, late, none, quiet, false])
    assert (made["told_share"], made["false_share"], made["passes"]) == (round(1 / 3, 4), 0.5, False)
    assert (made["days_told"], made["days_within_band"]) == (2, 1)
    assert made["false_words"] == {"starving": 1} and [r["number"] for r in made["not_told"]] == [1, 2]
    good = summary([told, quiet])
    assert good["passes"] and summary([told, false])["passes"] is False


def test_a_proof_that_was_stopped_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[tuple[int, str]] = []

    def instead(knowledge: Knowledge, seed: int, number: int, cause: str) -> tuple[int, str]:
        drawn.append((number, cause))
        return number, cause

    def row(knowledge: Knowledge, run: tuple[int, str]) -> dict[str, object]:
        number, cause = run
        at = (
            {"trip_h": 90.0, "first_h": 40.0, "any_h": 40.0}
            if cause
            else {"trip_h": None, "first_h": None, "any_h": None}
        )
        return {"number": number, "cause": cause, "trip": "", "redrawn": [], "baseline": "kept", "words": [], **at}

    monkeypatch.setattr(drift, "draw_run", instead)
    monkeypatch.setattr(drift, "row_of", row)
    out = tmp_path / "drift.json"
    prove_drift(Options(draws=2, out=str(out)))
    lines = out.with_suffix(".partial.jsonl").read_text(encoding="utf-8").splitlines()
    assert drawn == plan_of(2) and len(lines) == 4
    out.with_suffix(".partial.jsonl").write_text("\n".join(lines[:3]) + '\n{"number": 1, "cau', encoding="utf-8")
    digest, made = prove_drift(Options(draws=2, out=str(out)))
    assert drawn[4:] == plan_of(2)[3:] and made["runs"] == {"faulty": 2, "healthy": 2}
    assert made["passes"] and "passes" in drift_text(made) and json.loads(json.dumps(made)) and digest
