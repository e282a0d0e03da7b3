"""One call at the telephone: what to read out, what to listen for, the answers one tap each, the log beside it."""

from __future__ import annotations

from functools import partial

import streamlit as st

from diagnose.advice import Step
from diagnose.phrases import ROLES as HAND_TO
from diagnose.phrases import entry_line, likely, minutes, suspect_title
from diagnose.store.records import OUTCOMES
from diagnose.telephone import MOST_MINUTES_WITHOUT_PROGRESS, last_progress, may_be_asked, sayable, stuck
from knowledge.models import Check
from knowledge.texts import TelephoneText, sounds_wrong, telephone
from ui import drawings, frame, office, person, timer
from ui.field import acts, closing, log, rail, values
from ui.field.acts import Desk
from ui.field.desk import drawers
from ui.field.question import answer, heading, how_sure, place_of, screen_of
from ui.parts import announce, clock, html, md, pegs, say_now, t
from ui.taps import go, offer
from ui.telephone import aloud, board
from ui.telephone.phrases import ENGLISH, LANGUAGES

SURE = {"sure": "Sure", "think-so": "Thinks so", "guess": "A guess"}
CANNOT = ("They cannot tell", "Ask this later")
SUSPECTS = 3


def draw(desk: Desk, language: str) -> None:
    """Draw the call."""
    now = office.now()
    _bar(desk)
    left, right = st.columns([12, 8], gap="large")
    with left:
        rail.receipt(desk)
        say_now()
        shown = _main(desk, language)
        if desk.call.open and desk.call.case.role != "technician":
            note = ("Note what they say", desk.key("drawer-note"), partial(log.note, desk))
            stopped = desk.advice.stop is not None and desk.advice.stop.ends
            drawers(
                *(() if stopped else (("They read a number", desk.key("drawer-reading"), partial(_number, desk)),)),
                note,
                *(() if stopped else (("Wait with them", desk.key("drawer-timer"), partial(log.wait, desk)),)),
            )
    with right:
        board.others(desk.call, now)
        html((_suspects(desk) if desk.advice.stop is None else "") + _log(desk))
        drawers(
            ("Take an answer back", desk.key("drawer-told"), partial(log.told, desk)),
            ("Who is at the machine", desk.key("drawer-who"), partial(_who, desk)),
            ("Report and close", desk.key("drawer-report"), partial(log.report, desk)),
        )
    receipt = rail.receipt_text(desk.call, desk.knowledge)
    announce(
        f"{desk.call.id} {desk.call.revision} {shown} {language}", ": ".join(receipt) if receipt else "Call opened"
    )


def _bar(desk: Desk) -> None:
    now = office.now()
    with st.container(key="rail"):
        stop = desk.advice.stop
        if stop is not None:
            html(f"<div class='rail-stop'>Stop. {t(stop.reason)}</div>")
        with st.container(horizontal=True, wrap=False, gap="small", vertical_alignment="center", key="railtools"):
            offer("Board", "board", partial(go, desk="telephone"))
            html(
                f"<div class='rail-head'><b>{t(desk.call.line.machine)}</b><span>{t(board.since(desk.call, now))}</span></div>"
            )
            none = desk.call.last_undoable() is None or not desk.call.open
            offer("Take back", desk.key("undo"), partial(acts.take_back, desk), disabled=none)
        html(rail.stop_conditions(desk.knowledge))
        wait = timer.running(desk.call, now)
        if wait is not None:
            timer.draw(wait, f"wait-{desk.call.id}-{wait.number}")
        elif desk.call.open and stop is None:
            quiet = (now - last_progress(desk.call, timer.ends(desk.call, now))).total_seconds()
            left = MOST_MINUTES_WITHOUT_PROGRESS * 60 - quiet
            if left > 0:
                timer.draw_limit(left, f"limit-{desk.call.id}")


def _main(desk: Desk, language: str) -> str:
    """Draw what this screen is about and return its name."""
    call = desk.call
    if not call.open:
        outcome = OUTCOMES.get(call.line.outcome, call.line.outcome)
        heading("closed", f"Closed: {outcome}", call.line.machine)
        return "closed"
    if call.case.role == "technician":
        return _with_technician(desk)
    why = stuck(call, office.now(), timer.ends(call, office.now()))
    if desk.advice.stop is not None:
        _language(desk, language)
        _stop(desk, language)
        if desk.advice.stop.ends:
            return "stop"
    elif why:
        html(f"<p class='receipt' role='alert'><strong>Time to hand over</strong>{t(why.capitalize())}.</p>")
        _over_row(desk, "Hand this call over", "stuck")
    if desk.advice.stop is None:
        _language(desk, language)
    step = _step(desk)
    if step is None or step.kind == "hand-over":
        title = step.title if step is not None else "Nothing more can be asked on the telephone"
        heading("over", title, "Hand over")
        aloud.phrase("hand-over", language)
        _over_row(desk, "Hand this call over", "end")
        return "over"
    if step.kind == "repair":
        heading(f"explain {step.id}", step.title, "What it is")
        aloud.phrase("done", language)
        html(f"<p class='ask'><b>Explain in your own words:</b> {t(step.ask)}</p><p class='why'>{t(step.why)}</p>")
        _explained(desk, step)
        return step.id
    _question(desk, step, desk.knowledge.checks[step.id], language)
    return f"{step.id}@{step.place}"


def _step(desk: Desk) -> Step | None:
    """The step the address asks for, else the first that nobody put off; only of those that may be said."""
    steps = sayable(desk.advice, desk.knowledge)
    asked = st.query_params.get("step", "")
    found = next((s for s in steps if f"{s.id}@{s.place}" == asked), None)
    waiting = (s for s in steps if (s.id, s.place) not in desk.call.set_aside)
    return found or next(waiting, steps[0] if steps else None)


def _language(desk: Desk, language: str) -> None:
    with st.container(horizontal=True, gap="small", key="languages"):
        for code, title in LANGUAGES.items():
            chosen = {"desk": "telephone", "call": desk.call.id, **({"lang": code} if code != ENGLISH else {})}
            kind = "primary" if code == language else "secondary"
            offer(title, f"lang-{code}", partial(go, **chosen), type=kind)
    aloud.review(language)


def _question(desk: Desk, step: Step, check: Check, language: str) -> None:
    text = telephone(desk.knowledge, check.id, language)
    number = sum(1 for e in desk.call.case.entries if e.check) + 1
    if step.again:
        aloud.phrase("again", language)
    html(
        f"<div data-screen='{t(screen_of(step, number))}'><p class='kicker'>Question {number}: {t(step.title)}</p>"
        f"<h1 class='say' lang='{t(language)}'>{t(text.telephone)}</h1></div>"
    )
    if language != ENGLISH:
        html(f"<p class='drawing-says'>In English: {t(check.telephone)} </p>")
    rows = (
        ("Listen for", check.listen_for),
        ("Sounds wrong", sounds_wrong(desk.knowledge, check.id)),
        ("Why this", step.why if step.again else check.why),
    )
    html("<dl class='coach'>" + "".join(f"<dt>{k}</dt><dd>{t(v)}</dd>" for k, v in rows if v) + "</dl>")
    if check.wait_minutes:
        length = round(check.wait_minutes)
        aloud.phrase("wait", language, minutes=length)
        started = partial(acts.keep, desk, f"wait|{length}", timer.entry(desk.call, length))
        with st.container(key="rows-soft-wait"):
            offer(f"Start the timer: {minutes(length)}", desk.key("wait-step", step.id), started, width="stretch")
    place = place_of(desk, step)
    if step.reads:
        aloud.phrase("number", language)
        back = partial(_read_back, language)
        values.answer_by_reading(desk, step, place or step.place, "customer-says", CANNOT, back)
    else:
        how_sure(desk, step, "How sure do they sound?", SURE, check.usually)
        _answers(desk, step, check, text, place)
        values.cannot_or_skip(desk, step, place or step.place, CANNOT)
    drawings.draw(check.id)


def _read_back(language: str, echoes: list[str]) -> None:
    """What was understood, to be said again before it is kept."""
    aloud.phrase("read-back", language, value="; ".join(echoes))


def _answers(desk: Desk, step: Step, check: Check, text: TelephoneText, place: str | None) -> None:
    usual = {"sure": str(check.usually), "who": "customer-says"}
    with st.container(key="rows-answers"):
        for position, choice in enumerate(step.answers, start=1):
            said = text.answers.get(choice.id, choice.text)
            label = f"**{md(said)}**" + (f"  \n{md(choice.text)}" if choice.text != said else "")
            offer(
                label,
                desk.key("ans", step.id, place or "none", choice.id),
                partial(answer, desk, step, choice.id, usual),
                width="stretch",
                shortcut=frame.shortcut(position),
            )


def _number(desk: Desk) -> None:
    values.at_any_time(desk, only=lambda quantity: may_be_asked(quantity, desk.knowledge), who="customer-says")


def _explained(desk: Desk, step: Step) -> None:
    rows = {"cured": "It comes right", "not-cured": "It does not come right"}
    with st.container(key="rows-did"):
        for outcome, text in rows.items():
            done = partial(acts.keep, desk, f"did|{step.id}", {"action": step.id, "outcome": outcome})
            offer(text, desk.key("did", step.id, outcome), done, width="stretch")
        if desk.advice.verdict is not None and desk.advice.verdict.kind == "normal":
            normal = partial(acts.close, desk, "normal", **closing.as_known(desk, "normal"))
            offer("Explained: close this call as normal", desk.key("normal"), normal, width="stretch")


def _stop(desk: Desk, language: str) -> None:
    stop = desk.advice.stop
    assert stop is not None
    heading(
        f"stop {stop.rule}",
        "Stop. Read this out now",
        f"Hand over to {HAND_TO.get(stop.hand_over_to, stop.hand_over_to)}",
    )
    aloud.phrase("stop", language, "halt")
    aloud.make_safe(stop.rule, stop.make_safe, language)
    if stop.ends:
        aloud.phrase("stop-hand-over", language, "halt")
    html(f"<p class='why'><b>Why:</b> {t(stop.reason)}</p><p class='why'><b>On the card:</b> {t(stop.make_safe)}</p>")
    _over_row(desk, "They are safe: hand this call over", "stop")


def _over_row(desk: Desk, label: str, why: str) -> None:
    with st.container(key=f"rows-over-{why}"):  # a drawer may offer it too
        over = partial(go, **desk.address, call=desk.call.id, over="1")
        offer(label, desk.key("to-over", why), over, type="primary", width="stretch")


def _with_technician(desk: Desk) -> str:
    heading("technician", "A technician is at the machine", "This call goes on at the field desk")
    html("<p class='ask'>Everything told so far is there. Nothing is asked on the telephone meanwhile.</p>")
    with st.container(key="rows-field"):
        offer("Open it at the field desk", desk.key("to-field"), partial(go, call=desk.call.id), type="primary",
              width="stretch")  # fmt: skip
        back = partial(acts.amend, desk, {"role": "customer", "qualified": []})
        offer("They left: somebody of the site is on the line again", desk.key("back-on-line"), back, width="stretch")
    return "technician"


def _who(desk: Desk) -> None:
    case = desk.call.case
    html(f"<p>At the machine: {t(person.ROLES.get(case.role, 'somebody of the site'))}.</p>")
    html("<p class='drawing-says'>To let a technician go on, hand the call over: then the field desk asks.</p>")
    _over_row(desk, "Hand this call over", "who")


def _suspects(desk: Desk) -> str:
    rows = []
    for suspect in desk.advice.suspects[:SUSPECTS]:
        found = likely(suspect.probability)
        rows.append(f"<li><b>{t(suspect_title(suspect))}</b><br>{pegs(found)} {t(found.text)}</li>")
    return f"<h2>What it may be</h2><p class='drawing-says'>For you, not to be read out.</p><ul class='results'>{''.join(rows)}</ul>"


def _log(desk: Desk) -> str:
    """The running log: everything told, the newest first, with its time."""
    call = desk.call
    rows = []
    for event in reversed(call.events):
        gone = " class='undone'" if event.number in call.undone else ""
        if event.kind == "entry":
            line = entry_line(call.entry_of(event), desk.knowledge)
            more = f" <span class='rail-quiet'>{t('; '.join(line.remarks))}</span>" if line.remarks else ""
            rows.append(f"<tr{gone}><td>{t(clock(event.at))}</td><td>{t(line.text)}{more}</td></tr>")
        elif event.kind in ("amend", "skip"):
            rows.append(
                f"<tr{gone}><td>{t(clock(event.at))}</td><td>{t(rail.event_line(call, event, desk.knowledge))}</td></tr>"
            )
    opened = f"<tr><td>{t(clock(call.line.opened_at))}</td><td>Opened by {t(call.line.opened_by)}. {t(call.case.words)}</td></tr>"
    head = "<thead class='seen'><tr><th>When</th><th>What</th></tr></thead>"
    return f"<h2>Log</h2><table class='log'>{head}<tbody>{''.join(rows)}{opened}</tbody></table>"
