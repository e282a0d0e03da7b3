"""Our own pieces of screen with a script in the browser, all made here.

Two traps of Streamlit are shut off here. A key with two underscores side by side is refused while the screen is drawn, and ids of
calls are random text in which such a pair turns up now and then: everything below the piece would be missing, for good. And
data that holds a list, or is no mapping, makes it load its table libraries (a second, some 80 MB) to see whether it is a table.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import streamlit as st

Scalar = str | int | float | bool | None


def safe_key(key: str) -> str:
    """A key with no two underscores side by side and none at its end; keys that differ stay different.

    >>> safe_key("wait-Hc9X__0jQ_"), safe_key("any-value-flow")
    ('wait-Hc9X_._.0jQ_.', 'any-value-flow')
    """
    return key.replace("_", "_.")


class Component:
    """One kind of piece; call it to draw one. Make it once, when its module is loaded."""

    def __init__(self, name: str, *, html: str, css: str, js: str) -> None:
        self._mount = st.components.v2.component(name, html=html, css=css, js=js)

    def __call__(self, key: str, data: Mapping[str, Scalar] | None = None, **on_change: Callable[[], None]) -> Any:
        """Draw it. data: plain values by name, given to the script; on_change: see Streamlit's components."""
        given = None if data is None else dict(data)
        return self._mount(key=safe_key(key), data=given, height="content", **on_change)
