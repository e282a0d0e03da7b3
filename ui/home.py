"""The list of calls."""

from __future__ import annotations

from functools import partial

import streamlit as st

from diagnose.store import CallLine
from diagnose.store.records import OUTCOMES
from ui import office, signin
from ui.parts import announce, clock, drawer, html, md, say_now, t
from ui.taps import go, offer

OPEN_SHOWN, CLOSED_SHOWN = 60, 20  # the latest; older ones are found by their machine
# desks besides the field desk: address -> title, what it is for, desk that the sign-in must open
WAYS = {
    "placement": ("Placements", "a machine from receipt to return, step by step, with its report", "placement"),
    "telephone": ("Telephone desk", "walk somebody of the site through safe checks", "telephone"),
    "exercise": ("Training", "work an invented call on a simulated machine", "exercise"),
    "training": ("Trainer's desk", "classes, who is where, debriefs, own scenarios", "training"),
    "machines": ("Machines", "the fleet, its figures from call to call, search, files", "machines"),
    "rulebook": ("Rulebook", "what this tool knows: every cause, look and rule in sentences", "rulebook"),
}


def draw() -> None:
    """Draw the calls, and the ways to the other desks beside or below them."""
    # on a phone the other desks stand below a long list: this leads there
    html(
        "<div data-screen='home'><p class='kicker'>Chiller Diagnose</p><h1>Calls</h1></div>"
        "<p class='further'><a href='#other-desks'>Other desks</a></p>"
    )
    say_now()
    left, right = st.columns([12, 8], gap="large")
    with left:
        _calls()
    with right:
        html("<h2 id='other-desks'>Other desks</h2>")
        with st.container(key="rows-desks"):
            for name, (title, what, needs) in WAYS.items():
                if signin.opens(office.records().person, needs):
                    offer(f"**{title}**  \n{what}", f"desk-{name}", partial(go, desk=name), width="stretch")
    st.caption(f"Records: {md(office.records().address)}")
    announce("home", "List of calls")


def _calls() -> None:
    """A way to a new call, the open ones, the closed ones."""
    calls = office.records().calls("open", limit=OPEN_SHOWN)
    with st.container(key="rows-new"):
        offer("New call", "new-call", partial(go, new="1"), type="primary", width="stretch")
    html("<h2>Open</h2>" + ("" if calls else "<p>No open call.</p>"))
    with st.container(key="rows-calls"):
        for line in calls:
            _row(line)
    closed = drawer("Closed calls", "drawer-closed")
    if closed:
        with closed, st.container(key="rows-closed"):
            for line in office.records().calls("closed", limit=CLOSED_SHOWN):
                _row(line)


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
