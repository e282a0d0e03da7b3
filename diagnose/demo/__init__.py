"""An invented fleet with a few calls, so that a fresh store shows something. All of it is marked invented."""

from __future__ import annotations

from datetime import datetime, timedelta
from importlib import resources
from typing import Any

from diagnose.store import Conflict, Store
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
        )
