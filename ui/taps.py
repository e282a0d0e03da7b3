"""Rows that do something: what was tapped is done before anything is drawn, so that one tap costs one drawing.

A row is offered with what it does. When it is tapped, the next run finds it among the rows of the last
drawing and does it first. A tap that comes with a fresh session (after a restart, or hours later) finds no
such list; then the return value of the button, whose key holds call, revision and question, says the same.
What is done must not depend on values drawn with the row: a field may have changed with the same tap, so an
act reads fields from the session's state.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import streamlit as st

_ROWS, _DONE, _DOING = "rows-of-last-drawing", "row-just-done", "doing-a-row"
Act = Callable[[], None]


def offer(label: str, key: str, act: Act, **look: Any) -> None:
    """Draw a row; ``act`` is done when it is tapped, before the next screen is drawn."""
    st.session_state.setdefault(_ROWS, {})[key] = act
    if st.button(label, key=key, **look) and st.session_state.get(_DONE) != key:
        act()
        st.rerun()


def do_tapped() -> None:
    """Do what was tapped on the last drawing; the first thing of a run."""
    rows: dict[str, Act] = st.session_state.pop(_ROWS, None) or {}
    st.session_state.pop(_DONE, None)
    for key, act in rows.items():
        if st.session_state.get(key) is True:
            st.session_state[_DONE], st.session_state[_DOING] = key, True
            try:
                act()
            finally:
                st.session_state[_DOING] = False
            return


def go(**params: str) -> None:
    """Show another screen: the address is all there is to know."""
    st.query_params.from_dict(params)
    if not st.session_state.get(_DOING):
        st.rerun()
