"""The rulebook: cards found by plain words, and what closed calls say about a cause. Nothing here is weighed."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from diagnose.closed_calls import closed_calls_of
from diagnose.match import tokens
from diagnose.store import Store
from knowledge.load import Knowledge
from knowledge.outcomes import NOT_FOUND, ClosedCall, Proposal, proposals

MOST = 24
STRONG, WEAK = 4.0, 1.0  # a word in a title or among its other names, against one anywhere in the text; common practice
SEARCHED = (
    "causes",
    "checks",
    "rules",
    "complaints",
    "findings",
    "bands",
    "effects",
    "instruments",
    "contexts",
    "sources",
)


@dataclass(frozen=True)
class Hit:
    """A card that was found. kind, id: of the card to open (a band opens its finding); found: kind of what was found."""

    kind: str
    id: str
    found: str
    title: str


@dataclass(frozen=True)
class _Page:
    hit: Hit
    strong: frozenset[str]
    weak: frozenset[str]


def search(knowledge: Knowledge, text: str, kinds: Iterable[str] = SEARCHED, most: int = MOST) -> list[Hit]:
    """Cards for plain words, the best first; empty when nothing fits. An id finds its card first."""
    wanted = set(tokens(text.replace("-", " ")))
    if not wanted:
        return []
    pages, seen_in = _index(knowledge)
    weight = {token: math.log(1.0 + len(pages) / (1.0 + seen_in[token])) for token in wanted}
    chosen = set(kinds)
    scored = []
    for page in pages:
        if page.hit.found not in chosen:
            continue
        score = sum(
            weight[token] * (STRONG if token in page.strong else WEAK if token in page.weak else 0.0)
            for token in wanted
        )
        if score:
            own = page.hit.id == text.strip().lower()
            # of two cards that hold the words, the one whose name says little else
            scored.append((own, score / (1.0 + 0.05 * len(page.strong - wanted)), page.hit))
    scored.sort(key=lambda row: (not row[0], -row[1], row[2].title, row[2].id))
    return [hit for _, _, hit in scored[:most]]


def _index(knowledge: Knowledge) -> tuple[list[_Page], Counter[str]]:
    made: tuple[list[_Page], Counter[str]] | None = knowledge.memo.get("rulebook-pages")
    if made is None:
        pages = [_page(knowledge, kind, card) for kind in SEARCHED for card in getattr(knowledge, kind).values()]
        made = (pages, Counter(token for page in pages for token in page.strong | page.weak))
        knowledge.memo["rulebook-pages"] = made
    return made


def _page(knowledge: Knowledge, kind: str, card: Any) -> _Page:
    if kind == "bands":
        finding = knowledge.findings[card.finding]
        title = f"{finding.title}: {' / '.join(card.limits)}"
        hit = Hit("findings", finding.id, kind, title)
        strong = [finding.title, card.id.replace("-", " "), card.quantity.replace("_", " ")]
    else:
        hit = Hit(kind, card.id, kind, card.title)
        names = [*getattr(card, "also", ()), *getattr(card, "words", ())] if kind != "findings" else []
        strong = [card.title, card.id.replace("-", " "), *names]
    text = " ".join(_strings(card.model_dump(mode="json")))
    return _Page(hit, frozenset(tokens(" ".join(strong))), frozenset(tokens(text.replace("-", " "))))


def _strings(data: Any) -> Iterator[str]:
    """Every text in a card, keys of its tables too: a table's keys are ids of other cards or words of a finding."""
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for key, value in data.items():
            yield str(key)
            yield from _strings(value)
    elif isinstance(data, list):
        for value in data:
            yield from _strings(value)


@dataclass(frozen=True)
class Evidence:
    """calls: closed calls with a confirmed cause; not_found: those without; confirmed: this cause's, the last closed first."""

    calls: int
    not_found: int
    confirmed: tuple[ClosedCall, ...]
    proposals: tuple[Proposal, ...]


def evidence(knowledge: Knowledge, store: Store, cause: str) -> Evidence:
    """What the closed calls of the record say about one cause. Raises StoreError."""
    rows = closed_calls_of(store, knowledge)
    known = [row for row in rows if row.cause != NOT_FOUND]
    return Evidence(
        calls=len(known),
        not_found=len(rows) - len(known),
        confirmed=tuple(row for row in known if row.cause == cause),
        proposals=tuple(p for p in proposals(knowledge, rows) if p.cause == cause),
    )
