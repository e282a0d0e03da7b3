"""One placement as a file that another store can take in: documented JSON, see FORMATS.md. Photos are in it.

What comes in is not trusted: a limited size, known keys only, every answer checked like one typed here, photos that are
pictures. Importing the same file again changes nothing; a file in which the same placement goes on adds what is new.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from diagnose.placement.record import PlacementError, placement_of
from diagnose.store import database as db
from diagnose.store.access import Person, may_see
from diagnose.store.files import read_json
from diagnose.store.marks import moment_of, name_of, stamp_of
from diagnose.store.placements import (
    AMENDABLE,
    JPEG,
    MOST_PHOTO,
    Photo,
    PlacementEvent,
    PlacementEventKind,
    PlacementRecord,
    event_row,
    new_row,
    photo_row,
    prepared,
    record_of,
)
from diagnose.store.records import Conflict
from diagnose.store.transfer import AHEAD, origin_of
from shared.errors import StoreError, shorten

FORMAT, VERSION = "chiller-placement", 1
MOST_BYTES = 60_000_000
MOST_EVENTS, MOST_PHOTOS = 6000, 200


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class FileEvent(_Model):
    """One thing that happened. Its number is its place in the list, from 1 on."""

    kind: PlacementEventKind
    key: Annotated[str, StringConstraints(min_length=1, max_length=200, pattern=r"^[ -~]+$")]
    body: dict[str, Any]
    by: Annotated[str, StringConstraints(max_length=100)]
    at: AwareDatetime


class FilePhoto(_Model):
    """A photo. content: JPEG in base64."""

    name: Annotated[str, StringConstraints(max_length=100)]
    content: str
    by: Annotated[str, StringConstraints(max_length=100)]
    at: AwareDatetime


class PlacementFile(_Model):
    """A placement as a file. header: the placement as it was opened, without entries."""

    format: Literal["chiller-placement"]
    version: Literal[1]
    id: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
    machine_id: Annotated[str, StringConstraints(max_length=200)] = ""
    opened_at: AwareDatetime
    opened_by: Annotated[str, StringConstraints(max_length=100)]
    invented: bool = False
    header: dict[str, Any]
    events: Annotated[tuple[FileEvent, ...], Field(max_length=MOST_EVENTS)] = ()
    photos: Annotated[tuple[FilePhoto, ...], Field(max_length=MOST_PHOTOS)] = ()


def placement_as_data(record: PlacementRecord, photos: Iterable[Photo]) -> dict[str, Any]:
    """A placement as the document of FORMATS.md."""
    data: dict[str, Any] = {
        "format": FORMAT,
        "version": VERSION,
        "id": record.id,
        "opened_at": record.line.opened_at.isoformat(timespec="seconds"),
        "opened_by": record.line.opened_by,
        "header": dict(record.header),
        "events": [
            {"kind": e.kind, "key": e.key, "body": dict(e.body), "by": e.by, "at": e.at.isoformat(timespec="seconds")}
            for e in record.events
        ],
        "photos": [
            {
                "name": p.name,
                "content": base64.b64encode(p.content).decode("ascii"),
                "by": p.by,
                "at": p.at.isoformat(timespec="seconds"),
            }
            for p in photos
        ],
    }
    if record.line.machine_id:
        data["machine_id"] = record.line.machine_id
    if record.line.invented:
        data["invented"] = True
    return data


def read_placement_file(content: bytes, *, now: datetime | None = None) -> PlacementFile:
    """The placement of a file. Raises StoreError (not such a file), PlacementError (all problems, one line each)."""
    if len(content) > MOST_BYTES:
        raise StoreError("file too large", given=f"{len(content)} bytes", allowed=f"up to {MOST_BYTES}", do="check it")
    data = read_json(content, "placement file")
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        given = data.get("format", "no format") if isinstance(data, dict) else type(data).__name__
        raise StoreError("not a placement file", given=given, allowed=FORMAT, do="choose one that `store export` wrote")
    if data.get("version") != VERSION:
        raise StoreError("placement file of another version", given=data.get("version"), allowed=str(VERSION),
                         do="import it with the release that wrote it")  # fmt: skip
    try:
        read = PlacementFile.model_validate(data)
    except ValidationError as error:
        lines = [
            f"{'.'.join(str(p) for p in e['loc'])}: {shorten(e['msg'], 160)}"
            for e in error.errors(include_url=False)[:40]
        ]
        raise PlacementError("placement file", lines) from None
    latest = (now or datetime.now(UTC)) + AHEAD
    wrong = [f"events.{n}.at: lies in the future" for n, e in enumerate(read.events, 1) if e.at > latest]
    wrong += ["opened_at: lies in the future"] if read.opened_at > latest else []
    wrong += ["header.entries: a header has none; they are events"] if read.header.get("entries") else []
    wrong += [f"photos.{n}: no JPEG picture" for n, p in enumerate(read.photos, 1) if not _picture(p.content)]
    for number, event in enumerate(read.events, 1):
        wrong += [f"events.{number}.body: {line}" for line in body_problems(event.kind, event.body)]
    if wrong:
        raise PlacementError("placement file", wrong[:40])
    return read


def body_problems(kind: str, body: dict[str, Any]) -> list[str]:
    """What is wrong with the body of an event, one line each."""
    if kind == "done":
        try:
            placement_of({"entries": [{k: v for k, v in body.items() if k != "photos"}]}, "answer")
        except PlacementError as error:
            return list(error.problems)
    if kind == "amend" and (wrong := sorted(set(body) - set(AMENDABLE))):
        return [f"'{shorten(wrong[0])}' cannot be changed later; allowed: {', '.join(AMENDABLE)}"]
    wanted: dict[str, tuple[tuple[str, type | tuple[type, ...]], ...]] = {
        "note": (("note", str),),
        "wait": (("step", str), ("minutes", (int, float))),
        "call": (("step", str), ("call", str), ("of", int)),
        "undo": (("of", int),),
    }
    out = [
        f"{key}: missing or of another kind"
        for key, kind_ in wanted.get(kind, ())
        if not isinstance(body.get(key), kind_)
    ]
    ids = body.get("photos", [])
    if not isinstance(ids, list) or not all(isinstance(one, str) for one in ids):
        out.append("photos: a list of ids")
    return out


def _picture(content: str) -> bool:
    try:
        raw = base64.b64decode(content, validate=True)
    except (binascii.Error, ValueError):
        return False
    return raw.startswith(JPEG) and len(raw) <= MOST_PHOTO


def import_placement(
    database: db.Database, person: Person, content: bytes, *, by: str, at: datetime | None = None
) -> tuple[str, int]:
    """Take in the placement of a file; (its id, how many events were new). Raises PlacementError, Conflict, StoreError.

    The placement of a team's member becomes that team's. What is there already stays; one that went on elsewhere differs.
    """
    now, by = moment_of(at), name_of(person.shown if person.signed_in else by)
    read = read_placement_file(content, now=now)
    try:
        with database.write() as tx:
            row = db.one_placement(tx, read.id, to_write=True)
            if row is None:
                known = bool(read.machine_id) and db.one_machine(tx, read.machine_id) is not None
                name = str(read.header.get("name") or "Placement")
                stamp = stamp_of(read.opened_at)
                row = new_row(read.id, f"import-{read.id}", read.header, name, name_of(read.opened_by), stamp) | {
                    "machine_id": read.machine_id if known else "",
                    "invented": read.invented,
                    "team": person.team,
                    "origin": shorten(origin_of(content, by, now), 200),
                }
                db.add_placement(tx, row)
            record = record_of(row, db.placement_events_of(tx, read.id))
            there = len(record.events)
            if (
                not may_see(person, row["team"], "field")
                or dict(record.header) != dict(read.header)
                or not all(_same(*pair) for pair in zip(record.events, read.events, strict=False))
            ):
                raise Conflict("a placement of this id is there and went on otherwise", given=read.id,
                               do="nothing was imported: compare the two, add by hand what is missing")  # fmt: skip
            for event in read.events[there:]:
                body, changes = prepared(record, event.kind, dict(event.body))
                new = PlacementEvent(record.revision + 1, event.kind, event.key, body, event.by, moment_of(event.at))
                if not db.add_placement_event(tx, event_row(read.id, new), **changes):
                    raise Conflict("somebody else wrote into this placement just now", do="import the file again")
                moved: Any = {"revision": new.number, **changes}
                record = PlacementRecord(replace(record.line, **moved), record.header, (*record.events, new))
            for photo in read.photos:
                kept = photo_row(read.id, photo.name, base64.b64decode(photo.content), photo.by, stamp_of(photo.at))
                if db.one_placement_photo(tx, read.id, kept["id"]) is None:
                    db.add_placement_photo(tx, kept)
            return read.id, max(0, len(read.events) - there)
    except db.Taken:
        raise Conflict("somebody else wrote into this placement just now", do="import the file again") from None


def _same(event: PlacementEvent, other: FileEvent) -> bool:
    same = (event.kind, event.key, event.by, event.at) == (other.kind, other.key, other.by, moment_of(other.at))
    return same and dict(event.body) == other.body
