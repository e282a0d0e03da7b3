"""advise(case, knowledge) -> Advice: pure, the heart of the tool.

Readings -> findings -> rules -> belief -> plan -> advice. It reads no clock, file, environment, locale or random number. If
rules, belief or cards fail it fails closed: hand over, and says so.
"""

from __future__ import annotations

from diagnose.advice import Advice, Turn, Verdict
from diagnose.belief import Belief, Inference
from diagnose.case import Case
from diagnose.changing import left_of, reminders, with_changes
from diagnose.doubt import left_unexplained, lonely_proofs, mistaken_answers
from diagnose.draw import (
    contradictions,
    derived_values,
    fired_rule,
    not_judged,
    steps_of,
    stop_of,
)
from diagnose.looks import candidates, gates_of, relevant_checks, second_looks, tells_for
from diagnose.network import Network
from diagnose.plan import Candidate, Predictor, hand_over_cost, keep_worlds, plan_next
from diagnose.remedies import worth_trying
from diagnose.setups import changing_minutes
from diagnose.suspects import likelihoods_by_cause, suspects_of, weights_of
from diagnose.three import three_causes
from diagnose.turning import WhatIf, explained_steps, turns_of
from diagnose.verdict import decide, lead_of
from diagnose.work import Work, if_proofs_slip, prepare, reason
from knowledge.load import Knowledge
from shared.errors import ChillerError


def advise(
    case: Case, knowledge: Knowledge, *, rules: bool = True, explain: bool = False, three: bool = False
) -> Advice:
    """The advice that follows from a case. The case must have passed `diagnose.case_check`.

    rules=False switches the rule stage off (for the ablation proof only): gates of the cards still hold. explain=True adds what
    would change the verdict and what each of the first looks would do; it changes nothing else and takes as long again.
    """
    try:
        work = prepare(case, knowledge, rules=rules)
        network, inference, belief = reason(work)
        made = _draw(work, network, inference, belief, explain)
        return made.model_copy(update={"three": three_causes(belief)}) if three and not work.earlier else made
    except ChillerError:
        raise
    except Exception as error:
        return _closed(case, knowledge, error)


def _closed(case: Case, knowledge: Knowledge, error: Exception) -> Advice:
    why = f"the reasoning failed ({type(error).__name__}: {error}); nothing is advised but to hand over"
    return Advice(
        knowledge=knowledge.digest,
        complaint=case.complaint,
        state="unknown",
        steadiness="unknown",
        verdict=Verdict(
            kind="hand-over",
            causes=(),
            places=(),
            title="Hand over: the tool failed",
            remedy="Leave the unit off and safe; call a qualified technician.",
            remedy_id="hand-over",
            proof="",
            who="technician",
            minutes=0.0,
        ),
        doubts=(why,),
    )


def _draw(work: Work, network: Network, inference: Inference, belief: Belief, explain: bool) -> Advice:
    knowledge, case = work.knowledge, work.case
    gates = gates_of(work)
    stops = work.conclusions.of("stop")
    stop = stop_of(stops)
    careful = if_proofs_slip(work, network, belief)
    worlds = keep_worlds(careful, case.role, case.qualified)
    single = likelihoods_by_cause(network, inference)
    suspects = suspects_of(work, network, inference, belief, single)
    now: list[Candidate] = []
    relevant: set[str] = set()
    lead = lead_of(work, network, inference, belief, single, careful)
    if stop is None or not stop.ends:
        relevant = relevant_checks(work, network, careful, gates)
        now = candidates(work, network, gates, relevant)
    predictor = Predictor(inference, worlds)
    plan = plan_next(now, predictor, network, tells_for(work, network))
    verdict = (
        None
        if stop is not None and stop.ends
        else decide(work, network, belief, lead, plan.scored, plan.base, plan.bit, gates)
    )
    if (
        verdict is not None and verdict.kind != "hand-over"
    ):  # before anybody acts on it: may one answer have been a slip?
        again = plan_next(
            [*now, *second_looks(work, network, gates, relevant)], predictor, network, tells_for(work, network)
        )
        if decide(work, network, belief, lead, again.scored, again.base, again.bit, gates) is None:
            plan, verdict = again, None
    if stop is not None and stop.ends:
        verdict = Verdict(
            kind="hand-over",
            causes=(),
            places=(),
            title="Stop and hand over",
            remedy=stop.make_safe,
            remedy_id="stop",
            proof="",
            who=stop.hand_over_to,
            minutes=hand_over_cost(knowledge, stop.hand_over_to),
        )
    steps = steps_of(work, network, belief, plan, gates, lead, verdict, stop)
    trial = worth_trying(work, network, lead, plan, worlds, gates) if verdict is None and stop is None else None
    if trial is not None:
        steps.insert(0, trial)
    if stop is None or not stop.ends:
        steps = with_changes(work, network, plan, verdict, gates, steps)
    weights = weights_of(single, belief.causes())
    work.doubts += reminders(work)
    work.doubts += [*mistaken_answers(work, predictor), *lonely_proofs(work, network, belief.causes(), weights)]
    work.doubts += left_unexplained(work, lead, verdict)
    turns: tuple[Turn, ...] = ()
    if explain and (stop is None or not stop.ends):
        what = WhatIf(work, network, inference, belief)
        turns = turns_of(what, weights)
        steps = explained_steps(what, steps)
    spent = sum(
        knowledge.checks[e.check].minutes + knowledge.checks[e.check].wait_minutes
        for e in work.whole.entries
        if e.check
    ) + changing_minutes(work.whole, knowledge)
    return Advice(
        knowledge=knowledge.digest,
        complaint=case.complaint,
        state=work.state,
        steadiness=work.steadiness,
        stop=stop,
        verdict=verdict,
        suspects=tuple(suspects),
        next=tuple(steps),
        doubts=tuple(dict.fromkeys(work.doubts)),
        not_judged=tuple(not_judged(work)),
        derived=tuple(derived_values(work)),
        fired=tuple(fired_rule(c) for c in work.conclusions.fired),
        contradictions=tuple(contradictions(work)),
        checks_done=sum(1 for e in work.whole.entries if e.check),
        minutes_spent=spent,
        episode=1 + len(work.earlier),
        used_expected=any(e.against_expected for e in work.graded.evidence.values()),
        turns=turns,
        left_changed=left_of(work),
    )
