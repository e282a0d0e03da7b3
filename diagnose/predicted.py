"""The belief that will hold after each answer to a check, before it is asked and without running the rules.

What an answer can do to the belief is data: its word weighs on its finding as every answer does, a derived-finding rule puts
one word in the place of its inputs, a conclusive rule is a factor on its cause. The joint posterior is multiplied by the
chance of the answer in every joint state; only where a derived finding takes its inputs' place it is worked out afresh.
Rules about the state of the machine, what may not be judged, and contradictions are left out: they may yet speak.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from diagnose.belief import Belief, Inference, Pass, inference_from
from diagnose.grade import Evidence, told
from diagnose.looks import tells_for
from diagnose.network import Array, Key, Network
from diagnose.rules import Conclusion, Conclusions, seen_words
from diagnose.rules_engine import Known, Seen
from diagnose.work import Work, cause_factors, derive_finding, not_judged_keys
from knowledge.load import Knowledge
from knowledge.models import Check, Condition, Rule

LOCAL = ("circuit", "compressor", "fan")  # places of findings that bind the circuit of a rule for circuits


@dataclass(frozen=True)
class After:
    """One answer: its chance if an answer comes, the belief then, and the rules that would newly prove or derive something."""

    answer: str
    chance: float
    belief: Belief
    rules: tuple[str, ...]


class LookAhead:
    """Looks ahead from one case. Passes over all joint states are made once and serve every check."""

    def __init__(self, work: Work, network: Network, inference: Inference, belief: Belief) -> None:
        self.work, self.network, self.inference, self.belief = work, network, inference, belief
        self._tells = tells_for(work, network)
        self._before = cause_factors(work, network)

    @cached_property
    def _passes(self) -> list[Pass]:
        first, second = self.belief.over.first, self.belief.over.second
        return [self.inference.upward(mode, first, second) for mode in self.belief.names]

    def after(self, check: Check, place: str) -> list[After]:
        """The belief after each answer to ``check`` at ``place``, as sure as such an answer usually is, seen by the person there.

        Empty for a check that is answered by readings, or whose finding nothing here can move; also in a call in which a remedy
        was done, where the belief is carried over from before it (`diagnose.episodes`).
        """
        keys = self._tells(check, place) if check.answers and not self.work.earlier else []
        if not keys:
            return []
        chances = [self.inference.predict(keys[0], one) for one in self._passes]
        meant = [card.word or a for a, card in check.answers.items()]
        return [
            self._answered(check, keys[0], chances, answer, word, meant.count(word))
            for answer, word in zip(check.answers, meant, strict=True)
        ]

    def _answered(self, check: Check, key: Key, chances: Sequence[Array], answer: str, word: str, alike: int) -> After:
        """chances: (H, K) of each true word in each joint state, by instrument mode; alike: answers that mean this word."""
        work, belief = self.work, self.belief
        likelihood = told(word, self.network.node(key).words, work.knowledge.words.answer_right[check.usually]["saw"])
        then = _with_answer(work, key, likelihood)
        own = np.stack([by_word @ np.array(likelihood) for by_word in chances])
        chance = float((belief.joint * own).sum()) / alike
        factors = cause_factors(then, self.network)
        if _derived(work, key) or _derived(then, key):
            again = inference_from(
                self.network, then.graded, work.case.complaint, tuple(then.dropped), factors
            ).posterior()
        else:
            joint = belief.joint * own * _proved(factors / self._before, belief)
            again = replace(belief, joint=joint / joint.sum())
        new = {c.rule.id for c in then.conclusions.of("derived-finding", "conclusive")}
        old = {c.rule.id for c in work.conclusions.of("derived-finding", "conclusive")}
        return After(answer, chance, again, tuple(sorted(new - old)))


def _proved(factors: Array, belief: Belief) -> Array:
    """(H,) what changed factors on single causes do to each hypothesis."""
    each = np.concatenate([[1.0], factors])
    out: Array = each.take(belief.over.first) * each.take(belief.over.second)
    return out


def _derived(work: Work, key: Key) -> bool:
    """Whether a derived-finding rule that spoke uses this finding, also as what would silence it."""
    spoke = work.conclusions.of("derived-finding")
    return any(key[0] == c.finding for one in spoke for c in (*one.rule.when, *one.rule.unless))


def _with_answer(work: Work, key: Key, likelihood: tuple[float, ...]) -> Work:
    """The case's findings and what derived-finding and conclusive rules say of them, with one more answer."""
    made = {_place_of(work, c) for c in work.conclusions.of("derived-finding")}
    evidence = {k: one for k, one in work.graded.evidence.items() if k not in made}
    answer = Evidence(*key, likelihood, {}, (), work.state, None, True)
    evidence[key] = evidence[key].beside(answer) if key in evidence else answer
    kept = [c for c in work.conclusions.fired if c.rule.kind not in ("derived-finding", "conclusive")]
    then = replace(
        work, graded=replace(work.graded, evidence=evidence), conclusions=Conclusions(kept), dropped=set(), earlier=[]
    )
    then.dropped = not_judged_keys(then)
    for stratum, follow in (("derived-finding", derive_finding), ("conclusive", None)):
        words = seen_words(then.graded.evidence, work.knowledge, stratum)
        seen = [s for s in words if (s.finding, s.place) not in then.dropped]
        spoke = list(speaking(stratum, work.knowledge, seen, work.known))
        then.conclusions.fired += spoke
        for conclusion in spoke if follow else ():
            derive_finding(then, conclusion)
    return then


def _place_of(work: Work, conclusion: Conclusion) -> Key:
    """Where a derived finding was put."""
    finding = work.knowledge.findings[conclusion.rule.then.finding or ""]
    near = work.places.get(conclusion.place, work.places["unit"])
    return finding.id, next((p.id for p in work.places.values() if p.kind == finding.place and p.touches(near)), "unit")


# rules as data ------------------------------------------------------------------------------------------------------------


def speaking(stratum: str, knowledge: Knowledge, seen: Sequence[Seen], known: Sequence[Known]) -> Iterator[Conclusion]:
    """Rules of ``stratum`` that speak on these facts, in the order of the engine. For strata without a look at siblings."""
    kinds = {f.id: f.place for f in knowledge.findings.values()}
    found = []
    for rule in knowledge.rules.values():
        if rule.kind == stratum:
            found += [Conclusion(rule, circuit, ()) for circuit in _circuits(rule, kinds, seen, known)]
    yield from sorted(found, key=lambda c: (c.rule.id, c.circuit))


def _circuits(rule: Rule, kinds: Mapping[str, str], seen: Sequence[Seen], known: Sequence[Known]) -> list[str]:
    """Circuits for which a rule speaks ("" = the unit)."""
    binds = rule.place == "circuit" and any(kinds.get(c.finding or "") in LOCAL for c in rule.when)
    circuits = sorted({s.circuit for s in seen}) if binds else [""]

    def holds(circuit: str) -> Callable[[Condition], bool]:
        def one(condition: Condition) -> bool:
            if condition.fact:
                return any(k.name == condition.fact and k.word in condition.words for k in known)
            grades = ("firm", "leaning") if condition.leaning else ("firm",)
            here = binds and kinds.get(condition.finding or "") in LOCAL
            return any(
                s.finding == condition.finding
                and s.word in condition.words
                and s.grade in grades
                and (not here or s.circuit == circuit)
                for s in seen
            )

        return one

    return [c for c in circuits if all(map(holds(c), rule.when)) and not any(map(holds(c), rule.unless))]
