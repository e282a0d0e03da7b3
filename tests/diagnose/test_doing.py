"""What is told when a remedy was done: which ones, where, and what the record makes of it."""

from __future__ import annotations

from typing import Any

import pytest

from diagnose.advice import Verdict
from diagnose.advise import advise
from diagnose.case import Entry
from diagnose.case_check import parse_case
from diagnose.doing import done_of, done_together, entries_of
from diagnose.plan import keep_worlds
from diagnose.suspects import likelihoods_by_cause
from diagnose.verdict import lead_of
from diagnose.work import prepare, reason
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


def test_one_remedy_of_cards_for_different_places_is_done_once(base: Knowledge) -> None:
    """An open bypass stands on a card of the loop and on one of the pump; the valve is the same, and so is the way it is set right."""
    both = {"bypass-wrong", "pump-bypass-left-open"}
    machine = {"refrigerant": "R-410A", "pump_in_use": "onboard", "circuits": 1}
    seen = [
        {"check": "bypass-look", "answer": "open-with-onboard-pump"},
        {"check": "pump-recent-work-ask", "answer": "valves-moved"},
    ]

    def after(*more: dict[str, Any]) -> Any:
        case = {"complaint": "strainer-suspected", "qualified": ["electrical"], "machine": machine}
        return advise(parse_case({**case, "entries": [*seen, *more]}), base)

    def share(advice: Any) -> float:
        return float(sum(s.probability for s in advice.suspects if s.cause in both))

    assert {s.cause for s in after().suspects[:2]} == both and share(after()) > 0.8
    for place in ("", "pump:onboard"):
        done = {"action": "set-bypass", "outcome": "not-cured", **({"place": place} if place else {})}
        assert share(after(done)) < 0.2, "set right for one, it is set right for the other"
    work = prepare(parse_case({"complaint": "strainer-suspected", "machine": machine, "entries": seen}), base)
    network, inference, belief = reason(work)
    lead = lead_of(work, network, inference, belief, likelihoods_by_cause(network, inference), belief)
    assert {network.instances[i].cause for i in (lead.top, *lead.same_remedy)} >= both and lead.p_same > lead.p_top
    worlds = keep_worlds(belief, "technician", ())
    assert "set-bypass" in worlds.remedies and not [name for name in worlds.remedies if name.startswith("set-bypass@")]
