"""Big steppers beside a typed reading: taps add and take away in the field itself, nothing is sent until the finger rests.

The field stays an ordinary text field with our own parser behind it; without scripts only the steppers are missing. The first
tap on an empty field puts a starting figure there: the last reading of the kind, else the machine's own figure, else a round one.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from diagnose.case import Case
from shared.errors import ChillerError
from shared.quantities import QUANTITIES
from shared.units import parse_reading
from ui.components import Component

# unit as shown -> (start, small step, large step, may it be below zero); a start is a place to begin, no expectation
_STEPS: dict[str, tuple[float, float, float, bool]] = {
    "psig": (50, 1, 10, True),
    "bar": (3, 0.1, 1, True),
    "psi": (5, 0.1, 1, False),
    "kPa": (30, 1, 10, False),
    "°F": (50, 1, 10, True),
    "°C": (10, 0.5, 5, True),
    "K": (5, 0.5, 5, False),
    "gpm": (100, 1, 10, False),
    "L/s": (6, 0.1, 1, False),
    "V": (460, 1, 10, False),
    "A": (10, 0.1, 1, False),
    "Hz": (60, 0.1, 1, False),
    "%": (50, 1, 10, False),
    "min": (10, 1, 10, False),
}
_STEPPER = Component(
    "chiller_stepper",
    html="<div class='steps' role='group'></div>",
    css="""
    .steps { display: flex; gap: .5rem }
    .steps button { flex: 1 1 0; min-width: 0; min-height: 64px; font: inherit; font-size: 1.15rem; font-weight: 700; cursor: pointer;
      color: var(--ink); background: var(--paper); border: 2px solid var(--ink); border-radius: .3rem; touch-action: manipulation }
    .steps button:active { background: var(--wash2) }
    .steps button:focus-visible { outline: 4px solid var(--focus); outline-offset: 2px }
    """,
    js="""
    export default function ({ data, parentElement }) {
      const box = parentElement.querySelector(".steps");
      const field = () => document.querySelector(`.st-key-${data.field} input`);
      const setter = Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value").set;
      let waiting = 0;
      const send = () => {
        if (!waiting) return;
        clearTimeout(waiting); waiting = 0;
        field()?.dispatchEvent(new FocusEvent("focusout", { bubbles: true }));
      };
      const put = (text) => {
        const input = field();
        if (!input) return;
        setter.call(input, text);
        input.dispatchEvent(new Event("input", { bubbles: true }));
        clearTimeout(waiting); waiting = setTimeout(send, 500);
      };
      const step = (by) => {
        const found = (field()?.value || "").match(/^\\s*([-+\\u2212]?\\d+(?:[.,]\\d+)?)\\s*(.*)$/);
        if (!found) { if (!(field()?.value || "").trim()) put(data.start); return; }
        const comma = found[1].includes(",");
        const now = Number(found[1].replace(",", ".").replace("\\u2212", "-"));
        const next = by === null ? -now : now + by;
        const places = Math.max(data.places, (found[1].split(/[.,]/)[1] || "").length);
        const said = next.toFixed(places);
        put((comma ? said.replace(".", ",") : said) + (found[2] ? " " + found[2] : ""));
      };
      box.setAttribute("aria-label", data.says);
      const rows = data.steps.split(" ").map(Number).map((n) => [n, (n < 0 ? "\\u2212" : "+") + Math.abs(n)]);
      if (data.below) rows.splice(rows.length / 2, 0, [null, "\\u00b1"]);
      box.replaceChildren(...rows.map(([by, label]) => {
        const button = document.createElement("button");
        button.type = "button"; button.textContent = label;
        button.setAttribute("aria-label", by === null ? `${data.says}: other sign` : `${data.says}: ${label}`);
        button.onclick = () => step(by);
        return button;
      }));
      const input = field();
      if (input && data.pad) input.setAttribute("inputmode", "decimal");
      // a tap on anything else sends what stands in the field first
      const before = (event) => { if (!event.composedPath().includes(box)) send(); };
      document.addEventListener("pointerdown", before, true);
      return () => document.removeEventListener("pointerdown", before, true);
    }
    """,
)


def css_name(key: str) -> str:
    """The class that Streamlit gives to the element of a key, without its prefix."""
    return re.sub(r"[^a-zA-Z0-9_-]", "-", key.strip())


def start_text(case: Case, quantity: str, unit: str) -> str:
    """Where the first tap begins, as text with its unit.

    >>> start_text(Case(complaint="no-flow"), "pump_suction", "bar")
    '3 bar'
    """
    texts = [e.value for e in reversed(case.entries) if e.quantity == quantity and isinstance(e.value, str)]
    for text in (*texts, case.machine.card.get(quantity, "")):
        try:
            if text and parse_reading(quantity, text):
                return text.removeprefix("about ")
        except ChillerError:
            continue
    return f"{_STEPS[unit][0]:g} {unit}"


def stepper(key: str, quantity: str, units: Sequence[str], chosen: str, case: Case, *, narrow: bool = False) -> None:
    """Draw steppers for the text field with this key. chosen: the unit used where none is typed; narrow: small steps only."""
    unit = chosen or next((u for u in units if u in _STEPS), "")
    if unit not in _STEPS:
        return
    _, small, large, below = _STEPS[unit]
    title = QUANTITIES[quantity].title
    _STEPPER(
        f"{key}-steps",
        {
            "field": css_name(key),
            "says": title[0].upper() + title[1:],
            "steps": f"{-small:g} {small:g}" if narrow else f"{-large:g} {-small:g} {small:g} {large:g}",
            "start": start_text(case, quantity, unit),
            "places": 1 if small < 1 else 0,
            "below": below and not narrow,
            "pad": bool(chosen),
        },
    )
