"""Find checks, answers and causes for plain words: search only, nothing here is weighed."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

from knowledge.load import Knowledge

MOST = 12
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


def _tokens(text: str) -> list[str]:
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


def _documents(knowledge: Knowledge) -> list[tuple[str, str, str, str, list[str], list[str]]]:
    """(kind, id, answer, shown text, strong tokens, weak tokens)."""
    made = knowledge.memo.get("match-documents")
    if made is None:
        made = []
        for check in knowledge.checks.values():
            strong = _tokens(f"{check.title} {' '.join(check.words)} {check.id}")
            made.append(("check", check.id, "", check.title, strong, _tokens(check.technician)))
            for answer, card in check.answers.items():
                made.append(
                    (
                        "answer",
                        check.id,
                        answer,
                        f"{check.title}: {card.text}",
                        _tokens(f"{card.text} {answer}") + strong,
                        strong,
                    )
                )
        for cause in knowledge.causes.values():
            made.append(
                (
                    "cause",
                    cause.id,
                    "",
                    cause.title,
                    _tokens(f"{cause.title} {' '.join(cause.also)} {cause.id}"),
                    _tokens(cause.shows),
                )
            )
        for complaint in knowledge.complaints.values():
            made.append(
                (
                    "complaint",
                    complaint.id,
                    "",
                    complaint.title,
                    _tokens(f"{complaint.title} {' '.join(complaint.words)}"),
                    _tokens(complaint.plain),
                )
            )
        knowledge.memo["match-documents"] = made
    return list(made)


def match(text: str, knowledge: Knowledge, most: int = MOST) -> list[Match]:
    """The best matches for plain words, best first; empty when nothing fits."""
    documents = _documents(knowledge)
    wanted = _tokens(text)
    if not wanted:
        return []
    frequency: dict[str, int] = {}
    for _, _, _, _, strong, weak in documents:
        for token in {*strong, *weak}:
            frequency[token] = frequency.get(token, 0) + 1
    count = len(documents)
    found = []
    for kind, card_id, answer, shown, strong, weak in documents:
        score = 0.0
        for token in set(wanted):
            rarity = math.log(1.0 + count / (1.0 + frequency.get(token, 0)))
            if token in strong:
                score += rarity * 1.0
            elif token in weak:
                score += rarity * 0.35
        if score > 0:
            found.append(Match(kind, card_id, answer, shown, score / math.sqrt(4.0 + len(set(strong)))))
    found.sort(key=lambda m: (-m.score, m.kind, m.id, m.answer))
    return found[:most]
