"""What would change the ranking, and why something else does not lead; worked out when somebody opens the drawer."""

from __future__ import annotations

import streamlit as st

from diagnose.text import turn_lines, why_text
from diagnose.why import why
from shared.errors import ChillerError
from ui import office
from ui.field.acts import Desk
from ui.parts import bullet_list, html, t


def what_would_change(desk: Desk) -> None:
    """On what the leading suspect hangs, and which answers would put another first."""
    lines = turn_lines(office.explained(desk.call))
    html(bullet_list("What would change this", lines) or "<p>Nothing known yet that the ranking could hang on.</p>")


def why_not(desk: Desk) -> None:
    """Ask about any cause in plain words."""
    asked = st.text_input(
        "Why not ...?", key=desk.key("why-not"), placeholder="a cause in your own words, e.g. low charge"
    )
    if not asked.strip():
        return
    try:
        answer = why(desk.call.case, desk.knowledge, asked)
    except ChillerError as error:
        html(f"<p role='status'>{t(error.line())}</p>")
        return
    html("".join(f"<p>{t(line)}</p>" for line in why_text(answer).splitlines() if line.strip()))
