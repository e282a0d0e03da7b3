"""Placements there are, and a new one: the machine, then who is there and what is known of the place."""

from __future__ import annotations

import secrets
from functools import partial
from typing import Any

import streamlit as st

from diagnose.case import Machine
from diagnose.machine import read_machine
from diagnose.phrases import QUALIFICATIONS
from diagnose.placement.keeping import Kept, kept, open_placement
from diagnose.placement.page import fact_words
from diagnose.placement.plan import outlook
from diagnose.placement.record import Placement, PlacementError
from diagnose.store.placements import PlacementLine
from shared.errors import ChillerError
from ui import office, opening
from ui.parts import announce, clock, drawer, html, md, name_field, say_now, t
from ui.placement.acts import DESK
from ui.placement.step import heading
from ui.taps import go, offer

OPEN_SHOWN, ENDED_SHOWN = 30, 20
OTHER = "other"


def draw() -> None:
    """Draw the list, or the screens of a new placement: ?new=1, then &machine=ID."""
    if st.query_params.get("new"):
        machine = st.query_params.get("machine", "")
        _person(machine) if machine else _machine()
    else:
        _list()


def _list() -> None:
    heading("placements", "Placements", "Receipt to return")
    say_now()
    with st.container(horizontal=True, gap="small", key="backrow"):
        offer("Calls", "home", go)
    with st.container(key="rows-new"):
        offer("New placement", "new-placement", partial(go, desk=DESK, new="1"), type="primary", width="stretch")
    store = office.records()
    there = store.placements.placements("open", limit=OPEN_SHOWN)
    html("<h2>Running</h2>" + ("" if there else "<p>No placement is running.</p>"))
    with st.container(key="rows-placements"):
        for line in there:
            row(line)
    if box := drawer("Ended placements", "drawer-ended"):
        with box, st.container(key="rows-ended"):
            for line in store.placements.placements("closed", limit=ENDED_SHOWN):
                row(line)
    announce("placements", "Placements")


def row(line: PlacementLine) -> None:
    """A row that leads to a placement, with how far it is."""
    try:
        said = _standing(kept(office.records(), line.id))
    except PlacementError:
        said = "cannot be read"
    offer(f"**{md(line.name)}**  \n{md(f'{said}; last entry {clock(line.last_at)}')}", f"open-{line.id}",
          partial(go, desk=DESK, placement=line.id), width="stretch")  # fmt: skip


def _standing(now: Kept) -> str:
    seen = outlook(now.placement, office.knowledge())
    counted = [s for s in seen.steps if not s.card.again]
    done = sum(s.state == "done" for s in counted)
    facts = [f for f in fact_words(seen.facts) if f.split()[0] in ("Loop", "Power", "Pump", "Cooling")]
    return f"{done} of {len(counted)} steps; {', '.join(facts).capitalize()}"


def _back(**more: str) -> None:
    with st.container(horizontal=True, gap="small", key="backrow"):
        offer("Placements", "placements", partial(go, desk=DESK))
        if more:
            offer("Back", "new-back", partial(go, desk=DESK, **more))


def _machine() -> None:
    heading("new-placement-machine", "Which machine?", "New placement, 1 of 2")
    _back()
    with st.container(key="rows-machines"):
        for machine in office.records().machines():
            facts = ", ".join(p for p in (machine.card.capacity, machine.card.refrigerant) if p)
            offer(f"**{md(machine.card.name)}**  \n{md(facts)}", f"new-m-{machine.id}",
                  partial(go, desk=DESK, new="1", machine=machine.id), width="stretch")  # fmt: skip
    with st.container(key="rows-soft-machines"):
        offer("Another machine: type its nameplate", "new-m-other", partial(go, desk=DESK, new="1", machine=OTHER),
              width="stretch")  # fmt: skip
    announce("new-placement-machine", "Which machine?")


def _person(machine: str) -> None:
    heading("new-placement", "Where, and who is there?", "New placement, 2 of 2")
    _back(new="1")
    known = {m.id: m for m in office.records().machines()}
    card: dict[str, Any] = {}
    if machine in known:
        card = known[machine].card.model_dump(mode="json", exclude_defaults=True)
        html(f"<p class='ask'><b>{t(known[machine].card.name)}</b></p>")
    name = st.text_input("Name of this placement", key="new-p-name", placeholder="site and machine, as people call it",
                         max_chars=200, autocomplete="off")  # fmt: skip
    by = name_field()
    has = qualified("new-p", ())
    if machine not in known:
        card = opening.nameplate()
    html("<h2>What is known about the place?</h2>")
    context = [
        c.id
        for c in office.knowledge().contexts.values()
        if c.id not in ("first-start", "running-site") and st.checkbox(md(c.title), key=f"new-p-x-{c.id}")
    ]
    with st.container(key="rows-new"):
        pressed = st.button("Begin the placement", key="new-p-open", type="primary", width="stretch")
    if pressed:
        _open({"name": name or "", "machine": card, "qualified": has, "context": context}, machine, by)
    announce("new-placement", "Where, and who is there?")


def qualified(key: str, now: tuple[str, ...]) -> list[str]:
    """Draw what whoever is here is qualified for; as chosen."""
    html("<p class='drawing-says'>How a step is done is shown only to people who are qualified for it.</p>")
    return [q for q, text in QUALIFICATIONS.items()
            if st.checkbox(f"Qualified for {text}", value=q in now, key=f"{key}-q-{q}")]  # fmt: skip


def _open(header: dict[str, Any], machine: str, by: str) -> None:
    once = st.session_state.setdefault("new-p-key", secrets.token_urlsafe(16))
    store = office.records()
    known = {m.id: m for m in store.machines()}
    try:
        card = Machine.model_validate(header["machine"])
        if problems := read_machine(card).problems:
            raise PlacementError("the machine card does not hold together", list(problems))
        placement = Placement.model_validate({**header, "name": header["name"] or card.name or "Placement"})
        found = open_placement(store, placement, by=by, key=once, machine_id=machine if machine in known else "",
                               invented=machine in known and known[machine].invented)  # fmt: skip
    except (ChillerError, ValueError) as error:
        lines = error.line().splitlines() if isinstance(error, ChillerError) else [str(error)]
        html(
            "<div role='alert'><p class='echo bad'>Nothing was opened.</p>"
            + "".join(f"<p class='echo bad'>{t(line)}</p>" for line in lines)
            + "</div>"
        )
        return
    st.session_state.pop("new-p-key", None)
    go(desk=DESK, placement=found)
