"""Suspects with what fits, what does not and what was not checked; contradictions; other checks."""

from __future__ import annotations

from functools import partial

import streamlit as st

from diagnose.advice import Reason, Suspect
from diagnose.phrases import at_place, early, likely, minutes, suspect_title, unchecked
from knowledge.outcomes import NOT_FOUND
from ui.field.acts import Desk, close
from ui.parts import bullet_list, drawer, html, md, pegs, t
from ui.taps import go, offer

SHOWN = 5
OPEN = 2


def draw(desk: Desk) -> None:
    """Draw the ranking and everything that bears on how far to trust it."""
    advice = desk.advice
    rows = ["<h2>What it may be</h2>"]
    if early(advice):
        rows.append("<p>Early: hardly anything speaks on these yet, so this is mostly what is common.</p>")
    rows += [_suspect(desk, s, n, early(advice)) for n, s in enumerate(advice.suspects[:SHOWN])]
    if not advice.suspects:
        rows.append("<p>No suspects yet.</p>")
    html("".join(rows))
    waiting = [
        f"{at_place(_plain(desk, n.finding), n.place)}: {n.why.removeprefix('Not judged: ')} Until: {n.until}"
        for n in advice.not_judged
    ]
    html(
        bullet_list("These contradict each other", advice.contradictions)
        + bullet_list("Not judged yet", waiting)
        + bullet_list("Doubts", advice.doubts)
        or "<span></span>"
    )


def _plain(desk: Desk, finding: str) -> str:
    card = desk.knowledge.findings.get(finding)
    return card.title if card else finding.replace("-", " ")


def _lines(mark: str, word: str, texts: tuple[str, ...]) -> str:
    return "".join(f"<li>{mark} <b>{word}:</b> {t(text)}</li>" for text in texts)


def _texts(reasons: tuple[Reason, ...], most: int = 4) -> tuple[str, ...]:
    return tuple(r.text for r in reasons[:most])


def _suspect(desk: Desk, suspect: Suspect, number: int, thin: bool) -> str:
    found = likely(suspect.probability)
    body = (
        "<ul>"
        + _lines("✓", "Fits", _texts(suspect.for_))
        + _lines("✗", "Does not fit", _texts(suspect.against))
        + _lines("○", "Not checked", unchecked(suspect, desk.knowledge))
        + "</ul>"
    )
    more = "".join(
        f"<p><b>{title}:</b> {t(text)}</p>"
        for title, text in (
            ("How it comes about", " → ".join(suspect.chain)),
            ("How it shows", suspect.shows),
            ("This would be wrong if", suspect.wrong_when),
        )
        if text
    )
    if number >= OPEN:
        body, more = "", body + more
    details = f"<details><summary>More about this one</summary>{more}</details>" if more else ""
    return (
        f"<section class='suspect'><h3>{number + 1}. {t(suspect_title(suspect))}</h3>"
        f"<p>{pegs(found, thin)} {t(found.text)}</p>{body}{details}</section>"
    )


def none_fits(desk: Desk) -> None:
    """A real way out: nothing of what is known explains this; said, stored, and handed on with everything told."""
    box = drawer("None of these fits", desk.key("drawer-none-fits"))
    if not box:
        return
    with box:
        html(
            "<p>If nothing above explains what you see: leave the machine safe, note in your own words what does not fit, "
            "and hand the call on. The report says what was ruled out and what was not checked.</p>"
        )
        words = st.text_area("What does not fit?", key=desk.key("none-words"), max_chars=2000,
                             placeholder="In your own words")  # fmt: skip
        with st.container(key="rows-none"):
            if st.button("None of these fits: close this call so", key=desk.key("none-fits"), width="stretch"):
                close(desk, "none-fits", (words or "").strip(), causes=(NOT_FOUND,))


def other_checks(desk: Desk, shown: str) -> None:
    """The list to jump from; what was put aside stands there too."""
    with st.container(key="rows-jump"):
        for number, step in enumerate(desk.advice.next):
            name = f"{step.id}@{step.place}"
            if name == shown or step.kind not in ("observe", "reconfigure"):
                continue
            aside = "put aside, " if (step.id, step.place) in desk.call.set_aside else ""
            length = f" ({aside}{minutes(step.minutes)})" if step.minutes else ""
            jump = partial(go, **desk.address, call=desk.call.id, step=name)
            offer(md(step.title + length), desk.key("jump", number, step.id, step.place), jump, width="stretch")
