"""The blank worksheet as a file to print, wherever a kind of call and a person are known."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st

from diagnose.case import Machine
from diagnose.places import topology_of
from diagnose.worksheet import MOST_CIRCUITS, worksheet
from shared.errors import ChillerError
from ui import office

USUAL_CIRCUITS = 2


def circuits_of(machine: Machine) -> int:
    """Columns for circuit readings: as many as the machine has, where its card says so."""
    try:
        known = len(topology_of(machine).circuits)
    except ChillerError:
        known = 0
    return min(known or USUAL_CIRCUITS, MOST_CIRCUITS)


def page(complaint: str, machine: Machine, role: str, qualified: Sequence[str]) -> bytes:
    """The page; whoever is no technician gets what somebody of the site may do."""
    trained = role == "technician"
    return worksheet(
        office.knowledge(),
        complaint,
        role="technician" if trained else "customer",
        qualified=qualified if trained else (),
        machine=machine,
        circuits=circuits_of(machine),
    ).encode()


def worksheet_row(complaint: str, machine: Machine, key: str, role: str, qualified: Sequence[str]) -> None:
    """The row that saves the page. It offers only what this person may do."""
    st.download_button("Blank worksheet to print, for a dead battery", data=partial(page, complaint, machine, role, qualified),
                       file_name=f"worksheet-{complaint}.html", mime="text/html", key=key, on_click="ignore",
                       width="stretch")  # fmt: skip
