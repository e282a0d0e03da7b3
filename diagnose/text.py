"""An Advice as plain text for the terminal."""

from __future__ import annotations

import textwrap

from diagnose.advice import Advice, Step, Suspect
from diagnose.places import spell
from diagnose.wording import likelihood

WIDTH = 100
SHOWN_SUSPECTS = 5
SHOWN_STEPS = 3


def _wrap(text: str, indent: str = "  ") -> str:
    return textwrap.fill(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def _where(place: str) -> str:
    return (
        f" ({spell(place)})"
        if place not in ("unit", "supply", "circuit", "compressor", "fan", "") and not place.startswith("pump:onboard")
        else ""
    )


def suspect_lines(suspect: Suspect, number: int) -> list[str]:
    """A suspect with what fits, what does not, what was not checked."""
    lines = [f"{number}. {suspect.title}{_where(suspect.place)}: {likelihood(suspect.probability)}"]
    if suspect.for_:
        lines.append(_wrap("fits: " + "; ".join(r.text for r in suspect.for_[:4]), "   "))
    if suspect.against:
        lines.append(_wrap("does not fit: " + "; ".join(r.text for r in suspect.against[:3]), "   "))
    if suspect.not_checked:
        lines.append(_wrap("not checked: " + "; ".join(suspect.not_checked[:3]), "   "))
    return lines


def step_lines(step: Step, number: int) -> list[str]:
    """One next step with its cautions before what to do."""
    lines = [f"{number}. {step.title} [{step.minutes:g} min]"]
    lines += [_wrap(f"CAREFUL: {c}", "   ") for c in step.cautions]
    lines.append(_wrap(step.ask, "   "))
    if step.answers:
        lines.append(
            _wrap("answers: " + " | ".join(f"{a.id} ({a.text})" for a in step.answers) + " | cannot-tell", "   ")
        )
    if step.reads:
        lines.append(_wrap("read: " + ", ".join(step.reads), "   "))
    lines.append(_wrap("why: " + step.why, "   "))
    return lines


def advice_text(advice: Advice) -> str:
    """The whole advice: stop first, then verdict, suspects, next steps, doubts."""
    out: list[str] = []
    if advice.stop is not None:
        out += [
            "STOP" if advice.stop.protects == "people" else "STOP (machine)",
            _wrap(advice.stop.reason),
            _wrap("Make safe: " + advice.stop.make_safe),
            _wrap("Hand over to: " + advice.stop.hand_over_to),
            "",
        ]
    out += [f"Hold: {f.hold_point}" for f in advice.fired if f.hold_point]
    if advice.verdict is not None:
        verdict = advice.verdict
        out += ["", f"VERDICT ({verdict.kind}): {verdict.title}", _wrap("Remedy: " + verdict.remedy)]
        if verdict.proof:
            out.append(_wrap("Proof of cure: " + verdict.proof))
        if verdict.would_tell:
            out.append(_wrap("What would tell: " + verdict.would_tell))
        out.append(f"  By: {verdict.who}")
    if advice.suspects and (advice.stop is None or not advice.stop.ends):
        out += ["", "Suspects"]
        for number, suspect in enumerate(advice.suspects[:SHOWN_SUSPECTS], 1):
            out += suspect_lines(suspect, number)
    if advice.next:
        out += ["", "Next"]
        for number, step in enumerate(advice.next[:SHOWN_STEPS], 1):
            out += step_lines(step, number)
    for title, rows in (
        ("Contradictions", advice.contradictions),
        ("Not judged", [f"{n.finding} ({spell(n.place)}): {n.why} {n.until}" for n in advice.not_judged]),
        ("Doubts", advice.doubts),
        ("Computed", [d.text for d in advice.derived]),
    ):
        if rows:
            out += ["", title, *(_wrap(r) for r in rows)]
    return "\n".join(out).strip()
