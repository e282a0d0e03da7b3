"""Machines and their calls: nameplate and curves, how the figures went from call to call, trouble that comes back, search,
and calls and readings taken out and in as files."""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import partial

import streamlit as st

from diagnose.case import Case
from diagnose.case_check import parse_case
from diagnose.history import picture_of, repeated, search_calls, trends
from diagnose.pictures.fluid import drop, pump
from diagnose.report import machine_rows
from diagnose.store import Call, Conflict, MachineRecord
from diagnose.store.records import OUTCOMES
from diagnose.store.transfer import call_as_data, readings_csv
from diagnose.work import prepare
from shared.errors import ChillerError
from ui import office, person, pictures, signin
from ui.opening import FIELDS, plate_fields
from ui.parts import announce, clock, drawer, html, md, name_field, say_later, say_now, t
from ui.placement import listing
from ui.taps import go, offer
from ui.worksheets import worksheet_row

ADDRESS = {"desk": "machines"}
MOST_FOUND = 20
LARGEST_MB = 2


def draw() -> None:
    """Draw what the address names: ?machine=ID one machine, else all of them."""
    name = st.query_params.get("machine", "")
    if name:
        _machine(name)
    else:
        _fleet()


def _head(title: str, above: str) -> None:
    html(f"<div data-screen='machines'><p class='kicker'>{t(above)}</p><h1>{t(title)}</h1></div>")
    say_now()


def _calls(machine_id: str = "") -> list[Call]:
    store = office.records()
    return [store.call(line.id) for line in store.calls(machine_id=machine_id)]


# all machines -----------------------------------------------------------------------------------------------------------


def _fleet() -> None:
    _head("Machines", "Chiller Diagnose")
    store = office.records()
    lines = store.calls()
    offer("All calls", "machines-home", go)
    typed = st.text_input("Find calls", key="machines-find", placeholder="words: machine, complaint, cause, note")
    if typed.strip():
        _found(typed)
    html("<h2>Fleet</h2>")
    with st.container(key="rows-machines"):
        for machine in store.machines():
            own = [line for line in lines if line.machine_id == machine.id]
            last = f"last call {clock(max(line.opened_at for line in own))}" if own else "no call yet"
            running = sum(1 for line in own if line.state == "open")
            parts = [f"{len(own)} calls" if len(own) != 1 else "1 call", f"{running} open" if running else "", last]
            label = f"**{md(_name(machine))}**  \n{md('; '.join(p for p in parts if p))}"
            offer(label, f"machine-{machine.id}", partial(go, **ADDRESS, machine=machine.id), width="stretch")
    if box := drawer("Bring in a call from a file", "machines-import"):
        with box:
            _bring_in()
    announce("machines", "Machines")


def _name(machine: MachineRecord) -> str:
    name = machine.card.name or machine.id
    return f"{name} (invented)" if machine.invented and "(invented)" not in name else name


def _found(typed: str) -> None:
    found = search_calls(_calls(), typed, office.knowledge())
    html(f"<p role='status'>{len(found) or 'No'} call{'s' if len(found) != 1 else ''} with these words</p>")
    _rows(found[:MOST_FOUND], "found")


def _rows(calls: Sequence[Call], key: str) -> None:
    with st.container(key=f"rows-{key}"):
        for call in calls:
            card = office.knowledge().complaints.get(call.line.complaint)
            ended = OUTCOMES.get(call.line.outcome, "open")
            what = f"{card.title if card else call.line.complaint}; {ended}; {clock(call.line.opened_at)}"
            label = f"**{md(call.line.machine)}**  \n{md(what)}"
            offer(label, f"{key}-{call.id}", partial(go, call=call.id), width="stretch")


def _bring_in() -> None:
    st.caption("A call file that another store gave out (JSON). What is here already stays as it is.")
    given = st.file_uploader("Call file", type=["json"], key="machines-file", max_upload_size=LARGEST_MB)
    if given is not None:
        offer("Take this call in", "machines-take", partial(_take, given.getvalue()), type="primary")


def _take(content: bytes) -> None:
    try:
        call_id, new = office.records().import_call(content, by=str(st.session_state.get("name") or ""))
    except ChillerError as error:
        say_later(error.line())
        go(**ADDRESS)
        return
    say_later(f"{new} new lines taken in" if new else "The call was here already; nothing new in the file")
    go(call=call_id)


# one machine ------------------------------------------------------------------------------------------------------------


def _machine(machine_id: str) -> None:
    try:
        machine = office.records().machine(machine_id)
    except ChillerError as error:
        _head("No such machine", "Machines")
        html(f"<p>{t(error.line())}</p>")
        offer("All machines", "machine-back", partial(go, **ADDRESS))
        return
    knowledge = office.knowledge()
    calls = sorted(_calls(machine_id), key=lambda c: c.line.opened_at, reverse=True)
    _head(_name(machine), "Machine")
    offer("All machines", "machine-back", partial(go, **ADDRESS))
    for again in repeated(calls, knowledge):
        html(f"<p class='again'><b>Trouble that came back:</b> {t(again.text)}</p>")
    html("<h2>Calls</h2>")
    _rows(calls, "machine-calls")
    if not calls:
        html("<p>No call yet.</p>")
    _placements(machine_id)
    if box := drawer("Figures from call to call", f"machine-trends-{machine_id}"):
        with box:
            _trends(calls)
    if box := drawer("Nameplate and curves", f"machine-card-{machine_id}"):
        with box:
            _card(machine)
    if box := drawer("Change the nameplate", f"machine-change-{machine_id}-{machine.version}"):
        with box:
            _change(machine)
    if box := drawer("Blank worksheet to print", f"machine-worksheet-{machine_id}"):
        with box:
            _worksheet(machine)
    if calls and (box := drawer("Take out as files", f"machine-files-{machine_id}")):
        with box:
            st.download_button(
                "All readings (CSV)", readings_csv(calls), f"readings-{machine_id}.csv", "text/csv", key="csv"
            )
            for call in calls:
                title = f"Call of {clock(call.line.opened_at)} (JSON)"
                data = json.dumps(call_as_data(call), ensure_ascii=False, indent=1)
                st.download_button(title, data, f"call-{call.id}.json", "application/json", key=f"json-{call.id}")
    announce(f"machine {machine_id}", _name(machine))


def _placements(machine_id: str) -> None:
    """Where this machine stands or stood, for whom the placements are open."""
    store = office.records()
    if not signin.opens(store.person, "placement"):
        return
    there = store.placements.placements(machine_id=machine_id)
    html("<h2>Placements</h2>" + ("" if there else "<p>No placement yet.</p>"))
    with st.container(key="rows-machine-placements"):
        for line in there:
            listing.row(line)


def _worksheet(machine: MachineRecord) -> None:
    """A blank page to print before somebody goes there: for a dead battery."""
    complaints = office.knowledge().complaints
    complaint = st.selectbox("For which trouble?", sorted(complaints, key=lambda c: complaints[c].title), index=None,
                             format_func=lambda c: complaints[c].title, placeholder="Choose",
                             key=f"machine-sheet-{machine.id}")  # fmt: skip
    if not complaint:
        return
    who = person.choose("machine-sheet", "technician")
    worksheet_row(complaint, machine.card, f"machine-sheet-{machine.id}-row", **who)


# of the card, what can be typed into a field; curves, circuits and healthy readings stay as they are
MORE = {
    "serial": "Serial number",
    "capacity": "Capacity",
    "altitude": "Altitude",
    "glycol_percent": "Glycol, percent",
    "pump_design_rise": "Pump pressure rise at design flow",
    "strainer_clean_drop": "Strainer drop when clean",
    "strainer_clean_flow": "Flow of that strainer drop",
    "compressor_plate_current": "Compressor plate current",
    "fan_plate_current": "Fan plate current",
    "low_pressure_cutout": "Low-pressure cut-out",
    "high_pressure_cutout": "High-pressure cut-out",
    "design_entering": "Design entering fluid",
    "loop_volume": "Loop volume",
}


def _change(machine: MachineRecord) -> None:
    """The card as it stands, in fields; kept as a new version."""
    card = machine.card.model_dump(mode="json", exclude_defaults=True)
    fields = {
        name: field for name, field in FIELDS.items() if name != "circuits" or not isinstance(card.get(name), dict)
    }
    fields |= {name: (label, "") for name, label in MORE.items()}
    st.caption("Calls keep the nameplate they were opened with; a new call takes this one.")
    key = f"plate-{machine.id}-{machine.version}"
    typed = plate_fields(key, fields, card)
    by = name_field()
    with st.container(key="rows-plate"):
        pressed = st.button("Keep this nameplate", key=f"{key}-keep", type="primary", width="stretch")
    if not pressed:
        return
    changed = {**{name: value for name, value in card.items() if name not in (*fields, "fluid")}, **typed}
    try:
        case = parse_case({"complaint": next(iter(office.knowledge().complaints)), "machine": changed})
        office.check_case(case)
        if case.machine == machine.card:
            html("<p class='echo' role='status'>Nothing was changed.</p>")
            return
        office.records().change_machine(machine.id, case.machine, key=key, after_version=machine.version, by=by)
    except Conflict as error:
        say_later(error.line())
        go(**ADDRESS, machine=machine.id)
    except ChillerError as error:
        lines = "".join(f"<p class='echo bad'>{t(line)}</p>" for line in error.line().splitlines())
        html(f"<div role='alert'><p class='echo bad'>Nothing was stored.</p>{lines}</div>")
    else:
        say_later("The nameplate was changed; calls so far keep theirs")
        go(**ADDRESS, machine=machine.id)


def _versions(machine_id: str) -> str:
    """When and by whom the card was changed, "" for one that never was."""
    later = office.records().machine_versions(machine_id)[1:]
    return "".join(f"<li>{t(clock(v.changed_at))}: changed by {t(v.changed_by)}</li>" for v in reversed(later))


def _trends(calls: Sequence[Call]) -> None:
    shown = 0
    for trend in trends(calls, office.knowledge()):
        drawn = picture_of(trend, metric=any(prepare(c.case, office.knowledge()).machine.metric for c in calls[:1]))
        if drawn is not None:
            pictures.show(drawn, f"machine-{drawn.name}")
            shown += 1
    if not shown:
        html("<p>Nothing to compare yet: a figure must have been read in two calls.</p>")


def _card(machine: MachineRecord) -> None:
    rows = "".join(f"<tr><th scope='row'>{t(k)}</th><td>{t(v)}</td></tr>" for k, v in machine_rows(machine.card))
    html(f"<table class='card'><tbody>{rows}</tbody></table>" if rows else "<p>No nameplate data given.</p>")
    if changes := _versions(machine.id):
        html(f"<h3>Changes of this nameplate</h3><ul>{changes}</ul>")
    case = Case(complaint=next(iter(office.knowledge().complaints)), machine=machine.card)
    work = prepare(case, office.knowledge())
    for drawn in (pump(work, card=True), drop(work, card=True)):
        if drawn is not None:
            pictures.show(drawn, f"machine-{drawn.name}")
