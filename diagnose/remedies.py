"""Remedies as steps: what must be known before one is offered, and the quick one that is tried before there is a verdict."""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.advice import Step
from diagnose.looks import Gates, unmet_needs
from diagnose.network import Network
from diagnose.plan import Plan, Worlds, hand_over_to, is_quick, remedy_name
from diagnose.verdict import Lead, remedy_of
from diagnose.work import Work
from knowledge.models import Remedy


def asked_before(work: Work, remedies: Iterable[Remedy]) -> list[str] | None:
    """Safety questions that come before these remedies; None where an answer forbids one of them. Unknown is not yes.

    A remedy that somebody else must do is left to whoever does it: the questions are about the moment of doing it.
    """
    out: list[str] = []
    for remedy in remedies:
        if hand_over_to(remedy, work.case.role, work.case.qualified):
            continue
        unmet = unmet_needs(work, remedy.needs)
        if unmet is None:
            return None
        out += [check for check in unmet if check not in out]
    return out


def worth_trying(work: Work, network: Network, lead: Lead, plan: Plan, worlds: Worlds, gates: Gates) -> Step | None:
    """The remedy that the search would do now, where the table allows to try it before there is a verdict.

    It is the leader's own, with at least `one-cause-quick`; it can be undone and takes at most `quick-minutes`; the person at the
    machine may do it, nothing forbids it, and no safety question is open.
    """
    table = work.knowledge.words.verdict
    cause, remedy, place = remedy_of(work, network, lead.top)
    if plan.choice.kind != "act" or lead.p_top < table["one-cause-quick"] or cause.kind != "fault":
        return None
    own = remedy_name(work.knowledge, remedy, network.instances[lead.top].place.id)
    if worlds.remedies[plan.choice.number] != own or not is_quick(work.knowledge, remedy):
        return None
    if gates.ask_first or remedy.id in gates.remedies or set(remedy.hazards) & gates.hazards:
        return None
    if hand_over_to(remedy, work.case.role, work.case.qualified) or asked_before(work, [remedy]) != []:
        return None
    return Step(
        id=remedy.id,
        kind="repair",
        title=f"Try: {cause.title[0].lower()}{cause.title[1:]}",
        ask=remedy.text,
        place=place,
        minutes=remedy.minutes,
        expected_cost_minutes=round(plan.choice.value, 3),
        who=remedy.who,
        needs_qualified=remedy.needs_qualified,
        hazards=tuple(h for h in remedy.hazards if h != "none"),
        cautions=cause.cautions[:2],
        tools=remedy.tools,
        why=f"Quick, and undone as quickly: trying it costs less than looking further. Proof of cure: {cause.proof}",
    )
