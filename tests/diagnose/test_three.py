"""Three causes at once against enumeration of all hidden states."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from diagnose.belief import Inference
from diagnose.grade import HONEST, Mode
from diagnose.network import Network
from diagnose.prove import networks as tiny
from diagnose.prove.networks import random_evidence
from diagnose.three import three_at_once


@pytest.mark.parametrize("seed", range(40, 46))
@pytest.mark.parametrize("liar", [False, True])
def test_triples_equal_brute_force(seed: int, liar: bool) -> None:
    network = Network(tiny.tiny_knowledge(seed, causes=5, effects=3, findings=5), tiny.UNIT, (), {})
    likelihoods = random_evidence(network, seed)
    keys = {(k, "unit"): np.array(v) for k, v in likelihoods.items()}
    name = next(iter(likelihoods))
    changed = {**likelihoods, name: likelihoods[name][::-1]}
    modes = {"m": Mode("m", "gauge", 0.05, "g", "gauge", (), {}, {}, {})} if liar else {}
    by_mode = {"m": {(name, "unit"): np.array(changed[name])}} if liar else {}
    belief = Inference(network, keys, by_mode, modes, {HONEST: 1.0}).posterior()
    over = belief.over
    n = len(network.instances)

    def weight(causes: list[int], prior: float) -> float:
        honest = tiny.slow_likelihood(network, causes, likelihoods)
        lying = tiny.slow_likelihood(network, causes, changed) * 0.05 / 0.95 if liar else 0.0
        return float(prior * (honest + lying))

    two = sum(
        weight([int(i) for i in (a, b) if i], float(np.exp(p)))
        for a, b, p in zip(over.first, over.second, over.log_prior, strict=True)
    )
    none = float(np.exp(over.log_prior[0]))
    three = {
        c: weight(list(c), none * float(np.prod([network.odds[i - 1] for i in c])))
        for c in itertools.combinations(range(1, n + 1), 3)
    }
    total = two + sum(three.values())
    got = three_at_once(belief)
    assert got.probability == pytest.approx(sum(three.values()) / total, abs=1e-9)
    best = max(three, key=lambda c: three[c])
    assert got.likeliest[0][1] == tuple(i - 1 for i in best)
    assert got.likeliest[0][0] == pytest.approx(three[best] / total, abs=1e-9)


def test_with_two_causes_in_the_base_there_are_no_three() -> None:
    network = Network(tiny.tiny_knowledge(3, causes=2, effects=2, findings=3), tiny.UNIT, (), {})
    belief = Inference(network, {}, {}, {}, {HONEST: 1.0}).posterior()
    assert three_at_once(belief).probability == 0.0
