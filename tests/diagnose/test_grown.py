"""The larger base for measuring growth holds different cards, the same each time."""

from __future__ import annotations

from diagnose.grown import times_larger
from knowledge.load import load_knowledge


def test_copies_differ_from_their_card_and_from_each_other() -> None:
    knowledge = load_knowledge()
    large = times_larger(knowledge, 3)
    assert len(large.causes) == 3 * len(knowledge.causes)
    same = sum(large.causes[f"{c.id}-copy-1"].brings == c.brings for c in knowledge.causes.values())
    twins = sum(large.causes[f"{c}-copy-1"].brings == large.causes[f"{c}-copy-2"].brings for c in knowledge.causes)
    assert same < 0.1 * len(knowledge.causes)
    assert twins < 0.1 * len(knowledge.causes)
    assert large.causes == times_larger(knowledge, 3).causes
    assert not large.memo
