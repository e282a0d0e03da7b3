"""The debrief on a screen: what was there, score with reasons, both paths, belief over the minutes."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from diagnose.training.debrief import Debrief, debrief
from diagnose.training.keeping import Kept
from diagnose.training.plot import belief_svg, belief_words
from diagnose.training.text import debrief_text
from ui import office
from ui.parts import announce, bullet_list, drawer, html, say_now, t
from ui.taps import offer
from ui.training import words


def draw(kept: Kept, leave: Callable[[], None]) -> None:
    """Draw the debrief of a session, finished or not."""
    one = debrief(kept.session, office.knowledge())
    words.heading(
        "debrief",
        f"{one.score} of 100",
        f"Debrief: {one.title} (invented), {one.trainee or 'nobody named'}, {one.mode} mode",
    )
    say_now()
    left, right = st.columns([11, 9], gap="large")
    with left:
        _truth(one)
        _points(one)
        _plot(one, kept.id)
    with right:
        html(bullet_list("Look at", one.look_at))
        html(bullet_list("The cure", one.cures))
        _planner(one)
    _steps(one)
    st.download_button(
        "Debrief as text", debrief_text(one), f"debrief-{one.scenario}.txt", "text/plain", key="tr-debrief-text"
    )
    offer("Leave", "tr-leave", leave)
    announce(f"debrief {kept.id}", f"Debrief, {one.score} of 100")


def _truth(one: Debrief) -> None:
    html(bullet_list("What was there", one.truth))
    html(
        f"<p><b>Named:</b> {t(', '.join(one.named) or 'nothing')}. <b>Ended:</b> {t(one.ended or 'not at all')}. "
        f"<b>It should have been:</b> {t(one.should_end)}.</p>"
    )


def _points(one: Debrief) -> None:
    rows = "".join(
        f"<tr><td><b>{t(p.what)}</b></td><td>{p.got:g} of {p.most:g}</td><td>{t(p.why)}</td></tr>" for p in one.points
    )
    html(f"<h2>Score</h2><table class='log'>{rows}</table>")


def _plot(one: Debrief, session_id: str) -> None:
    html(f"<h2>Belief over the minutes</h2><p>{t(belief_words(one))}</p>")
    words.plot(belief_svg(one), f"tr-plot-{session_id}")
    box = drawer("The same as numbers", f"tr-numbers-{session_id}")
    if box:
        with box:
            rows = "".join(
                f"<tr><td>{b.minutes:.0f} min</td><td>{round(10 * b.true)} in 10</td><td>{t(b.leader_title)}, {round(10 * b.leader_p)} in 10</td></tr>"
                for b in one.beliefs
            )
            html(f"<table class='log'><tr><th>after</th><th>what is there</th><th>who led</th></tr>{rows}</table>")


def _steps(one: Debrief) -> None:
    html(f"<h2>The path taken, {one.minutes:.0f} of {one.allowed:.0f} min</h2>")
    rows = []
    for s in one.steps:
        notes = [s.told, s.why, s.lesson, "The planner asked this as well." if s.on_path else ""]
        body = "<br>".join(t(n) for n in notes if n)
        marks = f"<br><b>{s.marks} safety marks</b>" if s.marks else ""
        rows.append(
            f"<tr><td>{s.number}</td><td><b>{t(s.title)}</b><br>{body}</td><td>{s.minutes:.0f} min{marks}</td></tr>"
        )
    html(f"<table class='log'>{''.join(rows)}</table>" if rows else "<p>Nothing was done.</p>")


def _planner(one: Debrief) -> None:
    rows = "".join(
        f"<tr><td>{n}</td><td><b>{t(s.title)}</b><br>{t(s.told)}</td><td>{s.minutes:.0f} min</td></tr>"
        for n, s in enumerate(one.planner.steps, 1)
    )
    end = "it stopped there" if one.planner.stop else f"it ended with: {one.planner.verdict.replace('-', ' ')}"
    html(f"<h2>The planner's path, {one.planner.minutes:.0f} min</h2><table class='log'>{rows}</table><p>{t(end)}</p>")
