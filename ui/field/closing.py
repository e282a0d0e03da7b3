"""What was it, and what proved it: asked wherever a call is closed, kept with the closing.

Where the record says it already (a remedy that cured, a normal explanation), that stands in the field and is one tap away from
being changed. What is chosen is read from the session when the row is tapped (see `ui/taps.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from diagnose.closed_calls import cured_at, mended
from diagnose.doing import done_together
from diagnose.store import Closing, Outcome
from diagnose.store.closing import PROOFS
from knowledge.load import Knowledge
from knowledge.outcomes import NOT_FOUND
from ui import office
from ui.field.acts import Desk
from ui.parts import html, t

NOBODY_KNOWS = "Not found"
_PROOF_OF = {"cured": "gone", "normal": "explained"}


def ask(desk: Desk, outcome: Outcome) -> None:
    """Draw the fields for this way of ending."""
    likely = known(desk, outcome)
    choices = _choices(desk, likely)
    sure = outcome in _PROOF_OF
    chosen = st.selectbox(
        "What was it?",
        choices,
        index=choices.index(likely) if likely else None if sure else choices.index(NOT_FOUND),
        format_func=lambda cause: title(cause, desk.knowledge),
        placeholder="Choose or type a few letters",
        key=desk.key("was", outcome),
    )
    if not chosen or chosen == NOT_FOUND:
        return
    if _two(desk):
        others = [c for c in choices if c not in (chosen, NOT_FOUND)]
        too = _mended_too(desk, outcome)
        st.selectbox(
            "And a second one?",
            others,
            index=others.index(too) if too in others else None,
            format_func=lambda cause: title(cause, desk.knowledge),
            placeholder="No second one",
            key=desk.key("was-too", outcome),
        )
    ways = list(PROOFS)
    st.selectbox(
        "What proved it?",
        ways,
        index=ways.index(_PROOF_OF[outcome]) if sure else None,
        format_func=lambda way: PROOFS[way].capitalize(),
        placeholder="Choose",
        key=desk.key("proof", outcome),
    )


def told(desk: Desk, outcome: Outcome) -> dict[str, Any] | None:
    """What the fields say, as `close` takes it; None while something is not chosen."""
    first = st.session_state.get(desk.key("was", outcome))
    if not first:
        return None
    if first == NOT_FOUND:
        return {"causes": (NOT_FOUND,)}
    way = st.session_state.get(desk.key("proof", outcome))
    if way not in PROOFS:
        return None
    second = st.session_state.get(desk.key("was-too", outcome))
    causes = (first, second) if second and second != first else (first,)
    return {"causes": causes, "proof": PROOFS[way]}


def known(desk: Desk, outcome: Outcome) -> str:
    """The cause the record names already, "" if none."""
    case, verdict = desk.call.case, desk.advice.verdict
    if outcome == "normal" and verdict is not None and verdict.kind == "normal":
        return next((c for c in verdict.causes if c in desk.knowledge.causes), "")
    if outcome == "cured" and (number := cured_at(case)) is not None:
        before = office.advise_prefix(desk.call, number)
        return mended(case.entries[number].action, before.suspects, desk.knowledge)
    return ""


def _mended_too(desk: Desk, outcome: Outcome) -> str:
    """The cause of another remedy that was done together with the one that cured, "" if none."""
    case = desk.call.case
    if outcome != "cured" or (number := cured_at(case)) is None:
        return ""
    others = done_together(case.entries, number, desk.knowledge)[:-1]
    before = office.advise_prefix(desk.call, number - len(others))
    return next((mended(other, before.suspects, desk.knowledge) for other in others), "")


def as_known(desk: Desk, outcome: Outcome) -> dict[str, Any]:
    """What a desk without these fields keeps with the closing: the cause the record names, nothing if it names none."""
    cause = known(desk, outcome)
    return {"causes": (cause,), "proof": PROOFS[_PROOF_OF[outcome]]} if cause else {}


def title(cause: str, knowledge: Knowledge) -> str:
    """Name of a cause for people."""
    return NOBODY_KNOWS if cause == NOT_FOUND else knowledge.causes[cause].title if cause in knowledge.causes else cause


def ended(closing: Closing, knowledge: Knowledge) -> str:
    """One line on what was confirmed, "" where nobody was asked."""
    if not closing.asked:
        return ""
    if not closing.found:
        return "The cause was not found."
    names = " and ".join(title(cause, knowledge) for cause in closing.found)
    return f"Confirmed: {names}. Proved by: {closing.proof}."


def draw_ended(closing: Closing, knowledge: Knowledge) -> None:
    """The same line on the screen of a closed call."""
    if line := ended(closing, knowledge):
        html(f"<p class='ask'>{t(line)}</p>")


def _choices(desk: Desk, likely: str) -> list[str]:
    """Causes to choose from: the one the record names, the suspects as ranked, not found, all others by name."""
    causes = desk.knowledge.causes
    ranked = [s.cause for s in desk.advice.suspects if s.cause in causes]
    rest = sorted(causes, key=lambda c: causes[c].title)
    order: Sequence[str] = [*([likely] if likely else []), *ranked, NOT_FOUND, *rest]
    return list(dict.fromkeys(order))


def _two(desk: Desk) -> bool:
    """Whether a second cause is in question."""
    verdict = desk.advice.verdict
    entries = desk.call.case.entries
    cures = {e.action for e in entries if e.action and e.outcome in ("cured", "better")}
    together = (number := cured_at(desk.call.case)) is not None and len(
        done_together(entries, number, desk.knowledge)
    ) > 1
    return len(cures) > 1 or together or (verdict is not None and verdict.kind == "two-causes")
