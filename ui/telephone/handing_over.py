"""Handing a call over: what to read out, who goes on, everything known; the call itself goes on, it is not copied."""

from __future__ import annotations

from functools import partial
from typing import Any

import streamlit as st

from diagnose.phrases import QUALIFICATIONS, complaint_title, entry_line, likely, suspect_title
from diagnose.phrases import ROLES as HAND_TO
from shared.errors import ChillerError
from ui.field import acts
from ui.field.acts import Desk
from ui.field.question import heading
from ui.parts import announce, html, say_later, say_now, t
from ui.taps import go, offer
from ui.telephone import aloud

SUSPECTS = 3


def draw(desk: Desk, language: str) -> None:
    """Draw the handing over of a call."""
    stop, verdict = desk.advice.stop, desk.advice.verdict
    to = stop.hand_over_to if stop is not None else verdict.who if verdict is not None else "technician"
    heading("hand-over", "Hand this call over", desk.call.line.machine)
    say_now()
    with st.container(horizontal=True, gap="small", key="backrow"):
        offer("Back to the call", desk.key("over-back"), partial(go, **desk.address, call=desk.call.id))
    left, right = st.columns([11, 9], gap="large")
    with left:
        html("<h2>Read this out</h2>")
        aloud.review(language)
        aloud.phrase("stop" if stop else "hand-over", language, "halt" if stop else "")
        if stop is not None:
            aloud.make_safe(stop.rule, stop.make_safe, language)
        aloud.phrase("where", language)
        html(f"<p class='ask'>Needed: <b>{t(HAND_TO.get(to, to))}</b>.</p>")
        if desk.call.open:
            _to_technician(desk)
            _closing(desk, HAND_TO.get(to, to))
    with right:
        html(known(desk))
    announce(f"{desk.call.id} over", "Hand this call over")


def _to_technician(desk: Desk) -> None:
    html("<h2>A technician goes on with it</h2>")
    name = st.text_input("Technician's name", key=desk.key("over-name"), max_chars=100, autocomplete="off",
                         persist_state="page")  # fmt: skip
    html(
        "<p class='drawing-says'>Only what they are qualified for themselves, as they tell you. An offer of somebody of the "
        "site to do it is no qualification.</p>"
    )
    qualified = [q for q, text in QUALIFICATIONS.items()
                 if st.checkbox(f"Qualified for {text}", key=desk.key("over", q), persist_state="page")]  # fmt: skip
    with st.container(key="rows-over-technician"):
        pressed = st.button("They are at the machine: go on at the field desk", key=desk.key("over-go"), type="primary",
                            width="stretch")  # fmt: skip
    if pressed and not (name or "").strip():
        html("<p class='echo bad' role='alert'>Nothing was stored. Type the technician's name.</p>")
    elif pressed:
        _hand_on(desk, (name or "").strip(), qualified)


def _hand_on(desk: Desk, name: str, qualified: list[str]) -> None:
    """Who is at the machine now, and to whom the call went: two events, then the field desk."""
    changes: dict[str, Any] = {"role": "technician", "qualified": qualified}
    revision = desk.call.revision
    try:
        receipt = desk.store.amend(desk.call.id, changes, key=f"{revision}|over", after_revision=revision, by=desk.by)
        note = {"note": f"Handed over by telephone to {name}."}
        desk.store.append(desk.call.id, note, key=f"{revision}|over-note", after_revision=receipt.revision, by=desk.by)
    except ChillerError as error:
        say_later(error.line())
        go(**desk.address, call=desk.call.id)
        return
    go(call=desk.call.id)


def _closing(desk: Desk, to: str) -> None:
    html("<h2>Nobody can go on with it now</h2>")
    with st.container(key="rows-over-close"):
        done = partial(acts.close, desk, "handed-over", note=f"to {to}, by telephone")
        offer(f"Close it: handed over to {to}", desk.key("over-close"), done, width="stretch")


def known(desk: Desk) -> str:
    """Everything known of the call, to be told or read on."""
    case, advice = desk.call.case, desk.advice
    told = [entry_line(e, desk.knowledge) for e in case.entries]
    lines = "".join(
        f"<li>{t(line.text)}{t(' (' + '; '.join(line.remarks) + ')' if line.remarks else '')}</li>" for line in told
    )
    suspects = "".join(
        f"<li>{t(suspect_title(s))}: {t(likely(s.probability).text)}</li>" for s in advice.suspects[:SUSPECTS]
    )
    stop = f"<p><b>Stop:</b> {t(advice.stop.reason)} {t(advice.stop.make_safe)}</p>" if advice.stop else ""
    machine = ", ".join(p for p in (case.machine.name, case.machine.refrigerant, case.machine.capacity) if p)
    return (
        f"<h2>What is known</h2><p><b>{t(machine or 'Machine not named')}</b><br>{t(complaint_title(case, desk.knowledge))}</p>"
        f"<p>{t(case.words)}</p>{stop}<ul>{lines}</ul><p><b>Leading:</b></p><ul>{suspects}</ul>"
    )
