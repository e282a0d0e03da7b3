"""What one influence shows on a scale, and what several show together."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.network import Network, Node
from diagnose.places import Place
from knowledge.load import load_knowledge

WORDS = ("none", "low", "normal", "high", "very-high")


def node(sides: tuple[float, float] = (0.5, 0.25)) -> Node:
    """A node on a scale with two unhealthy sides."""
    return Node(("suction", "unit"), WORDS, "normal", True, None, sides)


@pytest.mark.parametrize(
    "gives",
    [
        {"low": 0.6, "high": 0.3},
        {"none": 0.1, "low": 0.3, "high": 0.3, "very-high": 0.2},
        {"low": 0.85, "very-high": 0.12},
        {"high": 0.3},
        {},
    ],
)
def test_one_influence_shows_each_word_as_often_as_it_says(gives: dict[str, float]) -> None:
    made = node()
    shown = made.conditional(made.factors(gives))
    want = [gives.get(w, 0.0) for w in WORDS]
    want[2] = 1.0 - sum(want)
    assert np.allclose(shown, want, atol=1e-8)


def test_opposite_influences_share_as_the_table_says() -> None:
    """Two causes, one always low and one always high: half neutral, a quarter to each side."""
    made = node()
    shown = made.conditional(made.factors({"low": 1.0}) * made.factors({"very-high": 1.0}))
    assert np.allclose(shown, [0.0, 0.25, 0.5, 0.0, 0.25], atol=1e-6)


def test_several_influences_against_every_outcome_written_out() -> None:
    one, two = {"none": 0.2, "low": 0.3, "high": 0.1}, {"low": 0.25, "high": 0.2, "very-high": 0.3}
    made = node()
    want = dict.fromkeys(WORDS, 0.0)
    for a, p in {**one, "normal": 1.0 - sum(one.values())}.items():
        for b, q in {**two, "normal": 1.0 - sum(two.values())}.items():
            pair = [WORDS.index(a) - 2, WORDS.index(b) - 2]
            down, up = min(0, *pair), max(0, *pair)
            if down and up:
                for step, share in ((0, 0.5), (down, 0.25), (up, 0.25)):
                    want[WORDS[2 + step]] += p * q * share
            else:
                want[WORDS[2 + (down or up)]] += p * q
    shown = made.conditional(made.factors(one) * made.factors(two))
    assert np.allclose(shown, [want[w] for w in WORDS], atol=1e-8)


def test_causes_of_the_cards_show_their_words_on_both_sides() -> None:
    """Every edge of a cause card with words on both sides of the healthy one: alone, without leak, exactly its strengths."""
    base = load_knowledge()
    network = Network(base, {"unit": Place("unit", "unit")}, (), {})
    strength, found = base.words.strength, 0
    for cause in base.causes.values():
        for edge in cause.brings:
            card = base.effects[edge.effect] if edge.effect else base.findings[edge.finding or ""]
            if not card.ordered or card.place != "unit":
                continue
            one = network.node((f"effect:{edge.effect}" if edge.effect else edge.finding or "", "unit"))
            gives = {w: strength[s] for w, s in edge.gives.items()}
            if one.two_sided and {np.sign(one.words.index(w) - one.zero) for w in gives} == {-1, 1}:
                found += 1
                shown = one.conditional(one.factors(gives))
                assert all(abs(shown[one.words.index(w)] - p) < 1e-8 for w, p in gives.items()), (cause.id, one.key)
    assert found > 5
