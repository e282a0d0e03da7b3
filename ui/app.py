"""Router and frame: the address says what is shown. Run by Streamlit; start it with `python -m ui`."""

from __future__ import annotations

import logging

import streamlit as st

from shared.errors import ChillerError, StoreError
from ui import home, office, opening
from ui.field import desk
from ui.parts import html, style, t
from ui.taps import do_tapped

FAILED = (
    "<h1>This screen could not be drawn</h1><p>Nothing that was saved is lost. Load the page again. If it fails again: "
    "leave the machine off and safe, and go on with paper or hand over.</p>"
)


def main() -> None:
    """Draw the screen the address names: ?call=ID a call, ?new=1 a new call, else the list."""
    st.set_page_config(page_title="Chiller Diagnose", layout="wide", initial_sidebar_state="collapsed")
    style()
    try:
        office.open_records()
        do_tapped()
        call = st.query_params.get("call", "")
        if call:
            try:
                desk.draw(call)
            except StoreError as error:
                home.not_there(error.line())
        elif st.query_params.get("new"):
            opening.draw()
        else:
            home.draw()
    except Exception as error:
        if not isinstance(error, ChillerError):
            logging.getLogger(__name__).exception("a screen could not be drawn")
            html(FAILED)
            return
        html(f"<h1>The records cannot be read</h1><p>{t(error.line())}</p>")


main()
