"""The board: every open call with its state and its minutes; one tap goes into it, nothing is lost by leaving another."""

from __future__ import annotations

from datetime import datetime
from functools import partial

import streamlit as st

from diagnose.phrases import minutes
from diagnose.store import Call, digest_of
from diagnose.telephone import heard_case, stuck
from ui import office, timer
from ui.parts import announce, html, md, say_now
from ui.taps import go, offer

MOST = 20  # rows with their state worked out; the rest of the open calls stands on the list of all calls


def draw() -> None:
    """Draw the board."""
    html("<div data-screen='board'><p class='kicker'>Telephone desk</p><h1>Calls on the line</h1></div>")
    say_now()
    with st.container(horizontal=True, gap="small", key="backrow"):
        offer("All calls", "home", go)
        offer("Refresh", "board-again", partial(go, desk="telephone"))
    with st.container(key="rows-new"):
        offer("New call", "new-call", partial(go, desk="telephone", new="1"), type="primary", width="stretch")
    now = office.now()
    calls = [office.records().call(line.id) for line in office.records().calls("open", limit=MOST)]
    heard = [call for call in calls if call.case.role != "technician"]
    seen = [call for call in calls if call.case.role == "technician"]
    html(f"<h2>With somebody of the site</h2>{'' if heard else '<p>None.</p>'}")
    with st.container(key="rows-heard"):
        for call in heard:
            _row(call, now, desk="telephone")
    html(f"<h2>With a technician at the machine</h2>{'' if seen else '<p>None.</p>'}")
    with st.container(key="rows-seen"):
        for call in seen:
            _row(call, now)
    announce("board", "Calls on the line")


def _row(call: Call, now: datetime, **address: str) -> None:
    card = office.knowledge().complaints.get(call.case.complaint)
    parts = [card.title if card else call.case.complaint, state(call, now)]
    label = f"**{md(call.line.machine)}**  \n{md('; '.join(parts))}  \n{md(since(call, now))}"
    offer(label, f"open-{call.id}", partial(go, **address, call=call.id), width="stretch")


def since(call: Call, now: datetime) -> str:
    """How long a call has been open and quiet, in words."""
    open_for = minutes((now - call.line.opened_at).total_seconds() / 60)
    quiet_for = minutes((now - call.line.last_at).total_seconds() / 60)
    return f"open {open_for}, last entry {quiet_for} ago"


def state(call: Call, now: datetime) -> str:
    """What a call is doing, in a few words; the most pressing first."""
    if call.case.role == "technician":
        return "at the field desk"
    heard = heard_case(call.case)
    advice = office.advice_for(heard, digest_of(heard))
    if advice.stop is not None:
        return f"STOP: hand over to {advice.stop.hand_over_to.replace('-', ' ')}"
    wait = timer.running(call, now)
    if wait is not None:
        return f"waiting, {minutes(wait.left_s / 60)} left" if wait.left_s else "the wait is over"
    why = stuck(call, now, timer.ends(call, now))
    if why:
        return f"hand over: {why}"
    if advice.verdict is not None:
        return "to be handed over" if advice.verdict.kind == "hand-over" else "a cause is named"
    return "asking"


def others(current: Call, now: datetime) -> None:
    """The other open telephone calls as chips, so that one tap changes over."""
    lines = [line for line in office.records().calls("open", limit=MOST) if line.id != current.id]
    calls = [call for call in (office.records().call(line.id) for line in lines) if call.case.role != "technician"]
    if not calls:
        return
    with st.container(horizontal=True, gap="small", key="chips"):
        html("<span class='chips-title'>Also on the line:</span>")
        for call in calls[:3]:
            quiet = minutes((now - call.line.last_at).total_seconds() / 60)
            offer(md(f"{call.line.machine}, {quiet}"), f"chip-{call.id}", partial(go, desk="telephone", call=call.id))
