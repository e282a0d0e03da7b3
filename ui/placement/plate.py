"""The machine as its plate says, and which pump moves the fluid here: typed in when it is read, or changed for this stay.

The fleet's own card stays as it is; figures and steps of this placement follow what stands here.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import streamlit as st
from pydantic import ValidationError

from diagnose.case import Machine
from diagnose.machine import read_machine
from ui.parts import html, t
from ui.placement.acts import BAD, Desk, change
from ui.taps import offer

# what steps and figures of a placement ask of the plate: field -> what it is, an example
FIELDS = {
    "refrigerant": ("Refrigerant", "R-410A"),
    "circuits": ("Refrigerant circuits", "2"),
    "capacity": ("Capacity", "25 tons"),
    "voltage": ("Voltage", "460 V"),
    "frequency": ("Frequency", "60 Hz"),
    "glycol_percent": ("Glycol in the loop now", "30 %"),
    "design_flow": ("Design flow", "150 gpm"),
    "design_drop": ("Evaporator pressure drop at design flow", "5 psi"),
    "set_point": ("Set point", "44 F"),
    "low_points": ("Drains and low points, with semicolons between", "pump casing plug; strainer; plate outlet"),
    "loop_volume": ("Fluid volume of the loop", "500 gal"),
}
CHOICES: dict[str, tuple[str, dict[str, str]]] = {
    "pump_in_use": ("Which pump moves the fluid?", {"onboard": "The machine's own", "site": "The site's"}),
    "fluid": (
        "Fluid",
        {"water": "Water", "propylene-glycol": "Propylene glycol", "ethylene-glycol": "Ethylene glycol"},
    ),
}


def draw(desk: Desk) -> None:
    """Draw the fields, filled with what is known."""
    card = desk.now.placement.machine
    for name, (title, words) in CHOICES.items():
        st.pills(title, list(words), default=getattr(card, name), format_func=words.__getitem__, key=_key(desk, name))
    for name, (title, example) in FIELDS.items():
        if name == "circuits" and isinstance(card.circuits, dict):
            continue  # told part by part: nothing is taken away from that
        st.text_input(title, value=str(getattr(card, name) or ""), key=_key(desk, name), placeholder=f"such as {example}",
                      autocomplete="off")  # fmt: skip
    if line := st.session_state.pop(f"{BAD}-plate", ""):
        html(f"<p class='echo bad' role='alert'>Nothing was stored. {t(line)}</p>")
    with st.container(key="rows-plate"):
        offer("This is the machine here", desk.key("plate-keep"), partial(_keep, desk), width="stretch")


def _key(desk: Desk, name: str) -> str:
    return desk.key("plate", name)


def _keep(desk: Desk) -> None:
    card: dict[str, Any] = desk.now.placement.machine.model_dump(mode="json", exclude_defaults=True)
    for name in (*FIELDS, *CHOICES):
        if _key(desk, name) not in st.session_state:
            continue
        told = str(st.session_state[_key(desk, name)] or "").strip()
        if told:
            card[name] = told
        else:
            card.pop(name, None)
    try:
        made = Machine.model_validate(card)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        st.session_state[f"{BAD}-plate"] = f"{'.'.join(str(p) for p in first['loc'])}: {first['msg']}"
        return
    if problems := read_machine(made).problems:
        st.session_state[f"{BAD}-plate"] = problems[0]
        return
    if made != desk.now.placement.machine:
        change(desk, {"machine": made.model_dump(mode="json", exclude_defaults=True)})
