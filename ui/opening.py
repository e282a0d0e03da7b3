"""A new call: the machine, what is wrong in plain words, who stands at the machine."""

from __future__ import annotations

import secrets
from typing import Any

import streamlit as st
from diagnose.phrases import QUALIFICATIONS

from diagnose.store import MachineRecord
from shared.errors import ChillerError
from ui import office
from ui.field.acts import go
from ui.parts import announce, html, md, t

OTHER = "Another machine"
# what is asked of a machine that is not in the list; every field may stay empty
FIELDS = {
    "name": ("Name or number", "Unit 7"),
    "refrigerant": ("Refrigerant", "R-410A"),
    "voltage": ("Voltage", "460 V"),
    "frequency": ("Frequency", "60 Hz"),
    "circuits": ("Refrigerant circuits", "2"),
    "design_flow": ("Design flow", "96 gpm"),
    "design_drop": ("Evaporator pressure drop at design flow", "6.5 psi"),
    "pump_shutoff_rise": ("Pump pressure rise at no flow", "48 psi"),
    "pump_plate_current": ("Pump plate current", "7.6 A"),
    "set_point": ("Set point", "44 F"),
}


def draw() -> None:
    """Draw the form and open the call."""
    html("<div data-screen='new'><p class='kicker'>Chiller Diagnose</p><h1>New call</h1></div>")
    if st.button("All calls", key="home"):
        go()
    knowledge = office.knowledge()
    machine_id, card = _machine()
    html("<h2>What is wrong?</h2>")
    complaint = st.radio(
        "What is wrong?",
        list(knowledge.complaints),
        format_func=lambda c: md(knowledge.complaints[c].title),
        captions=[md(c.plain) for c in knowledge.complaints.values()],
        index=None,
        key="new-complaint",
        label_visibility="collapsed",
    )
    words = st.text_area("In the words of whoever called", key="new-words", max_chars=4000,
                         placeholder="What was said, word for word")  # fmt: skip
    html("<h2>Who is at the machine?</h2>")
    by = st.text_input("Your name, for the record", key="by", placeholder="as it shall stand in the report")
    role = st.radio("Who looks and measures there?", ["technician", "customer"], key="new-role",
                    format_func={"technician": "A technician", "customer": "Somebody of the site"}.__getitem__)  # fmt: skip
    st.caption("Steps that need a qualification are only offered to people who have it.")
    qualified = [
        q for q, text in QUALIFICATIONS.items() if st.checkbox(f"Qualified for {text}", key=f"new-q-{q}")
    ]  # fmt: skip
    html("<h2>What is known about the place?</h2>")
    context = [
        c.id for c in knowledge.contexts.values() if st.checkbox(md(c.title), key=f"new-c-{c.id}")
    ]  # fmt: skip
    with st.container(key="rows-new"):
        pressed = st.button("Open the call", key="new-open", type="primary", width="stretch")
    if pressed:
        header: dict[str, Any] = {"complaint": complaint, "words": words or "", "role": role, "context": context,
                                  "qualified": qualified if role == "technician" else [], "machine": card}  # fmt: skip
        _open(header, machine_id, by or "")
    announce("new", "New call")


def _machine() -> tuple[str, dict[str, Any]]:
    """(id in the fleet or "", card) of the machine chosen or typed."""
    fleet: dict[str, MachineRecord] = {m.id: m for m in office.records().machines()}
    html("<h2>Which machine?</h2>")
    chosen = st.selectbox(
        "Which machine?",
        [*fleet, OTHER],
        index=None,
        format_func=lambda m: fleet[m].card.name if m in fleet else m,
        placeholder="Choose or type a few letters",
        key="new-machine",
        label_visibility="collapsed",
    )
    if chosen in fleet:
        return chosen, fleet[chosen].card.model_dump(mode="json", exclude_defaults=True)
    if chosen is None:
        return "", {}
    typed = {
        name: st.text_input(label, key=f"new-m-{name}", placeholder=f"such as {example}", autocomplete="off")
        for name, (label, example) in FIELDS.items()
    }
    fluid = st.radio("Fluid", ["water", "propylene-glycol", "ethylene-glycol"], key="new-m-fluid",
                     format_func=lambda f: f.replace("-", " ").capitalize())  # fmt: skip
    card: dict[str, Any] = {name: text.strip() for name, text in typed.items() if text and text.strip()}
    return "", {**card, "fluid": fluid}


def _open(header: dict[str, Any], machine_id: str, by: str) -> None:
    if not header["complaint"]:
        html("<p class='echo bad' role='alert'>Nothing was opened. Choose what is wrong.</p>")
        return
    # one form opens one call, however often its button is tapped
    once = st.session_state.setdefault("new-key", secrets.token_urlsafe(16))
    try:
        call = office.records().open_call(header, by=by, key=once, machine_id=machine_id)
    except ChillerError as error:
        lines = "".join(f"<p class='echo bad'>{t(line)}</p>" for line in error.line().splitlines())
        html(f"<div role='alert'><p class='echo bad'>Nothing was opened.</p>{lines}</div>")
        return
    st.session_state.pop("new-key")
    go(call=call)
