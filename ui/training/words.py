"""What both sides of the training desk say and draw alike."""

from __future__ import annotations

from collections.abc import Callable

from diagnose.phrases import QUALIFICATIONS, ROLES
from diagnose.training.keeping import Kept
from diagnose.training.session import Session
from diagnose.training.world import machine_of
from knowledge.load import Knowledge
from knowledge.scenarios import DIFFICULTIES, TOPICS, Scenario
from shared.errors import ChillerError
from ui.components import Component
from ui.parts import facts, html, say_later, t

TRAINEE, TRAINER = "exercise", "training"
ANY = ""


def topic_word(topic: str) -> str:
    """A topic as shown; "" is any."""
    return TOPICS.get(topic, "any topic")


def difficulty_word(difficulty: str) -> str:
    """A difficulty as shown; "" is any."""
    return DIFFICULTIES.get(difficulty, "any difficulty")


def heading(screen: str, title: str, kicker: str) -> None:
    """The heading that names the screen and takes the focus."""
    html(f"<div data-screen='{t(screen)}'><p class='kicker'>{t(kicker)}</p><h1>{t(title)}</h1></div>")


def told_first(scenario: Scenario, knowledge: Knowledge) -> None:
    """What comes in with the call: complaint, words, machine, person."""
    machine = machine_of(scenario)
    able = ", ".join(QUALIFICATIONS[q] for q in scenario.qualified)
    html(
        f"<p class='ask'><b>{t(knowledge.complaints[scenario.complaint].title)}</b></p>"
        f"<blockquote class='say'>{t(scenario.words)}</blockquote>"
    )
    html(
        facts(
            [
                machine.name,
                machine.refrigerant,
                machine.capacity,
                f"at the machine: {ROLES[scenario.role]}{', qualified for ' + able if able else ''}",
                *(knowledge.contexts[c].title for c in scenario.context),
            ]
        )
    )


def bar(session: Session) -> None:
    """Minutes spent of those allowed, and safety marks: words and a bar that says the same."""
    spent, allowed = session.minutes, session.scenario.minutes
    share = min(100.0, 100.0 * spent / allowed)
    marks = f"; safety marks: {session.marks}" if session.marks else ""
    html(
        f"<div class='rail-head'><b>{t(session.scenario.title)}</b><span>{spent:.0f} of {allowed:.0f} min"
        f"{' (time is up)' if session.late else ''}{marks}</span></div>"
        "<div style='height:.7rem;border:2px solid var(--ink);border-radius:.2rem' aria-hidden='true'>"
        f"<div style='height:100%;width:{share:.0f}%;background:var(--ink)'></div></div>"
    )


def receipt(kept: Kept) -> None:
    """What the last choice gave, and that it was saved; a choice that was stopped says why."""
    session = kept.session
    if not session.happenings:
        return
    last, number = session.happenings[-1], len(session.happenings)
    if last.kind == "stopped":
        marks = f"{last.marks} safety mark{'' if last.marks == 1 else 's'}"
        html(
            f"<section class='stopbox' role='alert'><h2>Stopped</h2><p><b>{t(last.title)}</b></p><p>{t(last.why)}</p>"
            f"<p>Not done, {marks}. Step {number} saved.</p></section>"
        )
        return
    html(
        f"<p class='receipt' role='status'><strong>{'<br>'.join(t(part) for part in last.told.split('; '))}</strong>"
        f"{t(last.title)}, {last.minutes:.0f} min. "
        f"Step {number} saved.</p>"
    )


# Markup from strangers loses its drawings, and rightly so; ours go in by their own door.
_PLOT = Component(
    "chiller_training_plot",
    html="<div class='plot'></div>",
    css=".plot svg { display: block; width: 100%; max-width: 46rem; border: 2px solid var(--line) }",
    js="export default function ({ data, parentElement }) { parentElement.querySelector('.plot').innerHTML = data.svg }",
)


def plot(svg: str, key: str) -> None:
    """Draw a plot of our own making."""
    _PLOT(key, {"svg": svg})


def log(session: Session) -> None:
    """Everything done so far."""
    rows = "".join(
        f"<tr><td>{n}</td><td><b>{t(h.title)}</b><br>{t(h.told or h.why)}</td><td>{h.minutes:.0f} min</td></tr>"
        for n, h in enumerate(session.happenings, 1)
    )
    html(f"<table class='log'>{rows}</table>" if rows else "<p>Nothing was done yet.</p>")


def trying(act: Callable[[], object]) -> bool:
    """Do something; what cannot be done is said on the next screen. Whether it was done."""
    try:
        act()
    except ChillerError as error:
        say_later(error.line())
        return False
    return True
