"""Suspects in order, each with what speaks for it and against it in order of weight, and how it comes to be noticed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from diagnose.advice import Lead, Reason, Suspect
from diagnose.belief import Belief, Inference, Pass
from diagnose.chain import chain_of, liar_chain
from diagnose.grade import HONEST
from diagnose.network import Array, Key, Network
from diagnose.places import spell
from diagnose.work import Work
from knowledge.models import Cause

SHOWN_SUSPECTS = 12
EXPLAINED_SUSPECTS = 6
LEAST_WEIGHT = 0.1  # a finding weaker than this (log10 of the likelihood ratio) is no reason
MOST_REASONS = 8


@dataclass(frozen=True)
class Row:
    """One explanation with its probability: a cause at a place (index from 0), a lying instrument (mode), or nothing wrong."""

    p: float
    mode: str = ""
    index: int = -1

    @property
    def order(self) -> tuple[float, str, int]:
        return -self.p, self.mode, self.index


@dataclass(frozen=True)
class Standing:
    """How likely each explanation is. causes: (instances,) marginals; modes: mode id -> probability."""

    causes: Array
    nothing: float
    modes: Mapping[str, float]

    def of(self, row: Row) -> float:
        """How likely an explanation is here."""
        if row.mode:
            return self.modes.get(row.mode, 0.0)
        return self.nothing if row.index < 0 else float(self.causes[row.index])

    def ranking(self) -> list[Row]:
        """Every explanation, the likeliest first."""
        rows = [Row(float(p), "", i) for i, p in enumerate(self.causes)]
        rows.append(Row(self.nothing))
        rows += [Row(p, mode) for mode, p in self.modes.items()]
        return sorted(rows, key=lambda r: r.order)

    def leader(self) -> Row:
        """The likeliest explanation."""
        top = int(np.argmax(self.causes))
        rows = [Row(float(self.causes[top]), "", top), Row(self.nothing)]
        rows += [Row(p, mode) for mode, p in self.modes.items()]
        return min(rows, key=lambda r: r.order)


def standing_of(belief: Belief) -> Standing:
    """The marginals of a belief."""
    return Standing(belief.causes(), belief.nothing(), belief.modes())


def lead_named(network: Network, inference: Inference, row: Row) -> Lead:
    """Who a row is: id, place, title, probability."""
    p = min(row.p, 1.0)
    if row.mode:
        liar = inference.modes[row.mode]
        title = liar.title[0].upper() + liar.title[1:]
        return Lead(cause=f"instrument:{row.mode}", place=liar.readings[0].place, title=title, probability=p)
    if row.index < 0:
        return Lead(cause="nothing-wrong", place="unit", title="Nothing is wrong", probability=p)
    instance = network.instances[row.index]
    place = instance.place.said
    return Lead(cause=instance.cause, place=place, title=network.knowledge.causes[instance.cause].title, probability=p)


def suspects_of(
    work: Work, network: Network, inference: Inference, belief: Belief, single: Mapping[Key, Array]
) -> list[Suspect]:
    """The likeliest explanations; reasons and chains for the first few causes."""
    standing = standing_of(belief)
    weights = weights_of(single, standing.causes)
    out: list[Suspect] = []
    for row in standing.ranking()[:SHOWN_SUSPECTS]:
        named = lead_named(network, inference, row).model_dump()
        if row.mode:
            liar = inference.modes[row.mode]
            shows = tuple(work.knowledge.findings[f].title for f, _ in liar.shows)
            explained = len(out) < EXPLAINED_SUSPECTS
            speaks = (
                liar_reasons(work, network, inference, row.mode, single, standing.causes) if explained else ((), ())
            )
            out.append(
                Suspect(
                    kind="instrument",
                    **{"for": speaks[0]},
                    against=speaks[1],
                    not_checked=shows,
                    chain=liar_chain(work, liar),
                    **named,
                )
            )
            continue
        if row.index < 0:
            out.append(Suspect(kind="nothing-wrong", **named))
            continue
        cause = work.knowledge.causes[named["cause"]]
        explained = len(out) < EXPLAINED_SUSPECTS
        for_, against = reasons_of(work, weights, row.index) if explained else ((), ())
        chain: tuple[str, ...] = ()
        if explained:
            chain = chain_of(work, network, inference.likelihoods, row.index, [(r.finding, r.place) for r in for_])
        out.append(
            Suspect(
                kind=cause.kind,
                **{"for": for_},
                against=against,
                not_checked=_not_checked(work, cause),
                chain=chain,
                shows=cause.shows,
                wrong_when=cause.wrong_when,
                **named,
            )
        )
    return out


def likelihoods_by_cause(network: Network, inference: Inference) -> dict[Key, Array]:
    """P(finding as seen | none, then each single cause), all instruments honest, for every finding weighed."""
    n = len(network.instances)
    first, none = np.arange(n + 1, dtype=np.int64), np.zeros(n + 1, dtype=np.int64)
    out: dict[Key, Array] = {}
    for key, likelihood in inference.likelihoods.items():
        one = Inference(network, {key: likelihood}, {}, {}, {})
        run = Pass(first, none, {key: likelihood}, {})
        joint = np.ones(n + 1)
        for root in one.roots():
            joint = joint * one.message(root, run)[:, 0]
        out[key] = joint
    return out


def weights_of(single: Mapping[Key, Array], marginals: Array) -> dict[Key, Array]:
    """log10 likelihood ratio of each finding for each cause against the rest as they are believed now."""
    prior = _as_believed(marginals)
    out = {}
    for key, joint in single.items():
        total, mass = float((prior * joint).sum()), float(prior.sum())
        rest = (total - prior * joint) / np.maximum(mass - prior, 1e-9)
        out[key] = np.log10(np.maximum(joint, 1e-12) / np.maximum(rest, 1e-12))[1:]
    return out


def _as_believed(marginals: Array) -> Array:
    """No cause, then each single one, as believed now."""
    out: Array = np.maximum(np.concatenate([[max(1e-6, 1.0 - float(marginals.sum()))], marginals]), 1e-9)
    return out


def reasons_of(work: Work, weights: Mapping[Key, Array], index: int) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """What speaks for and against a cause, the strongest first."""
    return _sided([_reason(work, key, float(weight[index])) for key, weight in weights.items()])


def liar_reasons(
    work: Work, network: Network, inference: Inference, mode: str, single: Mapping[Key, Array], marginals: Array
) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """What speaks for and against a lying instrument: each finding it moves or shows, whatever else is wrong as believed now."""
    prior = _as_believed(marginals)
    moved = {k: v for k, v in inference.by_mode.get(mode, {}).items() if k in single}
    lying = likelihoods_by_cause(network, Inference(network, moved, {}, {}, {}))
    for key, (word, strength) in inference.modes[mode].shows.items():
        node = network.node(key) if key in single else None
        if node is not None and node.parent is None:
            table = node.table(node.factors({word: strength}))[:, 0, :] @ inference.likelihoods[key]
            alone = np.arange(len(network.instances) + 1, dtype=np.int64)
            lying[key] = table.take(node.signature(alone, np.zeros_like(alone)))
    found = []
    for key, joint in lying.items():
        told, rest = float(prior @ joint), float(prior @ single[key])
        found.append(_reason(work, key, math.log10(max(told, 1e-12) / max(rest, 1e-12))))
    impossible = inference.log_mode(mode) - inference.log_mode(HONEST)
    chance = inference.modes[mode].prior
    weight = (impossible - math.log(chance / (1.0 - chance))) / math.log(10.0)
    texts = work.graded.impossible or ["readings of two instruments"]
    found.append(Reason(finding="contradiction", place="unit", text="; ".join(texts), weight=round(weight, 3)))
    return _sided(found)


def _reason(work: Work, key: Key, weight: float) -> Reason:
    return Reason(finding=key[0], place=key[1], text=seen_text(work, key), weight=round(weight, 3))


def _sided(found: Iterable[Reason]) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    """For and against, the strongest first, without what is no reason."""
    rows = sorted((r for r in found if abs(r.weight) >= LEAST_WEIGHT), key=lambda r: -abs(r.weight))
    for_ = tuple(r for r in rows if r.weight > 0)[:MOST_REASONS]
    return for_, tuple(r for r in rows if r.weight < 0)[:MOST_REASONS]


def seen_text(work: Work, key: Key) -> str:
    """A piece of evidence in words: what was seen or read, and where."""
    if key[0].startswith("complaint:"):
        return f"the call: {work.knowledge.complaints[work.case.complaint].title.lower()}"
    where = f" at {spell(key[1])}" if ":" in key[1] and not key[1].startswith("pump") else ""
    return "; ".join(work.graded.evidence[key].texts) + where


def _not_checked(work: Work, cause: Cause) -> tuple[str, ...]:
    """Confirming looks that were neither done nor answered by readings."""
    answered = {e.check for e in work.case.entries if e.check}
    read = {e.quantity for e in work.case.entries if e.quantity and e.source == "today"}
    checks = (work.knowledge.checks[c] for c in cause.confirm if c in work.knowledge.checks)
    return tuple(c.title for c in checks if c.id not in answered and not (c.reads and set(c.reads) <= read))[:4]
