"""Small random knowledge bases, and a slow, independent reading of what a network means: the other side of `prove belief`."""

from __future__ import annotations

import dataclasses
import itertools
import random
from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np

from diagnose.network import Network
from diagnose.places import Place
from knowledge.load import Knowledge, load_knowledge
from knowledge.models import Cause, Effect, Finding, Instrument

UNIT = {"unit": Place("unit", "unit")}
SCALES = (("none", "low", "fine", "high"), ("low", "fine", "high"), ("fine", "high", "top"), ("off", "fine"))
STRENGTHS = ("almost-always", "usually", "often", "sometimes", "seldom", "rarely")
STRENGTHS_OF_TWO = ("sometimes", "seldom", "rarely")  # of two words that one cause may show, on one side or on both


def tiny_knowledge(seed: int, causes: int = 5, effects: int = 3, findings: int = 5) -> Knowledge:
    """A random base: a forest of effects, ordered and unordered findings, causes touching both."""
    rng = random.Random(seed)
    shipped = load_knowledge()
    made_effects: dict[str, Effect] = {}
    for n in range(effects):
        scale = rng.choice(SCALES)
        parent = rng.choice([None, *made_effects]) if made_effects else None
        given = {}
        if parent:
            for word in made_effects[parent].ordered:
                if word != "fine" and rng.random() < 0.8:
                    given[word] = {rng.choice([w for w in scale if w != "fine"]): rng.choice(STRENGTHS)}
        made_effects[f"e-{n}"] = Effect.model_validate(
            {
                "id": f"e-{n}",
                "title": f"effect {n}",
                "place": "unit",
                "ordered": scale,
                "neutral": "fine",
                "parent": parent,
                "given": given,
                "leak": {w: "rarely" for w in scale if w != "fine" and rng.random() < 0.5},
            }
        )
    made_findings: dict[str, Finding] = {}
    for n in range(findings):
        ordered = rng.random() < 0.7
        words = rng.choice(SCALES) if ordered else ("fine", "blue", "green", "red")[: rng.choice((2, 3, 4))]
        effect = rng.choice([None, *made_effects])
        given = {}
        if effect:
            for word in made_effects[effect].ordered:
                if word != "fine":
                    given[word] = {rng.choice([w for w in words if w != "fine"]): rng.choice(STRENGTHS)}
        made_findings[f"f-{n}"] = Finding.model_validate(
            {
                "id": f"f-{n}",
                "title": f"finding {n}",
                "place": "unit",
                "ordered" if ordered else "words": words,
                "neutral": "fine",
                "effect": effect,
                "given": given,
                "texts": {w: w for w in words},
            }
        )
    made_causes: dict[str, Cause] = {}
    for n in range(causes):
        brings = []
        named: list[tuple[str, Effect | Finding]] = [*made_effects.items(), *made_findings.items()]
        for name, card in rng.sample(named, k=rng.randint(1, 4)):
            unhealthy = [w for w in (card.ordered or getattr(card, "words", ())) if w != "fine"]
            shown = rng.sample(unhealthy, k=min(len(unhealthy), rng.choice((1, 1, 2))))
            gives = {word: rng.choice(STRENGTHS if len(shown) == 1 else STRENGTHS_OF_TWO) for word in shown}
            brings.append({"effect" if isinstance(card, Effect) else "finding": name, "gives": gives})
        made_causes[f"c-{n}"] = Cause.model_validate(
            {
                "id": f"c-{n}",
                "title": f"cause {n}",
                "system": "fluid",
                "place": "unit",
                "prior": rng.choice(("common", "occasional", "rare")),
                "shows": "x",
                "why": "x",
                "wrong_when": "x",
                "brings": brings,
                "complaints": {"no-flow": rng.choice(STRENGTHS)},
                "confirm": ["k"],
                "clear": ["k"],
                "remedy": {"id": f"r-{n}", "text": "x", "minutes": "10"},
                "proof": "x",
                "sources": ["common-practice"],
            }
        )
    liar = {
        "gauge": Instrument.model_validate(
            {"id": "gauge", "title": "gauge", "quantities": ["flow"], "accuracy": "1 %", "source": ["common-practice"]}
        )
    }
    complaints = {"no-flow": shipped.complaints["no-flow"].model_copy(update={"effect": None, "given": {}})}
    return Knowledge(
        words=shipped.words,
        sources=shipped.sources,
        effects=made_effects,
        findings=made_findings,
        bands={},
        causes=made_causes,
        checks={},
        rules={},
        complaints=complaints,
        contexts={},
        instruments=liar,
        digest=f"tiny-{seed}",
    )


def slow_table(
    scale: Sequence[str],
    neutral: str,
    ordered: bool,
    influences: Sequence[Mapping[str, float]],
    sides: Mapping[Literal["neutral", "each-side"], float],
) -> list[float]:
    """P(word) by enumerating what every single influence does: an independent reading of the noisy-MAX of the design."""
    zero = list(scale).index(neutral)
    if not ordered:
        none = float(np.prod([1.0 - sum(one.values()) for one in influences]))
        seen = {w: 1.0 - float(np.prod([1.0 - one.get(w, 0.0) for one in influences])) for w in scale if w != neutral}
        total = sum(seen.values()) or 1.0
        return [none if w == neutral else (1.0 - none) * seen[w] / total for w in scale]
    chances = [0.0] * len(scale)
    options = [[(scale.index(w) - zero, p) for w, p in i.items()] + [(0, 1.0 - sum(i.values()))] for i in influences]
    for outcome in itertools.product(*options):
        p = 1.0
        for _, q in outcome:
            p *= q
        down = max([-d for d, _ in outcome if d < 0], default=0)
        up = max([d for d, _ in outcome if d > 0], default=0)
        if down and up:
            chances[zero] += p * sides["neutral"]
            chances[zero - down] += p * sides["each-side"]
            chances[zero + up] += p * sides["each-side"]
        else:
            chances[zero - down + up] += p
    return chances


def influences_of(network: Network, card: Effect | Finding, hypothesis: Sequence[int]) -> list[dict[str, float]]:
    """Word probabilities each cause of a hypothesis (instance numbers) brings to an effect or finding."""
    knowledge = network.knowledge
    out = []
    for number in hypothesis:
        for edge in knowledge.causes[network.instances[number - 1].cause].brings:
            holds = all(network.facts.get(fact) in words for fact, words in edge.when.items())
            if holds and (edge.effect if isinstance(card, Effect) else edge.finding) == card.id:
                out.append({w: knowledge.words.strength[s] for w, s in edge.gives.items()})
    return out


def slow_conditional(
    network: Network, card: Effect | Finding, hypothesis: Sequence[int], parent_word: str | None
) -> list[float]:
    """P(word | hypothesis, word of the effect above)."""
    strength = network.words.strength
    words = card.ordered or getattr(card, "words", ())
    causes = influences_of(network, card, hypothesis)
    follows = {w: strength[s] for w, s in card.given.get(parent_word or "", {}).items()}
    stray = network._leak(card, words)
    zero = list(words).index(card.neutral)
    if not card.ordered:
        out, left = [0.0] * len(words), 1.0
        for layer in (causes, [follows], [stray]):  # the next counts where this one shows nothing
            table = slow_table(words, card.neutral, False, layer, network.words.both_directions)
            out = [o + left * p for o, p in zip(out, table, strict=True)]
            left *= table[zero]
            out[zero] = left
        return out
    acting = [
        one for one in (stray, *causes, follows) if one
    ]  # words of one influence exclude each other, on both sides
    return slow_table(words, card.neutral, True, acting, network.words.both_directions)


def slow_likelihood(network: Network, hypothesis: Sequence[int], likelihoods: Mapping[str, Sequence[float]]) -> float:
    """P(evidence | hypothesis) by enumerating all words of all effects."""
    knowledge = network.knowledge
    names = list(knowledge.effects)
    total = 0.0
    for words in itertools.product(*(knowledge.effects[n].ordered for n in names)):
        at = dict(zip(names, words, strict=True))
        p = 1.0
        for name in names:
            card = knowledge.effects[name]
            p *= slow_conditional(network, card, hypothesis, at.get(card.parent or ""))[card.ordered.index(at[name])]
        for finding_id, likelihood in likelihoods.items():
            finding = knowledge.findings[finding_id]
            table = slow_conditional(network, finding, hypothesis, at.get(finding.effect or ""))
            p *= sum(a * b for a, b in zip(table, likelihood, strict=True))
        total += p
    return total


def random_evidence(network: Network, seed: int, count: int = 4, names: Sequence[str] = ()) -> dict[str, list[float]]:
    """Word likelihoods between 0.01 and 1 for ``names``, or for ``count`` findings (all, if there are fewer)."""
    rng = random.Random(seed + 1000)
    names = names or rng.sample(sorted(network.knowledge.findings), k=min(count, len(network.knowledge.findings)))
    out = {}
    for name in names:
        card = network.knowledge.findings[name]
        out[name] = [rng.uniform(0.01, 1.0) for _ in card.ordered or card.words]
    return out


def slice_of(knowledge: Knowledge, seed: int, causes: int = 8, findings: int = 7) -> tuple[Knowledge, list[str]]:
    """A piece of a base: ``causes`` of its cards drawn at random, and ids of findings that can tell them apart."""
    rng = random.Random(seed)
    chosen = sorted(rng.sample(sorted(knowledge.causes), causes))
    effects = {e.effect for c in chosen for e in knowledge.causes[c].brings if e.effect}
    told = {e.finding for c in chosen for e in knowledge.causes[c].brings if e.finding}
    told |= {f.id for f in knowledge.findings.values() if f.effect in effects}
    names = rng.sample(sorted(told), min(findings, len(told)))
    part = dataclasses.replace(
        knowledge, causes={c: knowledge.causes[c] for c in chosen}, digest=f"{knowledge.digest}-{seed}", memo={}
    )
    return part, names
