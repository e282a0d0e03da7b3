"""Backup and restore on both stores: all of it or nothing, one moment while others write, from either kind into either."""

from __future__ import annotations

import gzip
import json
import stat
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from diagnose.store import Store
from diagnose.store import database as db
from diagnose.store.backup import LEFT_OUT
from diagnose.store.steps import STEPS
from shared.errors import StoreError

T0 = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


def filled(store: Store) -> Store:
    """A bit of everything."""
    store.add_machine({"name": "Unit 7", "circuits": 2}, by="Ann", at=T0, machine_id="unit-7")
    call = store.open_call(
        {"complaint": "no-flow", "words": "it says \N{SNOWMAN} \0 <b>", "machine": {"name": "Unit 7"}},
        by="Ann", at=T0, machine_id="unit-7", call_id="call-1", team="north",
    )  # fmt: skip
    store.append(call, {"quantity": "pump_suction", "value": "12,5 psig"}, key="a", after_revision=0, by="Ann", at=T0)
    store.append(call, {"note": "x" * 4000}, key="b", after_revision=1, by="Bo", at=T0 + timedelta(minutes=1))
    store.undo(call, key="u", after_revision=2, by="Bo", at=T0)
    store.close_call(call, "cured", key="c", after_revision=3, by="Ann", at=T0)
    store.open_call({"complaint": "low-suction", "role": "customer"}, by="Cy", at=T0, call_id="call-2")
    store.users.add("kit", "keeper", password="four walls and a roof", by="test", at=T0)
    store.users.change("kit", team="north", by="kit", at=T0)
    return store


def everything(store: Store) -> dict[str, list[Any]]:
    with store._db.read() as tx:
        return {t.name: list(db.rows_of(tx, t)) for t in db.kept_tables() if t.name not in LEFT_OUT}


@pytest.fixture
def full(store: Store) -> Store:
    return filled(store)


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Store]:
    """An empty SQLite store."""
    made = Store(str(tmp_path / "other.sqlite"))
    yield made
    made.close()


@pytest.mark.parametrize("name", ["records.jsonl", "records.jsonl.gz"])
def test_what_is_backed_up_comes_back_the_same(full: Store, other: Store, tmp_path: Path, name: str) -> None:
    """From either kind into a file, and from that file's store back into the first kind."""
    counts = full.backup(tmp_path / name)
    assert counts["calls"] == 2 and counts["events"] == 4 and counts["users"] == 1
    assert stat.S_IMODE((tmp_path / name).stat().st_mode) == 0o600
    assert other.restore(tmp_path / name) == counts
    assert everything(other) == everything(full)
    before = everything(full)
    other.backup(tmp_path / "again.jsonl")
    full.restore(tmp_path / "again.jsonl", keep_old=tmp_path / "old.jsonl")
    assert everything(full) == before
    assert full.users.sign_in("kit", "four walls and a roof", "x")
    assert full.append("call-2", {"note": "on"}, key="k", after_revision=0, by="Ann").revision == 1


def test_the_format_is_the_documented_one(full: Store, tmp_path: Path) -> None:
    full.backup(tmp_path / "r.jsonl")
    first, *rows, last = [json.loads(line) for line in (tmp_path / "r.jsonl").read_text().splitlines()]
    assert (first["format"], first["version"]) == ("chiller-records", 1) and set(first) == {
        "format", "version", "schema", "made"}  # fmt: skip
    assert all(set(row) == {"table", "row"} for row in rows) and set(last) == {"end", "sha256"}
    assert [r["table"] for r in rows] == [*["calls"] * 2, "machines", "users", *["events"] * 4, *["user_events"] * 2]


def test_nothing_is_written_over(full: Store, other: Store, tmp_path: Path) -> None:
    full.backup(tmp_path / "r.jsonl")
    kept = (tmp_path / "r.jsonl").read_bytes()
    with pytest.raises(StoreError, match="there is a file of this name.*--replace"):
        full.backup(tmp_path / "r.jsonl")
    assert (tmp_path / "r.jsonl").read_bytes() == kept
    full.backup(tmp_path / "r.jsonl", replace=True)
    before = everything(full)
    with pytest.raises(StoreError, match="records in this store already.*--keep-old"):
        full.restore(tmp_path / "r.jsonl")
    with pytest.raises(StoreError, match="there is a file of this name"):
        full.restore(tmp_path / "r.jsonl", keep_old=tmp_path / "r.jsonl")
    assert everything(full) == before
    other.add_machine({"name": "theirs"}, by="x")
    other.restore(tmp_path / "r.jsonl", keep_old=tmp_path / "theirs.jsonl")
    assert everything(other) == before
    assert "theirs" in (tmp_path / "theirs.jsonl").read_text()


def test_a_place_that_cannot_be_written(full: Store, tmp_path: Path) -> None:
    for path in (tmp_path / "nowhere" / "r.jsonl", tmp_path):
        with pytest.raises(StoreError) as caught:
            full.backup(path)
        assert len(caught.value.line().splitlines()) == 1
    assert not [p for p in tmp_path.iterdir() if p.suffix == ".part"]


SCHEMA = f'"schema":{len(STEPS)}'


def change(at: int, old: str, new: str) -> Callable[[list[str]], list[str]]:
    def work(lines: list[str]) -> list[str]:
        assert old in lines[at]
        return [*lines[:at], lines[at].replace(old, new), *lines[at + 1 :]] if at >= 0 else [
            *lines[:at], lines[at].replace(old, new)]  # fmt: skip

    return work


BAD: list[tuple[str, Callable[[list[str]], list[str]], str]] = [
    ("empty", lambda lines: [], "ends too early"),
    ("cut off", lambda lines: lines[:-1], "ends too early"),
    ("a row less", lambda lines: lines[:3] + lines[4:], "digest|counts"),
    ("one letter", change(1, "it says", "it sayz"), "digest"),
    ("something after the end", lambda lines: [*lines, lines[3]], "after the end"),
    ("another format", change(0, "chiller-records", "records"), "not a backup"),
    ("newer", change(0, SCHEMA, '"schema":99'), "newer release"),
    ("schema of text", change(0, SCHEMA, SCHEMA.replace(":", ':"') + '"'), "newer release"),
    ("a table of ours that is not kept", change(3, '"machines"', '"sign_ins"'), "table 'sign_ins'"),
    ("a table of nobody", change(3, '"machines"', '"x; DROP TABLE calls"'), "table 'x; DROP"),
    ("tables in disorder", lambda lines: [lines[0], lines[5], *lines[1:5], *lines[6:]], "table"),
    ("an unknown column", change(3, '"card"', '"cart"'), "column 'cart'"),
    ("a number for a text", change(3, '"added_by":"Ann"', '"added_by":7'), "column 'added_by'"),
    ("a text for yes or no", change(3, '"invented":false', '"invented":"no"'), "column 'invented'"),
    ("half a character", change(3, '"added_by":"Ann"', '"added_by":"\\ud800"'), "surrogates|characters"),
    ("a NUL", change(3, '"added_by":"Ann"', '"added_by":"\\u0000"'), "characters"),
    ("a huge number", change(1, '"revision":4', '"revision":1e400'), "line 2"),
    ("a huge whole number", change(1, '"revision":4', '"revision":' + "9" * 30), "too large"),
    ("a row twice", lambda lines: [lines[0], lines[1], *lines[1:]], "twice"),
    ("no JSON", lambda lines: ["Dear customer", *lines], "JSON"),
    ("a list", lambda lines: ["[]", *lines], "no object"),
    ("deep", lambda lines: ["[" * 100_000, *lines], "deep"),
]


@pytest.mark.parametrize(("name", "spoil", "told"), BAD, ids=[name for name, _, _ in BAD])
def test_a_spoilt_backup_is_refused_whole(
    tmp_path: Path, other: Store, name: str, spoil: Callable[[list[str]], list[str]], told: str
) -> None:
    first = filled(Store(str(tmp_path / "first.sqlite")))
    first.backup(tmp_path / "r.jsonl")
    lines = (tmp_path / "r.jsonl").read_text().splitlines()
    (tmp_path / "bad.jsonl").write_text("".join(line + "\n" for line in spoil(lines)))
    other.add_machine({"name": "theirs"}, by="x")
    before = everything(other)
    with pytest.raises(StoreError, match=told) as caught:
        other.restore(tmp_path / "bad.jsonl", keep_old=tmp_path / f"old-{len(name)}.jsonl")
    assert len(caught.value.line().splitlines()) == 1 and len(caught.value.line()) < 420
    assert everything(other) == before
    first.close()


SIGNED: list[tuple[str, int, str, str, str]] = [
    ("event of no call", 5, '"call_id":"call-1"', '"call_id":"call-9"', "belongs to nothing"),
    ("a gap", 5, '"number":1', '"number":7', "numbered"),
    ("a revision too many", 1, '"revision":4', '"revision":5', "revision 5, but 4"),
    ("an unknown kind", 5, '"kind":"entry"', '"kind":"entri"', "unknown kind"),
    ("no such entry", 5, "quantity", "quantiti", "."),
    ("a header that is none", 2, "low-suction", 'low\\",\\"x\\":\\"y', "."),
    ("a role that is none", 4, '"role":"keeper"', '"role":"root"', "role"),
    ("state against its events", 1, '"state":"closed"', '"state":"open"', "its events say closed cured"),
]


@pytest.mark.parametrize(("name", "at", "old", "new", "told"), SIGNED, ids=[row[0] for row in SIGNED])
def test_a_backup_with_the_right_digest_must_still_hold_together(
    tmp_path: Path, other: Store, name: str, at: int, old: str, new: str, told: str
) -> None:
    """Whoever makes such a file on purpose can also make the digest."""
    import hashlib
    import re

    first = filled(Store(str(tmp_path / "first.sqlite")))
    first.backup(tmp_path / "r.jsonl")
    first.close()
    lines = change(at, old, new)((tmp_path / "r.jsonl").read_text().splitlines())
    body = "".join(line + "\n" for line in lines[:-1])
    digest = hashlib.sha256(body.encode()).hexdigest()
    (tmp_path / "bad.jsonl").write_text(body + re.sub('"sha256":"[0-9a-f]+"', f'"sha256":"{digest}"', lines[-1]) + "\n")
    with pytest.raises(StoreError, match=told) as caught:
        other.restore(tmp_path / "bad.jsonl")
    assert all(len(line) < 420 for line in caught.value.line().splitlines())
    assert not any(everything(other).values())


def test_a_packed_file_that_is_cut_or_none(tmp_path: Path, other: Store) -> None:
    packed = gzip.compress(b"x" * 1000)
    for content in (packed[:40], b"\x1f\x8bno", b"\x1f\x8b"):
        (tmp_path / "bad.gz").write_bytes(content)
        with pytest.raises(StoreError) as caught:
            other.restore(tmp_path / "bad.gz")
        assert len(caught.value.line().splitlines()) == 1


def test_a_packed_nothing_without_end_is_refused_early(tmp_path: Path, other: Store) -> None:
    (tmp_path / "bomb.gz").write_bytes(gzip.compress(b" " * 50_000_000))
    with pytest.raises(StoreError, match="too long"):
        other.restore(tmp_path / "bomb.gz")


WRITER = """
import sys
from diagnose.store import Store
store = Store(sys.argv[1])
calls = [store.open_call({"complaint": "no-flow"}, by="w") for _ in range(3)]
print("go", flush=True)
n = 0
while True:  # the same answer into three calls, one after the other: never more than one apart
    for call in calls:
        store.append(call, {"note": str(n)}, key=str(n), after_revision=n, by="w")
    n += 1
"""


def test_a_backup_is_one_moment_while_others_write(store: Store, address: str, other: Store, tmp_path: Path) -> None:
    """The counts of three calls, written in turn by another process, differ by at most one in every backup."""
    process = subprocess.Popen([sys.executable, "-c", WRITER, address], stdout=subprocess.PIPE)
    try:
        assert process.stdout is not None and process.stdout.readline()
        sizes = []
        for n in range(4):
            store.backup(tmp_path / f"{n}.jsonl")
            if n:
                other.restore(tmp_path / f"{n}.jsonl", keep_old=tmp_path / f"old{n}.jsonl")
            else:
                other.restore(tmp_path / f"{n}.jsonl")
            assert other.problems() == []
            revisions = sorted((line.revision for line in other.calls()), reverse=True)
            assert revisions[0] - revisions[-1] <= 1
            sizes.append(sum(revisions))
    finally:
        process.kill()
        process.wait()
    assert sizes == sorted(sizes) and sizes[-1] > sizes[0], "nobody wrote meanwhile: this showed nothing"


def test_check_finds_what_is_wrong(full: Store, address: str) -> None:
    assert full.problems() == []
    from sqlalchemy import text

    with full._db.write() as tx:
        tx.execute(text("UPDATE calls SET revision = 9, state = 'open', outcome = '' WHERE id = 'call-1'"))
        tx.execute(text("UPDATE machines SET card = 'nonsense'"))
    found = full.problems()
    assert len(found) == 3 and any("revision 9, but 4 events" in line for line in found)
    assert any("machine unit-7" in line for line in found)


def test_a_damaged_file_is_told(tmp_path: Path) -> None:
    store = filled(Store(str(tmp_path / "x.sqlite")))
    for n in range(200):
        store.append("call-2", {"note": "y" * 500}, key=f"k{n}", after_revision=n, by="A")
    store.close()
    path = tmp_path / "x.sqlite"
    data = bytearray(path.read_bytes())
    data[20_000:60_000] = bytes(40_000)
    path.write_bytes(data)
    try:
        store = Store(str(path))
        found = store.problems()
        store.close()
    except StoreError as error:
        found = error.line().splitlines()
    assert found and all(len(line) < 420 for line in found)
