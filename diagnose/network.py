"""The causal graph of one machine and circumstance as arrays: causes at places -> effects -> findings.

Each node is a leaky noisy-MAX per direction: the largest pull down or up wins; where of several influences one pulls down and another
up, half goes to neutral and a quarter to each side. One influence never pulls both ways at once, so a cause alone shows each word as often
as its card says. Of words
without order a cause alone shows each as often as its card says; two causes share by the chance that either shows a word; what
follows from the effect above counts where no cause shows anything, and the leak where neither does. Effects form a forest (the checker refuses anything else), so a
likelihood is one upward pass and a prediction one downward pass.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from diagnose.places import Place
from knowledge.load import Knowledge
from knowledge.models import Cause, Effect, Finding, Words

Array = npt.NDArray[np.float64]
Index = npt.NDArray[np.int64]
Key = tuple[str, str]
TINY = 1e-9
WHOLE_TABLE = 10_000  # rows of a table that is made once for all hypotheses


@dataclass(frozen=True, slots=True)
class Instance:
    """A cause card at a place of this machine."""

    cause: str
    place: Place


@dataclass(frozen=True)
class Part:
    """Hypotheses of one shape. members: instance numbers; first, second: positions among them (second None = each alone)."""

    members: Index
    first: Index
    second: Index | None


@dataclass(frozen=True)
class Hypotheses:
    """first, second: instance numbers from 1 (0 = no cause; equal = the same cause at two folded places); log_prior of each.

    parts: the same by shape, one after the other. third: one more instance number each, for three causes at once.
    """

    first: Index
    second: Index
    log_prior: Array
    parts: tuple[Part, ...] = ()
    third: Index | None = None


@dataclass(frozen=True, slots=True)
class Pull:
    """One edge of a cause card. on: node name; when: machine facts it needs; gives: word -> chance; factors: kept for one scale."""

    on: str
    when: Mapping[str, Sequence[str]]
    gives: Mapping[str, float]
    factors: list[Array] = field(default_factory=list, compare=False)

    def holds(self, facts: Mapping[str, str]) -> bool:
        """Whether this machine has what the edge needs."""
        return all(facts.get(name) in allowed for name, allowed in self.when.items())

    def on_node(self, node: Node) -> Array:
        """Factors of ``gives`` on the scale of its node, the same at every place."""
        if not self.factors:
            self.factors.append(node.factors(self.gives))
        return self.factors[0]


def pulls_of(knowledge: Knowledge) -> dict[str, tuple[Pull, ...]]:
    """Edges of each cause card with numbers for words, made once."""
    found: dict[str, tuple[Pull, ...]] | None = knowledge.memo.get("pulls")
    if found is None:
        strength = knowledge.words.strength
        found = {
            cause.id: tuple(
                Pull(
                    f"effect:{edge.effect}" if edge.effect else edge.finding or "",
                    edge.when,
                    {word: strength[s] for word, s in edge.gives.items()},
                )
                for edge in cause.brings
            )
            for cause in knowledge.causes.values()
        }
        knowledge.memo["pulls"] = found
    return found


def _largest(at_most: Array, whole: Array) -> Array:
    """P(largest pull = 1, 2 ...) from P(<= 0, 1 ...) and P of the ``whole``: (..., n), (..., 1) -> (..., n)."""
    return np.maximum(np.diff(np.concatenate([at_most, whole], axis=-1), axis=-1), 0.0)


class Node:
    """One effect or finding at one place.

    words/neutral: its scale. parent: key of the effect above. contributions: (kinds of pull + 1) x L factors, row 0 is "does
    not touch"; local: row of each instance number; leak and parent factors likewise. L is the number of unhealthy words, twice
    that on a scale with two unhealthy sides, and one more for answers without order: the chance that the influence shows none.
    """

    def __init__(
        self,
        key: Key,
        words: Sequence[str],
        neutral: str,
        ordered: bool,
        parent: Key | None,
        sides: tuple[float, float],
    ) -> None:
        self.key, self.words, self.ordered, self.parent = key, tuple(words), ordered, parent
        self.zero = self.words.index(neutral)
        self.size = len(self.words)
        self.sides = sides
        self.two_sided = ordered and 0 < self.zero < self.size - 1
        self.width = (2 * self.size - 2 if self.two_sided else self.size - 1) if ordered else self.size
        self.leak: Array = np.ones(self.width)
        self.from_parent: Array = np.ones((1, self.width))
        self.local: Index = np.zeros(1, dtype=np.int64)
        self.contributions: Array = np.ones((1, self.width))
        self._table: Array | None = None

    def factors(self, gives: Mapping[str, float]) -> Array:
        """Factors (chances that nothing of at least this size happens) for word probabilities of one influence."""
        out = np.ones(self.width)
        if not self.ordered:
            for word, p in gives.items():
                index = self.words.index(word)
                out[index if index < self.zero else index - 1] -= p
                out[-1] -= p
            return np.maximum(out, TINY)
        # P(pull down <= g) for each step g from 0, P(pull up <= g); then, on a scale with two unhealthy sides, the same with
        # nothing pulling the other way: one influence never pulls both ways at once
        steps = self.size - 1
        for word, p in gives.items():
            index = self.words.index(word)
            down, up = max(self.zero - index, 0), max(index - self.zero, 0)
            out[:down] -= p
            out[self.zero : self.zero + up] -= p
            if self.two_sided:
                out[steps : steps + (down or self.zero)] -= p
                out[steps + self.zero : steps + self.zero + (up or steps - self.zero)] -= p
        return np.maximum(out, TINY)

    def conditional(self, factors: Array) -> Array:
        """P(word) on a scale from combined factors; factors (..., L) -> (..., K)."""
        zero, steps = self.zero, self.size - 1
        out = np.empty((*factors.shape[:-1], self.size))
        if not self.two_sided:
            sides = slice(None, zero) if zero else slice(1, None)
            largest = _largest(factors, np.ones((*factors.shape[:-1], 1)))
            out[..., zero] = factors[..., 0]
            out[..., sides] = largest[..., ::-1] if zero else largest
            return out
        neutral_share, each = self.sides
        ones = np.ones((*factors.shape[:-1], 1))
        down, up = factors[..., :zero], factors[..., zero:steps]
        down_alone, up_alone = factors[..., steps : steps + zero], factors[..., steps + zero :]
        none = down_alone[..., :1]
        both = np.maximum(1.0 - down[..., :1] - up[..., :1] + none, 0.0)
        out[..., zero] = (none + neutral_share * both)[..., 0]
        falls = (1.0 - each) * _largest(down_alone, up[..., :1]) + each * _largest(down, ones)
        out[..., :zero] = falls[..., ::-1]
        out[..., zero + 1 :] = (1.0 - each) * _largest(up_alone, down[..., :1]) + each * _largest(up, ones)
        return out

    def table(self, extra: Array | None = None) -> Array:
        """Conditional table ((t+1)^2, P, K) over pairs of touchers and parent words; ``extra``: one more influence."""
        if extra is None and self._table is not None:
            return self._table
        table = self.table_of(self.contributions, self.contributions, extra)
        if extra is None:
            self._table = table
        return table

    def table_of(self, first: Array, second: Array, extra: Array | None) -> Array:
        """Conditional table (a * b, P, K) over pairs of contributions (a, L) and (b, L)."""
        pairs = (first[:, None, :] * second[None, :, :]).reshape(-1, self.width)
        return self.chances(pairs if extra is None else pairs * extra, self.from_parent)

    def chances(self, pulls: Array, above: Array) -> Array:
        """P(word) (a, P, K) for combined pulls of causes (a, L) and of the words of the effect above (P, L)."""
        if self.ordered:
            return self.conditional(self.leak * pulls[:, None, :] * above[None, :, :])
        # what a cause shows by itself comes before what follows from an effect, and both before what appears without a cause
        own, none = self._shown(pulls)
        follows, nor_follows = self._shown(above)
        stray, nothing = self._shown(self.leak)
        below = follows + nor_follows * stray
        out = np.empty((len(pulls), len(above), self.size))
        others = [k for k in range(self.size) if k != self.zero]
        out[..., others] = own[:, None, :] + none[:, None, :] * below[None, :, :]
        out[..., self.zero] = none * (nor_follows * nothing)[:, 0]
        return out

    def _shown(self, factors: Array) -> tuple[Array, Array]:
        """(..., L) chance of each unhealthy word and (..., 1) of none; words share by the chance that anything shows them."""
        each, none = 1.0 - factors[..., :-1], factors[..., -1:]
        return (1.0 - none) * each / np.maximum(each.sum(axis=-1, keepdims=True), TINY), none

    def among(self, first: Index, second: Index, third: Index | None = None) -> Rows:
        """Where these hypotheses stand in the node's table, or in a smaller one where the whole would be large."""
        if third is not None:
            pulls = self.contributions[self.local[first]] * self.contributions[self.local[second]]
            pulls = pulls * self.contributions[self.local[third]]
            return Rows(self, np.arange(len(first), dtype=np.int64), (pulls, np.ones((1, self.width))))
        if len(self.contributions) ** 2 <= WHOLE_TABLE:
            return Rows(self, self.signature(first, second), None)
        a, at_a = np.unique(self.local.take(first), return_inverse=True)
        b, at_b = np.unique(self.local.take(second), return_inverse=True)
        of = at_a.ravel().astype(np.int64) * len(b) + at_b.ravel()
        return Rows(self, of, (self.contributions[a], self.contributions[b]))

    def signature(self, first: Index, second: Index) -> Index:
        """Row of ``table`` for each hypothesis (instance numbers, 0 = none)."""
        rows: Index = self.local.take(first) * len(self.contributions) + self.local.take(second)
        return rows


@dataclass
class Rows:
    """Rows of a node's conditional table for some hypotheses. of: (H,); pulls: contributions that occur, None = all of them."""

    node: Node
    of: Index
    pulls: tuple[Array, Array] | None
    _table: Array | None = None

    def table(self, extra: Array | None = None) -> Array:
        """(rows, P, K); ``extra``: one more influence."""
        if self.pulls is None:
            return self.node.table(extra)
        if extra is not None:
            return self.node.table_of(*self.pulls, extra)
        if self._table is None:
            self._table = self.node.table_of(*self.pulls, None)
        return self._table


def prior_weight(words: Words, cause: Cause, context: Iterable[str]) -> float:
    """How likely a cause is in these circumstances, against others: the word of its card that the circumstances move furthest."""
    base = words.prior[cause.prior]
    given = [words.prior[cause.prior_in[c]] for c in context if c in cause.prior_in]
    if not given:
        return base
    return max(given) if max(given) >= base else min(given)


class Network:
    """Causes, priors and (lazily) nodes for one set of places, context and machine facts."""

    def __init__(
        self, knowledge: Knowledge, places: Mapping[str, Place], context: Sequence[str], facts: Mapping[str, str]
    ) -> None:
        self.knowledge, self.places, self.facts = knowledge, dict(places), dict(facts)
        words = knowledge.words
        self.words: Words = words
        self.instances: list[Instance] = []
        for cause in knowledge.causes.values():
            for place in self.places.values():
                if place.kind == cause.place and all(facts.get(n, w[0]) in w for n, w in cause.when.items()):
                    self.instances.append(Instance(cause.id, place))
        weight = {c.id: prior_weight(self.words, c, context) for c in knowledge.causes.values()}
        total = sum(weight.values()) or 1.0
        self.odds: Array = np.array(
            [words.total_odds * weight[i.cause] / total * i.place.count for i in self.instances]
        )
        self._nodes: dict[Key, Node] = {}
        self._edges: dict[str, list[tuple[int, Pull]]] = {}
        all_pulls = pulls_of(knowledge)
        here = {c: [p for p in all_pulls[c] if not p.when or p.holds(self.facts)] for c in knowledge.causes}
        for number, instance in enumerate(self.instances, 1):
            for pull in here[instance.cause]:
                self._edges.setdefault(pull.on, []).append((number, pull))
        self._all: Hypotheses | None = None

    def hypotheses(self, chosen: Index) -> Hypotheses:
        """None, every single, and every pair of the ``chosen`` instances; a folded place may hold one cause twice."""
        n = len(self.instances)
        alone = np.arange(n + 1, dtype=np.int64)
        a, b = np.triu_indices(len(chosen), 1)
        several = np.array(
            [i for i, one in enumerate(chosen) if self.instances[one - 1].place.count > 1], dtype=np.int64
        )
        twice = chosen[several]
        first = np.concatenate([alone, chosen[a], twice]).astype(np.int64)
        second = np.concatenate([np.zeros(n + 1, dtype=np.int64), chosen[b], twice]).astype(np.int64)
        odds = np.concatenate([[1.0], self.odds])
        weight = odds[first] * odds[second]
        if len(twice):
            counts = np.array([self.instances[i - 1].place.count for i in twice], dtype=float)
            weight[-len(twice) :] *= (counts - 1.0) / (2.0 * counts)  # n(n-1)/2 o^2 where odds hold n o
        parts: tuple[Part, ...] = (Part(alone, first, second),)
        if len(chosen) < n:
            pairs = Part(chosen.astype(np.int64), np.concatenate([a, several]), np.concatenate([b, several]))
            parts = (Part(alone, alone, None), pairs)
        return Hypotheses(first, second, np.log(weight / weight.sum()), parts)

    def all_hypotheses(self) -> Hypotheses:
        """None, every single and every pair."""
        if self._all is None:
            self._all = self.hypotheses(np.arange(1, len(self.instances) + 1))
        return self._all

    def singles(self) -> Hypotheses:
        """None and every single."""
        return self.hypotheses(np.zeros(0, dtype=np.int64))

    # nodes -------------------------------------------------------------------------------------------------------------

    def place_for(self, kind: str, near: Place) -> str | None:
        """The place of ``kind`` that belongs to ``near`` (the unit, its circuit, the main pump)."""
        if kind in ("unit", "supply"):
            return kind
        for place in self.places.values():
            if place.kind == kind and place.touches(near):
                return place.id
        return None

    def node(self, key: Key) -> Node:
        """The node of an effect, finding or complaint ("complaint:ID") at a place id."""
        made = self._nodes.get(key)
        if made is None:
            made = self._build(key)
            self._nodes[key] = made
        return made

    def _build(self, key: Key) -> Node:
        name, place_id = key
        if name.startswith("complaint:"):
            return self._complaint(key)
        card: Effect | Finding = (
            self.knowledge.effects.get(name.removeprefix("effect:"))
            if name.startswith("effect:")
            # type: ignore[assignment]
            else (self.knowledge.findings[name])
        )
        words = card.ordered or getattr(card, "words", ())
        above = card.parent if isinstance(card, Effect) else card.effect
        place = self.places[place_id]
        parent: Key | None = None
        if above:
            parent_place = self.place_for(self.knowledge.effects[above].place, place)
            parent = (f"effect:{above}", parent_place) if parent_place else None
        node = Node(
            key,
            words,
            card.neutral,
            bool(card.ordered),
            parent,
            (self.words.both_directions["neutral"], self.words.both_directions["each-side"]),
        )
        node.leak = node.factors(self._leak(card, words))
        if parent is not None and above is not None:
            parent_words = self.knowledge.effects[above].ordered
            node.from_parent = np.array(
                [
                    node.factors({w: self.words.strength[s] for w, s in card.given.get(p, {}).items()})
                    for p in parent_words
                ]
            )
        self._attach(node, name, place)  # an effect and a finding may share an id; their edges never mix
        return node

    def _leak(self, card: Effect | Finding, words: Sequence[str]) -> dict[str, float]:
        unhealthy = [w for w in words if w != card.neutral]
        if isinstance(card, Effect):
            return {w: self.words.strength[card.leak[w]] for w in unhealthy if w in card.leak}
        default = self.words.strength[self.words.default_leak]
        # the default is shared by all unhealthy words, so that a finer scale does not leak more
        return {
            w: self.words.strength[card.leak[w]]
            if w in card.leak
            else default / max(1, len(unhealthy) - len(card.leak))
            for w in unhealthy
        }

    def _attach(self, node: Node, name: str, place: Place) -> None:
        near = {one.id for one in self.places.values() if one.touches(place)}
        merged: dict[int, Array] = {}
        for number, pull in self._edges.get(name, ()):
            if self.instances[number - 1].place.id in near:
                factors = pull.on_node(node)
                merged[number] = merged[number] * factors if number in merged else factors
        node.local = np.zeros(len(self.instances) + 1, dtype=np.int64)
        rows = [np.ones(node.width)]
        row_of = {rows[0].tobytes(): 0}  # causes that pull alike share a row
        for number, factors in merged.items():
            row = row_of.setdefault(factors.tobytes(), len(rows))
            if row == len(rows):
                rows.append(factors)
            node.local[number] = row
        node.contributions = np.array(rows)

    def _complaint(self, key: Key) -> Node:
        """A complaint as a yes/no finding; any cause may be reported under an odd complaint, now and then."""
        card = self.knowledge.complaints[key[0].removeprefix("complaint:")]
        parent = (f"effect:{card.effect}", self.knowledge.effects[card.effect].place) if card.effect else None
        if parent is not None and parent[1] not in self.places:
            parent = None
        node = Node(
            key,
            ("no", "yes"),
            "no",
            True,
            parent,
            (self.words.both_directions["neutral"], self.words.both_directions["each-side"]),
        )
        node.leak = node.factors({"yes": self.words.strength[card.when_nothing_is_wrong]})
        if parent is not None and card.effect:
            node.from_parent = np.array(
                [
                    node.factors({"yes": self.words.strength[card.given[w]]} if w in card.given else {})
                    for w in self.knowledge.effects[card.effect].ordered
                ]
            )
        odd = self.words.strength[self.words.other_complaint]
        node.local = np.zeros(len(self.instances) + 1, dtype=np.int64)
        rows = {0.0: 0}
        table = [np.ones(1)]
        for number, instance in enumerate(self.instances, 1):
            cause = self.knowledge.causes[instance.cause]
            strength = self.words.strength[cause.complaints[card.id]] if card.id in cause.complaints else odd
            if strength not in rows:
                rows[strength] = len(table)
                table.append(node.factors({"yes": strength}))
            node.local[number] = rows[strength]
        node.contributions = np.array(table)
        return node

    def touches(self, key: Key) -> bool:
        """Whether any cause or effect can move this finding here."""
        node = self.node(key)
        return bool(node.local.any()) or node.parent is not None


def network_for(
    knowledge: Knowledge, places: Mapping[str, Place], context: Iterable[str], facts: Mapping[str, str]
) -> Network:
    """The network for these circumstances, from a small cache on the knowledge."""
    context = tuple(sorted(set(context)))
    key = (tuple(places.values()), context, tuple(sorted(facts.items())))
    cache = knowledge.memo.setdefault("networks", {})
    found = cache.get(key)
    if found is None:
        found = Network(knowledge, places, context, facts)
        if len(cache) > 24:
            cache.clear()
        cache[key] = found
    assert isinstance(found, Network)
    return found
