"""Explanations at the field desk, worked out when a drawer is opened."""

from __future__ import annotations

from typing import Any


def test_what_would_change_it_is_said(desk: Any) -> None:
    screen = desk(call="demo-weak-flow")
    screen.open("drawer-turns")
    assert "What would change this" in screen.text
    assert "were it" in screen.text or "No single finding" in screen.text or "; then " in screen.text


def test_why_not_takes_plain_words_and_says_what_it_does_not_know(desk: Any) -> None:
    screen = desk(call="demo-weak-flow")
    screen.open("drawer-why")
    screen.do(screen.field("why-not").set_value("air in the loop"))
    assert "Ahead of all is" in screen.text or "It leads" in screen.text
    screen.do(screen.field("why-not").set_value("<b>qqqq zzzz</b>"))
    assert "<b>qqqq" not in screen.text
