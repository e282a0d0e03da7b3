"""The causal chain of a suspect as boxes from cause to complaint."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from html import escape

from diagnose.chart import INK, PAPER

WIDE, EDGE, LINE, GAP = 360.0, 10.0, 18.0, 26.0
LETTERS = 42


def chain_words(links: Sequence[str]) -> str:
    """The chain as one sentence."""
    return " leads to ".join(f"“{one}”" for one in links)


def chain_svg(links: Sequence[str]) -> str:
    """One box below the other with an arrow between; "" for fewer than two links."""
    if len(links) < 2:
        return ""
    parts, y = [], EDGE
    for number, text in enumerate(links):
        lines = textwrap.wrap(text, LETTERS) or [""]
        high = 14.0 + LINE * len(lines)
        if number:
            parts.append(
                f'<path d="M{WIDE / 2:g} {y - GAP:g} V{y - 7:g}" stroke="{INK}" stroke-width="2" fill="none"/>'
                f'<path d="M{WIDE / 2 - 6:g} {y - 9:g} L{WIDE / 2:g} {y - 1:g} L{WIDE / 2 + 6:g} {y - 9:g} Z" fill="{INK}"/>'
            )
        weight = 3 if number in (0, len(links) - 1) else 1.5
        parts.append(
            f'<rect x="{EDGE:g}" y="{y:g}" width="{WIDE - 2 * EDGE:g}" height="{high:g}" fill="{PAPER}" stroke="{INK}" '
            f'stroke-width="{weight:g}"/>'
        )
        for row, line in enumerate(lines):
            parts.append(
                f'<text x="{WIDE / 2:g}" y="{y + 20 + LINE * row:g}" text-anchor="middle">{escape(line)}</text>'
            )
        y += high + GAP
    high = y - GAP + EDGE
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:g} {high:g}" width="100%" role="img" '
        f'font-family="sans-serif" font-size="14" fill="{INK}"><title>{escape(chain_words(links))}</title>'
        f"{''.join(parts)}</svg>"
    )
