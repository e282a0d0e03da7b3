"""The posterior against brute force, against an independent library, and its invariances."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from diagnose.belief import Inference
from diagnose.grade import HONEST, Mode
from diagnose.network import Network
from diagnose.prove import networks as tiny
from diagnose.prove.belief import agrum_posterior
from diagnose.prove.networks import random_evidence as evidence
from knowledge.models import Edge, Finding

EXACT = 1e-9  # two ways to the same sum differ by rounding only


def infer(network: Network, likelihoods: dict[str, list[float]]) -> Inference:
    return Inference(network, {(k, "unit"): np.array(v) for k, v in likelihoods.items()}, {}, {}, {HONEST: 1.0})


@pytest.mark.parametrize("seed", range(12))
def test_posterior_equals_brute_force(seed: int) -> None:
    """Every hypothesis (none, singles, pairs) has the posterior that enumeration of all hidden states gives."""
    network = Network(tiny.tiny_knowledge(seed), tiny.UNIT, (), {})
    likelihoods = evidence(network, seed)
    over = network.all_hypotheses()
    got = infer(network, likelihoods).posterior().hypotheses()
    want = np.array(
        [
            np.exp(over.log_prior[h])
            * tiny.slow_likelihood(network, [int(i) for i in (over.first[h], over.second[h]) if i], likelihoods)
            for h in range(len(over.first))
        ]
    )
    assert np.abs(got - want / want.sum()).max() < EXACT


@pytest.mark.parametrize("seed", range(100, 115))
def test_posterior_equals_independent_library(seed: int) -> None:
    """Fifteen random networks here; `prove belief` does two hundred."""
    pytest.importorskip(
        "pyagrum", reason="pyAgrum does not load here (it needs the OpenMP library)", exc_type=ImportError
    )
    network = Network(tiny.tiny_knowledge(seed, causes=6, effects=4, findings=6), tiny.UNIT, (), {})
    likelihoods = evidence(network, seed)
    got = infer(network, likelihoods).posterior().hypotheses()
    assert np.abs(got - agrum_posterior(network, likelihoods)).max() < EXACT


@pytest.mark.parametrize("seed", range(6))
def test_prediction_equals_brute_force(seed: int) -> None:
    """P(word of an unseen finding | hypothesis, evidence) equals the ratio of enumerated likelihoods."""
    network = Network(tiny.tiny_knowledge(seed), tiny.UNIT, (), {})
    likelihoods = evidence(network, seed, count=3)
    inference = infer(network, likelihoods)
    over = network.all_hypotheses()
    which = np.arange(len(over.first))
    run = inference.upward(HONEST, over.first, over.second)
    for name, card in network.knowledge.findings.items():
        got = inference.predict((name, "unit"), run)
        words = card.ordered or card.words
        for h in (0, 3, len(which) - 1):
            hypothesis = [int(i) for i in (over.first[h], over.second[h]) if i]
            seen = likelihoods.get(name, [1.0] * len(words))
            want = np.array(
                [
                    tiny.slow_likelihood(
                        network,
                        hypothesis,
                        {**likelihoods, name: [seen[k] if i == k else 0.0 for i in range(len(words))]},
                    )
                    for k in range(len(words))
                ]
            )
            assert np.abs(got[h] - want / want.sum()).max() < EXACT


def test_order_and_irrelevant_findings_change_nothing() -> None:
    """The order of findings, and a finding that says nothing, leave the posterior as it is."""
    network = Network(tiny.tiny_knowledge(7), tiny.UNIT, (), {})
    likelihoods = evidence(network, 7)
    base = infer(network, likelihoods).posterior().hypotheses()
    turned = infer(network, dict(reversed(likelihoods.items()))).posterior().hypotheses()
    assert np.abs(base - turned).max() < EXACT
    silent = next(f for f in network.knowledge.findings if f not in likelihoods)
    words = network.knowledge.findings[silent].ordered or network.knowledge.findings[silent].words
    more = infer(network, {**likelihoods, silent: [0.3] * len(words)}).posterior().hypotheses()
    assert np.abs(base - more).max() < EXACT


def test_adding_a_cause_keeps_the_share_of_doubles() -> None:
    """Odds are shares of one total, so a longer list of causes does not make two causes likelier."""
    shares = []
    for count in (8, 16, 32):
        network = Network(tiny.tiny_knowledge(3, causes=count), tiny.UNIT, (), {})
        over = network.all_hypotheses()
        p = np.exp(over.log_prior)
        shares.append(p[over.second > 0].sum() / p[over.first > 0].sum())
    assert max(shares) < 0.08 and max(shares) - min(shares) < 0.02


def test_folded_circuits_weigh_like_unfolded_ones() -> None:
    """Circuits nobody spoke of: folding them leaves none, one place and two places with the same total weights."""
    from diagnose.case import Machine
    from diagnose.places import places_for, topology_of
    from knowledge.load import load_knowledge

    knowledge = load_knowledge()
    for count in (2, 3, 4):
        topology = topology_of(Machine(circuits=count))
        folded = Network(
            knowledge, {k: p for k, p in places_for(topology, []).items() if p.kind in ("unit", "circuit")}, (), {}
        )
        spoken = [f"circuit:{c}" for c in topology.circuits]
        unfolded = Network(
            knowledge, {k: p for k, p in places_for(topology, spoken).items() if p.kind in ("unit", "circuit")}, (), {}
        )
        assert folded.all_hypotheses().log_prior[0] == pytest.approx(unfolded.all_hypotheses().log_prior[0], abs=1e-9)
        by_cause = {}
        for label, network in (("folded", folded), ("unfolded", unfolded)):
            over = network.all_hypotheses()
            p = np.exp(over.log_prior)
            alone = {}
            for h in np.flatnonzero((over.first > 0) & (over.second == 0)):
                cause = network.instances[over.first[h] - 1].cause
                alone[cause] = alone.get(cause, 0.0) + p[h]
            by_cause[label] = alone
        assert by_cause["folded"] == pytest.approx(by_cause["unfolded"], rel=1e-9)


def strainer_example(
    extra: dict[str, list[float]], shows: dict[tuple[str, str], tuple[str, float]]
) -> tuple[float, float, float]:
    """The strainer and gauge example of the design built as cards; (strainer, gauge, neither).

    Given there: prior strainer .15, first dial reads high .02; flow normal .2 if clogged, .97 else; drop high .9 if
    clogged, .005 else; the reading "high": 1 (floor .001) when honest, .35 "high" when the dial lies.
    """
    base = tiny.tiny_knowledge(1, causes=1)
    strengths = {
        "drop-leak": 0.005,
        "drop-clogged": 1 - 0.1 / 0.995,
        "flow-leak": 0.03,
        "flow-clogged": 1 - 0.2 / 0.97,
        "dirty": 0.97,
    }
    words = base.words.model_copy(update={"strength": {**base.words.strength, **strengths}, "total_odds": 0.15 / 0.85})

    def finding(name: str, scale: tuple[str, str], neutral: str, leak: str) -> Finding:
        card = Finding(id=name, title=name, place="unit", ordered=scale, neutral=neutral, texts={w: w for w in scale})
        return card.model_copy(update={"leak": {next(w for w in scale if w != neutral): leak}})

    findings = {
        "drop": finding("drop", ("normal", "high"), "normal", "drop-leak"),
        "flow": finding("flow", ("low", "normal"), "normal", "flow-leak"),
        "basket": finding("basket", ("clean", "dirty"), "clean", "almost-never"),
        "rest": finding("rest", ("agree", "differ"), "agree", "almost-never"),
    }
    only = base.causes["c-0"]
    edges = tuple(
        Edge.model_construct(effect=None, finding=f, gives=g, when={}, why="")
        for f, g in (
            ("drop", {"high": "drop-clogged"}),
            ("flow", {"low": "flow-clogged"}),
            ("basket", {"dirty": "dirty"}),
        )
    )
    knowledge = dataclasses.replace(
        base,
        words=words,
        effects={},
        findings=findings,
        causes={"c-0": only.model_copy(update={"brings": edges})},
        memo={},
    )
    network = Network(knowledge, tiny.UNIT, (), {})
    mode = Mode("m", "first dial reads high", 0.02, "g", "gauge", (), {}, {}, shows)
    likelihoods = {
        ("drop", "unit"): np.array([0.001, 1.0]),
        ("flow", "unit"): np.array([0.0, 1.0]),
        **{(k, "unit"): np.array(v) for k, v in extra.items()},
    }
    belief = Inference(
        network, likelihoods, {"m": {("drop", "unit"): np.array([0.65, 0.35])}}, {"m": mode}, {HONEST: 1.0, "m": 1.0}
    ).posterior()
    strainer = float(belief.causes()[0])
    gauge = float(belief.joint[1, 0])
    return strainer, gauge, 1 - strainer - gauge


def test_worked_example_of_the_design() -> None:
    """By hand in the design: .63/.26/.11; the basket found clean: the gauge leads with .67; dials that differ at rest: .995.

    In the design the liar shows "high" only with .35, whatever the true drop, which our by_mode likelihood (.65, .35) says too.
    """
    assert strainer_example({}, {}) == pytest.approx((0.63, 0.26, 0.11), abs=0.015)
    clean = strainer_example({"basket": [1.0, 0.0]}, {})
    assert clean[1] > clean[0] and clean[1] == pytest.approx(0.67, abs=0.04)
    assert strainer_example({"basket": [1.0, 0.0], "rest": [0.0, 1.0]}, {("rest", "unit"): ("differ", 0.95)})[1] > 0.99


@pytest.mark.parametrize("seed", range(30, 36))
def test_a_liar_moves_belief_as_if_it_were_computed_alone(seed: int) -> None:
    """Under each mode the joint posterior is what a fresh inference with that mode's evidence gives, up to the mode's odds."""
    network = Network(tiny.tiny_knowledge(seed, causes=6, effects=4, findings=7), tiny.UNIT, (), {})
    likelihoods = evidence(network, seed, count=5)
    keys = {(k, "unit"): np.array(v) for k, v in likelihoods.items()}
    moved = dict(list(keys.items())[:2])
    mode = Mode("m", "gauge", 0.02, "g", "gauge", (), {}, {}, {})
    changed = {"m": {k: v[::-1] for k, v in moved.items()}}
    both = Inference(network, keys, changed, {"m": mode}, {HONEST: 1.0, "m": 1.0}).posterior().joint
    alone = Inference(network, {**keys, **changed["m"]}, {}, {}, {HONEST: 1.0}).posterior().joint[0]
    assert np.abs(both[1] / both[1].sum() - alone).max() < EXACT


def test_a_lying_instrument_takes_the_blame_together() -> None:
    """A mode whose readings explain what honest readings cannot gains belief; no finding is counted once for each value."""
    network = Network(tiny.tiny_knowledge(11), tiny.UNIT, (), {})
    name = next(f for f, card in network.knowledge.findings.items() if card.ordered and "low" in card.ordered)
    card = network.knowledge.findings[name]
    odd = np.array([0.98 if w == "low" else 0.001 for w in card.ordered])
    fair = np.array([0.2 if w == "low" else 0.7 for w in card.ordered])
    mode = Mode("m", "gauge reads low", 0.02, "g", "gauge", (), {}, {}, {})
    both = Inference(
        network, {(name, "unit"): odd}, {"m": {(name, "unit"): fair}}, {"m": mode}, {HONEST: 1.0, "m": 1.0}
    ).posterior()
    alone = infer(network, {name: list(odd)}).posterior()
    assert both.modes()["m"] > 0.02
    assert both.causes().sum() < alone.causes().sum()


@pytest.mark.parametrize("seed", range(4))
def test_shortcuts_for_large_bases_change_no_number(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Tables cut to what occurs give the same belief; with pairs of the likeliest five causes only, what is left keeps its odds."""
    knowledge = tiny.tiny_knowledge(seed, causes=8, effects=4, findings=7)
    whole = Network(knowledge, tiny.UNIT, (), {})
    likelihoods = evidence(whole, seed)
    want = infer(whole, likelihoods).posterior()
    monkeypatch.setattr("diagnose.network.WHOLE_TABLE", 0)
    cut = infer(Network(knowledge, tiny.UNIT, (), {}), likelihoods).posterior()
    assert np.abs(cut.joint - want.joint).max() < EXACT
    monkeypatch.setattr("diagnose.belief.MOST_IN_PAIRS", 5)
    few = infer(Network(knowledge, tiny.UNIT, (), {}), likelihoods).posterior()
    assert len(few.over.first) == 1 + 8 + 10
    row = {(int(a), int(b)): p for a, b, p in zip(want.over.first, want.over.second, want.hypotheses(), strict=True)}
    kept = np.array([row[int(a), int(b)] for a, b in zip(few.over.first, few.over.second, strict=True)])
    assert np.abs(few.hypotheses() - kept / kept.sum()).max() < EXACT
    singles = want.hypotheses()[1:9]
    assert set(np.argsort(-singles)[:5] + 1) == set(few.over.first[9:]) | set(few.over.second[9:])
