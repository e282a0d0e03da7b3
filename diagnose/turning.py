"""What would change the verdict: who leads if a piece of evidence were otherwise, or once a look is answered.

Exact, by the same belief: the tree in which a finding stands is worked out again with the other word, and the posterior of every
hypothesis and every lying instrument is multiplied by what that changes. What was proved (conclusive rules) is asked again, since
it rests on words. After a remedy the belief is filtered, and all of it is worked out again. Other rules are not: a word that
changes the state of the machine, or what may be judged, changes more than is told here.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from diagnose.advice import Choice, Lead, Step, Turn
from diagnose.belief import Belief, Inference
from diagnose.grade import Evidence
from diagnose.looks import tells_for
from diagnose.network import Array, Key, Network
from diagnose.predicted import speaking
from diagnose.rules import Conclusions, seen_words
from diagnose.setups import word_meant
from diagnose.suspects import Row, Standing, lead_named, seen_text, standing_of
from diagnose.work import Work, cause_factors, reason
from knowledge.models import Cause, Check, Finding

Changes = Mapping[Key, Evidence | None]
TURNS = 2
TRIED = 6  # pieces of evidence that are taken back or turned
EXPLAINED_STEPS = 3


class WhatIf:
    """The belief of one call, and the belief it would be."""

    def __init__(self, work: Work, network: Network, inference: Inference, belief: Belief) -> None:
        self.work, self.network, self.inference, self.belief = work, network, inference, belief
        self.now = standing_of(belief)
        self.leader = self.now.leader()
        self._trees: dict[frozenset[Key], _Tree] = {}
        self._proving = {c.finding for r in work.knowledge.rules.values() if r.kind == "conclusive" for c in r.when}

    def after(self, changes: Changes) -> Standing:
        """How likely everything is if these findings were known so (None: not known)."""
        work = self._changed(changes)
        if self.work.earlier:
            return standing_of(reason(work)[2])
        tree = self._tree(frozenset(self.inference.root_of(k) for k in changes))
        log = tree.log(changes) - tree.before
        if any(k[0] in self._proving for k in changes):
            now, then = cause_factors(self.work, self.network), cause_factors(work, self.network)
            extra, over = np.concatenate([[0.0], np.log(then) - np.log(now)]), self.belief.over
            log += extra.take(over.first) + extra.take(over.second)
        return self._standing(tree, np.exp(log - log.max()))

    def _standing(self, tree: _Tree, ratio: Array) -> Standing:
        """Marginals once row r of the joint belief is multiplied by ratio[tree.rows[r]]."""
        joint, names, over = self.belief.joint, self.belief.names, self.belief.over
        p = (tree.grouped * ratio).sum(axis=0)
        modes = {n: float(joint[r] @ ratio[tree.rows[r]]) for r, n in enumerate(names) if n}
        total = float(p.sum())
        belief = Belief(self.inference, [""], (p / total)[None, :], over)
        nothing = float(joint[0, 0] * ratio[tree.rows[0], 0]) / total
        return Standing(belief.causes(), nothing, {n: q / total for n, q in modes.items()})

    def _tree(self, roots: frozenset[Key]) -> _Tree:
        found = self._trees.get(roots)
        if found is None:
            found = self._trees[roots] = _Tree(self.inference, self.belief, roots)
        return found

    def _changed(self, changes: Changes) -> Work:
        """The same call with other evidence, and with what follows from it for certain."""
        evidence = {k: v for k, v in self.work.graded.evidence.items() if changes.get(k, v) is not None}
        evidence |= {k: v for k, v in changes.items() if v is not None}
        work = dataclasses.replace(self.work, graded=dataclasses.replace(self.work.graded, evidence=evidence))
        if any(k[0] in self._proving for k in changes):
            work.conclusions = Conclusions([c for c in self.work.conclusions.fired if c.rule.kind != "conclusive"])
            words = seen_words(evidence, work.knowledge, "conclusive")
            seen = [s for s in words if (s.finding, s.place) not in work.dropped]
            work.conclusions.fired += speaking("conclusive", work.knowledge, seen, work.known)
        return work

    def told(self, check: Check, key: Key, word: str) -> Evidence:
        """What an answer or reading that means ``word`` adds to what is known of a finding, as sure as it usually is."""
        card = self.work.knowledge.findings[key[0]]
        table = self.work.knowledge.words.answer_right[check.usually]
        return self._with(key, card, word, table["read" if check.reads else "saw"], self.work.graded.evidence.get(key))

    def turned(self, key: Key, word: str) -> Evidence:
        """A finding known surely as another word."""
        card = self.work.knowledge.findings[key[0]]
        known = self.work.graded.evidence[key]
        table = self.work.knowledge.words.answer_right["sure"]
        return self._with(key, card, word, table["read" if known.derived else "saw"], None)

    def _with(self, key: Key, card: Finding, word: str, right: float, known: Evidence | None) -> Evidence:
        words = card.ordered or card.words
        told = tuple(right if w == word else (1.0 - right) / (len(words) - 1) for w in words)
        texts = (card.texts[word],)
        if known is None:
            return Evidence(key[0], key[1], told, {}, texts, self.work.state, None, True)
        both = tuple(a * b for a, b in zip(known.likelihood, told, strict=True))
        by_mode = {m: tuple(a * b for a, b in zip(v, told, strict=True)) for m, v in known.by_mode.items()}
        return dataclasses.replace(known, likelihood=both, by_mode=by_mode, texts=(*known.texts, *texts), answered=True)

    def named(self, row: Row) -> Lead:
        """Who a row is."""
        return lead_named(self.network, self.inference, row)

    def cause(self, row: Row) -> Cause:
        """The card of a row that is a cause."""
        return self.work.knowledge.causes[self.network.instances[row.index].cause]

    def lead(self, standing: Standing) -> Lead:
        """Who leads."""
        return self.named(standing.leader())


class _Tree:
    """The evidence in some trees. rows: for each row of the joint belief (all honest, then each liar) its row in ``log``, since
    most liars move nothing here and say what honest instruments say; grouped: the joint belief summed alike."""

    def __init__(self, inference: Inference, belief: Belief, roots: frozenset[Key]) -> None:
        self.inference, self.over = inference, belief.over
        inside = inference.root_of
        self.likelihoods = {k: v for k, v in inference.likelihoods.items() if inside(k) in roots}
        self.by_mode = {
            m: {k: v for k, v in changed.items() if inside(k) in roots} for m, changed in inference.by_mode.items()
        }
        called = any(k[0].startswith("complaint:") for k in self.likelihoods)
        kept: dict[str, int] = {}
        rows = []
        for name in belief.names:
            shows = inference.modes[name].shows if name else {}
            own = bool(self.by_mode.get(name)) or any(
                k[1] in inference.network.places and inside(k) in roots for k in shows
            )
            # a call may come from any liar: where the complaint stands, those that move nothing else say the same
            like = name if own else "another" if called and name else ""
            rows.append(kept.setdefault(like, len(kept)))
            if like == "another":
                self.another = name
        self.rows = rows
        self.kept = list(kept)
        self.grouped = np.zeros((len(kept), belief.joint.shape[1]))
        for row, one in zip(rows, belief.joint, strict=True):
            self.grouped[row] += one
        self.before = self.log({})

    def log(self, changes: Changes) -> Array:
        """(kept rows, hypotheses) what the findings of these trees say once some are changed."""
        told = {k: v for k, v in self.likelihoods.items() if k not in changes}
        names = [self.another if k == "another" else k for k in self.kept if k]
        liars = {m: {k: v for k, v in self.by_mode.get(m, {}).items() if k not in changes} for m in names}
        for key, evidence in changes.items():
            if evidence is not None:
                told[key] = np.array(evidence.likelihood)
                for mode in names:
                    if mode in evidence.by_mode:
                        liars[mode][key] = np.array(evidence.by_mode[mode])
        modes = {m: self.inference.modes[m] for m in names}
        out: Array = Inference(self.inference.network, told, liars, modes, {}).log_likelihood(self.over)
        return out


def turns_of(what: WhatIf, weights: Mapping[Key, Array]) -> tuple[Turn, ...]:
    """The pieces of evidence that would dethrone the leader if they were not known, or known otherwise; the lightest change first.

    Where none would, the one without which the leader would be weakest. weights: of each finding for each cause.
    """
    found: list[tuple[tuple[bool, float], Turn]] = []
    for key in _weighty(what, weights):
        best = _turn(what, key, "", None)
        if not _dethrones(what, best):
            card = what.work.knowledge.findings[key[0]]
            known = what.work.graded.evidence[key].words(card)[0][0]
            others = [w for w in (card.ordered or card.words) if w != known]
            tried = [best, *(_turn(what, key, card.texts[w], what.turned(key, w)) for w in others)]
            best = min(tried, key=lambda t: (not _dethrones(what, t), bool(t.instead), t.leader_then))
        found.append(((not _dethrones(what, best), best.leader_then), best))
    found.sort(key=lambda f: f[0])
    turning = [turn for (keeps, _), turn in found if not keeps][:TURNS]
    return tuple(turning or [turn for _, turn in found[:1]])


def _turn(what: WhatIf, key: Key, instead: str, evidence: Evidence | None) -> Turn:
    then = what.after({key: evidence})
    return Turn(
        finding=key[0],
        place=key[1],
        text=seen_text(what.work, key),
        instead=instead,
        leads=what.lead(then),
        leader_then=min(1.0, then.of(what.leader)),
    )


def _dethrones(what: WhatIf, turn: Turn) -> bool:
    now = what.named(what.leader)
    return (turn.leads.cause, turn.leads.place) != (now.cause, now.place)


def _weighty(what: WhatIf, weights: Mapping[Key, Array]) -> list[Key]:
    """Evidence that may carry the leader: what weighs most for a cause; for a liar what it moves; else what is out of order."""
    evidence = what.work.graded.evidence
    keys = [k for k in what.inference.likelihoods if k in evidence]
    leader = what.leader
    if not leader.mode and leader.index >= 0:
        keys = [k for k in keys if weights[k][leader.index] > 0]
        return sorted(keys, key=lambda k: -float(weights[k][leader.index]))[:TRIED]
    moved = [k for k in keys if leader.mode and leader.mode in evidence[k].by_mode]
    return (moved + [k for k in keys if k not in moved])[:TRIED]


def explained_steps(what: WhatIf, steps: Sequence[Step]) -> list[Step]:
    """The first few looks with who leads after each answer."""
    tells = tells_for(what.work, what.network)
    out, left = [], EXPLAINED_STEPS
    for step in steps:
        check = what.work.knowledge.checks.get(step.id) if step.asks else None
        if check is None or not left or step.again:
            out.append(step)
            continue
        left -= 1
        out.append(_explained(what, step, check, tells(check, _place(what.network, step, check))))
    return out


def _place(network: Network, step: Step, check: Check) -> str:
    if step.place in network.places:
        return step.place
    return next((p.id for p in network.places.values() if p.kind == check.place), "unit")


def _explained(what: WhatIf, step: Step, check: Check, keys: Sequence[Key]) -> Step:
    if not keys:
        return step
    if not check.answers:
        return step.model_copy(update={"tells": _tells(what, check, keys)})
    meant = {choice.id: word_meant(check, choice.id) for choice in step.answers}
    leads = {w: what.lead(what.after({keys[0]: what.told(check, keys[0], w)})) for w in dict.fromkeys(meant.values())}
    answers = (choice.model_copy(update={"leads": leads[meant[choice.id]]}) for choice in step.answers)
    return step.model_copy(update={"answers": tuple(answers)})


def _tells(what: WhatIf, check: Check, keys: Iterable[Key]) -> tuple[Choice, ...]:
    """Words of the finding by which a reading would change the leader's standing most."""
    best: tuple[Choice, ...] = ()
    widest = -1.0
    for key in keys:
        card = what.work.knowledge.findings[key[0]]
        choices, standing = [], []
        for word in card.ordered or card.words:
            after = what.after({key: what.told(check, key, word)})
            choices.append(Choice(id=f"{key[0]} {word}", text=card.texts[word], leads=what.lead(after)))
            standing.append(after.of(what.leader))
        if max(standing) - min(standing) > widest:
            best, widest = tuple(choices), max(standing) - min(standing)
    return best
