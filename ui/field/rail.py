"""The rail: what must be seen whatever is scrolled: stop, suspects, minutes; one tap takes back."""

from __future__ import annotations

import streamlit as st
from diagnose.phrases import early, entry_line, likely, minutes, suspect_title

from diagnose.store import Call, Event
from knowledge.load import Knowledge
from ui.field.acts import Desk, go, take_back
from ui.parts import clock, html, pegs, t

LEADING = 2


def draw(desk: Desk) -> None:
    """Draw the rail."""
    with st.container(key="rail"):
        html(_text(desk))
        with st.container(horizontal=True, gap="small", key="railtools"):
            if st.button("All calls", key="home"):
                go()
            last = desk.call.last_undoable()
            if st.button("Take back", key=desk.key("undo"), disabled=last is None or not desk.call.open):
                take_back(desk)
    receipt = receipt_text(desk.call, desk.knowledge)
    if receipt:
        html(f"<p class='receipt' role='status'>{t(receipt[0])}<strong>{t(receipt[1])}</strong></p>")


def _text(desk: Desk) -> str:
    advice, call = desk.advice, desk.call
    checks = "1 check" if advice.checks_done == 1 else f"{advice.checks_done} checks"
    spent = f"{minutes(advice.minutes_spent)} spent" if advice.minutes_spent else "no minutes spent"
    rows = [
        f"<div class='rail-head'><span>{t(call.line.machine)}</span><span>{t(checks)}, {t(spent)}</span></div>"
    ]
    if advice.stop is not None:
        rows.insert(0, f"<div class='rail-stop'>Stop. {t(advice.stop.reason)}</div>")
    thin = early(advice)
    for suspect in advice.suspects[:LEADING]:
        found = likely(suspect.probability)
        rows.append(
            f"<div class='rail-row'>{pegs(found, thin)}<span class='rail-name'>{t(suspect_title(suspect))}</span>"
            f"<span>{t(found.text)}</span></div>"
        )
    return "".join(rows)


def receipt_text(call: Call, knowledge: Knowledge) -> tuple[str, str] | None:
    """(what was stored and when, its content) of the last event, from the records; None for a call just opened."""
    if not call.events:
        return None
    last = call.events[-1]
    if last.kind == "undo":
        target = next(e for e in call.events if e.number == last.body["of"])
        return f"Taken back {clock(last.at)}", _content(call, target, knowledge)
    words = {
        "entry": f"Answer {call.answer_numbers.get(last.number, 0)} saved",
        "skip": "Put aside",
        "amend": "Changed",
        "close": "Call closed",
        "reopen": "Call open again",
    }
    return f"{words[last.kind]} {clock(last.at)}", _content(call, last, knowledge)


def _content(call: Call, event: Event, knowledge: Knowledge) -> str:
    if event.kind == "entry":
        return entry_line(call.entry_of(event), knowledge).text
    if event.kind == "skip":
        check = knowledge.checks.get(str(event.body["check"]))
        return check.title if check else str(event.body["check"])
    if event.kind == "amend":
        return "who is at the machine"
    return ""
