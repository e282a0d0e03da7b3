"""Runs the rule strata over a graded case and collects what they conclude, in the order of the strata."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from diagnose.grade import Evidence
from diagnose.places import circuit_of
from diagnose.rules_engine import Known, Seen, Spoke, rule_book
from knowledge.load import Knowledge
from knowledge.models import Condition, Rule

PROVED = 0.9  # a word on which a proof may rest: seen or read for sure; "think so" (0.88) proves nothing
FAINT = 0.2  # people are protected from a danger seen with this probability on (design of the stop cards)


@dataclass(frozen=True)
class Conclusion:
    """A rule that fired, for which circuit, and the words that made it fire."""

    rule: Rule
    circuit: str
    because: tuple[str, ...]

    @property
    def place(self) -> str:
        """Place the conclusion is about."""
        return f"circuit:{self.circuit}" if self.circuit else "unit"


@dataclass
class Conclusions:
    """All that the rules said, by kind."""

    fired: list[Conclusion] = field(default_factory=list)

    def of(self, *kinds: str) -> list[Conclusion]:
        """Conclusions of these kinds in order."""
        return [c for c in self.fired if c.rule.kind in kinds]


def seen_words(evidence: Mapping[tuple[str, str], Evidence], knowledge: Knowledge, stratum: str = "") -> list[Seen]:
    """Every word known at least faintly, with its grade. A proof needs firmer words than other rules."""
    table = knowledge.words
    firm = PROVED if stratum == "conclusive" else table.firm
    out = []
    for (finding_id, place), one in evidence.items():
        for word, p in one.words(knowledge.findings[finding_id]):
            grade = "firm" if p >= firm else "leaning" if p >= table.leaning else "faint" if p >= FAINT else ""
            if grade:
                out.append(Seen(finding_id, place, circuit_of(place), word, grade))
    return out


def run_stratum(stratum: str, knowledge: Knowledge, seen: Iterable[Seen], known: Iterable[Known]) -> list[Conclusion]:
    """Fire one stratum."""
    seen, known = list(seen), list(known)
    spoke: list[Spoke] = rule_book(knowledge).run(stratum, seen, known)
    return [
        Conclusion(
            knowledge.rules[s.rule], s.circuit, _because(knowledge.rules[s.rule], s.circuit, seen, known, knowledge)
        )
        for s in spoke
    ]


def _because(rule: Rule, circuit: str, seen: list[Seen], known: list[Known], knowledge: Knowledge) -> tuple[str, ...]:
    out = []
    for condition in rule.when:
        text = _matched(condition, circuit, seen, known, knowledge)
        if text:
            out.append(text)
    return tuple(dict.fromkeys(out))


def _matched(condition: Condition, circuit: str, seen: list[Seen], known: list[Known], knowledge: Knowledge) -> str:
    if condition.fact:
        return next(
            (
                f"{k.name.replace('-', ' ')}: {k.word}"
                for k in known
                if k.name == condition.fact and k.word in condition.words
            ),
            "",
        )
    for one in seen:
        if one.finding == condition.finding and one.word in condition.words:
            if circuit and one.circuit and (one.circuit == circuit) == (condition.place == "other"):
                continue
            return knowledge.findings[one.finding].texts[one.word]
    return ""
