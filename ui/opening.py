"""A new call in three screens: the machine, what is wrong, who stands there. The address remembers the choices."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from functools import partial
from typing import Any

import streamlit as st

from diagnose.match import match
from knowledge.load import Knowledge
from shared.errors import ChillerError
from ui import office, person, taps
from ui.parts import announce, html, md, name_field, t
from ui.taps import offer

OTHER, NONE = "other", "none"
SEARCH_FROM = 10  # machines; fewer are seen at a glance
MATCHES = 60
# what is asked of a machine that is not in the list; every field may stay empty
FIELDS = {
    "name": ("Name or number", "Unit 7"),
    "refrigerant": ("Refrigerant", "R-410A"),
    "voltage": ("Voltage", "460 V"),
    "frequency": ("Frequency", "60 Hz"),
    "circuits": ("Refrigerant circuits", "2"),
    "design_flow": ("Design flow", "150 gpm"),
    "design_drop": ("Evaporator pressure drop at design flow", "5 psi"),
    "pump_shutoff_rise": ("Pump pressure rise at no flow", "40 psi"),
    "pump_plate_current": ("Pump plate current", "9 A"),
    "set_point": ("Set point", "44 F"),
}


def _desk() -> dict[str, str]:
    """The desk the call is opened for, as the address has it."""
    desk = st.query_params.get("desk", "")
    return {"desk": desk} if desk else {}


def go(**params: str) -> None:
    """Show another screen of the same desk."""
    taps.go(**_desk(), **params)


def draw() -> None:
    """Draw the screen that the address asks for."""
    machine, complaint = st.query_params.get("machine", ""), st.query_params.get("complaint", "")
    known = {m.id for m in office.records().machines()} | {OTHER, NONE}
    if machine not in known:
        _choose_machine()
    elif complaint not in office.knowledge().complaints:
        _choose_complaint(machine)
    else:
        _person(machine, complaint)


def _head(screen: str, title: str, step: int) -> None:
    html(f"<div data-screen='{t(screen)}'><p class='kicker'>New call, {step} of 3</p><h1>{t(title)}</h1></div>")
    with st.container(horizontal=True, gap="small", key="backrow"):
        offer("Calls", "home", go)
        if step > 1:
            machine = {"machine": st.query_params["machine"]} if step == 3 else {}
            offer("Back", f"new-back-{step}", partial(go, new="1", **machine))
    announce(screen, title)


def _choose_machine() -> None:
    _head("new-machine", "Which machine?", 1)
    fleet = office.records().machines()
    if len(fleet) > SEARCH_FROM:
        wanted = (st.text_input("Find", key="new-find", autocomplete="off") or "").lower()
        fleet = tuple(m for m in fleet if wanted in f"{m.card.name} {m.card.serial}".lower())
    with st.container(key="rows-machines"):
        for machine in fleet:
            facts = ", ".join(p for p in (machine.card.capacity, machine.card.refrigerant) if p)
            label = f"**{md(machine.card.name)}**  \n{md(facts)}"
            offer(label, f"new-m-{machine.id}", partial(go, new="1", machine=machine.id), width="stretch")
    with st.container(key="rows-soft-machines"):
        other, none = (partial(go, new="1", machine=which) for which in (OTHER, NONE))
        offer("Another machine: type its nameplate", "new-m-other", other, width="stretch")
        offer("Nothing is known of the machine", "new-m-none", none, width="stretch")


def _choose_complaint(machine: str) -> None:
    _head("new-complaint", "What is wrong?", 2)
    knowledge = office.knowledge()
    words = _words()
    for found in _ranked(words, knowledge):
        card = knowledge.complaints[found]
        with st.container(key=f"rows-complaint-{found}"):
            label = f"**{md(card.title)}**  \n{md(card.plain)}"
            if st.button(label, key=f"new-c-{found}", width="stretch"):
                go(new="1", machine=machine, complaint=found)


def _words() -> str:
    """The field for the first words; kept from screen to screen."""
    words = st.text_area(
        "In the words of whoever called",
        value=st.session_state.get("first-words", ""),
        key="new-words",
        max_chars=4000,
        placeholder="word for word; what fits best moves to the top",
    )
    st.session_state["first-words"] = words or ""
    return words or ""


def _ranked(words: str, knowledge: Knowledge) -> list[str]:
    """All complaints, those that share words with what was said first."""
    near = [m.id for m in match(words, knowledge, MATCHES) if m.kind == "complaint"] if words.strip() else []
    return list(dict.fromkeys([*near, *sorted(knowledge.complaints, key=lambda c: knowledge.complaints[c].title)]))


def _person(machine: str, complaint: str) -> None:
    _head("new-person", "Who is at the machine?", 3)
    knowledge = office.knowledge()
    html(f"<p class='ask'><b>{t(knowledge.complaints[complaint].title)}</b></p>")
    who = person.choose("new", "customer" if _desk() else "technician")
    by = name_field()
    _words()
    card: dict[str, Any] = {}
    if machine == OTHER:
        card = nameplate()
    elif machine != NONE:
        card = office.records().machine(machine).card.model_dump(mode="json", exclude_defaults=True)
    html("<h2>What is known about the place?</h2>")
    context = [c.id for c in knowledge.contexts.values() if st.checkbox(md(c.title), key=f"new-x-{c.id}")]
    with st.container(key="rows-new"):
        pressed = st.button("Open the call", key="new-open", type="primary", width="stretch")
    if pressed:
        header: dict[str, Any] = {
            "complaint": complaint,
            "words": st.session_state.get("first-words", ""),
            **who,
            "context": context,
            "machine": card,
        }
        _open(header, "" if machine in (OTHER, NONE) else machine, by)


def nameplate() -> dict[str, Any]:
    """Draw the fields of a machine that is not in the list; its card as typed."""
    html("<h2>Nameplate, as far as it can be read</h2>")
    return plate_fields("new-n", FIELDS)


def plate_fields(
    key: str, fields: Mapping[str, tuple[str, str]], card: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Draw fields of a machine's card; what stands in them, empty ones left out. fields: name -> what it is, an example; card:
    what stands there at first.
    """
    known = card or {}
    typed = {
        name: st.text_input(label, value=str(known.get(name, "")), key=f"{key}-{name}", autocomplete="off", max_chars=200,
                            placeholder=f"such as {example}" if example else None)
        for name, (label, example) in fields.items()
    }  # fmt: skip
    fluids = {"water": "Water", "propylene-glycol": "Propylene glycol", "ethylene-glycol": "Ethylene glycol"}
    fluid = st.pills(
        "Fluid", list(fluids), default=known.get("fluid"), format_func=fluids.__getitem__, key=f"{key}-fluid"
    )
    found: dict[str, Any] = {name: text.strip() for name, text in typed.items() if text and text.strip()}
    return {**found, **({"fluid": fluid} if fluid else {})}


def _open(header: dict[str, Any], machine_id: str, by: str) -> None:
    # one form opens one call, however often its button is tapped
    once = st.session_state.setdefault("new-key", secrets.token_urlsafe(16))
    try:
        call = office.records().open_call(header, by=by, key=once, machine_id=machine_id)
    except ChillerError as error:
        lines = "".join(f"<p class='echo bad'>{t(line)}</p>" for line in error.line().splitlines())
        html(f"<div role='alert'><p class='echo bad'>Nothing was opened.</p>{lines}</div>")
        return
    for name in ("new-key", "first-words"):
        st.session_state.pop(name, None)
    go(call=call)
