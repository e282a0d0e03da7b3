"""A call as a file: the same again in another store, nothing twice, nothing that would not have been taken as an answer."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from diagnose.case import Case
from diagnose.case_check import checked
from diagnose.demo import load_demo
from diagnose.store import Conflict, Person, Store
from diagnose.store.transfer import COLUMNS, call_as_data, read_call, readings_csv
from knowledge.load import load_knowledge
from shared.errors import CaseError, ChillerError, StoreError

T0 = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


def check(case: Case) -> None:
    checked(case, load_knowledge())


def filled(store: Store) -> str:
    call = store.open_call(
        {"complaint": "no-flow", "words": "it says \N{SNOWMAN} 'no flow'", "machine": {"name": "Unit 7", "circuits": 2}},
        by="Ann", at=T0, call_id="call-1",
    )  # fmt: skip
    rows: list[dict[str, Any]] = [
        {"quantity": "pump_suction", "value": "12,5 psig", "instrument": "=HYPERLINK(\"x\")"},
        {"quantity": "line_voltage", "value": ["462 V", "460 V", "461 V"]},
        {"quantity": "entering_fluid", "value": "-3 C"},
        {"note": "smells of nothing"},
    ]  # fmt: skip
    for n, row in enumerate(rows):
        store.append(call, row, key=f"k{n}", after_revision=n, by="Ann", at=T0 + timedelta(minutes=n))
    store.undo(call, key="u", after_revision=4, by="Bo", at=T0 + timedelta(minutes=5), number=3)
    store.set_aside(call, "valve-handles", "unit", key="s", after_revision=5, by="Ann", at=T0)
    store.amend(call, {"qualified": ["electrical"]}, key="m", after_revision=6, by="Ann", at=T0)
    store.close_call(call, "cured", key="c", after_revision=7, by="Ann", at=T0, note="done")
    return call


def as_file(store: Store, call: str) -> bytes:
    return json.dumps(call_as_data(store.call(call))).encode()


@pytest.fixture
def data(tmp_path: Path) -> dict[str, Any]:
    """The document of a call."""
    store = Store(str(tmp_path / "first.sqlite"))
    made = call_as_data(store.call(filled(store)))
    store.close()
    return json.loads(json.dumps(made))  # type: ignore[no-any-return]


def test_a_call_comes_back_the_same(store: Store, tmp_path: Path) -> None:
    """Through a file into another store: same events, same case; and the file of that store is the same file."""
    other = Store(str(tmp_path / "other.sqlite"), check=check)
    first = as_file(store, filled(store))
    assert other.import_call(first, by="Kit", at=T0 + timedelta(days=1)) == ("call-1", 8)
    there, here = other.call("call-1"), store.call("call-1")
    assert there.events == here.events and there.case == here.case
    assert (there.line.state, there.line.outcome, there.revision) == ("closed", "cured", 8)
    assert there.line.origin.startswith("imported 2026-05-05 by Kit, file ")
    assert as_file(other, "call-1") == first
    assert other.problems() == []
    other.close()


def test_every_call_of_the_demonstration_comes_back(tmp_path: Path) -> None:
    first, other = Store(str(tmp_path / "a.sqlite")), Store(str(tmp_path / "b.sqlite"), check=check)
    load_demo(first, datetime.now(UTC))
    for line in first.calls():
        other.import_call(as_file(first, line.id), by="Kit")
        assert other.call(line.id).case == first.call(line.id).case
    assert len(other.calls()) == len(first.calls()) > 3
    first.close()
    other.close()


def test_importing_again_changes_nothing_and_a_longer_file_adds(store: Store, tmp_path: Path) -> None:
    other = Store(str(tmp_path / "other.sqlite"))
    call = store.open_call({"complaint": "no-flow"}, by="Ann", at=T0)
    store.append(call, {"note": "one"}, key="a", after_revision=0, by="Ann", at=T0)
    short = as_file(store, call)
    store.append(call, {"note": "two"}, key="b", after_revision=1, by="Ann", at=T0)
    longer = as_file(store, call)
    assert [other.import_call(f, by="Kit")[1] for f in (short, short, longer, short, longer)] == [1, 0, 1, 0, 0]
    other.append(call, {"note": "three, here"}, key="c", after_revision=2, by="Bo", at=T0)
    store.append(call, {"note": "three, there"}, key="c", after_revision=2, by="Ann", at=T0)
    before = other.call(call).events
    with pytest.raises(Conflict, match="went on otherwise.*nothing was imported"):
        other.import_call(as_file(store, call), by="Kit")
    assert other.call(call).events == before
    other.close()


def test_an_import_belongs_to_the_team_of_whoever_imports(store: Store, data: dict[str, Any]) -> None:
    """And nobody finds out by importing what another team's call is."""
    content = json.dumps(data).encode()
    store.seen_by(Person("kit", "Kit", "technician", "north")).import_call(content, by="Kit")
    assert store.call("call-1").line.team == "north"
    with pytest.raises(Conflict, match="went on otherwise"):
        store.seen_by(Person("lee", "Lee", "technician", "south")).import_call(content, by="Lee")


def test_a_machine_of_another_fleet_is_not_pointed_at(store: Store, data: dict[str, Any]) -> None:
    store.import_call(json.dumps({**data, "machine_id": "unit-7"}).encode(), by="Kit")
    assert store.call("call-1").machine_id == ""
    store.add_machine({"name": "Unit 7"}, by="Kit", machine_id="unit-7")
    store.import_call(json.dumps({**data, "machine_id": "unit-7", "id": "call-2"}).encode(), by="Kit")
    assert store.call("call-2").machine_id == "unit-7"


def test_a_foreign_writer_may_spell_out_what_we_leave_out(store: Store, data: dict[str, Any]) -> None:
    """Defaults written out, another zone, fractions of seconds: the same call, and not a second one."""
    store.import_call(json.dumps(data).encode(), by="Kit")
    data["events"][3]["body"]["place"] = ""
    data["events"][3]["at"] = "2026-05-04T11:03:00.250+02:00"
    assert store.import_call(json.dumps(data).encode(), by="Kit") == ("call-1", 0)


def put(*path: Any, value: Any) -> Callable[[dict[str, Any]], Any]:
    def work(data: dict[str, Any]) -> Any:
        at: Any = data
        for step in path[:-1]:
            at = at[step]
        at[path[-1]] = value
        return data

    return work


EV = "events"
BAD: list[tuple[str, Callable[[dict[str, Any]], Any], str]] = [
    ("a list", lambda d: [d], "not a call file"),
    ("another format", put("format", value="chiller-records"), "not a call file"),
    ("no format", lambda d: d.pop("format") and d, "not a call file"),
    ("newer", put("version", value=2), "another version"),
    ("version of text", put("version", value="1"), "another version"),
    ("unknown key", put("colour", value="red"), "colour"),
    ("id with a path", put("id", value="../../etc/passwd"), "id"),
    ("id of markup", put("id", value="<script>"), "id"),
    ("id of nothing", put("id", value=""), "id"),
    ("time without zone", put("opened_at", value="2026-05-04T09:00:00"), "opened_at"),
    ("time of the future", put(EV, 1, "at", value="2999-01-01T00:00:00+00:00"), "events.2.at.*future"),
    ("time that is none", put(EV, 1, "at", value="yesterday"), "events.2.at"),
    ("time beyond all", put(EV, 1, "at", value=1e300), "events.2.at"),
    ("header of text", put("header", value="no-flow"), "header"),
    ("header with entries", put("header", "entries", value=[{"note": "x"}]), "header.entries"),
    ("header with an unknown key", put("header", "boss", value="x"), "header.boss"),
    ("an unknown kind", put(EV, 0, "kind", value="delete"), "events.1.kind"),
    ("a key with a line break", put(EV, 0, "key", value="a\nb"), "events.1.key"),
    ("a key twice", put(EV, 1, "key", value="k0"), "somebody else wrote|once"),
    ("a body of text", put(EV, 0, "body", value="x"), "events.1.body"),
    ("a body of nothing", put(EV, 0, "body", value={}), "events.1.body"),
    ("an entry of two things", put(EV, 0, "body", "note", value=None), "events.1.body"),
    ("a check that is none", put(EV, 3, "body", value={"check": "no-such", "answer": "yes"}), "no-such"),
    ("an impossible reading", put(EV, 0, "body", "value", value="9999 psig"), "9999"),
    ("an undo of nothing", put(EV, 4, "body", value={"of": 99}), "take back"),
    ("an undo of itself", put(EV, 4, "body", value={"of": 5}), "take back"),
    ("an undo of true", put(EV, 4, "body", value={"of": True}), "events.5.body"),
    ("a skip of a list", put(EV, 5, "body", value={"check": ["x"], "place": "unit"}), "events.6.body"),
    ("an amend of the entries", put(EV, 6, "body", value={"entries": []}), "events.7.body.*entries"),
    ("an amend that raises a customer", put(EV, 6, "body", value={"qualified": ["everything"]}), "qualified"),
    ("an outcome that is none", put(EV, 7, "body", "outcome", value="fine"), "events.8.body"),
    ("after the close", lambda d: put(EV, value=[d[EV][7], *d[EV][:7]])(d), "closed"),
    ("reopened while open", put(EV, 0, value={"kind": "reopen", "key": "r", "body": {}, "by": "A",
                                              "at": "2026-05-04T09:00:00+00:00"}), "open"),
    ("half a character", put(EV, 3, "body", "note", value="\ud800"), "JSON"),
    ("too many events", lambda d: put(EV, value=d[EV] * 1000)(d), "events"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "spoil", "told"), BAD, ids=[name for name, _, _ in BAD])
def test_a_bad_call_file_is_told_and_leaves_nothing(
    tmp_path: Path, data: dict[str, Any], name: str, spoil: Callable[[dict[str, Any]], Any], told: str
) -> None:
    store = Store(str(tmp_path / "x.sqlite"), check=check)
    with pytest.raises(ChillerError, match=told) as caught:
        store.import_call(json.dumps(spoil(data)).encode(), by="Kit")
    lines = caught.value.line().splitlines()
    assert lines and len(lines) <= 41 and all(len(line) < 420 and line.isprintable() for line in lines)
    assert store.calls() == ()
    store.close()


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "JSON"),
        (b"\x89PNG\r\n\x1a\n", "not a text file"),
        (b"Dear customer", "JSON"),
        (b"{" * 100_000, "deep"),
        (b'{"a":' * 30 + b"1" + b"}" * 30, "not a call file"),
        (b'{"format":"chiller-call","format":"chiller-call"}', "twice"),
        (b'{"format":"chiller-call","version":NaN}', "NaN"),
        (b'{"format":"chiller-call","version":' + b"9" * 5000 + b"}", "version|JSON"),
        (b" " * 4_000_001, "too large"),
    ],
    ids=["empty", "picture", "letter", "deep", "nested", "twice", "nan", "digits", "large"],
)
def test_what_is_no_call_file(store: Store, content: bytes, told: str) -> None:
    with pytest.raises((StoreError, CaseError), match=told) as caught:
        store.import_call(content, by="Kit")
    assert len(caught.value.line().splitlines()) == 1 and len(caught.value.line()) < 420


def test_a_text_full_of_brackets_is_not_deep(data: dict[str, Any]) -> None:
    data["header"]["words"] = '[{"' * 1000 + "\\" * 7
    assert read_call(json.dumps(data).encode()).header.words.startswith('[{"[{')


def test_readings_as_csv(store: Store) -> None:
    """What a spreadsheet reads: our values in SI beside what was typed, three phases, what was taken back; no formula."""
    call = filled(store)
    rows = list(csv.DictReader(io.StringIO(readings_csv([store.call(call)]), newline="")))
    assert tuple(rows[0]) == COLUMNS and len(rows) == 5
    assert rows[0]["typed"] == "12,5 psig" and rows[0]["unit"] == "Pa"
    assert float(rows[0]["value"]) == pytest.approx(12.5 * 6894.757, rel=1e-5)
    assert [r["phase"] for r in rows] == ["", "L1", "L2", "L3", ""]
    assert [r["value"] for r in rows[1:4]] == ["462", "460", "461"]
    assert (rows[4]["typed"], rows[4]["value"], rows[4]["taken_back"]) == ("'-3 C", "270.15", "yes")
    assert [r["taken_back"] for r in rows[:4]] == [""] * 4
    for row in rows:
        assert not any(cell.startswith(("=", "+", "@", "\t")) for cell in row.values())
    assert rows[0]["instrument"].startswith("'=HYPERLINK")
