"""`prove belief`: the posterior over none, singles and pairs against an independent library (pyAgrum) on random networks.

There the model is one hypothesis node with everything it says as children; tables come from a reading of the noisy-MAX that
enumerates what every single influence does, not from ours.
"""

from __future__ import annotations

import importlib
import time
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from diagnose.belief import Inference
from diagnose.case import Machine
from diagnose.grade import HONEST
from diagnose.network import Array, Network
from diagnose.places import places_for, topology_of
from diagnose.prove.networks import UNIT, random_evidence, slice_of, slow_conditional, tiny_knowledge
from diagnose.prove.result import Options
from knowledge.load import Knowledge, load_knowledge
from knowledge.models import Effect, Finding
from shared.errors import ChillerError

NETWORKS = 200
SLICES = 20
EXACT = 1e-9  # two ways to the same sum differ by rounding only


def agrum_posterior(network: Network, likelihoods: Mapping[str, Sequence[float]]) -> Array:
    """Posterior of each hypothesis by pyAgrum's lazy propagation, with virtual evidence; raises ChillerError without it.

    The machine has one place of each kind.
    """
    try:
        gum: Any = importlib.import_module("pyagrum")
    except ImportError:
        raise ChillerError(
            "pyAgrum is not installed", allowed="the test extra", do="pip install 'chiller-diagnose[test]'"
        ) from None
    knowledge, over = network.knowledge, network.all_hypotheses()
    hypotheses = [[int(i) for i in (over.first[h], over.second[h]) if i] for h in range(len(over.first))]
    net = gum.BayesNet()
    net.add(gum.LabelizedVariable("H", "hypothesis", [f"h{n}" for n in range(len(hypotheses))]))
    seen = {k: knowledge.findings[k] for k in likelihoods}
    # an effect and a finding may have the same id
    cards: dict[str, Effect | Finding] = {f"effect:{k}": e for k, e in _needed(network, seen.values()).items()} | seen
    above = {n: c.parent if isinstance(c, Effect) else c.effect for n, c in cards.items()}
    for name, card in cards.items():
        net.add(gum.LabelizedVariable(name, name, list(card.ordered or getattr(card, "words", ()))))
        net.addArc("H", name)
    for name, parent in above.items():
        if parent:
            net.addArc(f"effect:{parent}", name)
    net.cpt("H")[:] = np.exp(over.log_prior)
    for name, card in cards.items():
        parent = above[name]
        for h, hypothesis in enumerate(hypotheses):
            for word in knowledge.effects[parent].ordered if parent else (None,):
                at = {"H": f"h{h}"} | ({f"effect:{parent}": word} if parent and word else {})
                net.cpt(name)[at] = slow_conditional(network, card, hypothesis, word)
    engine = gum.LazyPropagation(net)
    engine.setEvidence({name: list(given) for name, given in likelihoods.items()})
    engine.makeInference()
    return np.array(engine.posterior("H").tolist())


def _needed(network: Network, findings: Iterable[Finding]) -> dict[str, Effect]:
    """The effects these findings hang on, with all above them."""
    effects, out = network.knowledge.effects, {}
    for finding in findings:
        name = finding.effect
        while name:
            out[name] = effects[name]
            name = effects[name].parent
    return out


def slice_difference(knowledge: Knowledge, seed: int) -> float:
    """The same on a piece of the shipped base, on a machine with one place of each kind."""
    part, names = slice_of(knowledge, seed)
    places = places_for(topology_of(Machine(circuits=1, compressors=1, fans=1)), [])
    facts = {"expansion": "thermostatic", "tank-at": "load", "pump-in-use": "onboard"}
    network = Network(part, places, (), facts)
    likelihoods = random_evidence(network, seed, names=names)
    at = {p.kind: p.id for p in places.values()}
    ours = Inference(
        network,
        {(k, at[part.findings[k].place]): np.array(v) for k, v in likelihoods.items()},
        {},
        {},
        {HONEST: 1.0},
    )
    return float(np.abs(ours.posterior().hypotheses() - agrum_posterior(network, likelihoods)).max())


def largest_difference(seed: int) -> tuple[float, int]:
    """Largest difference of any hypothesis' posterior on one random network, and how many hypotheses it has."""
    network = Network(tiny_knowledge(seed, causes=6, effects=4, findings=6), UNIT, (), {})
    likelihoods = random_evidence(network, seed)
    ours = Inference(network, {(k, "unit"): np.array(v) for k, v in likelihoods.items()}, {}, {}, {HONEST: 1.0})
    got = ours.posterior().hypotheses()
    return float(np.abs(got - agrum_posterior(network, likelihoods)).max()), len(got)


def prove_belief(options: Options) -> tuple[str, dict[str, Any]]:
    """Two hundred random networks and twenty pieces of the shipped base."""
    count = options.draws or NETWORKS
    knowledge = load_knowledge()
    start = time.perf_counter()
    rows = [largest_difference(1000 * options.seed + n) for n in range(count)]
    slices = [slice_difference(knowledge, 1000 * options.seed + n) for n in range(SLICES)]
    worst = max([d for d, _ in rows] + slices)
    return knowledge.digest, {
        "networks": count,
        "hypotheses_each": sorted({n for _, n in rows}),
        "largest_difference": worst,
        "slices_of_the_base": len(slices),
        "largest_difference_on_slices": max(slices),
        "median_difference": float(np.median([d for d, _ in rows])),
        "limit": EXACT,
        "passes": worst <= EXACT,
        "seconds": round(time.perf_counter() - start, 1),
    }


def belief_text(result: dict[str, Any]) -> str:
    """The report for people."""
    return (
        f"{result['networks']} random networks and {result['slices_of_the_base']} pieces of the base against pyAgrum: largest difference {result['largest_difference']:.2e}, "
        f"median {result['median_difference']:.2e}, limit {result['limit']:.0e}: {'passes' if result['passes'] else 'FAILS'}"
    )
