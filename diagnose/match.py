"""Find checks, answers and causes for plain words: search only, nothing here is weighed."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from knowledge.load import Knowledge
from knowledge.models import Cause, Effect, Finding

MOST = 12
# which way a word points: "superheat too high" is not looked for among what makes superheat low
_UP = frozenset(
    ["high", "higher", "above", "over", "wide", "raised", "rise", "rising", "more", "excess", "hot", "warm"]
)
_DOWN = frozenset(
    ["low", "lower", "below", "under", "small", "reduced", "fall", "falling", "less", "none", "zero", "lack"]
)
SAME_WAY, OTHER_WAY = (
    1.5,
    0.4,
)  # a text that names the quantity the same way, or the other way only; common practice, no source
_STOP = frozenset(
    [
        "the",
        "a",
        "an",
        "of",
        "to",
        "in",
        "on",
        "is",
        "are",
        "was",
        "were",
        "and",
        "or",
        "it",
        "its",
        "at",
        "by",
        "for",
        "from",
        "with",
        "no",
        "not",
        "what",
        "which",
        "how",
        "does",
        "do",
        "did",
        "be",
        "been",
        "this",
        "that",
        "as",
        "has",
        "have",
        "too",
        "like",
        "i",
        "we",
        "you",
    ]
)
_SAME = {
    "volts": "voltage",
    "volt": "voltage",
    "amps": "current",
    "amp": "current",
    "water": "fluid",
    "gas": "refrigerant",
    "shut": "closed",
    "relay": "monitor",
    "lp": "low",
    "hp": "high",
    "rotating": "rotation",
    "filter": "strainer",
    "cold": "cold",
    "chilled": "fluid",
    "temp": "temperature",
    "dp": "drop",
}


@dataclass(frozen=True)
class Match:
    """kind: check, answer, cause or complaint; id; answer id when an answer matched; the text it matched by."""

    kind: str
    id: str
    answer: str
    text: str
    score: float

    def as_dict(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "kind": self.kind,
            "id": self.id,
            "answer": self.answer or None,
            "text": self.text,
            "score": round(self.score, 3),
        }


def tokens(text: str) -> list[str]:
    """The words of a text that count for search, endings off, synonyms as one."""
    words = re.findall(r"[a-z0-9%]+", text.lower())
    out = []
    for word in words:
        if word in _STOP:
            continue
        word = _SAME.get(word, word)
        for ending in ("ing", "ed", "es", "s"):
            if len(word) > len(ending) + 3 and word.endswith(ending):
                word = word[: -len(ending)]
                break
        out.append(word)
    return out


@dataclass(frozen=True)
class _Document:
    """One text to be found. strong, weak: its tokens; goes: token of a quantity -> ways it is moved ("up", "down")."""

    kind: str
    id: str
    answer: str
    text: str
    strong: list[str]
    weak: list[str]
    goes: dict[str, set[str]] = field(default_factory=dict)


def _way(word: str) -> str:
    parts = set(word.lower().split("-"))
    return "up" if parts & _UP else "down" if parts & _DOWN else ""


def _add_ways(goes: dict[str, set[str]], card: Effect | Finding, words: Iterable[str]) -> None:
    """That these words of a finding or effect happen: each token of its id goes that way."""
    ways = {w for w in map(_way, words) if w}
    for token in tokens(card.id.replace("-", " ")):
        if ways and not _way(token):
            goes.setdefault(token, set()).update(ways)


def _cause_ways(cause: Cause, knowledge: Knowledge) -> dict[str, set[str]]:
    """What a cause moves, by its own edges and by one effect below them."""
    goes: dict[str, set[str]] = {}
    for edge in cause.brings:
        if edge.finding:
            _add_ways(goes, knowledge.findings[edge.finding], edge.gives)
            continue
        _add_ways(goes, knowledge.effects[edge.effect or ""], edge.gives)
        below: list[Effect | Finding] = [f for f in knowledge.findings.values() if f.effect == edge.effect]
        below += [e for e in knowledge.effects.values() if e.parent == edge.effect]
        for card in below:
            _add_ways(goes, card, [w for said in edge.gives for w in card.given.get(said, ())])
    return goes


def _documents(knowledge: Knowledge) -> list[_Document]:
    made: list[_Document] | None = knowledge.memo.get("match-documents")
    if made is None:
        made = []
        for check in knowledge.checks.values():
            strong = tokens(f"{check.title} {' '.join(check.words)} {check.id}")
            made.append(_Document("check", check.id, "", check.title, strong, tokens(check.technician)))
            for answer, text in check.answers.items():
                own = tokens(f"{text.text} {answer}") + strong
                goes: dict[str, set[str]] = {}
                if check.finding:
                    _add_ways(goes, knowledge.findings[check.finding], [text.word or answer])
                made.append(_Document("answer", check.id, answer, f"{check.title}: {text.text}", own, strong, goes))
        for cause in knowledge.causes.values():
            own = tokens(f"{cause.title} {' '.join(cause.also)} {cause.id}")
            ways = _cause_ways(cause, knowledge)
            made.append(_Document("cause", cause.id, "", cause.title, own, tokens(cause.shows), ways))
        for one in knowledge.complaints.values():
            own = tokens(f"{one.title} {' '.join(one.words)}")
            title = tokens(one.title)
            said = {w for w in map(_way, title) if w}
            goes = {t: said for t in title if not _way(t)} if len(said) == 1 else {}
            made.append(_Document("complaint", one.id, "", one.title, own, tokens(one.plain), goes))
        knowledge.memo["match-documents"] = made
    return made


def _turned(document: _Document, wanted: set[str], ways: set[str]) -> float:
    """Factor for a text that moves a wanted quantity the way that was asked for, or only the other way."""
    moved = [document.goes[token] for token in wanted if token in document.goes]
    if len(ways) != 1 or not moved:
        return 1.0
    return SAME_WAY if any(ways & one for one in moved) else OTHER_WAY


def match(text: str, knowledge: Knowledge, most: int = MOST) -> list[Match]:
    """The best matches for plain words, best first; empty when nothing fits."""
    documents = _documents(knowledge)
    wanted = tokens(text)
    if not wanted:
        return []
    frequency: dict[str, int] = {}
    for one in documents:
        for token in {*one.strong, *one.weak}:
            frequency[token] = frequency.get(token, 0) + 1
    count = len(documents)
    ways = {w for w in map(_way, re.findall(r"[a-z]+", text.lower())) if w}
    pointing = {token for token in wanted if _way(token)}
    found = []
    for one in documents:
        score, alone = 0.0, not set(wanted) - pointing
        for token in sorted(set(wanted), key=lambda t: t in pointing):
            rarity = math.log(1.0 + count / (1.0 + frequency.get(token, 0)))
            if token in pointing and not (score or alone):
                break  # "low" beside a quantity that the text does not speak of says nothing
            if token in one.strong:
                score += rarity
            elif token in one.goes:
                score += rarity * 0.7
            elif token in one.weak:
                score += rarity * 0.35
        if score > 0:
            score *= _turned(one, set(wanted), ways) / math.sqrt(4.0 + len(set(one.strong)))
            found.append(Match(one.kind, one.id, one.answer, one.text, score))
    found.sort(key=lambda m: (-m.score, m.kind, m.id, m.answer))
    return found[:most]
