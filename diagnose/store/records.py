"""What the store gives out: machines, calls with their events, receipts. Plain data, immutable."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any, Literal

from diagnose.case import Case, Entry, Machine
from shared.errors import StoreError

Outcome = Literal["cured", "normal", "handed-over", "not-cured", "none-fits", "left"]
OUTCOMES: dict[str, str] = {
    "cured": "cured and proved",
    "normal": "normal, explained",
    "handed-over": "handed over",
    "not-cured": "not cured",
    "none-fits": "none of the causes fits",
    "left": "left as it is",
}
AMENDABLE = ("role", "qualified", "context", "machine", "words")  # of what a call was opened with
EventKind = Literal["entry", "skip", "undo", "amend", "close", "reopen"]


class Conflict(StoreError):
    """Somebody else wrote into this call first, or the same question was already answered otherwise."""


@dataclass(frozen=True, slots=True)
class MachineRecord:
    """A machine of the fleet. invented: belongs to the demonstration. version: of the card, 1 as it came; changed_at,
    changed_by: when and by whom this version was given, as added_at and added_by for the first.
    """

    id: str
    card: Machine
    invented: bool
    added_at: datetime
    added_by: str
    version: int
    changed_at: datetime
    changed_by: str


@dataclass(frozen=True, slots=True)
class Receipt:
    """Proof that something was stored.

    number: how many entries the call has had with this one (those taken back count on). revision: of the call
    after it. repeated: it was already there and was not stored twice.
    """

    number: int
    revision: int
    at: datetime
    repeated: bool = False


@dataclass(frozen=True, slots=True)
class Event:
    """One line of the record, never changed or deleted. number: 1, 2, 3 ... within the call."""

    number: int
    kind: EventKind
    key: str
    body: Mapping[str, Any]
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class CallLine:
    """One call in a list.

    team: whose it is, "" = everybody's. desk: where it began, "field" or "telephone". origin: where it was imported
    from, "" = it was opened here. machine_id: of the fleet, "" = a machine that is not in it.
    """

    id: str
    machine: str
    complaint: str
    state: Literal["open", "closed"]
    outcome: str
    revision: int
    opened_at: datetime
    opened_by: str
    last_at: datetime
    invented: bool
    team: str = ""
    desk: str = "field"
    origin: str = ""
    machine_id: str = ""


def digest_of(case: Case) -> str:
    """Digest of a case's content: equal for equal cases."""
    return hashlib.sha256(case.model_dump_json(exclude_defaults=True).encode()).hexdigest()[:20]


@dataclass(frozen=True)
class Call:
    """One call with everything that happened in it."""

    line: CallLine
    header: Case
    events: tuple[Event, ...]
    machine_id: str = ""

    @property
    def id(self) -> str:
        """Id of the call, as in its address."""
        return self.line.id

    @property
    def revision(self) -> int:
        """Number of the last event, 0 for a call just opened; changes with everything that is stored."""
        return self.line.revision

    @property
    def open(self) -> bool:
        """Whether entries may be added."""
        return self.line.state == "open"

    @cached_property
    def undone(self) -> frozenset[int]:
        """Numbers of the events that were taken back."""
        return frozenset(int(e.body["of"]) for e in self.events if e.kind == "undo")

    def standing(self) -> Iterator[Event]:
        """Events that count, in order: neither taken back nor marks of taking back."""
        return (e for e in self.events if e.kind != "undo" and e.number not in self.undone)

    def entry_of(self, event: Event) -> Entry:
        """The entry an event of kind "entry" holds; its id is "e" and the event's number."""
        entry = Entry.model_validate(event.body)
        return entry.model_copy(update={"id": entry.id or f"e{event.number}", "by": entry.by or event.by})

    @cached_property
    def answer_numbers(self) -> dict[int, int]:
        """Event number -> the number a receipt gives it ("Answer 7")."""
        entries = [e.number for e in self.events if e.kind == "entry"]
        return {number: position + 1 for position, number in enumerate(entries)}

    @cached_property
    def case(self) -> Case:
        """The case as it stands."""
        return self.case_after(None)

    def case_after(self, count: int | None) -> Case:
        """The case as it stood after its first ``count`` standing entries (None: as it stands now).

        What was changed after these entries, who is at the machine say, does not count yet. Its clock is that of the last of
        these entries: equal records give equal cases.
        """
        changes: dict[str, Any] = {}
        entries: list[Entry] = []
        now = self.line.opened_at
        last = sum(1 for event in self.standing() if event.kind == "entry")
        for event in self.standing():
            if count is not None and len(entries) == count < last:
                break
            if event.kind == "amend":
                changes.update(event.body)
            elif event.kind == "entry":
                entries.append(self.entry_of(event))
                now = max(now, event.at)
        data = {**self.header.model_dump(mode="json"), **changes, "id": self.id}
        data["now"] = now.isoformat(timespec="seconds")
        data["entries"] = [e.model_dump(mode="json", exclude_defaults=True) for e in entries]
        return Case.model_validate(data)

    @cached_property
    def roles(self) -> tuple[str, ...]:
        """Who was at the machine at each standing entry."""
        role, found = self.header.role, []
        for event in self.standing():
            if event.kind == "amend":
                role = event.body.get("role", role)
            elif event.kind == "entry":
                found.append(str(role))
        return tuple(found)

    @cached_property
    def case_digest(self) -> str:
        """Digest of the case, the same again after something was taken back."""
        return digest_of(self.case)

    @cached_property
    def set_aside(self) -> frozenset[tuple[str, str]]:
        """(check, place) that somebody skipped."""
        return frozenset((str(e.body["check"]), str(e.body["place"])) for e in self.standing() if e.kind == "skip")

    def last_undoable(self) -> Event | None:
        """What the next "take back" takes back."""
        return next((e for e in reversed(tuple(self.standing())) if e.kind in ("entry", "skip", "amend")), None)


def line_of(row: Mapping[str, Any]) -> CallLine:
    """One row of the calls."""
    return CallLine(
        row["id"],
        row["machine"],
        row["complaint"],
        row["state"],
        row["outcome"],
        row["revision"],
        datetime.fromisoformat(row["opened_at"]),
        row["opened_by"],
        datetime.fromisoformat(row["last_at"]),
        bool(row["invented"]),
        row["team"],
        row["desk"],
        row["origin"],
        row["machine_id"],
    )


def call_of(row: Mapping[str, Any], events: Sequence[Mapping[str, Any]]) -> Call:
    """One row of the calls with its rows of events."""
    read = tuple(
        Event(e["number"], e["kind"], e["key"], json.loads(e["body"]), e["by"], datetime.fromisoformat(e["at"]))
        for e in events
    )
    return Call(line_of(row), Case.model_validate_json(row["header"]), read, row["machine_id"])
