"""What each cause alone would show: the chance of every word of every finding a cause touches, by the cards' strengths.

The same sums as the belief makes for one cause at the nearest place (tests compare the two): each word that is brought is an
influence of its own; on a scale the largest pull down and up win, and where one influence pulls down and another up, the healthy
word and its sides share; of words without order a cause's own come first, then
what follows from an effect, then what appears without a cause. Siblings are not looked at, so what separates
here separates on a machine with one circuit too.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping

from knowledge.models import Cause, Effect, Finding, StrengthWord, Words

Gives = Mapping[str, float]
Dist = dict[str, float]
Facts = Mapping[str, str]


def combine(words: tuple[str, ...], neutral: str, influences: Iterable[Gives], table: Words) -> Dist:
    """Chance of each word of a scale when these influences act and nothing else does."""
    zero = words.index(neutral)
    below, above = list(words[:zero])[::-1], list(words[zero + 1 :])
    influences = list(influences)
    neutral_share, each = table.both_directions["neutral"], table.both_directions["each-side"]
    down, up = _largest(below, (), influences), _largest(above, (), influences)
    down_alone, up_alone = _largest(below, above, influences), _largest(above, below, influences)
    out = {neutral: down_alone[0] + neutral_share * max(0.0, 1.0 - down[0] - up[0] + down_alone[0])}
    for side, any_way, alone in ((below, down, down_alone), (above, up, up_alone)):
        for step, word in enumerate(side, 1):
            out[word] = (1.0 - each) * alone[step] + each * any_way[step]
    return out


def _shown(words: tuple[str, ...], neutral: str, influences: Iterable[Gives]) -> Dist:
    """Chance of each word without order: the healthy one where nothing shows any, the others by their share."""
    influences = list(influences)
    none = math.prod(1.0 - sum(gives.values()) for gives in influences)
    each = {w: 1.0 - math.prod(1.0 - gives.get(w, 0.0) for gives in influences) for w in words if w != neutral}
    total = sum(each.values()) or 1.0
    return {w: none if w == neutral else (1.0 - none) * each[w] / total for w in words}


def _first(neutral: str, upper: Dist, lower: Dist) -> Dist:
    """What ``upper`` shows comes first; ``lower`` counts where it shows nothing."""
    left = upper[neutral]
    return {w: left * lower[w] if w == neutral else p + left * lower[w] for w, p in upper.items()}


def _largest(side: list[str], other: Iterable[str], influences: Iterable[Gives]) -> list[float]:
    """P(largest pull = 0, 1, 2 ...) over the words of one side, nearest first, while nothing pulls to a word of ``other``."""
    below = [1.0] * (len(side) + 1)  # P(no pull larger than step)
    for gives in influences:
        barred = sum(gives.get(w, 0.0) for w in other)
        for step in range(len(side) + 1):
            below[step] *= max(0.0, 1.0 - barred - sum(gives.get(w, 0.0) for w in side[step:]))
    return [below[0], *(below[n] - below[n - 1] for n in range(1, len(side) + 1))]


class Signatures:
    """Word chances of every finding under one cause alone, for given machine facts."""

    def __init__(
        self, causes: Mapping[str, Cause], effects: Mapping[str, Effect], findings: Mapping[str, Finding], table: Words
    ) -> None:
        self.causes, self.effects, self.findings, self.table = causes, effects, findings, table
        self._below: dict[str, list[str]] = {}
        for finding in findings.values():
            if finding.effect:
                self._below.setdefault(finding.effect, []).append(finding.id)
        self._healthy: dict[str, Dist] = {}
        self._memo: dict[tuple[str, tuple[tuple[str, str], ...]], dict[str, Dist]] = {}

    def _numbers(self, gives: Mapping[str, StrengthWord]) -> dict[str, float]:
        return {w: self.table.strength[s] for w, s in gives.items()}

    def _leak(self, card: Effect | Finding, words: tuple[str, ...]) -> dict[str, float]:
        if isinstance(card, Effect):
            return self._numbers(card.leak)
        rest = max(1, len(words) - 1 - len(card.leak))
        default = self.table.strength[self.table.default_leak] / rest
        return {w: self.table.strength[card.leak[w]] if w in card.leak else default for w in words if w != card.neutral}

    def _under(self, card: Effect | Finding, direct: list[Gives], parent: Dist | None) -> Dist:
        words = card.ordered or getattr(card, "words", ())
        out = dict.fromkeys(words, 0.0)
        for above, p in (parent or {"": 1.0}).items():
            if p <= 0.0:
                continue
            for word, q in self._combined(card, words, direct, self._numbers(card.given.get(above, {}))).items():
                out[word] += p * q
        return out

    def _combined(self, card: Effect | Finding, words: tuple[str, ...], direct: list[Gives], follows: Gives) -> Dist:
        stray = self._leak(card, words)
        if card.ordered:
            return combine(words, card.neutral, [stray, *direct, follows], self.table)
        below = _first(card.neutral, *(_shown(words, card.neutral, [one]) for one in (follows, stray)))
        return _first(card.neutral, _shown(words, card.neutral, direct), below)

    def healthy(self, finding: str) -> Dist:
        """Word chances of a finding when nothing is wrong."""
        if finding not in self._healthy:
            self._healthy[finding] = self._finding(finding, {}, {})
        return self._healthy[finding]

    def _effect(self, name: str, brought: Mapping[str, list[Gives]], memo: dict[str, Dist]) -> Dist:
        if name not in memo:
            card = self.effects[name]
            parent = self._effect(card.parent, brought, memo) if card.parent else None
            memo[name] = self._under(card, brought.get(name, []), parent)
        return memo[name]

    def _finding(self, name: str, brought: Mapping[str, list[Gives]], memo: dict[str, Dist]) -> Dist:
        card = self.findings[name]
        parent = self._effect(card.effect, brought, memo) if card.effect else None
        return self._under(card, brought.get("finding:" + name, []), parent)

    def facts_named(self, cause: str) -> dict[str, set[str]]:
        """Machine facts on which the card or its lines depend, with the words they name."""
        out: dict[str, set[str]] = {}
        for edge in self.causes[cause].brings:
            for name, words in edge.when.items():
                out.setdefault(name, set()).update(words)
        for name, words in self.causes[cause].when.items():
            out[name] = out.get(name, set(words)) & set(words)
        return out

    def of(self, cause: str, facts: Facts) -> dict[str, Dist]:
        """Findings the cause moves, with the chance of each word; a line whose facts do not hold here is left out."""
        named = self.facts_named(cause)
        key = (cause, tuple(sorted((n, w) for n, w in facts.items() if n in named)))
        if key in self._memo:
            return self._memo[key]
        brought: dict[str, list[Gives]] = {}
        for edge in self.causes[cause].brings:
            if all(facts.get(n) in words for n, words in edge.when.items()):
                name = edge.effect if edge.effect in self.effects else f"finding:{edge.finding}"
                brought.setdefault(name or "", []).append(self._numbers(edge.gives))
        memo: dict[str, Dist] = {}
        touched = {n.removeprefix("finding:") for n in brought if n.startswith("finding:")} & set(self.findings)
        touched |= {f for e in self._reached(brought) for f in self._below.get(e, [])}
        self._memo[key] = {name: self._finding(name, brought, memo) for name in sorted(touched)}
        return self._memo[key]

    def _reached(self, brought: Iterable[str]) -> set[str]:
        reached = {name for name in brought if name in self.effects}
        while True:
            more = {e.id for e in self.effects.values() if e.parent in reached} - reached
            if not more:
                return reached
            reached |= more

    def variants(self, *causes: str) -> Iterator[dict[str, str]]:
        """Every combination of machine facts on which all these cards can be true.

        A card whose lines name only thermostatic valves is not about a machine with another kind; where several cards
        name the same fact, what they have in common counts. No variant at all: they are never on one machine.
        """
        named: dict[str, set[str]] = {}
        for cause in causes:
            for name, words in self.facts_named(cause).items():
                named[name] = named[name] & words if name in named else set(words)
        for chosen in itertools.product(*(sorted(named[n]) for n in sorted(named))):
            yield dict(zip(sorted(named), chosen, strict=True))

    def apart(self, first: str, second: str, facts: Facts) -> dict[str, float]:
        """Finding -> total variation between its words under the two causes (0 alike, 1 never the same word)."""
        one, two = self.of(first, facts), self.of(second, facts)
        out = {}
        for name in one.keys() | two.keys():
            p, q = one.get(name) or self.healthy(name), two.get(name) or self.healthy(name)
            out[name] = sum(abs(p[w] - q[w]) for w in p) / 2.0
        return out
