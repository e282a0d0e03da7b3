"""A placement as plain text: what comes next, and the report of the whole stay."""

from __future__ import annotations

import textwrap

from diagnose.phrases import caution_line, minutes, signal
from diagnose.placement.amounts import figures
from diagnose.placement.plan import Outlook, StepState, outlook
from diagnose.placement.record import Placement
from diagnose.placement.trend import trend_of
from diagnose.placement.trend_text import trends_text
from knowledge.load import Knowledge
from knowledge.placement import SITE, STAGES
from shared.quantities import QUANTITIES

WIDTH = 100
MARKS = {"done": "x", "not-right": "!", "left": "-", "next": ">", "open": " ", "waits": " "}
SHOWN = 3


def _wrap(text: str, indent: str = "  ") -> str:
    return textwrap.fill(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def step_lines(one: StepState, placement: Placement) -> list[str]:
    """One step with its cautions before what to do."""
    card = one.card
    lines = [f"{card.title} [{minutes(card.minutes)}] ({card.id})"]
    if not set(card.needs_qualified) <= set(placement.qualified):
        # how it is done is not for whoever may not do it
        return [*lines, _wrap(f"For somebody qualified: {', '.join(card.needs_qualified)}. Hand this step over.")]
    word = signal(card.hazards)
    lines += [_wrap(caution_line(word, c)) for c in card.cautions]
    lines += [_wrap(card.do), _wrap(f"Why: {card.why}"), _wrap(f"Good: {card.good}")]
    if card.takes:
        lines.append(_wrap("Read: " + ", ".join(QUANTITIES[q].title for q in card.takes)))
    if card.asks:
        lines.append(_wrap("Ask: " + ", ".join(f"{SITE[k][0]} ({k})" for k in card.asks)))
    for figure in figures(card, placement):
        said = "; ".join(figure.lines) or figure.problem or f"tell first: {', '.join(figure.lacks)}"
        lines.append(_wrap(f"{figure.title}: {said}"))
    if card.wait_minutes:
        lines.append(_wrap(f"Then wait {minutes(card.wait_minutes)}."))
    if one.until is not None:
        lines.append(_wrap(f"A waiting time runs until {one.until.isoformat(timespec='minutes')}."))
    return lines


def next_text(placement: Placement, knowledge: Knowledge) -> str:
    """Where it stands, and the first few things to do now."""
    seen = outlook(placement, knowledge)
    done = sum(s.state == "done" for s in seen.steps)
    lines = [f"{placement.name or 'Placement'}: {done} of {len(seen.steps)} steps done"]
    lines += _table(seen)
    for one in seen.next[:SHOWN]:
        lines += ["", *step_lines(one, placement)]
    wrong = [s for s in seen.steps if s.state == "not-right"]
    for one in wrong:
        lines.append(
            _wrap(f"Not right: {one.card.title}" + (f" (call: {one.card.not_right})" if one.card.not_right else ""), "")
        )
    return "\n".join(lines)


def _table(seen: Outlook) -> list[str]:
    rows = []
    for stage, title in STAGES.items():
        own = [s for s in seen.steps if s.card.stage == stage]
        if own:
            rows.append(f"  {title:28s} " + " ".join(f"[{MARKS[s.state]}]" for s in own))
    return rows


def report_text(placement: Placement, knowledge: Knowledge) -> str:
    """Everything done, in order, with who, when, readings and figures of the site; how it stands against its baseline."""
    lines = [f"Placement report: {placement.name or 'no name'}"]
    for entry in placement.entries:
        step = knowledge.steps.get(entry.step)
        title = step.title if step is not None else entry.step
        head = f"{entry.at or '-'}  {title}: {entry.outcome.replace('-', ' ')}" + (f" ({entry.by})" if entry.by else "")
        lines += ["", head]
        for one in entry.readings:
            value = one.value if isinstance(one.value, str) else " / ".join(one.value)
            lines.append(_wrap(f"{QUANTITIES[one.quantity].title}{f' {one.place}' if one.place else ''}: {value}"))
        lines += [_wrap(f"{SITE[key][0]}: {value}") for key, value in entry.site.items()]
        if step is not None:
            lines += [_wrap(f"{f.title}: {'; '.join(f.lines)}") for f in figures(step, placement) if f.lines]
        if entry.note:
            lines.append(_wrap(f"note: {entry.note}"))
    trends = trend_of(placement, knowledge)
    if trends.baseline is not None:
        lines += ["", trends_text(trends, knowledge, placement.qualified)]
    seen = outlook(placement, knowledge)
    missing = [s.card.title for s in seen.steps if s.card.must and s.state in ("next", "waits") and not s.card.again]
    if missing:
        lines += ["", _wrap("Not done: " + "; ".join(missing), "")]
    return "\n".join(lines)
