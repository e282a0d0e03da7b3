"""What is typed at a step: readings at their places, figures of the site, a note. Drawn, and read again when a row is tapped."""

from __future__ import annotations

from datetime import timedelta
from typing import Literal

import streamlit as st

from diagnose.choices import quantity_places
from diagnose.placement.amounts import site_of
from diagnose.placement.baseline import WATCHED
from diagnose.placement.keeping import local_stamp
from diagnose.placement.record import Done, Taken, site_problem
from diagnose.places import spell
from knowledge.placement import SITE, PlacementStep
from shared.errors import ReadingError
from shared.quantities import QUANTITIES, Kind
from shared.units import parse, parse_number, parse_reading
from ui import office
from ui.field import values
from ui.parts import html, md, t
from ui.placement.acts import Desk

USUALLY_BEFORE, MOST_BEFORE = "5", 60  # minutes between the two readings that show a steady machine
FEW = 3  # fields up to which steppers stand below each
ALL_PLACES = 4  # places up to which each has its field at once; beyond, somebody says where first
PLATE = {"loop_volume": "loop_volume", "altitude": "altitude"}  # figures of the site that a machine card may hold
Outcome = Literal["done", "not-right", "left"]


def draw(desk: Desk, card: PlacementStep) -> None:
    """Draw the fields of a step."""
    told = site_of(desk.now.placement)
    for name in card.asks:
        title = SITE[name][0]
        usual = told.get(name) or getattr(desk.now.placement.machine, PLATE.get(name, ""), "")
        st.text_input(md(title[0].upper() + title[1:]), value=usual, key=_site_key(desk, card, name),
                      placeholder="number and unit", autocomplete="off")  # fmt: skip
        _echo(name, str(st.session_state.get(_site_key(desk, card, name)) or ""))
    shown: set[Kind] = set()
    few = sum(len(_chosen(desk, card, quantity)) for quantity in card.takes) <= FEW
    for quantity in card.takes:
        for place in _places(desk, card, quantity):
            key = _key(desk, card, quantity, place)
            values.field(desk.case, quantity, place, key, units_shown=shown, steps=few)
    if twice := _twice(card):
        html("<h3>Steady?</h3><p class='why'>The same two, read some minutes before: they show that nothing moves.</p>")
        st.text_input("Minutes before", value=USUALLY_BEFORE, key=desk.key("before", card.id), autocomplete="off")
        for quantity in twice:
            values.field(desk.case, quantity, "", _before_key(desk, card, quantity), units_shown=shown, steps=False)


def _twice(card: PlacementStep) -> tuple[str, ...]:
    """What is read a second time to show that the machine is steady."""
    return tuple(q for q in WATCHED if q in card.takes) if card.state == "steady" else ()


def _before_key(desk: Desk, card: PlacementStep, quantity: str) -> str:
    return desk.key("before", card.id, quantity)


def _earlier(desk: Desk, card: PlacementStep) -> list[Taken]:
    """Readings of some minutes before. Raises ReadingError where nobody can tell how many."""
    typed = {q: values.held(q, _before_key(desk, card, q)) for q in _twice(card)}
    if not any(typed.values()):
        return []
    ago = parse_number(str(st.session_state.get(desk.key("before", card.id)) or ""))
    if not 0 < ago <= MOST_BEFORE:
        raise ReadingError("minutes before", given=ago, allowed=f"above 0, up to {MOST_BEFORE}", do="type the minutes")
    at = local_stamp(office.now() - timedelta(minutes=ago))
    return [Taken(quantity=q, value=v, at=at) for q, v in typed.items() if isinstance(v, str) and v]


def _places(desk: Desk, card: PlacementStep, quantity: str) -> list[str]:
    """Places with a field; where there are many, those that were chosen."""
    spots = list(quantity_places(desk.now.placement.machine, quantity))
    if len(spots) <= ALL_PLACES:
        return spots
    key = desk.key("where", card.id, quantity)
    title = QUANTITIES[quantity].title
    st.multiselect(md(f"Where? {title[0].upper()}{title[1:]}"), spots, format_func=spell, key=key,
                   placeholder="Choose the places")  # fmt: skip
    return [spot for spot in spots if spot in (st.session_state.get(key) or ())]


def _chosen(desk: Desk, card: PlacementStep, quantity: str) -> list[str]:
    spots = list(quantity_places(desk.now.placement.machine, quantity))
    if len(spots) <= ALL_PLACES:
        return spots
    return [s for s in spots if s in (st.session_state.get(desk.key("where", card.id, quantity)) or ())]


def _key(desk: Desk, card: PlacementStep, quantity: str, place: str) -> str:
    return desk.key("read", card.id, quantity, place.replace(":", "."))


def _site_key(desk: Desk, card: PlacementStep, name: str) -> str:
    return desk.key("site", card.id, name)


def note_key(desk: Desk, card: PlacementStep) -> str:
    """Key of the note of a step."""
    return desk.key("note", card.id)


def _echo(name: str, text: str) -> None:
    said, bad = "", False
    if text.strip():
        try:
            said = parse(text, SITE[name][1]).echo
        except ReadingError as error:
            said, bad = f"Check this value: {error.line()}", True
    html(f"<p class='echo{' bad' if bad else ''}' role='status'>{t(said) or '&nbsp;'}</p>")


def typed(desk: Desk, card: PlacementStep, outcome: Outcome = "done") -> Done:
    """What stands in the fields, as an answer; values that cannot be read are in it as they were typed.

    Raises ReadingError for minutes that nobody can read.
    """
    readings = _earlier(desk, card)
    for quantity in card.takes:
        for place in _chosen(desk, card, quantity):
            value = values.held(quantity, _key(desk, card, quantity, place))
            if value:
                where = place if ":" in place else ""
                readings.append(
                    Taken(quantity=quantity, place=where, value=tuple(value) if isinstance(value, list) else value)
                )
    site = {name: str(st.session_state.get(_site_key(desk, card, name)) or "").strip() for name in card.asks}
    note = str(st.session_state.get(note_key(desk, card)) or "").strip()
    return Done(step=card.id, outcome=outcome, note=note, readings=tuple(readings),
                site={k: v for k, v in site.items() if v})  # fmt: skip


def readable(done: Done) -> Done:
    """The same without what cannot be read: for figures worked out while somebody still types."""
    good = []
    for one in done.readings:
        try:
            parse_reading(one.quantity, one.value)
        except ReadingError:
            continue
        good.append(one)
    site = {k: v for k, v in done.site.items() if not site_problem(k, v)}
    return done.model_copy(update={"readings": tuple(good), "site": site})


def lacking(desk: Desk, card: PlacementStep, done: Done) -> list[str]:
    """What a step asks for and nobody told, in words; a note that says why is as good."""
    if done.note or done.outcome != "done":
        return []
    out = [SITE[name][0] for name in card.asks if name not in done.site and name not in site_of(desk.now.placement)]
    if card.takes and not done.readings:
        out += [QUANTITIES[q].title for q in card.takes]
    return out
