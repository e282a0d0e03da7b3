"""Safety texts are whole sentences: an unquoted comma in a YAML list would cut one into pieces that say something else."""

from __future__ import annotations

from knowledge.load import load_knowledge


def test_cautions_are_whole_sentences() -> None:
    """Every caution of every card begins like a sentence and ends with a full stop."""
    knowledge = load_knowledge()
    cards = [*knowledge.causes.values(), *knowledge.checks.values(), *knowledge.complaints.values()]
    broken = [(c.id, text) for c in cards for text in c.cautions if text[0].islower() or not text.endswith(".")]
    assert len([text for c in cards for text in c.cautions]) > 100
    assert not broken
