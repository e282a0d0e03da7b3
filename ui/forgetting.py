"""What a page no longer shows is forgotten by its session: the base library keeps a description of every widget a page ever had.

A question brings some twenty of them, so a long call, and fifty of them at once, would hold more memory with every answer.
"""

from __future__ import annotations

from streamlit.runtime.scriptrunner import get_script_run_ctx


def forget_old_widgets() -> int:
    """Drop the descriptions of widgets that hold no value any more; how many. To be called while a page is drawn anew.

    Whatever the library remembers on purpose (values kept by key) stays. Where a release keeps its books otherwise, nothing is done.
    """
    page = get_script_run_ctx(suppress_warning=True)
    try:
        state = page.session_state._state  # type: ignore[union-attr]
        described, keys, kept = state._new_widget_state.widget_metadata, state._key_id_mapper, state._old_state
        held = {*kept, *state._new_widget_state.states, *state._new_session_state}
        named = dict(keys.id_key_mapping)
    except AttributeError:
        return 0
    gone = [one for one in described if one not in held and named.get(one) not in held]
    for one in gone:
        del described[one]
        if one in named:
            keys.delete(named[one])
    return len(gone)
