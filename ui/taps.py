"""Rows that do something: what was tapped is done before anything is drawn, so that one tap costs one drawing.

A row is offered with what it does. When it is tapped, the next run finds it among the rows of the last
drawing and does it first. A tap that comes with a fresh session (after a restart, or hours later) finds no
such list; then the return value of the button, whose key holds call, revision and question, says the same.
What is done must not depend on values drawn with the row: a field may have changed with the same tap, so an
act reads fields from the session's state.
"""

from __future__ import annotations

import contextvars
import threading
from collections.abc import Callable
from typing import Any

import streamlit as st
from streamlit.runtime.scriptrunner import add_script_run_ctx, get_script_run_ctx

_ROWS, _DONE, _DOING = "rows-of-last-drawing", "row-just-done", "doing-a-row"
Act = Callable[[], None]


def offer(label: str, key: str, act: Act, **look: Any) -> None:
    """Draw a row; ``act`` is done when it is tapped, before the next screen is drawn."""
    st.session_state.setdefault(_ROWS, {})[key] = act
    if st.button(label, key=key, **look) and st.session_state.get(_DONE) != key:
        act()
        st.rerun()


def do_tapped() -> None:
    """Do what was tapped on the last drawing; the first thing of a run, before anything is drawn.

    A run is broken off for the next request of its page wherever it touches the screen or the session, and the tap would be
    gone with it, or half done. In a thread of its own that does not happen.
    """
    failed: list[BaseException] = []

    def work() -> None:
        try:
            _do_tapped()
        except BaseException as error:
            failed.append(error)

    thread = threading.Thread(target=contextvars.copy_context().run, args=(work,))
    add_script_run_ctx(thread, get_script_run_ctx(suppress_warning=True))
    thread.start()
    thread.join()
    if failed:
        raise failed[0]


def _do_tapped() -> None:
    rows: dict[str, Act] = st.session_state.get(_ROWS) or {}
    # emptied, not deleted: an earlier run of the session that is still breaking off may be going through its keys
    st.session_state[_ROWS], st.session_state[_DONE] = {}, None
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
