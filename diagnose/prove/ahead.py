"""`prove ahead`: what the look-ahead predicts for each answer is what the reasoning then gives.

Over calls as they were first told and as they stood after each of the tool's own questions: every open check that is answered
in words, every answer. Where the two differ there is a reason that the look-ahead leaves out on purpose, and it is counted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from diagnose.advise import advise
from diagnose.belief import Belief
from diagnose.case import Case, Entry
from diagnose.looks import candidates, gates_of, relevant_checks
from diagnose.predicted import After, LookAhead
from diagnose.prove.result import Options
from diagnose.replay import MOST_CHECKS, Call, entries_for, read_call
from diagnose.work import Work, prepare, reason
from knowledge.load import Knowledge, load_knowledge
from shared.errors import ChillerError

SAME = 1e-9
CALLS = ("tests/calls", "tests/calls_own")


@dataclass(frozen=True)
class Compared:
    """One answer: how far the predicted belief is from the one reasoned, and why it may be ("" = it may not)."""

    call: str
    check: str
    answer: str
    difference: float
    reason: str


def stages(call: Call, knowledge: Knowledge, most: int = MOST_CHECKS) -> Iterator[Case]:
    """The call as first told, then after each of the tool's own questions."""
    case = call.case
    yield case
    for _ in range(most):
        advice = advise(case, knowledge)
        looks = [s for s in advice.next if s.asks]
        if advice.verdict is not None or not looks:
            return
        case = case.model_copy(update={"entries": (*case.entries, *entries_for(looks[0], call)[0])})
        yield case


def compare(case: Case, knowledge: Knowledge, name: str, every: int = 1, start: int = 0) -> Iterator[Compared]:
    """Each open check and answer of one case (or each ``every``-th of them from ``start`` on)."""
    work = prepare(case, knowledge)
    network, inference, belief = reason(work)
    gates, ahead = gates_of(work), LookAhead(work, network, inference, belief)
    number = -start
    for candidate in candidates(work, network, gates, relevant_checks(work, network, belief, gates)):
        check, place = candidate.check, candidate.place
        wanted = [number + n for n in range(len(check.answers))]
        number += len(check.answers)
        if not any(n >= 0 and n % every == 0 for n in wanted):
            continue
        for n, after in zip(wanted, ahead.after(check, place), strict=False):
            if n >= 0 and n % every == 0:
                said = place if ":" in place and not network.places[place].folded else ""
                entry = Entry(check=check.id, answer=after.answer, place=said, sure=check.usually)
                then = prepare(case.model_copy(update={"entries": (*case.entries, entry)}), knowledge)
                yield Compared(name, check.id, after.answer, *_differs(work, after, then))


def _differs(work: Work, after: After, then: Work) -> tuple[float, str]:
    if [*work.places] != [*then.places]:
        return float("nan"), "a part of the machine is spoken of for the first time"
    _, _, belief = reason(then)
    for kind in ("state", "not-judged", "contradiction"):
        if _spoke(work, kind) != _spoke(then, kind):
            return distance(after.belief, belief), f"a rule spoke: {kind}"
    return distance(after.belief, belief), ""


def _spoke(work: Work, kind: str) -> set[tuple[str, str]]:
    return {(c.rule.id, c.circuit) for c in work.conclusions.of(kind)}


def distance(one: Belief, other: Belief) -> float:
    """Greatest difference of any joint probability of the two, by cause and instrument; 1 where they are not over the same."""
    if one.names != other.names or one.joint.shape != other.joint.shape:
        return 1.0
    return float(np.abs(one.joint - other.joint).max())


def compare_all(knowledge: Knowledge, calls: Iterable[Call], every: int = 1, most: int = MOST_CHECKS) -> list[Compared]:
    """All calls at all their stages; with ``every`` above 1 a fixed sample, shifted from call to call."""
    out: list[Compared] = []
    for number, call in enumerate(calls):
        for stage, case in enumerate(stages(call, knowledge, most)):
            out += compare(case, knowledge, f"{call.id}+{stage}", every, (7 * number + 3 * stage) % every)
    return out


def sample_calls(knowledge: Knowledge, folders: Sequence[str] = CALLS) -> list[Call]:
    """The transcribed calls of the checkout; raises ChillerError where there are none."""
    calls = [read_call(path, knowledge) for folder in folders for path in sorted(Path(folder).glob("*.yaml"))]
    if not calls:
        raise ChillerError(
            "no calls here", given=str(Path.cwd()), allowed="the folder of the checkout", do="run it there"
        )
    return calls


def prove_ahead(options: Options) -> tuple[str, dict[str, Any]]:
    """Every call of tests/calls and tests/calls_own at every stage; ``draws`` above 0 takes every that-manieth answer only."""
    knowledge = load_knowledge()
    calls = sample_calls(knowledge)
    found = compare_all(knowledge, calls, max(options.draws, 1))
    plain = [c for c in found if not c.reason]
    wrong = [c for c in plain if not c.difference <= SAME]
    return knowledge.digest, {
        "calls": len(calls),
        "every": max(options.draws, 1),
        "answers": len(found),
        "largest_difference": max((c.difference for c in plain), default=0.0),
        "left_out": dict(Counter(c.reason for c in found if c.reason).most_common()),
        "wrong": [f"{c.call} {c.check} {c.answer}: {c.difference:.2e}" for c in wrong],
        "passes": bool(plain) and not wrong,
    }


def ahead_text(result: dict[str, Any]) -> str:
    """The report for people."""
    lines = [
        f"{result['answers']} answers (one in {result['every']}) at the stages of {result['calls']} calls; largest difference between the belief predicted "
        f"and the belief reasoned {result['largest_difference']:.1e}"
    ]
    lines += [f"  not compared, {reason}: {count}" for reason, count in result["left_out"].items()]
    lines += [f"  WRONG {one}" for one in result["wrong"]]
    lines.append("passes" if result["passes"] else "FAILS")
    return "\n".join(lines)
