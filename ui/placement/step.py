"""One step: what can hurt first, what to do, why, what good looks like, figures worked out, then the answers, full width."""

from __future__ import annotations

from functools import partial

import streamlit as st

from diagnose.phrases import QUALIFICATIONS, hazard_words, minutes, signal
from diagnose.placement.amounts import figures, is_metric
from diagnose.placement.flow import flows, shows_flow, way_line
from diagnose.placement.page import answer_line, call_outcome, details
from diagnose.placement.plan import StepState
from diagnose.placement.record import Placement
from knowledge.placement import STAGES, PlacementStep
from shared.errors import ReadingError
from ui.parts import clock, facts, html, md, signal_box, t
from ui.placement import fields, photos
from ui.placement.acts import BAD, Desk, add, begin_trouble, keep_answer, stay
from ui.taps import go, offer

STUCK = "If nothing changes within five seconds of a tap, load the page again: what was saved is safe."


def heading(screen: str, title: str, kicker: str) -> None:
    """The heading that names the screen and takes the focus."""
    html(f"<div data-screen='{t(screen)}'><p class='kicker'>{t(kicker)}</p><h1>{t(title)}</h1></div>")


def draw(desk: Desk, one: StepState, *, anew: bool = False) -> None:
    """Draw a step. anew: also one that is answered already may be answered again."""
    card = one.card
    heading(card.id, card.title, f"{STAGES[card.stage]}, {minutes(card.minutes)}")
    before(desk, one)
    if card.id in desk.in_trouble:
        return
    if one.state == "waits":
        html(
            "<p class='ask'><b>This has to wait.</b></p><ul>" + "".join(f"<li>{t(w)}</li>" for w in one.waits) + "</ul>"
        )
        return
    if not desk.may(one):
        hand_over(desk, one)
        return
    if one.state == "done" and not card.again and not anew:
        with st.container(key="rows-soft-anew"):
            offer("Answer this step again", desk.key("anew", card.id), partial(stay, desk, step=card.id, anew="1"),
                  width="stretch")  # fmt: skip
        return
    cautions(card)
    html(f"<p class='ask'>{t(card.do)}</p>")
    if card.tools:
        html(facts([f"Bring: {', '.join(card.tools)}"]))
    html(f"<p class='why'><b>Why:</b> {t(card.why)}</p><p class='ask'><b>Good looks like this:</b> {t(card.good)}</p>")
    _waiting(desk, card)
    fields.draw(desk, card)
    _figures(desk, card, _with_typed(desk, card))
    answers(desk, card)
    st.caption(STUCK)


def before(desk: Desk, one: StepState) -> None:
    """What was answered before, and how its trouble call stands."""
    last = desk.now.last_answer(one.card.id)
    if last is None or (one.card.again and last.body.get("outcome", "done") == "done"):
        return
    said = answer_line(last, desk.knowledge).removeprefix(f"{one.card.title}: ")
    more = "".join(f"<br>{t(line)}" for line in details(last))
    html(f"<p class='why'><b>{t(clock(last.at))} {t(said)}</b> ({t(last.by)}){more}</p>")
    if last.body.get("outcome") != "not-right" or not one.card.not_right:
        return
    trouble = desk.now.trouble_of(one.card.id)
    if trouble is None:
        with st.container(key="rows-trouble-open"):
            offer("Open its trouble call", desk.key("trouble", one.card.id), partial(begin_trouble, desk, one.card.id),
                  width="stretch")  # fmt: skip
        return
    call = desk.calls.get(trouble.call)
    if call is not None and not call.open:
        html(
            f"<p class='ask'><b>Its trouble call is closed</b> ({t(call_outcome(call, desk.knowledge))}). "
            "Look at the step again.</p>"
        )


def trouble_boxes(desk: Desk) -> None:
    """The open trouble calls, each with its way to the field desk."""
    for step, call_id in desk.in_trouble.items():
        call, card = desk.calls.get(call_id), desk.knowledge.steps[step]
        complaint = desk.knowledge.complaints[card.not_right].title
        html(
            f"<section class='stopbox trouble' role='note'><h2>Trouble call open: {t(complaint)}</h2>"
            f"<p>From: {t(card.title)}. This step goes on when the call is closed.</p></section>"
        )
        if call is None:
            html("<p>It belongs to another team.</p>")
            continue
        with st.container(key=f"rows-trouble-{step}"):
            offer(md("Work on this call at the field desk"), desk.key("to-call", step), partial(go, call=call_id),
                  width="stretch", type="primary")  # fmt: skip


def cautions(card: PlacementStep) -> None:
    """What can hurt, before the step."""
    word, hazards = signal(card.hazards), hazard_words(card.hazards)
    if not card.cautions and not hazards:
        return
    lead = f"{hazards[0].upper()}{hazards[1:]}. " if hazards else ""
    html(signal_box(word, f"{lead}{' '.join(card.cautions)}"))


def hand_over(desk: Desk, one: StepState) -> None:
    """For whoever is not qualified: that it is for somebody else, and nothing of how it is done."""
    lacks = [q for q in one.card.needs_qualified if q not in desk.now.placement.qualified]
    who = " and ".join(QUALIFICATIONS[q] for q in lacks)
    html(
        f"<p class='ask'><b>For somebody qualified for {t(who)}.</b> Hand this step over. How it is done is shown once such a "
        "person is here and says so below, under “Who is here”.</p>"
    )
    _note(desk, one.card)
    with st.container(key="rows-soft"):
        offer("Leave this step out", desk.key("ans", one.card.id, "left"), partial(_answer, desk, one.card, "left"),
              width="stretch")  # fmt: skip
    _bad_line()


def _with_typed(desk: Desk, card: PlacementStep) -> Placement:
    """The placement with what is typed so far, as far as it can be read."""
    upto = desk.now.placement
    try:
        typed = fields.readable(fields.typed(desk, card))
    except ReadingError:
        return upto
    return upto.model_copy(update={"entries": (*upto.entries, typed)})


def _waiting(desk: Desk, card: PlacementStep) -> None:
    """The row that starts the countdown of an expected delay."""
    if card.wait_minutes:
        length = round(card.wait_minutes)
        with st.container(key="rows-soft-wait"):
            offer(f"Start the countdown: {minutes(length)}", desk.key("wait", card.id),
                  partial(add, desk, "wait", {"step": card.id, "minutes": length}, f"wait|{card.id}"),
                  width="stretch")  # fmt: skip


def _figures(desk: Desk, card: PlacementStep, upto: Placement) -> None:
    """Amounts of this step with what is typed so far; flow by every way there is."""
    for figure in figures(card, upto):
        if figure.lines:
            rows = "".join(f"<li>{t(line[0].upper() + line[1:])}</li>" for line in figure.lines)
            source = f"<p class='drawing-says'>Source: {t(figure.source)}</p>" if figure.source else ""
            html(f"<p class='ask'><b>{t(figure.title)}</b></p><ul class='results'>{rows}</ul>{source}")
        else:
            why = figure.problem or f"tell first: {', '.join(figure.lacks)}"
            html(f"<p class='ask'><b>{t(figure.title)}:</b> {t(why)}</p>")
        if figure.minutes >= 1:
            length = round(figure.minutes)
            with st.container(key="rows-soft-worked-out"):
                offer(f"Start the countdown: {minutes(length)}, as worked out", desk.key("wait-out", card.id),
                      partial(add, desk, "wait", {"step": card.id, "minutes": length}, f"wait|{card.id}|{length}"),
                      width="stretch")  # fmt: skip
    if shows_flow(card):
        found = flows(upto, desk.knowledge)
        if found.ways:
            rows = "".join(f"<li>{t(way_line(w, is_metric(upto)))}</li>" for w in found.ways)
            words = "".join(f"<p class='why'>{t(w)}</p>" for w in found.words)
            html(f"<p class='ask'><b>The flow so far</b></p><ul class='results'>{rows}</ul>{words}")


def _note(desk: Desk, card: PlacementStep) -> None:
    st.text_area("Note: what you saw, or why it is left out", key=fields.note_key(desk, card), max_chars=2000, height=80,
                 placeholder="In your own words")  # fmt: skip


def answers(desk: Desk, card: PlacementStep) -> None:
    """The three answers; what was seen, in words and pictures, before the two that need it."""
    _bad_line()
    with st.container(key="rows-answers"):
        offer("**Done, and good**", desk.key("ans", card.id, "done"), partial(_answer, desk, card, "done"),
              width="stretch", type="primary")  # fmt: skip
    _note(desk, card)
    photos.field(desk.key("photo", card.id))
    complaint = desk.knowledge.complaints[card.not_right].title if card.not_right else ""
    wrong = f"**Not right**  \n{md(f'Opens a trouble call: {complaint}')}" if complaint else "**Not right**"
    with st.container(key="rows-answers-not"):
        offer(wrong, desk.key("ans", card.id, "not-right"), partial(_answer, desk, card, "not-right"), width="stretch")
    with st.container(key="rows-soft"):
        offer("Cannot tell, or left out: the note says why", desk.key("ans", card.id, "left"),
              partial(_answer, desk, card, "left"), width="stretch")  # fmt: skip


def _answer(desk: Desk, card: PlacementStep, outcome: fields.Outcome) -> None:
    """Store an answer with everything that stands in the fields at this moment."""
    try:
        done = fields.typed(desk, card, outcome)
        pictures = photos.held(desk.key("photo", card.id))
    except ReadingError as error:
        st.session_state[BAD] = error.line()
        return
    if outcome == "not-right" and not card.not_right and not done.note:
        st.session_state[BAD] = "write in the note what is not right"
        return
    if missing := fields.lacking(desk, card, done):
        st.session_state[BAD] = f"still to be told: {', '.join(missing)}; or write in the note why not"
        return
    keep_answer(desk, done, pictures)


def _bad_line() -> None:
    line = st.session_state.pop(BAD, "")
    if line:
        html(f"<p class='echo bad' role='alert'>Nothing was stored. {t(line)}</p>")
