"""When the asking ends: one cause, two, an instrument, normal, inseparable, cannot tell, hand over.

A verdict needs its probability (one table in words.yaml), a confirming look before a part is replaced, and no firm
unhealthy finding left that the leading cause does not explain while a look could still tell whether a second cause does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from diagnose.advice import Verdict
from diagnose.belief import Belief, Inference
from diagnose.looks import Gates
from diagnose.network import Array, Key, Network
from diagnose.plan import Scored, hand_over_cost, hand_over_to, is_quick, may_do
from diagnose.work import Work
from knowledge.models import Cause, Remedy

CONFIDENT = 0.97
PAYS = (
    0.995  # a look pays when it lowers the expected minutes by half a per cent: less is below the model's own precision
)
PARTNERS = 6


@dataclass(frozen=True)
class Lead:
    """The leading explanations as probabilities.

    top, second: instance numbers from 0. p_careful: the top's, if proofs may be slips. p_pair: both at once. instrument: a mode id of the likeliest lying instrument,
    p_instrument over all its modes; liars, p_liars: all likely modes of that kind of instrument together. p_normal: no fault and honest instruments; normal: the likeliest normal cause among
    those (-1 = plainly nothing). same_remedy: other instances the top cannot be told from or that share its remedy.
    unexplained: firm unhealthy findings the top cause alone makes unlikely. partners: causes likeliest beside the top.
    """

    top: int
    p_top: float
    p_careful: float
    second: int
    p_second: float
    p_pair: float
    instrument: str
    p_instrument: float
    liars: tuple[str, ...]
    p_liars: float
    p_normal: float
    normal: int
    same_remedy: tuple[int, ...]
    p_same: float
    elsewhere: tuple[int, ...]
    p_cause: float
    unexplained: tuple[Key, ...]
    partners: tuple[int, ...]
    beside: tuple[float, ...]
    confirmed: frozenset[int]


def lead_of(
    work: Work, network: Network, inference: Inference, belief: Belief, single: Mapping[Key, Array], careful: Belief
) -> Lead:
    """Read the leading explanations off the belief. single: likelihood of each finding by single cause (row 0: none); careful: the
    belief if proofs may be slips."""
    marginals = belief.causes()
    order = np.argsort(-marginals, kind="stable")
    top, second = int(order[0]), int(order[1]) if len(order) > 1 else int(order[0])
    p, over = belief.hypotheses(), belief.over
    beside = np.zeros(len(marginals) + 1)
    with_top = (over.first == top + 1) | (over.second == top + 1)
    other = np.where(over.first == top + 1, over.second, over.first)
    np.add.at(beside, other[with_top], p[with_top])
    beside[0] = beside[top + 1] = 0.0
    partners = tuple(int(i) - 1 for i in np.argsort(-beside, kind="stable")[:PARTNERS] if beside[i] > 0)
    by_instrument: dict[str, float] = {}
    modes = belief.modes()
    for name, q in modes.items():
        instrument = inference.modes[name].instrument
        by_instrument[instrument] = by_instrument.get(instrument, 0.0) + q
    liar = max(by_instrument, key=lambda i: by_instrument[i]) if by_instrument else ""
    mode = max((m for m in modes if inference.modes[m].instrument == liar), key=lambda m: modes[m], default="")
    p_normal, normal = _normal(work, network, belief)
    same = tuple(sorted(_same_remedy(work, network, top), key=lambda i: -marginals[i]))
    group = [top + 1, *(i + 1 for i in same)]
    p_same = float(p[np.isin(over.first, group) | np.isin(over.second, group)].sum())
    name = network.instances[top].cause
    elsewhere = [i for i in map(int, order) if i != top and network.instances[i].cause == name]
    group = [top + 1, *(i + 1 for i in elsewhere)]
    p_cause = float(p[np.isin(over.first, group) | np.isin(over.second, group)].sum())
    return Lead(
        top,
        float(marginals[top]),
        float(careful.causes()[top]),
        second,
        float(marginals[second]),
        float(beside[second + 1]),
        mode,
        by_instrument.get(liar, 0.0),
        *_liars(inference, modes, mode),
        p_normal,
        normal,
        same,
        p_same,
        tuple(i for i in elsewhere if marginals[i] >= 0.1 * marginals[top]),
        p_cause,
        _unexplained(work, single, top),
        partners,
        tuple(float(beside[i + 1]) for i in partners),
        frozenset(i for i in (top, second) if _confirmed(work, network, single, i)),
    )


def _liars(inference: Inference, modes: Mapping[str, float], lead: str) -> tuple[tuple[str, ...], float]:
    """Modes of the same kind of instrument as ``lead`` that share the blame, and their joint probability."""
    if not lead:
        return (), 0.0
    kind = inference.modes[lead].kind
    same = sorted((m for m in modes if inference.modes[m].kind == kind), key=lambda m: (-modes[m], m))
    likely = tuple(m for m in same if modes[m] >= 0.1 * modes[lead])
    return likely, sum(modes[m] for m in likely)


def _normal(work: Work, network: Network, belief: Belief) -> tuple[float, int]:
    """Probability that nothing is at fault, and the likeliest normal explanation (-1 = none)."""
    over = belief.over
    fault = np.array([False, *(work.knowledge.causes[i.cause].kind == "fault" for i in network.instances)])
    clean = ~fault[over.first] & ~fault[over.second]
    # an instrument that lies on the side makes no fault; that one is to blame is weighed against this elsewhere
    weight = np.where(clean, belief.hypotheses(), 0.0)
    by = np.bincount(over.first, weights=weight, minlength=len(fault))
    return float(weight.sum()), int(np.argmax(by)) - 1


def _same_remedy(work: Work, network: Network, top: int) -> tuple[int, ...]:
    causes = work.knowledge.causes
    lead = network.instances[top]
    cause = causes[lead.cause]
    return tuple(
        i
        for i, inst in enumerate(network.instances)
        if i != top
        and inst.place.touches(lead.place)
        and (
            inst.cause in cause.inseparable
            or cause.id in causes[inst.cause].inseparable
            or causes[inst.cause].remedy.id == cause.remedy.id
        )
    )


def _unexplained(work: Work, single: Mapping[Key, Array], top: int) -> tuple[Key, ...]:
    """Findings whose firm unhealthy word the top cause alone makes less likely than the table's share."""
    limit = work.knowledge.words.verdict["unexplained"]
    # what people remember of the past (checks named ...-ask) is too soft to call for a second cause
    told = {c.finding for c in work.knowledge.checks.values() if c.id.endswith("-ask")}
    out = []
    for key, by_cause in single.items():
        evidence = work.graded.evidence.get(key)
        if evidence is None or evidence.derived is None and key[0] in told:
            continue
        finding = work.knowledge.findings[key[0]]
        word, p = evidence.words(finding)[0]
        if word != finding.neutral and p >= work.knowledge.words.firm:
            best = max(evidence.likelihood)
            if by_cause[top + 1] < limit * best:
                out.append(key)
    return tuple(out)


def _confirmed(work: Work, network: Network, single: Mapping[Key, Array], index: int) -> bool:
    """Whether one of a cause's confirming looks was done and spoke for it."""
    knowledge = work.knowledge
    checks = [
        knowledge.checks[c] for c in knowledge.causes[network.instances[index].cause].confirm if c in knowledge.checks
    ]
    names = {name for check in checks for name in (check.finding, *check.tells)}
    return any(key[0] in names and by[index + 1] > 2.0 * by[0] for key, by in single.items())


def remedy_of(work: Work, network: Network, index: int) -> tuple[Cause, Remedy, str]:
    """Cause card, remedy and place (its kind, if folded) of an instance."""
    instance = network.instances[index]
    cause = work.knowledge.causes[instance.cause]
    return cause, cause.remedy, instance.place.said


def decide(
    work: Work,
    network: Network,
    belief: Belief,
    lead: Lead,
    useful: Sequence[Scored],
    base: float,
    bit: float,
    gates: Gates,
) -> Verdict | None:
    """The verdict, or None while asking on is right. base: expected minutes of acting now; bit: minutes a bit is worth."""
    table = work.knowledge.words.verdict
    looking_pays = min((s.value for s in useful), default=float("inf")) < base * PAYS
    if gates.ask_first:
        return None
    cause, remedy, place = remedy_of(work, network, lead.top)
    confirm = confirming(work, network, lead, lead.top, useful)
    if lead.p_pair >= table["two-causes"]:
        second = confirming(work, network, lead, lead.second, useful)
        if lead.p_pair >= CONFIDENT or not (looking_pays and (confirm or second)):
            return _two(work, network, lead, lead.second)
        return None
    quick = is_quick(work.knowledge, remedy)
    needed = table["one-cause-quick"] if quick else table["one-cause"]
    sure = lead.p_careful >= CONFIDENT or not looking_pays
    open_question = bool(lead.unexplained) and bool(second_cause_looks(work, network, lead, useful))
    sure = sure and (lead.p_careful >= CONFIDENT or quick or not (confirm or first_looks(work, useful)))
    # readings that cannot all be true: nothing is sure while a look may still show which of them is wrong
    unsettled = any(one.candidate.settles for one in useful)
    sure = sure and not unsettled
    if cause.kind == "fault" and lead.p_top >= needed and sure and not open_question:
        return _with_partner(work, network, lead, place)
    settle = settling_looks(work, belief, lead, useful)
    if settle and max(lead.p_instrument, lead.p_liars) >= table["one-cause"]:
        return None
    # what tripped did not trip on a dial: an instrument that lies does not end such a call while a first look is open
    blame = _may_be_normal(work) or not first_looks(work, useful)
    if blame and lead.p_instrument >= table["one-cause"] and (lead.p_instrument >= CONFIDENT or not looking_pays):
        return _instrument(work, belief, lead.instrument, (lead.instrument,))
    if blame and lead.p_liars >= table["one-cause"] and not looking_pays:
        return _instrument(work, belief, lead.instrument, lead.liars)
    if (
        lead.p_instrument < table["two-causes"] <= table["normal"] <= lead.p_normal
        and _enough_seen(work)
        and (lead.p_normal >= CONFIDENT or not (looking_pays or first_looks(work, useful)))
    ):
        return _nothing(work, network, lead)
    checked = not (confirm or first_looks(work, useful) or unsettled)
    places = [place, *(network.instances[i].place.said for i in lead.elsewhere[:2])]
    if cause.kind == "fault" and lead.p_cause >= needed and not looking_pays and not open_question and checked:
        return _with_partner(work, network, lead, " or ".join(places))
    if lead.p_same >= needed and lead.same_remedy and not looking_pays and not open_question and checked:
        return _several(work, network, lead)
    at_the_end = table["at-the-end"]
    waits = lead.p_cause >= needed and (open_question or not checked)  # for a confirming look, or one at a second cause
    waits = waits or lead.p_normal >= at_the_end and bool(first_looks(work, useful))
    waits = waits or not blame and max(lead.p_instrument, lead.p_liars) >= table["one-cause"]
    if looking_pays or waits and useful or any(worth_asking(work, one, bit) for one in useful):
        return None
    # nothing is worth asking any more: what is likelier than not is held, with its chance beside it
    healthy = lead.p_normal - lead.p_instrument >= at_the_end and _enough_seen(work) and not first_looks(work, useful)
    if healthy and _may_be_normal(work):
        return _nothing(work, network, lead)
    if cause.kind == "fault" and lead.p_cause >= at_the_end:
        return _with_partner(work, network, lead, " or ".join(places))
    if cause.kind == "fault" and lead.same_remedy and lead.p_same >= at_the_end:
        return _several(work, network, lead)
    return _unresolved(work, network, lead)


def _with_partner(work: Work, network: Network, lead: Lead, place: str) -> Verdict:
    """The leading cause, with a second one where that is needed for what the first leaves unexplained."""
    partner = _needed_partner(work, network, lead)
    if partner is not None:
        return _two(work, network, lead, partner)
    cause, remedy, _ = remedy_of(work, network, lead.top)
    return _one(work, cause, remedy, place, "one-cause")


def _several(work: Work, network: Network, lead: Lead) -> Verdict:
    """The leading cause with up to two others that the same remedy serves."""
    cause, remedy, place = remedy_of(work, network, lead.top)
    names = [network.instances[i].cause for i in lead.same_remedy][:2]
    made = _one(work, cause, remedy, place, "inseparable")
    return made.model_copy(update={"causes": (cause.id, *names), "places": (place,) * (1 + len(names))})


def worth_asking(work: Work, one: Scored, bit: float) -> bool:
    """Whether a look that pays nothing within two steps still tells enough for its minutes, at what a bit is worth.

    Many looks pay only together with others, and the last bits, those that make sure, are worth more than the average: hence the
    table's patience. One that tells less is not asked: a call ends with what is known rather than with twenty questions that
    change nothing.
    """
    return (
        one.candidate.settles or one.information * bit * work.knowledge.words.verdict["patience"] >= one.candidate.cost
    )


def _may_be_normal(work: Work) -> bool:
    """Whether a healthy machine is called about so at all: one that tripped, however well it looks now, is not."""
    words = work.knowledge.words.strength
    return words[work.knowledge.complaints[work.case.complaint].when_nothing_is_wrong] > words["practically-never"]


def _enough_seen(work: Work) -> bool:
    """ "Nothing is wrong" is only said after the complaint's first looks, or as many findings as there are such looks."""
    first = work.knowledge.complaints[work.case.complaint].first
    answered = {e.check for e in work.case.entries if e.check}
    return set(first) <= answered or len(work.graded.evidence) >= len(first)


def first_looks(work: Work, useful: Sequence[Scored]) -> list[Scored]:
    """The complaint's own first looks that still tell something: cheap and safe, they come before any verdict but a sure one."""
    first = work.knowledge.complaints[work.case.complaint].first
    return [s for s in useful if s.candidate.check.id in first and not s.candidate.said]


def confirming(work: Work, network: Network, lead: Lead, index: int, useful: Sequence[Scored]) -> list[Scored]:
    """Useful looks that would confirm a cause, if none of its confirming looks has spoken for it yet."""
    if index in lead.confirmed:
        return []
    cause, _, _ = remedy_of(work, network, index)
    return [s for s in useful if s.candidate.check.id in cause.confirm and not s.candidate.said]


def _needed_partner(work: Work, network: Network, lead: Lead) -> int | None:
    """A second cause to treat as well: it brings everything the leading one leaves unexplained and is likely enough.

    A second remedy costs less than coming back, so this needs less than an even chance.
    """
    names = {key[0] for key in lead.unexplained}
    if not names:
        return None
    for index, p in zip(lead.partners, lead.beside, strict=True):
        cause = work.knowledge.causes[network.instances[index].cause]
        if (
            cause.kind == "fault"
            and names <= _brought(work, cause)
            and p >= work.knowledge.words.verdict["two-when-unexplained"] * lead.p_top
        ):
            return index
    return None


def settling_looks(work: Work, belief: Belief, lead: Lead, useful: Sequence[Scored]) -> list[Scored]:
    """Useful looks that show whether the suspected instrument lies, if none of them was done: blame needs a comparison."""
    if not lead.instrument:
        return []
    impossible = [s for s in useful if s.candidate.check.id in work.graded.settle]
    if impossible:
        return impossible
    mode = belief.inference.modes[lead.instrument]
    shows = {finding for finding, _ in mode.shows}
    compared = any(r.instrument == mode.instrument for pair in work.readings.comparisons for r in pair)
    if compared or any(key[0] in shows for key in work.graded.evidence):
        return []
    reads = {r.quantity for r in mode.readings}
    return [
        s
        for s in useful
        if s.candidate.check.finding in shows or s.candidate.check.again and reads & set(s.candidate.check.reads)
    ]


def _brought(work: Work, cause: Cause) -> set[str]:
    """Findings a cause brings by itself or through an effect."""
    effects = {edge.effect for edge in cause.brings if edge.effect}
    findings = work.knowledge.findings.values()
    return {edge.finding for edge in cause.brings if edge.finding} | {f.id for f in findings if f.effect in effects}


def second_cause_looks(work: Work, network: Network, lead: Lead, useful: Sequence[Scored]) -> list[Scored]:
    """Useful looks at causes that would explain, beside the top, what the top leaves unexplained."""
    names = {key[0] for key in lead.unexplained}
    wanted: set[str] = set()
    for index in lead.partners:
        cause = work.knowledge.causes[network.instances[index].cause]
        if any((edge.finding or "") in names for edge in cause.brings):
            wanted |= {*cause.confirm, *cause.clear}
    return [s for s in useful if s.candidate.check.id in wanted and not s.candidate.said]


def _one(
    work: Work, cause: Cause, remedy: Remedy, place: str, kind: Literal["one-cause", "normal", "inseparable"]
) -> Verdict:
    who = hand_over_to(remedy, work.case.role, work.case.qualified) or remedy.who
    return Verdict(
        kind=kind,
        causes=(cause.id,),
        places=(place,),
        title=cause.title,
        remedy=remedy.text,
        remedy_id=remedy.id,
        proof=cause.proof,
        who=who,
        minutes=remedy.minutes,
        cautions=cause.cautions,
        parts=remedy.parts,
    )


def _two(work: Work, network: Network, lead: Lead, partner: int) -> Verdict:
    first, second = remedy_of(work, network, lead.top), remedy_of(work, network, partner)
    return Verdict(
        kind="two-causes",
        causes=(first[0].id, second[0].id),
        places=(first[2], second[2]),
        title=f"Two causes at once: {first[0].title}; {second[0].title}",
        remedy=f"1. {first[1].text} 2. {second[1].text}",
        remedy_id=first[1].id,
        proof=f"{first[0].proof} {second[0].proof}",
        who=hand_over_to(first[1], work.case.role, work.case.qualified) or first[1].who,
        minutes=first[1].minutes + second[1].minutes,
        cautions=(*first[0].cautions, *second[0].cautions),
        parts=(*first[1].parts, *second[1].parts),
    )


def _instrument(work: Work, belief: Belief, lead: str, liars: Sequence[str]) -> Verdict:
    mode = belief.inference.modes[lead]
    card = work.knowledge.instruments[mode.kind]
    title = " or ".join(belief.inference.modes[m].title for m in liars)
    return Verdict(
        kind="one-cause" if len(liars) == 1 else "inseparable",
        causes=tuple(f"instrument:{m}" for m in liars),
        places=tuple(belief.inference.modes[m].readings[0].place for m in liars),
        title=title[0].upper() + title[1:],
        remedy=card.remedy,
        remedy_id=f"instrument:{mode.instrument}",
        proof=card.proof,
        who="technician",
        minutes=12,
    )


def _nothing(work: Work, network: Network, lead: Lead) -> Verdict:
    if lead.normal >= 0:
        cause, remedy, place = remedy_of(work, network, lead.normal)
        return _one(work, cause, remedy, place, "normal")
    return Verdict(
        kind="normal",
        causes=("nothing-wrong",),
        places=("unit",),
        title="Nothing found wrong",
        remedy="Explain what is normal; watch one full cycle and record the readings.",
        remedy_id="explain-normal",
        proof="Readings stay in their bands for an hour.",
        who="technician",
        minutes=10,
    )


def _unresolved(work: Work, network: Network, lead: Lead) -> Verdict:
    """No allowed look tells more: hand over to who may look further, with what would tell."""
    cause, remedy, place = remedy_of(work, network, lead.top)
    second, _, second_place = remedy_of(work, network, lead.second)
    names, places = (cause.id, second.id), (place, second_place)
    checks = work.knowledge.checks
    told = {e.check for e in work.case.entries if e.check and e.answer != "cannot-tell"}
    missing = [checks[c] for one in (cause, second) for c in one.confirm if c in checks and c not in told]
    beyond = [c for c in missing if not may_do(c.who, c.needs_qualified, work.case.role, work.case.qualified)]
    would = "; ".join(dict.fromkeys(c.title for c in (beyond or missing)))[:300]
    if not beyond and work.case.role == "technician":
        return Verdict(
            kind="cannot-tell",
            causes=names,
            places=places,
            title="Cannot tell with what is known",
            remedy=f"Most likely: {cause.title}. What would tell: {would}",
            remedy_id=remedy.id,
            proof=cause.proof,
            who=remedy.who,
            minutes=remedy.minutes,
            would_tell=would,
        )
    needs = {q for c in beyond for q in c.needs_qualified}
    to = (
        "electrician"
        if "electrical" in needs and "electrical" not in work.case.qualified
        else "refrigerant-technician"
        if "refrigerant" in needs and work.case.role == "technician"
        else "technician"
    )
    return Verdict(
        kind="hand-over",
        causes=names,
        places=places,
        title="Hand over to someone who may look further",
        remedy=f"Leave the unit safe; hand over to: {to}.",
        remedy_id="hand-over",
        proof="",
        who=to,
        minutes=hand_over_cost(work.knowledge, to),
        would_tell=would,
    )
