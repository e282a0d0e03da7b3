"""The frame of the field desk: rail, the question (first on a phone), the ranking beside it."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import streamlit as st

from diagnose.advice import Step
from diagnose.phrases import ROLES
from diagnose.store import closing_of
from diagnose.store.records import OUTCOMES
from ui import office, pictures
from ui.field import calculate, closing, log, question, rail, ranking, reasons, values, verdict
from ui.field.acts import Desk, stay
from ui.parts import announce, drawer, html, md, say_now, t
from ui.taps import go, offer


def draw(call_id: str) -> None:
    """Draw one call. Raises StoreError when there is none."""
    call = office.records().call(call_id)
    desk = Desk(office.records(), office.knowledge(), call, office.advice_of(call))
    rail.draw(desk)
    left, right = st.columns([11, 9], gap="large")
    with left:
        rail.receipt(desk)
        say_now()
        _to_placement(desk)
        shown = _main(desk)
        if call.open:
            drawers(
                ("Give a reading", desk.key("drawer-reading"), lambda: values.at_any_time(desk)),
                ("Note something", desk.key("drawer-note"), lambda: log.note(desk)),
                ("Start a timer", desk.key("drawer-timer"), lambda: log.wait(desk)),
                ("Calculators", desk.key("drawer-calc"), lambda: calculate.choose(desk)),
            )
    with right:
        ranking.draw(desk)
        if call.open:
            ranking.none_fits(desk)
        if call.open:
            drawers(("Other checks", desk.key("drawer-jump"), lambda: ranking.other_checks(desk, shown)))
        drawers(
            ("What would change this", desk.key("drawer-turns"), lambda: reasons.what_would_change(desk)),
            ("Why not another cause?", f"drawer-why-{call.id}", lambda: reasons.why_not(desk)),
            ("Pictures", f"drawer-pictures-{call.id}", lambda: pictures.draw(desk)),
            ("What was told", f"drawer-told-{call.id}", lambda: log.told(desk)),
            ("Who is at the machine", desk.key("drawer-who"), lambda: log.who(desk)),
            ("Report and close", desk.key("drawer-report"), lambda: log.report(desk)),
        )
    announce(f"{call.id} {call.revision} {shown}", _said(desk))


def _to_placement(desk: Desk) -> None:
    """The way back to the placement this call came from."""
    came_from = desk.store.placements.of_call(desk.call.id)
    if came_from is not None:
        with st.container(key="rows-soft-placement"):
            offer(f"Back to the placement: {md(came_from.name)}", desk.key("to-placement"),
                  partial(go, desk="placement", placement=came_from.id), width="stretch")  # fmt: skip


def drawers(*rows: tuple[str, str, Callable[[], None]]) -> None:
    """Drawers one below the other: title, key, what to draw in it while it is open."""
    for title, key, draw_inside in rows:
        box = drawer(title, key)
        if box:
            with box:
                draw_inside()


def _said(desk: Desk) -> str:
    receipt = rail.receipt_text(desk.call, desk.knowledge)
    return ": ".join(part for part in receipt if part) if receipt else "Call opened"


def _main(desk: Desk) -> str:
    """Draw what this screen is about and return its name."""
    advice = desk.advice
    if not desk.call.open:
        outcome = OUTCOMES.get(desk.call.line.outcome, desk.call.line.outcome)
        question.heading("closed", f"Closed: {outcome}", desk.call.line.machine)
        if (ended := closing_of(desk.call)) is not None:
            closing.draw_ended(ended, desk.knowledge)
        html("<p class='ask'>Nothing more is asked. The report is below; the call can be opened again there.</p>")
        return "closed"
    _stop(desk)
    if calc := st.query_params.get("calc"):
        calculate.draw(desk, calc)
        return f"calc {calc}"
    asked = st.query_params.get("step", "")
    step = next((s for s in advice.next if f"{s.id}@{s.place}" == asked), None)
    if step is None and verdict.cured(desk):
        return "cured"
    if step is None and advice.verdict is not None:
        verdict.draw(desk, advice.verdict)
        return "verdict"
    if step is None:
        step = _first(desk)
    if step is None:
        question.heading("none", "Nothing more to ask", "No allowed look would tell more")
        return "none"
    name = f"{step.id}@{step.place}"
    others = sum(1 for s in advice.next if s.kind == "observe") - 1
    question.draw(desk, step, max(0, others))
    if asked:
        offer("Back to the proposed step", desk.key("back-to-proposed"), partial(stay, desk))
    return name


def _first(desk: Desk) -> Step | None:
    """The proposed step: the first one nobody put aside, else the first."""
    steps = desk.advice.next
    return next((s for s in steps if (s.id, s.place) not in desk.call.set_aside), steps[0] if steps else None)


def _stop(desk: Desk) -> None:
    stop = desk.advice.stop
    if stop is None:
        return
    over = f"<p>Hand over to {t(ROLES.get(stop.hand_over_to, stop.hand_over_to))}.</p>" if stop.hand_over_to else ""
    html(
        f"<section class='stopbox' role='alert'><h2>Stop</h2><p>{t(stop.reason)}</p>"
        f"<p><b>Make safe:</b> {t(stop.make_safe)}</p>{over}</section>"
    )
