"""Calibration: the measure itself on pairs whose answer is known, the moved world, and a small run of the proof.

The expected calibration error over equally full bins is the one of Nixon and others 2019 ("Measuring calibration in deep
learning", adaptive calibration error for one class); from memory. The full-size result is tests/results/calibration.json.
"""

from __future__ import annotations

import json
import math
import random
from pathlib import Path

import pytest

from diagnose.prove.calibration import (
    FLOOR,
    LIMIT,
    NOTHING,
    Called,
    bins_of,
    calibration_error,
    calibration_text,
    counted,
    draw_call,
    groups_of,
    moved_base,
    pairs_of,
    plot,
)
from knowledge.load import load_knowledge

RESULT = Path(__file__).parent.parent / "results" / "calibration.json"


def test_the_error_of_known_pairs() -> None:
    """Always 0.7 and right in seven of ten: none. Always sure and right in half: one half. Two bins: their weighed mean."""
    assert calibration_error([(0.7, n < 7) for n in range(10)], bins=1) == pytest.approx(0.0)
    assert calibration_error([(1.0, n % 2 == 0) for n in range(10)], bins=1) == pytest.approx(0.5)
    pairs = [(0.1, False)] * 10 + [(0.9, n < 5) for n in range(10)]
    assert calibration_error(pairs, bins=2) == pytest.approx((0.1 + 0.4) / 2)
    assert [n for n, _, _ in bins_of(pairs, bins=3)] == [7, 7, 6]
    assert calibration_error([]) == 0.0


def test_honest_chances_have_a_small_error_and_sharpened_ones_a_large_one() -> None:
    """Draws that come true as said stay under the limit; the same said too boldly do not."""
    rng = random.Random(4)
    said = [rng.random() for _ in range(4000)]
    pairs = [(p, rng.random() < p) for p in said]
    bold = [(p**3 / (p**3 + (1 - p) ** 3), hit) for p, hit in pairs]
    assert calibration_error(pairs) < LIMIT < calibration_error(bold)


def test_leaders_and_suspects_are_counted() -> None:
    """Every suspect counts once, the leader of a call alone; nothing wrong is right when nothing was."""
    calls = [
        Called(frozenset({"a"}), {"a": 0.6, "b": 0.3}),
        Called(frozenset(), {NOTHING: 0.8, "a": 0.1}),
        Called(frozenset({"a", "c"}), {"b": 0.5, "c": 0.4}),
    ]
    assert pairs_of(calls, leader=True) == [(0.6, True), (0.8, True), (0.5, False)]
    assert pairs_of(calls, leader=False) == [
        (0.6, True), (0.3, False), (0.8, True), (0.1, False), (0.5, False), (0.4, True)
    ]  # fmt: skip


def test_the_moved_world_moves_every_strength_by_its_own_draw() -> None:
    """Moves in log-odds have the spread asked for, no two edges share one, and nothing else of a card changes."""
    base = load_knowledge()
    world = moved_base(base, "t", 0.7)
    moves = []
    for name, cause in base.causes.items():
        other = world.causes[name]
        assert (
            other.model_copy(update={k: getattr(cause, k) for k in ("brings", "prior", "prior_in", "complaints")})
            == cause
        )
        for before, after in zip(cause.brings, other.brings, strict=True):
            for word, strength in before.gives.items():
                p, q = base.words.strength[strength], world.words.strength[after.gives[word]]
                moves.append(math.log(q / (1 - q)) - math.log(p / (1 - p)))
    mean, spread = sum(moves) / len(moves), math.sqrt(sum(m * m for m in moves) / len(moves))
    assert len(set(moves)) == len(moves) > 500
    assert abs(mean) < 0.1 and spread == pytest.approx(0.7, abs=0.06)
    assert base.words.strength == load_knowledge().words.strength


def test_a_draw_is_the_same_by_seed() -> None:
    base = load_knowledge()
    assert draw_call(base, base, random.Random("x")) == draw_call(base, base, random.Random("x"))


def test_a_small_run_stays_near_the_truth() -> None:
    """Eighteen calls in two moved worlds: too few for the limit itself, enough to see a gross fault."""
    base = load_knowledge()
    numbers = counted(groups_of(base, 7, 0.7, copies=2, calls=9), seed=1)
    assert numbers["calls"] == 18 and numbers["suspects"]["counted"] > 90
    assert all(p >= FLOOR for _, p, _ in numbers["suspects"]["bins"])
    assert numbers["suspects"]["error"] <= 2 * LIMIT
    low, high = numbers["suspects"]["interval_95"]
    assert 0 <= low <= high
    assert plot({"moved": numbers, "own": numbers}).startswith("<svg")


@pytest.mark.skipif(not RESULT.exists(), reason="the full-size proof was not run yet")
def test_the_committed_result_keeps_the_limit() -> None:
    """The full-size proof: enough calls, both measures at most the limit, and its plot beside it."""
    result = json.loads(RESULT.read_text(encoding="utf-8"))
    assert result["moved"]["calls"] >= 2000
    assert result["passes"]
    for name in ("suspects", "leaders"):
        assert result["moved"][name]["error"] <= LIMIT
    assert "moved world" in calibration_text(result)
    assert RESULT.with_suffix(".svg").read_text(encoding="utf-8").startswith("<svg")
