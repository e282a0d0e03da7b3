"""The schema comes up step by step, from the oldest one that was ever released, with the data that was in it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, inspect, text

from diagnose.store import Store
from diagnose.store import database as db
from diagnose.store.address import read_address
from diagnose.store.steps import STEPS, Step
from shared.errors import StoreError

OLDEST = Path(__file__).parent / "step_1.sql"
ONE = Step("one more", both=("CREATE TABLE one_more (id INTEGER)",))
TWO = Step("and another", both=("CREATE TABLE another (id INTEGER)",))


def engine_of(address: str) -> Any:
    """A plain engine beside the store's own."""
    url, path = read_address(address)
    if path is not None:
        path.parent.mkdir(parents=True, exist_ok=True)
    return create_engine(url or f"sqlite+pysqlite:///{path}")


def shape(address: str) -> dict[str, list[str]]:
    """Tables and their columns with what they may hold."""
    engine = engine_of(address)
    found = inspect(engine)
    tables = {
        name: sorted(f"{c['name']} {str(c['type'])} {c['nullable']}" for c in found.get_columns(name))
        for name in found.get_table_names()
    }
    engine.dispose()
    return tables


@pytest.fixture
def oldest(address: str) -> str:
    """Address of a store as the first release left it."""
    engine = engine_of(address)
    lines = [one for one in OLDEST.read_text(encoding="utf-8").splitlines() if not one.startswith("--")]
    with engine.begin() as connection:
        for statement in "\n".join(lines).split(";\n"):
            if statement.strip():
                connection.exec_driver_sql(statement.replace("%", "%%") if "postgres" in address else statement)
    engine.dispose()
    return address


def test_a_store_of_the_first_release_comes_up_with_everything_in_it(oldest: str) -> None:
    store = Store(oldest)
    assert [m.id for m in store.machines()] == ["unit-7", "unit-8"] and store.machines()[1].invented
    open_one, closed = store.call("old-call-a"), store.call("old-call-b")
    assert open_one.case.words == 'he said "role":"customer", I think; 100% sure?'
    assert [e.value or e.note for e in open_one.case.entries] == ["12,5 psig"]
    assert [(e.kind, e.by) for e in open_one.events] == [
        ("entry", "Ann Example"),
        ("entry", "Bo Example"),
        ("undo", "Bo Example"),
        ("skip", "Ann Example"),
    ]
    assert open_one.events[1].body["note"] == "it's odd: <b>50 %</b> \N{SNOWMAN}"
    assert (closed.line.outcome, closed.case.words, closed.open) == ("handed-over", "now it hums", False)
    assert [(c.line.desk, c.line.team, c.line.origin) for c in (open_one, closed)] == [
        ("field", "", ""),
        ("telephone", "", ""),
    ]
    assert store.append("old-call-a", {"note": "on"}, key="k9", after_revision=4, by="Ann").revision == 5
    store.close()


def test_an_old_store_and_a_new_one_have_the_same_shape(oldest: str, tmp_path: Path) -> None:
    Store(oldest).close()
    if "postgres" not in oldest:
        fresh = str(tmp_path / "fresh.sqlite")
        Store(fresh).close()
        assert shape(oldest) == shape(fresh)
    tables = shape(oldest)
    for table in db.kept_tables():  # what the statements of this release read and write is what the steps made
        assert {c.split()[0] for c in tables[table.name]} == {c.name for c in table.columns}


def test_steps_run_once_and_in_order(address: str) -> None:
    db.Database(address).close()
    db.Database(address, [*STEPS, ONE]).close()
    db.Database(address, [*STEPS, ONE, TWO]).close()
    assert {"one_more", "another"} <= set(shape(address))
    step = len(STEPS)
    with pytest.raises(StoreError, match=rf"newer release \(schema step {step + 2}\).*step {step} or older"):
        Store(address)


def test_a_step_that_fails_leaves_the_schema_as_it_was(address: str) -> None:
    """Changes of the schema are part of the transaction on both databases."""
    half = Step("half", both=("CREATE TABLE half_done (id INTEGER)", "INSERT INTO nowhere VALUES (1)"))
    db.Database(address).close()
    before = shape(address)
    with pytest.raises(StoreError, match="nowhere"):
        db.Database(address, [*STEPS, half])
    assert shape(address) == before


@pytest.mark.parametrize("statement", ["UPDATE events SET body = '{}'", "DELETE FROM events"])
def test_the_database_itself_refuses_to_change_what_happened(store: Store, address: str, statement: str) -> None:
    """Also from outside this program: whoever has the database open by hand is told."""
    call = store.open_call({"complaint": "no-flow"}, by="Ann")
    store.append(call, {"note": "kept"}, key="k", after_revision=0, by="Ann")
    engine = engine_of(address)
    with pytest.raises(Exception, match="never changed or deleted"), engine.begin() as connection:
        connection.execute(text(statement))
    engine.dispose()
    assert [e.note for e in store.case(call).entries] == ["kept"]
