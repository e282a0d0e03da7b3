"""What is told when a remedy was done: which ones, where, and what the record makes of it."""

from __future__ import annotations

from typing import Any

import pytest

from diagnose.advice import Verdict
from diagnose.advise import advise
from diagnose.case import Entry
from diagnose.case_check import parse_case
from diagnose.doing import done_of, done_together, entries_of
from knowledge.load import Knowledge, load_knowledge


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def verdict(kind: Any, causes: tuple[str, ...], places: tuple[str, ...], base: Knowledge) -> Verdict:
    remedy = base.causes[causes[0]].remedy
    return Verdict(kind=kind, causes=causes, places=places, title="x", remedy=remedy.text, remedy_id=remedy.id, proof="x",
                   who="technician", minutes=1)  # fmt: skip


def test_the_place_goes_with_the_remedy_where_one_is_named(base: Knowledge) -> None:
    drier, strainer = "drier-restricted", "strainer-clogged"
    assert done_of(verdict("one-cause", (drier,), ("circuit:A",), base), base) == (("replace-drier", "circuit:A"),)
    assert done_of(verdict("one-cause", (drier,), ("circuit:A or circuit:B",), base), base) == (("replace-drier", ""),)
    assert done_of(verdict("cannot-tell", (drier, strainer), ("circuit:A", "unit"), base), base) == (
        ("replace-drier", "circuit:A"),
    )
    two = done_of(verdict("two-causes", (drier, strainer), ("circuit:A", "unit"), base), base)
    assert two == (("replace-drier", "circuit:A"), (base.causes[strainer].remedy.id, ""))
    told = entries_of(two, "cured")
    assert [e.outcome for e in told] == ["", "cured"]
    assert done_together([Entry(note="x"), *told], 2, base) == tuple(action for action, _ in two)
    assert done_together([*entries_of(two, "not-cured"), *told], 3, base) == tuple(action for action, _ in two)


def test_not_cured_at_one_circuit_leaves_the_other_in_question(base: Knowledge) -> None:
    """The liquid line is colder after both driers. The one of circuit A was replaced and it is not cured: that of B leads then;
    without a place both would count as replaced."""
    before = parse_case(
        {
            "complaint": "low-suction",
            "qualified": ["electrical", "refrigerant"],
            "machine": {"name": "Test unit", "refrigerant": "R-410A", "circuits": 2},
            "entries": [{"finding": "drier-drop", "word": "high", "place": f"circuit:{c}"} for c in "AB"],
        }
    )

    def driers(place: str) -> set[str]:
        done = Entry.model_validate({"action": "replace-drier", "outcome": "not-cured", "place": place})
        after = advise(before.model_copy(update={"entries": (*before.entries, done)}), base)
        return {s.place for s in after.suspects if s.cause == "drier-restricted"}

    assert driers("circuit:A") == {"circuit:B"}
    assert driers("") == set()
