"""An Advice as plain text for the terminal."""

from __future__ import annotations

import textwrap

from diagnose.advice import Advice, Lead, Step, Suspect
from diagnose.places import spell
from diagnose.why import Why
from diagnose.wording import likelihood, strength, times

WIDTH = 100
SHOWN_SUSPECTS = 5
SHOWN_STEPS = 3
SHOWN_TURNS = 4
CHAIN_ENDS = 2  # a chain of cause and complaint alone tells nothing


def _wrap(text: str, indent: str = "  ") -> str:
    return textwrap.fill(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def _where(place: str) -> str:
    return (
        f" ({spell(place)})"
        if place not in ("unit", "supply", "circuit", "compressor", "fan", "") and not place.startswith("pump:onboard")
        else ""
    )


def _named(lead: Lead | Suspect, percent: bool) -> str:
    return f"{lead.title}{_where(lead.place)}: {likelihood(lead.probability, percent)}"


def _numbered(text: str, number: int) -> str:
    return textwrap.fill(f"{number}. {text}", WIDTH, subsequent_indent="   ")


def suspect_lines(suspect: Suspect, number: int, percent: bool = False) -> list[str]:
    """A suspect with what fits, what does not, how it comes about, what was not checked."""
    lines = [_numbered(_named(suspect, percent), number)]
    if suspect.for_:
        lines.append(_wrap("fits: " + "; ".join(r.text for r in suspect.for_[:4]), "   "))
    if suspect.against:
        lines.append(_wrap("does not fit: " + "; ".join(r.text for r in suspect.against[:3]), "   "))
    if suspect.not_checked:
        lines.append(_wrap("not checked: " + "; ".join(suspect.not_checked[:3]), "   "))
    if len(suspect.chain) > CHAIN_ENDS:
        lines.append(_wrap("how: " + " -> ".join(suspect.chain), "   "))
    return lines


def step_lines(step: Step, number: int, percent: bool = False) -> list[str]:
    """One next step with its cautions before what to do."""
    takes = f"{step.minutes:g} min" + (", changes the set-up" if step.asks and step.kind == "reconfigure" else "")
    lines = [_numbered(f"{step.title} [{takes}]", number)]
    lines += [_wrap(f"CAREFUL: {c}", "   ") for c in step.cautions]
    lines.append(_wrap(step.ask, "   "))
    if step.answers:
        lines.append(
            _wrap(
                "answers: "
                + " | ".join(f"{a.id} ({a.text})" for a in step.answers)
                + ("" if step.puts_back else " | cannot-tell"),
                "   ",
            )
        )
    if step.reads:
        lines.append(_wrap("read: " + ", ".join(step.reads), "   "))
    lines.append(_wrap("why: " + step.why, "   "))
    lines += [_wrap(line, "   ") for line in then_lines(step, percent)]
    return lines


def then_lines(step: Step, percent: bool = False) -> list[str]:
    """Who leads after each answer of a look, answers with one and the same end together; none where that was not worked out."""
    ends: dict[str, list[str]] = {}
    for choice in (*step.answers, *step.tells):
        if choice.leads is not None:
            ends.setdefault(_named(choice.leads, percent), []).append(choice.text.rstrip("."))
    return [f"if {' / '.join(texts)}: then {end}" for end, texts in ends.items()]


def turn_lines(advice: Advice, percent: bool = False) -> list[str]:
    """On what the leading suspect hangs: evidence first, then the answers still to come."""
    if not advice.suspects:
        return []
    lead = advice.suspects[0]
    lines = []
    for turn in advice.turns:
        instead = f"were it instead: {turn.instead}" if turn.instead else "were it not known"
        if (turn.leads.cause, turn.leads.place) == (lead.cause, lead.place):
            still = likelihood(turn.leader_then, percent)
            lines.append(
                f"No single finding would put another first. Most hangs on: {turn.text}; {instead}, still {still}"
            )
        else:
            lines.append(f"{turn.text}; {instead}, {_named(turn.leads, percent)}")
    for step in advice.next:
        for choice in (*step.answers, *step.tells):
            there = choice.leads
            if there is not None and (there.cause, there.place) != (lead.cause, lead.place):
                lines.append(f"{step.title}: {choice.text.rstrip('.')}; then {_named(there, percent)}")
                break
    return lines[:SHOWN_TURNS]


def left_lines(advice: Advice) -> list[str]:
    """What was changed and not put back, and how it is put back."""
    return [f"{one.title}. {one.undo or 'Whoever takes over puts it back.'}" for one in advice.left_changed]


def three_lines(advice: Advice, percent: bool = False) -> list[str]:
    """The chance of three causes at once and the likeliest of these; nothing where it was not asked for."""
    three = advice.three
    if three is None:
        return []
    lines = [f"All together: {likelihood(three.probability, percent)} (a lower bound)"]
    return lines + [f"{'; '.join(one.titles)}: {likelihood(one.probability, percent)}" for one in three.likeliest]


def why_text(why: Why, percent: bool = False) -> str:
    """Why a suspect stands where it does."""
    suspect, other = why.suspect, why.against_whom
    first = "It leads; next comes" if why.rank == 1 else "Ahead of all is"
    out = [
        textwrap.fill(_named(suspect, percent), WIDTH),
        _wrap(f"number {why.rank} of all. {first} {_named(other, percent)}"),
        _wrap(f"how common: {why.common}; reported like this: {why.reported}"),
    ]
    for title, reasons in (("fits", why.for_), ("does not fit", why.against)):
        out += [_wrap(f"{title} ({strength(r.weight)}): {r.text}") for r in reasons]
    for title, likelier, side in (("for", "likelier", 1), ("against", "less likely", -1)):
        rows = [r for r in why.difference if r.weight * side > 0]
        if rows:
            out += [
                "",
                textwrap.fill(f"What speaks {title} it, compared with: {other.title}", WIDTH),
                *(_wrap(f"{times(r.weight)} {likelier}: {r.text}") for r in rows),
            ]
    if why.stopped:
        out += ["", _wrap(f"No look is offered, this call has to stop: {why.stopped}", "")]
    elif why.raises:
        out += ["", "What would bring it up"]
        for number, one in enumerate(why.raises, 1):
            hand = "" if one.may else f" (not by the person there; for {one.who})"
            hand += f" (first: {'; '.join(one.first)})" if one.may and one.first else ""
            out.append(_numbered(f"{one.title}{hand}", number))
            then = f"then {likelihood(one.probability, percent)}"
            ahead = (one.leads.cause, one.leads.place) == (suspect.cause, suspect.place)
            out.append(_wrap(f"if {one.answer.rstrip('.')}: {then}{', and it leads' if ahead else ''}", "   "))
    else:
        out += ["", "No look that is left would bring it up."]
    return "\n".join(out)


def advice_text(advice: Advice, percent: bool = False) -> str:
    """The whole advice: stop first, then verdict, suspects, next steps, doubts. percent: chances in per cent beside the word."""
    out: list[str] = []
    if advice.stop is not None:
        out += [
            "STOP" if advice.stop.protects == "people" else "STOP (machine)",
            _wrap(advice.stop.reason),
            _wrap("Make safe: " + advice.stop.make_safe),
            _wrap("Hand over to: " + advice.stop.hand_over_to),
            "",
        ]
    out += [_wrap(f"Hold: {f.hold_point}", "") for f in advice.fired if f.hold_point]
    if advice.verdict is not None:
        verdict = advice.verdict
        out += [
            "",
            textwrap.fill(f"VERDICT ({verdict.kind}): {verdict.title}", WIDTH, subsequent_indent="  "),
            _wrap("Remedy: " + verdict.remedy),
        ]
        if verdict.proof:
            out.append(_wrap("Proof of cure: " + verdict.proof))
        if verdict.would_tell:
            out.append(_wrap("What would tell: " + verdict.would_tell))
        out.append(f"  By: {verdict.who}")
    if advice.suspects and (advice.stop is None or not advice.stop.ends):
        out += ["", "Suspects"]
        for number, suspect in enumerate(advice.suspects[:SHOWN_SUSPECTS], 1):
            out += suspect_lines(suspect, number, percent)
    if advice.next:
        out += ["", "Next"]
        for number, step in enumerate(advice.next[:SHOWN_STEPS], 1):
            out += step_lines(step, number, percent)
    for title, rows in (
        ("What would change this", turn_lines(advice, percent)),
        ("Three causes at once", three_lines(advice, percent)),
        ("Left changed", left_lines(advice)),
        ("Contradictions", advice.contradictions),
        ("Not judged", [f"{n.finding} ({spell(n.place)}): {n.why} {n.until}" for n in advice.not_judged]),
        ("Doubts", advice.doubts),
        ("Computed", [d.text for d in advice.derived]),
    ):
        if rows:
            out += ["", title, *(_wrap(r) for r in rows)]
    return "\n".join(out).strip()
