"""The trainer's side: open a class, see who is where, read each debrief, write a scenario."""

from __future__ import annotations

from functools import partial

import streamlit as st

from diagnose.training import keeping
from diagnose.training.keeping import Assignment
from diagnose.training.overview import Line, as_csv, line_of
from diagnose.training.session import MODES
from diagnose.training.text import brief_text, spoiler_text
from knowledge.scenarios import DIFFICULTIES, TOPICS
from shared.errors import ChillerError
from ui import office
from ui.parts import announce, drawer, html, md, name_field, say_later, say_now, t
from ui.taps import go, offer
from ui.training import after, words, writing
from ui.training.words import ANY, TRAINER

HERE = partial(go, desk=TRAINER)
REFRESH = "5s"


def draw() -> None:
    """Draw what the address names: a class, one of its debriefs, the writing of a scenario, else the list of classes."""
    code, train = st.query_params.get("class", ""), st.query_params.get("train", "")
    if code and train:
        after.draw(_of_class(code, train), partial(HERE, **{"class": code}))
    elif code:
        _board(code)
    elif st.query_params.get("write"):
        writing.draw()
    else:
        _classes()


def _of_class(code: str, train: str) -> keeping.Kept:
    """A session of a class this trainer may see; an address of another's gives nothing."""
    return next((k for k in keeping.of_class(office.records(), code) if k.id == train), None) or keeping.kept(
        office.records(), "none"
    )


def _classes() -> None:
    words.heading("trainer", "Classes", "Trainer's desk")
    offer("Calls", "home", go)
    say_now()
    records = office.records()
    with st.container(key="rows-classes"):
        for one in records.training.classes():
            label = f"**{md(one.title)}**  \ncode {md(one.code)}"
            offer(label, f"tr-class-{one.code}", partial(HERE, **{"class": one.code}), width="stretch")
    html("<h2>Open a class</h2>")
    by = name_field()
    st.text_input("Title", key="tr-title", max_chars=100, placeholder="Monday group", autocomplete="off")
    scenarios = keeping.all_scenarios(records, office.knowledge())
    titles = {ANY: "drawn for each trainee by difficulty and topic", **{s.id: s.title for s in scenarios.values()}}
    chosen = st.selectbox("Exercise", list(titles), format_func=titles.__getitem__, key="tr-scenario")
    if chosen:
        box = drawer("What is in it, for the trainer's eyes", "tr-inside")
        if box:
            with box:
                one = scenarios[chosen]
                lines = f"{brief_text(one, office.knowledge())}\n{spoiler_text(one, office.knowledge())}".splitlines()
                html("".join(f"<p class='log-line'>{t(line)}</p>" for line in lines if line))
    st.selectbox("Difficulty", [ANY, *DIFFICULTIES], format_func=words.difficulty_word, key="tr-difficulty")
    st.selectbox("Topic", [ANY, *TOPICS], format_func=words.topic_word, key="tr-topic")
    st.pills("How", list(MODES), default="exam", format_func=str.capitalize, key="tr-mode")
    with st.container(key="rows-open"):
        offer("Open the class", "tr-open", partial(_open, by), width="stretch", type="primary")
        offer("Write a scenario", "tr-write", partial(HERE, write="1"), width="stretch")
    announce("trainer", "Classes")


def _open(by: str) -> None:
    state = st.session_state
    given = Assignment(
        scenario=state.get("tr-scenario") or "",
        difficulty=state.get("tr-difficulty") or "",
        topic=state.get("tr-topic") or "",
        mode=state.get("tr-mode") or "exam",
    )
    try:
        title = str(state.get("tr-title") or "")
        code = keeping.open_class(office.records(), title, given, by=str(state.get("by") or by))
    except ChillerError as error:
        say_later(error.line())
        return
    HERE(**{"class": code})


def _board(code: str) -> None:
    group = office.records().training.one_class(code)
    words.heading("class", group.title, "Class")
    html(f"<p class='say'>Code: {t(group.code)}</p>")
    given = Assignment.model_validate(group.body)
    scenario = keeping.all_scenarios(office.records(), office.knowledge()).get(given.scenario)
    work = (
        scenario.title
        if scenario
        else f"drawn: {words.difficulty_word(given.difficulty)}, {words.topic_word(given.topic)}"
    )
    html(f"<p>{t(work)}; {t(given.mode)} mode. Trainees open Training and type the code.</p>")
    _who_is_where(group.code)
    lines = _lines(group.code)
    with st.container(key="rows-debriefs"):
        for one in lines:
            label = f"**{md(one.trainee)}**  \n{md(one.state)}: debrief"
            act = partial(HERE, **{"class": group.code}, train=one.id)
            offer(label, f"tr-debrief-{one.id}", act, width="stretch")
    st.download_button("Overview as CSV", as_csv(lines), f"class-{group.code}.csv", "text/csv", key="tr-csv")
    offer("All classes", "tr-classes", HERE)
    announce(f"class {group.code}", group.title)


def _lines(code: str) -> list[Line]:
    return [line_of(k.session, office.knowledge(), k.id) for k in keeping.of_class(office.records(), code)]


@st.fragment(run_every=REFRESH)
def _who_is_where(code: str) -> None:
    """The board of a class, drawn again every few seconds."""
    rows = "".join(
        f"<tr><td><b>{t(one.trainee)}</b></td><td>{t(one.scenario)}</td><td>{t(one.state)}</td>"
        f"<td>{one.minutes:.0f} of {one.allowed:.0f} min</td><td>{one.looks}</td><td>{one.safety_marks}</td>"
        f"<td>{t(one.named)}</td><td>{one.score if one.state == 'finished' else ''}</td></tr>"
        for one in _lines(code)
    )
    head = "".join(
        f"<th scope='col'>{h}</th>"
        for h in ("trainee", "exercise", "state", "minutes", "looks", "marks", "named", "score")
    )
    table = f"<table class='log'><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
    html(
        f"<div class='board' role='region' aria-label='Who is where' tabindex='0'>{table}</div>"
        if rows
        else "<p>Nobody has joined yet.</p>"
    )
