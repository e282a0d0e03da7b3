"""The verdict: what it is, what to do, who may, how to prove it; and a way to go on looking."""

from __future__ import annotations

from functools import partial

import streamlit as st

from diagnose.advice import Verdict
from diagnose.doing import done_of, done_together
from diagnose.phrases import (
    action_title,
    hazard_words,
    likely,
    minutes,
    remedy_hazards,
    signal,
    verdict_heading,
    who_may,
)
from diagnose.store import Outcome
from knowledge.outcomes import NOT_FOUND
from ui.field import closing
from ui.field.acts import Desk, close, keep, stay
from ui.field.question import change_rows, did_it, hand_over, heading, left_changed
from ui.parts import facts, html, say_later, signal_box, t
from ui.taps import offer


def draw(desk: Desk, verdict: Verdict) -> None:
    """Draw the verdict."""
    heading(f"verdict {verdict.kind} {verdict.remedy_id}", verdict.title, verdict_heading(verdict))
    lead = next((s for s in desk.advice.suspects if s.cause in verdict.causes[:1]), None)
    if lead is not None:
        html(f"<p class='ask'>How sure: {t(likely(lead.probability).text)}.</p>")
    causes = [desk.knowledge.causes[c] for c in verdict.causes if c in desk.knowledge.causes]
    hazards = remedy_hazards(verdict, desk.knowledge)
    lead_in = f"{hazard_words(hazards)[:1].upper()}{hazard_words(hazards)[1:]}. " if hazard_words(hazards) else ""
    if verdict.cautions or lead_in:
        html(signal_box(signal(hazards), lead_in + " ".join(verdict.cautions)))
    html(f"<p class='ask'><b>Do this:</b> {t(verdict.remedy)}</p>")
    qualified = {q for cause in causes for q in cause.remedy.needs_qualified}
    html(
        facts(
            [
                minutes(verdict.minutes) if verdict.minutes else "",
                f"By {who_may(verdict.who, sorted(qualified))}",
                f"Parts: {', '.join(verdict.parts)}" if verdict.parts else "",
            ]
        )
    )
    if verdict.proof:
        html(f"<p class='why'><b>It is cured when:</b> {t(verdict.proof)}</p>")
    if verdict.would_tell:
        html(f"<p class='why'><b>What would tell more:</b> {t(verdict.would_tell)}</p>")
    change_rows(desk)
    left_changed(desk)
    if verdict.kind == "hand-over":
        hand_over(desk, verdict.who)
    elif verdict.kind == "normal":
        closing.ask(desk, "normal")
        with st.container(key="rows-normal"):
            offer("Explained: close this call as normal", desk.key("normal"), partial(_end, desk, "normal"),
                  width="stretch")  # fmt: skip
    else:
        did_it(desk, done_of(verdict, desk.knowledge))
        if verdict.kind == "cannot-tell":
            hand_over(desk, verdict.who)
            with st.container(key="rows-none-fits"):
                offer("None of these fits: close this call so", desk.key("none-fits-verdict"),
                      partial(close, desk, "none-fits", causes=(NOT_FOUND,)), width="stretch")  # fmt: skip


def _end(desk: Desk, outcome: Outcome) -> None:
    """Close with what the fields say."""
    told = closing.told(desk, outcome)
    if told is None:
        say_later("Nothing was stored: choose what it was, or Not found, and what proved it.")
        stay(desk)
    else:
        close(desk, outcome, **told)


def cured(desk: Desk) -> bool:
    """Draw the screen after "cured", if the last thing told was that; whether it was drawn."""
    entries = desk.call.case.entries
    last = next((e for e in reversed(entries) if (not e.note or e.action) and e.outcome != "undone"), None)
    if last is None or not last.action or last.outcome != "cured":
        return False
    done = done_together(entries, max(n for n, e in enumerate(entries) if e is last), desk.knowledge)
    titles = "; ".join(action_title(action, desk.knowledge) for action in done)
    heading(f"cured {last.id}", "Prove it, then close the call", titles)
    proofs = [c.proof for action in done for c in desk.knowledge.causes.values() if c.remedy.id == action]
    for proof in list(dict.fromkeys(proofs))[:3]:
        html(f"<p class='ask'><b>It is cured when:</b> {t(proof)}</p>")
    change_rows(desk)
    left_changed(desk)
    closing.ask(desk, "cured")
    with st.container(key="rows-cured"):
        offer("Proved: close this call as cured", desk.key("proved"), partial(_end, desk, "cured"), width="stretch",
              type="primary")  # fmt: skip
        told = {"action": last.action, "place": last.place, "outcome": "not-cured"}
        again = partial(keep, desk, f"did|{last.action}", told)
        offer("Not cured after all: go on", desk.key("unproved"), again, width="stretch")
    return True
