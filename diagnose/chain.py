"""How a cause comes to be noticed: cause -> hidden effects that carry the evidence of this call -> the complaint.

Which word each effect has is not read off the card but worked out: given this cause alone and everything seen (all instruments
honest), the likeliest one, by a pass up and down the tree the effect stands in. A chain follows only effects that are likely out
of order; where the cause touches none of them it goes over the finding that speaks most for the cause.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diagnose.grade import Mode
from diagnose.network import Array, Key, Network
from diagnose.work import Work


class OneCause:
    """Beliefs about effects given one cause alone. likelihoods: word likelihoods of findings seen."""

    def __init__(self, network: Network, likelihoods: Mapping[Key, Array], index: int) -> None:
        self.network, self.likelihoods, self.number = network, likelihoods, index + 1
        self.children: dict[Key, list[Key]] = {}
        todo, seen = list(likelihoods), set(likelihoods)
        while todo:
            key = todo.pop()
            parent = network.node(key).parent
            if parent is not None:
                self.children.setdefault(parent, []).append(key)
                if parent not in seen:
                    seen.add(parent)
                    todo.append(parent)

    def _table(self, key: Key) -> Array:
        """(P, K) with this cause there and no other."""
        node = self.network.node(key)
        row = node.signature(np.array([self.number]), np.zeros(1, dtype=np.int64))
        out: Array = node.table()[int(row[0])]
        return out

    def below(self, key: Key) -> Array:
        """(K,) what is seen at and below a node says about its word."""
        out = np.asarray(self.likelihoods.get(key, np.ones(self.network.node(key).size)), dtype=float)
        for child in self.children.get(key, ()):
            out = out * (self._table(child) @ self.below(child))
        return out

    def above(self, key: Key) -> Array:
        """(K,) what the cause and everything not below a node says about its word."""
        parent, table = self.network.node(key).parent, self._table(key)
        if parent is None:
            out: Array = table[0]
            return out
        own = self.above(parent)
        for child in self.children.get(parent, ()):
            if child != key:
                own = own * (self._table(child) @ self.below(child))
        out = own @ table
        return out

    def word(self, key: Key) -> str:
        """The likeliest word of an effect."""
        node = self.network.node(key)
        return node.words[int(np.argmax(self.above(key) * self.below(key)))]

    def touched(self, key: Key) -> bool:
        """Whether the cause itself moves a node."""
        return bool(self.network.node(key).local[self.number])

    def way_to(self, key: Key | None) -> list[Key]:
        """Effects from the nearest one above that the cause touches down to ``key``; empty if none, or one is in order."""
        way: list[Key] = []
        while key is not None:
            node = self.network.node(key)
            if self.word(key) == node.words[node.zero]:
                return []
            way.insert(0, key)
            if self.touched(key):
                return way
            key = node.parent
        return []


def chain_of(
    work: Work, network: Network, likelihoods: Mapping[Key, Array], index: int, seen_for: Sequence[Key]
) -> tuple[str, ...]:
    """The chain of one suspect in words. seen_for: findings that speak for it, the strongest first."""
    cause = work.knowledge.causes[network.instances[index].cause]
    complaint = work.knowledge.complaints[work.case.complaint]
    one = OneCause(network, likelihoods, index)
    near = network.instances[index].place
    ends: list[Key | None] = []
    for name in (complaint.about, complaint.effect):
        place = network.place_for(work.knowledge.effects[name].place, near) if name else None
        if name and place:
            ends.append((f"effect:{name}", place))
    unhealthy = [k for k in (*seen_for, *likelihoods) if _out_of_order(work, k)]
    ends += [network.node(k).parent for k in unhealthy]
    way = next((w for w in map(one.way_to, ends) if w), [])
    direct = [k for k in unhealthy if not way and k in seen_for and one.touched(k)][:1]
    links = [_effect(work, one, k, unhealthy) for k in way] + [_seen(work, k) for k in direct]
    return (cause.title, *links, complaint.title)


def _out_of_order(work: Work, key: Key) -> bool:
    evidence = work.graded.evidence.get(key)
    if evidence is None:  # the complaint
        return False
    card = work.knowledge.findings[key[0]]
    return evidence.words(card)[0][0] != card.neutral


def _seen(work: Work, key: Key) -> str:
    return work.graded.evidence[key].texts[0]


def _effect(work: Work, one: OneCause, key: Key, unhealthy: Sequence[Key]) -> str:
    """An effect with its word, and the strongest finding it was seen by."""
    card = work.knowledge.effects[key[0].removeprefix("effect:")]
    shown = next((k for k in unhealthy if one.network.node(k).parent == key), None)
    seen = f" (seen: {_seen(work, shown)})" if shown else ""
    return f"{card.title}: {one.word(key).replace('-', ' ')}{seen}"


def liar_chain(work: Work, liar: Mode) -> tuple[str, ...]:
    """From a lying instrument over what was computed from it to the complaint."""
    moved = [one.texts[0] for one in work.graded.evidence.values() if liar.id in one.by_mode]
    title = liar.title[0].upper() + liar.title[1:]
    return (title, *dict.fromkeys(moved), work.knowledge.complaints[work.case.complaint].title)
