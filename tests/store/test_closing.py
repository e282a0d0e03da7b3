"""How a call ended is kept: outcome, confirmed cause or "not found", what proved it; and what the outcomes make of it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from diagnose.closed_calls import GONE, closed_calls, closed_calls_of
from diagnose.store import Conflict, Store, closing_of
from diagnose.store.closing import closing_problem
from knowledge.__main__ import main
from knowledge.load import Knowledge, load_knowledge
from knowledge.outcomes import NOT_FOUND, proposals
from shared.errors import StoreError

T0 = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
HEADER = {
    "complaint": "no-flow",
    "context": ["first-start"],
    "machine": {"name": "Unit 7", "circuits": 2, "compressors": 4},
}
SEEN = {"causes": ("strainer-clogged",), "proof": "the screen was full of rust"}


@pytest.fixture(scope="module")
def base() -> Knowledge:
    """The shipped cards."""
    return load_knowledge()


def opened(store: Store, *entries: dict[str, Any], invented: bool = False) -> str:
    made = store.open_call(HEADER, by="Ann", at=T0, invented=invented)
    for number, entry in enumerate(entries):
        store.append(made, entry, key=f"e{number}", after_revision=number, by="Ann", at=T0)
    return made


def shut(store: Store, call: str, outcome: str = "cured", minutes: int = 5, **more: Any) -> None:
    store.close_call(
        call,
        outcome,  # type: ignore[arg-type]
        key=f"close-{minutes}",
        after_revision=store.call(call).revision,
        by="Ann",
        at=T0 + timedelta(minutes=minutes),
        **more,
    )


def test_what_was_confirmed_is_kept(store: Store, address: str) -> None:
    """As told, after a restart too, in the event that closed the call."""
    call = opened(store)
    assert closing_of(store.call(call)) is None
    shut(store, call, note="ran an hour", **SEEN)
    store.close()
    again = Store(address)
    kept = again.call(call)
    closing = closing_of(kept)
    again.close()
    assert closing is not None and closing.asked
    assert (closing.outcome, closing.note, closing.found) == ("cured", "ran an hour", ("strainer-clogged",))
    assert closing.proof == "the screen was full of rust"
    assert kept.events[-1].kind == "close" and kept.events[-1].body["causes"] == ["strainer-clogged"]


def test_closing_anew_leaves_the_first_closing_in_the_record(store: Store, base: Knowledge) -> None:
    """The last closing counts; nothing of the first is changed."""
    call = opened(store)
    shut(store, call, **SEEN)
    first = store.call(call).events[0]
    store.reopen_call(call, key="open", after_revision=1, by="Bo", at=T0 + timedelta(minutes=6))
    shut(store, call, "not-cured", 9, causes=(NOT_FOUND,))
    kept = store.call(call)
    closing = closing_of(kept)
    assert kept.events[0] == first and [e.kind for e in kept.events] == ["close", "reopen", "close"]
    assert closing is not None and closing.asked and closing.found == ()
    assert [c.cause for c in closed_calls_of(store, base)] == [NOT_FOUND]


@pytest.mark.parametrize(
    ("causes", "proof", "said"),
    [
        (("strainer-clogged",), "  ", "nothing said of what proved"),
        (("strainer-clogged", NOT_FOUND), "seen", "one or two causes"),
        (("a", "b", "c"), "seen", "one or two causes"),
        (("a", "a"), "seen", "one or two causes"),
        (("Not an id",), "seen", "one or two causes"),
        (("x" * 61,), "seen", "one or two causes"),
    ],
)
def test_a_closing_that_does_not_hold_together_is_refused(
    store: Store, causes: tuple[str, ...], proof: str, said: str
) -> None:
    """One clear line, and nothing is written."""
    call = opened(store)
    with pytest.raises(StoreError, match=said):
        shut(store, call, causes=causes, proof=proof)
    assert store.call(call).open and store.call(call).revision == 0


def test_the_same_tap_twice_is_one_closing_and_another_cause_is_refused(store: Store) -> None:
    call = opened(store)
    told: dict[str, Any] = {"key": "tap", "after_revision": 0, "by": "Ann", "at": T0}
    first = store.close_call(call, "cured", **told, **SEEN)
    assert store.close_call(call, "cured", **told, **SEEN).revision == first.revision
    with pytest.raises(Conflict, match="air-bound.*strainer-clogged"):
        store.close_call(call, "cured", **told, causes=("air-bound",), proof="seen")
    assert len(store.call(call).events) == 1


def test_a_body_from_a_file_is_held_to_the_same(store: Store) -> None:
    """Older files have neither causes nor proof; a wrong one gets a line."""
    assert closing_problem({"outcome": "cured", "note": ""}) == ""
    assert closing_problem({"outcome": "cured", "note": "", "causes": ["air-bound"], "proof": "seen"}) == ""
    for body in (
        {"outcome": "fine"},
        {"outcome": "cured", "causes": "air-bound"},
        {"outcome": "cured", "causes": [1], "proof": "x"},
        {"outcome": "cured", "causes": ["air-bound"]},
        {"outcome": "cured", "note": 3},
    ):
        assert closing_problem(body), body


def test_outcomes_take_what_was_recorded(store: Store, base: Knowledge) -> None:
    """Recorded cause before anything inferred; two causes are two rows; "not found" stays so; the demonstration is left out."""
    remedy = base.causes["strainer-clogged"].remedy.id
    cured = {"action": remedy, "outcome": "cured"}
    one, two, none, old, gone = (opened(store, cured) for _ in range(5))
    shut(store, one, causes=("start-up-screen-left",), proof="the fine screen was still in it")
    shut(store, two, minutes=6, causes=("strainer-clogged", "air-bound"), proof="seen")
    shut(store, none, minutes=7, causes=(NOT_FOUND,))
    shut(store, old, minutes=8)
    shut(store, gone, minutes=9, causes=("a-card-of-last-year",), proof="seen")
    shut(store, opened(store, invented=True), minutes=10, **SEEN)
    opened(store)
    rows = {c.id: c for c in closed_calls_of(store, base)}
    assert rows[one].cause == "start-up-screen-left" and rows[one].proof == "the fine screen was still in it"
    assert [rows[i].cause for i in (two, f"{two}, cause 2")] == ["strainer-clogged", "air-bound"]
    assert rows[none].cause == NOT_FOUND
    assert (rows[old].cause, rows[old].proof) == ("strainer-clogged", f"cured by {remedy}"), "nobody was asked then"
    assert rows[gone].cause == NOT_FOUND and GONE in rows[gone].proof
    assert len(rows) == 6
    assert rows[one].places == {"circuit": 2, "compressor": 4, "pump": 1} and rows[one].context == ("first-start",)
    assert {c.at for c in rows.values()} == {"2026-05-04"}


def test_from_closed_calls_to_a_proposal_and_nothing_changes(
    store: Store, address: str, base: Knowledge, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Eight calls with the same confirmed cause: the command proposes a word beside the present one, with what proved it."""
    for number in range(8):
        call = opened(store)
        shut(store, call, minutes=number, causes=("vent-shut",), proof="the cap was screwed down")
    store.close()
    found = proposals(base, closed_calls(address, base))
    raised = [p for p in found if p.cause == "vent-shut"]
    assert raised and all(p.confirmed == 8 and "the cap was screwed down" in p.evidence[0] for p in raised)
    assert main(["outcomes", "--store", address]) == 0
    shown = capsys.readouterr().out
    assert (
        "8 closed calls, 0 without" in shown and "the cap was screwed down" in shown and "nothing is changed" in shown
    )
    assert load_knowledge().digest == base.digest
