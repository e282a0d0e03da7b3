"""Where the person may be mistaken: answers that everything else speaks against, and proofs that stand on one answer alone."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diagnose.advice import Verdict
from diagnose.network import Array, Key, Network
from diagnose.plan import Predictor
from diagnose.suspects import seen_text
from diagnose.verdict import Lead
from diagnose.work import Work

MISTAKEN = 0.5  # below an even chance that it is so, an answer is in doubt
ALONE = 0.05  # a cause this unlikely without its proof rests on the proof alone


def mistaken_answers(work: Work, predictor: Predictor) -> list[str]:
    """Answers that are less likely right than not, given all that is known and how surely they were given.

    The chance that the true word is the one that was given is averaged over the likeliest joint states.
    """
    out = []
    p = predictor.worlds.p
    for key in predictor.inference.likelihoods:
        evidence = work.graded.evidence.get(key)
        if evidence is None or not evidence.answered or evidence.derived is not None:
            continue
        given = int(np.argmax(evidence.likelihood))
        right = float(p @ predictor.words(key)[:, given])
        if right < MISTAKEN:
            out.append(f"This may be a mistake, all else speaks against it: {seen_text(work, key)}. Ask or look again.")
    return out


def lonely_proofs(work: Work, network: Network, marginals: Array, weights: Mapping[Key, Array]) -> list[str]:
    """Causes taken for proved that nothing but the answers of the proof speaks for. weights: log10 of each finding by cause."""
    words, out = work.knowledge.words, []
    for conclusion in work.conclusions.of("conclusive"):
        then = conclusion.rule.then
        if not then.holds:
            continue
        names = {c.finding for c in conclusion.rule.when if c.finding}
        for index, instance in enumerate(network.instances):
            if instance.cause != then.cause or marginals[index] < MISTAKEN:
                continue
            own = sum(float(weight[index]) for key, weight in weights.items() if key[0] in names)
            odds = float(marginals[index] / max(1.0 - marginals[index], 1e-12)) / words.conclusive / 10.0**own
            if odds < ALONE / (1.0 - ALONE):
                out.append(
                    f"{work.knowledge.causes[instance.cause].title}: this rests on what was seen alone "
                    f"({'; '.join(conclusion.because)}). Have it seen or read back once more before acting on it."
                )
    return list(dict.fromkeys(out))


def left_unexplained(work: Work, lead: Lead, verdict: Verdict | None) -> list[str]:
    """What a verdict of one cause does not explain: a second fault may be behind it, to be looked for once the first is mended."""
    held = (
        verdict is not None
        and verdict.kind in ("one-cause", "inseparable")
        and verdict.causes[0] in work.knowledge.causes
    )
    if verdict is None or not held:
        return []
    return [
        f"{verdict.title} does not explain this: {seen_text(work, key)}. Look at it again once that is mended; if it stays, there is more."
        for key in lead.unexplained
    ]
