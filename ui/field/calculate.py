"""Any calculator within two taps of a call; what the call knows stands in its fields, what comes out can be kept."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import partial
from typing import Any

import streamlit as st

from diagnose.calculators.catalogue import fluid, refrigerant, supply
from diagnose.calculators.command import run_calc
from diagnose.calculators.model import Calculator, Input
from diagnose.calculators.registry import CALCULATORS, calculator
from diagnose.case import Case
from diagnose.choices import quantity_places
from diagnose.places import spell
from shared.errors import ChillerError
from shared.quantities import QUANTITIES, Kind
from ui.field.acts import Desk, keep_all, stay
from ui.field.question import heading
from ui.parts import drawer, html, md, t
from ui.taps import go, offer

GROUPS = {
    "Refrigerant": refrigerant.CALCULATORS,
    "Fluid and pump": fluid.CALCULATORS,
    "Supply and motors": supply.CALCULATORS,
}
# input of a calculator -> field of the machine card that holds it
_PLATE = {
    "refrigerant": "refrigerant",
    "altitude": "altitude",
    "fluid": "fluid",
    "glycol_percent": "glycol_percent",
    "rated_flow": "design_flow",
    "rated_drop": "design_drop",
    "rated_voltage": "voltage",
    "rated_frequency": "frequency",
    "loop_volume": "loop_volume",
    "clean_drop": "strainer_clean_drop",
    "clean_flow": "strainer_clean_flow",
    "design_entering": "design_entering",
}
_SAID = {"degF": "°F", "degC": "°C", "delta_degF": "°F", "delta_degC": "K"}


def choose(desk: Desk) -> None:
    """All calculators, each one tap."""
    grouped = {one.name for calculators in GROUPS.values() for one in calculators}
    rest = {"Loop and others": tuple(one for name, one in CALCULATORS.items() if name not in grouped)}
    for title, calculators in {**GROUPS, **rest}.items():
        html(f"<h3>{t(title)}</h3>")
        with st.container(key=f"rows-calc-{title[:6]}"):
            for one in calculators:
                opens = partial(go, **desk.address, call=desk.call.id, calc=one.name)
                offer(md(one.title), desk.key("calc", one.name), opens, width="stretch")


def known(case: Case, one: Input) -> str:
    """What the call or the machine card holds for an input, as it would be typed; "" where nothing."""
    read = next((e.value for e in reversed(case.entries) if e.quantity == one.key and e.source == "today"), "")
    if read:
        return read if isinstance(read, str) else " / ".join(read)
    return str(getattr(case.machine, _PLATE.get(one.key, ""), None) or case.machine.card.get(one.key, "") or "")


def draw(desk: Desk, name: str) -> None:
    """Draw one calculator. Raises CalculatorError when there is none of that name."""
    chosen = calculator(name)
    heading(f"calc {chosen.name}", chosen.title, "Calculator")
    offer("Back to the call", desk.key("calc-back"), partial(stay, desk))
    for one in chosen.inputs:
        if one.required:
            _field(desk, chosen, one)
    box = (
        drawer("More inputs", desk.key("calc-more", chosen.name))
        if any(not i.required for i in chosen.inputs)
        else None
    )
    if box:
        with box:
            for one in chosen.inputs:
                if not one.required:
                    _field(desk, chosen, one)
    with st.container(key="rows-calc"):
        st.button("Work it out", key=desk.key("calc-run", chosen.name), type="primary", width="stretch")
    given = _given(desk, chosen)
    if any(one.required and one.key not in given for one in chosen.inputs):
        missing = ", ".join(one.help for one in chosen.inputs if one.required and one.key not in given)
        html(f"<p class='why'>Still needed: {t(missing)}.</p>")
        return
    try:
        answer = json.loads(run_calc([chosen.name, *(f"{key}={text}" for key, text in given.items())], as_json=True))
    except ChillerError as error:
        html(f"<p class='echo bad' role='alert'>Check this: {t(error.line())}</p>")
        return
    html(_result(chosen, answer))
    _keep(desk, chosen, given, answer)


def _key(desk: Desk, chosen: Calculator, one: Input) -> str:
    return f"calc-{desk.call.id}-{chosen.name}-{one.key}"


def _field(desk: Desk, chosen: Calculator, one: Input) -> None:
    title, filled, key = one.help[0].upper() + one.help[1:], known(desk.call.case, one), _key(desk, chosen, one)
    if one.kind is Kind.CHOICE and one.choices:
        usual = filled if filled in one.choices else one.default if one.default in one.choices else None
        st.selectbox(md(title), one.choices, index=one.choices.index(usual) if usual else None, key=key,
                     placeholder="Choose", persist_state="page")  # fmt: skip
        return
    st.text_input(md(title), value=filled, key=key, placeholder=f"number and unit{', usual: ' + one.default if one.default else ''}",
                  autocomplete="off", persist_state="page")  # fmt: skip


def _given(desk: Desk, chosen: Calculator) -> dict[str, str]:
    """What stands in the fields; a field in a shut drawer holds what the call knows."""
    out = {}
    for one in chosen.inputs:
        kept = st.session_state.get(_key(desk, chosen, one))
        text = (known(desk.call.case, one) if kept is None else str(kept)).strip()
        if one.kind is Kind.CHOICE and one.choices and text not in one.choices:
            continue
        if text:
            out[one.key] = text
    return out


def _value(entry: Mapping[str, Any]) -> str:
    if isinstance(entry["value"], str):
        return str(entry["value"])
    return f"{entry['value']:.4g} {_SAID.get(entry['unit'], entry['unit'])}".strip()


def _spread(entry: Mapping[str, Any]) -> str:
    return f" ± {2 * entry['uncertainty']:.2g}" if entry["uncertainty"] else ""


def _result(chosen: Calculator, answer: Mapping[str, Any]) -> str:
    says = {out.key: out.help for out in chosen.outputs}
    rows = []
    for entry in answer["outputs"]:
        other = entry.get("metric") or entry.get("us")
        also = f" ({_value(other)})" if other else ""
        said = says[entry["quantity"]]
        rows.append(f"<li>{t(said[0].upper() + said[1:])}: <b>{t(_value(entry))}</b>{t(_spread(entry))}{t(also)}</li>")
    notes = "".join(f"<p class='why'>{t(note)}</p>" for note in answer["notes"])
    assumed = {i["assumed"] for i in answer["inputs"] if i["assumed"]}
    taken = f" Instruments taken as: {', '.join(sorted(assumed))}." if assumed else ""
    return (
        f"<p class='echo' role='status'>{t(_value(answer['outputs'][0]))}{t(_spread(answer['outputs'][0]))}</p>"
        f"<ul class='results'>{''.join(rows)}</ul>{notes}<p class='drawing-says'>± is about 95 in 100.{t(taken)} Holds for: "
        f"{t(answer['limits'])}. Source: {t(answer['source'])}.</p>"
    )


def kept_entries(chosen: Calculator, answer: Mapping[str, Any], place: str) -> list[dict[str, Any]]:
    """What is kept of a result: readings for what a reading may be, and one note of all of it."""
    inputs = "; ".join(f"{i['key'].replace('_', ' ')} {i['understood']}" for i in answer["inputs"])
    outputs = "; ".join(f"{o['quantity'].replace('_', ' ')} {_value(o)}{_spread(o)}" for o in answer["outputs"])
    entries: list[dict[str, Any]] = [{"note": f"Worked out, {chosen.title}: {outputs}. From: {inputs}."[:4000]}]
    for out in answer["outputs"]:
        if out["quantity"] in QUANTITIES and not isinstance(out["value"], str):
            where = place if ":" in place else ""
            entries.append({"quantity": out["quantity"], "place": where, "value": f"{_value(out)}"})
    return entries


def _keep(desk: Desk, chosen: Calculator, given: Mapping[str, str], answer: Mapping[str, Any]) -> None:
    if not desk.call.open:
        return
    quantity = next((o["quantity"] for o in answer["outputs"] if o["quantity"] in QUANTITIES), "")
    spots = quantity_places(desk.call.case.machine, quantity) if quantity else ("unit",)
    place: str | None = spots[0]
    if len(spots) > 1:
        place = st.selectbox("Where?", spots, index=None, format_func=spell, key=desk.key("calc-place", chosen.name),
                             placeholder="Choose the place")  # fmt: skip
    with st.container(key="rows-calc-keep"):
        pressed = st.button("Keep this in the call", key=desk.key("calc-keep", chosen.name), width="stretch")
    if pressed and place is None:
        html("<p class='echo bad' role='alert'>Nothing was stored. Choose where, then keep it.</p>")
    elif pressed and place is not None:
        keep_all(desk, f"calc|{chosen.name}", kept_entries(chosen, answer, place))
