"""The one seam to experta: rule cards in, fired rules out.

Each stratum is an engine of its own, built once per knowledge digest and process, used under a lock, with nothing kept on it
between runs: facts go in by one declare, conclusions come out as facts. Rules only add, so their order cannot matter. Known
traps of the library are shut off here: its import on newer Pythons, its agenda (our own strategy), NOT placed last, words
instead of numbers, one declare for all facts.
"""

from __future__ import annotations

import collections
import collections.abc
import logging
import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from knowledge.facts import STRATA
from knowledge.load import Knowledge
from knowledge.models import Condition
from knowledge.models import Rule as RuleCard

# the library calls basicConfig on import, which does nothing where a handler is there already; logging is not its to configure
_meanwhile = logging.NullHandler()
logging.getLogger().addHandler(_meanwhile)

_had_mapping = hasattr(collections, "Mapping")
if not _had_mapping:
    collections.Mapping = collections.abc.Mapping  # type: ignore[attr-defined]
try:
    import frozendict  # noqa: F401 - its old release reads collections.Mapping while it is imported
    from experta import MATCH, NOT, TEST, Fact, Field, KnowledgeEngine, L, Rule
    from experta.abstract import Strategy
finally:
    if not _had_mapping:
        del collections.Mapping  # type: ignore[attr-defined]
    logging.getLogger().removeHandler(_meanwhile)


@dataclass(frozen=True, slots=True)
class Seen:
    """A finding word known at a place: grade is "firm", "leaning" or "faint"; circuit "" for unit-wide places."""

    finding: str
    place: str
    circuit: str
    word: str
    grade: str


@dataclass(frozen=True, slots=True)
class Known:
    """A fact of the case or of an earlier stratum: name and word."""

    name: str
    word: str


@dataclass(frozen=True, slots=True)
class Spoke:
    """A rule that fired, with the circuit it fired for ("" = the unit)."""

    rule: str
    circuit: str


class SeenFact(Fact):  # type: ignore[misc]
    """experta's form of Seen."""

    finding = Field(str)
    place = Field(str)
    circuit = Field(str)
    word = Field(str)
    grade = Field(str)


class KnownFact(Fact):  # type: ignore[misc]
    """experta's form of Known."""

    name = Field(str)
    word = Field(str)


class SpokeFact(Fact):  # type: ignore[misc]
    """experta's form of Spoke."""

    rule = Field(str)
    circuit = Field(str)


class PlainStrategy(Strategy):  # type: ignore[misc]
    """An agenda that removes cancelled activations wherever they stand.

    The library's own looks only beside the bisect position and lets rules fire although their NOT is false.
    """

    def _update_agenda(self, agenda: Any, added: Iterable[Any], removed: Iterable[Any]) -> None:
        for activation in removed:
            agenda.activations = [a for a in agenda.activations if a != activation]
        agenda.activations += [a for a in added if a not in agenda.activations]
        agenda.activations.sort(key=lambda a: (a.rule.salience, a.rule.__name__))


def _either(words: Iterable[str]) -> Any:
    first, *rest = sorted(words)
    pattern = L(first)
    for word in rest:
        pattern = pattern | L(word)
    return pattern


def _grades(condition: Condition, card: RuleCard) -> tuple[str, ...]:
    """Which grades of a word satisfy a condition: firm, unless it says leaning; whom the rule protects widens it.

    A stop for people listens from faint on, a stop for the machine from leaning on; a hold point asks for a better
    reading, so it listens from faint on as well.
    """
    if card.kind == "stop" and card.then.protects == "people" or card.kind == "hold-point":
        return ("firm", "leaning", "faint")
    if condition.leaning or card.kind == "stop":
        return ("firm", "leaning")
    return ("firm",)


def _pattern(condition: Condition, kinds: Mapping[str, str], variable: Any, grades: tuple[str, ...]) -> Any:
    if condition.fact:
        return KnownFact(name=condition.fact, word=_either(condition.words))
    assert condition.finding is not None
    fields: dict[str, Any] = {"finding": condition.finding, "word": _either(condition.words), "grade": _either(grades)}
    if variable is not None and kinds.get(condition.finding) in ("circuit", "compressor", "fan"):
        fields["circuit"] = variable
    return SeenFact(**fields)


def _compile_rule(card: RuleCard, kinds: Mapping[str, str], salience: int) -> Any:
    local = card.place == "circuit"
    patterns = []
    others = 0
    for condition in card.when:
        variable = None
        if local:
            variable = MATCH.circuit
            if condition.place == "other":
                others += 1
                variable = MATCH.other
        patterns.append(_pattern(condition, kinds, variable, _grades(condition, card)))
    # conditions that bind the circuit come first, so that every later pattern and every NOT finds it bound
    bound = [
        p
        for p, c in zip(patterns, card.when, strict=True)
        if c.finding and kinds.get(c.finding) != "unit" and c.place != "other"
    ]
    free = [p for p in patterns if p not in bound]
    tests = [TEST(lambda circuit, other: circuit != other)] if others else []
    nots = [
        NOT(
            _pattern(
                c, kinds, MATCH.circuit if local and bound else None, ("firm", "leaning") if c.leaning else ("firm",)
            )
        )
        for c in card.unless
    ]

    if local and bound:

        def consequence(engine: Any, circuit: str) -> None:
            engine.declare(SpokeFact(rule=card.id, circuit=circuit))
    else:

        def consequence(engine: Any) -> None:  # type: ignore[misc]
            engine.declare(SpokeFact(rule=card.id, circuit=""))

    consequence.__name__ = "rule_" + card.id.replace("-", "_")
    return Rule(*bound, *free, *tests, *nots, salience=salience)(consequence)


def _may_fire(cards: Iterable[RuleCard], seen: Iterable[Seen], known: Iterable[Known]) -> list[RuleCard]:
    """Rules each of whose conditions some fact meets by itself; only these can fire, circuits and NOT being left to the engine."""
    words = {(s.finding, s.word, s.grade) for s in seen}
    facts = {(k.name, k.word) for k in known}

    def met(condition: Condition, card: RuleCard) -> bool:
        if condition.fact:
            return any((condition.fact, w) in facts for w in condition.words)
        return any((condition.finding, w, g) in words for w in condition.words for g in _grades(condition, card))

    return [card for card in cards if all(met(c, card) for c in card.when)]


class RuleBook:
    """All rule cards of one knowledge base, compiled; ``run`` fires one stratum."""

    def __init__(self, knowledge: Knowledge) -> None:
        self._lock = threading.Lock()
        self._engines: dict[str, Any] = {}
        self._cards: dict[str, list[RuleCard]] = {}
        kinds = {f.id: f.place for f in knowledge.findings.values()}
        kinds |= {f.id: "unit" for f in knowledge.findings.values() if f.place in ("unit", "supply", "pump")}
        for stratum in STRATA:
            cards = [r for r in knowledge.rules.values() if r.kind == stratum]
            members = {
                f"rule_{c.id.replace('-', '_')}": _compile_rule(c, kinds, number) for number, c in enumerate(cards, 1)
            }
            members["__strategy__"] = PlainStrategy
            engine_class = type(f"{stratum.title().replace('-', '')}Engine", (KnowledgeEngine,), members)
            self._engines[stratum] = engine_class() if cards else None
            self._cards[stratum] = cards
            if cards:
                self._engines[stratum].reset()

    def run(self, stratum: str, seen: Iterable[Seen], known: Iterable[Known]) -> list[Spoke]:
        """Rules of ``stratum`` that fire on these facts, in a fixed order."""
        engine, seen, known = self._engines[stratum], list(seen), list(known)
        may = _may_fire(self._cards[stratum], seen, known)
        if not may:
            return []
        # facts that no such rule asks for cannot change what fires: the engine is spared them
        conditions = [c for card in may for c in (*card.when, *card.unless)]
        findings, names = {c.finding for c in conditions if c.finding}, {c.fact for c in conditions if c.fact}
        facts = [
            SeenFact(finding=s.finding, place=s.place, circuit=s.circuit, word=s.word, grade=s.grade)
            for s in seen
            if s.finding in findings
        ]
        facts += [KnownFact(name=k.name, word=k.word) for k in known if k.name in names]
        with self._lock:
            try:
                engine.declare(*facts)
                engine.run()
                spoke = {Spoke(f["rule"], f["circuit"]) for f in engine.facts.values() if isinstance(f, SpokeFact)}
            finally:
                engine.reset()  # ready for the next run; an exception leaves the engine marked as running
        return sorted(spoke, key=lambda s: (s.rule, s.circuit))


_build_lock = threading.Lock()


def rule_book(knowledge: Knowledge) -> RuleBook:
    """The compiled rules of this base, built once."""
    book = knowledge.memo.get("rule-book")
    if book is None:
        with _build_lock:
            book = knowledge.memo.get("rule-book")
            if book is None:
                book = RuleBook(knowledge)
                knowledge.memo["rule-book"] = book
    assert isinstance(book, RuleBook)
    return book
