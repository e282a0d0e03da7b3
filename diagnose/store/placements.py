"""Records of placements: what happened from receipt to return, the trouble calls that came of it, and photos.

The same rules as for calls: what happened is only added, with who and when; every write has a key, and the same key again
stores nothing twice; a write names the revision it was made from. Bodies are plain data here; `diagnose.placement.keeping`
makes a placement of them. Who may see one follows from its team, as for a call of the field desk.
"""

from __future__ import annotations

import base64
import hashlib
import json
import secrets
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any, Literal, get_args

from diagnose.store import database as db
from diagnose.store.access import Person, may_see, sight
from diagnose.store.marks import checked_key, moment_of, name_of, stamp_of
from diagnose.store.records import Conflict, Receipt
from shared.errors import StoreError, shorten

Body = Mapping[str, Any]
# done: an answer to a step; note: words, perhaps with photos; wait: a countdown was started; call: a trouble call was opened
PlacementEventKind = Literal["done", "note", "wait", "call", "amend", "undo", "close", "reopen"]
KINDS: tuple[PlacementEventKind, ...] = get_args(PlacementEventKind)
UNDOABLE = ("done", "note", "wait", "amend")
AMENDABLE = ("qualified", "context", "site", "name", "machine")  # of what a placement was opened with
MOST_PHOTO = 1_500_000  # bytes; the desk makes photos smaller than that before it keeps them
JPEG = b"\xff\xd8\xff"


@dataclass(frozen=True, slots=True)
class PlacementEvent:
    """One line of the record, never changed or deleted. number: 1, 2, 3 ... within the placement."""

    number: int
    kind: PlacementEventKind
    key: str
    body: Body
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class PlacementLine:
    """One placement in a list. team: whose it is, "" = everybody's; origin: where it was imported from."""

    id: str
    machine_id: str
    name: str
    state: Literal["open", "closed"]
    revision: int
    opened_at: datetime
    opened_by: str
    last_at: datetime
    invented: bool
    team: str = ""
    origin: str = ""


@dataclass(frozen=True)
class PlacementRecord:
    """A placement with everything that happened in it. header: as it was opened, without entries."""

    line: PlacementLine
    header: Body
    events: tuple[PlacementEvent, ...]

    @property
    def id(self) -> str:
        """Id of the placement, as in its address."""
        return self.line.id

    @property
    def revision(self) -> int:
        """Number of the last event, 0 for one just opened."""
        return self.line.revision

    @cached_property
    def undone(self) -> frozenset[int]:
        """Numbers of the events that were taken back."""
        return frozenset(int(e.body["of"]) for e in self.events if e.kind == "undo")

    def standing(self) -> Iterator[PlacementEvent]:
        """Events that count, in order: neither taken back nor marks of taking back."""
        return (e for e in self.events if e.kind != "undo" and e.number not in self.undone)

    def last_undoable(self) -> PlacementEvent | None:
        """What the next "take back" takes back: a placement goes back one thing at a time, the last one first, so that
        nothing that was made ready is missing under what came after it."""
        return next((e for e in reversed(tuple(self.standing())) if e.kind in UNDOABLE), None)


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo. id: digest of its content (JPEG)."""

    id: str
    name: str
    content: bytes
    by: str
    at: datetime


class PlacementRecords:
    """What the placement desk keeps at one store, as one person may see it."""

    def __init__(self, database: db.Database, person: Person) -> None:
        self._db, self._person = database, person

    def open(
        self,
        header: Body,
        *,
        name: str,
        by: str,
        key: str,
        machine_id: str = "",
        placement_id: str = "",
        invented: bool = False,
        at: datetime | None = None,
    ) -> str:
        """Open a placement and return its id, unguessable unless given; the same key again returns the first one's.

        Raises StoreError; Conflict when the id is taken.
        """
        key, stamp = checked_key(key), stamp_of(at)
        chosen = checked_key(placement_id) if placement_id else secrets.token_urlsafe(16)
        row = new_row(chosen, key, header, name, self._who(by), stamp)
        row |= {"machine_id": machine_id, "invented": invented, "team": self._person.team}
        try:
            with self._db.write() as tx:
                if (there := db.placement_by_key(tx, key)) is not None:
                    return str(there["id"])
                db.add_placement(tx, row)
        except db.Taken:
            with self._db.read() as tx:
                there = db.placement_by_key(tx, key)
            if there is None:
                raise Conflict("placement id is taken", given=chosen, do="leave the id out, one is made") from None
            return str(there["id"])
        return chosen

    def placements(self, state: str = "", *, machine_id: str = "", limit: int = 0) -> tuple[PlacementLine, ...]:
        """Placements that this person may see, the last touched first. state: "open", "closed" or "" for both; limit 0: all."""
        with self._db.read() as tx:
            rows = db.all_placements(tx, state, machine_id, limit, team=sight(self._person).team)
        return tuple(line_of(row) for row in rows if self._seen(row))

    def placement(self, placement_id: str) -> PlacementRecord:
        """One placement with its events. Raises StoreError when there is none that this person may see."""
        with self._db.read() as tx:
            row = self._seen(db.one_placement(tx, placement_id))
            events = db.placement_events_of(tx, placement_id) if row is not None else []
        if row is None:
            raise _no_placement(placement_id)
        return record_of(row, events)

    def of_call(self, call_id: str) -> PlacementLine | None:
        """The placement a call came from, None where it came from none that this person may see."""
        with self._db.read() as tx:
            rows = [row for row in db.placements_with(tx, "call", call_key(call_id)) if self._seen(row)]
        return line_of(rows[0]) if rows else None

    def add(
        self,
        placement_id: str,
        kind: PlacementEventKind,
        body: Body,
        *,
        key: str,
        after_revision: int,
        by: str,
        at: datetime | None = None,
    ) -> Receipt:
        """Add what happened.

        Raises StoreError for an unknown or ended placement, Conflict when it has moved on or the key stands for something else.
        """
        key, by, when = checked_key(key), self._who(by), moment_of(at)
        try:
            with self._db.write() as tx:
                row = self._seen(db.one_placement(tx, placement_id, to_write=True))
                if row is None:
                    raise _no_placement(placement_id)
                record = record_of(row, db.placement_events_of(tx, placement_id))
                earlier = next((e for e in record.events if e.key == key), None)
                if earlier is not None:
                    return _repeated(earlier, kind, body)
                if record.revision != after_revision:
                    raise Conflict(
                        "this placement has moved on since the screen was drawn",
                        given=f"revision {after_revision}",
                        allowed=f"revision {record.revision}",
                        do="nothing was stored: look at the new screen and answer there",
                    )
                new, changes = prepared(record, kind, dict(body))
                number = record.revision + 1
                if not db.add_placement_event(
                    tx, event_row(placement_id, PlacementEvent(number, kind, key, new, by, when)), **changes
                ):
                    raise _met()
                return Receipt(number, number, when)
        except db.Taken:
            raise _met() from None

    # --- photos

    def add_photo(self, placement_id: str, name: str, content: bytes, *, by: str, at: datetime | None = None) -> str:
        """Keep a photo (JPEG, up to MOST_PHOTO bytes) and return its id; the same content again is the same photo.

        A photo alone says nothing: an event names it. Raises StoreError.
        """
        if not content.startswith(JPEG) or len(content) > MOST_PHOTO:
            raise StoreError(
                "photo", given=f"{len(content)} bytes", allowed=f"a JPEG picture up to {MOST_PHOTO} bytes",
                do="choose another picture",
            )  # fmt: skip
        row = photo_row(placement_id, name, content, self._who(by), stamp_of(at))
        try:
            with self._db.write() as tx:
                if self._seen(db.one_placement(tx, placement_id, to_write=True)) is None:
                    raise _no_placement(placement_id)
                if db.one_placement_photo(tx, placement_id, row["id"]) is None:
                    db.add_placement_photo(tx, row)
        except db.Taken:
            raise _met() from None
        return str(row["id"])

    def photos(self, placement_id: str) -> tuple[Photo, ...]:
        """Photos of a placement, in the order of their coming. Raises StoreError when there is no such placement."""
        with self._db.read() as tx:
            if self._seen(db.one_placement(tx, placement_id)) is None:
                raise _no_placement(placement_id)
            rows = db.placement_photos_of(tx, placement_id)
        return tuple(photo_of(row) for row in rows)

    def take_in(self, content: bytes, *, by: str, at: datetime | None = None) -> tuple[str, int]:
        """Take in the placement of a file; see `placement_file.import_placement`."""
        from diagnose.store.placement_file import import_placement

        return import_placement(self._db, self._person, content, by=by, at=at)

    # --- inside

    def _seen(self, row: db.Row | None) -> db.Row | None:
        return row if row is not None and may_see(self._person, row["team"], "field") else None

    def _who(self, by: str) -> str:
        return name_of(self._person.shown if self._person.signed_in else by)


def call_key(call_id: str) -> str:
    """Key of the event that says which call was opened, so that a call finds its placement."""
    return f"call|{call_id}"


def prepared(record: PlacementRecord, kind: PlacementEventKind, body: dict[str, Any]) -> tuple[dict[str, Any], Body]:
    """The event's body, and what changes in the placement's line. Raises StoreError for what cannot be done."""
    if kind not in KINDS:
        raise StoreError("no such kind of event", given=kind, allowed=", ".join(KINDS), do="choose one of these")
    if kind == "reopen":
        if record.line.state == "open":
            raise StoreError("this placement is open", do="go on with it")
        return {}, {"state": "open"}
    if record.line.state != "open":
        raise StoreError("this placement has ended", given=record.line.name, do="open it again first")
    if kind == "close":
        return body, {"state": "closed"}
    if kind == "undo":
        target = record.last_undoable()
        if target is None or body.get("of") not in (None, target.number):
            raise StoreError("nothing to take back", given=body.get("of"), do="take back the last thing first")
        return {"of": target.number}, {}
    if kind == "amend" and (wrong := sorted(set(body) - set(AMENDABLE))):
        raise StoreError("cannot be changed later", given=wrong[0], allowed=", ".join(AMENDABLE), do="open a new one")
    if kind == "amend" and "name" in body:
        return body, {"name": shorten(str(body["name"]), 200)}
    return body, {}


def new_row(placement_id: str, key: str, header: Body, name: str, by: str, stamp: str) -> dict[str, Any]:
    """The row of a placement just opened, everybody's."""
    return {
        "id": placement_id,
        "key": key,
        "machine_id": "",
        "name": shorten(name or "Placement", 200),
        "header": db.as_json(dict(header)),
        "state": "open",
        "revision": 0,
        "opened_at": stamp,
        "opened_by": by,
        "last_at": stamp,
        "invented": False,
        "team": "",
        "origin": "",
    }


def event_row(placement_id: str, event: PlacementEvent) -> dict[str, Any]:
    """The row of an event."""
    return {
        "placement_id": placement_id,
        "number": event.number,
        "kind": event.kind,
        "key": event.key,
        "body": db.as_json(dict(event.body)),
        "by": event.by,
        "at": event.at.isoformat(timespec="seconds"),
    }


def photo_row(placement_id: str, name: str, content: bytes, by: str, stamp: str) -> dict[str, Any]:
    """The row of a photo."""
    return {
        "placement_id": placement_id,
        "id": hashlib.sha256(content).hexdigest()[:24],
        "name": shorten(name or "photo", 100),
        "content": base64.b64encode(content).decode("ascii"),
        "by": by,
        "at": stamp,
    }


def photo_of(row: db.Row) -> Photo:
    """One row of the photos. Raises ValueError for one whose content is not what its id says."""
    content = base64.b64decode(row["content"], validate=True)
    if hashlib.sha256(content).hexdigest()[:24] != row["id"] or not content.startswith(JPEG):
        raise ValueError(f"photo {row['id']}: not the picture that was kept")
    return Photo(row["id"], row["name"], content, row["by"], datetime.fromisoformat(row["at"]))


def line_of(row: db.Row) -> PlacementLine:
    """One row of the placements."""
    return PlacementLine(
        row["id"],
        row["machine_id"],
        row["name"],
        row["state"],
        row["revision"],
        datetime.fromisoformat(row["opened_at"]),
        row["opened_by"],
        datetime.fromisoformat(row["last_at"]),
        bool(row["invented"]),
        row["team"],
        row["origin"],
    )


def record_of(row: db.Row, events: Sequence[db.Row]) -> PlacementRecord:
    """One row of the placements with its rows of events."""
    read = tuple(
        PlacementEvent(
            e["number"], e["kind"], e["key"], json.loads(e["body"]), e["by"], datetime.fromisoformat(e["at"])
        )
        for e in events
    )
    return PlacementRecord(line_of(row), json.loads(row["header"]), read)


def _repeated(earlier: PlacementEvent, kind: str, body: Body) -> Receipt:
    """The first receipt, if the same was written; who and when may differ."""

    def content(one: Body) -> dict[str, Any]:
        return {k: v for k, v in json.loads(db.as_json(dict(one))).items() if k not in ("at", "by")}

    if earlier.kind != kind or (kind != "undo" and content(earlier.body) != content(body)):
        raise Conflict(
            "this was already answered otherwise",
            given=shorten(db.as_json(dict(body)), 120),
            allowed=shorten(db.as_json(dict(earlier.body)), 120),
            do="nothing was stored: take the first answer back to change it",
        )
    return Receipt(earlier.number, earlier.number, earlier.at, repeated=True)


def _met() -> Conflict:
    return Conflict("somebody else wrote into this placement just now", do="nothing was stored: look at the new screen")


def _no_placement(placement_id: str) -> StoreError:
    return StoreError("no such placement", given=shorten(placement_id, 60), do="choose one from the list")
