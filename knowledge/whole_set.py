"""What a base as a whole owes its user: every cause can be shown and told from its neighbours, nothing is dead, nothing is mute.

Runs when every card is sound and every reference holds (`knowledge.check` sees to that).

A look TELLS two causes apart when the words it shows are distributed so differently under them that a guess by that look
alone is right in three cases of four: total variation of at least `SEPARATES` (with equal odds the best guess errs in
(1 - total variation)/2 of all cases). Whether the person on site may do the look is the planner's matter, not the card set's.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from functools import cache, cached_property
from typing import Any

import networkx as nx
import numpy as np
import numpy.typing as npt

from knowledge.load import Problem, RawCards
from knowledge.models import Band, Cause, Check, Effect, Finding, Rule, Words
from knowledge.signature import Signatures

SEPARATES = 0.5
MOST_IN_GROUP = 3
MOST_SHARE = 0.15
OBVIOUS = 0.8  # a look that tells two causes apart this well leaves no reason to call them inseparable

Vector = npt.NDArray[np.float64]
Facts = tuple[tuple[str, str], ...]


def whole_set_problems(raw: RawCards) -> list[Problem]:
    """All problems of the whole set."""
    return WholeSet(raw).run() if raw.words is not None else []


class WholeSet:
    """Walks the whole set once."""

    def __init__(self, raw: RawCards) -> None:
        assert raw.words is not None
        self.raw = raw
        cards: dict[str, dict[str, Any]] = dict(raw.cards)
        self.effects: dict[str, Effect] = cards["effects"]
        self.bands: dict[str, Band] = cards["bands"]
        self.findings: dict[str, Finding] = cards["findings"]
        self.causes: dict[str, Cause] = dict(sorted(cards["causes"].items()))
        self.checks: dict[str, Check] = cards["checks"]
        self.rules: dict[str, Rule] = cards["rules"]
        self.complaints, self.instruments = cards["complaints"], cards["instruments"]
        self.table: Words = raw.words
        self.signatures = Signatures(self.causes, self.effects, self.findings, raw.words)
        self.problems: list[Problem] = []

    def add(self, kind: str, card_id: str, key: str, text: str) -> None:
        self.problems.append(self.raw.problem(kind, card_id, key, text))

    def run(self) -> list[Problem]:
        self._confirmed()
        self._declared()
        self._told_apart()
        self._offered()
        self._mute()
        self._dead()
        return self.problems

    # causes ----------------------------------------------------------------------------------------------------------

    @cached_property
    def shown_by(self) -> Mapping[str, tuple[Check, ...]]:
        """Checks that show each finding."""
        out: dict[str, list[Check]] = {}
        for check in self.checks.values():
            for name in {check.finding, *check.tells} - {None}:
                out.setdefault(name or "", []).append(check)
        return {name: tuple(checks) for name, checks in out.items()}

    def _confirmed(self) -> None:
        """Some look named under `confirm` shows the cause, against a machine on which nothing is wrong."""
        for cause in self.causes.values():
            for facts in self.signatures.variants(cause.id):
                of = self.signatures.of(cause.id, facts)
                best = max(
                    (
                        _variation(of[name], self.signatures.healthy(name))
                        for check in cause.confirm
                        for name in {self.checks[check].finding, *self.checks[check].tells} & of.keys()
                        if name is not None
                    ),
                    default=0.0,
                )
                if best < SEPARATES:
                    on = f" on a machine with {_said(facts)}" if facts else ""
                    self.add(
                        "causes",
                        cause.id,
                        "confirm",
                        f"no look named here shows it clearly{on} (best {best:.2f}, at least {SEPARATES}); name a look at "
                        "what it brings, or say under brings what such a look shows",
                    )
                    break

    @cached_property
    def groups(self) -> list[set[str]]:
        """Causes declared inseparable from each other, also by way of a third."""
        graph = nx.Graph((c.id, other) for c in self.causes.values() for other in c.inseparable)
        return [set(group) for group in nx.connected_components(graph)]

    def _declared(self) -> None:
        for cause in self.causes.values():
            for other in cause.inseparable:
                if other == cause.id:
                    self.add("causes", cause.id, "inseparable", "a cause is not inseparable from itself; drop it")
                    continue
                card = self.causes[other]
                if cause.id not in card.inseparable:
                    self.add(
                        "causes",
                        other,
                        "inseparable",
                        f"'{cause.id}' declares itself inseparable from this card; declare it here too, with the reason in "
                        "wrong_when",
                    )
                same = card.remedy.id == cause.remedy.id
                if not same and not (
                    card.remedy.hand_over_to and card.remedy.hand_over_to == cause.remedy.hand_over_to
                ):
                    self.add(
                        "causes",
                        cause.id,
                        "inseparable",
                        f"inseparable from '{other}', but neither one remedy serves both nor are both handed over to the same "
                        "person; give both cards one remedy id, or both the same hand_over_to, or find the look that separates",
                    )
        for group in self.groups:
            if len(group) > MOST_IN_GROUP:
                first = min(group)
                names = ", ".join(sorted(group))
                self.add(
                    "causes",
                    first,
                    "inseparable",
                    f"{len(group)} cards in one group ({names}); at most {MOST_IN_GROUP}",
                )
        members = sum(len(group) for group in self.groups)
        if members > MOST_SHARE * len(self.causes):
            first = min(set().union(*self.groups))
            self.add(
                "causes",
                first,
                "inseparable",
                f"{members} of {len(self.causes)} cards are declared inseparable from another; at most {MOST_SHARE:.0%}",
            )

    def _told_apart(self) -> None:
        apart = Apart(self)
        declared = {frozenset(pair) for group in self.groups for pair in itertools.combinations(group, 2)}
        for first, second in self._pairs(declared):
            together = frozenset((first, second)) in declared
            worst, facts, finding = apart.worst(first, second)
            if not together and worst < SEPARATES:
                on = f" on a machine with {_said(facts)}" if facts else ""
                self.add(
                    "causes",
                    first,
                    "brings",
                    f"no look tells it from '{second}'{on} (best {worst:.2f} by '{finding}', at least {SEPARATES}); add the "
                    "sign that differs and a look at it, or declare both inseparable with one remedy or hand-over",
                )
            if together:
                worst, _, finding = apart.worst(first, second, closed=True)
            if together and worst >= OBVIOUS:
                looks = ", ".join(c.id for c in self.shown_by.get(finding, ()))
                self.add(
                    "causes",
                    first,
                    "inseparable",
                    f"declared inseparable from '{second}', yet {looks} tells them apart ({worst:.2f}); drop the declaration on "
                    "both cards",
                )

    def _pairs(self, declared: Iterable[frozenset[str]]) -> Iterator[tuple[str, str]]:
        by_complaint = (sorted(c.id for c in self.causes.values() if name in c.complaints) for name in self.complaints)
        pairs = {pair for ids in by_complaint for pair in itertools.combinations(ids, 2)}
        pairs |= {(min(pair), max(pair)) for pair in declared}
        yield from sorted(pairs)

    # checks and rules -------------------------------------------------------------------------------------------------

    def _offered(self) -> None:
        """A check nothing leads to is never asked: no cause, complaint, rule, step or instrument names it or what it shows."""
        named = {name for c in self.causes.values() for name in (*c.confirm, *c.clear, *c.remedy.needs)}
        named |= {name for c in self.checks.values() for name in c.needs}
        named |= {name for r in self.rules.values() for name in (*r.then.settle, r.then.ask_first) if name}
        gives_away = {finding for card in self.instruments.values() for finding, _ in card.given_away()}
        for check in self.checks.values():
            if check.id not in named and not check.families and not check.again and check.finding not in gives_away:
                self.add(
                    "checks",
                    check.id,
                    "families",
                    "nothing leads to this check, so it is never asked: name it under confirm or clear of a cause, give the "
                    "complaints it belongs to, or drop it",
                )
        for complaint in self.complaints.values():
            for name in complaint.first:
                if complaint.id not in self.checks[name].families:
                    self.add(
                        "checks",
                        name,
                        "families",
                        f"it is among the first looks of '{complaint.id}'; add that complaint here",
                    )

    @cached_property
    def used(self) -> frozenset[tuple[str, str]]:
        """(finding, word) that some cause brings, or some rule, step or instrument reads."""
        out = {(e.finding, w) for c in self.causes.values() for e in c.brings if e.finding for w in e.gives}
        for finding in self.findings.values():
            if finding.effect in self.effects:
                out |= {
                    (finding.id, w) for above in self._moves(finding.effect or "") for w in finding.given.get(above, {})
                }
        out |= {(c.finding, w) for r in self.rules.values() for c in (*r.when, *r.unless) if c.finding for w in c.words}
        out |= {pair for card in self.instruments.values() for pair in card.given_away()}
        needs = [c.needs for c in self.checks.values()] + [c.remedy.needs for c in self.causes.values()]
        gates = {self.checks[name].finding for need in needs for name in need}
        out |= {(f.id, w) for f in self.findings.values() if f.id in gates for w in f.ordered or f.words}
        return frozenset((finding, word) for finding, word in out if finding)

    def _moves(self, name: str) -> set[str]:
        """Words an effect can have in this base."""
        card = self.effects[name]
        out = {card.neutral, *card.leak}
        out |= {w for c in self.causes.values() for e in c.brings if e.effect == name for w in e.gives}
        if card.parent in self.effects:
            out |= {w for above in self._moves(card.parent or "") for w in card.given.get(above, {})}
        return out

    def _mute(self) -> None:
        """An unhealthy answer that no cause brings and nothing reads leads to silence.

        Not so a word that healthy machines often have (an own `leak` of sometimes or more), nor a word on the way from the
        healthy one to one that is used.
        """
        harmless = {w for w, p in self.table.strength.items() if p >= self.table.strength["sometimes"]}
        for check in self.checks.values():
            if not check.finding:
                continue
            finding = self.findings[check.finding]
            for answer, card in check.answers.items():
                word = card.word or answer
                if word == finding.neutral or (finding.id, word) in self.used or finding.leak.get(word) in harmless:
                    continue
                if any((finding.id, w) in self.used for w in _beyond(finding, word)):
                    continue
                self.add(
                    "checks",
                    check.id,
                    f"answers.{answer}",
                    f"nothing follows from this answer: no cause brings '{word}' of '{finding.id}' and no rule reads it; add it "
                    "to the causes that bring it, or drop the answer",
                )

    def _dead(self) -> None:
        """A rule that waits for a word no check, band, rule or case fact can ever give."""
        given: set[tuple[str | None, str | None]] = {
            (c.finding, a.word or key) for c in self.checks.values() for key, a in c.answers.items()
        }
        given |= {(r.then.finding, r.then.word) for r in self.rules.values()}
        graded = {b.finding for b in self.bands.values()}
        for rule in self.rules.values():
            for number, condition in enumerate(rule.when):
                name = condition.finding
                if name and name not in graded and not any((name, w) in given for w in condition.words):
                    self.add(
                        "rules",
                        rule.id,
                        f"when.{number}",
                        f"dead rule: no check, band or rule ever gives '{name}' as {' or '.join(condition.words)}; add such an "
                        "answer or drop the rule",
                    )


class Apart:
    """How well single looks tell two causes apart, on the machines where that is hardest. Vectors over all findings' words."""

    def __init__(self, whole: WholeSet) -> None:
        self.whole, self.signatures = whole, whole.signatures
        self.names = [name for name in whole.findings if whole.findings[name].weighed]
        words = {n: whole.findings[n].ordered or whole.findings[n].words for n in self.names}
        self.starts = np.cumsum([0, *(len(words[n]) for n in self.names)])[:-1]
        self.at = {(n, w): s + i for n, s in zip(self.names, self.starts, strict=True) for i, w in enumerate(words[n])}
        self.healthy = np.zeros(len(self.at))
        for name in self.names:
            for word, p in self.signatures.healthy(name).items():
                self.healthy[self.at[name, word]] = p
        # per instance caches; functools.cache on methods would keep the whole base alive
        self.vector = cache(self._vector)
        self.hidden = cache(self._hidden)

    def _vector(self, cause: str, facts: Facts) -> Vector:
        out = self.healthy.copy()
        for name, words in self.signatures.of(cause, dict(facts)).items():
            for word, p in words.items():
                if (name, word) in self.at:
                    out[self.at[name, word]] = p
        return out

    def _hidden(self, facts: Facts, closed: bool) -> npt.NDArray[np.bool_]:
        """Findings no check shows on such a machine; closed: none but what opens what the remedy opens."""
        told = dict(facts)
        return np.array(
            [
                not any(
                    all(n not in told or told[n] in words for n, words in check.when.items())
                    for check in self.whole.shown_by.get(name, ())
                    if not (closed and check.state == "isolated")
                )
                for name in self.names
            ]
        )

    def worst(self, first: str, second: str, *, closed: bool = False) -> tuple[float, dict[str, str], str]:
        """(distance by the best single look, machine facts, finding) where it is smallest; 1 if never on one machine.

        closed: without looks into what is isolated and opened, since there the remedy of both has begun.
        """
        out: tuple[float, dict[str, str], str] = (1.0, {}, "")
        for facts in self.signatures.variants(first, second):
            own = [self.signatures.facts_named(c) for c in (first, second)]
            keys = [tuple((n, w) for n, w in sorted(facts.items()) if n in named) for named in own]
            difference = np.abs(self.vector(first, keys[0]) - self.vector(second, keys[1]))
            by_finding = np.add.reduceat(difference, self.starts) / 2.0
            by_finding[self.hidden(tuple(sorted(facts.items())), closed)] = 0.0
            best = int(np.argmax(by_finding))
            if by_finding[best] < out[0]:
                out = (float(by_finding[best]), facts, self.names[best])
        return out


def _variation(one: Mapping[str, float], other: Mapping[str, float]) -> float:
    return sum(abs(one[w] - other[w]) for w in one) / 2.0


def _beyond(finding: Finding, word: str) -> tuple[str, ...]:
    """Words of an ordered finding farther from the healthy one than ``word``, on its side."""
    scale = finding.ordered
    if not scale:
        return ()
    at, zero = scale.index(word), scale.index(finding.neutral)
    return scale[:at] if at < zero else scale[at + 1 :]


def _said(facts: Mapping[str, str]) -> str:
    return ", ".join(f"{name} {word}" for name, word in facts.items())
