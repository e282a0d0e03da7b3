"""What stands around the step: all steps, what was done, who is here, notes and photos, report and end."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from functools import partial

import streamlit as st

from diagnose.phrases import QUALIFICATIONS
from diagnose.placement.keeping import calls_of
from diagnose.placement.page import answer_line, call_outcome, details, fact_words, placement_page
from diagnose.placement.plan import StepState
from knowledge.placement import STAGES
from shared.errors import ReadingError
from ui.parts import clock, facts, html, md, name_field, t
from ui.placement import photos
from ui.placement.acts import BAD, Desk, add, change, keep_note, stay
from ui.placement.listing import qualified
from ui.taps import go, offer

MARKS = {"done": "✓", "not-right": "!", "left": "–", "next": "○", "open": "○", "waits": "·"}
SAID = {
    "done": "done",
    "not-right": "not right",
    "left": "left out",
    "next": "to do",
    "open": "to do",
    "waits": "waits",
}


def strip(desk: Desk) -> str:
    """Progress over all stages, to be seen at a glance and read aloud."""
    rows = []
    for stage, title in STAGES.items():
        own = [s for s in desk.seen.steps if s.card.stage == stage and not s.card.again]
        if not own:
            continue
        done = sum(s.state in ("done", "left") for s in own)
        wrong = any(s.state == "not-right" for s in own)
        rows.append(
            f"<li><i style='width:{done / len(own):.0%}'></i><b aria-hidden='true'>{'!' if wrong else ''}</b>"
            f"<span class='seen'>{t(title)}: {done} of {len(own)}{', something is not right' if wrong else ''}</span></li>"
        )
    return f"<ol class='stages'>{''.join(rows)}</ol>"


def all_steps(desk: Desk) -> None:
    """Every step in order with how it stands; each can be opened."""
    html(facts(fact_words(desk.seen.facts)))
    for stage, title in STAGES.items():
        own = [s for s in desk.seen.steps if s.card.stage == stage]
        if not own:
            continue
        html(f"<h3>{t(title)}</h3>")
        with st.container(key=f"rows-stage-{stage}"):
            for one in own:
                offer(_label(desk, one), desk.key("step", one.card.id), partial(stay, desk, step=one.card.id),
                      width="stretch")  # fmt: skip


def _label(desk: Desk, one: StepState) -> str:
    said = SAID[one.state]
    if one.card.id in desk.in_trouble:
        said = "not right, trouble call open"
    elif one.state == "next" and not desk.may(one):
        said = f"for somebody qualified for {' and '.join(QUALIFICATIONS[q] for q in one.card.needs_qualified)}"
    elif one.last is not None:
        said = f"{said}, {one.last.by}"
    return f"{MARKS[one.state]} {md(one.card.title)}  \n{md(said)}"


def told(desk: Desk) -> None:
    """The record, the newest first; what was taken back stays in it, marked."""
    if not desk.now.record.events:
        html("<p>Nothing yet.</p>")
    for event in reversed(desk.now.record.events):
        if event.kind == "undo":
            continue
        gone = event.number in desk.now.record.undone
        more = "".join(f"<br>{t(line)}" for line in details(event))
        shots = len(event.body.get("photos", ()))
        shot = f"; {shots} photo{'s' if shots > 1 else ''}" if shots else ""
        html(
            f"<p class='log-line{' undone' if gone else ''}'><b>{t(clock(event.at))}</b> {t(answer_line(event, desk.knowledge))}"
            f"{more}<br><span class='rail-quiet'>{'taken back; ' if gone else ''}{t(event.by)}{shot}</span></p>"
        )


def calls(desk: Desk) -> None:
    """Trouble calls that came of this placement."""
    if not desk.now.troubles:
        html("<p>No trouble so far.</p>")
    with st.container(key="rows-came"):
        for trouble in desk.now.troubles:
            call = desk.calls.get(trouble.call)
            title = desk.knowledge.steps[trouble.step].title
            if call is None:
                html(f"<p>{t(title)}: a call of another team.</p>")
                continue
            said = f"{call_outcome(call, desk.knowledge)}; from: {title}"
            complaint = desk.knowledge.complaints[call.case.complaint].title
            offer(f"**{md(complaint)}**  \n{md(said)}", desk.key("came", trouble.call), partial(go, call=call.id),
                  width="stretch")  # fmt: skip


def who(desk: Desk) -> None:
    """Who is here: it decides which steps are shown how they are done."""
    name_field()
    now = desk.now.placement.qualified
    chosen = qualified(desk.key("who"), now)
    with st.container(key="rows-who"):
        if st.button("This is who is here now", key=desk.key("who-keep"), width="stretch") and set(chosen) != set(now):
            change(desk, {"qualified": chosen})
            st.rerun()


def note(desk: Desk) -> None:
    """Words and photos that belong to no step."""
    text = st.text_area("Something you saw or changed", key=desk.key("free-note"), max_chars=2000,
                        placeholder="In your own words")  # fmt: skip
    st.file_uploader("Photos", type=photos.KINDS, accept_multiple_files=True, key=desk.key("free-photo"),
                     max_upload_size=photos.LARGEST_MB)  # fmt: skip
    with st.container(key="rows-note"):
        offer("Keep this note", desk.key("note-keep"), partial(_keep, desk), width="stretch")
    if line := st.session_state.pop(f"{BAD}-note", ""):
        html(f"<p class='echo bad' role='alert'>Nothing was stored. {t(line)}</p>")
    _ = text


def _keep(desk: Desk) -> None:
    try:
        pictures = photos.held(desk.key("free-photo"))
    except ReadingError as error:
        st.session_state[f"{BAD}-note"] = error.line()
        return
    text = str(st.session_state.get(desk.key("free-note")) or "").strip()
    if not text and not pictures:
        st.session_state[f"{BAD}-note"] = "write something, or choose a photo"
        return
    keep_note(desk, text, pictures)


def report(desk: Desk) -> None:
    """The one report, the file for the command line, and the end."""
    day, short = f"{desk.now.record.line.opened_at:%Y%m%d}", desk.now.id[:6]
    st.download_button("Download the report", data=lambda: page(desk).encode(), file_name=f"placement-{day}-{short}.html",
                       mime="text/html", key=desk.key("report"), on_click="ignore", width="stretch")  # fmt: skip
    data = json.dumps(desk.now.placement.model_dump(mode="json", exclude_defaults=True) | {"format": 1}, indent=1)
    st.download_button("As a file for the terminal (no photos)", data=data.encode(), file_name=f"placement-{day}-{short}.json",
                       mime="application/json", key=desk.key("file"), on_click="ignore", width="stretch")  # fmt: skip
    with st.container(key="rows-end"):
        if desk.now.open:
            begin_return(desk, "begin-return")
            end(desk)
        else:
            offer("Open this placement again", desk.key("reopen"), partial(add, desk, "reopen", {}, "reopen"),
                  width="stretch")  # fmt: skip


def begin_return(desk: Desk, name: str) -> None:
    """The row that leads to the first step of the return, at any stage."""
    first = next(s.card.id for s in desk.seen.steps if s.card.stage == "return")
    offer("Begin the return of this machine", desk.key(name), partial(stay, desk, step=first), width="stretch")


def end(desk: Desk) -> None:
    """The row that ends the placement; it can be opened again."""
    offer("End this placement", desk.key("end"), partial(add, desk, "close", {}, "close"), width="stretch")


def page(desk: Desk) -> str:
    """The report as it stands."""
    return placement_page(
        desk.now,
        desk.knowledge,
        calls=calls_of(desk.store, desk.now),
        photos=desk.store.placements.photos(desk.now.id),
        made_at=datetime.now(UTC).isoformat(timespec="seconds"),
    )
