"""Whether the records hold together: what `store check` says, and what a restored backup must pass before it counts."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any, get_args

from diagnose.case import Machine
from diagnose.placement.record import PlacementError, placement_of
from diagnose.store import database as db
from diagnose.store.access import ROLES
from diagnose.store.closing import closing_problem
from diagnose.store.placement_file import body_problems
from diagnose.store.placements import KINDS, UNDOABLE, photo_of
from diagnose.store.records import EventKind, call_of
from shared.errors import CaseError, shorten

MOST_TOLD = 40


def problems(tx: Any) -> list[str]:
    """One line for each problem of the records, at most MOST_TOLD and a line that counts the rest."""
    found = [*_machines(tx), *_calls(tx), *_placements(tx), *_users(tx)]
    if len(found) > MOST_TOLD:
        found = [*found[:MOST_TOLD], f"{len(found) - MOST_TOLD} more problems"]
    return found


def _machines(tx: Any) -> Iterator[str]:
    for row in db.all_machines(tx):
        try:
            Machine.model_validate_json(row["card"])
            datetime.fromisoformat(row["added_at"])
        except ValueError as error:
            yield f"machine {shorten(row['id'])}: {shorten(error, 160)}"
        versions = db.versions_of(tx, row["id"])
        if [one["number"] for one in versions] != list(range(2, len(versions) + 2)):
            yield f"machine {shorten(row['id'])}: versions of its card are not numbered 2, 3, 4 ..."
        for one in versions:
            try:
                Machine.model_validate_json(one["card"])
                datetime.fromisoformat(one["at"])
            except ValueError as error:
                yield f"machine {shorten(row['id'])}, version {one['number']}: {shorten(error, 160)}"


def _calls(tx: Any) -> Iterator[str]:
    for row in db.all_calls(tx):
        events = db.events_of(tx, row["id"])
        for line in _call(row, events):
            yield f"call {shorten(row['id'])}: {line}"


def _call(row: db.Row, events: Sequence[db.Row]) -> Iterator[str]:
    numbers = [event["number"] for event in events]
    if numbers != list(range(1, len(events) + 1)):
        yield "events are not numbered 1, 2, 3 ..."
        return
    if row["revision"] != len(events):
        yield f"revision {row['revision']}, but {len(events)} events"
    if row["desk"] not in ("field", "telephone"):
        yield f"desk '{shorten(row['desk'])}'"
    try:
        yield from _story(row, events)
        call = call_of(row, events)
        for event in call.events:
            if event.kind == "entry":
                call.entry_of(event)
        _ = call.case
    except CaseError as error:
        yield from error.problems
    except (ValueError, KeyError, TypeError) as error:
        yield shorten(error, 200)


def _story(row: db.Row, events: Sequence[db.Row]) -> Iterator[str]:
    """What does not follow from what was before it."""
    state, outcome, undoable = "open", "", set[int]()
    for event in events:
        kind, number, body = event["kind"], event["number"], json.loads(event["body"])
        if kind not in get_args(EventKind):
            yield f"event {number}: unknown kind '{shorten(kind)}'"
        elif kind == "reopen":
            state, outcome = "open", ""
        elif state != "open":
            yield f"event {number}: {kind} in a closed call"
        elif kind == "close":
            state, outcome = "closed", str(body.get("outcome"))
            if problem := closing_problem(body):
                yield f"event {number}: {problem}"
        elif kind == "undo":
            if body.get("of") not in undoable:
                yield f"event {number}: takes back what was not there"
            undoable.discard(body.get("of"))
        else:
            undoable.add(number)
    if (row["state"], row["outcome"]) != (state, outcome):
        yield f"it says {row['state']} {row['outcome']}, its events say {state} {outcome}".strip()


def _placements(tx: Any) -> Iterator[str]:
    for row in db.all_placements(tx):
        events = db.placement_events_of(tx, row["id"])
        for line in _placement(row, events):
            yield f"placement {shorten(row['id'])}: {line}"
        for photo in db.placement_photos_of(tx, row["id"]):
            try:
                photo_of(photo)
            except ValueError as error:
                yield f"placement {shorten(row['id'])}: {shorten(error, 160)}"


def _placement(row: db.Row, events: Sequence[db.Row]) -> Iterator[str]:
    numbers = [event["number"] for event in events]
    if numbers != list(range(1, len(events) + 1)):
        yield "events are not numbered 1, 2, 3 ..."
        return
    if row["revision"] != len(events):
        yield f"revision {row['revision']}, but {len(events)} events"
    state, undoable = "open", list[int]()
    try:
        for event in events:
            kind, number, body = event["kind"], event["number"], json.loads(event["body"])
            if kind not in KINDS:
                yield f"event {number}: unknown kind '{shorten(kind)}'"
            elif (kind == "reopen") is (state == "open"):
                yield f"event {number}: {kind} in a placement that is {state}"
            elif kind in ("close", "reopen"):
                state = "closed" if kind == "close" else "open"
            elif kind == "undo":
                if not undoable or body.get("of") != undoable.pop():
                    yield f"event {number}: takes back what was not the last thing"
            elif kind in UNDOABLE:
                undoable.append(number)
            for line in body_problems(kind, body):
                yield f"event {number}: {line}"
        placement_of(json.loads(row["header"]), "header")
    except PlacementError as error:
        yield from error.problems
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        yield shorten(error, 200)
    if row["state"] != state:
        yield f"it says {row['state']}, its events say {state}"


def _users(tx: Any) -> Iterator[str]:
    for row in db.all_users(tx):
        if row["role"] not in ROLES or row["way"] not in ("password", "openid"):
            yield f"user {shorten(row['name'])}: role '{shorten(row['role'])}', way '{shorten(row['way'])}'"
        if row["secret"] and not row["secret"].startswith("scrypt$"):
            yield f"user {shorten(row['name'])}: what is kept of the password is not readable"
        numbers = [event["number"] for event in db.user_events_of(tx, row["name"])]
        if numbers != list(range(1, row["revision"] + 1)):
            yield f"user {shorten(row['name'])}: events are not numbered 1, 2, 3 ..."


def check_all(database: db.Database) -> list[str]:
    """All problems of a store, its file included. Raises StoreError when it cannot be read at all."""
    with database.read() as tx:
        broken = db.broken_file(tx)
        return broken or problems(tx)
