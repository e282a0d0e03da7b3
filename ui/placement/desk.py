"""The frame of the placement desk: rail, trouble calls, the step that is due, and what stands around it."""

from __future__ import annotations

from functools import partial

import streamlit as st

from diagnose.phrases import QUALIFICATIONS
from diagnose.placement.keeping import kept
from diagnose.placement.now import current, going_back, gone_back
from diagnose.placement.page import answer_line, details
from diagnose.placement.plan import StepState
from knowledge.placement import STAGES
from ui import office, timer
from ui.field import rail
from ui.field.desk import drawers
from ui.parts import announce, clock, html, say_now, t
from ui.placement import listing, plate, record, step, trends
from ui.placement.acts import DESK, Desk, add, stay
from ui.taps import go, offer

MOST_TOLD = 3  # readings of an answer that its receipt names


def draw() -> None:
    """Draw what the address names: ?placement=ID one placement (&step=ID a step of it), else the list."""
    name = st.query_params.get("placement", "")
    if not name:
        listing.draw()
        return
    desk = Desk(office.records(), office.knowledge(), kept(office.records(), name))
    due = current(desk.seen, desk.now.placement, desk.knowledge, desk.in_trouble)
    asked = desk.seen.of(st.query_params.get("step", ""))
    _rail(desk, asked or due)
    left, right = st.columns([11, 9], gap="large")
    with left:
        _receipt(desk)
        say_now()
        shown = _main(desk, asked, due)
        if desk.now.open:
            drawers(("Note or photo", desk.key("drawer-note"), lambda: record.note(desk)))
    with right:
        drawers(
            ("All steps", f"drawer-steps-{desk.now.id}", lambda: record.all_steps(desk)),
            ("Baseline and rounds", f"drawer-rounds-{desk.now.id}", lambda: trends.draw(desk)),
            (_who_title(desk), desk.key("drawer-who"), lambda: record.who(desk)),
            ("Machine and pump in use", desk.key("drawer-plate"), lambda: plate.draw(desk)),
            ("Trouble calls", f"drawer-calls-{desk.now.id}", lambda: record.calls(desk)),
            ("What was done", f"drawer-told-{desk.now.id}", lambda: record.told(desk)),
            ("Report, return and end", desk.key("drawer-report"), lambda: record.report(desk)),
        )
    said = receipt_text(desk)
    announce(f"{desk.now.id} {desk.now.revision} {shown}", ": ".join(p for p in said if p) if said else "Placement")


def _who_title(desk: Desk) -> str:
    has = [QUALIFICATIONS[q] for q in desk.now.placement.qualified]
    return f"Who is here: {'qualified for ' + ', '.join(has) if has else 'nobody with a qualification'}"


def _rail(desk: Desk, one: StepState | None) -> None:
    """What must be seen whatever is scrolled: where it stands, what ends the work, what is waited for."""
    counted = [s for s in desk.seen.steps if not s.card.again]
    done = sum(s.state == "done" for s in counted)
    where = f"{done} of {len(counted)} steps" + (f", {STAGES[one.card.stage]}" if one else "")
    with st.container(key="rail"):
        with st.container(horizontal=True, wrap=False, gap="small", vertical_alignment="center", key="railtools"):
            offer("Placements", "placements", partial(go, desk=DESK))
            html(f"<div class='rail-head'><b>{t(desk.now.record.line.name)}</b><span>{t(where)}</span></div>")
            none = desk.now.record.last_undoable() is None or not desk.now.open
            offer("Take back", desk.key("undo"), partial(add, desk, "undo", {}, "undo"), disabled=none)
        html(record.strip(desk) + rail.stop_conditions(desk.knowledge))
        for wait in desk.now.countdowns(office.now()):
            card = desk.knowledge.steps.get(wait.step)
            timer.draw(timer.Wait(wait.number, round(wait.minutes), wait.left_s), f"wait-{desk.now.id}-{wait.number}",
                       card.title if card else "")  # fmt: skip


def receipt_text(desk: Desk) -> tuple[str, str] | None:
    """(what was stored and when, its content) of the last thing that happened; None for a placement just opened."""
    events = desk.now.record.events
    if not events:
        return None
    last = events[-1]
    if last.kind == "undo":
        target = next(e for e in events if e.number == last.body["of"])
        return f"Taken back {clock(last.at)}", answer_line(target, desk.knowledge)
    told = details(last)
    more = "; ".join(told[:MOST_TOLD]) + (f"; and {len(told) - MOST_TOLD} more" if len(told) > MOST_TOLD else "")
    return f"Entry {last.number} saved {clock(last.at)}", answer_line(last, desk.knowledge) + (
        f" ({more})" if more else ""
    )


def _receipt(desk: Desk) -> None:
    found = receipt_text(desk)
    if found:
        html(f"<p class='receipt' role='status'>{t(found[0])}<strong>{t(found[1])}</strong></p>")


def _main(desk: Desk, asked: StepState | None, due: StepState | None) -> str:
    """Draw what this screen is about and return its name."""
    if not desk.now.open:
        step.heading("ended", "This placement has ended", desk.now.placement.machine.name)
        html("<p class='ask'>Nothing more is asked. Its report is below; it can be opened again there.</p>")
        return "ended"
    one = asked or due
    if one is not None and one.card.id in desk.in_trouble:
        step.draw(desk, one)
        step.trouble_boxes(desk)
    else:
        step.trouble_boxes(desk)
        if one is not None and one.card.stage == "stay":
            trends.early_words(desk)
        if one is not None:
            step.draw(desk, one, anew=bool(st.query_params.get("anew")))
    if asked is not None and (due is None or asked.card.id != due.card.id):
        offer("Back to the step that is due", desk.key("back-to-due"), partial(stay, desk))
    if one is None:
        return _nothing_due(desk)
    if one.card.stage == "stay":
        with st.container(key="rows-soft-return"):
            record.begin_return(desk, "return-now")
    return one.card.id


def _nothing_due(desk: Desk) -> str:
    if gone_back(desk.seen) and going_back(desk.now.placement, desk.knowledge):
        step.heading("returned", "Returned", "Every step of the return is done")
        html(
            "<p class='ask'>The machine is drained: it gets neither power nor pump before it has been filled again. "
            "Take the report along, then end the placement.</p>"
        )
        with st.container(key="rows-returned"):
            record.end(desk)
        return "returned"
    step.heading("waiting", "Everything else waits", desk.now.record.line.name)
    for one in desk.seen.steps:
        if one.state == "waits" and one.card.stage != "return":
            html(f"<p class='ask'><b>{t(one.card.title)}</b> waits: {t('; '.join(one.waits))}</p>")
            break
    return "waiting"
