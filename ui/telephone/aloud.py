"""Sentences as they stand on the screen to be read out, with their English below for whoever reads another language aloud."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from ui import office
from ui.parts import html, t
from ui.telephone.phrases import ENGLISH, read_out, stop_text

Text = Callable[[str], str]  # language -> what is said in it


def say(text: Text, language: str, kind: str = "") -> None:
    """Draw a sentence to be read out. kind: "halt" for one that ends the work."""
    below = f"<p class='drawing-says'>In English: {t(text(ENGLISH))}</p>" if language != ENGLISH else ""
    html(f"<blockquote class='say {t(kind)}' lang='{t(language)}'>{t(text(language))}</blockquote>{below}")


def phrase(name: str, language: str, kind: str = "", **values: object) -> None:
    """Draw a sentence of the desk itself."""
    say(partial(_phrase, name, values), language, kind)


def _phrase(name: str, values: dict[str, object], language: str) -> str:
    return read_out(language, name, **values)


def make_safe(rule: str, card: str, language: str) -> None:
    """Draw how a stop is made safe. card: the card's own words."""
    say(lambda spoken: stop_text(spoken, rule, card), language, "halt")


def review(language: str) -> None:
    """Draw who has read the texts of a language, or who must."""
    book = office.knowledge().texts.get(language)
    if book is not None and language != ENGLISH:
        html(f"<p class='drawing-says'>{t(book.title)} texts, review: {t(book.review)}.</p>")
