"""Fires every rule card's specimens through the engine: what must fire, fires; what must stay quiet, stays quiet.

And every exception of a rule ("unless") is seen at work: a quiet specimen has it, and without it the rule would fire.
"""

from __future__ import annotations

from diagnose.places import circuit_of
from diagnose.rules_engine import Known, Seen, rule_book
from knowledge.load import Knowledge, Problem
from knowledge.models import Condition, Rule, Specimen


def specimen_facts(specimen: Specimen, knowledge: Knowledge) -> tuple[list[Seen], list[Known]]:
    """Engine facts of a specimen: "finding" or "finding@B" -> word, or "word leaning"/"word faint"; facts may hold several words."""
    seen = []
    for key, text in specimen.findings.items():
        name, _, circuit = (part.strip() for part in key.partition("@"))
        word, _, grade = text.partition(" ")
        kind = knowledge.findings[name].place
        place = kind if kind in ("unit", "supply") else f"{kind}:{circuit or 'A'}"
        seen.append(Seen(name, place, circuit_of(place), word, grade.strip() or "firm"))
    known = [Known(name, word) for name, words in specimen.facts.items() for word in words.split()]
    return seen, known


def fires(rule: Rule, specimen: Specimen, knowledge: Knowledge) -> bool:
    """Whether ``rule`` fires on the specimen, run alone in its stratum with all its neighbours."""
    seen, known = specimen_facts(specimen, knowledge)
    return any(s.rule == rule.id for s in rule_book(knowledge).run(rule.kind, seen, known))


def specimen_problems(knowledge: Knowledge) -> list[Problem]:
    """One problem for each specimen that does not behave as its card says."""
    problems = []
    for rule in knowledge.rules.values():
        file = knowledge.where.get(f"rules/{rule.id}", "?")
        for number, specimen in enumerate(rule.fires_on):
            if not fires(rule, specimen, knowledge):
                problems.append(
                    Problem(
                        file,
                        1,
                        f"{rule.id}.fires_on.{number}",
                        "the rule stays quiet on this specimen; correct rule or specimen",
                    )
                )
        for number, specimen in enumerate(rule.quiet_on):
            if fires(rule, specimen, knowledge):
                problems.append(
                    Problem(
                        file,
                        1,
                        f"{rule.id}.quiet_on.{number}",
                        "the rule fires on this specimen; correct rule or specimen",
                    )
                )
        for number, condition in enumerate(rule.unless):
            if not any(_holds_back(rule, condition, specimen, knowledge) for specimen in rule.quiet_on):
                problems.append(
                    Problem(
                        file,
                        1,
                        f"{rule.id}.unless.{number}",
                        "no specimen shows that this holds the rule back; add one under quiet_on that fires without it",
                    )
                )
    return problems


def _holds_back(rule: Rule, condition: Condition, specimen: Specimen, knowledge: Knowledge) -> bool:
    """Whether this quiet specimen has the exception, and would fire without it."""
    named = condition.finding or condition.fact

    def met(key: str, text: str) -> bool:
        return key.partition("@")[0].strip() == named and any(word in condition.words for word in text.split())

    findings = {key: text for key, text in specimen.findings.items() if not met(key, text)}
    facts = {key: text for key, text in specimen.facts.items() if not met(key, text)}
    if len(findings) == len(specimen.findings) and len(facts) == len(specimen.facts):
        return False
    return fires(rule, Specimen(findings=findings, facts=facts), knowledge)
