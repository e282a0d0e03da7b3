"""The load proof on a small piece: a few people for a few seconds on the real app, everything counted."""

from __future__ import annotations

import pytest

from diagnose.prove import load


def test_three_people_for_a_few_seconds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each answers, each answer has its receipt, the app's memory and processor time are read, nothing fails."""
    monkeypatch.setattr(load, "EVERY_S", 2.0)
    monkeypatch.setattr(load, "BURST", 2)
    with load.running() as app:
        many = load.soak(app, 4.0, 3, 7)
    assert many["failed"] == 0, many["failures"]
    assert many["answers"] >= 6 + 2 - 1 and many["median_ms"] > 0 and many["p95_ms"] >= many["median_ms"]
    assert many["memory_most_mb"] > 50 and many["cpu_ms_per_answer"] > 0


@pytest.mark.parametrize(("share", "wanted"), [(0.5, 51), (0.95, 96), (1.0, 100)])
def test_the_percentile(share: float, wanted: int) -> None:
    assert load.percentile(list(range(1, 101)), share) == wanted
    assert load.percentile([], share) == 0.0


def test_a_limit_that_is_not_kept_is_told() -> None:
    one = {"cold_first_question_s": 3.0, "median_ms": 100, "failed": 0}
    many = {
        "p95_ms": 400,
        "memory_most_mb": 300,
        "memory_second_quarter_mb": 290,
        "memory_last_quarter_mb": 300,
        "failed": 0,
    }
    assert load.missed(one, many) == []
    told = load.missed(
        {**one, "cold_first_question_s": 9.0}, {**many, "p95_ms": 900, "memory_last_quarter_mb": 340, "failed": 2}
    )
    assert [t.split()[0] for t in told] == ["cold", "95", "memory", "2"]
