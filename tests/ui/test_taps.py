"""What a tap does is done whole, also when the page asks for something else meanwhile."""

from __future__ import annotations

from streamlit.testing.v1 import AppTest


def page() -> None:
    import streamlit as st
    from streamlit.runtime.scriptrunner import RerunData, get_script_run_ctx

    from ui.taps import do_tapped, offer

    def act() -> None:
        get_script_run_ctx().script_requests.request_rerun(RerunData())  # type: ignore[union-attr]
        for number in range(3):
            st.session_state["stored"] = number + 1

    do_tapped()
    offer("a row", "row", act)


def test_a_request_in_the_middle_breaks_nothing_off() -> None:
    app = AppTest.from_function(page).run()
    app.button(key="row").click().run()
    assert not app.exception and app.session_state["stored"] == 3


def broken() -> None:
    from ui.taps import do_tapped, offer

    def act() -> None:
        raise ValueError("what went wrong")

    do_tapped()
    offer("a row", "row", act)


def test_what_goes_wrong_is_told_where_the_page_is_drawn() -> None:
    app = AppTest.from_function(broken).run()
    app.button(key="row").click().run()
    assert [e.message for e in app.exception] == ["what went wrong"]
