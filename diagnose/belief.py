"""Exact posterior over no cause, one cause, two causes, each with all instruments honest or any one lying.

Findings hang on effects, effects on at most one effect above, so each tree is summed exactly by one upward pass, vectorised
over all pairs of causes that the tree can tell apart. Nothing is sampled and nothing is pruned here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from diagnose.alike import Alike, alike, combined
from diagnose.grade import HONEST, Graded, Mode
from diagnose.network import Array, Hypotheses, Index, Key, Network, Node, Part, Rows

Likelihoods = Mapping[Key, Array]
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
    row_of: dict[Key, Rows] = field(default_factory=dict)

    def rows(self, node: Node) -> Rows:
        """Table rows of ``node`` for these hypotheses."""
        found = self.row_of.get(node.key)
        if found is None:
            found = self.row_of[node.key] = node.among(self.first, self.second)
        return found


@dataclass
class Scene:
    """Hypotheses and evidence of one pass without predictions, with what was already worked out.

    row_of: table rows of each node for these hypotheses, shared between scenes. said: (H, P) by node. below: (H, K) by effect.
    """

    hypotheses: Hypotheses
    likelihoods: Likelihoods
    extras: Mapping[Key, Array]
    row_of: dict[Key, Rows]
    said: dict[Key, Array] = field(default_factory=dict)
    below: dict[Key, Array] = field(default_factory=dict)

    def rows(self, node: Node) -> Rows:
        """Table rows of ``node``."""
        found = self.row_of.get(node.key)
        if found is None:
            found = node.among(self.hypotheses.first, self.hypotheses.second, self.hypotheses.third)
            self.row_of[node.key] = found
        return found


@dataclass
class Tree:
    """One tree with evidence over the classes it tells apart in one part of the hypotheses.

    honest: its scene; log: (pairs,) what it says of them. complained: what the call itself adds where any instrument lies.
    """

    alike: Alike
    honest: Scene
    log: Array
    complained: Array | None = None


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
        for key in self.likelihoods:
            if key[0].startswith("complaint:"):  # a lying instrument may be all there is behind a call
                words = self.network.words
                out[key] = self.network.node(key).factors({"yes": words.strength[words.liar_complaint]})
        return out

    def _said(self, key: Key, scene: Scene) -> Array:
        """What the tree below and at ``key`` says to its parent: (H, P)."""
        found = scene.said.get(key)
        if found is None:
            rows = scene.rows(self.network.node(key))
            if key in scene.likelihoods:
                found = (rows.table(scene.extras.get(key)) @ scene.likelihoods[key]).take(rows.of, axis=0)
            else:
                found = np.einsum("hpk,hk->hp", rows.table().take(rows.of, axis=0), self._below(key, scene))
            scene.said[key] = found
        return found

    def _below(self, key: Key, scene: Scene) -> Array:
        """Product of what all children of an effect say: (H, K)."""
        found = scene.below.get(key)
        if found is None:
            first, *rest = self.children[key]
            found = self._said(first, scene)
            for child in rest:
                found = found * self._said(child, scene)
            scene.below[key] = found
        return found

    def _ratio(self, key: Key, scene: Scene, honest: Scene) -> Array | None:
        """What ``key`` says under a lying instrument over what it says honestly, (H, P); None where the liar moves nothing.

        For a finding the ratio is formed on its small table before it is spread over the hypotheses.
        """
        rows = scene.rows(self.network.node(key))
        if key in scene.likelihoods:
            if scene.likelihoods[key] is honest.likelihoods[key] and key not in scene.extras:
                return None
            told = rows.table(scene.extras.get(key)) @ scene.likelihoods[key]
            told = told / np.maximum(rows.table() @ honest.likelihoods[key], 1e-300)
            out: Array = told.take(rows.of, axis=0)
            return out
        below: Array | None = None
        for child in self.children[key]:
            one = self._ratio(child, scene, honest)
            if one is not None:
                below = one if below is None else below * one
        if below is None:
            return None
        said = np.einsum("hpk,hk->hp", rows.table().take(rows.of, axis=0), below * self._below(key, honest))
        ratio: Array = said / np.maximum(self._said(key, honest), 1e-300)
        return ratio

    def message(self, key: Key, run: Pass) -> Array:
        """What the tree below and at ``key`` says to its parent: (H, P), keeping what the downward pass needs."""
        node = self.network.node(key)
        rows = run.rows(node)
        table = rows.table(run.extras.get(key))
        if key in run.likelihoods:
            out: Array = (table @ run.likelihoods[key]).take(rows.of, axis=0)
        else:
            below = np.ones((len(run.first), node.size))
            for child in self.children.get(key, ()):
                below = below * self.message(child, run)
            run.lambdas[key] = below
            out = np.einsum("hpk,hk->hp", table.take(rows.of, axis=0), below)
        run.messages[key] = out
        return out

    def evidence_for(self, mode: str) -> dict[Key, Array]:
        """Likelihoods of all findings if ``mode`` is true."""
        return {**self.likelihoods, **self.by_mode.get(mode, {})}

    def log_prior(self, hypotheses: Hypotheses) -> Array:
        """Log prior with what was proved about single causes."""
        if self.cause_factor is None:
            return hypotheses.log_prior
        extra = np.concatenate([[0.0], np.log(self.cause_factor)])
        out: Array = hypotheses.log_prior + extra.take(hypotheses.first) + extra.take(hypotheses.second)
        return out

    def log_mode(self, mode: str) -> float:
        """Log prior odds of a mode, with what impossible readings say about it."""
        chance = self.modes[mode].prior if mode else 0.5
        factor = self.mode_factor.get(mode, self.mode_factor.get(HONEST, 1.0))
        return float(np.log(chance / (1.0 - chance)) + np.log(max(factor, 1e-300)))

    def _log(self, said: Array) -> Array:
        out: Array = np.log(np.maximum(said[:, 0], 1e-300))
        return out

    def posterior(self) -> Belief:
        """The joint posterior over hypotheses and instrument modes: exact; nothing is left out.

        Above ``MOST_IN_PAIRS`` causes, pairs are formed of the likeliest single ones only.
        """
        hypotheses = self.hypotheses()
        names = [HONEST, *self.modes]
        joint = self.log_likelihood(hypotheses)
        joint += self.log_prior(hypotheses)
        joint += np.array([self.log_mode(m) for m in names])[:, None]
        joint -= joint.max()
        np.exp(joint, out=joint)
        joint /= joint.sum()
        return Belief(self, names, joint, hypotheses)

    def log_likelihood(self, hypotheses: Hypotheses) -> Array:
        """Log P(evidence | hypothesis, mode): a row for all honest, then one for each mode in order.

        Each tree is worked out once for every pair of classes of causes it cannot tell apart, and then spread.
        """
        log = np.zeros((1 + len(self.modes), len(hypotheses.first)))
        at = 0
        for part in hypotheses.parts:
            if len(part.first):
                self._add_log(part, log[:, at : at + len(part.first)])
            at += len(part.first)
        return log

    def _add_log(self, part: Part, log: Array) -> None:
        """The same for one part; log: (1 + modes, part), zeros on entry."""
        trees = {root: self._tree(root, part) for root in self.roots()}
        for tree in trees.values():
            log[0] += tree.log.take(tree.alike.rows(part.first, part.second))
        called: dict[Key, Array] = {}
        spread: dict[tuple[Key, ...], Index] = {}
        for row, mode in enumerate(self.modes, 1):
            log[row] = log[0]
            moved = []
            for root in sorted(self.roots_moved_by(mode) & set(trees)):
                tree, table = trees[root], self._moved(root, mode, trees[root])
                if table is None:
                    continue
                if table is tree.complained:  # the same for all instruments, and told apart the finest
                    if root not in called:
                        called[root] = table.take(tree.alike.rows(part.first, part.second))
                    log[row] += called[root]
                else:
                    moved.append((root, tree.alike, table))
            if moved:
                together, table = combined([(classes, one) for _, classes, one in moved])
                roots = tuple(root for root, _, _ in moved)
                if roots not in spread:
                    spread[roots] = together.rows(part.first, part.second)
                log[row] += table.take(spread[roots])

    def log_of_each(self, hypotheses: Hypotheses) -> Array:
        """The same as `log_likelihood` for a few hypotheses of any shape, also with a third cause, worked out one by one."""
        rows: dict[Key, Rows] = {}
        honest = Scene(hypotheses, self.likelihoods, {}, rows)
        log = np.zeros((1 + len(self.modes), len(hypotheses.first)))
        for root in self.roots():
            log += self._log(self._said(root, honest))
        for row, mode in enumerate(self.modes, 1):
            scene = Scene(hypotheses, self.evidence_for(mode), self._extras(mode), rows)
            for root in self.roots_moved_by(mode) & set(self.roots()):
                ratio = self._ratio(root, scene, honest)
                if ratio is not None:
                    log[row] += self._log(ratio)
        return log

    def _tree(self, root: Key, part: Part) -> Tree:
        found = alike(part, [self.network.node(key).local for key in self._under(root)])
        first, second = found.representatives()
        scene = Scene(Hypotheses(first, second, np.zeros(len(first))), self.likelihoods, {}, {})
        return Tree(found, scene, self._log(self._said(root, scene)))

    def _under(self, key: Key) -> list[Key]:
        """``key`` and everything with evidence below it."""
        return [key, *(one for child in self.children.get(key, ()) for one in self._under(child))]

    def _moved(self, root: Key, mode: str, tree: Tree) -> Array | None:
        """What a lying instrument adds to the log of a tree, by classes; None where it moves nothing."""
        extras = self._extras(mode)
        changed = {key for key in (*self.by_mode.get(mode, ()), *extras) if self.root_of(key) == root}
        # every liar may be all there is behind a call: where it moves nothing else here, all of them say the same
        same = all(key[0].startswith("complaint:") for key in changed)
        if same and tree.complained is not None:
            return tree.complained
        scene = Scene(tree.honest.hypotheses, self.evidence_for(mode), extras, tree.honest.row_of)
        ratio = self._ratio(root, scene, tree.honest)
        if ratio is None:
            return None
        log = self._log(ratio)
        if same:
            tree.complained = log
        return log

    def hypotheses(self) -> Hypotheses:
        """All pairs where the base is small enough, else pairs of the likeliest single causes."""
        network = self.network
        if len(network.instances) <= MOST_IN_PAIRS:
            return network.all_hypotheses()
        singles = network.singles()
        odds = np.array([self.log_mode(m) for m in (HONEST, *self.modes)])
        best = (self.log_likelihood(singles) + odds[:, None]).max(axis=0) + self.log_prior(singles)
        chosen = np.argsort(-best[1:], kind="stable")[:MOST_IN_PAIRS] + 1
        return network.hypotheses(np.sort(chosen))

    # predictions ---------------------------------------------------------------------------------------------------------

    def upward(self, mode: str, first: Index, second: Index) -> Pass:
        """One upward pass over some hypotheses, keeping all messages."""
        run = Pass(first, second, self.evidence_for(mode), self._extras(mode))
        for root in self.roots():
            self.message(root, run)
        return run

    def _above(self, key: Key, run: Pass) -> Array:
        """Belief of effect ``key`` from everything not below it: (H, K), not normalised."""
        done = run.pis.get(key)
        if done is not None:
            return done
        node = self.network.node(key)
        rows = run.rows(node)
        table = rows.table(run.extras.get(key)).take(rows.of, axis=0)
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
        rows = run.rows(node)
        table = rows.table(run.extras.get(key))
        if node.parent is None:
            out = table[:, 0, :].take(rows.of, axis=0)
        else:
            out = np.einsum("hp,hpk->hk", self._without(node.parent, key, run), table.take(rows.of, axis=0))
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

    @cached_property
    def _hypotheses(self) -> Array:
        out: Array = self.joint.sum(axis=0)
        out.flags.writeable = False  # shared by all who ask
        return out

    def hypotheses(self) -> Array:
        """Posterior of each hypothesis, instruments summed out."""
        return self._hypotheses

    def causes(self) -> Array:
        """Marginal probability of each instance."""
        return self._causes

    @cached_property
    def _causes(self) -> Array:
        p = self.hypotheses()
        network, over = self.network, self.over
        out: Array = np.bincount(over.first, weights=p, minlength=len(network.instances) + 1).astype(float)
        out += np.bincount(
            np.where(over.second == over.first, 0, over.second),
            weights=p,
            minlength=len(network.instances) + 1,
        )
        result: Array = out[1:]
        result.flags.writeable = False
        return result

    def nothing(self) -> float:
        """Posterior of no cause with all instruments honest."""
        return float(self.joint[0, 0])

    def modes(self) -> dict[str, float]:
        """Posterior of each lying instrument."""
        p = self.joint.sum(axis=1)
        return {name: float(p[i]) for i, name in enumerate(self.names) if name}


COMPLAINS = np.array([0.0, 1.0])
QUIET = np.array([1.0, 0.0])


def inference_from(
    network: Network,
    graded: Graded,
    complaint: str,
    drop: Sequence[Key] = (),
    cause_factor: Array | None = None,
    heard: Array | None = COMPLAINS,
) -> Inference:
    """Inference on graded evidence: complaint as evidence, ``drop`` left out (not judged, replaced).

    heard: likelihood of (no, yes) for the complaint: it is there, it is gone, or None when nothing was said of it.
    """
    likelihoods: dict[Key, Array] = {}
    by_mode: dict[str, dict[Key, Array]] = {m: {} for m in graded.modes}
    if complaint in network.knowledge.complaints and heard is not None:
        likelihoods[f"complaint:{complaint}", "unit"] = heard
    for key, evidence in graded.evidence.items():
        finding = network.knowledge.findings[key[0]]
        if key in drop or not finding.weighed or key[1] not in network.places:
            continue
        likelihoods[key] = np.array(evidence.likelihood)
        for mode, changed in evidence.by_mode.items():
            by_mode[mode][key] = np.array(changed)
    return Inference(network, likelihoods, by_mode, graded.modes, graded.mode_factor, cause_factor)
