"""The same tests on SQLite and on PostgreSQL: nothing lost, nothing twice, nothing half, history kept."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from diagnose.case import Case, Entry, Machine
from diagnose.store import Conflict, Store
from diagnose.store import database as db
from diagnose.store.checkup import check_all
from shared.errors import CaseError, ChillerError, StoreError

T0 = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
HEADER = {
    "complaint": "no-flow",
    "words": "it says no flow \N{SNOWMAN} 'quoted' \"twice\"",
    "qualified": ["electrical"],
    "machine": {"name": "Unit 7", "refrigerant": "R-410A", "circuits": 2},
}
READING = {"quantity": "pump_suction", "value": "12,5 psig"}


def opened(store: Store, **more: Any) -> str:
    return store.open_call({**HEADER, **more}, by="Ann", at=T0)


def everything(store: Store) -> list[Any]:
    """All rows, to show that nothing changed."""
    with store._db.read() as tx:
        return [db.all_machines(tx), db.all_calls(tx), *(db.events_of(tx, c["id"]) for c in db.all_calls(tx))]


def test_a_call_comes_back_as_it_was_given(store: Store, address: str) -> None:
    call = opened(store)
    assert len(call) >= 20, "an id that cannot be guessed"
    first = store.append(call, READING, key="a", after_revision=0, by="Ann", at=T0 + timedelta(minutes=2))
    second = store.append(
        call,
        {"check": "valve-handles", "answer": "across", "place": "unit"},
        key="b",
        after_revision=1,
        by="Bo",
        at=T0 + timedelta(minutes=5),
    )
    assert (first.number, first.revision, second.number, second.revision) == (1, 1, 2, 2)
    store.close()
    again = Store(address)
    case = again.case(call)
    again.close()
    assert case.words == HEADER["words"] and case.machine.name == "Unit 7" and case.qualified == ("electrical",)
    assert [(e.id, e.quantity or e.check, e.by, e.at) for e in case.entries] == [
        ("e1", "pump_suction", "Ann", "2026-05-04T09:02:00+00:00"),
        ("e2", "valve-handles", "Bo", "2026-05-04T09:05:00+00:00"),
    ]
    assert case.now == "2026-05-04T09:05:00+00:00"


def test_the_same_key_stores_once_and_gives_the_first_receipt(store: Store) -> None:
    call = opened(store)
    first = store.append(call, READING, key="tap", after_revision=0, by="Ann", at=T0)
    second = store.append(call, READING, key="tap", after_revision=0, by="Ann", at=T0 + timedelta(minutes=1))
    assert second.repeated and (second.number, second.at) == (first.number, first.at)
    assert len(store.case(call).entries) == 1


def test_the_same_key_with_another_answer_is_refused(store: Store) -> None:
    call = opened(store)
    store.append(call, {"check": "lamp", "answer": "on"}, key="tap", after_revision=0, by="Ann")
    before = everything(store)
    with pytest.raises(Conflict, match="already answered otherwise.*lamp, off.*lamp, on"):
        store.append(call, {"check": "lamp", "answer": "off"}, key="tap", after_revision=0, by="Bo")
    assert everything(store) == before


def test_a_stale_screen_cannot_write(store: Store) -> None:
    call = opened(store)
    store.append(call, READING, key="a", after_revision=0, by="Ann")
    before = everything(store)
    with pytest.raises(Conflict, match="moved on.*revision 0.*revision 1.*nothing was stored"):
        store.append(call, {"note": "mine"}, key="b", after_revision=0, by="Bo")
    assert everything(store) == before


def test_undo_keeps_history_and_restores_the_case(store: Store) -> None:
    call = opened(store)
    empty = store.call(call).case_digest
    store.append(call, READING, key="a", after_revision=0, by="Ann", at=T0)
    with_one = store.call(call).case_digest
    store.append(call, {"note": "second"}, key="b", after_revision=1, by="Ann", at=T0 + timedelta(minutes=9))
    store.undo(call, key="u1", after_revision=2, by="Bo")
    assert store.call(call).case_digest == with_one
    store.undo(call, key="u2", after_revision=3, by="Bo")
    after = store.call(call)
    assert after.case_digest == empty and after.revision == 4
    assert [(e.kind, e.by) for e in after.events] == [
        ("entry", "Ann"),
        ("entry", "Ann"),
        ("undo", "Bo"),
        ("undo", "Bo"),
    ]
    with pytest.raises(StoreError, match="nothing to take back"):
        store.undo(call, key="u3", after_revision=4, by="Bo")
    receipt = store.append(call, READING, key="c", after_revision=4, by="Ann")
    assert receipt.number == 3, "numbers of receipts are never used again"


def test_undo_of_one_that_is_not_the_last(store: Store) -> None:
    call = opened(store)
    for n in range(3):
        store.append(call, {"note": f"n{n}"}, key=f"k{n}", after_revision=n, by="Ann")
    store.undo(call, key="u", after_revision=3, by="Ann", number=2)
    assert [e.note for e in store.case(call).entries] == ["n0", "n2"]
    with pytest.raises(StoreError, match="nothing to take back"):
        store.undo(call, key="u2", after_revision=4, by="Ann", number=2)
    assert store.undo(call, key="u", after_revision=4, by="Ann", number=2).repeated


def test_skipping_weighs_nothing_and_can_be_taken_back(store: Store) -> None:
    call = opened(store)
    digest = store.call(call).case_digest
    store.set_aside(call, "lamp", "unit", key="s", after_revision=0, by="Ann")
    after = store.call(call)
    assert after.set_aside == {("lamp", "unit")} and after.case_digest == digest
    store.undo(call, key="u", after_revision=1, by="Ann")
    assert not store.call(call).set_aside


def test_what_a_call_was_opened_with_can_be_amended(store: Store) -> None:
    call = opened(store)
    store.amend(call, {"qualified": ["electrical", "height"]}, key="q", after_revision=0, by="Ann")
    assert store.case(call).qualified == ("electrical", "height")
    before = everything(store)
    for changes in ({"qualified": ["everything"]}, {"entries": []}, {"role": "boss"}):
        with pytest.raises(CaseError):
            store.amend(call, changes, key=str(changes), after_revision=1, by="Ann")
    assert everything(store) == before
    store.undo(call, key="u", after_revision=1, by="Ann")
    assert store.case(call).qualified == ("electrical",)


def test_close_and_reopen(store: Store) -> None:
    call = opened(store)
    store.close_call(call, "cured", key="c", after_revision=0, by="Ann")
    assert store.calls("open") == () and store.calls("closed")[0].outcome == "cured"
    with pytest.raises(StoreError, match="closed.*cured and proved.*open it again"):
        store.append(call, READING, key="a", after_revision=1, by="Ann")
    with pytest.raises(StoreError, match="outcome of a call"):
        store.close_call(call, "fine", key="x", after_revision=1, by="Ann")  # type: ignore[arg-type]
    store.reopen_call(call, key="r", after_revision=1, by="Ann")
    assert store.append(call, READING, key="a", after_revision=2, by="Ann").revision == 3
    assert [e.kind for e in store.call(call).events] == ["close", "reopen", "entry"]


def test_opening_twice_with_one_key_opens_once(store: Store) -> None:
    first = store.open_call(HEADER, by="Ann", key="form-1")
    assert store.open_call(HEADER, by="Ann", key="form-1") == first
    assert len(store.calls()) == 1
    with pytest.raises(Conflict, match="call id is taken"):
        store.open_call(HEADER, by="Ann", call_id=first)


BAD: list[tuple[str, Callable[[Store, str], Any]]] = [
    ("no answer", lambda s, c: s.append(c, {"check": "lamp"}, key="k", after_revision=0, by="A")),
    (
        "two things",
        lambda s, c: s.append(
            c,
            {"check": "lamp", "answer": "on", "quantity": "flow", "value": "1"},
            key="k",
            after_revision=0,
            by="A",
        ),
    ),
    ("unknown key", lambda s, c: s.append(c, {"chekc": "lamp"}, key="k", after_revision=0, by="A")),
    ("long note", lambda s, c: s.append(c, {"note": "x" * 5000}, key="k", after_revision=0, by="A")),
    ("list for text", lambda s, c: s.append(c, {"note": ["x"]}, key="k", after_revision=0, by="A")),
    ("no such call", lambda s, c: s.append("nowhere", READING, key="k", after_revision=0, by="A")),
    ("half a character", lambda s, c: s.append(c, {"note": "\ud800"}, key="k", after_revision=0, by="A")),
    ("empty key", lambda s, c: s.append(c, READING, key="", after_revision=0, by="A")),
    ("control key", lambda s, c: s.append(c, READING, key="a\0b", after_revision=0, by="A")),
    ("long key", lambda s, c: s.append(c, READING, key="k" * 300, after_revision=0, by="A")),
    ("no complaint", lambda s, c: s.open_call({"machine": {"name": "x"}}, by="A")),
    ("with entries", lambda s, c: s.open_call({**HEADER, "entries": [{"note": "x"}]}, by="A")),
    ("bad machine", lambda s, c: s.open_call({**HEADER, "machine": {"name": "x", "colour": "red"}}, by="A")),
    ("machine without name", lambda s, c: s.add_machine({"refrigerant": "R-32"}, by="A")),
    ("machine with junk", lambda s, c: s.add_machine({"name": "x", "fluid": "beer"}, by="A")),
    ("bad undo", lambda s, c: s.undo(c, key="k", after_revision=0, by="A", number=99)),
    ("reopen an open one", lambda s, c: s.reopen_call(c, key="k", after_revision=0, by="A")),
]


@pytest.mark.parametrize(("name", "act"), BAD, ids=[name for name, _ in BAD])
def test_bad_input_is_one_clear_line_and_leaves_the_store_untouched(
    store: Store, name: str, act: Callable[[Store, str], Any]
) -> None:
    call = opened(store)
    before = everything(store)
    with pytest.raises(ChillerError) as caught:
        act(store, call)
    assert everything(store) == before
    assert len(caught.value.line().splitlines()) == 1 and len(caught.value.line()) < 400


def test_a_check_of_the_case_can_refuse_any_write(address: str) -> None:
    def check(case: Case) -> None:
        if any("wrong" in e.note for e in case.entries) or case.complaint == "nonsense":
            raise CaseError("case", ["this is wrong"])

    store = Store(address, check=check)
    call = opened(store)
    store.append(call, {"note": "right"}, key="a", after_revision=0, by="Ann")
    before = everything(store)
    with pytest.raises(CaseError, match="this is wrong"):
        store.append(call, {"note": "wrong"}, key="b", after_revision=1, by="Ann")
    with pytest.raises(CaseError, match="this is wrong"):
        store.open_call({"complaint": "nonsense"}, by="Ann")
    assert everything(store) == before
    store.close()


def test_odd_text_survives(store: Store) -> None:
    text = "<script>alert(1)</script> \0 \U0001f9ca '; DROP TABLE calls; --"
    call = store.open_call({**HEADER, "words": text, "machine": {"name": text}}, by=text)
    store.append(call, {"note": text}, key="n", after_revision=0, by=text)
    case = store.case(call)
    assert case.words == text and case.entries[0].note == text and case.machine.name == text
    assert "\0" not in store.calls()[0].machine


def test_the_longest_call_is_refused_one_entry_later(store: Store) -> None:
    """The case model allows 2000 entries; the store must not take one that it cannot give back."""
    call = opened(store)
    note = db.as_json({"note": "x"})
    with store._db.write() as tx:
        for n in range(1, 2001):
            row = {
                "call_id": call,
                "number": n,
                "kind": "entry",
                "key": f"k{n}",
                "body": note,
                "by": "A",
                "at": T0.isoformat(),
            }
            assert db.add_event(tx, row)
    with pytest.raises(CaseError):
        store.append(call, {"note": "one more"}, key="more", after_revision=2000, by="A")
    assert len(store.case(call).entries) == 2000


def test_machines(store: Store) -> None:
    card = Machine(name="Unit 7", refrigerant="R-32", drop_curve=(("40 gpm", "2 psi"), ("80 gpm", "8 psi")))
    made = store.add_machine(card, by="Ann", at=T0)
    store.add_machine({"name": "Unit 8"}, by="Ann", at=T0 + timedelta(hours=1), machine_id="unit-8", invented=True)
    assert [(m.card.name, m.invented) for m in store.machines()] == [("Unit 7", False), ("Unit 8", True)]
    assert store.machine(made).card == card
    with pytest.raises(Conflict, match="machine id is taken"):
        store.add_machine({"name": "Unit 9"}, by="Ann", machine_id="unit-8")
    with pytest.raises(StoreError, match="no such machine"):
        store.machine("unit-9")
    call = store.open_call(HEADER, by="Ann", machine_id=made)
    opened(store)
    assert [c.id for c in store.calls(machine_id=made)] == [call]


def test_a_card_is_changed_by_a_new_version_and_calls_keep_theirs(store: Store) -> None:
    unit = store.add_machine({"name": "Unit 7", "design_flow": "150 gpm"}, by="Ann", at=T0)
    call = store.open_call({**HEADER, "machine": store.machine(unit).card}, by="Ann", machine_id=unit)
    changed = {"name": "Unit 7", "design_flow": "144 gpm", "refrigerant": "R-32"}
    assert store.change_machine(unit, changed, key="c1", after_version=1, by="Bo", at=T0 + timedelta(days=1)) == 2
    assert store.change_machine(unit, changed, key="c1", after_version=1, by="Bo") == 2, "the same tap again"
    now = store.machine(unit)
    assert (now.version, now.changed_by, now.added_by, now.card.design_flow) == (2, "Bo", "Ann", "144 gpm")
    assert [m.card.design_flow for m in store.machines()] == ["144 gpm"]
    assert [(v.version, v.card.design_flow) for v in store.machine_versions(unit)] == [(1, "150 gpm"), (2, "144 gpm")]
    assert store.case(call).machine.design_flow == "150 gpm"
    with pytest.raises(Conflict, match="version 1.*version 2"):
        store.change_machine(unit, {"name": "Unit 8"}, key="c2", after_version=1, by="Ann")
    with pytest.raises(CaseError, match="no name given"):
        store.change_machine(unit, {"name": ""}, key="c3", after_version=2, by="Ann")
    with pytest.raises(StoreError, match="no such machine"):
        store.change_machine("nobody", {"name": "x"}, key="c4", after_version=1, by="Ann")
    assert store.machine(unit) == now and check_all(store._db) == []


def test_eight_writers_lose_nothing_and_double_nothing(store: Store) -> None:
    """Each takes the newest revision, writes, and looks again when somebody was faster."""
    call, each, refused = opened(store), 6, []

    def work(who: int) -> None:
        for turn in range(each):
            while True:
                try:
                    store.append(
                        call,
                        {"note": f"{who}/{turn}"},
                        key=f"{who}-{turn}",
                        after_revision=store.call(call).revision,
                        by=f"w{who}",
                    )
                    break
                except Conflict:
                    refused.append(who)

    threads = [threading.Thread(target=work, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    notes = [e.note for e in store.case(call).entries]
    assert sorted(notes) == sorted(f"{w}/{t}" for w in range(8) for t in range(each))
    assert [e.number for e in store.call(call).events] == list(range(1, 8 * each + 1))
    assert refused, "nobody ever met: this test showed nothing"


WRITER = """
import sys
from diagnose.store import Conflict, Store
address, call, who = sys.argv[1:]
store = Store(address)
for turn in range(8):
    while True:
        try:
            store.append(call, {"note": f"{who}/{turn}"}, key=f"{who}-{turn}",
                         after_revision=store.call(call).revision, by=who)
            break
        except Conflict:
            pass
"""


def test_processes_that_start_and_write_at_once(address: str) -> None:
    """The schema is made once although all find it missing; every answer of each process is there."""
    starters = [
        subprocess.Popen(
            [
                sys.executable,
                "-c",
                "import sys\nfrom diagnose.store import Store\nStore(sys.argv[1])",
                address,
            ]
        )
        for _ in range(3)
    ]
    assert [p.wait(60) for p in starters] == [0, 0, 0]
    store = Store(address)
    call = opened(store)
    writers = [subprocess.Popen([sys.executable, "-c", WRITER, address, call, f"p{n}"]) for n in range(3)]
    assert [p.wait(60) for p in writers] == [0, 0, 0]
    assert len(store.case(call).entries) == 24
    store.close()


RIVAL = """
import sys
from diagnose.store import Conflict, Store
address, call, who = sys.argv[1:]
store = Store(address)
print("ready", flush=True)
for line in sys.stdin:  # both see the same screen, of this revision, and answer it at once
    try:
        store.append(call, {"note": who}, key=f"{who}-{line.strip()}", after_revision=int(line), by=who)
        print("kept", flush=True)
    except Conflict:
        print("refused", flush=True)
"""


def test_two_people_answer_one_screen_at_once(address: str) -> None:
    """Two processes, twenty screens: each time exactly one answer is kept and the other is told, whoever is faster."""
    store = Store(address)
    call = opened(store)
    rivals = [
        subprocess.Popen([sys.executable, "-c", RIVAL, address, call, who], stdin=subprocess.PIPE,
                         stdout=subprocess.PIPE, text=True)
        for who in ("Ann", "Bo")
    ]  # fmt: skip
    said = [r.stdout.readline() for r in rivals if r.stdout]
    assert said == ["ready\n"] * 2
    for revision in range(20):
        for rival in rivals:
            assert rival.stdin
            rival.stdin.write(f"{revision}\n")
            rival.stdin.flush()
        assert sorted(r.stdout.readline() for r in rivals if r.stdout) == ["kept\n", "refused\n"]
    for rival in rivals:
        assert rival.stdin
        rival.stdin.close()
        assert rival.wait(60) == 0
    assert len(store.case(call).entries) == store.call(call).revision == 20
    store.close()


def test_an_answer_outlives_a_killed_process(address: str) -> None:
    """The receipt is printed, then the process dies without a word; what was acknowledged is there."""
    code = (
        "import sys\nfrom diagnose.store import Store\nstore = Store(sys.argv[1])\n"
        "call = store.open_call({'complaint': 'no-flow'}, by='A')\n"
        "for n in range(200):\n"
        "    receipt = store.append(call, {'note': str(n)}, key=str(n), after_revision=n, by='A')\n"
        "    print(call, receipt.revision, flush=True)\n"
    )
    process = subprocess.Popen([sys.executable, "-c", code, address], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    lines = [process.stdout.readline() for _ in range(7)]
    process.kill()
    lines += process.stdout.read().splitlines(keepends=True)
    process.wait()
    call, last = [line.split() for line in lines if line.endswith("\n")][-1]
    store = Store(address)
    assert store.call(call).revision in (int(last), int(last) + 1)
    store.close()


def test_entries_are_dated_when_they_come(store: Store) -> None:
    call = opened(store)
    store.append(call, Entry(note="x"), key="a", after_revision=0, by="Ann")
    at = datetime.fromisoformat(store.case(call).entries[0].at)
    assert abs((datetime.now(UTC) - at).total_seconds()) < 5
    store.append(call, Entry(note="y", at="2026-05-04T08:00:00+00:00"), key="b", after_revision=1, by="Ann")
    assert store.case(call).entries[1].at == "2026-05-04T08:00:00+00:00", "a time that was told is kept"
