"""A larger base made of the shipped one, for measuring growth: every copy of a cause is a card of its own, not the same again."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Sequence
from typing import TypeVar

from knowledge.load import Knowledge
from knowledge.models import Cause

Word = TypeVar("Word", bound=str)
MOVED = 0.5
TAKEN = 0.3


def _step(word: Word, scale: Sequence[Word], rng: random.Random) -> Word:
    """The word itself, or its neighbour on the scale."""
    if rng.random() >= MOVED:
        return word
    at = scale.index(word) + rng.choice((-1, 1))
    return scale[min(max(at, 0), len(scale) - 1)]


def times_larger(knowledge: Knowledge, times: int) -> Knowledge:
    """``knowledge`` with ``times`` as many causes, the same for the same cards.

    A copy stands at the same kind of place; half of its strengths and its prior are moved by one word, three in ten of its edges
    come from another cause. What it says is nonsense of the right size and shape: nothing but time and memory is read off it.
    """
    rng = random.Random(f"grown:{times}")
    strengths, priors = list(knowledge.words.strength), list(knowledge.words.prior)
    causes = dict(knowledge.causes)
    cards = list(knowledge.causes.values())

    def copied(cause: Cause, number: int) -> Cause:
        brings = []
        for edge in cause.brings:
            if rng.random() < TAKEN:
                edge = rng.choice(rng.choice(cards).brings or cause.brings)
            gives = {word: _step(strength, strengths, rng) for word, strength in edge.gives.items()}
            brings.append(edge.model_copy(update={"gives": gives}))
        return cause.model_copy(
            update={
                "id": f"{cause.id}-copy-{number}",
                "prior": _step(cause.prior, priors, rng),
                "brings": tuple(brings),
                "complaints": {c: _step(s, strengths, rng) for c, s in cause.complaints.items()},
            }
        )

    for number in range(1, times):
        for cause in cards:
            card = copied(cause, number)
            causes[card.id] = card
    return dataclasses.replace(knowledge, causes=causes, digest=f"{knowledge.digest}-x{times}", memo={})
