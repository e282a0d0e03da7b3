"""Typed readings: any unit, comma or dot, shown large as understood before they are kept.

No number field: one of those read "2,4" as 24. The text goes to our own parser as it was typed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

import streamlit as st

from diagnose.advice import Step
from diagnose.case import Case
from diagnose.choices import quantity_places
from diagnose.phrases import STATES, STEADINESS, quantity_title, reading_echo
from diagnose.places import spell
from shared.errors import ChillerError, ReadingError
from shared.quantities import QUANTITIES, Kind
from shared.units import SHOWN, parse_reading
from ui.field.acts import Desk, keep, keep_all, skip
from ui.frame import shortcut
from ui.parts import drawer, html, md, t
from ui.steppers import stepper
from ui.taps import offer

_SAID = {"degF": "°F", "degC": "°C", "delta_degF": "°F", "delta_degC": "K", "barg": "bar", "1": ""}
_NOT_TOLD = "not told"
CANNOT = ("I cannot tell", "Skip for now")


def _units(kind: Kind) -> list[str]:
    return list(dict.fromkeys(_SAID.get(u, u) for u in SHOWN[kind] if _SAID.get(u, u)))


def _kept_unit(kind: Kind) -> str:
    units = _units(kind)
    kept = st.session_state.get(f"unit-{kind}")
    return str(kept) if kept in units else units[0] if len(units) == 1 else ""


def _unit_choice(kind: Kind, key: str) -> str:
    """The unit used where none is typed; remembered on this device once somebody chose it."""
    units = _units(kind)
    if len(units) <= 1:
        return units[0] if units else ""
    kept = st.session_state.get(f"unit-{kind}")
    chosen = st.pills("Unit if none is typed", units, default=kept if kept in units else None, key=key)
    if chosen:
        st.session_state[f"unit-{kind}"] = chosen
    return chosen or ""


def _with_unit(text: str, unit: str) -> str:
    text = text.strip()
    return f"{text} {unit}" if text and unit and re.fullmatch(r".*[\d.,]", text) else text


def held(quantity: str, key: str) -> str | list[str]:
    """What stands in the fields of one quantity, drawn with this key on the last screen; "" when nothing was typed."""
    what = QUANTITIES[quantity]
    names = [f"{key}-{n}" for n in range(3)] if what.phases else [key]
    return _given([str(st.session_state.get(name) or "") for name in names], _kept_unit(what.kind))


def _given(typed: Sequence[str], unit: str) -> str | list[str]:
    given = [_with_unit(text, unit) for text in typed if text.strip()]
    return given if len(given) > 1 else given[0] if given else ""


def field(
    case: Case, quantity: str, place: str, key: str, *, units_shown: set[Kind] | None = None, steps: bool = True
) -> str | list[str]:
    """Draw the inputs of one quantity, steppers and the echo below; return what was typed, "" when nothing was.

    units_shown: kinds whose choice of unit stands on this screen already. steps: whether steppers are drawn.
    """
    what = QUANTITIES[quantity]
    title = what.title[0].upper() + what.title[1:] + (f", {spell(place)}" if ":" in place else "")
    if what.phases:
        st.caption(md(f"{title}: one value, or all three legs"))
        columns = st.columns(3, gap="small")
        typed = [
            column.text_input(f"L{n + 1}", key=f"{key}-{n}", placeholder=f"leg {n + 1}", autocomplete="off")
            for n, column in enumerate(columns)
        ]
    else:
        typed = [st.text_input(md(title), key=key, placeholder="number and unit", autocomplete="off")]
    units = _units(what.kind)
    if not steps:
        pass
    elif what.phases:
        for n, column in enumerate(columns):
            with column:
                stepper(f"{key}-{n}", quantity, units, _kept_unit(what.kind), case, narrow=True)
    else:
        stepper(key, quantity, units, _kept_unit(what.kind), case)
    shown = units_shown if units_shown is not None else set()
    unit = _kept_unit(what.kind) if what.kind in shown else _unit_choice(what.kind, f"{key}-unit")
    shown.add(what.kind)
    value = _given([text or "" for text in typed], unit)
    _echo(quantity, value)
    return value


def _echo(quantity: str, value: str | list[str]) -> None:
    """The value as understood, large; its place is kept free so that nothing jumps under a finger."""
    text, bad = "", False
    if value:
        try:
            text = " / ".join(part.echo for part in parse_reading(quantity, value))
        except ReadingError as error:
            text, bad = f"Check this value: {error.line()}", True
    html(f"<p class='echo{' bad' if bad else ''}' role='status'>{t(text) or '&nbsp;'}</p>")


def _while_reading(desk: Desk, key: str, step: Step | None = None) -> dict[str, str]:
    """Machine state of a reading: as told last in this call, else as the step needs it."""
    told = next((e for e in reversed(desk.call.case.entries) if e.state), None)
    state, steady = (told.state, told.steadiness) if told else (None, None)
    if told is None and step is not None and step.state in ("steady", *STATES):
        state, steady = ("cooling", "steady") if step.state == "steady" else (step.state, None)  # type: ignore[assignment]
    states, steadies = [_NOT_TOLD, *STATES], [_NOT_TOLD, *STEADINESS]
    now = [word for word in (STATES.get(state or ""), STEADINESS.get(steady or "")) if word]
    box = drawer(f"Machine while reading: {', '.join(now) or _NOT_TOLD}", f"{key}-while")
    if box:
        with box:
            _choice("Machine while reading", states, state, STATES, f"{key}-state")
            _choice("How it runs", steadies, steady, STEADINESS, f"{key}-steady")
    # a drawer that was shut again still holds what was chosen in it
    found = {"state": st.session_state.get(f"{key}-state", state),
             "steadiness": st.session_state.get(f"{key}-steady", steady)}  # fmt: skip
    return {name: word for name, word in found.items() if word and word != _NOT_TOLD}


def _choice(title: str, words: list[str], usual: str | None, said: Mapping[str, str], key: str) -> None:
    st.selectbox(title, words, index=words.index(usual) if usual else 0, format_func=lambda word: said.get(word, word),
                 key=key, persist_state="page")  # fmt: skip


def _checked(quantity: str, place: str, value: str | list[str], more: dict[str, str]) -> dict[str, Any]:
    """The entry of a reading that can be read. Raises ReadingError."""
    parse_reading(quantity, value)
    return {"quantity": quantity, "place": place if ":" in place else "", "value": value, **more}


def answer_by_reading(
    desk: Desk,
    step: Step,
    place: str,
    who: str = "saw",
    texts: tuple[str, str] = CANNOT,
    read_back: Callable[[list[str]], None] | None = None,
) -> None:
    """A step that is answered by numbers: its fields, then keep, cannot tell, skip.

    who: who reads them. read_back: draws what was understood, where somebody has to say it again.
    """
    typed: list[tuple[str, str, str | list[str]]] = []
    units_shown: set[Kind] = set()
    for quantity in step.reads:
        where = place if ":" in place and place.split(":")[0] == QUANTITIES[quantity].place else ""
        if not where and QUANTITIES[quantity].place == "any" and ":" in place:
            where = place
        spots = quantity_places(desk.call.case.machine, quantity)
        where = where or (spots[0] if len(spots) == 1 else "")
        typed.append(
            (
                quantity,
                where,
                field(
                    desk.call.case,
                    quantity,
                    where,
                    desk.key("read", step.id, place, quantity),
                    units_shown=units_shown,
                ),
            )
        )
    understood = [reading_echo(q, value) for q, _, value in typed if value]
    if read_back is not None and understood:
        read_back(understood)
    more = {"who": who, **_while_reading(desk, desk.key("read", step.id, place), step)}
    with st.container(key="rows-keep"):
        if st.button("Keep this", key=desk.key("keep", step.id, place), type="primary", width="stretch"):
            _keep_typed(desk, step, place, typed, more)
    _bad_line()
    cannot_or_skip(desk, step, place, texts)


def _keep_typed(
    desk: Desk,
    step: Step,
    place: str,
    typed: Sequence[tuple[str, str, str | list[str]]],
    more: dict[str, str],
) -> None:
    try:
        taken_from = {where: step.instrument_at(where or place) for _, where, _ in typed}
        entries = [
            _checked(q, where, value, {**more, **({"instrument": taken_from[where]} if taken_from[where] else {})})
            for q, where, value in typed
            if value
        ]
        if not entries:
            raise ReadingError("no value typed", do="type the value, or tap Cannot tell")
    except ChillerError as error:
        st.session_state["bad"] = error.line()
        return
    keep_all(desk, f"{step.id}|{place}", entries, stay_on_error=True)


def cannot_or_skip(desk: Desk, step: Step, place: str, texts: tuple[str, str] = CANNOT) -> None:
    """The two rows that every question has."""
    with st.container(key="rows-soft"):
        entry = {"check": step.id, "place": place if ":" in place else "", "answer": "cannot-tell", "again": step.again}
        no_answer = partial(keep, desk, f"{step.id}|{place}", entry)
        offer(
            texts[0], desk.key("ans", step.id, place, "cannot-tell"), no_answer, width="stretch", shortcut=shortcut(0)
        )
        later = partial(skip, desk, step.id, step.place)
        offer(texts[1], desk.key("skip", step.id, place), later, width="stretch")


def _bad_line() -> None:
    line = st.session_state.pop("bad", "")
    if line:
        html(f"<p class='echo bad' role='alert'>Nothing was stored. {t(line)}</p>")


def at_any_time(desk: Desk, only: Callable[[str], bool] = lambda quantity: True, who: str = "saw") -> None:
    """A reading nobody asked for: quantity, place, value. only: which quantities may be chosen; who: who reads them."""
    asked = [q for step in desk.advice.next for q in step.reads]
    names = list(dict.fromkeys([*asked, *sorted(QUANTITIES, key=quantity_title)]))
    names = [name for name in names if only(name)]
    quantity = st.selectbox(
        "What did you read?",
        names,
        index=None,
        format_func=quantity_title,
        placeholder="Choose or type a few letters",
        key=desk.key("any"),
    )
    if not quantity:
        return
    spots = quantity_places(desk.call.case.machine, quantity)
    place: str | None = spots[0]
    if len(spots) > 1:
        place = st.selectbox("Where?", spots, index=None, format_func=spell, key=desk.key("any-place", quantity),
                             placeholder="Choose the place")  # fmt: skip
    value = field(desk.call.case, quantity, "", desk.key("any-value", quantity))
    more = {"who": who, **_while_reading(desk, desk.key("any", quantity))}
    tag = st.text_input("Special condition, if any", key=desk.key("any-tag", quantity), placeholder="welders off",
                        autocomplete="off")  # fmt: skip
    with st.container(key="rows-any"):
        pressed = st.button("Keep this reading", key=desk.key("any-keep", quantity), type="primary", width="stretch")
    if pressed:
        try:
            if place is None:
                raise ReadingError("no place chosen", do="choose where it was read")
            if not value:
                raise ReadingError("no value typed", do="type the value")
            entry = _checked(quantity, place, value, {**more, **({"condition": tag} if tag else {})})
        except ChillerError as error:
            st.session_state["bad"] = error.line()
        else:
            keep(desk, f"reading|{quantity}|{place}", entry, stay_on_error=True)
    _bad_line()
