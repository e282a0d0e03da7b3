"""Who stands at the machine: it decides which steps may be offered, so it can be changed in mid-call, as an event of the call."""

from __future__ import annotations

from typing import Any

import streamlit as st

from diagnose.phrases import QUALIFICATIONS
from ui.parts import html

ROLES = {"technician": "A technician", "customer": "Somebody of the site"}


def choose(key: str, role: str, qualified: tuple[str, ...] = ()) -> dict[str, Any]:
    """Draw the choice; {"role": ..., "qualified": [...]} as chosen. Somebody of the site is qualified for nothing here."""
    usual = role if role in ROLES else "customer"
    chosen = st.pills("Who looks and measures there?", list(ROLES), default=usual, format_func=ROLES.__getitem__,
                      key=f"{key}-role") or usual  # fmt: skip
    html("<p class='drawing-says'>Steps that need a qualification are offered only to people who have it.</p>")
    if chosen != "technician":
        return {"role": chosen, "qualified": []}
    has = [q for q, text in QUALIFICATIONS.items()
           if st.checkbox(f"Qualified for {text}", value=q in qualified, key=f"{key}-q-{q}")]  # fmt: skip
    return {"role": chosen, "qualified": has}


def changes(case_role: str, case_qualified: tuple[str, ...], chosen: dict[str, Any]) -> dict[str, Any]:
    """What is to be changed in the call; {} when it stands so already."""
    same = chosen["role"] == case_role and set(chosen["qualified"]) == set(case_qualified)
    return {} if same else chosen
