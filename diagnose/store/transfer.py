"""One call as a file that another store can take in: documented JSON, see FORMATS.md. And readings as CSV.

What comes in is not trusted: a limited size, known keys only, every entry and the whole case checked like any answer typed
here, times that can be, names and notes kept as plain text. An imported call says so (`origin`). Importing the same file
again changes nothing; a file in which the same call goes on adds what is new.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from diagnose.case import Case, Entry
from diagnose.store.closing import closing_problem
from diagnose.store.files import read_json
from diagnose.store.records import AMENDABLE, Call, Event, EventKind
from shared.errors import CaseError, ReadingError, StoreError, shorten
from shared.quantities import SI_UNIT
from shared.units import parse_reading

FORMAT, VERSION = "chiller-call", 1
MOST_BYTES = 4_000_000
MOST_EVENTS = 6000
_NUMBER = re.compile(r"-?[\d.]+(e[-+]?\d+)?")
AHEAD = timedelta(days=1)  # a clock that is wrong by more than this is no clock
COLUMNS = ("call", "machine", "entry", "at", "by", "quantity", "place", "phase", "value", "unit", "typed", "state", "instrument",
           "source", "condition", "taken_back")  # fmt: skip


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class CallEvent(_Model):
    """One thing that happened in the call. Its number is its place in the list, from 1 on."""

    kind: EventKind
    key: Annotated[str, StringConstraints(min_length=1, max_length=200, pattern=r"^[ -~]+$")]
    body: dict[str, Any]
    by: Annotated[str, StringConstraints(max_length=100)]
    at: AwareDatetime


class CallFile(_Model):
    """A call as a file. header: the case as it was opened, without entries."""

    format: Literal["chiller-call"]
    version: Literal[1]
    id: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{1,64}$")]
    machine_id: Annotated[str, StringConstraints(max_length=200)] = ""
    opened_at: AwareDatetime
    opened_by: Annotated[str, StringConstraints(max_length=100)]
    invented: bool = False
    header: Case
    events: Annotated[tuple[CallEvent, ...], Field(max_length=MOST_EVENTS)] = ()


def call_as_data(call: Call) -> dict[str, Any]:
    """A call as the document of FORMATS.md."""
    data: dict[str, Any] = {
        "format": FORMAT,
        "version": VERSION,
        "id": call.id,
        "opened_at": call.line.opened_at.isoformat(timespec="seconds"),
        "opened_by": call.line.opened_by,
        "header": call.header.model_dump(mode="json", exclude_defaults=True) | {"format": call.header.format},
        "events": [
            {"kind": e.kind, "key": e.key, "body": dict(e.body), "by": e.by, "at": e.at.isoformat(timespec="seconds")}
            for e in call.events
        ],
    }
    if call.machine_id:
        data["machine_id"] = call.machine_id
    if call.line.invented:
        data["invented"] = True
    return data


def read_call(content: bytes, *, now: datetime | None = None) -> CallFile:
    """The call of a file. Raises StoreError (not such a file), CaseError (all problems, one line each)."""
    if len(content) > MOST_BYTES:
        raise StoreError(
            "file too large", given=f"{len(content)} bytes", allowed=f"up to {MOST_BYTES}", do="check the file"
        )
    data = read_json(content, "call file")
    if not isinstance(data, dict) or data.get("format") != FORMAT:
        given = data.get("format", "no format") if isinstance(data, dict) else type(data).__name__
        raise StoreError("not a call file", given=given, allowed=FORMAT, do="choose a file that `store export` wrote")
    if data.get("version") != VERSION:
        raise StoreError("call file of another version", given=data.get("version"), allowed=str(VERSION),
                         do="import it with the release that wrote it")  # fmt: skip
    try:
        read = CallFile.model_validate(data)
    except ValidationError as error:
        raise CaseError("call file", list(_lines(error))) from None
    latest = (now or datetime.now(UTC)) + AHEAD
    wrong = [f"events.{n}.at: lies in the future" for n, e in enumerate(read.events, 1) if e.at > latest]
    wrong += ["opened_at: lies in the future"] if read.opened_at > latest else []
    wrong += ["header.entries: a header has none; they are events"] if read.header.entries else []
    events = []
    for number, event in enumerate(read.events, 1):
        try:
            body = _body(event)
            events.append(event.model_copy(update={"body": body, "by": shorten(event.by or "not named", 100)}))
        except ValidationError as error:
            wrong += [f"events.{number}.body.{line}" for line in _lines(error)]
        except ValueError as error:
            wrong.append(f"events.{number}.body: {error}")
    if wrong:
        raise CaseError("call file", wrong[:40])
    return read.model_copy(update={"events": tuple(events)})


def _body(event: CallEvent) -> dict[str, Any]:
    """The body as the store keeps it. Raises ValueError for one that this kind of event does not have."""
    body = event.body
    if event.kind == "entry":
        plain: dict[str, Any] = Entry.model_validate(body).model_dump(mode="json", exclude_defaults=True)
        return plain
    if event.kind == "amend" and (wrong := sorted(set(body) - set(AMENDABLE))):
        raise ValueError(f"'{shorten(wrong[0])}' cannot be changed later; allowed: {', '.join(AMENDABLE)}")
    if event.kind == "close" and (problem := closing_problem(body)):
        raise ValueError(problem)
    if event.kind == "skip" and not (isinstance(body.get("check"), str) and isinstance(body.get("place"), str)):
        raise ValueError("a skip names a check and a place")
    if event.kind == "undo" and (type(body.get("of")) is not int or len(body) > 1):
        raise ValueError("an undo names the event it takes back")
    if event.kind == "reopen" and body:
        raise ValueError("a reopening says nothing")
    return body


def origin_of(content: bytes, by: str, at: datetime) -> str:
    """What an imported call says of itself."""
    day = at.astimezone(UTC).date().isoformat()
    return f"imported {day} by {shorten(by, 60)}, file {hashlib.sha256(content).hexdigest()[:16]}"


def same_event(event: Event, other: CallEvent) -> bool:
    """Whether a stored event is this one."""
    at = other.at.astimezone(UTC).replace(microsecond=0)
    same = (event.kind, event.key, event.by, event.at) == (other.kind, other.key, other.by, at)
    return same and dict(event.body) == other.body


def _lines(error: ValidationError) -> Iterable[str]:
    for number, one in enumerate(error.errors(include_url=False)):
        if number == 40:
            yield f"{error.error_count() - 40} more problems"
            return
        where = ".".join(str(part + 1) if isinstance(part, int) else str(part) for part in one["loc"])
        given = one.get("input")
        shown = f"; given: '{shorten(given)}'" if isinstance(given, str | int | float | bool) else ""
        yield f"{shorten(where or 'call file', 80)}: {shorten(one['msg'], 200)}{shown}"


# --- readings as CSV


def readings_csv(calls: Iterable[Call]) -> str:
    """All readings of calls as CSV (RFC 4180), one line each, those taken back too, said in the last column.

    value and unit: in SI, as the tool understood what was typed; empty when it cannot be read. No cell starts like a
    formula.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for call in calls:
        for event in call.events:
            if event.kind == "entry" and event.body.get("quantity"):
                for row in _rows(call, event):
                    writer.writerow([_cell(cell) for cell in row])
    return out.getvalue()


def _rows(call: Call, event: Event) -> Iterable[tuple[object, ...]]:
    entry = call.entry_of(event)
    typed = " / ".join(entry.value) if isinstance(entry.value, tuple) else entry.value
    try:
        parsed = parse_reading(entry.quantity, entry.value)
        values = [(f"{one.value:.6g}", SI_UNIT[one.kind]) for one in parsed]
    except ReadingError:
        values = [("", "")]
    phases = ("L1", "L2", "L3") if len(values) == 3 else ("",)
    for phase, (value, unit) in zip(phases, values, strict=True):
        yield (call.id, call.line.machine, event.number, entry.at, entry.by, entry.quantity, entry.place, phase,
               value, unit, typed, entry.state or "", entry.instrument, entry.source, entry.condition,
               "yes" if event.number in call.undone else "")  # fmt: skip


def _cell(value: object) -> str:
    """Text for a cell: a program that opens the file takes nothing in it for a formula."""
    text = str(value).replace("\0", "")
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) and not _NUMBER.fullmatch(text) else text
