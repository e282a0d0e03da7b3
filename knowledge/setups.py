"""What a card that changes the set-up owes its user: it is told from its outcomes, put back, and never takes a protection away."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from knowledge.load import Problem, RawCards
from knowledge.models import Finding, Setup
from shared.quantities import QUANTITIES

# a change of set-up never takes a protection away; said of something that must not be done it may be named
_DEFEAT = re.compile(
    r"\b(?P<word>jumper\w*|bridg(e|ed|ing)|defeat\w*|override\w*|link(ed)? (out|across)|hold in|held in|force (in|shut)"
    r"|(raise|lower|turn (up|down)) the (overload|cut-out|limit)"
    r"|bypass(es)? (the |a )?(safety|flow (switch|proof)|pressure switch|cut-out|interlock|monitor|overload))",
    re.IGNORECASE,
)
_FORBIDDEN = re.compile(r"\b(never|no|not|nothing|without)\b[^.;]*$", re.IGNORECASE)


def setup_problems(raw: RawCards) -> list[Problem]:
    """Problems of the set-up cards beyond those of any look."""
    cards: dict[str, dict[str, Any]] = dict(raw.cards)
    findings: dict[str, Finding] = cards["findings"]
    setups: dict[str, Setup] = cards["setups"]
    asked = {f for name in _needed(cards) if (check := cards["checks"].get(name)) and (f := check.finding)}
    return [
        raw.problem("setups", card.id, key, text)
        for card in setups.values()
        for key, text in _problems(card, findings, asked)
    ]


def _needed(cards: dict[str, dict[str, Any]]) -> set[str]:
    """Safety questions that some look, change or remedy rests on."""
    needs = [c.needs for c in cards["checks"].values()] + [c.remedy.needs for c in cards["causes"].values()]
    return {name for need in needs for name in need}


def _problems(card: Setup, findings: dict[str, Finding], asked: set[str]) -> Iterator[tuple[str, str]]:
    if card.who != "technician" or card.telephone:
        yield (
            "who",
            "the set-up is changed by a technician only, and by nobody by ear; set who: technician, no telephone text",
        )
    if card.reads or card.tells or card.again or card.safety:
        yield "", "a change of set-up is told by answers; drop reads, tells, again and safety"
    meant = list(card.outcomes.values())
    for answer in sorted(set(meant) - set(card.answers)):
        yield "outcomes", f"no answer '{answer}'; allowed: {', '.join(card.answers)}"
    for answer in card.answers:
        if meant.count(answer) != 1:
            yield "outcomes", f"answer '{answer}' is named {meant.count(answer)} times; each answer is one outcome"
    if not {"gone", "moved"} & set(card.outcomes):
        yield "outcomes", "the trouble neither goes nor moves by it; name the answer that says so"
    if card.cools != "no" and "gone" not in card.outcomes:
        yield "cools", "the site is cooled while the trouble is gone; name that answer under outcomes, or cools: no"
    if not card.ages and not card.shifts:
        yield "ages", "a change makes something otherwise: name the findings (ages) and quantities (shifts)"
    for name in card.ages:
        if name not in findings:
            yield "ages", f"no finding '{name}'"
        elif name == card.finding:
            yield "ages", f"'{name}' is what the change shows; it holds on"
        elif name in asked:
            yield "ages", f"a safety question asks for '{name}'; that is never left behind"
    for name in card.shifts:
        if name not in QUANTITIES:
            yield "shifts", f"no quantity '{name}' in the fixed list"
    for key in ("technician", "undo", "title", "why"):
        text = getattr(card, key)
        for found in _DEFEAT.finditer(text):
            if not _FORBIDDEN.search(text[: found.start()].rsplit(".", 1)[-1]):
                yield key, f"'{found['word']}' takes a protection away; no set-up may do that"
