"""What may be done with the records: add machines, open calls, append, take back, close.

Everything is checked before anything is written, so bad input leaves the records untouched. Every write has
a key: writing again with the same key stores nothing and gives the first receipt. Every write into a call
names the revision it was made from: if the call has moved since, it is refused (Conflict), so no answer lands
on a question that its author did not see.
"""

from __future__ import annotations

import copy
import json
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from diagnose.case import Case, Entry, Machine
from diagnose.store import database as db
from diagnose.store.access import AT_HOME, Person, may_see, sight
from diagnose.store.address import default_address
from diagnose.store.backup import backup, restore
from diagnose.store.checkup import check_all
from diagnose.store.closing import closing_body
from diagnose.store.marks import checked_key, moment_of, name_of, stamp_of
from diagnose.store.placements import PlacementRecords
from diagnose.store.records import (
    AMENDABLE,
    OUTCOMES,
    Call,
    CallLine,
    Conflict,
    Event,
    EventKind,
    MachineRecord,
    Outcome,
    Receipt,
    call_of,
    line_of,
)
from diagnose.store.training import TrainingRecords
from diagnose.store.transfer import CallEvent, origin_of, read_call, same_event
from diagnose.store.users import Users
from shared.errors import CaseError, StoreError, shorten

CaseCheck = Callable[[Case], None]
T = TypeVar("T", Case, Entry, Machine)


class Store:
    """The records at one address. Safe to share between threads; several processes may use one address.

    check: called with the case as it would stand, before it is written; raises CaseError to refuse it.
    """

    def __init__(self, address: str | None = None, *, check: CaseCheck | None = None) -> None:
        self._db = db.Database(address or default_address())
        self._check = check
        self._person = AT_HOME

    def seen_by(self, person: Person) -> Store:
        """The same records as one person may see and write them; whatever that person writes bears the proved name.

        The two share connections: closing one closes both.
        """
        view = copy.copy(self)
        view._person = person
        return view

    @property
    def person(self) -> Person:
        """Who sees the records through this object."""
        return self._person

    @property
    def address(self) -> str:
        """The address as it may be shown."""
        return self._db.shown

    @property
    def users(self) -> Users:
        """Who may sign in."""
        return Users(self._db)

    @property
    def training(self) -> TrainingRecords:
        """Classes, sessions and scenarios of the training desk."""
        return TrainingRecords(self._db, self._person)

    @property
    def placements(self) -> PlacementRecords:
        """Placements of machines, receipt to return."""
        return PlacementRecords(self._db, self._person)

    def close(self) -> None:
        """Close all connections."""
        self._db.close()

    # --- machines

    def machines(self) -> tuple[MachineRecord, ...]:
        """The fleet as its cards stand now, in the order of their coming."""
        with self._db.read() as tx:
            latest = {row["machine_id"]: row for row in db.versions_of(tx)}
            return tuple(_machine(row, latest.get(row["id"])) for row in db.all_machines(tx))

    def machine(self, machine_id: str) -> MachineRecord:
        """One machine as its card stands now. Raises StoreError when there is none."""
        return self.machine_versions(machine_id)[-1]

    def machine_versions(self, machine_id: str) -> tuple[MachineRecord, ...]:
        """All versions of a machine's card, oldest first. Raises StoreError when there is no such machine."""
        with self._db.read() as tx:
            row = db.one_machine(tx, machine_id)
            later = db.versions_of(tx, machine_id) if row is not None else []
        if row is None:
            raise _no_machine(machine_id)
        return tuple(_machine(row, version) for version in (None, *later))

    def change_machine(
        self,
        machine_id: str,
        card: Machine | Mapping[str, Any],
        *,
        key: str,
        after_version: int,
        by: str,
        at: datetime | None = None,
    ) -> int:
        """Give a machine a new version of its card; its number. Calls keep the card they were opened with.

        The same key again stores nothing and gives the same number. Raises CaseError (bad card), Conflict (somebody else
        changed it since ``after_version``), StoreError (no such machine).
        """
        valid = _named(_validated(Machine, card))
        key, by = checked_key(key), self._who(by)
        row = {"machine_id": machine_id, "key": key, "card": db.as_json(_dump(valid)), "by": by, "at": stamp_of(at)}
        try:
            with self._db.write() as tx:
                first = db.one_machine(tx, machine_id)
                if first is None:
                    raise _no_machine(machine_id)
                later = db.versions_of(tx, machine_id)
                if (same := next((one for one in later if one["key"] == key), None)) is not None:
                    return int(same["number"])
                now = _machine(first, later[-1] if later else None)
                if now.version != after_version:
                    raise Conflict("somebody else has changed this machine", given=f"version {after_version}",
                                   allowed=f"version {now.version}", do="nothing was stored: look at it and change it again")  # fmt: skip
                db.add_version(tx, {**row, "number": now.version + 1})
                return now.version + 1
        except db.Taken:
            raise Conflict("somebody else changed this machine just now", do="look at it and change it again") from None

    def add_machine(
        self,
        card: Machine | Mapping[str, Any],
        *,
        by: str,
        at: datetime | None = None,
        machine_id: str = "",
        invented: bool = False,
    ) -> str:
        """Add a machine and return its id. Raises CaseError (bad card), Conflict (id taken), StoreError."""
        valid = _named(_validated(Machine, card))
        chosen = checked_key(machine_id) if machine_id else secrets.token_urlsafe(9)
        row = {
            "id": chosen,
            "card": db.as_json(_dump(valid)),
            "invented": invented,
            "added_at": stamp_of(at),
            "added_by": self._who(by),
        }
        try:
            with self._db.write() as tx:
                db.add_machine(tx, row)
        except db.Taken:
            raise Conflict("machine id is taken", given=chosen, do="leave the id out, one is made") from None
        return chosen

    # --- calls

    def open_call(
        self,
        header: Case | Mapping[str, Any],
        *,
        by: str,
        at: datetime | None = None,
        key: str = "",
        machine_id: str = "",
        call_id: str = "",
        invented: bool = False,
        team: str = "",
        origin: str = "",
    ) -> str:
        """Open a call with everything but entries and return its id, unguessable unless given.

        key: opening again with the same key opens nothing and returns the first call's id.
        team: only this team sees it (left out: the team of whoever opens it). A call in which somebody of the site stands at the machine counts as begun on
        the telephone. Raises CaseError (bad header), Conflict (id taken), StoreError.
        """
        case = _validated(Case, header)
        if case.entries:
            raise CaseError("case", ["entries: a call is opened without entries; append them one by one"])
        self._check_case(case)
        chosen, once, stamp = (
            call_id or secrets.token_urlsafe(16),
            checked_key(key) if key else secrets.token_urlsafe(16),
            stamp_of(at),
        )
        row = {
            **_new_call(case, chosen, once, stamp, self._who(by)),
            "machine_id": machine_id,
            "invented": invented,
            "team": shorten(team or self._person.team, 100),
            "origin": shorten(origin, 200),
        }
        try:
            with self._db.write() as tx:
                if (there := db.call_by_key(tx, once)) is not None:
                    return str(there["id"])
                db.add_call(tx, row)
        except db.Taken:
            with self._db.read() as tx:
                there = db.call_by_key(tx, once)
            if there is not None:
                return str(there["id"])
            raise Conflict("call id is taken", given=chosen, do="leave the id out, one is made") from None
        return chosen

    def calls(self, state: str = "", *, machine_id: str = "", limit: int = 0) -> tuple[CallLine, ...]:
        """Calls that this person may see, the last touched first. state: "open", "closed" or "" for both; limit 0: all."""
        limits = sight(self._person)
        with self._db.read() as tx:
            rows = db.all_calls(tx, state, machine_id, limit, team=limits.team, desk=limits.desk)
            return tuple(line_of(row) for row in rows)

    def call(self, call_id: str) -> Call:
        """One call with its events. Raises StoreError when there is none, or none that this person may see: the
        line is the same, so that nobody can find out by guessing which calls exist."""
        with self._db.read() as tx:
            row = self._seen(db.one_call(tx, call_id))
            events = db.events_of(tx, call_id) if row is not None else []
        if row is None:
            raise _no_call(call_id)
        return call_of(row, events)

    def case(self, call_id: str) -> Case:
        """The case as it stands. Raises StoreError when there is none."""
        return self.call(call_id).case

    def append(
        self,
        call_id: str,
        entry: Entry | Mapping[str, Any],
        *,
        key: str,
        after_revision: int,
        by: str,
        at: datetime | None = None,
    ) -> Receipt:
        """Add one entry. Raises CaseError (bad entry), Conflict (see the module), StoreError."""
        valid = _validated(Entry, entry)
        when = moment_of(at)
        if not valid.at:
            valid = valid.model_copy(update={"at": when.isoformat(timespec="seconds")})
        return self._write(call_id, "entry", _dump(valid), key, after_revision, by, when)

    def set_aside(
        self,
        call_id: str,
        check: str,
        place: str,
        *,
        key: str,
        after_revision: int,
        by: str,
        at: datetime | None = None,
    ) -> Receipt:
        """Record that a check was skipped; it weighs nothing."""
        return self._write(call_id, "skip", {"check": check, "place": place}, key, after_revision, by, moment_of(at))

    def amend(
        self,
        call_id: str,
        changes: Mapping[str, Any],
        *,
        key: str,
        after_revision: int,
        by: str,
        at: datetime | None = None,
    ) -> Receipt:
        """Change what the call was opened with: role, qualified, context, machine, words."""
        wrong = [name for name in changes if name not in AMENDABLE]
        if wrong:
            raise CaseError(
                "case",
                [f"{shorten(wrong[0])}: cannot be changed later; allowed: {', '.join(AMENDABLE)}; open a new call"],
            )
        plain = json.loads(db.as_json({k: _dump(v) if isinstance(v, Machine) else v for k, v in changes.items()}))
        return self._write(call_id, "amend", plain, key, after_revision, by, moment_of(at))

    def undo(
        self,
        call_id: str,
        *,
        key: str,
        after_revision: int,
        by: str,
        at: datetime | None = None,
        number: int | None = None,
    ) -> Receipt:
        """Take back the last thing, or the event of that number. It stays in the record, marked."""
        return self._write(call_id, "undo", {"of": number}, key, after_revision, by, moment_of(at))

    def close_call(
        self,
        call_id: str,
        outcome: Outcome,
        *,
        key: str,
        after_revision: int,
        by: str,
        at: datetime | None = None,
        note: str = "",
        causes: Sequence[str] = (),
        proof: str = "",
    ) -> Receipt:
        """Close a call; it can be opened again. causes, proof: see `closing_body`; () if nobody was asked."""
        body = closing_body(outcome, note, causes, proof)
        return self._write(call_id, "close", body, key, after_revision, by, moment_of(at))

    def reopen_call(
        self, call_id: str, *, key: str, after_revision: int, by: str, at: datetime | None = None
    ) -> Receipt:
        """Open a closed call again."""
        return self._write(call_id, "reopen", {}, key, after_revision, by, moment_of(at))

    # --- files

    def backup(self, path: Path, *, replace: bool = False) -> dict[str, int]:
        """Write everything to a file; rows of each table. Raises StoreError. See `backup.py`."""
        return backup(self._db, path, replace=replace)

    def restore(self, path: Path, *, keep_old: Path | None = None) -> dict[str, int]:
        """Read everything from a file; rows of each table. Raises StoreError. See `backup.py`."""
        return restore(self._db, path, keep_old=keep_old)

    def problems(self) -> list[str]:
        """Whether the records hold together: one line for each problem."""
        return check_all(self._db)

    def import_call(self, content: bytes, *, by: str, at: datetime | None = None) -> tuple[str, int]:
        """Take in the call of a file; (its id, how many events were new). Raises CaseError, Conflict, StoreError.

        The call of a team's member becomes that team's. What is there already stays; a call that went on elsewhere differs.
        """
        now, by = moment_of(at), self._who(by)
        read = read_call(content, now=now)
        try:
            with self._db.write() as tx:
                row = db.one_call(tx, read.id, to_write=True)
                if row is None:
                    known = bool(read.machine_id) and db.one_machine(tx, read.machine_id) is not None
                    row = {
                        **_new_call(
                            read.header, read.id, f"import-{read.id}", stamp_of(read.opened_at), read.opened_by
                        ),
                        "machine_id": read.machine_id if known else "",
                        "invented": read.invented,
                        "team": self._person.team,
                        "origin": origin_of(content, by, now),
                    }
                    db.add_call(tx, row)
                call = call_of(row, db.events_of(tx, read.id))
                there = len(call.events)
                same = _dump(call.header) == _dump(read.header) and call.line.opened_at == moment_of(read.opened_at)
                if (
                    not same
                    or self._seen(row) is None
                    or not all(same_event(*pair) for pair in zip(call.events, read.events, strict=False))
                ):
                    raise Conflict("a call of this id is there and went on otherwise", given=read.id,
                                   do="nothing was imported: compare the two, add by hand what is missing")  # fmt: skip
                for event in read.events[there:]:
                    call = self._take_in(tx, call, event)
                self._check_case(_case_of(call))
                return call.id, max(0, len(read.events) - there)
        except db.Taken:
            raise _met() from None

    def _take_in(self, tx: Any, call: Call, event: CallEvent) -> Call:
        """Add one event of a file; the whole case is checked by whoever adds the last."""
        body, changes = _prepared(call, event.kind, dict(event.body))
        new = Event(call.revision + 1, event.kind, event.key, body, event.by, moment_of(event.at))
        if not db.add_event(tx, _event_row(call.id, new), **changes):
            raise _met()
        moved: Any = {"revision": new.number, **changes}
        line = replace(call.line, **moved)
        return Call(line, call.header, (*call.events, new), call.machine_id)

    def is_empty(self) -> bool:
        """Whether there is neither a machine nor a call."""
        with self._db.read() as tx:
            return db.is_empty(tx)

    # --- inside

    def _seen(self, row: db.Row | None) -> db.Row | None:
        """The row of a call, unless this person may not see it: then it is as if it were not there."""
        return row if row is not None and may_see(self._person, row["team"], row["desk"]) else None

    def _who(self, by: str) -> str:
        """Whose name stands in the record: the proved one; without sign-in, the one that was told."""
        return name_of(self._person.shown if self._person.signed_in else by)

    def _check_case(self, case: Case) -> None:
        if self._check is not None:
            self._check(case)

    def _write(
        self,
        call_id: str,
        kind: EventKind,
        body: dict[str, Any],
        key: str,
        after_revision: int,
        by: str,
        at: datetime,
    ) -> Receipt:
        key, by = checked_key(key), self._who(by)
        try:
            with self._db.write() as tx:
                row = self._seen(db.one_call(tx, call_id, to_write=True))
                if row is None:
                    raise _no_call(call_id)
                call = call_of(row, db.events_of(tx, call_id))
                earlier = next((e for e in call.events if e.key == key), None)
                if earlier is not None:
                    return _repeated(call, earlier, kind, body)
                if call.revision != after_revision:
                    raise Conflict(
                        "this call has moved on since the screen was drawn",
                        given=f"revision {after_revision}",
                        allowed=f"revision {call.revision}",
                        do="nothing was stored: look at the new screen and answer there",
                    )
                body, changes = _prepared(call, kind, body)
                new = Event(call.revision + 1, kind, key, body, by, at)
                after = _with(call, new)
                if kind in ("entry", "amend", "undo"):
                    self._check_case(_case_of(after))
                if not db.add_event(tx, _event_row(call_id, new), **changes):
                    raise _met()
                return Receipt(len(after.answer_numbers), new.number, at)
        except db.Taken:
            raise _met() from None


def _prepared(call: Call, kind: EventKind, body: dict[str, Any]) -> tuple[dict[str, Any], dict[str, object]]:
    """The event's body, and what changes in the call's line. Raises StoreError for what cannot be done."""
    if kind == "reopen":
        if call.open:
            raise StoreError("this call is open", do="go on with it")
        return body, {"state": "open", "outcome": ""}
    if not call.open:
        raise StoreError(
            "this call is closed",
            given=OUTCOMES.get(call.line.outcome, call.line.outcome),
            do="open it again first",
        )
    if kind == "close":
        return body, {"state": "closed", "outcome": body["outcome"]}
    if kind == "undo":
        if body["of"] is None:
            target = call.last_undoable()
        else:
            target = next(
                (e for e in call.standing() if e.number == body["of"] and e.kind in ("entry", "skip", "amend")),
                None,
            )
        if target is None:
            raise StoreError("nothing to take back", given=body["of"], do="go on with the call")
        return {"of": target.number}, {}
    return body, {}


def _event_row(call_id: str, event: Event) -> dict[str, Any]:
    return {
        "call_id": call_id,
        "number": event.number,
        "kind": event.kind,
        "key": event.key,
        "body": db.as_json(event.body),
        "by": event.by,
        "at": event.at.isoformat(timespec="seconds"),
    }


def _new_call(case: Case, call_id: str, key: str, stamp: str, by: str) -> dict[str, Any]:
    """The row of a call just opened, everybody's."""
    data = _dump(case)
    data.pop("id", None)
    data.pop("now", None)
    data["format"] = case.format  # spelled out: the default may be a newer one some day
    return {
        "id": checked_key(call_id),
        "key": key,
        "machine_id": "",
        "machine": shorten(case.machine.name or "unnamed machine", 200),
        "complaint": shorten(case.complaint, 200),
        "header": db.as_json(data),
        "state": "open",
        "outcome": "",
        "revision": 0,
        "opened_at": stamp,
        "opened_by": name_of(by),
        "last_at": stamp,
        "invented": False,
        "team": "",
        "desk": "field" if case.role == "technician" else "telephone",
        "origin": "",
    }


def _with(call: Call, event: Event) -> Call:
    return Call(call.line, call.header, (*call.events, event), call.machine_id)


def _case_of(call: Call) -> Case:
    try:
        return call.case
    except ValidationError as error:
        raise CaseError("case", list(_problems(error))) from None


def _repeated(call: Call, earlier: Event, kind: EventKind, body: Mapping[str, Any]) -> Receipt:
    """The first receipt, if the same was written; who and when may differ."""

    def content(one: Mapping[str, Any]) -> dict[str, Any]:
        return {k: v for k, v in one.items() if k not in ("at", "by", "id")}

    if earlier.kind != kind or (kind != "undo" and content(earlier.body) != content(body)):
        raise Conflict(
            "this was already answered otherwise",
            given=_say(body),
            allowed=_say(earlier.body),
            do="nothing was stored: take the first answer back to change it",
        )
    upto = sum(1 for e in call.events if e.kind == "entry" and e.number <= earlier.number)
    return Receipt(upto, earlier.number, earlier.at, repeated=True)


def _say(body: Mapping[str, Any]) -> str:
    said = ("check", "quantity", "action", "place", "answer", "value", "outcome", "causes", "note")
    told = (body[k] for k in said if body.get(k))
    return ", ".join(", ".join(one) if isinstance(one, list) else str(one) for one in told)


def _met() -> Conflict:
    return Conflict("somebody else wrote into this call just now", do="nothing was stored: answer on the new screen")


def _no_call(call_id: str) -> StoreError:
    return StoreError("no such call", given=call_id, do="look at the address, or choose a call from the list")


def _validated(model: type[T], data: T | Mapping[str, Any]) -> T:
    if isinstance(data, model):
        return data
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise CaseError(model.__name__.lower(), list(_problems(error))) from None


def _problems(error: ValidationError) -> Iterable[str]:
    for one in error.errors():
        where = ".".join(str(part) for part in one["loc"]) or "case"
        given = one.get("input")
        shown = f"; given: '{shorten(given)}'" if isinstance(given, (str, int, float)) else ""
        yield f"{shorten(where, 80)}: {shorten(one['msg'], 200)}{shown}"


def _dump(model: Case | Entry | Machine) -> dict[str, Any]:
    data: dict[str, Any] = model.model_dump(mode="json", exclude_defaults=True)
    return data


def _machine(row: db.Row, version: db.Row | None) -> MachineRecord:
    """version: the row of a later version of the card, None for the card the machine came with."""
    added = datetime.fromisoformat(row["added_at"])
    return MachineRecord(
        row["id"],
        Machine.model_validate_json((version or row)["card"]),
        bool(row["invented"]),
        added,
        row["added_by"],
        version["number"] if version else 1,
        datetime.fromisoformat(version["at"]) if version else added,
        version["by"] if version else row["added_by"],
    )


def _named(card: Machine) -> Machine:
    if not card.name:
        raise CaseError(
            "machine", ["machine.name: no name given; allowed: up to 200 characters; give the machine a name"]
        )
    return card


def _no_machine(machine_id: str) -> StoreError:
    return StoreError("no such machine", given=machine_id, do="choose one from the list")
