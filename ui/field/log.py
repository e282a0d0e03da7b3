"""What was told, with a way to take each back; notes; who is at the machine; the report; closing."""

from __future__ import annotations

from datetime import UTC, datetime
from functools import partial
from typing import get_args

import streamlit as st

from diagnose.phrases import complaint_title, entry_line, minutes
from diagnose.report import html_report
from diagnose.store import Call, Outcome, closing_of
from diagnose.store.records import OUTCOMES
from diagnose.telephone import heard_case
from ui import office, person, timer
from ui.field import closing
from ui.field.acts import Desk, amend, close, keep, reopen, take_back
from ui.field.question import left_changed
from ui.parts import clock, html, md, name_field, t
from ui.taps import offer
from ui.worksheets import worksheet_row

TIMERS = (1, 3, 5, 10, 15)  # minutes


def told(desk: Desk) -> None:
    """The record of the call, the newest first."""
    call = desk.call
    html(f"<p><b>{t(complaint_title(call.case, desk.knowledge))}</b></p><p>{t(call.case.words)}</p>")
    if not call.events:
        html("<p>Nothing yet.</p>")
        return
    for event in reversed(call.events):
        if event.kind != "entry":
            continue
        line = entry_line(call.entry_of(event), desk.knowledge)
        gone = event.number in call.undone
        remarks = "; ".join((*line.remarks, event.by))
        html(
            f"<p class='log-line{' undone' if gone else ''}'><b>{t(clock(event.at))}</b> {t(line.text)}"
            f"<br><span class='rail-quiet'>{t('taken back; ' if gone else '')}{t(remarks)}</span></p>"
        )
        if not gone and call.open:
            number = call.answer_numbers[event.number]
            offer(f"Take back answer {number}", desk.key("back", event.number), partial(take_back, desk, event.number))


def note(desk: Desk) -> None:
    """Words kept as they are; searched for danger, never weighed."""
    text = st.text_area(
        "Something you saw, heard or changed",
        key=desk.key("note"),
        placeholder="In your own words",
        max_chars=4000,
    )
    with st.container(key="rows-note"):
        if st.button("Keep this note", key=desk.key("note-keep"), width="stretch") and text and text.strip():
            keep(desk, "note", {"note": text.strip()})


def wait(desk: Desk, usual: int = 0) -> None:
    """Rows that start a timer. usual: minutes that the step itself asks for, on top."""
    with st.container(key="rows-wait"):
        for length in dict.fromkeys([*([usual] if usual else []), *TIMERS]):
            started = partial(keep, desk, f"wait|{length}", timer.entry(desk.call, length))
            offer(f"{minutes(length)}, from now", desk.key("wait", length), started, width="stretch")


def who(desk: Desk) -> None:
    """Who is at the machine: it decides which steps may be offered."""
    case = desk.call.case
    name_field()
    chosen = person.choose(desk.key("who"), case.role, case.qualified)
    wanted = person.changes(case.role, case.qualified, chosen)
    with st.container(key="rows-who"):
        if st.button("This is who is there now", key=desk.key("who-keep"), width="stretch") and wanted:
            amend(desk, wanted)


def report(desk: Desk) -> None:
    """The report to take along, and closing."""
    st.download_button(
        "Download the report",
        data=lambda: report_html(desk.call).encode(),
        file_name=f"call-{desk.call.line.opened_at:%Y%m%d}-{desk.call.id[:6]}.html",
        mime="text/html",
        key=desk.key("report"),
        on_click="ignore",
        width="stretch",
    )
    if desk.call.open:
        case = heard_case(desk.call.case) if desk.address.get("desk") == "telephone" else desk.call.case
        worksheet_row(case.complaint, case.machine, desk.key("worksheet"), case.role, case.qualified)
    if not desk.call.open:
        offer("Open this call again", desk.key("reopen"), partial(reopen, desk), width="stretch")
        return
    left_changed(desk)
    outcome = st.selectbox(
        "How did it end?",
        get_args(Outcome),
        index=None,
        format_func=lambda o: OUTCOMES[o].capitalize(),
        placeholder="Choose",
        key=desk.key("outcome"),
    )
    told = None
    if outcome:
        closing.ask(desk, outcome)
        told = closing.told(desk, outcome)
    words = st.text_input("A last word", key=desk.key("last-word"), placeholder="optional", autocomplete="off")
    pressed = st.button(md("Close this call"), key=desk.key("close"), width="stretch", disabled=told is None)
    if pressed and outcome and told is not None:
        close(desk, outcome, words or "", **told)


def report_html(call: Call) -> str:
    """The report with the advice after every entry."""
    case = call.case
    steps = [
        office.advise_prefix(call, count) for count in range(1, len(case.entries) + 1)
    ] or [office.advice_of(call)]  # fmt: skip
    undone = [
        (
            call.entry_of(e),
            next(u.at for u in call.events if u.kind == "undo" and u.body["of"] == e.number).isoformat(),
        )
        for e in call.events
        if e.kind == "entry" and e.number in call.undone
    ]
    closed = closing_of(call)
    return html_report(
        case,
        steps,
        office.knowledge(),
        made_at=datetime.now(UTC).isoformat(timespec="seconds"),
        outcome=OUTCOMES.get(call.line.outcome, ""),
        outcome_note=" ".join(x for x in (closing.ended(closed, office.knowledge()), closed.note) if x)
        if closed
        else "",
        undone=undone,
        people=call.roles,
        invented=call.line.invented,
    )
