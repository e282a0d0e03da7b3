"""A small sample of `prove crash` on both stores; and that the count would see a loss."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from diagnose.prove.crash import call_of, count, run
from diagnose.store import Store


@pytest.fixture(params=["sqlite", "postgres"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Address of an empty store."""
    return str(tmp_path / "x.sqlite" if request.param == "sqlite" else request.getfixturevalue("postgres_url"))


def test_six_kills_while_three_writers_answer(address: str) -> None:
    """Every acknowledged answer is there, none twice, and the records hold together."""
    numbers = run(address, kills=6, writers=3, seed=5)
    assert numbers["kills"] == 6 and numbers["acknowledged"] > 20
    assert (numbers["lost"], numbers["doubled"], numbers["problems"]) == (0, 0, [])
    assert numbers["stored_but_not_yet_acknowledged"] <= 3


def test_a_loss_and_a_double_would_be_seen(tmp_path: Path) -> None:
    """The count is no formality: an answer that is not there is lost, one with another number too, one stored twice is seen."""
    address = str(tmp_path / "x.sqlite")
    store, call = Store(address), call_of(0, 0)
    store.open_call({"complaint": "no-flow"}, by="x", call_id=call)
    for n, note in enumerate(("0/0", "0/1", "0/1")):
        store.append(call, {"note": note}, key=f"k{n}", after_revision=n, by="x")
    store.close()
    acks = [(0, 0, 1, 1, False), (0, 1, 2, 2, False), (0, 2, 4, 4, False)]
    team: Any = [SimpleNamespace(acks=acks)]
    numbers = count(address, team)
    assert numbers["lost"] == 2, "0/1 has another number now, 0/2 is gone"
    assert numbers["doubled"] == 1
