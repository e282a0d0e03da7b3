"""Router and frame: the address says what is shown. Run by Streamlit; start it with `python -m ui`."""

from __future__ import annotations

import logging
from importlib import import_module

import streamlit as st

from shared.errors import ChillerError, StoreError
from ui import home, office, opening, signin
from ui.field import desk
from ui.forgetting import forget_old_widgets
from ui.frame import foot
from ui.parts import html, style, t
from ui.taps import do_tapped

FAILED = (
    "<h1>This screen could not be drawn</h1><p>Nothing that was saved is lost. Load the page again. If it fails again: "
    "leave the machine off and safe, and go on with paper or hand over.</p>"
)
# ?desk=NAME -> the module whose draw() draws it; loaded when somebody opens it. A new desk is one line here and one in
# `home.WAYS`.
DESKS = {
    "telephone": "ui.telephone.desk",
    "exercise": "ui.training.exercise",
    "training": "ui.training.trainer",
    "rulebook": "ui.rulebook",
    "machines": "ui.machines",
    "placement": "ui.placement.desk",
}


def main() -> None:
    """Draw the screen the address names: ?desk=NAME a desk, ?call=ID a call at the field desk, ?new=1 a new call, else the list."""
    problem: Exception | None = None
    try:  # what was tapped comes before everything that another request of this page could break off
        office.open_records()
        do_tapped()
        forget_old_widgets()
    except Exception as error:
        problem = error
    st.set_page_config(page_title="Chiller Diagnose", layout="wide", initial_sidebar_state="collapsed")
    style()
    try:
        if problem is not None:
            raise problem
        try:
            _draw()
        except StoreError as error:
            home.not_there(error.line())
        foot()
        signin.draw_foot(office.records())
    except signin.NotSignedIn as error:
        signin.draw_sign_in(error.line())
    except Exception as error:
        if not isinstance(error, ChillerError):
            logging.getLogger(__name__).exception("a screen could not be drawn")
            html(FAILED)
            return
        html(f"<h1>The records cannot be read</h1><p>{t(error.line())}</p>")


def _draw() -> None:
    address = st.query_params
    named = address.get("desk", "")
    # an address that names no desk of ours is one of the field desk, or the list
    which = named if named in DESKS else "field" if address.get("call") or address.get("new") else ""
    if not signin.opens(who := office.records().person, which):
        signin.refuse(who, which)
    elif which in DESKS:
        import_module(DESKS[which]).draw()
    elif address.get("call"):
        desk.draw(address["call"])
    elif address.get("new"):
        opening.draw()
    else:
        home.draw()


main()
