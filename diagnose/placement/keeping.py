"""Placements to and from the store: a reload, a restart or another device finds one where it was.

What is stored of an answer is the `Done` of the placement file, with the ids of its photos; so the same pure functions work
on a file and on the record.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

from diagnose.case import Case, Entry
from diagnose.placement.baseline import with_baseline
from diagnose.placement.call import call_of
from diagnose.placement.command import with_done
from diagnose.placement.record import Done, Placement, PlacementError, placement_of
from diagnose.placement.rounds import BASELINE
from diagnose.store import Call, Store
from diagnose.store.marks import moment_of
from diagnose.store.placements import AMENDABLE, PlacementEvent, PlacementRecord, call_key
from diagnose.store.records import Receipt
from knowledge.load import Knowledge
from shared.errors import ChillerError, StoreError

NEWS_S = 600  # a countdown that ended longer ago is no news


@dataclass(frozen=True)
class Trouble:
    """A trouble call that a step turned into. event: number of the answer it came from."""

    step: str
    call: str
    event: int


@dataclass(frozen=True)
class Countdown:
    """A delay that was started. left_s: seconds until it ends, 0 once it has."""

    step: str
    minutes: float
    number: int
    left_s: float


@dataclass(frozen=True)
class Kept:
    """A placement as the store has it."""

    record: PlacementRecord

    @property
    def id(self) -> str:
        """Id of the placement, as in its address."""
        return self.record.id

    @property
    def revision(self) -> int:
        """Changes with everything that is stored."""
        return self.record.revision

    @property
    def open(self) -> bool:
        """Whether anything may be added."""
        return self.record.line.state == "open"

    @cached_property
    def placement(self) -> Placement:
        """The placement as it stands. Raises PlacementError when the record does not hold together."""
        data: dict[str, Any] = dict(self.record.header)
        entries: list[dict[str, Any]] = []
        for event in self.record.standing():
            if event.kind == "amend":
                data.update(event.body)
            elif event.kind == "done":
                entries.append(done_data(event))
        return placement_of({**data, "entries": entries}, "record")

    @cached_property
    def troubles(self) -> tuple[Trouble, ...]:
        """Calls that came of steps, in order."""
        return tuple(
            Trouble(str(e.body["step"]), str(e.body["call"]), int(e.body["of"]))
            for e in self.record.events
            if e.kind == "call"
        )

    def last_answer(self, step: str) -> PlacementEvent | None:
        """The answer to a step that stands, None where nobody answered yet."""
        found = (e for e in self.record.standing() if e.kind == "done" and e.body.get("step") == step)
        return next(iter(reversed(tuple(found))), None)

    def trouble_of(self, step: str) -> Trouble | None:
        """The call that the standing "not right" of a step turned into."""
        last = self.last_answer(step)
        if last is None or last.body.get("outcome") != "not-right":
            return None
        return next((t for t in self.troubles if t.event == last.number), None)

    def countdowns(self, now: datetime) -> Iterator[Countdown]:
        """Delays that run or ended just now, the last started first; one a step."""
        seen = set()
        for event in reversed(tuple(self.record.standing())):
            if event.kind != "wait" or event.body.get("step") in seen:
                continue
            seen.add(event.body.get("step"))
            length = float(event.body["minutes"])
            left = (event.at + timedelta(minutes=length) - now).total_seconds()
            if left > -NEWS_S:
                yield Countdown(str(event.body["step"]), length, event.number, max(0.0, left))


def done_data(event: PlacementEvent) -> dict[str, Any]:
    """The answer of an event as the placement file has it; whoever and when stand on the event."""
    body = {k: v for k, v in event.body.items() if k != "photos"}
    return {**body, "by": body.get("by") or event.by, "at": body.get("at") or local_stamp(event.at)}


def open_placement(store: Store, placement: Placement, *, by: str, key: str, machine_id: str = "", **more: Any) -> str:
    """Keep a placement that begins; its id. more: see `PlacementRecords.open`. Raises PlacementError, StoreError."""
    checked = placement_of(placement.model_dump(mode="json"))
    if checked.entries:
        raise PlacementError("placement", ["entries: a placement is opened without entries"])
    header = checked.model_dump(mode="json", exclude_defaults=True) | {"format": checked.format}
    name = checked.name or checked.machine.name
    return store.placements.open(header, name=name, by=by, key=key, machine_id=machine_id, **more)


def kept(store: Store, placement_id: str) -> Kept:
    """A placement by its id. Raises StoreError, PlacementError."""
    found = Kept(store.placements.placement(placement_id))
    _ = found.placement
    return found


def answer(
    store: Store,
    before: Kept,
    done: Done,
    knowledge: Knowledge,
    *,
    key: str,
    by: str,
    photos: Sequence[str] = (),
    at: datetime | None = None,
) -> Receipt:
    """Keep what came of a step.

    Raises PlacementError with every problem (it has to wait, somebody qualified has to do it, a figure that cannot be read),
    StoreError, Conflict: nothing is kept then.
    """
    earlier = next((e for e in before.record.events if e.key == key), None)
    if earlier is None:  # what was kept before is not judged again
        with_done(before.placement, done, knowledge)
    if done.step == BASELINE and done.outcome == "done":
        if earlier is not None and earlier.body.get("step") == BASELINE:
            return store.placements.add(
                before.id, "done", earlier.body, key=key, after_revision=before.revision, by=by, at=at
            )
        done = _challenged(before.placement, done, knowledge, at)
    body: dict[str, Any] = done.model_dump(mode="json", exclude_defaults=True)
    if photos:
        body["photos"] = list(photos)
    return store.placements.add(before.id, "done", body, key=key, after_revision=before.revision, by=by, at=at)


def _challenged(placement: Placement, done: Done, knowledge: Knowledge, at: datetime | None) -> Done:
    """A baseline as the reasoning leaves it: good, or "not right" with what it says of the machine.

    Raises PlacementError where there is nothing to judge yet (not steady, nothing that is followed): that is read again.
    """
    try:
        tried, made = with_baseline(placement, done.model_copy(update={"at": local_stamp(at)}), knowledge)
    except PlacementError:
        raise
    except ChillerError as error:
        raise PlacementError("no baseline", [error.line()]) from None
    if not made.usable and (made.moving or not made.round.figures):
        raise PlacementError("no baseline", list(made.reasons))
    return tried.entries[-1].model_copy(update={"at": ""})  # the event bears the moment


def local_stamp(at: datetime | None) -> str:
    """A moment by this machine's clock, with its offset: what is compared from round to round is read by people."""
    return moment_of(at).astimezone().isoformat(timespec="seconds")


def amend(store: Store, before: Kept, changes: Mapping[str, Any], *, key: str, by: str) -> Receipt:
    """Change who does it or what is known of the site. Raises PlacementError, StoreError, Conflict."""
    allowed = {k: v for k, v in changes.items() if k in AMENDABLE}
    placement_of({**before.placement.model_dump(mode="json"), **allowed})
    return store.placements.add(before.id, "amend", dict(changes), key=key, after_revision=before.revision, by=by)


def open_trouble(
    store: Store, placement_id: str, step: str, knowledge: Knowledge, *, by: str, invented: bool = False
) -> str:
    """Open the trouble call of a step that is not right, with everything already known, and say so in the placement.

    The id of the call; done again it is the same call and nothing comes twice. Raises ChillerError.
    """
    now = kept(store, placement_id)
    if (there := now.trouble_of(step)) is not None:
        return there.call
    last = now.last_answer(step)
    if last is None or last.body.get("outcome") != "not-right":
        raise StoreError("this step is not said to be wrong", given=step, do="say so first")
    upto = now.placement
    case = call_of(upto, step, knowledge)
    once = f"placement|{placement_id}|{last.number}"
    header = case.model_copy(update={"entries": (), "now": ""})
    call = store.open_call(
        header, by=by, key=once, machine_id=now.record.line.machine_id, invented=now.record.line.invented or invented
    )
    for number, entry in enumerate(case.entries):
        _append(store, call, number, entry, once, by)
    body = {"step": step, "call": call, "of": last.number}
    store.placements.add(placement_id, "call", body, key=call_key(call), after_revision=now.revision, by=by)
    return call


def _append(store: Store, call: str, number: int, entry: Entry, once: str, by: str) -> None:
    """One thing that was known; after the last one that is there, so that it can be done again after a power cut."""
    there = store.call(call)
    key = f"{once}|{number}"
    if not any(e.key == key for e in there.events):
        store.append(call, entry, key=key, after_revision=there.revision, by=entry.by or by)


def calls_of(store: Store, now: Kept) -> tuple[tuple[Trouble, Call | None], ...]:
    """Calls that came of a placement, each once; None where this person may not see it."""
    out: list[tuple[Trouble, Call | None]] = []
    for trouble in now.troubles:
        try:
            out.append((trouble, store.call(trouble.call)))
        except StoreError:
            out.append((trouble, None))
    return tuple(out)


def known_case(placement: Placement, knowledge: Knowledge) -> Case:
    """What is known of a placement as a case, for whatever draws the fields of a reading."""
    read = [
        {"quantity": one.quantity, "value": one.value, **({"place": one.place} if one.place else {})}
        for done in placement.entries
        for one in done.readings
    ]
    complaint = next(iter(knowledge.complaints))
    return Case.model_validate({"complaint": complaint, "machine": placement.machine, "entries": read})
