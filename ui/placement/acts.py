"""What a tap does: it is stored before anything new is drawn, once, or the person is told in one line.

Every key names the revision of the placement and the step, so a second tap, a tap on an old screen or one that comes late
cannot be stored twice or land on another step.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import streamlit as st

from diagnose.case import Case
from diagnose.placement.keeping import Kept, amend, answer, kept, known_case, open_trouble
from diagnose.placement.now import may_do
from diagnose.placement.plan import Outlook, StepState, outlook
from diagnose.placement.record import Done
from diagnose.store import Call, Store
from diagnose.store.placements import PlacementEventKind
from knowledge.load import Knowledge
from shared.errors import ChillerError, StoreError
from ui.parts import say_later
from ui.taps import go

DESK = "placement"
BAD = "bad-placement"


@dataclass(frozen=True)
class Desk:
    """What one drawing of the desk works from."""

    store: Store
    knowledge: Knowledge
    now: Kept

    @cached_property
    def seen(self) -> Outlook:
        """The state of every step."""
        return outlook(self.now.placement, self.knowledge)

    @cached_property
    def calls(self) -> dict[str, Call | None]:
        """Trouble calls by id; None for one that this person may not see."""
        out: dict[str, Call | None] = {}
        for trouble in self.now.troubles:
            try:
                out[trouble.call] = self.store.call(trouble.call)
            except StoreError:
                out[trouble.call] = None
        return out

    @cached_property
    def in_trouble(self) -> dict[str, str]:
        """Steps whose trouble call is open, with its id."""
        found = {}
        for one in self.seen.steps:
            trouble = self.now.trouble_of(one.card.id)
            call = self.calls.get(trouble.call) if trouble else None
            if trouble and (call is None or call.open):
                found[one.card.id] = trouble.call
        return found

    @cached_property
    def case(self) -> Case:
        """What is known, as a case."""
        return known_case(self.now.placement, self.knowledge)

    @property
    def by(self) -> str:
        """Who answers: as said on this device, else who opened the placement."""
        return str(st.session_state.get("name") or self.now.record.line.opened_by)

    def may(self, one: StepState) -> bool:
        """Whether whoever is here may be shown how a step is done."""
        return may_do(one, self.now.placement)

    def key(self, *parts: object) -> str:
        """Key of a widget of this screen: unique to placement, revision and step."""
        return "-".join(str(p) for p in (self.now.id, self.now.revision, *parts))


def stay(desk: Desk, **more: str) -> None:
    """Draw the placement anew from the record."""
    go(desk=DESK, placement=desk.now.id, **more)


def _write(desk: Desk, work: Callable[[], object]) -> None:
    """Do it and draw anew; what could not be read is told on the same screen, where everything typed still stands."""
    try:
        work()
    except StoreError as error:
        say_later(error.line())
    except ChillerError as error:
        st.session_state[BAD] = error.line()
        return
    st.session_state.pop(BAD, None)
    stay(desk)


def add(desk: Desk, kind: PlacementEventKind, body: Mapping[str, Any], what: str) -> None:
    """Store something that is no answer to a step. what: names it in its key."""
    revision = desk.now.revision
    _write(
        desk,
        lambda: desk.store.placements.add(
            desk.now.id, kind, body, key=f"{revision}|{what}", after_revision=revision, by=desk.by
        ),
    )


def keep_answer(desk: Desk, done: Done, photos: Sequence[tuple[str, bytes]] = ()) -> None:
    """Store what came of a step, its photos first; what is not right opens its trouble call, with everything known."""

    def work() -> None:
        ids = [desk.store.placements.add_photo(desk.now.id, name, content, by=desk.by) for name, content in photos]
        key = f"{desk.now.revision}|{done.step}|{done.outcome}"
        answer(desk.store, desk.now, done, desk.knowledge, key=key, by=desk.by, photos=ids)
        # a baseline may have been found wrong by the reasoning
        last = kept(desk.store, desk.now.id).last_answer(done.step)
        wrong = last is not None and last.body.get("outcome") == "not-right"
        if wrong and desk.knowledge.steps[done.step].not_right:
            open_trouble(desk.store, desk.now.id, done.step, desk.knowledge, by=desk.by)

    _write(desk, work)


def begin_trouble(desk: Desk, step: str) -> None:
    """Open the call of a step that was said to be wrong; only needed where that was cut off in the middle."""
    _write(desk, lambda: open_trouble(desk.store, desk.now.id, step, desk.knowledge, by=desk.by))


def change(desk: Desk, changes: Mapping[str, Any]) -> None:
    """Change who is here, or what is known of the machine."""
    _write(desk, lambda: amend(desk.store, desk.now, changes, key=f"{desk.now.revision}|amend", by=desk.by))


def keep_note(desk: Desk, text: str, photos: Sequence[tuple[str, bytes]]) -> None:
    """Store words and pictures that belong to no step."""

    def work() -> None:
        ids = [desk.store.placements.add_photo(desk.now.id, name, content, by=desk.by) for name, content in photos]
        revision = desk.now.revision
        body = {"note": text, **({"photos": ids} if ids else {})}
        desk.store.placements.add(
            desk.now.id, "note", body, key=f"{revision}|note", after_revision=revision, by=desk.by
        )

    _write(desk, work)
