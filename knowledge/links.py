"""From card to card: which cards a card names, and the small picture of what leads to it and what it leads to.

Both are drawn from the same card texts as `describe.py`, so a terminal, a page and a test see one thing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from knowledge.describe import KINDS, Section, describe
from knowledge.load import Knowledge
from knowledge.models import Cause, Check, Complaint, Effect, Finding

# headings of `describe` whose lines name one card each -> kind of that card
LINKED: dict[str, str] = {
    "Reported as": "complaints",
    "Looks that confirm it": "checks",
    "Looks that clear it": "checks",
    "Nothing tells it from": "causes",
    "Rules about it": "rules",
    "Readings": "findings",
    "What is otherwise while it stands": "findings",
    "Among the first looks of": "complaints",
    "It confirms": "causes",
    "It clears": "causes",
    "First looks": "checks",
    "Causes that are reported so": "causes",
    "Brought by": "causes",
    "Looks that show it": "checks",
    "Rules that read or make it": "rules",
    "It shifts": "causes",
    "Sources": "sources",
}
_NAMED = re.compile(r" ?\(([a-z][a-z0-9]*(?:-[a-z0-9]+)*)\)")


@dataclass(frozen=True)
class Link:
    """text: the line without the id."""

    kind: str
    id: str
    text: str


def link_of(knowledge: Knowledge, heading: str, line: str) -> Link | None:
    """The card a line of `describe` names, None for a line of text."""
    kind = LINKED.get(heading)
    for found in _NAMED.finditer(line) if kind else ():
        if found.group(1) in getattr(knowledge, kind or ""):
            return Link(kind or "", found.group(1), line[: found.start()] + line[found.end() :])
    return None


def sections(knowledge: Knowledge, kind: str, card_id: str) -> list[Section]:
    """Sections of a card without its own heading."""
    return [(title, lines) for title, lines in describe(knowledge, kind, card_id)[1:] if lines]


def touches(knowledge: Knowledge, kind: str, card_id: str) -> list[Link]:
    """Hidden states and findings a card is about, as links: of a cause what it brings, of a rule what it reads."""
    card = getattr(knowledge, kind)[card_id]
    named: list[tuple[str, str]] = []
    if kind == "causes":
        named = [("effects", e.effect) if e.effect else ("findings", e.finding or "") for e in card.brings]
    elif kind in ("checks", "setups"):
        named = [("findings", f) for f in (card.finding, *card.tells) if f]
    elif kind == "rules":
        named = [("findings", c.finding) for c in (*card.when, *card.unless) if c.finding]
        named += [("findings", f) for f in (card.then.finding, *card.then.findings) if f]
        named += [("checks", c) for c in (*card.then.settle, card.then.ask_first) if c]
        named += [("causes", card.then.cause)] if card.then.cause else []
    elif kind == "findings":
        named = [("effects", card.effect)] if card.effect else []
    elif kind == "effects":
        named = [("effects", card.parent)] if card.parent else []
        named += [("effects", e.id) for e in knowledge.effects.values() if e.parent == card_id]
        named += [("findings", f.id) for f in knowledge.findings.values() if f.effect == card_id]
    return [Link(k, i, getattr(knowledge, k)[i].title) for k, i in dict.fromkeys(named)]


# the picture --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Node:
    """A card in the picture."""

    kind: str
    id: str
    title: str

    @property
    def name(self) -> str:
        """Its address, kind/id."""
        return f"{self.kind}/{self.id}"


@dataclass(frozen=True)
class Arrow:
    """source, target: names of nodes. often: the strongest word; says: the whole of it in words."""

    source: str
    target: str
    often: str
    says: str


@dataclass(frozen=True)
class Picture:
    """Columns from left to right, each with a heading; arrows run from a column to one on its right."""

    headings: tuple[str, ...]
    columns: tuple[tuple[Node, ...], ...]
    arrows: tuple[Arrow, ...]

    def sentences(self) -> list[str]:
        """The picture in words, one arrow a line."""
        titles = {node.name: node.title for column in self.columns for node in column}
        return [f"{titles[a.source]} → {titles[a.target]}: {a.says}" for a in self.arrows]


class _Sketch:
    """Collects nodes by column and arrows; drops columns that stay empty."""

    def __init__(self, knowledge: Knowledge, *headings: str) -> None:
        self.knowledge, self.headings = knowledge, headings
        # the strongest is 0
        self.rank: dict[str, int] = {word: number for number, word in enumerate(knowledge.words.strength)}
        self.columns: list[dict[str, Node]] = [{} for _ in headings]
        self.arrows: list[Arrow] = []

    def node(self, column: int, kind: str, card_id: str) -> str:
        node = Node(kind, card_id, getattr(self.knowledge, kind)[card_id].title)
        if not any(node.name in c for c in self.columns):
            self.columns[column][node.name] = node
        return node.name

    def arrow(self, source: str, target: str, gives: Mapping[str, str], texts: Mapping[str, str]) -> None:
        often = min(gives.values(), key=self.rank.__getitem__) if gives else ""
        says = "; ".join(f"{how.replace('-', ' ')} {texts.get(word, word)}" for word, how in gives.items())
        self.arrows.append(Arrow(source, target, often, says))

    def picture(self) -> Picture:
        strongest: dict[str, int] = {}
        for arrow in self.arrows:
            for name in (arrow.source, arrow.target):
                strongest[name] = min(strongest.get(name, 99), self.rank.get(arrow.often, 50))
        used = [n for n, column in enumerate(self.columns) if column]
        ordered = tuple(
            tuple(sorted(self.columns[n].values(), key=lambda x: (strongest.get(x.name, 99), x.title))) for n in used
        )
        return Picture(tuple(self.headings[n] for n in used), ordered, tuple(self.arrows))


def picture(knowledge: Knowledge, kind: str, card_id: str) -> Picture | None:
    """What leads to a card and what it leads to; None for a kind that has no place among causes and effects."""
    card = getattr(knowledge, kind)[card_id]
    if isinstance(card, Cause):
        return _of_cause(knowledge, card)
    if isinstance(card, Complaint):
        return _of_complaint(knowledge, card)
    if isinstance(card, Effect):
        return _of_effect(knowledge, card)
    if isinstance(card, Finding):
        return _of_finding(knowledge, card)
    if isinstance(card, Check):
        return _of_check(knowledge, card)
    return None


def _of_cause(knowledge: Knowledge, card: Cause) -> Picture:
    sketch = _Sketch(knowledge, "Reported as", "Cause", "Hidden state", "What is seen")
    here = sketch.node(1, "causes", card.id)
    for complaint, often in card.complaints.items():
        sketch.arrow(sketch.node(0, "complaints", complaint), here, {"": often}, {"": "reported so"})
    for edge in card.brings:
        if edge.effect:
            effect = knowledge.effects[edge.effect]
            sketch.arrow(here, sketch.node(2, "effects", effect.id), edge.gives, _words(effect))
            _below(sketch, knowledge, effect, edge.gives)
    for edge in card.brings:
        if edge.finding:
            target = sketch.node(3, "findings", edge.finding)
            sketch.arrow(here, target, edge.gives, knowledge.findings[edge.finding].texts)
    return sketch.picture()


def _below(sketch: _Sketch, knowledge: Knowledge, effect: Effect, words: Iterable[str]) -> None:
    """What follows from these words of a hidden state."""
    for finding in knowledge.findings.values():
        given = {w: often for above in words for w, often in finding.given.get(above, {}).items()}
        if finding.effect == effect.id and given:
            target = sketch.node(3, "findings", finding.id)
            sketch.arrow(f"effects/{effect.id}", target, given, finding.texts)


def _of_complaint(knowledge: Knowledge, card: Complaint) -> Picture:
    sketch = _Sketch(knowledge, "Complaint", "Causes", "Hidden states")
    here = sketch.node(0, "complaints", card.id)
    for cause in knowledge.causes.values():
        if card.id not in cause.complaints:
            continue
        source = sketch.node(1, "causes", cause.id)
        sketch.arrow(here, source, {"": cause.complaints[card.id]}, {"": "reported so"})
        for edge in cause.brings:
            if edge.effect:
                effect = knowledge.effects[edge.effect]
                sketch.arrow(source, sketch.node(2, "effects", effect.id), edge.gives, _words(effect))
    return sketch.picture()


def _of_effect(knowledge: Knowledge, card: Effect) -> Picture:
    sketch = _Sketch(knowledge, "What brings it", "Hidden state", "What follows")
    here = sketch.node(1, "effects", card.id)
    _bringers(sketch, here, card, card.parent, _words(card))
    followers: list[Any] = [e for e in knowledge.effects.values() if e.parent == card.id]
    followers += [f for f in knowledge.findings.values() if f.effect == card.id]
    for follower in followers:
        kind = "effects" if isinstance(follower, Effect) else "findings"
        target = sketch.node(2, kind, follower.id)
        for word, gives in follower.given.items():
            plain = _words(follower) if isinstance(follower, Effect) else follower.texts
            sketch.arrow(here, target, gives, {w: f"{plain.get(w, w)} when it is {word}" for w in gives})
    return sketch.picture()


def _of_finding(knowledge: Knowledge, card: Finding) -> Picture:
    sketch = _Sketch(knowledge, "What brings it", "What is seen", "Looks that show it")
    here = sketch.node(1, "findings", card.id)
    _bringers(sketch, here, card, card.effect, card.texts)
    for check in knowledge.checks.values():
        if card.id == check.finding or card.id in check.tells:
            sketch.arrow(here, sketch.node(2, "checks", check.id), {"": "always"}, {"": "shown by this look"})
    return sketch.picture()


def _bringers(sketch: _Sketch, here: str, card: Effect | Finding, above: str | None, plain: Mapping[str, str]) -> None:
    """The hidden state above a hidden state or finding, and the causes that bring it directly, in the first column."""
    if above:
        source = sketch.node(0, "effects", above)
        for word, gives in card.given.items():
            sketch.arrow(source, here, gives, {w: f"{plain.get(w, w)} when it is {word}" for w in gives})
    for cause in sketch.knowledge.causes.values():
        for edge in cause.brings:
            if card.id == (edge.effect if isinstance(card, Effect) else edge.finding):
                sketch.arrow(sketch.node(0, "causes", cause.id), here, edge.gives, plain)


def _of_check(knowledge: Knowledge, card: Check) -> Picture:
    sketch = _Sketch(knowledge, "Causes it speaks on", "Look", "What it shows")
    here = sketch.node(1, "checks", card.id)
    for cause in knowledge.causes.values():
        said = [
            w
            for w, named in (("confirms it", card.id in cause.confirm), ("clears it", card.id in cause.clear))
            if named
        ]
        if said:
            source = sketch.node(0, "causes", cause.id)
            sketch.arrows.append(Arrow(source, here, "always", " and ".join(said)))
    for finding in dict.fromkeys(f for f in (card.finding, *card.tells) if f):
        sketch.arrow(here, sketch.node(2, "findings", finding), {"": "always"}, {"": "shown by this look"})
    return sketch.picture()


def _words(effect: Effect) -> dict[str, str]:
    return {word: word for word in effect.ordered}


__all__ = ["KINDS", "LINKED", "Arrow", "Link", "Node", "Picture", "link_of", "picture", "sections", "touches"]
