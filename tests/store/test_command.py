"""`python -m diagnose store ...`: what it prints, what it leaves, how it ends."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from diagnose.__main__ import main
from diagnose.store import Store


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Any:
    """Runs `store ...` in an empty folder on a store with one call: (code, out, err)."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CHILLER_STORE", str(tmp_path / "calls.sqlite"))
    store = Store()
    store.open_call({"complaint": "no-flow", "machine": {"name": "Unit 7"}}, by="Ann", call_id="call-1")
    store.append("call-1", {"quantity": "pump_suction", "value": "12 psig"}, key="k", after_revision=0, by="Ann")
    store.close()

    def act(*arguments: str) -> tuple[int, str, str]:
        code = main(["store", *arguments])
        said = capsys.readouterr()
        assert "Traceback" not in said.err and (code == 0 or len(said.err.splitlines()) <= 1)
        return code, said.out, said.err

    return act


def test_from_a_backup_to_another_store_and_a_call_from_store_to_store(run: Any, tmp_path: Path) -> None:
    assert run("backup", "records.gz")[:2] == (0, run_said(1, 1, "backup written to records.gz"))
    assert run("--store", "two.sqlite", "restore", "records.gz")[0] == 0
    assert "hold together" in run("--store", "two.sqlite", "check")[1]
    assert [c["id"] for c in json.loads(run("--store", "two.sqlite", "calls", "--json")[1])] == ["call-1"]
    assert run("export", "call-1", "-o", "call.json")[1] == "call call-1 written to call.json: 1 events\n"
    assert run("--store", "three.sqlite", "import", "call.json", "--by", "Kit")[1] == "call call-1: 1 new events\n"
    assert "there already" in run("--store", "three.sqlite", "import", "call.json", "--by", "Kit")[1]
    assert run("readings", "-o", "readings.csv")[1] == "1 readings of 1 calls written to readings.csv\n"
    text = (tmp_path / "readings.csv").read_bytes()
    assert text.startswith(b"\xef\xbb\xbfcall,machine,") and text.endswith(b"\r\n")
    assert json.loads((tmp_path / "call.json").read_text())["format"] == "chiller-call"


def run_said(calls: int, events: int, head: str) -> Any:
    """Equal to a line that begins so and counts so."""

    class Line:
        def __eq__(self, other: object) -> bool:
            return str(other).startswith(head) and f"{calls} calls" in str(other) and f"{events} events" in str(other)

    return Line()


def test_nothing_is_written_over_and_no_store_is_made_by_a_slip(run: Any, tmp_path: Path) -> None:
    assert run("backup", "records.gz")[0] == 0
    for arguments, told in (
        (["backup", "records.gz"], "--replace"),
        (["restore", "records.gz"], "--keep-old"),
        (["--store", "slip.sqlite", "backup", "x.gz"], "no store at this place"),
        (["--store", "slip.sqlite", "check"], "no store at this place"),
        (["export", "call-9", "-o", "x.json"], "no such call"),
        (["import", "records.gz"], "not a call file|JSON"),
        (["restore", "calls.sqlite", "--keep-old", "old.gz"], "not a text file"),
    ):
        code, out, err = run(*arguments)
        assert code == 2 and out == "" and any(t in err for t in told.split("|")), err
    assert {p.name for p in tmp_path.iterdir()} <= {
        "records.gz",
        "calls.sqlite",
        "calls.sqlite-wal",
        "calls.sqlite-shm",
        "old.gz",
    }
    assert run("restore", "records.gz", "--keep-old", "before.gz")[0] == 0
    assert (tmp_path / "before.gz").exists()


def test_a_check_that_finds_something_is_exit_1(run: Any, tmp_path: Path) -> None:
    import sqlite3

    with sqlite3.connect(tmp_path / "calls.sqlite") as direct:
        direct.execute("UPDATE calls SET revision = 7")
    code, out, _ = run("check")
    assert code == 1 and "revision 7, but 1 events" in out
    assert json.loads(run("check", "--json")[1])["problems"]
