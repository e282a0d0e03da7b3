"""The one question of the screen: cautions first, then what to do and why, then the answers, full width."""

from __future__ import annotations

import streamlit as st

from diagnose.advice import Step
from diagnose.choices import answer_places
from diagnose.phrases import hazard_words, minutes, needed_state, signal, who_may
from ui.field import values
from ui.field.acts import Desk, close, keep
from ui.parts import facts, html, md, signal_box, t

STUCK = "If nothing changes within five seconds of a tap, load the page again: what was saved is safe."
SURE = {"sure": "Sure", "think-so": "Fairly sure", "guess": "A guess"}
WHO = {"saw": "Seen here", "customer-says": "Customer says"}


def heading(screen: str, title: str, kicker: str) -> None:
    """The heading that names the screen and takes the focus."""
    html(f"<div data-screen='{t(screen)}'><p class='kicker'>{t(kicker)}</p><h1>{t(title)}</h1></div>")


def draw(desk: Desk, step: Step, waiting: int) -> None:
    """Draw a step of any kind."""
    state = needed_state(step.state)
    parts = [
        {
            "observe": "Look or measure",
            "repair": "Do this",
            "reconfigure": "Try this",
            "hand-over": "Hand over",
        }[step.kind],
        minutes(step.minutes) if step.minutes else "",
        f"machine: {state}" if state else "",
    ]
    heading(f"{step.id} {step.place}", step.title, ", ".join(part for part in parts if part))
    complaint = desk.knowledge.complaints.get(desk.call.case.complaint)
    if complaint and complaint.cautions and not desk.call.case.entries:
        html(signal_box(None, " ".join(complaint.cautions)))
    cautions(step)
    html(f"<p class='ask'>{t(step.ask)}</p>")
    if step.tools:
        html(facts([f"Bring: {', '.join(step.tools)}"]))
    if step.kind == "observe":
        _observe(desk, step)
    elif step.kind == "hand-over":
        hand_over(desk, step.who)
    else:
        did_it(desk, step.id, step.kind == "repair")
    if step.why:
        html(f"<p class='why'><b>Why this:</b> {t(step.why)}</p>")
    more = f"{waiting} more {'check waits' if waiting == 1 else 'checks wait'} after this one. " if waiting else ""
    st.caption(f"{more}{STUCK}")


def cautions(step: Step) -> None:
    """What can hurt, before the step."""
    word, hazards = signal(step.hazards), hazard_words(step.hazards)
    lines = list(step.cautions)
    if not lines and not hazards:
        return
    who = f"Only {who_may(step.who, step.needs_qualified)}." if step.needs_qualified else ""
    lead = f"{hazards[0].upper()}{hazards[1:]}. " if hazards else ""
    html(signal_box(word, f"{lead}{' '.join(lines)} {who}".strip()))


def _place(desk: Desk, step: Step) -> str | None:
    """Where the answer belongs, None while nobody chose; a step for "some circuit" asks which one."""
    if ":" in step.place and not step.place.endswith(("*", "?")):
        return step.place
    spots = answer_places(desk.call.case.machine, step.place.split(":")[0])
    if len(spots) == 1:
        return spots[0][0]
    names = dict(spots)
    chosen = st.pills("Where?", list(names), format_func=names.__getitem__, key=desk.key("place", step.id))
    if st.session_state.pop("no-place", False) and chosen is None:
        html("<p class='echo bad' role='alert'>Nothing was stored. Choose where, then answer.</p>")
    return chosen


def _observe(desk: Desk, step: Step) -> None:
    place = _place(desk, step)
    if step.reads:
        values.answer_by_reading(desk, step, place or step.place)
        return
    sure = str(st.session_state.get(desk.key("sure", step.id)) or "sure")
    who = str(st.session_state.get(desk.key("who", step.id)) or "saw")
    with st.container(key="rows-answers"):
        for choice in step.answers:
            tapped = st.button(
                md(choice.text), key=desk.key("ans", step.id, place or "none", choice.id), width="stretch"
            )
            if tapped and place is None:
                st.session_state["no-place"] = True
                st.rerun()
            elif tapped:
                entry = {"check": step.id, "answer": choice.id, "place": place, "sure": sure, "who": who}
                keep(desk, f"{step.id}|{place}", entry)
    values.cannot_or_skip(desk, step, place or step.place)
    with st.expander("How sure, and who saw it"):
        st.pills(
            "How sure?",
            list(SURE),
            default="sure",
            format_func=SURE.__getitem__,
            key=desk.key("sure", step.id),
        )
        st.pills("Who saw it?", list(WHO), default="saw", format_func=WHO.__getitem__, key=desk.key("who", step.id))


def did_it(desk: Desk, action: str, cures: bool) -> None:
    """Rows for something that was done: did it cure?"""
    rows = {
        "cured": "I did it: cured",
        "better": "I did it: better, not gone",
        "not-cured": "I did it: not cured",
    }
    with st.container(key="rows-did"):
        for outcome, text in (rows if cures else {"": "Done"}).items():
            if st.button(text, key=desk.key("did", action, outcome or "done"), width="stretch"):
                keep(desk, f"did|{action}", {"action": action, "outcome": outcome})


def hand_over(desk: Desk, who: str) -> None:
    """The row that ends the call here."""
    with st.container(key="rows-over"):
        if st.button("Handed over: close this call", key=desk.key("over"), width="stretch"):
            close(desk, "handed-over", note=f"to {who_may(who)}")
