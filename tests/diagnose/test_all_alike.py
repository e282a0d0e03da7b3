"""An answer for all circuits alike counts for each of them, whatever else tells them apart, and is not asked for again."""

from __future__ import annotations

from typing import Any

import pytest

from diagnose.advise import advise
from diagnose.case import Case
from diagnose.work import prepare
from knowledge.load import Knowledge, load_knowledge

ALL = {"check": "high-pressure-timing-ask", "answer": "hot-hours", "place": "circuit:*"}
OWN = {**ALL, "answer": "at-start", "place": "circuit:B"}
HEADS = [
    {"quantity": "liquid_pressure", "value": f"{p} psig", "place": f"circuit:{c}"} for c, p in (("A", 545), ("B", 529))
]


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


def call(*entries: dict[str, Any]) -> Case:
    """A technician's high-head call on a machine of two circuits."""
    return Case.model_validate(
        {
            "complaint": "high-head",
            "role": "technician",
            "qualified": ["electrical", "refrigerant", "height"],
            "machine": {"refrigerant": "R-410A", "circuits": 2},
            "entries": entries,
        }
    )


def told(base: Knowledge, *entries: dict[str, Any]) -> dict[str, str]:
    """Likeliest word of the timing of high-pressure trips at each place it is known of."""
    finding = base.findings["high-pressure-timing"]
    evidence = prepare(call(*entries), base).graded.evidence
    return {place: one.words(finding)[0][0] for (name, place), one in evidence.items() if name == finding.id}


@pytest.mark.parametrize(
    ("read", "places"), [(0, {"circuit:*"}), (1, {"circuit:*", "circuit:A"}), (2, {"circuit:A", "circuit:B"})]
)
def test_it_is_known_of_each_circuit(base: Knowledge, read: int, places: set[str]) -> None:
    assert told(base, ALL, *HEADS[:read]) == dict.fromkeys(places, "hot-hours")


def test_what_was_said_of_one_circuit_itself_stands(base: Knowledge) -> None:
    assert told(base, ALL, OWN, *HEADS) == {"circuit:A": "hot-hours", "circuit:B": "at-start"}
    assert told(base, OWN, ALL, *HEADS) == {"circuit:A": "hot-hours", "circuit:B": "at-start"}


def test_it_is_not_asked_of_one_of_them_again(base: Knowledge) -> None:
    """Without that answer it is."""
    clean = {"check": "coil-look", "answer": "clean"}

    def asked(*entries: dict[str, Any]) -> set[str]:
        return {s.place for s in advise(call(*entries), base).next if s.id == ALL["check"] and not s.again}

    assert asked(clean, *HEADS)
    assert not asked(ALL, clean) and not asked(ALL, clean, *HEADS)
