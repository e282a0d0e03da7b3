"""An invented fleet with a few calls and a stay, so that a fresh store shows something. All of it is marked invented."""

from __future__ import annotations

import json
from contextlib import suppress
from datetime import datetime, timedelta
from importlib import resources
from typing import Any

from diagnose.store import Conflict, Store
from diagnose.store.closing import PROOFS
from knowledge.yaml_text import read_yaml

BY = "demonstration"


def _read(name: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = read_yaml((resources.files(__name__) / name).read_text(encoding="utf-8"))[0]
    return rows


def fleet() -> dict[str, dict[str, Any]]:
    """Machine cards of the invented fleet by id."""
    return {row["id"]: row["card"] for row in _read("fleet.yaml")}


def calls() -> list[dict[str, Any]]:
    """The invented calls: header, entries with their age in minutes, perhaps how they were closed."""
    return _read("calls.yaml")


def placements() -> list[dict[str, Any]]:
    """The invented stays: steps done before the baseline, then entries with their age in hours."""
    return _read("placements.yaml")


def load_demo(store: Store, now: datetime) -> bool:
    """Fill an empty store with the invented fleet and calls; False and nothing done when it is not empty.

    Two processes may do it at once: ids and keys are fixed, so nothing comes twice.
    """
    if not store.is_empty():
        return False
    cards = fleet()
    for machine_id, card in cards.items():
        try:
            store.add_machine(card, by=BY, at=now - timedelta(days=30), machine_id=machine_id, invented=True)
        except Conflict:
            continue
    for call in calls():
        _load_call(store, call, cards[call["machine"]], now)
    for placement in placements():
        with suppress(Conflict):  # another process was faster
            store.placements.take_in(_placement_file(placement, cards[placement["machine"]], now), by=BY)
    return True


def _load_call(store: Store, row: dict[str, Any], card: dict[str, Any], now: datetime) -> None:
    def before(minutes: str) -> datetime:
        return now - timedelta(minutes=float(minutes))

    header: dict[str, Any] = {
        key: row[key] for key in ("complaint", "words", "role", "qualified", "context") if key in row
    }
    call = store.open_call(
        {**header, "machine": card},
        by=BY,
        at=before(row["ago"]),
        key=row["id"],
        call_id=row["id"],
        machine_id=row["machine"],
        invented=True,
    )
    for number, entry in enumerate(row["entries"]):
        data = {key: value for key, value in entry.items() if key != "ago"}
        store.append(call, data, key=f"demo-{number}", after_revision=number, by=BY, at=before(entry["ago"]))
    if closed := row.get("close"):
        store.close_call(
            call,
            closed["outcome"],
            key="demo-close",
            after_revision=len(row["entries"]),
            by=BY,
            at=before(closed["ago"]),
            note=closed["note"],
            causes=(closed["cause"],),
            proof=PROOFS[closed["proof"]],
        )


def _placement_file(row: dict[str, Any], card: dict[str, Any], now: datetime) -> bytes:
    """A stay as the file the store takes in, in one transaction."""

    def before(hours: float, minutes: float = 0.0) -> str:
        return (now - timedelta(hours=hours, minutes=minutes)).isoformat(timespec="seconds")

    first = float(row["entries"][0]["ago"])
    done: list[tuple[dict[str, Any], str]] = [
        # the day before the baseline, half an hour a step
        ({"step": step}, before(first + 0.5 * (len(row["steps"]) - n)))
        for n, step in enumerate(row["steps"])
    ]
    for entry in row["entries"]:
        ago = float(entry["ago"])
        readings = [*_taken(entry.get("before", {}), before(ago, 6.0)), *_taken(entry["read"], "")]
        done.append(({"step": entry["step"], "readings": readings}, before(ago)))
    data = {
        "format": "chiller-placement",
        "version": 1,
        "id": row["id"],
        "machine_id": row["machine"],
        "invented": True,
        "opened_at": done[0][1],
        "opened_by": BY,
        "header": {"name": row["name"], "machine": card, "qualified": row["qualified"]},
        "events": [
            {"kind": "done", "key": f"demo-{n}", "body": body, "by": BY, "at": at} for n, (body, at) in enumerate(done)
        ],
    }
    return json.dumps(data).encode()


def _taken(read: dict[str, str], at: str) -> list[dict[str, str]]:
    rows = []
    for name, value in read.items():
        quantity, _, place = name.partition("@")
        one = {"quantity": quantity, "value": value, "place": place, "at": at}
        rows.append({key: text for key, text in one.items() if text})
    return rows
