"""The training desk's records on both stores: nothing is lost by a restart, nothing kept twice, a trainer sees the own classes."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from diagnose.store import AT_HOME, Conflict, Person, Store
from diagnose.training import keeping
from diagnose.training.keeping import Assignment
from diagnose.training.session import Session, look, name_cause, start
from knowledge.load import Knowledge
from shared.errors import CaseError, ChillerError, StoreError
from tests.training.conftest import PLAIN


def begun(store: Store, base: Knowledge, key: str = "k") -> str:
    """A session that was just begun."""
    return keeping.begin(store, start(base.scenarios["two-leads-swapped"], 4, "guided", "Kim"), key=key)


def test_a_restart_finds_the_exercise_where_it_was(store: Store, base: Knowledge, tmp_path: Path) -> None:
    """Every step is there again, told as it was told; a second store object stands for another process."""
    session_id = begun(store, base)
    first = keeping.act(store, session_id, lambda s: look(s, base, "monitor-lamp-look"), key="1", after_revision=0)
    second = keeping.act(store, session_id, lambda s: look(s, base, "lugs-look"), key="2", after_revision=1)
    assert (first.revision, second.revision) == (1, 2)
    again = keeping.kept(store.seen_by(AT_HOME), session_id)
    assert again.session == second.session and again.session.trainee == "Kim" and again.session.mode == "guided"


def test_a_tap_that_comes_twice_is_kept_once(store: Store, base: Knowledge) -> None:
    """The same key gives the same session; an old screen with another choice is refused."""
    session_id = begun(store, base)
    step = partial(
        keeping.act, store, session_id, lambda s: look(s, base, "monitor-lamp-look"), key="1", after_revision=0
    )
    assert step().session == step().session and keeping.kept(store, session_id).revision == 1
    with pytest.raises(Conflict, match="moved on"):
        keeping.act(store, session_id, lambda s: look(s, base, "lugs-look"), key="other", after_revision=0)
    assert begun(store, base) == session_id


def test_what_is_refused_leaves_nothing(store: Store, base: Knowledge) -> None:
    """An unknown check, an unknown session, a key that is none."""
    session_id = begun(store, base)
    for bad in (
        lambda: keeping.act(store, session_id, lambda s: look(s, base, "no-such"), key="1", after_revision=0),
        lambda: keeping.act(store, session_id, lambda s: look(s, base, "pump-look"), key="", after_revision=0),
        lambda: keeping.kept(store, "no-such"),
        lambda: keeping.join(store, base, "NOCODE", "Kim", key="x"),
    ):
        with pytest.raises(ChillerError):
            bad()
    assert keeping.kept(store, session_id).revision == 0


def test_a_class_works_and_its_trainer_sees_it(store: Store, base: Knowledge) -> None:
    """Three join by the code, read out in any case; each has an own session; the list has all of them."""
    code = keeping.open_class(store, "Monday", Assignment(scenario="timer-still-counting", mode="exam"), by="Trainer")
    ids = [keeping.join(store, base, code.lower(), name, key=f"join-{name}") for name in ("Ann", "Bo", "Cy")]
    keeping.act(
        store, ids[1], lambda s: name_cause(s, base, ("start-delay-running",), "explain"), key="1", after_revision=0
    )
    seen = keeping.of_class(store, code)
    assert [k.session.trainee for k in seen] == ["Ann", "Bo", "Cy"]
    assert [k.session.named is not None for k in seen] == [False, True, False]
    assert len(set(ids)) == 3 and store.training.classes()[0].code == code


def test_a_drawn_class_gives_each_their_own(store: Store, base: Knowledge) -> None:
    """By difficulty and topic; the same name draws the same again."""
    code = keeping.open_class(store, "Mixed", Assignment(difficulty="usual", topic="phase-fault"), by="Trainer")
    names = [f"T{n}" for n in range(8)]
    got = {n: keeping.kept(store, keeping.join(store, base, code, n, key=n)).session.scenario for n in names}
    assert len({s.id for s in got.values()}) > 1 and {s.difficulty for s in got.values()} == {"usual"}
    again = keeping.kept(store, keeping.join(store, base, code, "T0", key="again")).session.scenario
    assert again == got["T0"]


def test_another_teams_class_is_not_seen(store: Store, base: Knowledge) -> None:
    """A trainer of one team does not list the class of another; the keeper does. Who signed in bears the proved name."""
    north = store.seen_by(Person("nora", "Nora", "trainer", "north"))
    south = store.seen_by(Person("sam", "Sam", "trainer", "south"))
    code = keeping.open_class(north, "North", Assignment(scenario="two-leads-swapped"), by="somebody else")
    assert north.training.classes()[0].opened_by == "Nora"
    assert south.training.classes() == () and len(store.training.classes()) == 1
    with pytest.raises(StoreError):
        keeping.of_class(south, code)
    trainee = store.seen_by(Person("tia", "Tia", "technician", "north"))
    joined = keeping.kept(trainee, keeping.join(trainee, base, code, "Mallory", key="t"))
    assert joined.session.trainee == "Tia"


def test_a_trainers_scenario_is_kept_in_versions(store: Store, base: Knowledge) -> None:
    """Checked first; the newest counts; a shipped id is refused; another team neither sees nor overwrites it."""
    data: dict[str, Any] = {**PLAIN, "id": "our-own"}
    keeping.keep_scenario(store, base, data, by="Trainer")
    keeping.keep_scenario(store, base, {**data, "title": "Changed title"}, by="Trainer")
    assert keeping.all_scenarios(store, base)["our-own"].title == "Changed title"
    for bad in ({**data, "id": "two-leads-swapped"}, {**data, "complaint": "no-such"}):
        with pytest.raises(CaseError):
            keeping.keep_scenario(store, base, bad, by="Trainer")
    north = store.seen_by(Person("nora", "Nora", "trainer", "north"))
    keeping.keep_scenario(north, base, {**data, "id": "of-the-north"}, by="")
    south = store.seen_by(Person("sam", "Sam", "trainer", "south"))
    assert "of-the-north" not in keeping.all_scenarios(south, base)
    with pytest.raises(StoreError):
        keeping.keep_scenario(south, base, {**data, "id": "of-the-north"}, by="")


def test_records_of_the_training_desk_are_backed_up(store: Store, base: Knowledge, tmp_path: Path) -> None:
    """And read back into another store."""
    code = keeping.open_class(store, "Monday", Assignment(scenario="two-leads-swapped"), by="Trainer")
    session_id = keeping.join(store, base, code, "Ann", key="a")
    keeping.act(store, session_id, lambda s: look(s, base, "monitor-lamp-look"), key="1", after_revision=0)
    store.backup(tmp_path / "all.gz")
    other = Store(str(tmp_path / "other.sqlite"))
    other.restore(tmp_path / "all.gz")
    assert keeping.kept(other, session_id).session == keeping.kept(store, session_id).session
    assert other.problems() == []
    other.close()


def test_the_database_refuses_to_change_what_a_trainee_did(store: Store, base: Knowledge) -> None:
    """As it does for calls."""
    session_id = begun(store, base)
    keeping.act(store, session_id, lambda s: look(s, base, "monitor-lamp-look"), key="1", after_revision=0)
    with pytest.raises(Exception, match="never changed"), store._db.write() as tx:
        tx.execute(text("UPDATE training_events SET body = '{}'"))
    assert isinstance(keeping.kept(store, session_id).session, Session)
