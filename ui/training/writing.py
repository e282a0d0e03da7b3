"""Write a scenario in a form, or paste a card; it is kept when the checker has nothing against it."""

from __future__ import annotations

from functools import partial
from typing import Any

import streamlit as st

from diagnose.demo import fleet
from diagnose.phrases import QUALIFICATIONS, ROLES
from diagnose.training import keeping
from knowledge.scenarios import DIFFICULTIES, ENDS, TOPICS
from knowledge.yaml_text import YamlProblem, read_yaml
from shared.errors import ChillerError
from ui import office
from ui.parts import announce, drawer, html, say_later, say_now, t
from ui.taps import go, offer
from ui.training import words
from ui.training.words import TRAINER

FAULTS = 2
NONE = ""


def draw() -> None:
    """Draw the form."""
    knowledge = office.knowledge()
    words.heading("scenario-write", "Write a scenario", "Trainer's desk")
    offer("Classes", "tr-back", partial(go, desk=TRAINER))
    say_now()
    problems: list[str] = st.session_state.pop("tw-problems", [])
    if problems:
        lines = "".join(f"<li>{t(p)}</li>" for p in problems)
        html(f"<div role='alert'><p class='echo bad'>Nothing was kept. Correct this:</p><ul>{lines}</ul></div>")
    _text("Short name, small letters and hyphens", "id", "pump-trips-on-mondays")
    _text("Title, without giving it away", "title", "Pump trips on Mondays")
    complaint = {c.id: c.title for c in knowledge.complaints.values()}
    _pick("Complaint", "complaint", complaint)
    st.text_area("In the caller's words", key="tw-words", max_chars=2000)
    cards = fleet()
    _pick("Machine (invented)", "machine", {m: str(cards[m]["name"]) for m in cards})
    _text("Outdoor air", "air", "86 F")
    _text("Return fluid (empty: as designed)", "entering", "54 F")
    _pick("Who is at the machine", "role", {r: ROLES[r] for r in ("technician", "customer")})
    st.pills(
        "Qualified for",
        list(QUALIFICATIONS),
        selection_mode="multi",
        format_func=QUALIFICATIONS.__getitem__,
        key="tw-qualified",
    )
    html("<h2>What is wrong</h2>")
    causes = {NONE: "nothing", **{c.id: c.title for c in sorted(knowledge.causes.values(), key=lambda c: c.title)}}
    for n in range(FAULTS):
        _pick(f"Cause {n + 1}", f"cause-{n}", causes)
        _text(f"How bad, 0 to 1 (cause {n + 1})", f"severity-{n}", "0.8")
        _text(f"Where, if there are several (cause {n + 1})", f"place-{n}", "circuit:B")
    lies = {NONE: "none"} | {
        f"{i.id}|{lie.mode}": f"{i.title} {lie.title}" for i in knowledge.instruments.values() for lie in i.lies
    }
    _pick("Instrument that lies", "lie", lies)
    html("<h2>How it is used</h2>")
    _pick("How the call should end", "ends", ENDS)
    _pick("Difficulty", "difficulty", DIFFICULTIES)
    st.pills("Topics", list(TOPICS), selection_mode="multi", format_func=TOPICS.__getitem__, key="tw-topics")
    _text("Minutes allowed", "minutes", "60")
    st.text_area("What the debrief should point at, one a line", key="tw-points", max_chars=2000)
    with st.container(key="rows-keep"):
        offer("Check and keep it", "tw-keep", _keep_form, width="stretch", type="primary")
    box = drawer("Or paste a whole card", "tw-paste")
    if box:
        with box:
            st.text_area("Card as YAML", key="tw-card", max_chars=20000, height=240)
            with st.container(key="rows-paste"):
                offer("Check and keep the card", "tw-keep-card", _keep_card, width="stretch")
    announce("scenario-write", "Write a scenario")


def _text(label: str, name: str, example: str) -> None:
    st.text_input(label, key=f"tw-{name}", placeholder=f"such as {example}", max_chars=200, autocomplete="off")


def _pick(label: str, name: str, options: dict[str, Any]) -> None:
    st.selectbox(label, list(options), format_func=options.__getitem__, key=f"tw-{name}")


def _of(name: str) -> str:
    return str(st.session_state.get(f"tw-{name}") or "").strip()


def form_data() -> dict[str, Any]:
    """What the form says, as a card; empty fields are left out."""
    data: dict[str, Any] = {"invented": "yes"}
    for name in ("id", "title", "complaint", "words", "machine", "role", "ends", "difficulty", "minutes"):
        if _of(name):
            data[name] = _of(name)
    data["qualified"] = list(st.session_state.get("tw-qualified") or ()) if _of("role") == "technician" else []
    data["topics"] = list(st.session_state.get("tw-topics") or ())
    data["points"] = [line.strip() for line in _of("points").splitlines() if line.strip()]
    data["conditions"] = {name: _of(name) for name in ("air", "entering") if _of(name)}
    data["faults"] = [
        {"cause": _of(f"cause-{n}"), **{k: _of(f"{k}-{n}") for k in ("severity", "place") if _of(f"{k}-{n}")}}
        for n in range(FAULTS)
        if _of(f"cause-{n}")
    ]
    if _of("lie"):
        kind, _, mode = _of("lie").partition("|")
        data["lies"] = [{"instrument": kind, "mode": mode}]
    return data


def _keep_form() -> None:
    _keep(form_data())


def _keep_card() -> None:
    try:
        data, _ = read_yaml(_of("card"))
    except YamlProblem as error:
        st.session_state["tw-problems"] = [str(error)]
        return
    _keep(data if isinstance(data, dict) else {})


def _keep(data: dict[str, Any]) -> None:
    try:
        made = keeping.keep_scenario(
            office.records(), office.knowledge(), data, by=str(st.session_state.get("name") or "")
        )
    except ChillerError as error:
        st.session_state["tw-problems"] = error.line().splitlines()
        return
    say_later(f"Kept: {made.title}. It can be chosen for a class now.")
    go(desk=TRAINER)
