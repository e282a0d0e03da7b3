"""Records of the training desk: classes, sessions with what happened in them, scenarios that trainers wrote.

The same rules as for calls: what happened is only added, with who and when; every write has a key, and the same key again
stores nothing twice; a write names the revision it was made from. Bodies are plain data here; `diagnose.training.keeping`
makes sessions and scenarios of them. A session is found by its id, which nobody can guess, or by whoever trains its class.
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from diagnose.store import database as db
from diagnose.store.access import Person
from diagnose.store.marks import checked_key, stamp_of
from diagnose.store.records import Conflict
from shared.errors import StoreError, shorten

LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"  # none that is read as another
CODE = 6
Body = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class ClassRecord:
    """A class. body: what its trainees work on."""

    code: str
    title: str
    body: Body
    opened_at: datetime
    opened_by: str


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """A session with what happened in it, in order. revision: how many things happened."""

    id: str
    class_code: str
    trainee: str
    header: Body
    events: tuple[Body, ...]
    revision: int
    opened_at: datetime
    last_at: datetime


class TrainingRecords:
    """What the training desk keeps at one store, as one person may see it."""

    def __init__(self, database: db.Database, person: Person) -> None:
        self._db, self._person = database, person

    # --- classes

    def open_class(self, title: str, body: Body, *, by: str, at: datetime | None = None) -> str:
        """Open a class and return its code, six letters to read out. Raises StoreError."""
        if not title.strip():
            raise StoreError("a class needs a title", given=title, do="write one")
        for _ in range(20):
            code = "".join(secrets.choice(LETTERS) for _ in range(CODE))
            row = {
                "code": code,
                "title": shorten(title.strip(), 100),
                "body": db.as_json(dict(body)),
                "team": self._person.team,
                "opened_at": stamp_of(at),
                "opened_by": self._who(by),
            }
            try:
                with self._db.write() as tx:
                    db.add_class(tx, row)
                return code
            except db.Taken:
                continue
        raise StoreError("no free class code was found", do="try again")

    def classes(self) -> tuple[ClassRecord, ...]:
        """Classes of this person's team, the newest first; the keeper sees all."""
        with self._db.read() as tx:
            return tuple(_class(row) for row in db.all_classes(tx) if self._ours(row))

    def one_class(self, code: str) -> ClassRecord:
        """One class by its code, in any case of letters. Raises StoreError when there is none."""
        with self._db.read() as tx:
            row = db.one_class(tx, code.strip().upper())
        if row is None:
            raise StoreError("no such class", given=shorten(code, 40), do="ask the trainer for the code")
        return _class(row)

    # --- sessions

    def begin(self, header: Body, *, trainee: str, key: str, class_code: str = "", at: datetime | None = None) -> str:
        """Begin a session and return its id; the same key again returns the first one's. Raises StoreError."""
        key, stamp = checked_key(key), stamp_of(at)
        if class_code:
            self.one_class(class_code)
        row = {
            "id": secrets.token_urlsafe(16),
            "key": key,
            "class_code": class_code.strip().upper(),
            "trainee": self._who(trainee),
            "header": db.as_json(dict(header)),
            "revision": 0,
            "team": self._person.team,
            "opened_at": stamp,
            "last_at": stamp,
        }
        try:
            with self._db.write() as tx:
                if (there := db.training_by_key(tx, key)) is not None:
                    return str(there["id"])
                db.add_training(tx, row)
        except db.Taken:
            with self._db.read() as tx:
                there = db.training_by_key(tx, key)
            if there is None:
                raise
            return str(there["id"])
        return str(row["id"])

    def session(self, session_id: str) -> SessionRecord:
        """One session. Raises StoreError when there is none."""
        with self._db.read() as tx:
            row = db.one_training(tx, session_id)
            events = db.training_events_of(tx, session_id) if row is not None else []
        if row is None:
            raise _no_session(session_id)
        return _session(row, events)

    def sessions(self, class_code: str) -> tuple[SessionRecord, ...]:
        """Sessions of a class of this person's team. Raises StoreError when there is no such class for this person."""
        code = class_code.strip().upper()
        with self._db.read() as tx:
            row = db.one_class(tx, code)
            if row is None or not self._ours(row):
                raise StoreError("no such class", given=shorten(class_code, 40), do="choose one from the list")
            return tuple(_session(r, db.training_events_of(tx, r["id"])) for r in db.trainings_of(tx, code))

    def add(
        self, session_id: str, body: Body, *, key: str, after_revision: int, by: str, at: datetime | None = None
    ) -> SessionRecord:
        """Add what happened; the session as it then stands.

        Raises StoreError for an unknown session, Conflict when it has moved on or the key stands for something else.
        """
        key, moment = checked_key(key), stamp_of(at)
        try:
            with self._db.write() as tx:
                row = db.one_training(tx, session_id, to_write=True)
                if row is None:
                    raise _no_session(session_id)
                events = db.training_events_of(tx, session_id)
                same = next((e for e in events if e["key"] == key), None)
                if same is not None:
                    return _session(row, events)
                if row["revision"] != after_revision:
                    raise Conflict(
                        "this exercise has moved on since the screen was drawn",
                        given=f"revision {after_revision}",
                        allowed=f"revision {row['revision']}",
                        do="nothing was stored: look at the new screen and choose there",
                    )
                new = {
                    "session_id": session_id,
                    "number": after_revision + 1,
                    "key": key,
                    "body": db.as_json(dict(body)),
                    "by": self._who(by),
                    "at": moment,
                }
                if not db.add_training_event(tx, new):
                    raise _met()
                return _session({**row, "revision": new["number"], "last_at": moment}, [*events, new])
        except db.Taken:
            raise _met() from None

    # --- scenarios

    def scenarios(self) -> dict[str, Body]:
        """The newest version of each scenario that somebody of this person's team wrote."""
        with self._db.read() as tx:
            return {row["id"]: json.loads(row["body"]) for row in db.all_scenarios(tx) if self._ours(row)}

    def keep_scenario(self, scenario_id: str, body: Body, *, by: str, at: datetime | None = None) -> int:
        """Keep a scenario as a new version; its number. Raises StoreError when the id belongs to another team."""
        try:
            with self._db.write() as tx:
                there = [row for row in db.all_scenarios(tx) if row["id"] == scenario_id]
                if any(not self._ours(row) for row in there):
                    raise StoreError("a scenario of this id is there", given=scenario_id, do="give another id")
                number = len(there) + 1
                db.add_scenario(
                    tx,
                    {
                        "id": scenario_id,
                        "number": number,
                        "body": db.as_json(dict(body)),
                        "team": self._person.team,
                        "by": self._who(by),
                        "at": stamp_of(at),
                    },
                )
                return number
        except db.Taken:
            raise _met() from None

    # --- inside

    def _ours(self, row: db.Row) -> bool:
        return self._person.role == "keeper" or row["team"] in ("", self._person.team)

    def _who(self, by: str) -> str:
        return shorten((self._person.shown if self._person.signed_in else by) or "not named", 100)


def _class(row: db.Row) -> ClassRecord:
    return ClassRecord(
        row["code"], row["title"], json.loads(row["body"]), datetime.fromisoformat(row["opened_at"]), row["opened_by"]
    )


def _session(row: db.Row, events: list[db.Row]) -> SessionRecord:
    return SessionRecord(
        row["id"],
        row["class_code"],
        row["trainee"],
        json.loads(row["header"]),
        tuple(json.loads(e["body"]) for e in events),
        row["revision"],
        datetime.fromisoformat(row["opened_at"]),
        datetime.fromisoformat(row["last_at"]),
    )


def _met() -> Conflict:
    return Conflict("somebody else wrote into this just now", do="nothing was stored: look at the new screen")


def _no_session(session_id: str) -> StoreError:
    return StoreError("no such exercise", given=shorten(session_id, 60), do="look at the address, or begin one")
