"""Small drawings of our own, for checks where a picture says more. The text below each says the same for whoever cannot see it."""

from __future__ import annotations

import re
from functools import lru_cache
from importlib import resources

import streamlit as st

from ui.components import Component
from ui.parts import html, t

# Markup from strangers loses its drawings, and rightly so; these are our own files and go in by their own door.
_PICTURE = Component(
    "chiller_picture",
    html="<div class='picture'></div>",
    css=".picture { color: var(--ink) } .picture svg { display: block; width: 100%; max-height: 10rem; font-family: sans-serif }"
    " @media (max-width: 640px) { .picture svg { max-height: 6.6rem } }",
    js="export default function ({ data, parentElement }) { parentElement.querySelector('.picture').innerHTML = data.svg }",
)

# drawing -> the checks it belongs to
DRAWINGS: dict[str, tuple[str, ...]] = {
    "valve-handle": ("unit-valves-look", "site-valves-walk", "which-unit-valve-look", "load-side-look", "bypass-look",
                     "drains-look", "make-up-look"),
    "gauge-ports": ("read-fluid-gauges", "gauges-at-rest-compare", "evaporator-drop-read", "strainer-drop-read",
                    "one-gauge-both-taps", "pressure-walk", "fill-pressure-read", "pump-gauges-watch",
                    "pump-shut-off-test", "thaw-drop-compare"),
    "lead-swap": ("rotation-elsewhere-ask", "sequence-measure", "lead-order-look", "leads-roll", "pump-leads-roll",
                  "recent-electrical-work-ask"),
    "strainer": ("strainer-blowdown", "strainer-pull", "strainer-history-ask"),
    "flow-switch": ("flow-switch-look", "flow-switch-test", "proof-pump-off-look"),
    "vent": ("vent-look", "vent-air-check", "vent-again", "high-point-look"),
    "hose-kink": ("hoses-walk", "hose-stiff-feel", "hose-sound-listen", "suction-line-look"),
    "coil-face": ("coil-look", "coil-light-look", "coil-wash-ask"),
    "fan-air": ("clearances-look", "outlet-air-watch", "hot-air-source-look", "air-at-coil-read", "wind-ask",
                "fan-airflow-feel", "fans-look"),
    "pump-turn": ("pump-look", "pump-shaft-watch"),
    "line-clamps": ("refrigerant-readings", "subcooling-read", "probe-seat-look", "gauge-port-look",
                    "second-refrigerant-gauge", "suction-sensor-look"),
    "drier-ends": ("drier-temps-read", "drier-feel"),
    "sight-glass": ("sight-glass-look",),
    "tank-place": ("tank-place-ask", "expansion-tank-read", "tank-air-check"),
}  # fmt: skip


def drawing_of(check: str) -> str:
    """Name of the drawing of a check, "" when it has none."""
    return next((name for name, checks in DRAWINGS.items() if check in checks), "")


@lru_cache(maxsize=len(DRAWINGS))
def drawing(name: str) -> tuple[str, str]:
    """(the drawing, what it says in words). Raises KeyError on an unknown name."""
    if name not in DRAWINGS:
        raise KeyError(name)
    svg = (resources.files(__name__) / f"{name}.svg").read_text(encoding="utf-8")
    found = re.search(r"<desc[^>]*>(.*?)</desc>", svg, re.DOTALL)
    return svg, found.group(1).strip() if found else ""


def draw(check: str) -> None:
    """Draw the figure of a check with its text below it; nothing when it has none."""
    name = drawing_of(check)
    if not name:
        return
    svg, says = drawing(name)
    with st.container(key="drawing"):
        _PICTURE(f"drawing-{name}", {"svg": svg})
        html(f"<p class='drawing-says'>{t(says)}</p>")
