"""How a call ended: the outcome, what was confirmed as its cause or that it was not found, and what proved it.

Kept in the event that closes the call, so it is never changed; a call that is opened again and closed anew has a new one, and
the last one counts. Causes are kept as ids: the store knows no cards, whoever reads them does.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from diagnose.store.records import OUTCOMES, Call, Outcome
from knowledge.outcomes import NOT_FOUND
from shared.errors import StoreError, shorten

MOST_CAUSES = 2
LONGEST = 4000
_ID = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")

# What may have proved a cause, for people to choose from; what is kept is the text.
PROOFS: dict[str, str] = {
    "gone": "gone with the remedy, stayed away",
    "seen": "seen with own eyes",
    "read": "a reading or test showed it",
    "opened": "the part was opened or taken out",
    "explained": "explained, watched and left",
    "told": "somebody who knows the machine said so",
}


@dataclass(frozen=True)
class Closing:
    """asked: whether the cause was asked for when the call was closed (older calls were not asked)."""

    outcome: str
    note: str
    causes: tuple[str, ...] = ()
    proof: str = ""

    @property
    def asked(self) -> bool:
        """Whether a cause or "not found" was recorded."""
        return bool(self.causes)

    @property
    def found(self) -> tuple[str, ...]:
        """Confirmed causes; () where it was not found or not asked."""
        return tuple(c for c in self.causes if c != NOT_FOUND)


def closing_body(outcome: str, note: str = "", causes: Sequence[str] = (), proof: str = "") -> dict[str, Any]:
    """The body of the event. causes: (), one or two cause ids, or "not-found" alone. Raises StoreError."""
    if outcome not in get_args(Outcome):
        raise StoreError("outcome of a call", given=outcome, allowed=", ".join(OUTCOMES), do="choose one")
    told = tuple(causes)
    fits = all(c == NOT_FOUND or _ID.fullmatch(c) and len(c) <= 60 for c in told)
    if not fits or len(told) > MOST_CAUSES or len(set(told)) < len(told) or (NOT_FOUND in told and len(told) > 1):
        raise StoreError(
            "cause of a closed call",
            given=shorten(", ".join(told)),
            allowed=f"one or two causes by their ids, or {NOT_FOUND}",
            do="choose again",
        )
    said = " ".join(proof.split())
    if told and NOT_FOUND not in told and not said:
        raise StoreError("nothing said of what proved the cause", do=f"say it, or close with {NOT_FOUND}")
    body: dict[str, Any] = {"outcome": outcome, "note": note[:LONGEST]}
    if told:
        body |= {"causes": list(told), "proof": said[:LONGEST]}
    return body


def closing_problem(body: Mapping[str, Any]) -> str:
    """What is wrong with a body that comes from a file, "" if nothing."""
    causes = body.get("causes", [])
    if not isinstance(causes, list) or not all(isinstance(c, str) for c in causes):
        return "causes: not a list of ids"
    if not all(isinstance(body.get(key, ""), str) for key in ("note", "proof")):
        return "note, proof: not text"
    try:
        closing_body(str(body.get("outcome", "")), "", causes, str(body.get("proof", "")))
    except StoreError as error:
        return error.line()
    return ""


def closing_of(call: Call) -> Closing | None:
    """How a closed call ended; None for an open one."""
    if call.open:
        return None
    body = next(e.body for e in reversed(call.events) if e.kind == "close")
    return Closing(
        str(body["outcome"]), str(body.get("note", "")), tuple(body.get("causes", ())), str(body.get("proof", ""))
    )
