"""The one question of the screen: cautions first, then what to do and why, then the answers, full width."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import streamlit as st

from diagnose.advice import Step
from diagnose.choices import answer_places
from diagnose.doing import entries_of, one_place
from diagnose.phrases import hazard_words, minutes, needed_state, signal, who_may
from ui import drawings, timer
from ui.field import values
from ui.field.acts import Desk, close, keep, keep_all, skip
from ui.frame import shortcut
from ui.parts import drawer, facts, html, md, signal_box, t
from ui.taps import go, offer

STUCK = "If nothing changes within five seconds of a tap, load the page again: what was saved is safe."
SURE = {"sure": "Sure", "think-so": "Fairly sure", "guess": "A guess"}
WHO = {"saw": "Seen here", "customer-says": "Customer says"}
CHANGED = {"gone": "The trouble is gone", "moved": "The trouble moved along", "unchanged": "Unchanged"}
CANNOT_CHANGE = ("It cannot be changed here", "Skip for now")
USUAL = {"sure": "sure", "who": "saw"}


def heading(screen: str, title: str, kicker: str) -> None:
    """The heading that names the screen and takes the focus."""
    html(f"<div data-screen='{t(screen)}'><p class='kicker'>{t(kicker)}</p><h1>{t(title)}</h1></div>")


def screen_of(step: Step, number: int) -> str:
    """Name of a question's screen; that of a second look is another one, so that the focus moves to it too. number: of the question."""
    return f"{step.id} {step.place}" + (f" again {number}" if step.again else "")


def draw(desk: Desk, step: Step, waiting: int) -> None:
    """Draw a step of any kind."""
    state = needed_state(step.state)
    parts = [
        {
            "observe": "Look or measure",
            "repair": "Do this",
            "reconfigure": "Put back" if step.puts_back else "Change the set-up",
            "hand-over": "Hand over",
        }[step.kind],
        minutes(step.minutes) if step.minutes else "",
        f"machine: {state}" if state else "",
    ]
    screen = screen_of(step, len(desk.call.case.entries))
    heading(screen, step.title, ", ".join(part for part in parts if part))
    complaint = desk.knowledge.complaints.get(desk.call.case.complaint)
    if complaint and complaint.cautions and not desk.call.case.entries:
        html(signal_box(None, " ".join(complaint.cautions)))
    cautions(step)
    if step.again:  # whoever is asked twice wants to know at once why
        html(f"<p class='why'>{t(step.why)}</p>")
    html(f"<p class='ask'>{t(step.ask)}</p>")
    drawings.draw(step.id)
    if step.tools:
        html(facts([f"Bring: {', '.join(step.tools)}"]))
    card = desk.knowledge.checks.get(step.id)
    if card is not None and card.wait_minutes and desk.call.open:
        length = round(card.wait_minutes)
        started = partial(keep, desk, f"wait|{length}", timer.entry(desk.call, length))
        with st.container(key="rows-soft-wait"):
            offer(f"Start the timer: {minutes(length)}", desk.key("wait-step", step.id), started, width="stretch")
    if step.kind == "observe":
        _observe(desk, step)
    elif step.kind == "reconfigure":
        _changed(desk, step)
    elif step.kind == "hand-over":
        left_changed(desk)
        hand_over(desk, step.who)
    else:
        did_it(desk, ((step.id, one_place(step.place)),))
    if step.why and not step.again:
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


def place_of(desk: Desk, step: Step) -> str | None:
    """Draw the choice of a place where there is one; the place of the answer, None while nobody chose."""
    fixed = _only_place(desk, step)
    if fixed is not None:
        return fixed
    names = dict(_spots(desk, step))
    chosen = st.pills("Where?", list(names), format_func=names.__getitem__, key=desk.key("place", step.id))
    if st.session_state.pop("no-place", False) and chosen is None:
        html("<p class='echo bad' role='alert'>Nothing was stored. Choose where, then answer.</p>")
    return chosen


def _spots(desk: Desk, step: Step) -> tuple[tuple[str, str], ...]:
    return answer_places(desk.call.case.machine, step.place.split(":")[0])


def _only_place(desk: Desk, step: Step) -> str | None:
    """The one place an answer can belong to; None where somebody has to choose."""
    if ":" in step.place and not step.place.endswith(("*", "?")):
        return step.place
    spots = _spots(desk, step)
    return spots[0][0] if len(spots) == 1 else None


def answer(desk: Desk, step: Step, choice: str, usual: Mapping[str, str]) -> None:
    """Store an answer with the place, sureness and witness chosen on the screen. usual: what holds where nobody chose."""
    place = _only_place(desk, step) or st.session_state.get(desk.key("place", step.id))
    if place is None:
        st.session_state["no-place"] = True
        return
    more = {name: str(st.session_state.get(desk.key(name, step.id)) or word) for name, word in usual.items()}
    keep(desk, f"{step.id}|{place}", {"check": step.id, "answer": choice, "place": place, "again": step.again, **more})


def _observe(desk: Desk, step: Step) -> None:
    place = place_of(desk, step)
    if step.reads:
        values.answer_by_reading(desk, step, place or step.place)
        return
    with st.container(key="rows-answers"):
        for position, choice in enumerate(step.answers, start=1):
            offer(
                md(choice.text),
                desk.key("ans", step.id, place or "none", choice.id),
                partial(answer, desk, step, choice.id, USUAL),
                width="stretch",
                shortcut=shortcut(position),
            )
    values.cannot_or_skip(desk, step, place or step.place)
    box = drawer("How sure, and who saw it", desk.key("how-sure", step.id))
    if box:
        with box:
            how_sure(desk, step, "How sure?", SURE, "sure")
            how_sure(desk, step, "Who saw it?", WHO, "saw", name="who")


def _changed(desk: Desk, step: Step) -> None:
    """Rows for what came of a change of set-up, or for putting it back; stored as an action of the call."""
    place = place_of(desk, step)
    with st.container(key="rows-answers"):
        for position, choice in enumerate(step.answers, start=1):
            offer(
                md(f"{CHANGED[choice.id]}: {choice.text}" if choice.id in CHANGED else choice.text),
                desk.key("came", step.id, place or "none", choice.id),
                partial(_came, desk, step, choice.id),
                width="stretch",
                shortcut=shortcut(position),
            )
        if not step.puts_back:
            offer("Changed; cannot tell what came of it", desk.key("came", step.id, place or "none", "done"),
                  partial(_came, desk, step, ""), width="stretch")  # fmt: skip
    if step.puts_back:
        with st.container(key="rows-soft"):
            later = partial(skip, desk, step.id, step.place)
            offer("Skip for now", desk.key("skip", step.id, "back"), later, width="stretch")
    else:
        values.cannot_or_skip(desk, step, place or step.place, CANNOT_CHANGE)


def _came(desk: Desk, step: Step, outcome: str) -> None:
    """Store what came of a change, with the place chosen on the screen."""
    place = _only_place(desk, step) or st.session_state.get(desk.key("place", step.id))
    if place is None:
        st.session_state["no-place"] = True
        return
    keep(desk, f"{step.id}|{place}|{outcome}", {"action": step.id, "outcome": outcome, "place": place})


def left_changed(desk: Desk) -> None:
    """What is changed and not put back, before anything that ends the call."""
    rows = [f"{one.title}. {one.undo or 'Whoever takes over puts it back.'}" for one in desk.advice.left_changed]
    if rows:
        html(signal_box(None, f"Left changed: {' '.join(rows)}"))


def change_rows(desk: Desk) -> None:
    """Ways from a verdict to changing the set-up meanwhile, or to putting it back."""
    steps = [step for step in desk.advice.next if step.kind == "reconfigure"]
    if not steps:
        return
    with st.container(key="rows-changes"):
        for step in steps:
            way = partial(go, **desk.address, call=desk.call.id, step=f"{step.id}@{step.place}")
            title = step.title if step.puts_back else f"Until then: {step.title[0].lower()}{step.title[1:]}"
            offer(md(title), desk.key("change", step.id, step.place), way, width="stretch")


def how_sure(desk: Desk, step: Step, title: str, words: Mapping[str, str], usual: str, name: str = "sure") -> None:
    """Chips that qualify the answers of this screen; they hold until the next question, drawn or not."""
    st.pills(title, list(words), default=usual, format_func=words.__getitem__, key=desk.key(name, step.id),
             persist_state="page")  # fmt: skip


def did_it(desk: Desk, done: tuple[tuple[str, str], ...]) -> None:
    """Rows for remedies (id, place) that were done: did it cure?"""
    rows = {
        "cured": "I did it: cured",
        "better": "I did it: better, not gone",
        "not-cured": "I did it: not cured",
    }
    with st.container(key="rows-did"):
        for outcome, text in rows.items():
            entries = [e.model_dump(exclude_defaults=True) for e in entries_of(done, outcome)]
            key = desk.key("did", done[-1][0], outcome)
            offer(text, key, partial(keep_all, desk, f"did|{done[-1][0]}", entries), width="stretch")


def hand_over(desk: Desk, who: str) -> None:
    """The row that ends the call here."""
    with st.container(key="rows-over"):
        done = partial(close, desk, "handed-over", note=f"to {who_may(who)}")
        offer("Handed over: close this call", desk.key("over"), done, width="stretch")
