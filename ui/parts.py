"""Small pieces of screen that all desks draw. Every text is escaped here: whoever calls passes plain text."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import datetime
from html import escape
from pathlib import Path

import streamlit as st
from streamlit.elements.lib.mutable_expander_container import ExpanderContainer

from diagnose.phrases import Likelihood
from ui.components import Component

_FOCUS = Component(
    "chiller_focus",
    html="<p role='status' aria-live='polite' class='live'></p>",
    css=".live { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%) }",
    js="""
    export default function ({ data, parentElement }) {
      if (!data || window.__chillerScreen === data.screen) return;
      const first = window.__chillerScreen === undefined;
      window.__chillerScreen = data.screen;
      const line = parentElement.querySelector(".live");
      if (line) line.textContent = data.say;
      if (first) return;
      const heading = document.querySelector("[data-screen] h1");
      if (heading) { heading.setAttribute("tabindex", "-1"); heading.focus({ preventScroll: true }); }
      const main = document.querySelector("[data-testid=stMain]");
      if (main) main.scrollTo({ top: 0 });
    }
    """,
)


def style() -> None:
    """The look of all desks."""
    st.html(Path(__file__).parent / "look.css")


def announce(screen: str, say: str) -> None:
    """Tell a screen reader that the screen changed and move the focus to its heading."""
    _FOCUS("focus", {"screen": screen, "say": say})


def drawer(title: str, key: str, *, opened: bool = False) -> ExpanderContainer | None:
    """A drawer; its container while it is open, None while it is shut: what nobody looks at is not drawn."""
    box = st.expander(title, key=key, on_change="rerun", expanded=opened)
    return box if box.open else None


def html(text: str) -> None:
    """Draw markup made by these functions."""
    st.html(text)


def t(text: object) -> str:
    """Text for markup."""
    return escape(str(text), quote=True)


def md(text: object) -> str:
    """Text for a label of Streamlit, which reads Markdown: nothing in it is markup any more.

    >>> md("open *now* [x](y)")
    'open \\\\*now\\\\* \\\\[x\\\\]\\\\(y\\\\)'
    """
    return re.sub(r"([\\`*_{}\[\]()#+\-.!|~$:<>&])", r"\\\1", " ".join(str(text).split()))


def pegs(likely: Likelihood, early: bool = False) -> str:
    """Ten pegs, as many filled as tenths; the words stand beside them, so screen readers skip the pegs."""
    filled = "".join(f"<i class='{'on' if n < likely.tenths else ''}'></i>" for n in range(10))
    return f"<span class='pegs{' early' if early else ''}' aria-hidden='true'>{filled}</span>"


def facts(items: Iterable[str]) -> str:
    """Short facts in a row."""
    rows = "".join(f"<li>{t(item)}</li>" for item in items if item)
    return f"<ul class='facts'>{rows}</ul>" if rows else ""


def signal_box(word: str | None, text: str) -> str:
    """A safety message: the signal word first, then hazard and what to do; without one, just what to mind."""
    kind, title = (word.lower(), word) if word else ("mind", "Mind this first")
    return f"<div class='signal {kind}' role='note'><b>{t(title)}</b><p>{t(text)}</p></div>"


def bullet_list(title: str, items: Sequence[str]) -> str:
    """A titled list, "" when it is empty."""
    rows = "".join(f"<li>{t(item)}</li>" for item in items)
    return f"<h2>{t(title)}</h2><ul>{rows}</ul>" if rows else ""


def clock(at: datetime) -> str:
    """A moment on this machine's clock: the time, with the day unless it is today."""
    local = at.astimezone()
    today = datetime.now().astimezone().date()
    return f"{local:%H:%M}" if local.date() == today else f"{local:%d %b %H:%M}".lstrip("0")


def name_field() -> str:
    """The field for the name of whoever answers; kept on this device from screen to screen."""
    typed = st.text_input(
        "Your name, for the record",
        value=st.session_state.get("name", ""),
        key="by",
        placeholder="as it shall stand in the report",
        max_chars=100,
    )
    st.session_state["name"] = (typed or "").strip()
    return str(st.session_state["name"])


def say_later(text: str) -> None:
    """A line for the next screen: what went wrong, or what was done."""
    st.session_state["say"] = text


def say_now() -> None:
    """Draw the line kept for this screen, once."""
    text = st.session_state.pop("say", "")
    if text:
        html(f"<p class='receipt' role='alert'>{t(text)}</p>")
