"""Belief across remedies: a remedy that did not cure is evidence, and what was seen before it may no longer hold.

The entries between two remedies are an episode. The belief is filtered: the causes still there, with instrument modes, are
carried from episode to episode. A remedy takes away the causes it cures with its efficacy. Where nothing was taken away, a
finding that shows the same word again is the same draw and says nothing new, and what it proves is proved once; where something
was, both are weighed afresh.

A change of set-up takes nothing away. What it makes otherwise is left behind with its weight; what is told again counts once,
and so does what was proved.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.belief import Belief, Inference
from diagnose.case import EXPLAINED
from diagnose.grade import HONEST
from diagnose.network import Array, Hypotheses, Index, Key, Network

SURE_NOT = 1e-300


@dataclass(frozen=True)
class Remedied:
    """A remedy done: its id and place ("" = anywhere). mends: False for a change of set-up, which takes no cause away."""

    action: str
    place: str
    mends: bool = True


def _single_row(hypotheses: Hypotheses, count: int) -> Index:
    """Row of "only instance i" for i = 0..count (0: no cause); hypotheses list none, then every single in order."""
    assert hypotheses.first[0] == 0 and hypotheses.first[count] == count
    return np.arange(count + 1, dtype=np.int64)


def efficacy(network: Network, remedied: Remedied) -> Array:
    """Chance that the remedy takes away each instance; index 0 is "no cause"."""
    out = np.zeros(len(network.instances) + 1)
    where = network.places.get(remedied.place)
    for number, instance in enumerate(network.instances, 1):
        remedy, own = network.knowledge.causes[instance.cause].remedy, instance.place
        # cards of one remedy may stand for different kinds of places: a bypass is set right for the pump and for the loop
        beside = where is not None and where.kind != own.kind and where.touches(own)
        if remedy.id == remedied.action and (remedied.place in ("", own.id, own.kind) or beside):
            out[number] = network.words.cures[remedy.cures]
    return out


def cured(network: Network, hypotheses: Hypotheses, belief: Array, remedied: Remedied) -> tuple[Array, Array]:
    """(what stays as it was, what lost a cause) after a remedy; both (modes, hypotheses), together as much as ``belief``."""
    chance = efficacy(network, remedied)
    first, second = chance[hypotheses.first], chance[hypotheses.second]
    rows = _single_row(hypotheses, len(network.instances))
    stay = belief * (1.0 - first) * (1.0 - second)
    moved = np.zeros_like(belief)
    for row in range(len(belief)):
        # the first cause goes and the second stays, the other way round, or both go
        np.add.at(moved[row], rows[hypotheses.second], belief[row] * first * (1.0 - second))
        np.add.at(moved[row], rows[hypotheses.first], belief[row] * (1.0 - first) * second)
        moved[row, 0] += float((belief[row] * first * second).sum())
    if remedied.action == EXPLAINED:  # whoever complains all the same has something wrong
        satisfied = network.words.cures["cures"]
        moved[:, 0] += satisfied * stay[:, 0]
        stay[:, 0] *= 1.0 - satisfied
    return stay, moved


def put_right(network: Network, stay: Array, moved: Array, lied: Sequence[int]) -> None:
    """An instrument was put right or exchanged: what stood in its modes (rows ``lied``) is now with all instruments honest, the first row."""
    chance = network.words.cures["cures"]
    for row in lied:
        moved[0] += chance * stay[row]
        stay[row] *= 1.0 - chance


def repeated(before: Mapping[Key, Array], after: Mapping[Key, Array]) -> list[Key]:
    """Findings whose likeliest word is the same again."""
    return [k for k, v in after.items() if k in before and int(np.argmax(v)) == int(np.argmax(before[k]))]


def _scaled(log: Array) -> Array:
    out: Array = np.exp(log - log.max())
    return out


def _rows(inference: Inference, log: Array, names: Sequence[str]) -> Array:
    """Rows of ``log`` for all modes of the call; an instrument not read in this episode changes nothing in it."""
    own = [HONEST, *inference.modes]
    return np.stack([log[own.index(name)] if name in own else log[0] for name in names])


def _proof(inference: Inference) -> Array:
    """(instances,) log of what was proved about each cause in an episode, 0 = nothing."""
    if inference.cause_factor is None:
        return np.zeros(len(inference.network.instances))
    out: Array = np.log(inference.cause_factor)
    return out


def _of_both(proof: Array, hypotheses: Hypotheses) -> Array:
    """What is proved of the causes of each hypothesis, as it enters the prior."""
    extra = np.concatenate([[0.0], proof])
    out: Array = extra.take(hypotheses.first) + extra.take(hypotheses.second)
    return out


def filtered(network: Network, inferences: Sequence[Inference], remedies: Sequence[Remedied]) -> Belief:
    """Belief over the causes still there after the last episode. One inference an episode, one remedy between two."""
    hypotheses = inferences[0].hypotheses()
    names = [HONEST, *dict.fromkeys(m for one in inferences for m in one.modes)]
    home = {m: one for one in reversed(inferences) for m in one.modes}
    prior = (
        inferences[0].log_prior(hypotheses)[None, :]
        + np.array([home[m].log_mode(m) if m else 0.0 for m in names])[:, None]
    )
    log = prior + _rows(inferences[0], inferences[0].log_likelihood(hypotheses), names)
    belief = _scaled(log)
    # since the last remedy: the latest word of each finding, and what was proved
    known, proven = dict(inferences[0].likelihoods), _proof(inferences[0])
    for number, remedied in enumerate(remedies, 1):
        now = inferences[number]
        again = set(repeated(known, now.likelihoods))
        fresh = Inference(
            network,
            {k: v for k, v in now.likelihoods.items() if k not in again},
            {m: {k: v for k, v in c.items() if k not in again} for m, c in now.by_mode.items()},
            now.modes,
            now.mode_factor,
            now.cause_factor,
        )
        new = _rows(fresh, fresh.log_likelihood(hypotheses), names)
        proof = _proof(now)
        if not remedied.mends:
            only = np.where((proof != 0.0) & (proof != proven), proof - proven, 0.0)
            belief = _scaled(np.log(np.maximum(belief, SURE_NOT)) + new + _of_both(only, hypotheses))
            known, proven = {**known, **now.likelihoods}, np.where(proof != 0.0, proof, proven)
            continue
        stay, moved = cured(network, hypotheses, belief, remedied)
        lied = [n for n, m in enumerate(names) if m and remedied.action == f"instrument:{home[m].modes[m].instrument}"]
        put_right(network, stay, moved, lied)
        full = _rows(now, now.log_likelihood(hypotheses), names)
        proved = _of_both(proof, hypotheses)
        # what was proved before and is proved again is the same draw too, where nothing was taken away
        afresh = _of_both(np.where(proof == proven, 0.0, proof), hypotheses)
        stay_log = np.log(np.maximum(stay, SURE_NOT)) + new + afresh
        moved_log = np.log(np.maximum(moved, SURE_NOT)) + full + proved
        belief = _scaled(np.logaddexp(stay_log, moved_log))
        known, proven = dict(now.likelihoods), proof
    last = inferences[-1]
    last.modes = {m: home[m].modes[m] for m in names if m}
    last.by_mode = {m: last.by_mode.get(m, {}) for m in last.modes}
    return Belief(last, names, belief / belief.sum(), hypotheses)
