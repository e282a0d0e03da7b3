"""What a tap does: it is stored before anything new is drawn, once, or the person is told in one line.

Every key names the revision of the call and the question, so a second tap, a tap on an old screen or one
that comes late over a bad link cannot be stored twice or land on another question.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import streamlit as st

from diagnose.advice import Advice
from diagnose.store import Call, Conflict, Outcome, Store
from knowledge.load import Knowledge
from shared.errors import ChillerError
from ui.parts import say_later
from ui.taps import go


@dataclass(frozen=True)
class Desk:
    """What one drawing of a desk works from. address: what its address holds besides the call."""

    store: Store
    knowledge: Knowledge
    call: Call
    advice: Advice
    address: Mapping[str, str] = field(default_factory=dict)

    @property
    def by(self) -> str:
        """Who answers: as said on this device, else who opened the call."""
        return str(st.session_state.get("name") or self.call.line.opened_by)

    def key(self, *parts: object) -> str:
        """Key of a widget of this screen: unique to call, revision and question."""
        return "-".join(str(p) for p in (self.call.id, self.call.revision, *parts))


def stay(desk: Desk) -> None:
    """Draw the call anew from the records, at its next question."""
    go(**desk.address, call=desk.call.id)


def _write(desk: Desk, work: Callable[[], object], stay_on_error: bool = False) -> None:
    try:
        work()
    except ChillerError as error:
        if stay_on_error and not isinstance(error, Conflict):
            st.session_state["bad"] = error.line()
            return
        say_later(error.line())
    else:
        st.session_state.pop("bad", None)
    stay(desk)


def keep(desk: Desk, question: str, entry: Mapping[str, Any], *, stay_on_error: bool = False) -> None:
    """Store one entry given as the answer to ``question``, then draw anew."""
    keep_all(desk, question, [entry], stay_on_error=stay_on_error)


def keep_all(desk: Desk, question: str, entries: Sequence[Mapping[str, Any]], *, stay_on_error: bool = False) -> None:
    """Store entries that belong to one question, in order, then draw anew."""

    def work() -> None:
        revision = desk.call.revision
        for number, entry in enumerate(entries):
            key = f"{desk.call.revision}|{question}|{number}"
            receipt = desk.store.append(desk.call.id, entry, key=key, after_revision=revision, by=desk.by)
            revision = receipt.revision

    _write(desk, work, stay_on_error)


def skip(desk: Desk, check: str, place: str) -> None:
    """Put a check aside; it can still be chosen from the list."""
    _write(
        desk,
        lambda: desk.store.set_aside(
            desk.call.id,
            check,
            place,
            key=f"{desk.call.revision}|skip|{check}|{place}",
            after_revision=desk.call.revision,
            by=desk.by,
        ),
    )


def take_back(desk: Desk, number: int | None = None) -> None:
    """Take back the last thing, or one earlier entry; it stays in the record, marked."""
    _write(
        desk,
        lambda: desk.store.undo(
            desk.call.id,
            key=f"{desk.call.revision}|undo|{number or 'last'}",
            after_revision=desk.call.revision,
            by=desk.by,
            number=number,
        ),
    )


def amend(desk: Desk, changes: Mapping[str, Any]) -> None:
    """Change who is at the machine."""
    _write(
        desk,
        lambda: desk.store.amend(
            desk.call.id,
            changes,
            key=f"{desk.call.revision}|amend",
            after_revision=desk.call.revision,
            by=desk.by,
        ),
    )


def close(desk: Desk, outcome: Outcome, note: str = "", causes: Sequence[str] = (), proof: str = "") -> None:
    """Close the call. causes, proof: see `ui/field/closing.py`. What is left changed goes into the note."""
    note = "; ".join([*([note] if note else []), *(f"left changed: {one.title}" for one in desk.advice.left_changed)])
    _write(
        desk,
        lambda: desk.store.close_call(
            desk.call.id,
            outcome,
            key=f"{desk.call.revision}|close",
            after_revision=desk.call.revision,
            by=desk.by,
            note=note,
            causes=causes,
            proof=proof,
        ),
    )


def reopen(desk: Desk) -> None:
    """Open a closed call again."""
    _write(
        desk,
        lambda: desk.store.reopen_call(
            desk.call.id, key=f"{desk.call.revision}|reopen", after_revision=desk.call.revision, by=desk.by
        ),
    )
