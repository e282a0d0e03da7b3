"""A machine over its calls: trends, trouble that comes back, search; on a real store."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from diagnose.history import picture_of, repeated, search_calls, trends
from diagnose.store import Call, Store
from knowledge.load import Knowledge, load_knowledge

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
MACHINE = {"name": "T-1 Plover (invented)", "design_flow": "96 gpm", "design_drop": "6.5 psi", "fluid": "water"}


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    made = Store(str(tmp_path / "calls.sqlite"))
    made.add_machine(MACHINE, by="Ann", at=NOW - timedelta(days=200), machine_id="t1")
    yield made
    made.close()


def call(
    store: Store,
    days: float,
    drop: str,
    complaint: str = "strainer-suspected",
    *,
    cause: str = "",
    outcome: str = "cured",
) -> Call:
    """A call so many days before NOW, with one reading; closed with its cause where there is one."""
    at = NOW - timedelta(days=days)
    made = store.open_call({"complaint": complaint, "role": "technician", "machine": MACHINE, "words": f"flow down {drop}"},
                           by="Ann", at=at, key=f"k{days}", machine_id="t1")  # fmt: skip
    entry = {
        "quantity": "evaporator_drop",
        "value": drop,
        "state": "cooling",
        "at": (at + timedelta(minutes=5)).isoformat(),
    }
    store.append(made, entry, key="a", after_revision=0, by="Ann", at=at + timedelta(minutes=6))
    if cause or outcome == "normal":
        store.close_call(made, outcome, key="c", after_revision=1, by="Ann", at=at + timedelta(hours=1), note="basket full",
                         causes=[cause] if cause else [], proof="the basket was opened" if cause else "")  # fmt: skip
    return store.call(made)


def test_a_figure_is_followed_from_call_to_call(store: Store, base: Knowledge) -> None:
    calls = [call(store, 40, "6.4 psi"), call(store, 2, "3.1 psi"), call(store, 20, "5.0 psi")]
    found = {t.quantity: t for t in trends(calls, base)}
    ratio = found["evaporator_drop_ratio"]
    assert [p.value for p in ratio.points] == pytest.approx([6.4 / 6.5, 5.0 / 6.5, 3.1 / 6.5], rel=1e-3)
    assert ratio.points[-1].at == NOW - timedelta(days=2) + timedelta(minutes=5)
    drawn = picture_of(ratio)
    assert drawn is not None
    xs = [x for x, _ in drawn.series[0].points]
    assert xs == pytest.approx([-38, -18, 0])
    assert ratio.points[-1].word in drawn.words or drawn.notes[-1][2] == ratio.points[-1].word.replace("-", " ")


def test_one_reading_makes_no_picture(store: Store, base: Knowledge) -> None:
    (only, *_) = trends([call(store, 3, "6.4 psi")], base)
    assert picture_of(only) is None


def test_trouble_that_came_back_is_said(store: Store, base: Knowledge) -> None:
    calls = [call(store, 40, "3 psi", cause="strainer-clogged"), call(store, 1, "3 psi", cause="strainer-clogged")]
    (again,) = repeated(calls, base)
    assert "Strainer clogged: confirmed 2 times within 90 days" in again.text
    assert again.calls == (calls[1].id, calls[0].id)
    calls += [call(store, 12, "3 psi"), call(store, 20, "3 psi")]
    texts = [r.text for r in repeated(calls, base)]
    assert any("called 3 times within 30 days" in text for text in texts)
    assert "3 calls within 30 days" in texts


def test_calls_that_ended_normal_or_long_ago_do_not_count(store: Store, base: Knowledge) -> None:
    calls = [call(store, 100, "3 psi", cause="strainer-clogged"), call(store, 5, "3 psi", cause="strainer-clogged")]
    calls += [
        call(store, 4, "6.5 psi", "is-this-normal", outcome="normal"),
        call(store, 3, "6.5 psi", "is-this-normal", outcome="normal"),
    ]
    assert repeated(calls, base) == ()


def test_search_needs_every_word_wherever_it_stands(store: Store, base: Knowledge) -> None:
    calls = [call(store, 40, "3 psi", cause="strainer-clogged"), call(store, 1, "6 psi", "high-head")]
    assert search_calls(calls, "plover BASKET", base) == [calls[0]]
    assert search_calls(calls, "plover", base) == calls
    assert search_calls(calls, "strainer clogged cured", base) == [calls[0]]
    assert search_calls(calls, "high head", base) == [calls[1]]
    assert search_calls(calls, "   ", base) == []
    assert search_calls(calls, "nothing like it", base) == []
