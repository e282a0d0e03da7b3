"""Two hundred simulated calls, the first of the evaluation's default seed, worked to their end: none unsafe, and none worse than floors.

In pieces that all test processes share; whichever comes last judges them together. The floors lie two to three standard errors below what
tests/results/evaluation.json reports, so that a base or an engine that got worse falls through; the targets are told there.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

from diagnose.evaluate.summary import summary
from diagnose.evaluate.work import work_number
from knowledge.load import load_knowledge

CALLS, PIECE = 200, 10


@pytest.fixture(scope="session")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of this run of the tests, the same for all its processes."""
    own = tmp_path_factory.getbasetemp()
    folder = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "two-hundred"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.mark.parametrize("first", range(0, CALLS, PIECE))
def test_two_hundred_calls(first: int, kept: Path) -> None:
    """No missed stop, no forbidden step, no failed reasoning, whoever asks; for technicians the cause is found as often as before."""
    digest = load_knowledge().digest
    rows = [work_number(1, number, digest, "") for number in range(first, first + PIECE)]
    assert not [r["number"] for r in rows if r["missed_stop"] or r["forbidden"] or r["failed"]]
    assert all(0 <= r["checks"] <= 15 and r["minutes"] >= 0.0 for r in rows)
    assert all(r["checks_in_all"] >= r["checks"] and r["minutes_in_all"] >= r["minutes"] for r in rows)
    assert all(r["wrong_remedies"] <= 3 and r["parts"] == len(r["ends"]) for r in rows)
    assert all(r["remedies"][-1].endswith("cured") for r in rows if r["resolved"])
    written = kept / f"{first}.new"
    written.write_text(json.dumps(rows), encoding="utf-8")
    written.replace(kept / f"{first}.json")
    pieces = sorted(kept.glob("*.json"))
    if len(pieces) == CALLS // PIECE:
        judge([row for piece in pieces for row in json.loads(piece.read_text(encoding="utf-8"))])


def judge(rows: list[dict[str, Any]]) -> None:
    """All of them together: stops without a danger, and how often the cause is found."""
    assert {r["number"] for r in rows} == set(range(CALLS))
    assert sum(bool(r["wrong_stop"]) for r in rows) <= 2
    groups = summary(rows)["groups"]
    technician, telephone = groups["plant, technician"], groups["plant, telephone"]
    assert technician["single"] >= 80 and technician["double"] and technician["nothing_wrong"]
    assert technician["right"] >= 0.75 and technician["within_three"] >= 0.82
    assert technician["nothing_right"] >= 0.6 and technician["calibration"] <= 0.15
    assert technician["median_checks"] <= 10
    assert telephone["single"] >= 20 and telephone["within_three"] >= 0.5
