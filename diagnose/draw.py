"""Draws the parts of an Advice from what was worked out: steps, values, rules that spoke, contradictions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diagnose.advice import Choice, Derived, Fired, NotJudged, Step, Stop, Verdict
from diagnose.belief import Belief
from diagnose.looks import Gates, unanswered
from diagnose.network import Network
from diagnose.places import spell
from diagnose.plan import (
    Candidate,
    Plan,
    Scored,
    hand_over_cost,
    hand_over_to,
    may_do,
)
from diagnose.remedies import asked_before
from diagnose.rules import Conclusion
from diagnose.setups import not_judged_of
from diagnose.verdict import PAYS, Lead, confirming, remedy_of, second_cause_looks, settling_looks
from diagnose.work import Work
from knowledge.models import Check, Setup
from shared.quantities import DERIVED
from shared.units import SHOWN, show, spread_in_unit, to_unit

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
    for entry in work.case.entries:
        told = not_judged_of(entry, work.changed, work.knowledge)
        if told is not None:
            why = f"Told while the set-up is changed ({told[0].setup.title})."
            out.append(NotJudged(finding=told[1], place=entry.place or "unit", why=why, until="It was put back."))
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


def steps_of(
    work: Work,
    network: Network,
    belief: Belief,
    plan: Plan,
    gates: Gates,
    lead: Lead,
    verdict: Verdict | None,
    stop: Stop | None,
) -> list[Step]:
    """Next steps in order: safety questions, the remedy of a verdict, then the looks worth their minutes."""
    knowledge, case, base = work.knowledge, work.case, plan.base
    if stop is not None and stop.ends:
        return [_hand_over(work, stop.hand_over_to, stop.make_safe)]
    steps: list[Step] = []
    for check_id in gates.ask_first:
        check = knowledge.checks[check_id]
        if may_do(check.who, check.needs_qualified, case.role, case.qualified):
            one = Scored(Candidate(check, "unit", check.minutes), base, 0.0)
            steps.append(_observe(work, one, network, "Safety comes first. "))
    unsure = (
        verdict is not None and verdict.kind == "cannot-tell" and lead.p_top < knowledge.words.verdict["at-the-end"]
    )
    if verdict is not None and verdict.kind == "hand-over":
        steps.append(_hand_over(work, verdict.who, verdict.remedy))
    elif unsure:  # no remedy on so little: once more the looks that would tell and gave no answer
        steps += [
            _observe(work, Scored(one, base, 0.0), network, "Nobody could tell when it was asked; it would tell now. ")
            for one in unanswered(work, network, gates, [lead.top, lead.second])
        ]
    elif verdict is not None and verdict.remedy_id not in gates.remedies:
        remedies = [c.remedy for c in (knowledge.causes.get(name) for name in verdict.causes) if c is not None]
        beyond = next((to for r in remedies if (to := hand_over_to(r, case.role, case.qualified))), "")
        if not remedies and case.role != "technician":
            beyond = "technician"  # a gauge or thermometer is exchanged by whoever may touch it
        first = asked_before(work, remedies)
        cards = [knowledge.checks[c] for c in first or ()]
        if first is None or not all(may_do(c.who, c.needs_qualified, case.role, case.qualified) for c in cards):
            return [
                *steps,
                _hand_over(
                    work,
                    "technician",
                    "The remedy is forbidden here or its safety question is not yours to answer. Leave the unit safe.",
                ),
            ]
        for check in cards:  # unknown is not yes: the question comes first
            one = Scored(Candidate(check, "unit", check.minutes), base, 0.0)
            steps.append(_observe(work, one, network, "Safety question before the remedy. "))
        if not cards:
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
    for one in ordered_looks(work, network, belief, plan.scored, gates, lead, base)[:SHOWN_STEPS]:
        leads = "Confirms the leading suspect before anything is replaced. "
        lead_in = leads if one.candidate.check.id in confirm and verdict is None and not one.candidate.said else ""
        if (
            one.candidate.before
        ):  # unknown is not yes: the safety question comes first, and its minutes belong to the look
            lead_in = f"Safety question before: {one.candidate.check.title}. "
            question = knowledge.checks[one.candidate.before[0]]
            one = Scored(Candidate(question, "unit", question.minutes), one.value, one.information)
        if one.candidate.check.id not in asked_first:
            asked_first.add(one.candidate.check.id)
            steps.append(_observe(work, one, network, lead_in))
    if unsure or verdict is None and not steps:
        steps = [*steps[:SHOWN_STEPS], _hand_over(work, "technician", "Leave the unit safe.")]
    return steps[: SHOWN_STEPS + 2]


def ordered_looks(
    work: Work, network: Network, belief: Belief, useful: Sequence[Scored], gates: Gates, lead: Lead, base: float
) -> list[Scored]:
    """Looks in the order to do them.

    With nothing known yet the complaint's own first looks come first, as the trade orders them. Then what lowers the expected
    minutes most; where nothing lowers them any more, what tells most for its minutes. A look that settles a contradiction or confirms a
    likely leader goes before, then one that tells whether a second cause explains what the leading one does not.
    """
    first = work.knowledge.complaints[work.case.complaint].first
    bare = not work.graded.evidence
    settle = set(gates.settle)
    second: set[str] = set()
    if max(lead.p_instrument, lead.p_liars) >= work.knowledge.words.verdict["two-causes"]:
        settle |= {s.candidate.check.id for s in settling_looks(work, belief, lead, useful)}
    if lead.unexplained and lead.p_top >= work.knowledge.words.verdict["one-cause"]:
        second = {s.candidate.check.id for s in second_cause_looks(work, network, lead, useful)}
    if lead.p_top >= work.knowledge.words.verdict["one-cause"]:
        settle |= {s.candidate.check.id for s in confirming(work, network, lead, lead.top, useful)} | set(first)
    pays = min((s.value for s in useful), default=float("inf")) < base * PAYS

    def rank(one: Scored) -> tuple[float, float, float, str]:
        name = one.candidate.check.id
        if bare and name in first:
            return -1.0, float(first.index(name)), 0.0, name
        urgent = 0.0 if name in settle else 0.5 if name in second else 1.0
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
    made = look_step(work, one.candidate.check, one.candidate.place, one.value, lead_in, one.outcomes, network)
    if not one.candidate.said:
        return made
    told = " and ".join(dict.fromkeys(one.candidate.check.answers[a].text for a in one.candidate.said))
    why = f"Told before: {told.rstrip('.')}. Much hangs on it, and an answer may be a slip."
    return made.model_copy(update={"again": True, "title": f"Once more: {made.title}", "why": why})


def look_step(
    work: Work, check: Check, place: str, cost: float, lead_in: str, outcomes: Mapping[str, float], network: Network
) -> Step:
    """A look, or a change of set-up, as a step. cost: expected minutes with it first; outcomes: answer -> chance."""
    customer = work.case.role != "technician"
    ask = check.telephone if customer and check.telephone else check.technician
    ids = {a: a for a in check.answers}
    cautions = check.cautions[:2]
    if isinstance(check, Setup):
        ids = {answer: outcome for outcome, answer in check.outcomes.items()}
        ask, cautions = f"{ask} To put it back: {check.undo}", (f"Stays in force: {check.stays}", *cautions)
    choices = tuple(
        Choice(id=ids[a], text=card.text, probability=round(min(outcomes.get(a, 0.0), 1.0), 6))
        for a, card in check.answers.items()
    )
    shown_place = network.places[place].said if place in network.places else place
    return Step(
        id=check.id,
        kind="reconfigure" if isinstance(check, Setup) else "observe",
        title=check.title
        + (f" ({spell(place)})" if ":" in place and shown_place == place and not place.startswith("pump") else ""),
        ask=ask,
        answers=choices,
        reads=check.reads,
        place=shown_place,
        minutes=check.minutes + check.wait_minutes,
        expected_cost_minutes=round(cost, 3),
        who=check.who,
        needs_qualified=check.needs_qualified,
        hazards=check.hazards,
        cautions=cautions,
        tools=check.tools,
        state=check.state,
        why=lead_in + check.why,
        listen_for=check.listen_for,
        telephone=check.telephone,
        instrument=check.instrument,
    )
