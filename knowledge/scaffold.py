"""A new card to fill in: every key in its usual order, ids that hold, and a mark on every text that is still to be written.

The scaffold has the right shape, so the checker reports nothing but the marks; a card with a mark left is a problem.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, TypeAdapter, ValidationError

from knowledge.load import Knowledge, Problem, RawCards
from knowledge.models import Check, Finding, Id, Rule, Setup, System
from shared.errors import ChillerError

MARK = "WRITE:"
KINDS = ("cause", "check", "setup", "rule", "complaint")
RULE_KINDS: tuple[str, ...] = get_args(Rule.model_fields["kind"].annotation)
SYSTEMS: tuple[str, ...] = get_args(System)


def scaffold(
    knowledge: Knowledge, folder: Path, kind: str, card_id: str, *, system: str = "", rule_kind: str = "gate"
) -> Path:
    """Write the file of a new card below ``folder`` and return it. Raises ChillerError: bad kind, id, system, or it exists."""
    if kind not in KINDS:
        raise ChillerError("no such kind of card", given=kind, allowed=", ".join(KINDS), do="choose one")
    try:
        TypeAdapter(Id).validate_python(card_id)
    except ValidationError:
        raise ChillerError(
            "not an id", given=card_id, allowed="small letters, figures, single hyphens", do="correct it"
        ) from None
    system = system or "fluid"
    if system not in SYSTEMS:
        raise ChillerError("no such system", given=system, allowed=", ".join(SYSTEMS), do="choose one")
    if rule_kind not in RULE_KINDS:
        raise ChillerError("no such kind of rule", given=rule_kind, allowed=", ".join(RULE_KINDS), do="choose one")
    if card_id in getattr(knowledge, f"{kind}s") or kind == "setup" and card_id in knowledge.checks:
        raise ChillerError(f"this {kind} exists", given=card_id, do="choose another id; ids are permanent")
    under = {
        "cause": f"causes/{system}",
        "check": f"checks/{system}",
        "setup": f"setups/{system}",
        "rule": f"rules/{rule_kind}",
        "complaint": "complaints",
    }
    path = folder / under[kind] / f"{card_id}.yaml"
    if path.exists():
        raise ChillerError("this file exists", given=path.name, do="choose another id")
    example = _example(knowledge, system)
    text = {
        "cause": lambda: _cause(knowledge, card_id, system, *example),
        "check": lambda: _check(card_id, system, *example),
        "setup": lambda: _setup(knowledge, card_id, system),
        "rule": lambda: _rule(knowledge, card_id, rule_kind, *example),
        "complaint": lambda: _complaint(card_id, *example),
    }[kind]()
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def mark_problems(raw: RawCards) -> list[Problem]:
    """Texts of cards that still carry the mark of a scaffold."""
    return [
        raw.problem(kind, name, key, f"still to be written ({text[:60]}); replace text and mark")
        for kind, cards in raw.cards.items()
        for name, card in cards.items()
        for key, text in _texts(card, "")
        if MARK in text
    ]


def _texts(value: Any, key: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, str):
        yield key, value
    elif isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from _texts(getattr(value, name), f"{key}.{name}" if key else name)
    elif isinstance(value, dict):
        for name, one in value.items():
            yield from _texts(one, f"{key}.{name}")
    elif isinstance(value, tuple):
        for number, one in enumerate(value):
            yield from _texts(one, f"{key}.{number}")


def _example(knowledge: Knowledge, system: str) -> tuple[Check, Finding]:
    """A question of this system with answers, and its finding: ids that hold until the keeper puts in the right ones."""
    fitting = [
        c
        for c in knowledge.checks.values()
        if c.finding and c.families and knowledge.findings[c.finding].weighed and not isinstance(c, Setup)
    ]
    if not fitting:
        raise ChillerError("no card to take ids from", do="add a check with answers first")
    check = next((c for c in fitting if c.system == system), fitting[0])
    return check, knowledge.findings[check.finding or ""]


def _plain_family(knowledge: Knowledge, check: Check) -> str:
    """A complaint that asks for nothing its callers must have noticed, of this look if there is one."""
    plain = (f for f in (*check.families, *knowledge.complaints) if not knowledge.complaints[f].noticed)
    return next(plain, check.families[0])


def _unhealthy(finding: Finding) -> str:
    return next(w for w in finding.ordered or finding.words if w != finding.neutral)


def _allowed(finding: Finding) -> str:
    return f"{', '.join(finding.ordered or finding.words)}; healthy: {finding.neutral}"


def _cause(knowledge: Knowledge, card_id: str, system: str, check: Check, finding: Finding) -> str:
    strengths = ", ".join(knowledge.words.strength)
    return f"""id: {card_id}
title: '{MARK} the fault in three to eight words'
also: ['{MARK} what people call it']
system: {system}
place: {finding.place}
prior: uncommon  # {", ".join(knowledge.words.prior)}
prior_in: {{}}  # context: word, where it is more or less likely than usual
shows: '{MARK} what can be seen, heard and read'
why: '{MARK} the physics, from the fault to the signs'
wrong_when: '{MARK} what else looks like this'
brings:  # unhealthy words only, each with how often: {strengths}
- {{finding: {finding.id}, gives: {{'{_unhealthy(finding)}': often}}, why: '{MARK} why, or drop this key'}}  # {_allowed(finding)}
complaints: {{{_plain_family(knowledge, check)}: often}}
confirm: [{check.id}]
clear: [{check.id}]
remedy:
  id: mend-{card_id}
  text: '{MARK} what is done, in order'
  minutes: 30
  cures: cures  # {", ".join(knowledge.words.cures)}
  who: technician
  needs_qualified: []  # electrical, refrigerant, height
  hazards: []
  reversible: false
  hand_over_to: ''
proof: '{MARK} how one sees that it is cured'
proof_minutes: 10
cautions: []
sources: [common-practice]
"""


def _check(card_id: str, system: str, example: Check, finding: Finding) -> str:
    answers = "\n".join(f"  '{w}': {{text: '{MARK} {finding.texts[w]}'}}" for w in finding.ordered or finding.words)
    return f"""id: {card_id}
title: '{MARK} the look in a few words'
place: {finding.place}
system: {system}
finding: {finding.id}  # or `reads` (quantities) with the findings it `tells`
answers:  # {_allowed(finding)}
{answers}
technician: '{MARK} where, with what, what is normal'
telephone: ''  # the sentence to read out, if a customer may do it; then add it to texts/es.yaml too
why: '{MARK} what it tells'
minutes: 5
who: technician
needs_qualified: []  # electrical, refrigerant, height
hazards: []
state: any
families: [{example.families[0]}]
words: ['{MARK} what people call it']
sources: [common-practice]
"""


def _setup(knowledge: Knowledge, card_id: str, system: str) -> str:
    like = next(iter(knowledge.setups.values()), None)
    if like is None or like.finding is None:
        raise ChillerError("no card to take ids from", do="copy the example in knowledge/README.md")
    finding = knowledge.findings[like.finding]
    answers = "\n".join(
        f"  '{a}': {{text: '{MARK} what is seen then', word: '{card.word or a}'}}" for a, card in like.answers.items()
    )
    outcomes = ", ".join(f"{o}: '{a}'" for o, a in like.outcomes.items())
    return f"""id: {card_id}
title: '{MARK} the change in a few words'
place: {like.place}
system: {system}
finding: {finding.id}  # {_allowed(finding)}
answers:
{answers}
outcomes: {{{outcomes}}}  # gone, moved, unchanged: which answer says so
technician: '{MARK} what is changed, and what is watched'
undo: '{MARK} how it is put back'
undo_minutes: 5
stays: '{MARK} which protections stay in force'
ages: [{", ".join(like.ages)}]  # findings that are otherwise while it stands
shifts: [{", ".join(like.shifts)}]  # quantities likewise
cools: 'no'  # part or full, where the site is cooled by it
why: '{MARK} what it tells'
minutes: 10
who: technician
needs_qualified: [{", ".join(like.needs_qualified)}]  # electrical, refrigerant, height
hazards: [{", ".join(like.hazards)}]
state: {like.state}
families: [{", ".join(like.families)}]
words: ['{MARK} what people call it']
sources: [common-practice]
"""


def _rule(knowledge: Knowledge, card_id: str, kind: str, check: Check, finding: Finding) -> str:
    word = _unhealthy(finding)
    other = next(f for f in knowledge.findings.values() if f.id != finding.id and f.place == finding.place)
    made = next((r.then for r in knowledge.rules.values() if r.kind == "derived-finding"), None)
    target = knowledge.findings[made.finding] if made and made.finding else other
    then = {
        "state": "{state: starting}",
        "hold-point": f"{{hold: '{MARK} what must not go on', release: '{MARK} what lifts it'}}",
        "not-judged": f"{{findings: [{other.id}], reason: '{MARK} why', release: '{MARK} what would make it judgeable'}}",
        "derived-finding": f"{{finding: {target.id}, word: '{_unhealthy(target)}'}}",
        "contradiction": f"{{reason: '{MARK} what cannot be', settle: [{check.id}]}}",
        "conclusive": f"{{cause: {next(iter(knowledge.causes))}}}",
        "gate": f"{{ask_first: {check.id}}}",
        "stop": f"{{protects: people, reason: '{MARK} the danger', make_safe: '{MARK} what to do at once', "
        "hand_over_to: technician}",
    }[kind]
    second = f"\n- {{finding: {other.id}, is: ['{_unhealthy(other)}']}}" if kind == "derived-finding" else ""
    also = f", {other.id}: '{_unhealthy(other)}'" if second else ""
    return f"""id: {card_id}
title: '{MARK} the rule in a few words'
kind: {kind}
place: {finding.place if finding.place == "circuit" else "unit"}
when:
- {{finding: {finding.id}, is: ['{word}']}}  # {_allowed(finding)}{second}
unless: []
then: {then}
because: '{MARK} why'
wrong_when: '{MARK} when it is wrong'
fires_on:
- findings: {{{finding.id}: '{word}'{also}}}
quiet_on:
- findings: {{{finding.id}: '{finding.neutral}'}}
source: [common-practice]
"""


def _complaint(card_id: str, check: Check, finding: Finding) -> str:
    return f"""id: {card_id}
title: '{MARK} how a call opens'
plain: '{MARK} the same in the words of a customer'
words: ['{MARK} what people say']
when_nothing_is_wrong: almost-never
first: []  # the first looks; each of them lists this complaint under families
state: any
sources: [common-practice]
"""
