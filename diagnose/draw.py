"""Draws the parts of an Advice from what was worked out: suspects with reasons, steps, values, rules that spoke."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diagnose.advice import Choice, Derived, Fired, NotJudged, Reason, Step, Stop, Suspect, Verdict
from diagnose.belief import Belief, Inference, Pass
from diagnose.looks import Gates
from diagnose.network import Array, Key, Network
from diagnose.places import spell
from diagnose.plan import (
    Candidate,
    Scored,
    hand_over_cost,
    hand_over_to,
    may_do,
)
from diagnose.rules import Conclusion
from diagnose.verdict import PAYS, Lead, confirming, remedy_of, second_cause_looks, settling_looks
from diagnose.work import Work
from knowledge.models import Cause
from shared.quantities import DERIVED
from shared.units import SHOWN, show, spread_in_unit, to_unit

SHOWN_SUSPECTS = 12
EXPLAINED_SUSPECTS = 6
SHOWN_STEPS = 6


def stop_of(stops: Sequence[Conclusion]) -> Stop | None:
    """The stop that counts: people before the machine, an ending one first; reasons of all are told."""
    if not stops:
        return None
    ordered = sorted(stops, key=lambda c: (c.rule.then.protects != "people", not c.rule.then.ends, c.rule.id))
    lead = ordered[0].rule.then
    reasons = list(dict.fromkeys(c.rule.then.reason for c in ordered))
    safe = list(dict.fromkeys(c.rule.then.make_safe for c in ordered if c.rule.then.protects == lead.protects))
    return Stop(
        reason=" ".join(reasons),
        make_safe=" ".join(safe),
        hand_over_to=lead.hand_over_to,
        protects=lead.protects or "people",
        ends=any(c.rule.then.ends for c in ordered),
        rule=ordered[0].rule.id,
    )


def not_judged(work: Work) -> list[NotJudged]:
    out = [NotJudged(finding=f, place=p, why=w, until=u) for f, p, w, u in work.graded.not_judged]
    for conclusion in work.conclusions.of("not-judged"):
        then = conclusion.rule.then
        here = [k for k in work.dropped if k[0] in then.findings]
        for finding, place in sorted(here) or [(f, conclusion.place) for f in then.findings]:
            out.append(NotJudged(finding=finding, place=place, why=then.reason, until=then.release))
    return list({(n.finding, n.place): n for n in reversed(out)}.values())[::-1]


def derived_values(work: Work) -> list[Derived]:
    out = []
    for value in [*work.derivation.values.values(), *work.derivation.conditioned]:
        metric = any(s.metric for s in value.sources)
        unit = SHOWN[value.kind][1 if metric else 0]
        title = DERIVED[value.quantity].title + (f" ({value.condition})" if value.condition else "")
        out.append(
            Derived(
                quantity=value.quantity,
                place=value.place,
                value=round(to_unit(value.value, value.kind, unit), 6),
                unit=unit,
                uncertainty=round(spread_in_unit(value.sd, value.kind, unit), 6),
                text=f"{title}: {show(value.value, value.kind, metric)}",
                **{"from": tuple(dict.fromkeys(s.quantity for s in value.sources))},
                word=work.graded.words_of.get((value.quantity, value.place), ""),
            )
        )
    return out


def fired_rule(conclusion: Conclusion) -> Fired:
    then = conclusion.rule.then
    return Fired(
        rule=conclusion.rule.id,
        kind=conclusion.rule.kind,
        title=conclusion.rule.title,
        because=conclusion.rule.because,
        place=conclusion.place,
        hold_point=f"{then.hold} Until: {then.release}" if conclusion.rule.kind == "hold-point" else "",
        **{"from": conclusion.because},
    )


def contradictions(work: Work) -> list[str]:
    said = [f"{c.rule.then.reason} ({'; '.join(c.because)})" for c in work.conclusions.of("contradiction")]
    return list(dict.fromkeys([*(text[0].upper() + text[1:] for text in work.graded.impossible), *said]))


def suspects_of(
    work: Work, network: Network, inference: Inference, belief: Belief, single: Mapping[Key, Array]
) -> list[Suspect]:
    knowledge, marginals = work.knowledge, belief.causes()
    rows: list[tuple[float, str, int]] = [(float(p), "", i) for i, p in enumerate(marginals)]
    rows.append((belief.nothing(), "nothing", -1))
    instrument: dict[str, float] = {}
    for mode, p in belief.modes().items():
        instrument[mode] = p
    rows += [(p, mode, -2) for mode, p in instrument.items()]
    rows.sort(key=lambda r: (-r[0], r[1], r[2]))
    weights = _weights(single, marginals)
    out: list[Suspect] = []
    for p, name, index in rows[:SHOWN_SUSPECTS]:
        if index >= 0:
            instance = network.instances[index]
            cause = knowledge.causes[instance.cause]
            for_, against = _reasons(work, weights, index) if len(out) < EXPLAINED_SUSPECTS else ((), ())
            out.append(
                Suspect(
                    cause=cause.id,
                    place=instance.place.id if not instance.place.folded else instance.place.kind,
                    title=cause.title,
                    kind=cause.kind,
                    probability=min(p, 1.0),
                    **{"for": for_},
                    against=against,
                    not_checked=_not_checked(work, cause),
                    chain=_chain(work, cause),
                    shows=cause.shows,
                    wrong_when=cause.wrong_when,
                )
            )
        elif name == "nothing":
            out.append(
                Suspect(
                    cause="nothing-wrong", place="unit", title="Nothing is wrong", kind="nothing-wrong", probability=p
                )
            )
        else:
            liar = inference.modes[name]
            shows = tuple(work.knowledge.findings[f].title for f, _ in liar.shows)
            out.append(
                Suspect(
                    cause=f"instrument:{name}",
                    place=liar.readings[0].place,
                    title=liar.title[0].upper() + liar.title[1:],
                    kind="instrument",
                    probability=p,
                    not_checked=shows,
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


def _weights(single: Mapping[Key, Array], marginals: Array) -> dict[Key, Array]:
    """log10 likelihood ratio of each finding for each cause against the rest as they are believed now."""
    prior = np.maximum(np.concatenate([[max(1e-6, 1.0 - float(marginals.sum()))], marginals]), 1e-9)
    out = {}
    for key, joint in single.items():
        total, mass = float((prior * joint).sum()), float(prior.sum())
        rest = (total - prior * joint) / np.maximum(mass - prior, 1e-9)
        out[key] = np.log10(np.maximum(joint, 1e-12) / np.maximum(rest, 1e-12))[1:]
    return out


def _reasons(work: Work, weights: Mapping[Key, Array], index: int) -> tuple[tuple[Reason, ...], tuple[Reason, ...]]:
    found = []
    for key, weight in weights.items():
        w = float(weight[index])
        if abs(w) < 0.1:
            continue
        if key[0].startswith("complaint:"):
            text = f"the call: {work.knowledge.complaints[work.case.complaint].title.lower()}"
        else:
            evidence = work.graded.evidence[key]
            text = "; ".join(evidence.texts) + (
                f" at {spell(key[1])}" if ":" in key[1] and not key[1].startswith("pump") else ""
            )
        found.append(Reason(finding=key[0], place=key[1], text=text, weight=round(w, 3)))
    found.sort(key=lambda r: -abs(r.weight))
    return tuple(r for r in found if r.weight > 0)[:8], tuple(r for r in found if r.weight < 0)[:8]


def _not_checked(work: Work, cause: Cause) -> tuple[str, ...]:
    """Confirming looks that were neither done nor answered by readings."""
    answered = {e.check for e in work.case.entries if e.check}
    read = {e.quantity for e in work.case.entries if e.quantity and e.source == "today"}
    checks = (work.knowledge.checks[c] for c in cause.confirm if c in work.knowledge.checks)
    return tuple(c.title for c in checks if c.id not in answered and not (c.reads and set(c.reads) <= read))[:4]


def _chain(work: Work, cause: Cause) -> tuple[str, ...]:
    chain = [cause.title]
    effects = [e for e in cause.brings if e.effect]
    if effects:
        top = effects[0]
        chain.append(f"{work.knowledge.effects[top.effect or ''].title}: {next(iter(top.gives))}")
        below = next(
            (e for e in work.knowledge.effects.values() if e.parent == top.effect and next(iter(top.gives)) in e.given),
            None,
        )
        if below is not None:
            chain.append(f"{below.title}: {next(iter(below.given[next(iter(top.gives))]))}")
    chain.append(work.knowledge.complaints[work.case.complaint].title)
    return tuple(chain)


def steps_of(
    work: Work,
    network: Network,
    belief: Belief,
    useful: Sequence[Scored],
    gates: Gates,
    lead: Lead,
    verdict: Verdict | None,
    stop: Stop | None,
    base: float,
) -> list[Step]:
    """Next steps in order: safety questions, the remedy of a verdict, then the looks worth their minutes."""
    knowledge, case = work.knowledge, work.case
    if stop is not None and stop.ends:
        return [_hand_over(work, stop.hand_over_to, stop.make_safe)]
    steps: list[Step] = []
    for check_id in gates.ask_first:
        check = knowledge.checks[check_id]
        if may_do(check.who, check.needs_qualified, case.role, case.qualified):
            one = Scored(Candidate(check, "unit", check.minutes), base, 0.0)
            steps.append(_observe(work, one, network, "Safety comes first. "))
    if verdict is not None and verdict.kind == "hand-over":
        steps.append(_hand_over(work, verdict.who, verdict.remedy))
    elif verdict is not None and verdict.remedy_id not in gates.remedies:
        remedies = [c.remedy for c in (knowledge.causes.get(name) for name in verdict.causes) if c is not None]
        beyond = next((to for r in remedies if (to := hand_over_to(r, case.role, case.qualified))), "")
        if not remedies and case.role != "technician":
            beyond = "technician"  # a gauge or thermometer is exchanged by whoever may touch it
        steps.append(
            Step(
                id=verdict.remedy_id,
                kind="hand-over" if beyond else "repair",
                title=verdict.title,
                ask=verdict.remedy,
                minutes=verdict.minutes,
                expected_cost_minutes=base,
                who=verdict.who,
                cautions=verdict.cautions[:2],
                needs_qualified=tuple(dict.fromkeys(q for r in remedies for q in r.needs_qualified)),
                hazards=tuple(dict.fromkeys(h for r in remedies for h in r.hazards if h != "none")),
                tools=tuple(dict.fromkeys(t for r in remedies for t in r.tools)),
                why=(f"To be done by: {beyond}. " if beyond else "") + f"Proof of cure: {verdict.proof}",
            )
        )
    confirm = set(remedy_of(work, network, lead.top)[0].confirm)
    asked_first = {f"{s.id}" for s in steps}
    for one in ordered_looks(work, network, belief, useful, gates, lead, base)[:SHOWN_STEPS]:
        leads = "Confirms the leading suspect before anything is replaced. "
        lead_in = leads if one.candidate.check.id in confirm and verdict is None else ""
        if (
            one.candidate.before
        ):  # unknown is not yes: the safety question comes first, and its minutes belong to the look
            lead_in = f"Safety question before: {one.candidate.check.title}. "
            question = knowledge.checks[one.candidate.before[0]]
            one = Scored(Candidate(question, "unit", question.minutes), one.value, one.information)
        if one.candidate.check.id not in asked_first:
            asked_first.add(one.candidate.check.id)
            steps.append(_observe(work, one, network, lead_in))
    if verdict is None and not steps:
        steps.append(_hand_over(work, "technician", "Leave the unit safe."))
    return steps[: SHOWN_STEPS + 2]


def ordered_looks(
    work: Work, network: Network, belief: Belief, useful: Sequence[Scored], gates: Gates, lead: Lead, base: float
) -> list[Scored]:
    """Looks in the order to do them.

    With nothing known yet the complaint's own first looks come first, as the trade orders them. Then what lowers the expected
    minutes most; where nothing lowers them any more, what tells most for its minutes. A look that settles a contradiction,
    or that tells whether a second cause explains what the leading one does not, goes before.
    """
    first = work.knowledge.complaints[work.case.complaint].first
    bare = not work.graded.evidence
    settle = set(gates.settle)
    if max(lead.p_instrument, lead.p_liars) >= work.knowledge.words.verdict["two-causes"]:
        settle |= {s.candidate.check.id for s in settling_looks(work, belief, lead, useful)}
    if lead.unexplained and lead.p_top >= work.knowledge.words.verdict["one-cause"]:
        settle |= {s.candidate.check.id for s in second_cause_looks(work, network, lead, useful)}
    if lead.p_top >= work.knowledge.words.verdict["one-cause"]:
        settle |= {s.candidate.check.id for s in confirming(work, network, lead, lead.top, useful)} | set(first)
    pays = min((s.value for s in useful), default=float("inf")) < base * PAYS

    def rank(one: Scored) -> tuple[float, float, float, str]:
        name = one.candidate.check.id
        if bare and name in first:
            return -1.0, float(first.index(name)), 0.0, name
        urgent = 0.0 if name in settle else 1.0
        if pays:
            return urgent, one.value, -one.information, name
        return urgent, -one.information / one.candidate.cost, one.value, name

    return sorted(useful, key=rank)


def _hand_over(work: Work, to: str, make_safe: str) -> Step:
    return Step(
        id="hand-over",
        kind="hand-over",
        title=f"Hand over to: {to}",
        ask=make_safe,
        minutes=0.0,
        expected_cost_minutes=hand_over_cost(work.knowledge, to),
        who="customer",
        why="What decides now is beyond what may be done here.",
    )


def _observe(work: Work, one: Scored, network: Network, lead_in: str) -> Step:
    check, place = one.candidate.check, one.candidate.place
    customer = work.case.role != "technician"
    ask = check.telephone if customer and check.telephone else check.technician
    choices = tuple(
        Choice(id=a, text=card.text, probability=round(min(one.outcomes.get(a, 0.0), 1.0), 6))
        for a, card in check.answers.items()
    )
    shown_place = network.places[place].kind if place in network.places and network.places[place].folded else place
    return Step(
        id=check.id,
        kind="observe",
        title=check.title
        + (f" ({spell(place)})" if ":" in place and shown_place == place and not place.startswith("pump") else ""),
        ask=ask,
        answers=choices,
        reads=check.reads,
        place=shown_place,
        minutes=check.minutes + check.wait_minutes,
        expected_cost_minutes=round(one.value, 3),
        who=check.who,
        needs_qualified=check.needs_qualified,
        hazards=check.hazards,
        cautions=check.cautions[:2],
        tools=check.tools,
        state=check.state,
        why=lead_in + check.why,
        listen_for=check.listen_for,
        telephone=check.telephone,
    )
