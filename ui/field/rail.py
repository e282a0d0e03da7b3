"""The rail: what must be seen whatever is scrolled: stop, suspects, minutes; one tap takes back."""

from __future__ import annotations

from functools import partial

import streamlit as st

from diagnose.phrases import QUALIFICATIONS, early, entry_line, likely, minutes, suspect_title
from diagnose.store import Call, Event
from knowledge.load import Knowledge
from ui import office, person, timer
from ui.field.acts import Desk, take_back
from ui.parts import clock, html, pegs, t
from ui.taps import go, offer

LEADING = 2
# the words that stop a call, as people say them; what each stop asks for stands on its card
STOP_SIGNS = "smoke, burnt smell, tingle, hiss, ice, wet panel"


def draw(desk: Desk) -> None:
    """Draw the rail."""
    with st.container(key="rail"):
        if desk.advice.stop is not None:
            html(f"<div class='rail-stop'>Stop. {t(desk.advice.stop.reason)}</div>")
        with st.container(horizontal=True, wrap=False, gap="small", vertical_alignment="center", key="railtools"):
            offer("Calls", "home", go)
            html(_head(desk))
            last = desk.call.last_undoable()
            none = last is None or not desk.call.open
            offer("Take back", desk.key("undo"), partial(take_back, desk), disabled=none)
        html(_suspects(desk) + stop_conditions(desk.knowledge))
        wait = timer.running(desk.call, office.now())
        if wait is not None:
            timer.draw(wait, f"wait-{desk.call.id}-{wait.number}")


def receipt(desk: Desk) -> None:
    """Draw what was stored last, from the records: it is the proof that the tap arrived."""
    found = receipt_text(desk.call, desk.knowledge)
    if found:
        html(f"<p class='receipt' role='status'>{t(found[0])}<strong>{t(found[1])}</strong></p>")


def _count(number: int, one: str) -> str:
    return f"{number} {one}" if number == 1 else f"{number} {one}s"


def _head(desk: Desk) -> str:
    entries = desk.call.case.entries
    checks, readings = (sum(1 for e in entries if getattr(e, kind)) for kind in ("check", "quantity"))
    spent = minutes(desk.advice.minutes_spent) if desk.advice.minutes_spent else "0 min"
    done = ", ".join([_count(checks, "check"), *([_count(readings, "reading")] if readings else []), spent])
    return f"<div class='rail-head'><b>{t(desk.call.line.machine)}</b><span>{t(done)}</span></div>"


def _suspects(desk: Desk) -> str:
    thin = early(desk.advice)
    rows = []
    for suspect in desk.advice.suspects[:LEADING]:
        found = likely(suspect.probability)
        rows.append(
            f"<div class='rail-row'><span class='rail-name'>{t(suspect_title(suspect))}</span>"
            f"<span class='rail-word'>{t(found.text)}</span>{pegs(found, thin)}</div>"
        )
    return f"<div class='rail-rows'>{''.join(rows)}</div>" if rows else ""


def stop_conditions(knowledge: Knowledge) -> str:
    """What ends the work at once, always within a tap: the stops of the cards."""
    rules = [r for r in knowledge.rules.values() if r.kind == "stop"]
    rows = "".join(f"<li><b>{t(r.title)}.</b> {t(r.then.make_safe)}</li>" for r in rules)
    return f"<details class='rail-conditions'><summary>Stop if: {t(STOP_SIGNS)}</summary><ul tabindex='0' aria-label='What ends the work at once'>{rows}</ul></details>"


def receipt_text(call: Call, knowledge: Knowledge) -> tuple[str, str] | None:
    """(what was stored and when, its content) of the last event, from the records; None for a call just opened."""
    if not call.events:
        return None
    last = call.events[-1]
    if last.kind == "undo":
        target = next(e for e in call.events if e.number == last.body["of"])
        return f"Taken back {clock(last.at)}", event_line(call, target, knowledge)
    words = {
        "entry": f"Answer {call.answer_numbers.get(last.number, 0)} saved",
        "skip": "Put aside",
        "amend": "Changed",
        "close": "Call closed",
        "reopen": "Call open again",
    }
    content = event_line(call, last, knowledge)
    return f"{words[last.kind]} {clock(last.at)}", content[:1].upper() + content[1:]


def event_line(call: Call, event: Event, knowledge: Knowledge) -> str:
    """What one event of a call says, "" where its kind says it all."""
    if event.kind == "entry":
        return entry_line(call.entry_of(event), knowledge).text
    if event.kind == "skip":
        check = knowledge.checks.get(str(event.body["check"]))
        return check.title if check else str(event.body["check"])
    if event.kind == "amend":
        body = event.body
        if "role" in body or "qualified" in body:
            has = [QUALIFICATIONS.get(q, q) for q in body.get("qualified", ())]
            able = f", qualified for {' and '.join(has)}" if has else ""
            return f"at the machine now: {person.ROLES.get(str(body.get('role', '')), 'the same person')}{able}"
        return "what is known of the call"
    return ""
