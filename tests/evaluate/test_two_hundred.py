"""Two hundred simulated calls, the first of the evaluation's default seed, worked to their end: none unsafe, and none worse than floors.

In four pieces, which two processes share. The floors lie two to three standard errors of a piece below what
tests/results/evaluation.json reports, so that a base or an engine that got worse falls through; the targets are told there.
"""

from __future__ import annotations

import pytest

from diagnose.evaluate.summary import summary
from diagnose.evaluate.work import work_number
from knowledge.load import load_knowledge

PIECE = 50


@pytest.mark.parametrize("first", range(0, 200, PIECE))
def test_two_hundred_calls(first: int) -> None:
    """No missed stop, no forbidden step, no failed reasoning, whoever asks; for technicians the cause is found as often as before."""
    digest = load_knowledge().digest
    rows = [work_number(1, number, digest, "") for number in range(first, first + PIECE)]
    assert not [r["number"] for r in rows if r["missed_stop"] or r["forbidden"] or r["failed"]]
    assert sum(bool(r["wrong_stop"]) for r in rows) <= 1
    assert all(0 <= r["checks"] <= 15 and r["minutes"] >= 0.0 for r in rows)
    assert all(r["checks_in_all"] >= r["checks"] and r["minutes_in_all"] >= r["minutes"] for r in rows)
    assert all(r["wrong_remedies"] <= 3 and r["parts"] == len(r["ends"]) for r in rows)
    assert all(r["remedies"][-1].endswith("cured") for r in rows if r["resolved"])
    groups = summary(rows)["groups"]
    technician, telephone = groups["plant, technician"], groups["plant, telephone"]
    assert technician["single"] >= 15 and telephone["calls"] >= 5
    assert technician["right"] >= 0.65 and technician["within_three"] >= 0.75
    assert technician["median_checks"] <= 11
