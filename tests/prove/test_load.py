"""The load proof on a small piece: a few people for a few seconds on the real app, everything counted."""

from __future__ import annotations

import pytest

from diagnose.prove import load


def test_three_people_for_a_few_seconds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each answers, each answer has its receipt, the app's memory and processor time are read, nothing fails."""
    monkeypatch.setattr(load, "EVERY_S", 2.0)
    monkeypatch.setattr(load, "BURST", 2)
    with load.running() as app:
        assert 0.3 < app.first_question_s(7) < 60
        many = load.soak(app, 4.0, 3, 7)
    assert many["failed"] == 0, many["failures"]
    assert many["answers"] >= 6 + 2 - 1 and many["median_ms"] > 0 and many["p95_ms"] >= many["median_ms"]
    assert many["memory_most_mb"] > 50 and many["cpu_ms_per_screen"] > 0
    assert many["visitors_cpu_ms_per_answer"] > 0 and many["visitors_late_p95_ms"] >= 0
    assert 0 < many["app_share"] <= 1 and 0 < many["visitors_share"] <= 1 and 0 <= many["others_share"] <= 1


@pytest.mark.parametrize(("share", "wanted"), [(0.5, 51), (0.95, 96), (1.0, 100)])
def test_the_percentile(share: float, wanted: int) -> None:
    assert load.percentile(list(range(1, 101)), share) == wanted
    assert load.percentile([], share) == 0.0


ONE = {"cold_first_question_s": 3.0, "median_ms": 100, "failed": 0, "valid": True}
MANY = {
    "p95_ms": 400,
    "memory_most_mb": 300,
    "memory_second_quarter_mb": 290,
    "memory_last_quarter_mb": 300,
    "failed": 0,
    "valid": True,
    "minutes": 30,
}
TOO_MUCH = {**MANY, "p95_ms": 900, "memory_last_quarter_mb": 340, "failed": 2}


def test_a_limit_that_is_not_kept_is_told() -> None:
    assert load.missed(ONE, MANY) == []
    told = load.missed({**ONE, "cold_first_question_s": 9.0}, TOO_MUCH)
    assert [t.split()[0] for t in told] == ["cold", "95", "memory", "2"]


def test_times_that_others_took_part_in_say_nothing() -> None:
    """Neither for nor against; what does not depend on time counts all the same."""
    told = load.missed({**ONE, "cold_first_question_s": 9.0, "valid": False}, {**TOO_MUCH, "valid": False})
    assert [t.split()[0] for t in told] == ["memory", "2"]
    assert load.missed(ONE, {**TOO_MUCH, "valid": False, "minutes": 1, "failed": 0}) == [], "too short for growth"


@pytest.mark.parametrize(("late", "others", "valid"), [(0.004, 0.02, True), (0.2, 0.02, False), (0.004, 0.3, False)])
def test_what_makes_times_valid(late: float, others: float, valid: bool) -> None:
    seen = {"took": [(0.0, 0.1)] * 9, "opened": [], "failed": [], "late": [late] * 20, "used": 0.09}
    found = load.times(seen, {"app_share": 0.2, "visitors_share": 0.1, "others_share": others})
    assert found["valid"] is valid and found["visitors_cpu_ms_per_answer"] == 10
