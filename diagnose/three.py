"""Three causes at once: not part of every advice, since two are already rare, but there when somebody asks.

Weighed exactly, with all instruments honest or any one lying, over all triples of the causes likeliest so far. What lies
outside these counts as impossible, so the answer is a lower bound.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from diagnose.advice import ThreeCauses, Together
from diagnose.belief import Belief
from diagnose.network import Hypotheses

AMONG = 16
SHOWN = 3


@dataclass(frozen=True)
class Three:
    """probability: that three causes are there at once. likeliest: (probability, three instance numbers from 0) of the first few."""

    probability: float
    likeliest: tuple[tuple[float, tuple[int, int, int]], ...]


def three_at_once(belief: Belief, among: int = AMONG) -> Three:
    """Posterior of three causes among the ``among`` likeliest ones, beside none, one and two of all causes.

    Prior odds are those of each cause, multiplied. After a remedy in the call it is not defined: the belief is filtered then.
    """
    inference, over = belief.inference, belief.over
    chosen = np.sort(np.argsort(-belief.causes(), kind="stable")[:among]) + 1
    triples = np.array(list(itertools.combinations(chosen, 3)), dtype=np.int64).reshape(-1, 3)
    if not len(triples):
        return Three(0.0, ())
    mode, known = (int(i) for i in np.unravel_index(int(belief.joint.argmax()), belief.joint.shape))
    # the likeliest hypothesis goes along: its known probability gives the scale
    first = np.concatenate([[over.first[known]], triples[:, 0]])
    second = np.concatenate([[over.second[known]], triples[:, 1]])
    third = np.concatenate([[0], triples[:, 2]])
    odds = np.concatenate([[0.0], np.log(belief.network.odds)])
    prior = over.log_prior[0] + odds[first] + odds[second] + odds[third]
    prior[0] = over.log_prior[known]
    if inference.cause_factor is not None:
        proved = np.concatenate([[0.0], np.log(inference.cause_factor)])
        prior += proved[first] + proved[second] + proved[third]
    log = inference.log_of_each(Hypotheses(first, second, prior, third=third)) + prior
    log += np.array([inference.log_mode(name) for name in belief.names])[:, None]
    scale = log[mode, 0] - np.log(belief.joint[mode, known])
    weight = np.exp(log[:, 1:] - scale).sum(axis=0)
    p = weight / (1.0 + weight.sum())
    order = np.argsort(-p, kind="stable")[:SHOWN]
    likeliest = tuple(
        (float(p[i]), (int(triples[i, 0]) - 1, int(triples[i, 1]) - 1, int(triples[i, 2]) - 1)) for i in order
    )
    return Three(float(p.sum()), likeliest)


def three_causes(belief: Belief) -> ThreeCauses:
    """The same as part of an advice."""
    found, instances = three_at_once(belief), belief.network.instances
    cards = belief.network.knowledge.causes

    def together(p: float, numbers: tuple[int, int, int]) -> Together:
        a, b, c = (instances[n] for n in numbers)
        return Together(
            causes=(a.cause, b.cause, c.cause),
            places=(a.place.said, b.place.said, c.place.said),
            titles=(cards[a.cause].title, cards[b.cause].title, cards[c.cause].title),
            probability=p,
        )

    return ThreeCauses(
        probability=found.probability, likeliest=tuple(together(p, numbers) for p, numbers in found.likeliest)
    )
