"""Belief over the minutes as a drawing: own path and planner's, what is there and who led. Plain SVG, nothing is fetched."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from diagnose.training.debrief import Belief, Debrief

WIDE, HIGH = 400.0, 330.0  # as wide as a phone: its letters stay readable there
LEFT, RIGHT, TOP, BOTTOM = 30.0, 10.0, 26.0, 96.0
OWN, PLAN, LEAD = "#0b4f9e", "#8a3800", "#555555"
INK = "#111111"


def _points(beliefs: Sequence[Belief], most: float, leader: bool) -> str:
    """Steps: belief holds until the next answer."""
    width, height = WIDE - LEFT - RIGHT, HIGH - TOP - BOTTOM
    out: list[str] = []
    before: float | None = None
    for one in beliefs:
        x = LEFT + width * one.minutes / most
        y = TOP + height * (1.0 - (one.leader_p if leader else one.true))
        if before is not None:
            out.append(f"{x:.1f},{before:.1f}")
        out.append(f"{x:.1f},{y:.1f}")
        before = y
    if before is not None:
        out.append(f"{LEFT + width * max((b.minutes for b in beliefs), default=0.0) / most:.1f},{before:.1f}")
    return " ".join(out)


def belief_svg(one: Debrief) -> str:
    """The plot as one SVG element with a title that says what it shows."""
    most = max([b.minutes for b in (*one.beliefs, *one.planner.beliefs)] + [1.0])
    height, width = HIGH - TOP - BOTTOM, WIDE - LEFT - RIGHT
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:g} {HIGH:g}" width="100%" role="img" '
        f'font-family="sans-serif" font-size="13" fill="{INK}">',
        f"<title>{escape(belief_words(one))}</title>",
        f'<rect x="0" y="0" width="{WIDE:g}" height="{HIGH:g}" fill="#ffffff"/>',
    ]
    for tenth in (0, 5, 10):
        y = TOP + height * (1.0 - tenth / 10.0)
        parts.append(f'<line x1="{LEFT}" y1="{y:.1f}" x2="{WIDE - RIGHT}" y2="{y:.1f}" stroke="#bbbbbb"/>')
        parts.append(f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{tenth}</text>')
    parts.append(f'<text x="4" y="{TOP - 10}">belief, of 10</text>')
    for share in (0.0, 0.5, 1.0):
        x = LEFT + width * share
        anchor = "start" if share == 0.0 else "middle" if share == 0.5 else "end"
        parts.append(f'<text x="{x:.1f}" y="{HIGH - BOTTOM + 18}" text-anchor="{anchor}">{most * share:.0f} min</text>')
    for beliefs, leader, colour, dash in (
        (one.beliefs, True, LEAD, "2 4"),
        (one.planner.beliefs, False, PLAN, "8 4"),
        (one.beliefs, False, OWN, ""),
    ):
        style = f' stroke-dasharray="{dash}"' if dash else ""
        wide = 2 if dash else 3.5
        parts.append(
            f'<polyline points="{_points(beliefs, most, leader)}" fill="none" stroke="{colour}" stroke-width="{wide}"{style}/>'
        )
    for number, (text, colour, dash) in enumerate(
        (
            ("what is there, your path", OWN, ""),
            ("what is there, planner", PLAN, "8 4"),
            ("who led on your path", LEAD, "2 4"),
        )
    ):
        x, y = LEFT, HIGH - BOTTOM + 44 + 21 * number
        style = f' stroke-dasharray="{dash}"' if dash else ""
        parts.append(
            f'<line x1="{x}" y1="{y - 4}" x2="{x + 26}" y2="{y - 4}" stroke="{colour}" stroke-width="3"{style}/>'
        )
        parts.append(f'<text x="{x + 31}" y="{y}">{escape(text)}</text>')
    parts.append("</svg>")
    return "".join(parts)


def belief_words(one: Debrief) -> str:
    """The plot in one sentence."""
    own, plan = one.beliefs[-1], one.planner.beliefs[-1]
    return (
        f"Belief in what is there ended at {round(10 * own.true)} in 10 after {own.minutes:.0f} minutes on your path, "
        f"at {round(10 * plan.true)} in 10 after {plan.minutes:.0f} minutes on the planner's."
    )
