"""The list of calls."""

from __future__ import annotations

from functools import partial

import streamlit as st

from diagnose.store import CallLine
from diagnose.store.records import OUTCOMES
from ui import office, signin
from ui.parts import announce, clock, html, md, say_now, t
from ui.taps import go, offer

CLOSED_SHOWN = 20
# desks besides the field desk: address -> title, what it is for, desk that the sign-in must open
WAYS = {
    "telephone": ("Telephone desk", "walk somebody of the site through safe checks", "telephone"),
    "exercise": ("Training", "work an invented call on a simulated machine", "exercise"),
    "training": ("Trainer's desk", "classes, who is where, debriefs, own scenarios", "training"),
    "machines": ("Machines", "the fleet, its figures from call to call, search, files", "machines"),
    "rulebook": ("Rulebook", "what this tool knows: every cause, look and rule in sentences", "keeping"),
}


def draw() -> None:
    """Draw the list: open calls, a way to a new one, closed calls."""
    html("<div data-screen='home'><p class='kicker'>Chiller Diagnose</p><h1>Calls</h1></div>")
    say_now()
    calls = office.records().calls("open")
    with st.container(key="rows-new"):
        offer("New call", "new-call", partial(go, new="1"), type="primary", width="stretch")
    with st.container(key="rows-desks"):
        for name, (title, what, needs) in WAYS.items():
            if signin.opens(office.records().person, needs):
                offer(f"**{title}**  \n{what}", f"desk-{name}", partial(go, desk=name), width="stretch")
    html("<h2>Open</h2>")
    with st.container(key="rows-calls"):
        for line in calls:
            _row(line)
    if not calls:
        html("<p>No open call.</p>")
    with st.expander("Closed calls"), st.container(key="rows-closed"):
        for line in office.records().calls("closed", limit=CLOSED_SHOWN):
            _row(line)
    st.caption(f"Records: {md(office.records().address)}")
    announce("home", "List of calls")


def _row(line: CallLine) -> None:
    card = office.knowledge().complaints.get(line.complaint)
    outcome = OUTCOMES.get(line.outcome, "")
    parts = [card.title if card else line.complaint, outcome, f"last entry {clock(line.last_at)}"]
    label = f"**{md(line.machine)}**  \n{md('; '.join(p for p in parts if p))}"
    offer(label, f"open-{line.id}", partial(go, call=line.id), width="stretch")


def not_there(problem: str) -> None:
    """What is shown for an address with no call behind it."""
    html(
        f"<div data-screen='none'><p class='kicker'>Chiller Diagnose</p><h1>No such call</h1><p>{t(problem)}</p></div>"
    )
    offer("All calls", "home", go)
