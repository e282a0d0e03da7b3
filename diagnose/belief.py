"""Exact posterior over no cause, one cause, two causes, each with all instruments honest or any one lying.

Findings hang on effects, effects on at most one effect above, so each tree is summed exactly by one upward pass, vectorised
over all hypotheses. Nothing is sampled and nothing is pruned here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from diagnose.grade import HONEST, Graded, Mode
from diagnose.network import Array, Hypotheses, Index, Key, Network, Node

Likelihoods = Mapping[Key, Array]
DROPPED = 1e-10  # share of the belief that may be left out, proved by a bound
MOST_IN_PAIRS = 300  # above this many causes at places, pairs are formed of the likeliest ones only


@dataclass
class Pass:
    """Messages of one upward pass over some hypotheses: what each tree and each finding says."""

    first: Index
    second: Index
    likelihoods: dict[Key, Array]
    extras: Mapping[Key, Array]
    lambdas: dict[Key, Array] = field(default_factory=dict)
    messages: dict[Key, Array] = field(default_factory=dict)
    pis: dict[Key, Array] = field(default_factory=dict)


@dataclass
class Scene:
    """Hypotheses, evidence and what was already said, for one pass without predictions."""

    hypotheses: Hypotheses
    likelihoods: Likelihoods
    extras: Mapping[Key, Array]
    known: dict[tuple[Key, bytes], Array]


class Inference:
    """Evidence on a network. likelihoods: honest word likelihoods; by_mode: the changed ones for each lying instrument."""

    def __init__(
        self,
        network: Network,
        likelihoods: Likelihoods,
        by_mode: Mapping[str, Likelihoods],
        modes: Mapping[str, Mode],
        mode_factor: Mapping[str, float],
        cause_factor: Array | None = None,
    ) -> None:
        self.network = network
        self.likelihoods = {k: np.asarray(v, dtype=float) for k, v in likelihoods.items()}
        self.by_mode = {
            m: {k: np.asarray(v, dtype=float) for k, v in changed.items()} for m, changed in by_mode.items()
        }
        self.modes = dict(modes)
        self.mode_factor = dict(mode_factor)
        self.cause_factor = cause_factor
        self.children = self._children(self.likelihoods)

    def _children(self, keys: Mapping[Key, Array]) -> dict[Key, list[Key]]:
        children: dict[Key, list[Key]] = {}
        todo = list(keys)
        seen = set()
        while todo:
            key = todo.pop()
            if key in seen:
                continue
            seen.add(key)
            parent = self.network.node(key).parent
            if parent is not None:
                children.setdefault(parent, []).append(key)
                todo.append(parent)
        for one in children.values():
            one.sort()
        return children

    def roots(self) -> list[Key]:
        """Roots of all trees with evidence: effects without parent, and findings that hang on none."""
        out = [k for k in self.children if self.network.node(k).parent is None]
        out += [k for k in self.likelihoods if self.network.node(k).parent is None]
        return sorted(set(out))

    def root_of(self, key: Key) -> Key:
        """The top of the tree ``key`` stands in."""
        parent = self.network.node(key).parent
        return key if parent is None else self.root_of(parent)

    def roots_moved_by(self, mode: str) -> set[Key]:
        """Trees in which ``mode`` changes anything."""
        return {self.root_of(k) for k in (*self.by_mode.get(mode, ()), *self._extras(mode))}

    def _extras(self, mode: str) -> dict[Key, Array]:
        """What a lying instrument itself shows (gauges that differ at rest)."""
        if not mode:
            return {}
        out: dict[Key, Array] = {}
        for key, (word, strength) in self.modes[mode].shows.items():
            if key[1] in self.network.places:
                node = self.network.node(key)
                out[key] = node.factors({word: strength})
        return out

    def _stamp(self, key: Key, likelihoods: Mapping[Key, Array], extras: Mapping[Key, Array]) -> bytes:
        """Everything the message of ``key`` depends on."""
        own = likelihoods[key].tobytes() if key in likelihoods else b""
        extra = extras[key].tobytes() if key in extras else b""
        return own + b"|" + extra + b"".join(self._stamp(c, likelihoods, extras) for c in self.children.get(key, ()))

    def _said(self, key: Key, scene: Scene, which: Index | None) -> Array:
        """What the tree below and at ``key`` says to its parent, (H, P), taken over from the honest pass where nothing
        below it differs. ``which``: rows of the scene's hypotheses, None = all."""
        stamp = (key, self._stamp(key, scene.likelihoods, scene.extras))
        found = scene.known.get(stamp)
        if found is not None:
            return found if which is None else found[which]
        first, second = scene.hypotheses.first, scene.hypotheses.second
        node = self.network.node(key)
        rows = node.signature(first, second) if which is None else node.signature(first[which], second[which])
        table = node.table(scene.extras.get(key))
        if key in scene.likelihoods:
            found = (table @ scene.likelihoods[key])[rows]
        else:
            below: Array | None = None
            for child in self.children.get(key, ()):
                one = self._said(child, scene, which)
                below = one if below is None else below * one
            assert below is not None
            found = np.einsum("hpk,hk->hp", table[rows], below)
        if which is None:
            scene.known[stamp] = found
        return found

    def _message(self, key: Key, run: Pass) -> Array:
        """What the tree below and at ``key`` says to its parent: (H, P), keeping what the downward pass needs."""
        node = self.network.node(key)
        rows = node.signature(run.first, run.second)
        table = node.table(run.extras.get(key))
        if key in run.likelihoods:
            out: Array = (table @ run.likelihoods[key])[rows]
        else:
            below = np.ones((len(run.first), node.size))
            for child in self.children.get(key, ()):
                below = below * self._message(child, run)
            run.lambdas[key] = below
            out = np.einsum("hpk,hk->hp", table[rows], below)
        run.messages[key] = out
        return out

    def evidence_for(self, mode: str) -> dict[Key, Array]:
        """Likelihoods of all findings if ``mode`` is true."""
        return {**self.likelihoods, **self.by_mode.get(mode, {})}

    def _log_odds(self, hypotheses: Hypotheses) -> Array:
        """Log prior with what was proved about single causes."""
        if self.cause_factor is None:
            return hypotheses.log_prior
        extra = np.concatenate([[0.0], np.log(self.cause_factor)])
        out: Array = hypotheses.log_prior + extra[hypotheses.first] + extra[hypotheses.second]
        return out

    def _log_mode(self, mode: str) -> float:
        """Log prior odds of a mode, with what impossible readings say about it."""
        chance = self.modes[mode].prior if mode else 0.5
        factor = self.mode_factor.get(mode, self.mode_factor.get(HONEST, 1.0))
        return float(np.log(chance / (1.0 - chance)) + np.log(max(factor, 1e-300)))

    def _gain(self, mode: str, honest: Scene) -> float:
        """Log of how many times more likely the evidence can at most be under ``mode`` than honestly, for any hypothesis."""
        gain = 0.0
        for key, changed in self.by_mode.get(mode, {}).items():
            gain += float(np.log(np.max(changed / np.maximum(honest.likelihoods[key], 1e-300))))
        for key in self._extras(mode):
            if key in honest.likelihoods:
                least = float(self._said(key, honest, None).min())
                gain += float(np.log(honest.likelihoods[key].max() / max(least, 1e-300)))
        return gain

    def _log_likelihood(self, scene: Scene, roots: Sequence[Key], which: Index | None) -> Array:
        total: Array | float = 0.0
        for root in roots:
            total = total + np.log(np.maximum(self._said(root, scene, which)[:, 0], 1e-300))
        return np.asarray(total)

    def posterior(self, dropped: float = DROPPED) -> Belief:
        """The joint posterior over hypotheses and instrument modes.

        Under a lying instrument a hypothesis is left out only if it is proved to weigh less than ``dropped`` in all: the
        evidence can gain no more than the product, over the findings the liar moves, of the largest ratio of their
        likelihoods. Above ``MOST_IN_PAIRS`` causes, pairs are formed of the likeliest single ones only.
        """
        hypotheses = self._hypotheses()
        names = [HONEST, *self.modes]
        roots = self.roots()
        honest = Scene(hypotheses, self.likelihoods, {}, {})
        prior = self._log_odds(hypotheses)
        plain = prior + self._log_likelihood(honest, roots, None)
        log = np.full((len(names), len(prior)), -np.inf)
        log[0] = plain + self._log_mode(HONEST)
        top = float(log[0].max())
        total = top + float(np.log(np.exp(log[0] - top).sum()))
        limit = np.log(dropped) + total - np.log(len(prior) * max(1, len(self.modes)))
        for row, mode in enumerate(names[1:], 1):
            scene = Scene(hypotheses, self.evidence_for(mode), self._extras(mode), honest.known)
            ceiling = plain + self._log_mode(mode) + self._gain(mode, honest)
            which = np.flatnonzero(ceiling > limit)
            if len(which):
                log[row, which] = prior[which] + self._log_mode(mode) + self._log_likelihood(scene, roots, which)
        joint = np.exp(log - log.max())
        return Belief(self, names, joint / joint.sum(), hypotheses)

    def _hypotheses(self) -> Hypotheses:
        """All pairs where the base is small enough, else pairs of the likeliest single causes."""
        network = self.network
        if len(network.instances) <= MOST_IN_PAIRS:
            return network.all_hypotheses()
        singles = network.singles()
        roots = self.roots()
        best = np.full(len(singles.first), -np.inf)
        prior = self._log_odds(singles)
        known: dict[tuple[Key, bytes], Array] = {}
        for mode in [HONEST, *self.modes]:
            scene = Scene(singles, self.evidence_for(mode), self._extras(mode), known)
            best = np.maximum(best, prior + self._log_mode(mode) + self._log_likelihood(scene, roots, None))
        chosen = np.argsort(-best[1:], kind="stable")[:MOST_IN_PAIRS] + 1
        return network.hypotheses(np.sort(chosen))

    # predictions ---------------------------------------------------------------------------------------------------------

    def upward(self, mode: str, first: Index, second: Index) -> Pass:
        """One upward pass over some hypotheses, keeping all messages."""
        run = Pass(first, second, self.evidence_for(mode), self._extras(mode))
        for root in self.roots():
            self._message(root, run)
        return run

    def _above(self, key: Key, run: Pass) -> Array:
        """Belief of effect ``key`` from everything not below it: (H, K), not normalised."""
        done = run.pis.get(key)
        if done is not None:
            return done
        node = self.network.node(key)
        table = node.table(run.extras.get(key))[node.signature(run.first, run.second)]
        if node.parent is None:
            pi: Array = table[:, 0, :]
        else:
            pi = np.einsum("hp,hpk->hk", self._without(node.parent, key, run), table)
        run.pis[key] = pi
        return pi

    def _without(self, effect: Key, child: Key, run: Pass) -> Array:
        """Belief of ``effect`` from everything but what ``child`` says: (H, K)."""
        belief = self._above(effect, run)
        for other in self.children.get(effect, ()):
            if other != child:
                belief = belief * run.messages[other]
        total = belief.sum(axis=1, keepdims=True)
        return belief / np.where(total > 0, total, 1.0)

    def predict(self, key: Key, run: Pass) -> Array:
        """P(true word of the finding | hypothesis, all evidence so far): (H, K)."""
        node: Node = self.network.node(key)
        table = node.table(run.extras.get(key))
        rows = node.signature(run.first, run.second)
        if node.parent is None:
            out = table[rows, 0, :]
        else:
            out = np.einsum("hp,hpk->hk", self._without(node.parent, key, run), table[rows])
        own = run.likelihoods.get(key)
        if own is not None:
            out = out * own
        total = out.sum(axis=1, keepdims=True)
        result: Array = out / np.where(total > 0, total, 1.0)
        return result


@dataclass
class Belief:
    """joint: (modes, hypotheses) posterior, sums to 1. names: mode ids, the first is all-honest."""

    inference: Inference
    names: list[str]
    joint: Array
    over: Hypotheses

    @property
    def network(self) -> Network:
        """The network this belief stands on."""
        return self.inference.network

    def hypotheses(self) -> Array:
        """Posterior of each hypothesis, instruments summed out."""
        out: Array = self.joint.sum(axis=0)
        return out

    def causes(self) -> Array:
        """Marginal probability of each instance."""
        p = self.hypotheses()
        network, over = self.network, self.over
        out: Array = np.bincount(over.first, weights=p, minlength=len(network.instances) + 1).astype(float)
        out += np.bincount(
            np.where(over.second == over.first, 0, over.second),
            weights=p,
            minlength=len(network.instances) + 1,
        )
        result: Array = out[1:]
        return result

    def nothing(self) -> float:
        """Posterior of no cause with all instruments honest."""
        return float(self.joint[0, 0])

    def modes(self) -> dict[str, float]:
        """Posterior of each lying instrument."""
        p = self.joint.sum(axis=1)
        return {name: float(p[i]) for i, name in enumerate(self.names) if name}


def inference_from(
    network: Network,
    graded: Graded,
    complaint: str,
    drop: Sequence[Key] = (),
    add: Mapping[Key, Array] | None = None,
    cause_factor: Array | None = None,
) -> Inference:
    """Inference on graded evidence: complaint as evidence, ``drop`` left out (not judged, replaced), ``add`` put in."""
    likelihoods: dict[Key, Array] = {}
    by_mode: dict[str, dict[Key, Array]] = {m: {} for m in graded.modes}
    if complaint in network.knowledge.complaints:
        likelihoods[f"complaint:{complaint}", "unit"] = np.array([0.0, 1.0])
    for key, evidence in graded.evidence.items():
        finding = network.knowledge.findings[key[0]]
        if key in drop or not finding.weighed or key[1] not in network.places:
            continue
        likelihoods[key] = np.array(evidence.likelihood)
        for mode, changed in evidence.by_mode.items():
            by_mode[mode][key] = np.array(changed)
    for key, value in (add or {}).items():
        likelihoods[key] = value
        for changes in by_mode.values():
            changes.pop(key, None)
    return Inference(network, likelihoods, by_mode, graded.modes, graded.mode_factor, cause_factor)
