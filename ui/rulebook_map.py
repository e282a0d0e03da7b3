"""The map of causes and effects around one card, as a drawing one can click, and the same in words below it.

The layout is our own: the columns of `knowledge.links.picture` stand side by side, each card as near as may be to what it hangs
together with, nothing overlaps. A card is a link with an address of its own, so it also opens in another tab; a plain
click goes without loading the page again.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

from knowledge.links import Arrow, Node, Picture
from ui.components import Component
from ui.parts import t
from ui.taps import go

WIDE, BETWEEN, APART, LINE, TOP = 224, 76, 12, 18, 34  # of a card, columns, cards, a line of text, headings; px
LETTERS, LINES = 27, 4  # most letters a line, most lines a card
HEADS = {"causes": "cause", "effects": "hidden state", "findings": "seen", "complaints": "complaint", "checks": "look"}
# how an arrow is drawn: (width, dashes); the words stand in the text below the drawing
STROKES: tuple[tuple[tuple[str, ...], float, str], ...] = (
    (("always", "almost-always", "usually"), 3.0, ""),
    (("often",), 2.0, ""),
    (("sometimes",), 1.2, ""),
    ((), 1.0, "4 4"),
)
_MAP = Component(
    "chiller_cause_map",
    html="<div class='map' role='group' tabindex='0'></div>",
    css="""
    .map { overflow: auto; max-height: 34rem; border: 2px solid var(--line); border-radius: .3rem; background: var(--paper) }
    .map:focus-visible { outline: 4px solid var(--focus); outline-offset: 2px }
    .map svg { display: block; font-family: inherit; font-weight: 500; font-size: 14.5px }
    .map rect { fill: var(--paper); stroke: var(--ink); stroke-width: 1.5 }
    .map .effects rect { rx: 24 } .map .findings rect { fill: var(--wash); stroke-dasharray: 5 3 }
    .map .complaints rect, .map .checks rect { fill: var(--wash2) }
    .map .here rect { stroke-width: 4; stroke: var(--deep) }
    .map text { fill: var(--ink) } .map .head { font-weight: 700; font-size: 15px }
    .map path { fill: none; stroke: var(--line) }
    .map a { cursor: pointer } .map a:hover rect { fill: var(--wash2) } .map a:hover text { text-decoration: underline }
    .map a:focus-visible { outline: 4px solid var(--focus); outline-offset: 2px }
    """,
    js="""
    export default function ({ data, parentElement, setTriggerValue }) {
      const box = parentElement.querySelector(".map");
      if (box.dataset.of !== data.of) {
        box.dataset.of = data.of;
        box.setAttribute("aria-label", data.label);
        box.innerHTML = data.svg;
        const here = box.querySelector(".here");
        if (here) {
          const at = here.getBBox();
          box.scrollLeft = at.x + at.width / 2 - box.clientWidth / 2;
        }
      }
      box.onclick = (event) => {
        const card = event.target.closest("[data-card]");
        if (!card || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
        event.preventDefault();
        setTriggerValue("card", card.dataset.card);
      };
    }
    """,
)


def draw(picture: Picture, here: str, address: Mapping[str, str]) -> None:
    """Draw the map. here: address kind/id of the card in the middle; address: what else the address of a card holds."""
    label = "Map of what leads to this card and what it leads to; the list below says the same in words"
    data = {"svg": svg(picture, here, address), "of": here, "label": label}
    picked = _MAP(f"map-{here}", data, on_card_change=lambda: None)
    if picked.card:
        go(**address, card=str(picked.card))


def svg(picture: Picture, here: str, address: Mapping[str, str]) -> str:
    """The drawing. Every text of it is escaped."""
    texts = {node.name: _wrapped(node.title) for column in picture.columns for node in column}
    high = {name: max(48, LINE * len(lines) + 16) for name, lines in texts.items()}
    tops = layout(picture, high)
    left = {node.name: n * (WIDE + BETWEEN) + 8 for n, column in enumerate(picture.columns) for node in column}
    width = len(picture.columns) * (WIDE + BETWEEN) - BETWEEN + 16
    height = max(tops[n] + high[n] for n in tops) + 12
    parts = [f"<svg xmlns='http://www.w3.org/2000/svg' width='{width}' height='{height:.0f}'>"]
    parts += [
        f"<text class='head' x='{n * (WIDE + BETWEEN) + 8}' y='22'>{t(head)}</text>"
        for n, head in enumerate(picture.headings)
    ]
    parts += [_line(arrow, left, tops, high) for arrow in picture.arrows]
    where = "&amp;".join(f"{t(key)}={t(value)}" for key, value in address.items())
    for column in picture.columns:
        for node in column:
            parts.append(_card(node, texts[node.name], left[node.name], tops[node.name], high[node.name], here, where))
    return "".join([*parts, "</svg>"])


def layout(picture: Picture, high: Mapping[str, int]) -> dict[str, float]:
    """Upper edge of each card: the tallest column is stacked, the others stand beside what they hang together with."""
    stack = [sum(high[n.name] + APART for n in column) for column in picture.columns]
    first = stack.index(max(stack))
    bottom = TOP + max(stack)
    tops: dict[str, float] = {}
    y = float(TOP)
    for node in picture.columns[first]:
        tops[node.name] = y
        y += high[node.name] + APART
    beside: dict[str, list[str]] = {}
    for arrow in picture.arrows:
        beside.setdefault(arrow.source, []).append(arrow.target)
        beside.setdefault(arrow.target, []).append(arrow.source)
    for number in sorted((n for n in range(len(stack)) if n != first), key=lambda n: abs(n - first)):
        column = picture.columns[number]
        # a card alone in its column stands at the top, where the strongest of the others are
        wanted = {node.name: TOP if len(column) == 1 else _middle(node.name, beside, tops, high) for node in column}
        _place(sorted(column, key=lambda n: (wanted[n.name], n.title)), wanted, tops, high, bottom)
    return tops


def _middle(
    name: str, beside: Mapping[str, Sequence[str]], tops: Mapping[str, float], high: Mapping[str, int]
) -> float:
    placed = [tops[other] + high[other] / 2 for other in beside.get(name, ()) if other in tops]
    return sum(placed) / len(placed) if placed else float(TOP)


def _place(
    column: Sequence[Node],
    wanted: Mapping[str, float],
    tops: dict[str, float],
    high: Mapping[str, int],
    bottom: float,
) -> None:
    """As near to where each wants to be as the others leave room, from above and then from below."""
    least = float(TOP)
    for node in column:
        tops[node.name] = max(least, wanted[node.name] - high[node.name] / 2)
        least = tops[node.name] + high[node.name] + APART
    most = bottom
    for node in reversed(column):
        tops[node.name] = min(tops[node.name], most - high[node.name] - APART)
        most = tops[node.name]


def _wrapped(title: str) -> list[str]:
    lines = textwrap.wrap(title, LETTERS)
    return lines if len(lines) <= LINES else [*lines[: LINES - 1], lines[LINES - 1][: LETTERS - 1] + "…"]


def _line(arrow: Arrow, left: Mapping[str, int], tops: Mapping[str, float], high: Mapping[str, int]) -> str:
    wide, dashes = next((w, d) for words, w, d in STROKES if arrow.often in words or not words)
    x1, x2 = left[arrow.source] + WIDE, left[arrow.target]
    y1, y2 = (tops[n] + high[n] / 2 for n in (arrow.source, arrow.target))
    bend = (x2 - x1) / 2
    curve = f"M{x1} {y1:.0f} C{x1 + bend:.0f} {y1:.0f} {x2 - bend:.0f} {y2:.0f} {x2} {y2:.0f}"
    dashed = f" stroke-dasharray='{dashes}'" if dashes else ""
    return f"<path d='{curve}' stroke-width='{wide}'{dashed}/>"


def _card(node: Node, lines: Sequence[str], x: int, y: float, high: int, here: str, where: str) -> str:
    own = " here" if node.name == here else ""
    start = y + (high - LINE * len(lines)) / 2 + 14
    words = "".join(f"<tspan x='{x + 12}' y='{start + LINE * n:.0f}'>{t(line)}</tspan>" for n, line in enumerate(lines))
    label = f"{node.title} ({HEADS.get(node.kind, node.kind)}{', this card' if own else ''})"
    return (
        f"<a class='{t(node.kind)}{own}' href='?{where}&amp;card={t(node.name)}' data-card='{t(node.name)}' "
        f"aria-label='{t(label)}'><title>{t(label)}</title>"
        f"<rect x='{x}' y='{y:.0f}' width='{WIDE}' height='{high}' rx='4'/><text>{words}</text></a>"
    )
