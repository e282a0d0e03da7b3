"""Remedies as evidence: the worked example of the design, and filtering against enumeration."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from diagnose.advise import advise
from diagnose.belief import COMPLAINS, Inference
from diagnose.case import Case
from diagnose.episodes import Remedied, cured, filtered, repeated
from diagnose.grade import HONEST
from diagnose.network import Network
from diagnose.prove import networks as tiny
from knowledge.load import load_knowledge
from knowledge.models import Edge, Finding


def three_causes() -> Network:
    """Strainer .6, gauge .1, other .3; the drop is high with .95, .9, .1; cleaning cures with .95, a cured loop shows .02."""
    base = tiny.tiny_knowledge(1, causes=3)
    strengths = {
        "leak": 0.02,
        "nearly-sure": 1 - 0.05 / 0.98,
        "mostly": 1 - 0.1 / 0.98,
        "seldom-high": 1 - 0.9 / 0.98,
        "out": 1e-9,
        "opens": 0.5,
    }
    words = base.words.model_copy(
        update={
            "strength": {**base.words.strength, **strengths},
            "prior": {**base.words.prior, "a": 6.0, "b": 1.0, "c": 3.0},
            "total_odds": 1e-6,
            "cures": {**base.words.cures, "cures": 0.95},
            "other_complaint": "out",
        }
    )
    drop = Finding(
        id="drop",
        title="drop",
        place="unit",
        ordered=("normal", "high"),
        neutral="normal",
        texts={"normal": "n", "high": "h"},
    )
    findings = {"drop": drop.model_copy(update={"leak": {"high": "leak"}})}
    causes = {}
    for name, prior, strength in (("c-0", "a", "nearly-sure"), ("c-1", "b", "mostly"), ("c-2", "c", "seldom-high")):
        edge = Edge.model_construct(effect=None, finding="drop", gives={"high": strength}, when={}, why="")
        causes[name] = base.causes[name].model_copy(
            update={"prior": prior, "brings": (edge,), "complaints": {"no-flow": "opens"}}
        )
    complaints = {"no-flow": base.complaints["no-flow"].model_copy(update={"when_nothing_is_wrong": "out"})}
    knowledge = dataclasses.replace(
        base, words=words, effects={}, findings=findings, causes=causes, complaints=complaints, memo={}
    )
    return Network(knowledge, tiny.UNIT, (), {})


def test_worked_example_of_the_design() -> None:
    """Strainer cleaned (efficacy .95), drop still high: .0393, .09, .03 -> strainer .25, gauge .56, other .19 by hand.

    The .25 counts the strainer as cause when the call opened: what is still there and what was cured (then nothing is left).
    """
    network = three_causes()
    high = {("drop", "unit"): np.array([0.0, 1.0])}
    opened = Inference(network, {**high, ("complaint:no-flow", "unit"): COMPLAINS}, {}, {}, {HONEST: 1.0})
    later = Inference(network, dict(high), {}, {}, {HONEST: 1.0})
    belief = filtered(network, [opened, later], [Remedied("r-0", "")])
    now = belief.causes()
    nothing = belief.nothing()
    assert (now[0] + nothing, now[1], now[2]) == pytest.approx((0.25, 0.56, 0.19), abs=0.01)


@pytest.mark.parametrize("seed", range(8))
def test_filtering_equals_enumeration(seed: int) -> None:
    """Every hypothesis, what it may lose, repeated findings counted once: the same numbers by plain loops."""
    network = Network(tiny.tiny_knowledge(seed, causes=4), tiny.UNIT, (), {})
    rng = np.random.default_rng(seed)
    names = sorted(network.knowledge.findings)[:3]

    def evidence() -> dict[str, list[float]]:
        cards = [network.knowledge.findings[n] for n in names]
        return {n: list(rng.uniform(0.05, 1.0, len(c.ordered or c.words))) for n, c in zip(names, cards, strict=True)}

    before, after = evidence(), evidence()
    first = Inference(network, {(k, "unit"): np.array(v) for k, v in before.items()}, {}, {}, {HONEST: 1.0})
    second = Inference(network, {(k, "unit"): np.array(v) for k, v in after.items()}, {}, {}, {HONEST: 1.0})
    got = filtered(network, [first, second], [Remedied("r-1", "")]).joint[0]
    over = network.all_hypotheses()
    again = {k[0] for k in repeated(first.likelihoods, second.likelihoods)}
    fresh = {k: v for k, v in after.items() if k not in again}
    cure = [0.0, *(network.words.cures["cures"] if i.cause == "c-1" else 0.0 for i in network.instances)]
    want = np.zeros(len(over.first))
    index = {tuple(sorted((int(a), int(b)))): n for n, (a, b) in enumerate(zip(over.first, over.second, strict=True))}
    for h in range(len(want)):
        causes = [int(i) for i in (over.first[h], over.second[h]) if i]
        weight = float(np.exp(over.log_prior[h])) * tiny.slow_likelihood(network, causes, before)
        for gone in range(2 ** len(causes)):
            left = [c for n, c in enumerate(causes) if not gone >> n & 1]
            p = 1.0
            for n, c in enumerate(causes):
                p *= cure[c] if gone >> n & 1 else 1.0 - cure[c]
            likelihood = tiny.slow_likelihood(network, left, fresh if left == causes else after)
            want[index[tuple(sorted(([0, 0] + left)[-2:]))]] += weight * p * likelihood
    assert np.abs(got - want / want.sum()).max() < 1e-9


def test_a_remedy_loses_nothing() -> None:
    """What stays and what is cured add up to what was believed."""
    network = Network(tiny.tiny_knowledge(5, causes=5), tiny.UNIT, (), {})
    over = network.all_hypotheses()
    belief = np.random.default_rng(0).dirichlet(np.ones(len(over.first)))[None, :]
    stay, moved = cured(network, over, belief, Remedied("r-2", ""))
    assert (stay + moved).sum() == pytest.approx(1.0)
    assert moved.sum() > 0
    nothing_done = cured(network, over, belief, Remedied("no-such-remedy", ""))
    assert nothing_done[1].sum() == 0.0


def test_a_remedy_that_did_not_cure_moves_belief_in_a_real_call() -> None:
    """The strainer was cleaned and the flow is as low as before: belief leaves the strainer."""
    from diagnose.advise import advise
    from diagnose.case import Case
    from knowledge.load import load_knowledge

    knowledge = load_knowledge()
    machine = {
        "refrigerant": "R-410A",
        "design_flow": "144 gpm",
        "design_drop": "7 psi",
        "strainer_clean_drop": "1.8 psi",
        "fluid": "water",
    }
    entries = [
        {"quantity": "evaporator_drop", "value": "2.4 psi"},
        {"quantity": "strainer_drop", "value": "9 psi"},
    ]
    base = {"complaint": "strainer-suspected", "qualified": ["refrigerant"], "machine": machine}
    opened = advise(Case.model_validate({**base, "entries": entries}), knowledge)
    assert opened.suspects[0].cause == "strainer-clogged"
    remedy = knowledge.causes["strainer-clogged"].remedy.id
    later = [
        *entries,
        {"action": remedy, "outcome": "not-cured"},
        {"quantity": "evaporator_drop", "value": "2.4 psi", "at": "0"},
    ]
    after = advise(Case.model_validate({**base, "entries": later}), knowledge)
    before = {s.cause: s.probability for s in opened.suspects}
    now = {s.cause: s.probability for s in after.suspects}
    assert after.episode == 2
    assert now.get("strainer-clogged", 0.0) < before["strainer-clogged"] - 0.2


def test_what_is_proved_again_is_proved_once() -> None:
    """A remedy that did not cure, and the same look proves its cause again: nothing was taken away, so it is no second proof."""
    network = three_causes()
    high = {("drop", "unit"): np.array([0.0, 1.0])}
    proof = np.array([1000.0, 1.0, 1.0])
    opened = Inference(network, {**high, ("complaint:no-flow", "unit"): COMPLAINS}, {}, {}, {HONEST: 1.0}, proof)
    silent = Inference(network, {}, {}, {}, {HONEST: 1.0})
    again = Inference(network, dict(high), {}, {}, {HONEST: 1.0}, proof)
    without = filtered(network, [opened, silent], [Remedied("r-0", "")]).causes()
    told = filtered(network, [opened, again], [Remedied("r-0", "")]).causes()
    # told again the drop speaks against "cured, and nothing left" (leak .02); the proof, counted twice, would end at 1.00
    assert without[0] == pytest.approx(0.05, abs=0.002)
    assert told[0] == pytest.approx(0.05 / (0.05 + 0.95 * 0.02), abs=0.01)


def test_an_explanation_that_did_not_satisfy_speaks_against_nothing_wrong() -> None:
    """Told that all is normal, the caller complains all the same: whether anything is wrong is weighed with the complaint afresh."""
    network = three_causes()
    call = {("complaint:no-flow", "unit"): COMPLAINS}
    opened, later = (Inference(network, dict(call), {}, {}, {HONEST: 1.0}) for _ in range(2))
    before = opened.posterior().nothing()
    after = filtered(network, [opened, later], [Remedied("explain-normal", "")]).nothing()
    untouched = filtered(network, [opened, later], [Remedied("no-such-remedy", "")]).nothing()
    assert untouched == pytest.approx(before)
    odds = before / (1.0 - before) * (0.05 + 0.95 * 1e-9)  # efficacy .95, complaint without cause 1e-9
    assert after == pytest.approx(odds / (1.0 + odds), rel=1e-6)


def test_better_and_not_gone_is_heard_as_a_complaint() -> None:
    """ "Better, not gone" leaves the complaint standing: nothing at fault is as unlikely after it as after "not cured"."""
    from diagnose.advise import advise
    from diagnose.case import Case
    from knowledge.load import load_knowledge

    knowledge = load_knowledge()
    remedy = knowledge.causes["strainer-clogged"].remedy.id
    belief = {}
    for outcome in ("better", "not-cured", "cured"):
        case = Case.model_validate({"complaint": "no-flow", "entries": [{"action": remedy, "outcome": outcome}]})
        belief[outcome] = {s.cause: s.probability for s in advise(case, knowledge).suspects}
    assert belief["better"] == belief["not-cured"]
    assert belief["cured"]["nothing-wrong"] > belief["better"].get("nothing-wrong", 0.0)


SAID = (
    ("suction_pressure", "145 psig", "112 psig"),
    ("suction_line", "55 degF", "48 degF"),
    ("liquid_pressure", "340 psig", "340 psig"),
    ("liquid_line", "98 degF", "98 degF"),
    ("entering_fluid", "54 degF", "54 degF"),
    ("leaving_fluid", "44 degF", "44 degF"),
    ("entering_air", "85 degF", "85 degF"),
)


def read(number: int) -> list[dict[str, str]]:
    """Readings of circuit A: with a gauge that reads higher than can be (1), and after another gauge was put on (2)."""
    circuit = ("suction_pressure", "suction_line", "liquid_pressure", "liquid_line")
    return [
        {
            "quantity": row[0],
            "value": row[number],
            "place": "circuit:A" if row[0] in circuit else "",
            "state": "cooling",
            "steadiness": "steady",
        }
        for row in SAID
    ]


def liars(*more: dict[str, str]) -> float:
    """Chance that the suction gauge lies, in a call with these entries besides the first readings."""
    case = Case.model_validate(
        {
            "complaint": "warm-supply",
            "role": "technician",
            "qualified": ["electrical", "refrigerant", "height"],
            "machine": {
                "refrigerant": "R-410A",
                "circuits": {"A": {"compressors": ["A1", "A2"], "fans": ["1"]}},
            },
            "entries": [*read(1), *more],
        }
    )
    suspects = advise(case, load_knowledge()).suspects
    return max((s.probability for s in suspects if s.cause.startswith(GAUGE)), default=0.0)


GAUGE = "instrument:suction-gauge:suction_pressure@circuit:A"


def test_an_instrument_put_right_is_no_longer_to_blame() -> None:
    """The gauge is exchanged and the complaint is still there: it was not the gauge alone."""
    before = liars()
    done = {"action": GAUGE, "outcome": "not-cured"}
    assert before > 0.8
    assert liars(done) < 0.1
    assert liars(done, *read(2)) < 0.1
