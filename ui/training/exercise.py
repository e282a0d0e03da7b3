"""The trainee's side: join a class or pick an exercise, then choose looks, see what they give, try remedies, name the cause."""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from functools import partial

import streamlit as st

from diagnose.match import match
from diagnose.phrases import hazard_words, likely, minutes, needed_state, signal, who_may
from diagnose.places import spell
from diagnose.store import digest_of
from diagnose.training import keeping
from diagnose.training.draw import draw_scenario, fitting
from diagnose.training.keeping import Kept
from diagnose.training.session import MODES, attempt, look, name_cause, offers, start
from knowledge.models import Check
from knowledge.scenarios import DIFFICULTIES, ENDS, TOPICS, Ends
from shared.errors import ChillerError
from ui import office
from ui.parts import announce, drawer, facts, html, md, name_field, pegs, say_later, say_now, signal_box, t
from ui.taps import go, offer
from ui.training import after, words
from ui.training.words import ANY, TRAINEE

SYSTEMS = {
    "safety": "Safety questions",
    "fluid": "Fluid loop",
    "pump": "Pump",
    "supply": "Power supply",
    "control": "Control and screen",
    "low-side": "Low side of the refrigerant circuit",
    "high-side": "High side and condenser air",
    "compressor": "Compressors",
    "application": "Site and how it was measured",
    "normal": "What may be normal",
}
FOUND = 8
HERE = partial(go, desk=TRAINEE)


def draw() -> None:
    """Draw what the address names: ?train=ID an exercise, else the choice of one. Raises StoreError when there is none."""
    train = st.query_params.get("train", "")
    if not train:
        _lobby()
        return
    kept = keeping.kept(office.records(), train)
    if kept.session.named is not None:
        after.draw(kept, partial(HERE))
    elif st.query_params.get("check", "") in office.knowledge().checks:
        _one_check(kept, office.knowledge().checks[st.query_params["check"]])
    elif st.query_params.get("remedy"):
        _one_remedy(kept, st.query_params["remedy"])
    elif st.query_params.get("name") or kept.session.late:
        _naming(kept)
    else:
        _work(kept)


# choosing an exercise -------------------------------------------------------------------------------------------------------


def _lobby() -> None:
    words.heading("exercise-choose", "Training", "Invented calls on a simulated machine")
    offer("Calls", "home", go)
    say_now()
    name = name_field()
    html("<h2>Join a class</h2>")
    st.text_input("Code from your trainer", key="tr-code", max_chars=12, autocomplete="off")
    with st.container(key="rows-join"):
        offer("Join", "tr-join", partial(_join, name), width="stretch", type="primary")
    html("<h2>Or practise alone</h2>")
    difficulty = _choice("Difficulty", "tr-difficulty", [ANY, *DIFFICULTIES], words.difficulty_word)
    topic = _choice("Topic", "tr-topic", [ANY, *TOPICS], words.topic_word)
    mode = st.pills("How", list(MODES), default="guided", format_func=str.capitalize, key="tr-mode") or "guided"
    html(f"<p class='why'>{t(MODES[mode][0].upper() + MODES[mode][1:])}.</p>")
    with st.container(key="rows-draw"):
        offer("Draw one for me", "tr-draw", partial(_begin, "", name), width="stretch")
    found = fitting(keeping.all_scenarios(office.records(), office.knowledge()), difficulty, topic)
    html(f"<h2>Or pick one of {len(found)}</h2>")
    with st.container(key="rows-pick"):
        for one in found:
            label = f"**{md(one.title)}**  \n{md(words.difficulty_word(one.difficulty))}, {md(', '.join(map(words.topic_word, one.topics)))}"
            offer(label, f"tr-pick-{one.id}", partial(_begin, one.id, name), width="stretch")
    announce("exercise-choose", "Training")


def _choice(label: str, key: str, options: list[str], word: object) -> str:
    return str(st.selectbox(label, options, format_func=word, key=key) or ANY)  # type: ignore[arg-type]


def _once() -> str:
    """A key that stands for this form, however often its row is tapped."""
    return str(st.session_state.setdefault("tr-once", secrets.token_urlsafe(16)))


def _name(name: str) -> str:
    return str(st.session_state.get("by") or name or "")


def _join(name: str) -> None:
    code = str(st.session_state.get("tr-code") or "")
    try:
        train = keeping.join(
            office.records(), office.knowledge(), code, _name(name), key=f"{_once()}|{code.strip().upper()}"
        )
    except ChillerError as error:
        say_later(error.line())
        return
    st.session_state.pop("tr-once", None)
    HERE(train=train)


def _begin(scenario_id: str, name: str) -> None:
    records, knowledge = office.records(), office.knowledge()
    scenarios = keeping.all_scenarios(records, knowledge)
    seed = secrets.randbelow(9999) + 1
    mode = st.session_state.get("tr-mode") or "guided"
    try:
        chosen = scenarios.get(scenario_id) or draw_scenario(
            scenarios, seed, st.session_state.get("tr-difficulty") or "", st.session_state.get("tr-topic") or ""
        )
        session = start(chosen, seed, mode, _name(name))
        train = keeping.begin(records, session, key=f"{_once()}|{scenario_id}")
    except ChillerError as error:
        say_later(error.line())
        return
    st.session_state.pop("tr-once", None)
    HERE(train=train)


# at work ---------------------------------------------------------------------------------------------------------------------


def _key(kept: Kept, *parts: str) -> str:
    return "-".join(("tr", kept.id, str(kept.revision), *parts))


def _top(kept: Kept) -> None:
    with st.container(key="rail"):
        words.bar(kept.session)


def _work(kept: Kept) -> None:
    knowledge, session = office.knowledge(), kept.session
    _top(kept)
    left, right = st.columns([11, 9], gap="large")
    with left:
        words.receipt(kept)
        say_now()
        words.heading(
            f"exercise-{kept.revision}",
            "What do you look at next?",
            f"Exercise, invented. {session.mode.capitalize()} mode",
        )
        if not session.happenings:
            words.told_first(session.scenario, knowledge)
        if session.mode == "guided":
            _proposals(kept)
        wanted = (
            st.text_input("Find a check", key=_key(kept, "find"), placeholder="in your own words", autocomplete="off")
            or ""
        )
        if wanted.strip():
            _rows(kept, _found(wanted))
        with st.container(key="rows-end"):
            offer("Try a remedy", _key(kept, "remedies"), partial(HERE, train=kept.id, remedy="find"), width="stretch")
            naming = partial(HERE, train=kept.id, name="1")
            offer("Name the cause and end", _key(kept, "to-name"), naming, width="stretch", type="primary")
        html("<h2>All checks</h2>")
        for system, title in SYSTEMS.items():
            box = drawer(title, _key(kept, "system", system))
            if box:
                with box:
                    _rows(kept, (c for c in knowledge.checks.values() if c.system == system), system)
    with right:
        if session.mode == "guided":
            _ranking(kept)
        if session.happenings:
            box = drawer("The call as it came in", _key(kept, "call"))
            if box:
                with box:
                    words.told_first(session.scenario, knowledge)
        box = drawer("What was told", _key(kept, "log"))
        if box:
            with box:
                words.log(session)
    announce(
        f"{kept.id} {kept.revision}", session.happenings[-1].told or "Stopped" if session.happenings else "Exercise"
    )


def _found(wanted: str) -> list[Check]:
    knowledge = office.knowledge()
    ids = dict.fromkeys(m.id for m in match(wanted, knowledge, 4 * FOUND) if m.kind in ("check", "answer"))
    return [knowledge.checks[i] for i in ids if i in knowledge.checks][:FOUND]


def _rows(kept: Kept, checks: Iterable[Check], where: str = "found") -> None:
    rows = list(checks)
    if not rows:
        html("<p>Nothing found. Try other words, or open one of the lists.</p>")
    with st.container(key=f"rows-checks-{where}"):
        for check in rows:
            label = f"**{md(check.title)}**  \n{md(minutes(check.minutes + check.wait_minutes))}"
            act = partial(HERE, train=kept.id, check=check.id)
            offer(label, _key(kept, where, check.id), act, width="stretch")


def _proposals(kept: Kept) -> None:
    case = kept.session.case
    advice = office.advice_for(case, digest_of(case))
    if advice.stop is not None:
        html(
            f"<section class='stopbox' role='alert'><h2>Stop</h2><p>{t(advice.stop.reason)}</p>"
            f"<p><b>Make safe:</b> {t(advice.stop.make_safe)}</p></section>"
        )
    checks = office.knowledge().checks
    steps = [checks[s.id] for s in advice.next if s.asks and not s.again and s.id in checks][:3]
    if steps:
        html("<h2>Worth their minutes</h2>")
        _rows(kept, steps, "proposed")


def _ranking(kept: Kept) -> None:
    case = kept.session.case
    advice = office.advice_for(case, digest_of(case))
    html("<h2>What it may be</h2>")
    for one in advice.suspects[:4]:
        chance = likely(one.probability)
        html(f"<div class='suspect'><h3>{t(one.title)}</h3><p>{pegs(chance)} {t(chance.text)}</p></div>")


# one check -------------------------------------------------------------------------------------------------------------------


def _back(kept: Kept) -> None:
    offer("Back", _key(kept, "back"), partial(HERE, train=kept.id))


def _one_check(kept: Kept, check: Check) -> None:
    session = kept.session
    _top(kept)
    state = needed_state(check.state)
    parts = [minutes(check.minutes + check.wait_minutes), f"machine: {state}" if state else ""]
    words.heading(f"exercise-check-{check.id}", check.title, ", ".join(p for p in parts if p))
    say_now()
    lead, word = hazard_words(check.hazards), signal(check.hazards)
    if check.cautions or lead:
        who = f"Only {who_may(check.who, check.needs_qualified)}." if check.needs_qualified else ""
        html(
            signal_box(
                word,
                f"{lead[:1].upper() + lead[1:] + '. ' if lead else ''}{' '.join(check.cautions[:2])} {who}".strip(),
            )
        )
    by_phone = session.scenario.role != "technician" and check.telephone
    html(f"<p class='ask'>{t(check.telephone if by_phone else check.technician)}</p>")
    if check.tools:
        html(facts([f"Bring: {', '.join(check.tools)}"]))
    places = session.world(office.knowledge()).places_for_check(check)
    with st.container(key="rows-answers"):
        for place in places or ("",):
            title = "Do it" if len(places) < 2 else f"Do it: {spell(place)}"
            act = partial(_do_look, kept, check.id, place)
            offer(title, _key(kept, "look", check.id, place or "unit"), act, width="stretch", type="primary")
    _back(kept)
    announce(f"check {check.id}", check.title)


def _do_look(kept: Kept, check: str, place: str) -> None:
    knowledge = office.knowledge()
    _kept_step(kept, f"look|{check}|{place}", lambda s: look(s, knowledge, check, place))


def _kept_step(kept: Kept, what: str, step: keeping.Step) -> None:
    act = partial(
        keeping.act, office.records(), kept.id, step, key=f"{what}|{kept.revision}"[:200], after_revision=kept.revision
    )
    words.trying(act)
    HERE(train=kept.id)


# remedies --------------------------------------------------------------------------------------------------------------------


def _one_remedy(kept: Kept, remedy: str) -> None:
    knowledge = office.knowledge()
    table = offers(knowledge)
    _top(kept)
    offered = table.get(remedy)
    if offered is None:
        words.heading("exercise-remedies", "Which remedy?", "It costs its minutes, cured or not")
        say_now()
        wanted = (
            st.text_input(
                "Find a remedy by what it would mend",
                key=_key(kept, "fix"),
                placeholder="in your own words",
                autocomplete="off",
            )
            or ""
        )
        causes = (
            dict.fromkeys(m.id for m in match(wanted, knowledge, 60) if m.kind == "cause") if wanted.strip() else {}
        )
        ids = dict.fromkeys(knowledge.causes[c].remedy.id for c in causes)
        with st.container(key="rows-fix"):
            for one in list(ids)[:FOUND]:
                label = f"**{md(table[one].text)}**  \n{md(minutes(table[one].minutes))}"
                offer(label, _key(kept, "fix", one), partial(HERE, train=kept.id, remedy=one), width="stretch")
        box = drawer("Put an instrument right", _key(kept, "instruments"))
        if box:
            with box, st.container(key="rows-instruments"):
                for name, one_offer in table.items():
                    if name.startswith("instrument:"):
                        act = partial(HERE, train=kept.id, remedy=name)
                        offer(md(one_offer.text), _key(kept, "fix", name), act, width="stretch")
        _back(kept)
        announce("remedies", "Which remedy?")
        return
    words.heading(f"exercise-remedy-{remedy}", "Do this?", minutes(offered.minutes))
    say_now()
    html(f"<p class='ask'>{t(offered.text)}</p>")
    places = [p.id for p in kept.session.world(knowledge).places.values() if p.kind == offered.place]
    with st.container(key="rows-answers"):
        for place in places or [""]:
            title = "Do it" if len(places) < 2 else f"Do it: {spell(place)}"
            act = partial(_do_remedy, kept, remedy, place)
            offer(title, _key(kept, "do", remedy, place or "unit"), act, width="stretch", type="primary")
    _back(kept)
    announce(f"remedy {remedy}", "Do this?")


def _do_remedy(kept: Kept, remedy: str, place: str) -> None:
    knowledge = office.knowledge()
    _kept_step(kept, f"fix|{remedy}|{place}", lambda s: attempt(s, knowledge, remedy, place))


# naming ----------------------------------------------------------------------------------------------------------------------


def _naming(kept: Kept) -> None:
    knowledge = office.knowledge()
    _top(kept)
    words.receipt(kept)
    words.heading(
        "exercise-name",
        "What is it?",
        "Time is up: name it with what you know" if kept.session.late else "This ends the exercise",
    )
    say_now()
    titles = {"nothing-wrong": "Nothing is wrong"}
    titles |= {c.id: c.title for c in knowledge.causes.values()}
    titles |= {f"instrument:{i.id}": f"Instrument lies: {i.title}" for i in knowledge.instruments.values() if i.lies}
    st.multiselect(
        "Causes, as many as you stand for (type to find; up to three)",
        sorted(titles, key=titles.__getitem__),
        format_func=titles.__getitem__,
        max_selections=3,
        key=_key(kept, "causes"),
        placeholder="none named yet",
    )
    html("<h2>And how does the call end?</h2>")
    with st.container(key="rows-answers"):
        for ends, text in ENDS.items():
            act = partial(_do_name, kept, ends)
            offer(f"{text[0].upper()}{text[1:]}", _key(kept, "name", ends), act, width="stretch")
    if not kept.session.late:
        _back(kept)
    announce("name", "What is it?")


def _do_name(kept: Kept, ends: Ends) -> None:
    knowledge = office.knowledge()
    causes = tuple(st.session_state.get(_key(kept, "causes")) or ())
    act = partial(
        keeping.act,
        office.records(),
        kept.id,
        lambda s: name_cause(s, knowledge, causes, ends),
        key=f"name|{kept.revision}",
        after_revision=kept.revision,
    )
    if words.trying(act):
        HERE(train=kept.id)
    else:
        HERE(train=kept.id, name="1")
