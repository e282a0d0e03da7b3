"""Scenario, session and debrief as plain text."""

from __future__ import annotations

from diagnose.phrases import QUALIFICATIONS, ROLES
from diagnose.training.debrief import Debrief
from diagnose.training.plot import belief_words
from diagnose.training.session import Session
from diagnose.training.world import machine_of
from knowledge.load import Knowledge
from knowledge.scenarios import DIFFICULTIES, TOPICS, Scenario


def brief_text(scenario: Scenario, knowledge: Knowledge) -> str:
    """What the trainee is told before the first look. Nothing of what is wrong."""
    machine = machine_of(scenario)
    able = ", ".join(QUALIFICATIONS[q] for q in scenario.qualified)
    context = "; ".join(knowledge.contexts[c].title for c in scenario.context)
    lines = [
        f"{scenario.title} ({DIFFICULTIES[scenario.difficulty]}; {', '.join(TOPICS[t] for t in scenario.topics)})",
        "Invented: none of this happened.",
        f'Complaint: {knowledge.complaints[scenario.complaint].title}. The caller: "{scenario.words}"',
        f"Machine: {machine.name or 'not named'}; {machine.refrigerant or 'refrigerant not told'}; {machine.capacity or 'size not told'}",
        f"At the machine: {ROLES[scenario.role]}{' qualified for ' + able if able else ''}.",
        *([f"Circumstances: {context}."] if context else []),
        f"Time allowed: {scenario.minutes:g} min.",
    ]
    return "\n".join(lines)


def spoiler_text(scenario: Scenario, knowledge: Knowledge) -> str:
    """What is wrong, for the trainer."""
    lines = [
        *(
            f"  {f.cause} {f.place} severity {f.severity:g}{' acts as ' + f.acts_as if f.acts_as else ''}".rstrip()
            for f in scenario.faults
        ),
        *(f"  {lie.instrument} reads {lie.mode} {lie.quantity} {lie.place}".rstrip() for lie in scenario.lies),
    ]
    own = [
        f"  {name}: {a.says or a.answer or ', '.join(a.readings.values())}{'' if a.honest else ' (wrong)'}"
        for name, a in scenario.answers.items()
    ]
    return "\n".join(
        [
            "What is wrong:",
            *(lines or ["  nothing"]),
            *(["Answers of the author:", *own] if own else []),
            f"Should end: {scenario.ends}",
            "The debrief points at:",
            *(f"  - {p}" for p in scenario.points),
        ]
    )


def standing_text(session: Session) -> str:
    """Minutes and marks in one line."""
    marks = f", safety marks {session.marks}" if session.marks else ""
    return f"[{session.minutes:.0f} of {session.scenario.minutes:g} min{marks}]"


def debrief_text(one: Debrief) -> str:
    """The debrief for a terminal or a mail."""
    lines = [
        f"{one.title} ({one.difficulty}, {one.mode}){' by ' + one.trainee if one.trainee else ''}",
        "",
        "What was there:",
        *(f"  {line}" for line in one.truth),
        f"Named: {', '.join(one.named) or 'nothing'}; ended: {one.ended or 'not at all'}; should have been: {one.should_end}",
        "",
        f"Score {one.score} of 100",
        *(f"  {p.what:14s}{p.got:5.1f} of {p.most:3.0f}  {p.why}" for p in one.points),
        "",
        f"Your path, {one.minutes:.0f} of {one.allowed:.0f} min{' (over time)' if one.late else ''}:",
    ]
    for s in one.steps:
        mark = "*" if s.on_path else " "
        lines.append(
            f" {mark}{s.number:2d}. {s.title}  [{s.minutes:.0f} min]{'  STOPPED, ' + str(s.marks) + ' marks' if s.marks else ''}"
        )
        lines += [f"      {text}" for text in (s.told, s.why, s.lesson) if text]
    lines += ["", f"The planner's path, {one.planner.minutes:.0f} min (* above: also on it):"]
    lines += [f"  {n:2d}. {s.title}  [{s.minutes:.0f} min]: {s.told}" for n, s in enumerate(one.planner.steps, 1)]
    ended = (
        one.planner.stop
        and f"stopped by {one.planner.stop}"
        or f"{one.planner.verdict}: {', '.join(one.planner.causes) or 'none'}"
    )
    lines += [f"      {ended}", "", belief_words(one), "", "Look at:", *(f"  - {p}" for p in one.look_at)]
    lines += [f"  Cure: {c}" for c in one.cures]
    return "\n".join(lines)
